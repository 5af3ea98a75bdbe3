/* test_form_by_hand.c - a person's word for one particle: obeyed, marked, told; or refused. */
#include "fail_alloc.h"
#include "kb_cmocka.h"
#include "shapes.h"

#include <string.h>

/* A disc about 40,40 with a hole, two touching discs about 120,40 and 158,40, one cut by the left
 * edge at row 110, a bar about 120,110. */
static struct kb_phase_map map;

static int setup(void **state) {
    (void)state;
    map = map_blank(220, 150);
    map_paint_disc(&map, KB_GRAPHITE, (struct place){40, 40}, 20);
    map_paint_disc(&map, KB_FERRITE, (struct place){40, 40}, 5);
    map_paint_disc(&map, KB_GRAPHITE, (struct place){120, 40}, 20);
    map_paint_disc(&map, KB_GRAPHITE, (struct place){158, 40}, 20);
    map_paint_disc(&map, KB_GRAPHITE, (struct place){5, 110}, 12);
    map_paint_rectangle(&map, KB_GRAPHITE, (struct place){120, 110}, 60, 12, 0.0);
    return 0;
}

static int teardown(void **state) {
    (void)state;
    kb_phase_map_release(&map);
    return 0;
}

static struct kb_morphology_params rules(const struct kb_form_by_hand *by_hand, size_t count) {
    struct kb_morphology_params params = kb_morphology_params_default(KB_DUCTILE_IRON);
    params.by_hand = by_hand;
    params.by_hands = count;
    return params;
}

static struct kb_particles run(const struct kb_form_by_hand *by_hand, size_t count) {
    struct kb_morphology_params params = rules(by_hand, count);
    return measured(&map, 1.0, &params);
}

static const struct kb_particle *at(const struct kb_particles *particles, int32_t x, int32_t y) {
    uint32_t region = 0;
    assert_true(kb_runs_at(&particles->runs, x, y, &region));
    return &particles->particle[region];
}

static void refuse(const struct kb_form_by_hand *by_hand, size_t count, const char *says) {
    struct kb_morphology_params params = rules(by_hand, count);
    struct kb_particles particles;
    struct kb_err err;
    assert_int_equal(kb_morphology_run(&map, NULL, 1.0, &params, &particles, &err), KB_E_USAGE);
    assert_non_null(strstr(err.text, says));
    assert_null(particles.particle);
    assert_null(particles.named);
}

static void the_word_is_obeyed_and_what_was_found_is_kept(void **state) {
    (void)state;
    const struct kb_form_by_hand said[] = {{120, 110, KB_FORM_VI, false},
                                           {30, 40, KB_FORM_IV, false}};
    struct kb_particles found = run(NULL, 0), particles = run(said, 2);
    const struct kb_particle *bar = at(&particles, 120, 110), *disc = at(&particles, 30, 40);
    assert_true(bar->by_hand && disc->by_hand);
    assert_int_equal(bar->form, KB_FORM_VI);
    assert_int_equal(bar->form_found, at(&found, 120, 110)->form);
    assert_int_equal(disc->form, KB_FORM_IV);
    assert_int_equal(disc->form_found, KB_FORM_VI);
    assert_int_equal(particles.by_hand, 2);
    assert_int_equal(particles.named[0], bar->id);
    assert_int_equal(particles.named[1], disc->id);
    assert_true(kb_findings_has(&particles.findings, "form-by-hand"));
    assert_int_equal(found.by_hand, 0);
    assert_false(kb_findings_has(&found.findings, "form-by-hand"));
    for (size_t i = 0; i < found.count; i++) { /* no other figure and no other particle changes */
        const struct kb_particle *a = &found.particle[i], *b = &particles.particle[i];
        assert_int_equal(a->state, b->state);
        assert_near(a->shape_factor, b->shape_factor, 0.0);
        assert_near(a->area_px2, b->area_px2, 0.0);
        assert_int_equal(a->form_found, b->form_found);
        assert_true(b->by_hand || a->form == b->form);
    }
    kb_particles_release(&found);
    kb_particles_release(&particles);
}

static void a_filled_hole_and_a_parted_piece_belong_to_their_particle(void **state) {
    (void)state;
    const struct kb_form_by_hand said[] = {{40, 40, KB_FORM_V, false},
                                           {110, 40, KB_FORM_II, false}};
    struct kb_particles particles = run(said, 2);
    assert_int_equal(particles.parted_clusters, 1);
    assert_int_equal(at(&particles, 30, 40)->form, KB_FORM_V); /* the hole was named */
    assert_int_equal(at(&particles, 120, 40)->form, KB_FORM_II);
    assert_false(at(&particles, 165, 40)->by_hand);
    kb_particles_release(&particles);
}

static void a_particle_that_does_not_count_keeps_no_form(void **state) {
    (void)state;
    const struct kb_form_by_hand said = {5, 110, KB_FORM_VI, false};
    struct kb_particles particles = run(&said, 1);
    assert_int_equal(at(&particles, 5, 110)->form, KB_FORM_NONE);
    assert_false(at(&particles, 5, 110)->by_hand);
    assert_int_equal(particles.by_hand, 0);
    assert_true(kb_findings_has(&particles.findings, "form-by-hand-without-effect"));
    kb_particles_release(&particles);
}

static void the_same_word_twice_counts_once(void **state) {
    (void)state;
    const struct kb_form_by_hand said[] = {{120, 110, KB_FORM_III, false},
                                           {125, 110, KB_FORM_III, false}};
    struct kb_particles particles = run(said, 2);
    assert_int_equal(particles.by_hand, 1);
    assert_int_equal(particles.named[0], particles.named[1]);
    kb_particles_release(&particles);
}

static void points_and_words_that_cannot_be_are_refused(void **state) {
    (void)state;
    struct kb_form_by_hand said = {80, 80, KB_FORM_VI, false};
    refuse(&said, 1, "80,80: no graphite particle");
    said = (struct kb_form_by_hand){220, 3, KB_FORM_VI, false};
    refuse(&said, 1, "220,3: outside the picture of 220 x 150 pixels");
    said = (struct kb_form_by_hand){3, -1, KB_FORM_VI, false};
    refuse(&said, 1, "3,-1: outside");
    said = (struct kb_form_by_hand){40, 40, KB_FORM_NONE, false};
    refuse(&said, 1, "unknown form");
    refuse(NULL, 1, "missing");
    const struct kb_form_by_hand two[] = {{120, 110, KB_FORM_III, false},
                                          {125, 110, KB_FORM_I, false}};
    refuse(two, 2, "125,110: another word by hand");
}

static void a_word_that_may_miss_is_told_and_yields_to_a_later_one(void **state) {
    (void)state;
    const struct kb_form_by_hand said[] = {{80, 80, KB_FORM_VI, true},
                                           {120, 110, KB_FORM_III, true},
                                           {125, 110, KB_FORM_I, true},
                                           {220, 3, KB_FORM_VI, true}};
    struct kb_particles particles = run(said, 4);
    const struct kb_particle *bar = at(&particles, 120, 110);
    assert_int_equal(bar->form, KB_FORM_I);
    assert_int_equal(particles.by_hand, 1);
    assert_int_equal(particles.named[0], 0);
    assert_int_equal(particles.named[1], 0);
    assert_int_equal(particles.named[2], bar->id);
    assert_int_equal(particles.named[3], 0);
    size_t told = 0;
    for (size_t i = 0; i < particles.findings.count; i++) {
        told += strcmp(particles.findings.item[i].code, "by-hand-without-effect") == 0;
    }
    assert_int_equal(told, 3);
    kb_particles_release(&particles);
}

static void forms_are_read_as_they_are_written(void **state) {
    (void)state;
    enum kb_form form = KB_FORM_NONE;
    for (int i = KB_FORM_I; i < KB_FORMS; i++) {
        assert_true(kb_form_parse(kb_form_roman((enum kb_form)i), &form));
        assert_int_equal(form, i);
        assert_int_equal(kb_form_is_nodule(form), i >= KB_FORM_V);
    }
    assert_false(kb_form_parse("-", &form));
    assert_false(kb_form_parse("6", &form));
    assert_false(kb_form_parse("vi", &form));
}

static void every_failed_allocation_is_reported_and_nothing_leaks(void **state) {
    (void)state;
    const struct kb_form_by_hand said[] = {{120, 110, KB_FORM_VI, false},
                                           {5, 110, KB_FORM_VI, false}};
    struct kb_morphology_params params = rules(said, 2);
    bool happened = true;
    for (size_t n = 1; happened; n++) {
        struct kb_particles particles;
        fail_alloc_at(n);
        enum kb_status status = kb_morphology_run(&map, NULL, 1.0, &params, &particles, NULL);
        happened = fail_alloc_happened() != 0;
        assert_int_equal(status, happened ? KB_E_MEMORY : KB_OK);
        kb_particles_release(&particles);
        assert_int_equal(fail_alloc_open_blocks(), 0);
        fail_alloc_at(0);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_word_is_obeyed_and_what_was_found_is_kept),
        cmocka_unit_test(a_filled_hole_and_a_parted_piece_belong_to_their_particle),
        cmocka_unit_test(a_particle_that_does_not_count_keeps_no_form),
        cmocka_unit_test(the_same_word_twice_counts_once),
        cmocka_unit_test(points_and_words_that_cannot_be_are_refused),
        cmocka_unit_test(a_word_that_may_miss_is_told_and_yields_to_a_later_one),
        cmocka_unit_test(forms_are_read_as_they_are_written),
        cmocka_unit_test(every_failed_allocation_is_reported_and_nothing_leaks),
    };
    return cmocka_run_group_tests(tests, setup, teardown);
}
