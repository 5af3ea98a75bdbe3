/* border.c - the border of a region as loops of pixel sides, then as evenly divided curves.
 *
 * The walk keeps the region on its right and turns left wherever it can, which follows 8-connected
 * regions. Every loop holds the left side of the first pixel of some run: so the runs are asked in
 * turn, and left sides once walked are marked.
 *
 * The stairs are rounded off by four passes of (1 2 1) / 4, about 1 px of standard deviation along
 * the border: enough for directions to look along, and no more is asked of it. The even division
 * begins at the place farthest from the middle, so that it falls on the same places however the
 * picture is turned.
 */
#include "subpixel_priv.h"

#include <string.h>

enum { INSIDE = 1, WALKED = 2 };
enum { SMOOTHING_PASSES = 4 };
/* Places are at most this far apart, px: the finest detail that is ever kept is 2.1 px long, and
 * blur of half a pixel, with the smoothing of the grey, leaves none below 3 px (arc_noise.c). */
static const double step_px = 1.0;
enum { LEAST_PLACES = 32 };
enum { LEAST_CAPACITY = 128 };

enum kb_status kb_border_draw(struct kb_border_mask *mask, struct kb_rect box,
                              const struct kb_spans *spans, struct kb_err *err) {
    mask->x = box.x - 1;
    mask->y = box.y - 1;
    mask->width = box.width + 2;
    mask->height = box.height + 2;
    size_t pixels = (size_t)mask->width * (size_t)mask->height;
    if (pixels > mask->capacity) {
        uint8_t *grown = kb_resize(mask->px, pixels + pixels / 4, 1);
        if (grown == NULL) {
            return kb_fail_memory(err, "morphology", pixels + pixels / 4);
        }
        mask->px = grown;
        mask->capacity = pixels + pixels / 4;
    }
    memset(mask->px, 0, pixels);
    for (size_t i = 0; i < spans->count; i++) {
        const struct kb_span *span = &spans->item[i];
        size_t row = (size_t)(span->y - mask->y) * (size_t)mask->width;
        memset(mask->px + row + (span->x0 - mask->x), INSIDE, (size_t)(span->x1 - span->x0));
    }
    return KB_OK;
}

bool kb_border_inside(const struct kb_border_mask *mask, double x, double y) {
    int32_t column = (int32_t)x - mask->x; /* no region that is looked at begins at the frame */
    int32_t row = (int32_t)y - mask->y;
    return column >= 0 && row >= 0 && column < mask->width && row < mask->height &&
           (mask->px[(size_t)row * (size_t)mask->width + (size_t)column] & INSIDE) != 0;
}

/* ---- walking ----------------------------------------------------------------------------------
 */

static enum kb_status reserve_crack(struct kb_cracks *cracks, struct kb_err *err) {
    if (cracks->count < cracks->capacity) {
        return KB_OK;
    }
    size_t wanted = 2 * cracks->capacity + 256; /* a nodule of some 60 px at the first go */
    struct kb_point *middle = kb_resize(cracks->middle, wanted, sizeof *middle);
    cracks->middle = middle != NULL ? middle : cracks->middle;
    struct kb_point *scratch = kb_resize(cracks->scratch, wanted, sizeof *scratch);
    cracks->scratch = scratch != NULL ? scratch : cracks->scratch;
    uint8_t *cut = kb_resize(cracks->cut, wanted, 1);
    cracks->cut = cut != NULL ? cut : cracks->cut;
    if (middle == NULL || scratch == NULL || cut == NULL) {
        return kb_fail_memory(err, "morphology", wanted * sizeof *middle);
    }
    cracks->capacity = wanted;
    return KB_OK;
}

/* Headings clockwise: up, right, down, left. */
static const int32_t ahead_x[4] = {0, 1, 0, -1};
static const int32_t ahead_y[4] = {-1, 0, 1, 0};
/* From a corner of pixels: the pixel ahead of it on the right of the heading. */
static const int32_t right_x[4] = {0, 0, -1, -1};
static const int32_t right_y[4] = {-1, 0, 0, -1};

static int left_of(int heading) {
    return (heading + 3) % 4;
}

static uint8_t *mask_pixel(const struct kb_border_mask *mask, int32_t x, int32_t y) {
    return mask->px + (size_t)(y - mask->y) * (size_t)mask->width + (size_t)(x - mask->x);
}

/* The heading after the corner (x, y). */
static int turn_at(const struct kb_border_mask *mask, int32_t x, int32_t y, int heading) {
    int left = left_of(heading); /* what lies ahead on its right lies ahead on our left */
    if (*mask_pixel(mask, x + right_x[left], y + right_y[left]) & INSIDE) {
        return left;
    }
    bool straight = *mask_pixel(mask, x + right_x[heading], y + right_y[heading]) & INSIDE;
    return straight ? heading : (heading + 1) % 4;
}

enum kb_status kb_border_walk(struct kb_border_mask *mask, const struct kb_span *span,
                              const struct kb_image *label, const struct kb_runs *others,
                              struct kb_cracks *cracks, bool *walked, struct kb_err *err) {
    int32_t x = span->x0;
    int32_t y = span->y + 1;
    int heading = 0;
    cracks->count = 0;
    *walked = (*mask_pixel(mask, span->x0, span->y) & WALKED) == 0;
    while (*walked) {
        int32_t inside_x = x + right_x[heading];
        int32_t inside_y = y + right_y[heading];
        uint8_t *inside = mask_pixel(mask, inside_x, inside_y);
        if (heading == 0 && (*inside & WALKED) != 0) {
            break;
        }
        *inside |= heading == 0 ? WALKED : 0;
        enum kb_status status = reserve_crack(cracks, err);
        if (status != KB_OK) {
            return status;
        }
        int left = left_of(heading);
        uint8_t beyond = kb_row(label, inside_y + ahead_y[left])[inside_x + ahead_x[left]];
        uint32_t other = 0;
        cracks->cut[cracks->count] =
            beyond == KB_GRAPHITE ||
            (others != NULL &&
             kb_runs_at(others, inside_x + ahead_x[left], inside_y + ahead_y[left], &other));
        cracks->middle[cracks->count++] =
            (struct kb_point){x + 0.5 * ahead_x[heading], y + 0.5 * ahead_y[heading]};
        x += ahead_x[heading];
        y += ahead_y[heading];
        heading = turn_at(mask, x, y, heading);
    }
    return KB_OK;
}

static size_t next_of(size_t i, size_t n) {
    return i + 1 < n ? i + 1 : 0;
}

static size_t former_of(size_t i, size_t n) {
    return i > 0 ? i - 1 : n - 1;
}

void kb_cracks_smooth(struct kb_cracks *cracks) {
    size_t n = cracks->count;
    for (int pass = 0; pass < SMOOTHING_PASSES; pass++) {
        const struct kb_point *from = cracks->middle;
        struct kb_point *to = cracks->scratch;
        for (size_t i = 0; i < n; i++) {
            const struct kb_point *a = &from[former_of(i, n)];
            const struct kb_point *b = &from[next_of(i, n)];
            to[i].x = 0.25 * (a->x + b->x) + 0.5 * from[i].x;
            to[i].y = 0.25 * (a->y + b->y) + 0.5 * from[i].y;
        }
        cracks->scratch = cracks->middle;
        cracks->middle = to;
    }
}

/* ---- even division ----------------------------------------------------------------------------
 */

static size_t farthest_from_middle(const struct kb_point *p, size_t n) {
    double x = 0.0;
    double y = 0.0;
    for (size_t i = 0; i < n; i++) {
        x += p[i].x;
        y += p[i].y;
    }
    x /= (double)n;
    y /= (double)n;
    const double tie = 1e-9; /* px^2: above rounding, so that turning a picture changes no choice */
    size_t at = 0;
    double most = -1.0;
    for (size_t i = 0; i < n; i++) {
        double far = (p[i].x - x) * (p[i].x - x) + (p[i].y - y) * (p[i].y - y);
        if (far > most + tie) {
            most = far;
            at = i;
        }
    }
    return at;
}

/* Length of (dx, dy) squared: xx dx^2 + xy dx dy + yy dy^2. */
struct metric {
    double xx, xy, yy;
};

static struct metric metric_of(double ratio, double angle) {
    double c = cos(angle);
    double s = sin(angle);
    double k = 1.0 / (ratio * ratio);
    return (struct metric){c * c + k * s * s, 2.0 * c * s * (1.0 - k), s * s + k * c * c};
}

static double side_length(const struct kb_point *p, size_t n, size_t i, const struct metric *m) {
    const struct kb_point *next = &p[next_of(i, n)];
    double dx = next->x - p[i].x;
    double dy = next->y - p[i].y;
    return sqrt(m->xx * dx * dx + m->xy * dx * dy + m->yy * dy * dy);
}

/* One block for all arrays: 1 + 1 + 1 + 1 + 4 + 1 points, 2 numbers and 1 byte a place. */
static enum kb_status reserve_loop(struct kb_loop *loop, struct kb_err *err) {
    if (loop->count <= loop->capacity) {
        return KB_OK;
    }
    enum { POINTS = 9, NUMBERS = 2 };
    size_t n = loop->count > LEAST_CAPACITY ? loop->count : LEAST_CAPACITY;
    size_t bytes = POINTS * sizeof(struct kb_point) + NUMBERS * sizeof(double) + 1;
    struct kb_point *block = kb_resize(loop->base, n, bytes);
    if (block == NULL) {
        return kb_fail_memory(err, "morphology", n * bytes);
    }
    loop->base = block;
    loop->out = block + n;
    loop->point = block + 2 * n;
    loop->z = block + 3 * n;
    loop->fine = block + 4 * n;
    loop->turn = block + 8 * n;
    loop->ground = (double *)(void *)(block + POINTS * n);
    loop->scratch = loop->ground + n;
    loop->kind = (uint8_t *)(void *)(loop->scratch + n);
    loop->capacity = n;
    loop->turns = n;
    for (size_t i = 0; i < n; i++) {
        double angle = KB_PI * (double)i / (double)n;
        loop->turn[i] = (struct kb_point){cos(angle), sin(angle)};
    }
    return KB_OK;
}

static void find_normals(struct kb_loop *loop) {
    size_t n = loop->count;
    for (size_t i = 0; i < n; i++) {
        const struct kb_point *a = &loop->base[former_of(i, n)];
        const struct kb_point *b = &loop->base[next_of(i, n)];
        double dx = b->x - a->x;
        double dy = b->y - a->y;
        double length = sqrt(dx * dx + dy * dy);
        double scale = length > 0.0 ? 1.0 / length : 0.0;
        loop->out[i] = (struct kb_point){dy * scale, -dx * scale};
    }
}

static void spread_places(struct kb_loop *loop, const struct kb_cracks *cracks,
                          const struct metric *metric, double step) {
    const struct kb_point *p = cracks->middle;
    size_t n = cracks->count;
    size_t at = farthest_from_middle(p, n);
    size_t sides = 0;    /* walked */
    double passed = 0.0; /* length up to p[at] */
    double side = side_length(p, n, at, metric);
    for (size_t i = 0; i < loop->count; i++) {
        double want = (double)i * step;
        while (passed + side < want && sides < n) {
            passed += side;
            at = next_of(at, n);
            side = side_length(p, n, at, metric);
            sides++;
        }
        size_t next = next_of(at, n);
        double t = side > 0.0 ? (want - passed) / side : 0.0;
        loop->base[i] = (struct kb_point){p[at].x + t * (p[next].x - p[at].x),
                                          p[at].y + t * (p[next].y - p[at].y)};
        loop->kind[i] = cracks->cut[t < 0.5 ? at : next] != 0 ? KB_EDGE_CUT : KB_EDGE_GREY;
    }
}

enum kb_status kb_loop_divide(struct kb_loop *loop, const struct kb_cracks *cracks, double ratio,
                              double angle, struct kb_err *err) {
    const struct metric plain = {1.0, 0.0, 1.0};
    const struct metric stretched = ratio < 1.0 ? metric_of(ratio, angle) : plain;
    double length = 0.0;
    loop->length = 0.0;
    for (size_t i = 0; i < cracks->count; i++) {
        loop->length += side_length(cracks->middle, cracks->count, i, &plain);
    }
    for (size_t i = 0; i < cracks->count && ratio < 1.0; i++) {
        length += side_length(cracks->middle, cracks->count, i, &stretched);
    }
    length = ratio < 1.0 ? length : loop->length;
    loop->count = LEAST_PLACES;
    while ((double)loop->count * step_px < loop->length) {
        loop->count *= 2;
    }
    enum kb_status status = reserve_loop(loop, err);
    if (status == KB_OK) {
        spread_places(loop, cracks, &stretched, length / (double)loop->count);
        find_normals(loop);
    }
    return status;
}
