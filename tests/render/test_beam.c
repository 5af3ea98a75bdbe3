/* The noise of a scanned beam and the glow of a charge: statistics of Poisson noise behind a filter
 * of first order, for which the truth is a formula. */
#include "render_priv.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

#include "render_near.h"

/* An even field: no particle, no grain, no pearlite. */
static struct kb_render_params even_field(double grey_noise) {
    struct kb_render_params p = small(600, 400);
    p.look = KB_RENDER_SEM;
    p.graphite = KB_RENDER_NONE;
    p.pearlite_of_matrix = 0.0;
    p.grain_um = p.fall_off = p.noise = p.scratches_per_mm2 = 0.0;
    p.beam_noise = grey_noise;
    return p;
}

struct moments {
    double mean, variance, along, down; /* the last two: covariance of neighbours */
};

static struct moments moments_of(const struct kb_image *noisy, const struct kb_image *clean) {
    struct moments m = {0};
    double count = 0.0;
    for (int32_t y = 0; y + 1 < noisy->height; y++) {
        const uint8_t *a = kb_row(noisy, y), *b = kb_row(clean, y);
        const uint8_t *c = kb_row(noisy, y + 1), *d = kb_row(clean, y + 1);
        for (int32_t x = 0; x + 1 < noisy->width; x++) {
            double here = a[x] - b[x];
            m.mean += here;
            m.variance += here * here;
            m.along += here * (a[x + 1] - b[x + 1]);
            m.down += here * (c[x] - d[x]);
            count += 1.0;
        }
    }
    return (struct moments){m.mean / count, m.variance / count, m.along / count, m.down / count};
}

static void beam_noise_grows_with_the_root_of_the_grey_and_runs_with_the_rows(void **state) {
    (void)state;
    struct kb_render_params p = even_field(0.0);
    struct kb_render clean = draw(&p);
    p.beam_noise = 20.0;
    struct kb_render noisy = draw(&p);
    struct moments m = moments_of(&noisy.grey, &clean.grey);
    /* Ferrite is drawn at grey 76: variance 20^2 * 76 / 200, and a twelfth for either rounding. The
     * error of a variance from 240 000 pixels is 0.3 %; four of those. */
    assert_near(m.mean, 0.0, 0.15);
    assert_near(m.variance, 400.0 * 76.0 / 200.0 + 1.0 / 6.0, 0.02 * m.variance);
    assert_near(m.along / m.variance, 0.25, 0.02);
    assert_near(m.down / m.variance, 0.0, 0.02);
    kb_render_release(&clean);
    kb_render_release(&noisy);
}

static void another_exposure_has_other_beam_noise_on_the_same_place(void **state) {
    (void)state;
    struct kb_render_params p = even_field(20.0);
    struct kb_render one = draw(&p);
    p.exposure = 1;
    struct kb_render two = draw(&p);
    struct moments m = moments_of(&one.grey, &two.grey);
    /* the difference of two independent pictures has twice the variance of one */
    assert_near(m.variance, 2.0 * (400.0 * 76.0 / 200.0), 0.02 * m.variance);
    kb_render_release(&one);
    kb_render_release(&two);
}

static double mean_of(const struct kb_image *image, int32_t y0, int32_t y1) {
    double sum = 0.0;
    for (int32_t y = y0; y < y1; y++) {
        for (int32_t x = 0; x < image->width; x++) {
            sum += kb_row(image, y)[x];
        }
    }
    return sum / ((double)(y1 - y0) * image->width);
}

static void charge_glows_from_the_border_no_brighter_than_asked(void **state) {
    (void)state;
    for (uint64_t seed = 1; seed <= 6; seed++) {
        struct kb_render_params p = even_field(0.0);
        p.seed = seed;
        struct kb_render clean = draw(&p);
        p.charging = 60.0;
        struct kb_render charged = draw(&p);
        int most = -255, least = 255, border = -255;
        for (int32_t y = 0; y < p.height; y++) {
            for (int32_t x = 0; x < p.width; x++) {
                int gain = kb_row(&charged.grey, y)[x] - kb_row(&clean.grey, y)[x];
                bool rim = x == 0 || y == 0 || x == p.width - 1 || y == p.height - 1;
                most = gain > most ? gain : most;
                least = gain < least ? gain : least;
                border = rim && gain > border ? gain : border;
            }
        }
        /* The drift from row to row is 0.2 of the charge, at most 1.2 times that. */
        assert_in_range(most, 60 - 16, 60 + 16);
        assert_true(border >= most - 4); /* the drift may lift a row next to the border's */
        assert_true(least >= -16 && least < 30);
        /* and the mean light of the field moves by the glow, which no row escapes wholly */
        assert_true(mean_of(&charged.grey, 0, p.height) > mean_of(&clean.grey, 0, p.height));
        kb_render_release(&clean);
        kb_render_release(&charged);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(beam_noise_grows_with_the_root_of_the_grey_and_runs_with_the_rows),
        cmocka_unit_test(another_exposure_has_other_beam_noise_on_the_same_place),
        cmocka_unit_test(charge_glows_from_the_border_no_brighter_than_asked),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
