/* flood.c - basins of the distance map: candidate nodules of a cluster.
 *
 * Pixels are taken from the widest place down and joined to the basin of their widest neighbour, or
 * begin a basin of their own. Where two basins meet lies a saddle, the half-width of the neck
 * between them. They are one nodule unless the neck is clearly narrower than the lesser of the two:
 * by `depth` pixels (persistence of the maximum, Edelsbrunner, Letscher & Zomorodian 2002, quoted
 * from memory) and down to a share `neck` of its radius. Roughness of the outline gives shallow
 * maxima only.
 *
 * Distances run to pixel centres, so a half-width is the distance less half a pixel. Linear in the
 * pixels: a counting sort by squared distance, then union-find.
 */
#include "morphology_priv.h"

#include <math.h>
#include <string.h>

/* A cluster with more necks than this is no cluster of nodules but a sponge; searching the list for
 * each pixel on a border would take too long, too. */
static const size_t most_saddles = 256;

/* The pixel at hand, in the window. */
struct here {
    uint32_t squared;
    double x, y;
};

double kb_half_width(uint32_t squared) {
    return sqrt((double)squared) - 0.5;
}

uint32_t kb_flood_root(struct kb_flood *flood, uint32_t basin) {
    struct kb_basin *all = flood->basin;
    while (all[basin].parent != basin) {
        all[basin].parent = all[all[basin].parent].parent;
        basin = all[basin].parent;
    }
    return basin;
}

/* ---- is a flood worth its time? ---------------------------------------------------------------
 */

static bool is_maximum(const uint32_t *at, ptrdiff_t w) {
    uint32_t here = *at;
    return here >= at[-1] && here >= at[1] && here >= at[-w] && here >= at[w] &&
           here >= at[-w - 1] && here >= at[-w + 1] && here >= at[w - 1] && here >= at[w + 1];
}

/* The distance map falls by at most 1 a pixel. So between the highest maximum, of half-width R, and
 * another, of r, at a distance D the way stays at least (R + r - D) / 2 high. The saddle can be as
 * low as the rule asks only if D is large enough. */
bool kb_flood_worthwhile(const struct kb_window *window, double depth, double neck) {
    const ptrdiff_t w = window->width;
    size_t pixels = (size_t)window->width * (size_t)window->height;
    size_t top = 0;
    for (size_t i = 0; i < pixels; i++) {
        top = window->squared[i] > window->squared[top] ? i : top;
    }
    const int32_t top_x = (int32_t)(top % (size_t)w);
    const int32_t top_y = (int32_t)(top / (size_t)w);
    double largest = kb_half_width(window->squared[top]);
    for (int32_t y = 1; y + 1 < window->height; y++) {
        const uint32_t *row = window->squared + (size_t)y * (size_t)w;
        for (int32_t x = 1; x + 1 < window->width; x++) {
            if (row[x] < 2 || !is_maximum(&row[x], w)) {
                continue;
            }
            double radius = kb_half_width(row[x]);
            double saddle = fmin(radius - depth, neck * radius); /* highest that the rule allows */
            double apart = hypot((double)(x - top_x), (double)(y - top_y));
            /* one step for the grid: the way between two pixels is no straight line */
            if (saddle > 0.0 && (largest + radius - apart) / 2.0 <= saddle + 1.0) {
                return true;
            }
        }
    }
    return false;
}

/* ---- flooding ---------------------------------------------------------------------------------
 */

static enum kb_status reserve(struct kb_flood *flood, size_t pixels, size_t levels,
                              struct kb_err *err) {
    if (pixels > flood->order_capacity) {
        uint32_t *order = kb_resize(flood->order, pixels, sizeof *order);
        if (order == NULL) {
            return kb_fail_memory(err, "morphology", pixels * sizeof *order);
        }
        flood->order = order;
        flood->order_capacity = pixels;
    }
    if (levels > flood->level_capacity) {
        size_t *level = kb_resize(flood->level, levels, sizeof *level);
        if (level == NULL) {
            return kb_fail_memory(err, "morphology", levels * sizeof *level);
        }
        flood->level = level;
        flood->level_capacity = levels;
    }
    return KB_OK;
}

/* Indices of the set pixels in flood->order, widest first. Returns their number in *count. */
static enum kb_status sort_pixels(struct kb_flood *flood, const struct kb_window *window,
                                  size_t *count, struct kb_err *err) {
    size_t pixels = (size_t)window->width * (size_t)window->height;
    uint32_t widest = 0;
    for (size_t i = 0; i < pixels; i++) {
        widest = window->squared[i] > widest ? window->squared[i] : widest;
    }
    enum kb_status status = reserve(flood, pixels, (size_t)widest + 2, err);
    if (status != KB_OK) {
        return status;
    }
    /* level[widest - d]: first place of the pixels at squared distance d */
    size_t *level = flood->level;
    memset(level, 0, ((size_t)widest + 2) * sizeof *level);
    for (size_t i = 0; i < pixels; i++) {
        level[widest - window->squared[i] + 1]++;
    }
    for (size_t d = 1; d <= widest; d++) {
        level[d] += level[d - 1];
    }
    *count = level[widest]; /* all but the clear pixels */
    for (size_t i = 0; i < pixels; i++) {
        if (window->squared[i] != 0) {
            flood->order[level[widest - window->squared[i]]++] = (uint32_t)i;
        }
    }
    return KB_OK;
}

static enum kb_status new_basin(struct kb_flood *flood, struct here here, uint32_t *basin,
                                struct kb_err *err) {
    void *items = flood->basin;
    if (!kb_grow(&items, flood->basins, &flood->basin_capacity, sizeof *flood->basin)) {
        return kb_fail_memory(err, "morphology", sizeof *flood->basin);
    }
    flood->basin = items;
    *basin = (uint32_t)flood->basins++;
    flood->basin[*basin] = (struct kb_basin){*basin, here.squared, here.x, here.y};
    return KB_OK;
}

/* Remember the widest place between two basins: the first seen, since we come down from above, and
 * those as wide. */
static enum kb_status note_saddle(struct kb_flood *flood, uint32_t a, uint32_t b, struct here here,
                                  struct kb_err *err) {
    for (size_t i = 0; i < flood->saddles; i++) {
        struct kb_saddle *saddle = &flood->saddle[i];
        uint32_t c = kb_flood_root(flood, saddle->a);
        uint32_t d = kb_flood_root(flood, saddle->b);
        if ((c == a && d == b) || (c == b && d == a)) {
            if (saddle->squared == here.squared) {
                saddle->x += here.x;
                saddle->y += here.y;
                saddle->n += 1.0;
            }
            return KB_OK;
        }
    }
    if (flood->saddles == most_saddles) {
        flood->tangled = true;
        return KB_OK;
    }
    void *items = flood->saddle;
    if (!kb_grow(&items, flood->saddles, &flood->saddle_capacity, sizeof *flood->saddle)) {
        return kb_fail_memory(err, "morphology", sizeof *flood->saddle);
    }
    flood->saddle = items;
    flood->saddle[flood->saddles++] =
        (struct kb_saddle){a, b, here.squared, here.x, here.y, 1.0, -HUGE_VAL};
    return KB_OK;
}

struct rule {
    double depth, neck;
};

/* Two basins meet at a pixel: one nodule, or a neck between two? */
static enum kb_status meet(struct kb_flood *flood, uint32_t a, uint32_t b, struct here here,
                           const struct rule *rule, struct kb_err *err) {
    a = kb_flood_root(flood, a);
    b = kb_flood_root(flood, b);
    if (a == b) {
        return KB_OK;
    }
    bool a_lesser = flood->basin[a].peak < flood->basin[b].peak ||
                    (flood->basin[a].peak == flood->basin[b].peak && a > b);
    uint32_t lesser = a_lesser ? a : b;
    double radius = kb_half_width(flood->basin[lesser].peak);
    double saddle = kb_half_width(here.squared);
    if (radius - saddle >= rule->depth && saddle <= rule->neck * radius) {
        return note_saddle(flood, a, b, here, err);
    }
    flood->basin[lesser].parent = a_lesser ? b : a;
    return KB_OK;
}

/* Owners of the eight neighbours that are flooded already, each once, the widest one's first. */
static int neighbours(const struct kb_window *window, uint32_t at, uint32_t owner[8]) {
    const ptrdiff_t w = window->width;
    const ptrdiff_t step[8] = {-w - 1, -w, -w + 1, -1, 1, w - 1, w, w + 1};
    int count = 0;
    uint32_t widest = 0;
    for (int i = 0; i < 8; i++) {
        size_t other = (size_t)((ptrdiff_t)at + step[i]);
        uint32_t name = window->owner[other];
        if (name == 0) {
            continue;
        }
        int known = 0;
        while (known < count && owner[known] != name) {
            known++;
        }
        count += known == count;
        if (window->squared[other] > widest) {
            widest = window->squared[other];
            owner[known] = owner[0];
            known = 0;
        }
        owner[known] = name;
    }
    return count;
}

static enum kb_status flood_pixel(struct kb_flood *flood, struct kb_window *window, uint32_t at,
                                  const struct rule *rule, struct kb_err *err) {
    uint32_t owner[8] = {0};
    int count = neighbours(window, at, owner);
    uint32_t basin = 0;
    const uint32_t x = at % (uint32_t)window->width;
    const uint32_t y = at / (uint32_t)window->width;
    const struct here here = {window->squared[at], x, y};
    enum kb_status status = KB_OK;
    if (count == 0) {
        status = new_basin(flood, here, &basin, err);
    } else {
        basin = owner[0] - 1;
    }
    for (int i = 1; i < count && status == KB_OK; i++) {
        for (int j = 0; j < i && status == KB_OK; j++) {
            status = meet(flood, owner[i] - 1, owner[j] - 1, here, rule, err);
        }
    }
    if (status == KB_OK) {
        window->owner[at] = 1 + kb_flood_root(flood, basin);
    }
    return status;
}

enum kb_status kb_flood_run(struct kb_flood *flood, struct kb_window *window, double depth,
                            double neck, size_t *pieces, struct kb_err *err) {
    const struct rule rule = {depth, neck};
    size_t count = 0;
    enum kb_status status = sort_pixels(flood, window, &count, err);
    flood->basins = 0;
    flood->saddles = 0;
    flood->tangled = false;
    size_t pixels = (size_t)window->width * (size_t)window->height;
    memset(window->owner, 0, pixels * sizeof *window->owner);
    for (size_t i = 0; i < count && status == KB_OK && !flood->tangled; i++) {
        status = flood_pixel(flood, window, flood->order[i], &rule, err);
    }
    *pieces = flood->tangled ? 1 : 0;
    for (uint32_t i = 0; i < flood->basins && !flood->tangled; i++) {
        *pieces += flood->basin[i].parent == i;
    }
    return status;
}

void kb_flood_release(struct kb_flood *flood) {
    kb_free(flood->order);
    kb_free(flood->level);
    kb_free(flood->basin);
    kb_free(flood->saddle);
    *flood = (struct kb_flood){0};
}
