/* test_exact_sum.c - the sum that does not depend on order. Truth: cases whose exact sum is known.
 */
#include "specimen_priv.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

static void the_sum_keeps_what_a_plain_sum_loses(void **state) {
    (void)state;
    const double lost[] = {1.0, 1e100, 1.0, -1e100};
    assert_true(kb_sum_of(lost, 4) == 2.0);
    double tenth[10];
    for (int i = 0; i < 10; i++) {
        tenth[i] = 0.1;
    }
    assert_true(kb_sum_of(tenth, 10) == 1.0); /* 10 x 0.1000000000000000055 rounds to 1 */
}

static void a_tie_is_broken_by_the_parts_below(void **state) {
    (void)state;
    /* 1 + 2^-53 is a tie that rounds to even, 1; any more rounds up */
    const double tie[] = {1.0, 0x1p-53};
    const double more[] = {1.0, 0x1p-53, 0x1p-120};
    const double less[] = {1.0, 0x1p-53, -0x1p-120};
    assert_true(kb_sum_of(tie, 2) == 1.0);
    assert_true(kb_sum_of(more, 3) == 1.0 + 0x1p-52);
    assert_true(kb_sum_of(less, 3) == 1.0);
}

static void terms_across_the_whole_range_fit(void **state) {
    (void)state;
    struct kb_sum sum = {.parts = 0, .broken = false};
    for (int power = -1022; power <= 1000; power++) {
        kb_sum_add(&sum, ldexp(1.0, power));
        kb_sum_add(&sum, -ldexp(1.0, -power / 2));
    }
    assert_true(isfinite(kb_sum_value(&sum)));
    assert_in_range(sum.parts, 1, KB_SUM_PARTS);
}

static void nothing_sums_to_nought_and_rubbish_to_no_number(void **state) {
    (void)state;
    const double rubbish[] = {1.0, (double)INFINITY, -(double)INFINITY};
    const double overflow[] = {1.7e308, 1.7e308};
    assert_true(kb_sum_of(NULL, 0) == 0.0);
    assert_true(isnan(kb_sum_of(rubbish, 3)));
    assert_true(isnan(kb_sum_of(overflow, 2)));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_sum_keeps_what_a_plain_sum_loses),
        cmocka_unit_test(a_tie_is_broken_by_the_parts_below),
        cmocka_unit_test(terms_across_the_whole_range_fit),
        cmocka_unit_test(nothing_sums_to_nought_and_rubbish_to_no_number),
    };
    return cmocka_run_group_tests_name("exact sum", tests, NULL, NULL);
}
