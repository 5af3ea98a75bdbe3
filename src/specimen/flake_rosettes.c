/* flake_rosettes.c - whether flakes run radially from common centres, and lie closer there.
 *
 * About each place on a grid, the outline within a ring is asked how well it points to the place:
 * R = sum of b cos 2(p - t) / sum of b, with p the outline's direction and t that towards the
 * place: 1 all radial, -1 all round about, 0 for flakes without order and for parallel ones (the
 * field's own order is taken off first). By chance R scatters as far up as down. Rosettes lift its
 * upper tail only: the mean of the highest places plus that of the lowest is the radial index. No
 * published source; the rings are as wide as three of the boxes in flake_field.c.
 */
#include "flakes_priv.h"

#include <stdlib.h>

enum {
    REACH = 12,  /* blocks from the centre to the ring's outer edge: three boxes */
    MIDDLE = 3,  /* blocks: what counts as the middle */
    MANY = 4000, /* places above which every second one is enough */
    LEAST = 60   /* places below which tails say nothing */
};
/* Share of the places in each tail. */
static const double tail = 0.04;

struct blocks {
    struct kb_outline_sum *sum;
    int32_t columns, rows;
};

struct place {
    double radial; /* R */
    double middle; /* outline an area in the middle, over that in the whole ring */
};

/* Cosine and sine of twice the direction to each block of the ring. */
struct compass {
    double cosine[2 * REACH + 1][2 * REACH + 1], sine[2 * REACH + 1][2 * REACH + 1];
    bool in[2 * REACH + 1][2 * REACH + 1];
};

static void make_compass(struct compass *compass) {
    for (int dy = -REACH; dy <= REACH; dy++) {
        for (int dx = -REACH; dx <= REACH; dx++) {
            double square = (double)(dx * dx + dy * dy);
            bool in = square > 0.0 && square <= (double)(REACH * REACH);
            compass->in[dy + REACH][dx + REACH] = in || (dx == 0 && dy == 0);
            /* y grows downwards in the picture, angles are counted upwards */
            compass->cosine[dy + REACH][dx + REACH] =
                in ? (double)(dx * dx - dy * dy) / square : 0.0;
            compass->sine[dy + REACH][dx + REACH] = in ? -2.0 * (double)(dx * dy) / square : 0.0;
        }
    }
}

static struct place look(const struct blocks *blocks, const struct compass *compass, int32_t x,
                         int32_t y) {
    double along = 0.0, length = 0.0, middle = 0.0, area = 0.0, middle_area = 0.0;
    for (int dy = -REACH; dy <= REACH; dy++) {
        for (int dx = -REACH; dx <= REACH; dx++) {
            int32_t at_x = x + dx, at_y = y + dy;
            if (!compass->in[dy + REACH][dx + REACH] || at_x < 0 || at_y < 0 ||
                at_x >= blocks->columns || at_y >= blocks->rows) {
                continue;
            }
            const struct kb_outline_sum *sum =
                &blocks->sum[(size_t)at_y * (size_t)blocks->columns + (size_t)at_x];
            along += sum->cosine * compass->cosine[dy + REACH][dx + REACH] +
                     sum->sine * compass->sine[dy + REACH][dx + REACH];
            length += sum->length;
            area += 1.0;
            if (dx * dx + dy * dy <= MIDDLE * MIDDLE) {
                middle += sum->length;
                middle_area += 1.0;
            }
        }
    }
    return (struct place){
        .radial = length > 0.0 ? along / length : 0.0,
        .middle = length > 0.0 ? (middle / middle_area) / (length / area) : 1.0,
    };
}

static int by_radial(const void *a, const void *b) {
    double ra = ((const struct place *)a)->radial, rb = ((const struct place *)b)->radial;
    return (ra > rb) - (ra < rb);
}

static void tell(struct place *place, size_t count, struct kb_rosettes *out) {
    if (count < LEAST) {
        return;
    }
    qsort(place, count, sizeof *place, by_radial);
    size_t n = (size_t)ceil(tail * (double)count);
    double low = 0.0, high = 0.0, middle = 0.0;
    for (size_t i = 0; i < n; i++) {
        low += place[i].radial;
        high += place[count - 1 - i].radial;
        middle += place[count - 1 - i].middle;
    }
    out->radial = (high + low) / (double)n;
    out->middle = middle / (double)n;
}

/* Two by two tiles a block, the field's order taken off. */
static void make_blocks(const struct kb_tiles *tiles, const struct kb_outline_sum *all,
                        struct blocks *blocks) {
    double cosine = all->length > 0.0 ? all->cosine / all->length : 0.0;
    double sine = all->length > 0.0 ? all->sine / all->length : 0.0;
    for (int32_t row = 0; row < 2 * blocks->rows; row++) {
        for (int32_t column = 0; column < 2 * blocks->columns; column++) {
            struct kb_outline_sum part = kb_tile_outline(
                &tiles->tile[(size_t)row * (size_t)tiles->columns + (size_t)column]);
            struct kb_outline_sum *to =
                &blocks->sum[(size_t)(row / 2) * (size_t)blocks->columns + (size_t)(column / 2)];
            to->length += part.length;
            to->cosine += part.cosine - cosine * part.length;
            to->sine += part.sine - sine * part.length;
        }
    }
}

enum kb_status kb_rosettes_run(const struct kb_tiles *tiles, const struct kb_outline_sum *all,
                               struct kb_rosettes *out, struct kb_err *err) {
    *out = (struct kb_rosettes){KB_NAN, KB_NAN};
    struct blocks blocks = {.columns = tiles->columns / 2, .rows = tiles->rows / 2};
    const int32_t margin = REACH / 2; /* half of the ring may lie beyond the frame */
    if (blocks.columns <= 2 * margin || blocks.rows <= 2 * margin) {
        return KB_OK;
    }
    size_t count = (size_t)blocks.columns * (size_t)blocks.rows, places = 0;
    blocks.sum = kb_alloc_zero(count, sizeof *blocks.sum);
    struct place *place = kb_alloc(count, sizeof *place);
    if (blocks.sum == NULL || place == NULL) {
        kb_free(blocks.sum);
        kb_free(place);
        return kb_fail_memory(err, "specimen", count * sizeof *blocks.sum);
    }
    struct compass compass;
    make_compass(&compass);
    make_blocks(tiles, all, &blocks);
    const int32_t stride = count > MANY ? 2 : 1;
    for (int32_t y = margin; y < blocks.rows - margin; y += stride) {
        for (int32_t x = margin; x < blocks.columns - margin; x += stride) {
            place[places++] = look(&blocks, &compass, x, y);
        }
    }
    tell(place, places, out);
    kb_free(blocks.sum);
    kb_free(place);
    return KB_OK;
}
