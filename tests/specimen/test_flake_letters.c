/* test_flake_letters.c - drawn distributions A to E are told by their letters.
 *
 * Truth: the pattern that was drawn (render/arrange.c), with seeds from 1001 on; the curves of
 * flake_letters.c were set on seeds 1 to 9. `test_specimen_flake_letters N` draws N specimens of
 * each letter and size and prints what became of them; for N = 6 see flake_letters.c.
 * Drawn fields are cleaner than cast ones: this shows that the figures tell what they are meant to
 * tell, not how often a letter is right on castings.
 */
#include "kb_cmocka.h"

#include "drawn_flakes.h"

#include <stdlib.h>

enum { FIELDS = 3 };
static const double sizes_um[] = {16.0, 30.0};
enum { SIZES = sizeof sizes_um / sizeof *sizes_um, UNTOLD = KB_FLAKE_LETTERS };

/* told[drawn][letter], the last column: no letter. */
static size_t told[KB_FLAKE_LETTERS][KB_FLAKE_LETTERS + 1];
static double believed[KB_FLAKE_LETTERS]; /* least belief in the drawn letter */

static void tell_specimen(int letter, uint64_t seed, double size_um) {
    struct kb_specimen specimen;
    assert_true(
        drawn_flakes((enum kb_render_distribution)letter, seed, FIELDS, size_um, &specimen));
    const struct kb_flake_distribution *flakes = &specimen.distribution;
    double sum = flakes->not_told;
    for (int i = 0; i < KB_FLAKE_LETTERS; i++) {
        sum += flakes->belief[i];
    }
    assert_near(sum, 1.0, 1e-12);
    told[letter][flakes->told ? (int)flakes->letter : UNTOLD]++;
    believed[letter] = fmin(believed[letter], flakes->belief[letter]);
    kb_specimen_release(&specimen);
}

static void tell_all(int specimens) {
    for (int letter = 0; letter < KB_FLAKE_LETTERS; letter++) {
        believed[letter] = 1.0;
        for (int i = 0; i < specimens; i++) {
            for (int size = 0; size < SIZES; size++) {
                tell_specimen(letter, 1001 + 100 * (uint64_t)i + 10 * (uint64_t)size,
                              sizes_um[size]);
            }
        }
    }
}

static void no_drawn_distribution_is_called_by_another_letter(void **state) {
    (void)state;
    tell_all(1);
    for (int drawn = 0; drawn < KB_FLAKE_LETTERS; drawn++) {
        for (int letter = 0; letter < KB_FLAKE_LETTERS; letter++) {
            assert_true(letter == drawn || told[drawn][letter] == 0);
        }
    }
}

static void most_drawn_distributions_are_told(void **state) {
    (void)
        state; /* coarse flakes of A are too few in three small fields: no letter is right there */
    for (int drawn = 0; drawn < KB_FLAKE_LETTERS; drawn++) {
        assert_true(told[drawn][drawn] >= 1);
    }
    assert_true(told[KB_FLAKE_A][UNTOLD] <= 1);
    assert_int_equal(told[KB_FLAKE_D][UNTOLD] + told[KB_FLAKE_E][UNTOLD], 0);
}

static void few_flakes_give_no_letter(void **state) {
    (void)state;
    struct kb_specimen specimen;
    assert_true(drawn_flakes(KB_RENDER_A, 1500, 1, 30.0, &specimen));
    assert_true(specimen.distribution.flakes < 100);
    assert_false(specimen.distribution.told);
    assert_near(specimen.distribution.not_told, 1.0, 0.0);
    assert_non_null(specimen.distribution.why);
    assert_string_equal(specimen.distribution.designation, "");
    kb_specimen_release(&specimen);
}

static void print_table(int specimens) {
    tell_all(specimens);
    printf("# drawn,A,B,C,D,E,not_told,least_belief (specimens of %d fields)\n", FIELDS);
    for (int drawn = 0; drawn < KB_FLAKE_LETTERS; drawn++) {
        printf("%c", 'A' + drawn);
        for (int letter = 0; letter <= KB_FLAKE_LETTERS; letter++) {
            printf(",%zu", told[drawn][letter]);
        }
        printf(",%.2f\n", believed[drawn]);
    }
}

int main(int argc, char **argv) {
    if (argc == 2) {
        print_table(atoi(argv[1]));
        return 0;
    }
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(no_drawn_distribution_is_called_by_another_letter),
        cmocka_unit_test(most_drawn_distributions_are_told),
        cmocka_unit_test(few_flakes_give_no_letter),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
