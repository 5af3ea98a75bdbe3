/* outlines.c - the lines around particles, as the page draws them.
 *
 * Where a particle was measured from a sub-pixel line, that line is given, so that what is drawn is
 * what the figures come from. Of the others (cut by the frame, without an edge) the border of their
 * pixels is followed along the sides of pixels, the particle always on the right hand, corners
 * only. At a corner where two pixels touch it turns so that both are one, as graphite is counted
 * (8-connected). Each side is walked once: cost grows with the length of the borders.
 */
#include "serve_priv.h"

#include <string.h>

/* Ways to go along the sides of pixels, clockwise. */
enum way { EAST, SOUTH, WEST, NORTH };
static const int32_t step_x[] = {1, 0, -1, 0}, step_y[] = {0, 1, 0, -1};

/* One particle in a window of a byte a pixel, a clear pixel wide on all sides. */
struct window {
    int32_t x, y, width, height;
    uint8_t *px;
    size_t size;
};
enum { INSIDE = 1, WALKED = 2 }; /* WALKED: the upper side of the pixel */

struct lines {
    struct kb_text *out;
    uint32_t count;
};

static void put_u32(struct kb_text *out, uint32_t value) {
    const unsigned char byte[] = {(unsigned char)(value & 255), (unsigned char)(value >> 8 & 255),
                                  (unsigned char)(value >> 16 & 255), (unsigned char)(value >> 24)};
    kb_text_add_bytes(out, (const char *)byte, sizeof byte);
}

static void put_point(struct kb_text *out, float x, float y) {
    uint32_t bits[2];
    memcpy(&bits[0], &x, sizeof x);
    memcpy(&bits[1], &y, sizeof y);
    put_u32(out, bits[0]);
    put_u32(out, bits[1]);
}

static void set_u32(struct kb_text *out, size_t at, uint32_t value) {
    if (!out->failed) {
        for (size_t i = 0; i < 4; i++) {
            out->data[at + i] = (char)(value >> (8 * i) & 255);
        }
    }
}

static bool inside(const struct window *w, int32_t x, int32_t y) {
    return (w->px[(size_t)y * (size_t)w->width + (size_t)x] & INSIDE) != 0;
}

/* The pixels ahead of corner (x, y) on the left and on the right hand. */
static bool ahead(const struct window *w, int32_t x, int32_t y, enum way way, bool left) {
    static const int32_t left_x[] = {0, 0, -1, -1}, left_y[] = {-1, 0, 0, -1};
    static const int32_t right_x[] = {0, -1, -1, 0}, right_y[] = {0, 0, -1, -1};
    return left ? inside(w, x + left_x[way], y + left_y[way])
                : inside(w, x + right_x[way], y + right_y[way]);
}

/* From the upper left corner of pixel (x, y), whose upper side is a border, eastwards and round. */
static void follow(const struct window *w, int32_t x, int32_t y, uint32_t particle,
                   struct lines *lines) {
    const int32_t start_x = x, start_y = y;
    enum way way = EAST;
    uint32_t points = 0;
    put_u32(lines->out, particle);
    const size_t counted = lines->out->length;
    put_u32(lines->out, 0);
    do {
        if (way == EAST) {
            w->px[(size_t)y * (size_t)w->width + (size_t)x] |= WALKED;
        }
        x += step_x[way];
        y += step_y[way];
        const enum way before = way;
        if (ahead(w, x, y, way, true)) {
            way = (enum way)((way + 3) % 4);
        } else if (!ahead(w, x, y, way, false)) {
            way = (enum way)((way + 1) % 4);
        }
        if (way != before) {
            put_point(lines->out, (float)(w->x + x), (float)(w->y + y));
            points++;
        }
    } while (x != start_x || y != start_y || way != EAST);
    set_u32(lines->out, counted, points);
    lines->count++;
}

static void follow_all(const struct window *w, uint32_t particle, struct lines *lines) {
    for (int32_t y = 1; y < w->height; y++) {
        for (int32_t x = 1; x + 1 < w->width; x++) {
            const uint8_t px = w->px[(size_t)y * (size_t)w->width + (size_t)x];
            if (px == INSIDE && !inside(w, x, y - 1)) {
                follow(w, x, y, particle, lines);
            }
        }
    }
}

static enum kb_status open_window(const struct kb_rect *box, struct window *w, struct kb_err *err) {
    w->x = box->x - 1;
    w->y = box->y - 1;
    w->width = box->width + 2;
    w->height = box->height + 2;
    const size_t size = (size_t)w->width * (size_t)w->height;
    if (w->px == NULL || size > w->size) {
        uint8_t *grown = kb_resize(w->px, size, 1);
        if (grown == NULL) {
            return kb_fail_memory(err, KB_SERVE_STAGE, size);
        }
        w->px = grown;
        w->size = size;
    }
    memset(w->px, 0, size);
    return KB_OK;
}

static void paint(const struct kb_runs *runs, const struct kb_run_order *order, uint32_t region,
                  struct window *w) {
    for (size_t i = order->start[region]; i < order->start[region + 1]; i++) {
        const struct kb_run *run = &runs->run[order->order[i]];
        const int32_t y = order->y[i] - w->y, x0 = run->x0 - w->x, x1 = run->x1 - w->x;
        if (y > 0 && y + 1 < w->height && x0 > 0 && x1 < w->width) {
            memset(w->px + (size_t)y * (size_t)w->width + (size_t)x0, INSIDE, (size_t)(x1 - x0));
        }
    }
}

static enum kb_status borders(const struct kb_particles *particles, struct lines *lines,
                              struct kb_err *err) {
    struct kb_run_order order;
    struct window window = {.px = NULL};
    enum kb_status status = kb_run_order_make(&particles->runs, &order, err);
    if (status != KB_OK) {
        return status;
    }
    for (uint32_t i = 0; i < particles->runs.regions && i < particles->count; i++) {
        const struct kb_particle *particle = &particles->particle[i];
        if (particle->subpixel && particles->outlines > 0) {
            continue;
        }
        status = open_window(&particle->box, &window, err);
        if (status != KB_OK || window.px == NULL) {
            break;
        }
        paint(&particles->runs, &order, i, &window);
        follow_all(&window, particle->id, lines);
    }
    kb_free(window.px);
    kb_run_order_release(&order);
    return status;
}

static void measured_lines(const struct kb_particles *particles, struct lines *lines) {
    for (size_t i = 0; i < particles->outlines; i++) {
        const struct kb_outline *outline = &particles->outline[i];
        put_u32(lines->out, outline->particle);
        put_u32(lines->out, (uint32_t)outline->count);
        for (size_t k = 0; k < outline->count; k++) {
            const struct kb_outline_point at = particles->outline_point[outline->first + k];
            put_point(lines->out, at.x, at.y);
        }
        lines->count++;
    }
}

enum kb_status kb_outlines_bytes(const struct kb_particles *particles, struct kb_text *out,
                                 struct kb_err *err) {
    struct lines lines = {out, 0};
    const size_t counted = out->length;
    put_u32(out, 0);
    if (particles == NULL) {
        return KB_OK;
    }
    measured_lines(particles, &lines);
    const enum kb_status status =
        particles->runs.run != NULL ? borders(particles, &lines, err) : KB_OK;
    set_u32(out, counted, lines.count);
    return status;
}
