/* test_coverage.c - do the 95 % intervals hold the truth in 95 of 100 specimens?
 *
 * Specimens are drawn with a known truth: fields with a Poisson number of particles, log-normal
 * areas, and a share of nodules that varies from field to field (mean and spread known). Tolerance:
 * four standard deviations of the share of hits over the runs, plus a margin that is stated beside
 * each case where the theory itself is approximate. Seeds are fixed.
 */
#include "keelblock/specimen.h"

#include "seeded.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

enum { RUNS = 2500, FULL_RUNS = 800, FIELDS_MOST = 8 };

static const size_t field_counts[] = {3, 5, 8};

struct hits {
    int low, inside, high; /* truth below, inside, above the interval */
};

static void take(struct hits *hits, const struct kb_estimate *estimate, double truth) {
    assert_true(estimate->has_interval);
    if (truth < estimate->lo) {
        hits->low++;
    } else if (truth > estimate->hi) {
        hits->high++;
    } else {
        hits->inside++;
    }
}

static void expect_coverage(const struct hits *hits, double least, double most, const char *what) {
    double runs = hits->low + hits->inside + hits->high;
    double covered = hits->inside / runs;
    double noise = 4.0 * sqrt(0.95 * 0.05 / runs);
    if (covered < least - noise || covered > most + noise) {
        fail_msg("%s: covered %.4f, wanted %.3f to %.3f (noise %.4f); truth below %d, above %d",
                 what, covered, least, most, noise, hits->low, hits->high);
    }
}

static void the_mean_covers_as_stated(void **state) {
    (void)state;
    for (size_t k = 0; k < 3; k++) {
        struct random random = {.state = 11 + k};
        struct hits hits = {0, 0, 0};
        for (int run = 0; run < RUNS; run++) {
            double value[FIELDS_MOST];
            for (size_t i = 0; i < field_counts[k]; i++) {
                value[i] = 0.4 + 0.05 * random_normal(&random);
            }
            struct kb_estimate mean = kb_estimate_mean(value, field_counts[k], "1", 0.0, 1.0);
            take(&hits, &mean, 0.4);
        }
        expect_coverage(&hits, 0.95, 0.95, "mean of normal fields"); /* exact in theory */
    }
}

/* One field: share of nodules about `share` with standard deviation `spread` (uniform law), nodular
 * and whole area. Truth of the ratio is `share`, for areas do not depend on it. */
static void draw_field(struct random *random, double particles, double share, double spread,
                       double *nodular, double *rated) {
    double here = share + spread * sqrt(3.0) * (2.0 * random_unit(random) - 1.0);
    int count = random_poisson(random, particles);
    *nodular = 0.0;
    *rated = 0.0;
    for (int i = 0; i <= count; i++) { /* at least one */
        double area = exp(0.7 * random_normal(random));
        *rated += area;
        *nodular += random_unit(random) < here ? area : 0.0;
    }
}

static struct hits cover_share(double particles, double share, double spread, size_t fields,
                               uint64_t seed) {
    struct random random = {.state = seed};
    struct hits hits = {0, 0, 0};
    for (int run = 0; run < RUNS; run++) {
        double nodular[FIELDS_MOST];
        double rated[FIELDS_MOST];
        for (size_t i = 0; i < fields; i++) {
            draw_field(&random, particles, share, spread, &nodular[i], &rated[i]);
        }
        struct kb_estimate ratio =
            kb_estimate_ratio(nodular, rated, fields, 100.0, "%", 0.0, 100.0);
        take(&hits, &ratio, 100.0 * share);
    }
    return hits;
}

static void nodularity_covers_as_stated_on_both_sides(void **state) {
    (void)state;
    for (size_t k = 0; k < 3; k++) {
        struct hits middle = cover_share(30.0, 0.85, 0.06, field_counts[k], 21 + k);
        struct hits upper = cover_share(30.0, 0.94, 0.03, field_counts[k], 31 + k);
        struct hits half = cover_share(30.0, 0.50, 0.12, field_counts[k], 41 + k);
        /* the jackknife with few fields is approximate: one and a half points */
        expect_coverage(&middle, 0.935, 0.965, "nodularity 85 %");
        expect_coverage(&upper, 0.935, 0.975, "nodularity 94 %");
        expect_coverage(&half, 0.935, 0.965, "nodularity 50 %");
        /* the side that flatters: an interval wholly above the truth, 2.5 % in theory */
        double noise = 4.0 * sqrt(0.025 * 0.975 / RUNS);
        assert_true((double)middle.low / RUNS < 0.035 + noise);
        assert_true((double)upper.low / RUNS < 0.035 + noise);
    }
}

static void the_count_covers_as_stated(void **state) {
    (void)state;
    for (size_t k = 0; k < 3; k++) {
        struct random random = {.state = 51 + k};
        struct hits hits = {0, 0, 0};
        for (int run = 0; run < RUNS; run++) {
            double number[FIELDS_MOST];
            double area[FIELDS_MOST];
            for (size_t i = 0; i < field_counts[k]; i++) {
                area[i] = 0.5;
                number[i] = random_poisson(&random, 40.0 * exp(0.2 * random_normal(&random)));
            }
            struct kb_estimate count = kb_estimate_ratio(number, area, field_counts[k], 1.0,
                                                         "1/mm2", 0.0, (double)INFINITY);
            take(&hits, &count,
                 80.0 * exp(0.02)); /* mean of the log-normal factor: exp(0.2^2 / 2) */
        }
        expect_coverage(&hits, 0.935, 0.96, "nodule count");
    }
}

/* Field figures with particles that are nearly all nodules: often no field shows a defect. */
static void fill_field(struct random *random, double share, struct kb_field_figures *field) {
    *field =
        (struct kb_field_figures){.contrast = KB_LIGHT_UNETCHED, .px_um = 1.0, .area_mm2 = 0.5};
    field->graphite_measured = true;
    field->fraction[KB_GRAPHITE] = 0.1;
    field->pearlite_of_matrix = (double)NAN;
    int count = 1 + random_poisson(random, 20.0);
    for (int i = 0; i < count; i++) {
        double area = 500.0 * exp(0.7 * random_normal(random));
        bool nodule = random_unit(random) < share;
        for (int method = 0; method < KB_NOD_METHODS; method++) {
            field->graphite_um2[method] += area;
            field->nodular_um2[method] += nodule ? area : 0.0;
        }
        field->graphite_um4 += area * area;
        field->rated++;
        field->nodules += nodule ? 1 : 0;
    }
    field->graphite_framed_um2 = field->graphite_um2[0];
    field->nodular_framed_um2 = field->nodular_um2[0];
    field->nodules_per_mm2 = (double)field->nodules / field->area_mm2;
}

static void a_perfect_look_does_not_claim_certainty(void **state) {
    (void)state;
    const double share = 0.98;
    struct kb_specimen_params params = kb_specimen_params_default();
    for (size_t k = 0; k < 3; k++) {
        struct random random = {.state = 61 + k};
        struct hits hits = {0, 0, 0};
        int perfect = 0;
        for (int run = 0; run < FULL_RUNS; run++) {
            struct kb_field_figures field[FIELDS_MOST];
            for (size_t i = 0; i < field_counts[k]; i++) {
                fill_field(&random, share, &field[i]);
            }
            struct kb_specimen specimen;
            assert_int_equal(
                kb_specimen_run(field, field_counts[k], KB_DUCTILE_IRON, &params, &specimen, NULL),
                KB_OK);
            const struct kb_estimate *nodularity = &specimen.nodularity_percent[KB_NOD_ISO945_4];
            perfect += nodularity->value >= 100.0 ? 1 : 0;
            take(&hits, nodularity, 100.0 * share);
            kb_specimen_release(&specimen);
        }
        assert_true(perfect > 0); /* otherwise this case would prove nothing */
        /* many specimens are alike, all at 100 %: 95 % is not to be had (refs/coverage.csv) */
        expect_coverage(&hits, 0.95, 1.0, "nodularity 98 % with the bound by count");
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_mean_covers_as_stated),
        cmocka_unit_test(nodularity_covers_as_stated_on_both_sides),
        cmocka_unit_test(the_count_covers_as_stated),
        cmocka_unit_test(a_perfect_look_does_not_claim_certainty),
    };
    return cmocka_run_group_tests_name("coverage", tests, NULL, NULL);
}
