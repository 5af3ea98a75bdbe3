/* pictures.c - see pictures.h. */
#include "pictures.h"
#include "kb_cmocka.h"

#include <stdlib.h>
#include <string.h>

#define GAP 5 /* bytes between rows: odd, so that rows start at any alignment */
#define WATCH 0xA5

const struct picture_size picture_sizes[] = {{1, 1},  {1, 37}, {53, 1},  {2, 2},   {3, 90},
                                             {63, 5}, {64, 9}, {65, 11}, {128, 3}, {70, 41}};
const int picture_size_count = (int)(sizeof picture_sizes / sizeof picture_sizes[0]);

static uint32_t state = 2463534242u;

void picture_seed(uint32_t seed) {
    state = seed * 2654435761u + 1;
}

uint32_t picture_random(void) {
    state ^= state << 13;
    state ^= state >> 17;
    state ^= state << 5;
    return state;
}

struct kb_image picture_make(int32_t width, int32_t height) {
    size_t stride = (size_t)width + GAP;
    uint8_t *px = malloc(stride * (size_t)height);
    assert_non_null(px);
    memset(px, WATCH, stride * (size_t)height);
    return (struct kb_image){.width = width, .height = height, .stride = stride, .px = px};
}

void picture_release(struct kb_image *picture) {
    free(picture->px);
    *picture = (struct kb_image){0};
}

void picture_check_gaps(const struct kb_image *picture) {
    for (int32_t y = 0; y < picture->height; y++) {
        for (size_t x = (size_t)picture->width; x < picture->stride; x++) {
            assert_int_equal(kb_row(picture, y)[x], WATCH);
        }
    }
}

static bool is_set(enum picture_kind kind, int32_t x, int32_t y, uint32_t patch) {
    switch (kind) {
    case PICTURE_FULL:
        return true;
    case PICTURE_CHECKER:
        return (x + y) % 2 == 0;
    case PICTURE_SPARSE:
        return picture_random() % 20 == 0;
    case PICTURE_EVEN:
        return picture_random() % 2 == 0;
    case PICTURE_DENSE:
        return picture_random() % 20 != 0;
    case PICTURE_BLOBS:
        return ((uint32_t)(x / 6) * 7919u + (uint32_t)(y / 4) * 104729u + patch) % 5 < 2;
    case PICTURE_CORNER:
        return x == 0 && y == 0;
    case PICTURE_NOTCH:
        return x != 0 || y != 0;
    case PICTURE_CLEAR:
    case PICTURE_KINDS:
        break;
    }
    return false;
}

struct kb_image picture_mask(enum picture_kind kind, int32_t width, int32_t height, uint8_t set) {
    struct kb_image picture = picture_make(width, height);
    uint32_t patch = picture_random() % 5;
    for (int32_t y = 0; y < height; y++) {
        for (int32_t x = 0; x < width; x++) {
            kb_row(&picture, y)[x] = is_set(kind, x, y, patch) ? set : 0;
        }
    }
    return picture;
}

struct kb_image picture_grey(int32_t width, int32_t height) {
    struct kb_image picture = picture_make(width, height);
    for (int32_t y = 0; y < height; y++) {
        for (int32_t x = 0; x < width; x++) {
            int patch = (x / 9 + y / 7) % 4;
            uint8_t flat = patch == 0 ? 0 : 255;
            kb_row(&picture, y)[x] = patch < 2 ? flat : (uint8_t)picture_random();
        }
    }
    return picture;
}

struct kb_image picture_labels(int32_t width, int32_t height) {
    struct kb_image picture = picture_make(width, height);
    for (int32_t y = 0; y < height; y++) {
        for (int32_t x = 0; x < width; x++) {
            uint32_t label = (uint32_t)(x / 11 + y / 5);
            kb_row(&picture, y)[x] =
                (uint8_t)((picture_random() % 8 == 0 ? picture_random() : label) % 5);
        }
    }
    return picture;
}

struct kb_image picture_turned(const struct kb_image *from) {
    struct kb_image to = picture_make(from->height, from->width);
    for (int32_t y = 0; y < from->height; y++) {
        for (int32_t x = 0; x < from->width; x++) {
            kb_row(&to, x)[from->height - 1 - y] = kb_row(from, y)[x];
        }
    }
    return to;
}

struct kb_image picture_mirrored(const struct kb_image *from) {
    struct kb_image to = picture_make(from->width, from->height);
    for (int32_t y = 0; y < from->height; y++) {
        for (int32_t x = 0; x < from->width; x++) {
            kb_row(&to, y)[from->width - 1 - x] = kb_row(from, y)[x];
        }
    }
    return to;
}

bool picture_same(const struct kb_image *a, const struct kb_image *b) {
    if (a->width != b->width || a->height != b->height) {
        return false;
    }
    for (int32_t y = 0; y < a->height; y++) {
        if (memcmp(kb_row(a, y), kb_row(b, y), (size_t)a->width) != 0) {
            return false;
        }
    }
    return true;
}
