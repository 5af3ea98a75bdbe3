/* test_pyramid.c - tiles of every level beside a plain computation, for odd sizes; lines around
 * particles enclose their pixels. */
#include "fail_alloc.h"
#include "kb_cmocka.h"
#include "serve_priv.h"

#include <stdlib.h>
#include <string.h>

static struct kb_image random_picture(int32_t width, int32_t height, uint8_t values) {
    struct kb_image image;
    uint32_t seed = 3;
    assert_int_equal(kb_image_alloc(width, height, &image, NULL), KB_OK);
    for (int32_t y = 0; y < height; y++) {
        for (int32_t x = 0; x < width; x++) {
            seed = seed * 1664525u + 1013904223u;
            kb_row(&image, y)[x] = (uint8_t)((seed >> 24) % values);
        }
    }
    return image;
}

static uint8_t plain_mean(const struct kb_image *image, int level, int32_t x, int32_t y) {
    const int32_t side = 1 << level;
    int64_t sum = 0, count = 0;
    for (int32_t v = y * side; v < (y + 1) * side && v < image->height; v++) {
        for (int32_t u = x * side; u < (x + 1) * side && u < image->width; u++) {
            sum += kb_row(image, v)[u];
            count++;
        }
    }
    return (uint8_t)floor((double)sum / (double)count + 0.5);
}

/* Halved once by counting each label; the first met of the most frequent. */
static struct kb_image plain_half(const struct kb_image *from) {
    struct kb_image to;
    assert_int_equal(kb_image_alloc((from->width + 1) / 2, (from->height + 1) / 2, &to, NULL),
                     KB_OK);
    for (int32_t y = 0; y < to.height; y++) {
        for (int32_t x = 0; x < to.width; x++) {
            uint8_t met[4];
            int count = 0, best = 0, most = 0;
            for (int i = 0; i < 4; i++) {
                const int32_t u = 2 * x + i % 2, v = 2 * y + i / 2;
                if (u < from->width && v < from->height) {
                    met[count++] = kb_row(from, v)[u];
                }
            }
            for (int i = 0; i < count; i++) {
                int same = 0;
                for (int k = 0; k < count; k++) {
                    same += met[k] == met[i];
                }
                best = same > most ? i : best;
                most = same > most ? same : most;
            }
            kb_row(&to, y)[x] = met[best];
        }
    }
    return to;
}

static void compare(struct kb_pyramid *pyramid, int level, int32_t width, int32_t height,
                    const struct kb_image *picture, const struct kb_image *halved) {
    static uint8_t tile[KB_TILE_SIDE * KB_TILE_SIDE];
    for (int32_t ty = 0; ty * KB_TILE_SIDE < height; ty++) {
        for (int32_t tx = 0; tx * KB_TILE_SIDE < width; tx++) {
            int32_t w = 0, h = 0;
            assert_int_equal(kb_pyramid_tile(pyramid, level, tx, ty, tile, &w, &h, NULL), KB_OK);
            for (int32_t i = 0; i < w * h; i++) {
                const int32_t x = tx * KB_TILE_SIDE + i % w, y = ty * KB_TILE_SIDE + i / w;
                assert_int_equal(tile[i], halved != NULL ? kb_row(halved, y)[x]
                                                         : plain_mean(picture, level, x, y));
            }
        }
    }
}

static void means_of_every_level_are_those_of_the_picture(void **state) {
    (void)state;
    struct kb_image picture = random_picture(777, 531, 255);
    struct kb_pyramid *pyramid = NULL;
    assert_int_equal(kb_pyramid_make(&picture, KB_PYRAMID_MEAN, &pyramid, NULL), KB_OK);
    assert_int_equal(kb_pyramid_levels(pyramid), 11); /* 777 < 1024 = 2^10 */
    int32_t width = picture.width, height = picture.height;
    for (int level = 0; level < kb_pyramid_levels(pyramid); level++) {
        compare(pyramid, level, width, height, &picture, NULL);
        width = (width + 1) / 2;
        height = (height + 1) / 2;
    }
    kb_pyramid_release(pyramid);
    kb_image_release(&picture);
}

static void labels_of_every_level_are_the_most_frequent(void **state) {
    (void)state;
    struct kb_image picture = random_picture(613, 822, 4);
    struct kb_pyramid *pyramid = NULL;
    assert_int_equal(kb_pyramid_make(&picture, KB_PYRAMID_MOST, &pyramid, NULL), KB_OK);
    struct kb_image halved = random_picture(613, 822, 4);
    for (int level = 0; level < kb_pyramid_levels(pyramid); level++) {
        compare(pyramid, level, halved.width, halved.height, &picture, &halved);
        struct kb_image next = plain_half(&halved);
        kb_image_release(&halved);
        halved = next;
    }
    kb_image_release(&halved);
    kb_pyramid_release(pyramid);
    kb_image_release(&picture);
}

static void tiles_beyond_the_picture_are_not_there(void **state) {
    (void)state;
    struct kb_image picture = random_picture(512, 300, 255);
    struct kb_pyramid *pyramid = NULL;
    static uint8_t tile[KB_TILE_SIDE * KB_TILE_SIDE];
    assert_int_equal(kb_pyramid_make(&picture, KB_PYRAMID_MEAN, &pyramid, NULL), KB_OK);
    const int64_t wrong[][3] = {{0, 2, 0},  {0, 0, 2},  {1, 1, 0},         {-1, 0, 0},
                                {10, 0, 0}, {0, -1, 0}, {0, INT32_MAX, 0}, {INT64_MAX, 0, 0}};
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++) {
        int32_t w = 0, h = 0;
        assert_int_equal(
            kb_pyramid_tile(pyramid, wrong[i][0], wrong[i][1], wrong[i][2], tile, &w, &h, NULL),
            KB_E_INPUT);
    }
    kb_pyramid_release(pyramid);
    kb_image_release(&picture);
}

static void every_allocation_of_a_tile_may_fail(void **state) {
    (void)state;
    struct kb_image picture = random_picture(900, 700, 4);
    static uint8_t tile[KB_TILE_SIDE * KB_TILE_SIDE];
    for (int kind = KB_PYRAMID_MEAN; kind <= KB_PYRAMID_MOST; kind++) {
        enum kb_status status = KB_E_MEMORY;
        for (size_t n = 1; status != KB_OK; n++) {
            struct kb_pyramid *pyramid = NULL;
            int32_t w = 0, h = 0;
            fail_alloc_at(n);
            status = kb_pyramid_make(&picture, (enum kb_pyramid_kind)kind, &pyramid, NULL);
            if (status == KB_OK) {
                status = kb_pyramid_tile(pyramid, 4, 0, 0, tile, &w, &h, NULL);
            }
            kb_pyramid_release(pyramid);
            assert_int_equal(fail_alloc_open_blocks(), 0);
            assert_int_equal(status, fail_alloc_happened() ? KB_E_MEMORY : KB_OK);
            fail_alloc_at(0);
        }
    }
    kb_image_release(&picture);
}

/* ---- outlines ---- */

static float number_at(const struct kb_text *bytes, size_t at) {
    float value = 0.0F;
    memcpy(&value, bytes->data + at,
           sizeof value); /* little-endian, as the machines this runs on */
    return value;
}

static uint32_t count_at(const struct kb_text *bytes, size_t at) {
    uint32_t value = 0;
    memcpy(&value, bytes->data + at, sizeof value);
    return value;
}

/* Twice the area inside all loops of a particle. */
static double twice_area(const struct kb_text *bytes, uint32_t particle) {
    double sum = 0.0;
    size_t at = 4;
    for (uint32_t loop = 0; loop < count_at(bytes, 0); loop++) {
        const uint32_t id = count_at(bytes, at), points = count_at(bytes, at + 4);
        at += 8;
        for (uint32_t i = 0; i < points && id == particle; i++) {
            const size_t a = at + 8u * i, b = at + 8u * ((i + 1) % points);
            sum += (double)number_at(bytes, a) * (double)number_at(bytes, b + 4) -
                   (double)number_at(bytes, b) * (double)number_at(bytes, a + 4);
        }
        at += 8u * points;
    }
    assert_int_equal(at, bytes->length);
    return sum;
}

/* Random pixels make regions with holes and with corners that only touch. */
static void lines_along_pixels_enclose_as_many_of_them(void **state) {
    (void)state;
    struct kb_image picture = random_picture(60, 50, 5);
    const bool chosen[256] = {true, true};
    struct kb_particles particles = {.width = 60, .height = 50};
    assert_int_equal(kb_runs_label(&picture, chosen, 8, &particles.runs, NULL), KB_OK);
    const size_t count = particles.runs.regions;
    assert_true(count > 20);
    particles.particle = kb_alloc_zero(count, sizeof *particles.particle);
    assert_non_null(particles.particle);
    particles.count = count;
    uint64_t *pixels = kb_alloc_zero(count, sizeof *pixels);
    assert_non_null(pixels);
    for (size_t i = 0; i < count; i++) {
        particles.particle[i].id = (uint32_t)i + 1;
        particles.particle[i].box = (struct kb_rect){0, 0, 60, 50};
    }
    for (size_t i = 0; i < particles.runs.count; i++) {
        const struct kb_run *run = &particles.runs.run[i];
        pixels[run->region] += (uint64_t)(run->x1 - run->x0);
    }
    struct kb_text bytes = KB_TEXT_INIT;
    assert_int_equal(kb_outlines_bytes(&particles, &bytes, NULL), KB_OK);
    for (uint32_t i = 0; i < count; i++) {
        assert_near(twice_area(&bytes, i + 1), 2.0 * (double)pixels[i], 1e-9);
    }
    kb_text_release(&bytes);
    kb_free(pixels);
    kb_particles_release(&particles);
    kb_image_release(&picture);
}

static void steel_has_no_lines(void **state) {
    (void)state;
    struct kb_text bytes = KB_TEXT_INIT;
    assert_int_equal(kb_outlines_bytes(NULL, &bytes, NULL), KB_OK);
    assert_int_equal(bytes.length, 4);
    assert_int_equal(count_at(&bytes, 0), 0);
    kb_text_release(&bytes);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(means_of_every_level_are_those_of_the_picture),
        cmocka_unit_test(labels_of_every_level_are_the_most_frequent),
        cmocka_unit_test(tiles_beyond_the_picture_are_not_there),
        cmocka_unit_test(every_allocation_of_a_tile_may_fail),
        cmocka_unit_test(lines_along_pixels_enclose_as_many_of_them),
        cmocka_unit_test(steel_has_no_lines),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
