/* test_unbiased.c - do cut particles bias the count and the nodularity of many fields?
 *
 * Discs (nodules) and long bars (no nodules) are thrown without overlap on a section larger than
 * the field; the field is cut from it, labelled and measured by the stages before this one. Truth:
 * centres inside the field per area, and the share of disc area thrown. Tolerance: four standard
 * errors over the fields.
 */
#include "keelblock/specimen.h"

#include "seeded.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

enum { WIDTH = 260, HEIGHT = 200, MARGIN = 45, BAR_ROWS = 30, FIELDS = 150, MOST = 60 };

static const double pi = 3.14159265358979323846;
static const double disc_radius = 11.3;
static const double bar_length = 80.0; /* and 10 wide: shape factor about 0.16 */
static const double bar_width = 10.0;

struct thrown {
    double x, y, angle;
    bool disc;
};

/* Half of the longest extent, to keep particles apart. */
static double reach(const struct thrown *one) {
    return one->disc ? disc_radius : 0.5 * hypot(bar_length, bar_width);
}

static size_t throw_particles(struct random *random, struct thrown thrown[MOST]) {
    size_t count = 0;
    for (int tries = 0; tries < 60; tries++) {
        struct thrown one = {random_unit(random) * (WIDTH + 2 * MARGIN) - MARGIN,
                             random_unit(random) * (HEIGHT + 2 * MARGIN) - MARGIN,
                             random_unit(random) * pi, random_unit(random) < 0.7};
        bool apart = true;
        for (size_t i = 0; i < count && apart; i++) {
            apart = hypot(one.x - thrown[i].x, one.y - thrown[i].y) >
                    reach(&one) + reach(&thrown[i]) + 3.0;
        }
        if (apart && count < MOST) {
            thrown[count++] = one;
        }
    }
    return count;
}

static bool covers(const struct thrown *one, double x, double y) {
    double dx = x - one->x;
    double dy = y - one->y;
    if (one->disc) {
        return dx * dx + dy * dy <= disc_radius * disc_radius;
    }
    double along = dx * cos(one->angle) + dy * sin(one->angle);
    double across = dy * cos(one->angle) - dx * sin(one->angle);
    return fabs(along) <= 0.5 * bar_length && fabs(across) <= 0.5 * bar_width;
}

static uint8_t label[WIDTH * HEIGHT];

/* The last BAR_ROWS rows are a data bar. */
static struct kb_phase_map cut_field(const struct thrown *thrown, size_t count) {
    struct kb_phase_map map = {.label = {WIDTH, HEIGHT, WIDTH, label}};
    for (int y = 0; y < HEIGHT; y++) {
        for (int x = 0; x < WIDTH; x++) {
            uint8_t phase = y < HEIGHT - BAR_ROWS ? KB_MATRIX : KB_EXCLUDED;
            for (size_t i = 0; i < count && phase == KB_MATRIX; i++) {
                phase = covers(&thrown[i], x + 0.5, y + 0.5) ? KB_GRAPHITE : KB_MATRIX;
            }
            label[y * WIDTH + x] = phase;
            map.figures.pixels[phase]++;
        }
    }
    return map;
}

static size_t discs_inside(const struct thrown *thrown, size_t count) {
    size_t inside = 0;
    for (size_t i = 0; i < count; i++) {
        inside += thrown[i].disc && thrown[i].x >= 0.0 && thrown[i].x < WIDTH &&
                          thrown[i].y >= 0.0 && thrown[i].y < HEIGHT - BAR_ROWS
                      ? 1
                      : 0;
    }
    return inside;
}

struct sums {
    double count_off, count_off_squared; /* weighted count minus centres inside */
    double plain_off;                    /* complete ones minus centres inside */
    double balance, balance_squared;     /* framed bars minus those that the truth implies, um2 */
    double plain_balance;
};

/* Truth: for each um2 of disc thrown there are `bars_a_disc` um2 of bar. */
static void add_field(const struct kb_field_figures *field, double centres, double bars_a_disc,
                      struct sums *sums) {
    double off = field->nodules_per_mm2 * field->area_mm2 - centres;
    double bars = field->graphite_framed_um2 - field->nodular_framed_um2;
    double plain = field->graphite_um2[0] - field->nodular_um2[0];
    double balance = bars - bars_a_disc * field->nodular_framed_um2;
    sums->count_off += off;
    sums->count_off_squared += off * off;
    sums->plain_off += (double)field->nodules - centres;
    sums->balance += balance;
    sums->balance_squared += balance * balance;
    sums->plain_balance += plain - bars_a_disc * field->nodular_um2[0];
}

static void cut_particles_bias_neither_count_nor_framed_nodularity(void **state) {
    (void)state;
    struct random random = {.state = 9};
    struct kb_morphology_params params = kb_morphology_params_default(KB_DUCTILE_IRON);
    params.part_touching = false;
    struct sums sums = {0};
    struct kb_field_figures field[FIELDS];
    double centres[FIELDS];
    double discs = 0.0;
    double bars = 0.0;
    for (int i = 0; i < FIELDS; i++) {
        struct thrown thrown[MOST];
        size_t count = throw_particles(&random, thrown);
        for (size_t k = 0; k < count; k++) {
            *(thrown[k].disc ? &discs : &bars) +=
                thrown[k].disc ? pi * disc_radius * disc_radius : bar_length * bar_width;
        }
        struct kb_phase_map map = cut_field(thrown, count);
        struct kb_particles particles;
        assert_int_equal(kb_morphology_run(&map, NULL, 1.0, &params, &particles, NULL), KB_OK);
        kb_field_figures_make(&map, KB_LIGHT_UNETCHED, KB_DUCTILE_IRON, 1.0, &particles, &field[i]);
        centres[i] = (double)discs_inside(thrown, count);
        kb_particles_release(&particles);
    }
    for (int i = 0; i < FIELDS; i++) {
        add_field(&field[i], centres[i], bars / discs, &sums);
    }
    assert_true(fabs(sums.count_off) < 4.0 * sqrt(sums.count_off_squared));
    assert_true(fabs(sums.balance) < 4.0 * sqrt(sums.balance_squared));
    /* without weights both would be far off, on the known side */
    assert_true(sums.plain_off < -4.0 * sqrt(sums.count_off_squared));
    assert_true(sums.plain_balance < -4.0 * sqrt(sums.balance_squared));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(cut_particles_bias_neither_count_nor_framed_nodularity),
    };
    return cmocka_run_group_tests_name("unbiased", tests, NULL, NULL);
}
