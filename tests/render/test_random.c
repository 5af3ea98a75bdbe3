/* Chance and elementary functions of the render stage. */
#include "render_priv.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

#include "render_near.h"

/* First outputs of SplitMix64 from state 1234567: the sequence printed with many public
 * implementations of the algorithm (Steele, Lea, Flood 2014); memory-unverified. */
static void splitmix_gives_its_published_sequence(void **state) {
    (void)state;
    static const uint64_t expected[] = {6457827717110365317u, 3203168211198807973u,
                                        9817491932198370423u, 4593380528125082431u,
                                        16408922859458223821u};
    struct kb_random random = {1234567};
    for (size_t i = 0; i < sizeof expected / sizeof *expected; i++) {
        assert_true(kb_random_bits(&random) == expected[i]);
    }
}

/* The C library is the reference; its own error is below 1 unit in the last place. */
static void elementary_functions_agree_with_the_c_library(void **state) {
    (void)state;
    for (int i = -4000; i <= 4000; i++) {
        double x = i * 0.00737, c, s;
        kb_turn(x, &c, &s);
        assert_near(c, cos(x * 6.283185307179586), 2e-14 * (1.0 + fabs(x)));
        assert_near(s, sin(x * 6.283185307179586), 2e-14 * (1.0 + fabs(x)));
        assert_near(kb_exp(x) / exp(x), 1.0, 1e-14 * (1.0 + fabs(x)));
        if (x > 0.0) {
            assert_near(kb_log(x), log(x), 1e-14);
        }
    }
}

static void normal_deviates_have_mean_0_and_deviation_1(void **state) {
    (void)state;
    struct kb_random random = kb_random_start(3, KB_CHANCE_SIZE, 0);
    double sum = 0.0, squares = 0.0;
    enum { N = 200000 };
    for (int i = 0; i < N; i++) {
        double z = kb_random_normal(&random);
        sum += z;
        squares += z * z;
    }
    /* five standard errors: 1/sqrt(N) of the mean, sqrt(2/N) of the variance */
    assert_near(sum / N, 0.0, 5.0 / sqrt(N));
    assert_near(squares / N, 1.0, 5.0 * sqrt(2.0 / N));
}

static void one_purpose_never_shifts_another(void **state) {
    (void)state;
    struct kb_random a = kb_random_start(7, KB_CHANCE_RING, 5), again = a;
    struct kb_random other = kb_random_start(7, KB_CHANCE_PLACE, 5);
    struct kb_random next = kb_random_start(7, KB_CHANCE_RING, 6);
    struct kb_random reseeded = kb_random_start(8, KB_CHANCE_RING, 5);
    uint64_t bits = kb_random_bits(&a);
    assert_true(kb_random_bits(&again) == bits);
    assert_true(kb_random_bits(&other) != bits);
    assert_true(kb_random_bits(&next) != bits);
    assert_true(kb_random_bits(&reseeded) != bits);
}

static void noise_is_smooth_and_bounded(void **state) {
    (void)state;
    uint64_t key = kb_random_key(1, KB_CHANCE_WARP, 0);
    double last = kb_noise(key, -20.0, 0.37), least = 0.0, most = 0.0;
    for (double x = -20.0; x < 20.0; x += 0.001) {
        double value = kb_noise(key, x, 0.37);
        assert_true(fabs(value - last) < 0.01); /* slope below 10 */
        least = fmin(least, value);
        most = fmax(most, value);
        last = value;
    }
    assert_true(least > -1.2 && least < -0.4);
    assert_true(most < 1.2 && most > 0.4);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(splitmix_gives_its_published_sequence),
        cmocka_unit_test(elementary_functions_agree_with_the_c_library),
        cmocka_unit_test(normal_deviates_have_mean_0_and_deviation_1),
        cmocka_unit_test(one_purpose_never_shifts_another),
        cmocka_unit_test(noise_is_smooth_and_bounded),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
