/* test_other.c - regions that are neither ferrite nor pearlite, against the truth of drawn fields.
 *
 * The truth is the drawing's own sum. The seeds are not those of kb_segment_table, on which the
 * rules were found. Tolerance: 1 point of the field, which is what a fraction is wanted to; where a
 * wider one stands, its reason stands beside it.
 */
#include "drawn_field.h"
#include "fail_alloc.h"
#include "kb_cmocka.h"

#include <string.h>

#define POINT 0.01

static struct kb_render_params picture(uint64_t seed, double pearlite, double bainite,
                                       double carbide) {
    struct kb_render_params p = kb_render_params_default();
    p.seed = seed;
    p.width = 900;
    p.height = 700;
    p.pearlite_of_matrix = pearlite;
    p.bainite_of_matrix = bainite;
    p.carbide_of_matrix = carbide;
    return p;
}

/* A drawn field and its map. */
struct seen {
    struct drawn_field drawn;
    struct kb_phase_map map;
};

static void look(const struct kb_render_params *draw, enum kb_material material,
                 const struct kb_place *why, struct seen *seen) {
    struct kb_err err;
    struct kb_segmentation_params params = kb_segmentation_params_default(material, KB_LIGHT);
    assert_true(drawn_field_make(draw, &seen->drawn));
    params.why = why;
    params.whys = why != NULL ? 1 : 0;
    if (kb_segment(&seen->drawn.field, &params, &seen->map, &err) != KB_OK) {
        fail_msg("%s", err.text);
    }
}

static void release(struct seen *seen) {
    kb_phase_map_release(&seen->map);
    drawn_field_release(&seen->drawn);
}

static double other_found(const struct seen *seen) {
    return label_share(&seen->map, KB_OTHER);
}

static void check(const struct kb_render_params *draw, double tolerance) {
    struct seen seen;
    look(draw, KB_DUCTILE_IRON, NULL, &seen);
    const struct kb_render_truth *truth = &seen.drawn.render.truth;
    assert_true(seen.map.figures.other_sought);
    assert_near(other_found(&seen), truth->other, tolerance);
    assert_near(label_share(&seen.map, KB_GRAPHITE), truth->graphite, 0.005);
    assert_near(label_share(&seen.map, KB_PEARLITE), truth->pearlite, tolerance);
    assert_near(label_share(&seen.map, KB_FERRITE), truth->ferrite, tolerance);
    assert_true(kb_findings_has(&seen.map.findings, "other-found"));
    release(&seen);
}

static void bainite_is_found_within_a_point(void **state) {
    (void)state;
    const double pearlite[] = {0.45, 0.7};
    for (uint64_t i = 0; i < 2; i++) {
        struct kb_render_params p = picture(4100 + i, pearlite[i], 0.06, 0.0);
        check(&p, POINT);
    }
}

static void carbide_is_found_within_a_point(void **state) {
    (void)state;
    const double pearlite[] = {0.45, 0.7, 0.95};
    for (uint64_t i = 0; i < 3; i++) {
        struct kb_render_params p = picture(4200 + i, pearlite[i], 0.0, 0.04);
        check(&p, POINT);
    }
}

/* Where they adjoin each other, bainite beside carbide is nearer to neither: half a point more. */
static void both_are_found_side_by_side(void **state) {
    (void)state;
    struct kb_render_params p = picture(4300, 0.6, 0.04, 0.03);
    check(&p, 1.5 * POINT);
}

static void each_kind_of_evidence_is_counted_for_itself(void **state) {
    (void)state;
    struct seen seen;
    struct kb_render_params p = picture(4400, 0.6, 0.06, 0.0);
    look(&p, KB_DUCTILE_IRON, NULL, &seen);
    assert_true(seen.map.figures.mid_grey_px == seen.map.figures.pixels[KB_OTHER]);
    assert_int_equal(seen.map.figures.white_px, 0);
    release(&seen);
    p = picture(4400, 0.6, 0.0, 0.05);
    look(&p, KB_DUCTILE_IRON, NULL, &seen);
    assert_true(seen.map.figures.white_px == seen.map.figures.pixels[KB_OTHER]);
    assert_int_equal(seen.map.figures.mid_grey_px, 0);
    release(&seen);
}

static void a_field_without_a_free_part_has_none(void **state) {
    (void)state;
    const double pearlite[] = {0.1, 0.4, 0.75, 0.95};
    for (uint64_t i = 0; i < 8; i++) {
        struct kb_render_params p = picture(4500 + i, pearlite[i % 4], 0.0, 0.0);
        struct seen seen;
        p.bulls_eye = i < 4;
        look(&p, KB_DUCTILE_IRON, NULL, &seen);
        assert_int_equal(seen.map.figures.pixels[KB_OTHER], 0);
        assert_false(kb_findings_has(&seen.map.findings, "other-found"));
        release(&seen);
        p.graphite = KB_RENDER_NONE;
        p.bulls_eye = false;
        look(&p, KB_CARBON_STEEL, NULL, &seen);
        assert_int_equal(seen.map.figures.pixels[KB_OTHER], 0);
        release(&seen);
    }
}

static void white_without_ferrite_beside_graphite_is_not_named_but_told(void **state) {
    (void)state;
    struct seen seen;
    struct kb_render_params p = picture(4600, 1.0, 0.0, 0.06);
    look(&p, KB_DUCTILE_IRON, NULL, &seen);
    assert_int_equal(seen.map.figures.pixels[KB_OTHER], 0);
    assert_true(kb_findings_has(&seen.map.findings, "ferrite-or-carbide"));
    release(&seen);
}

static void a_large_free_part_is_a_serious_matter(void **state) {
    (void)state;
    struct seen seen;
    struct kb_render_params p = picture(4700, 0.7, 0.25, 0.0);
    look(&p, KB_DUCTILE_IRON, NULL, &seen);
    assert_true(kb_findings_has(&seen.map.findings, "other-much"));
    release(&seen);
}

static void a_point_in_it_is_told_why(void **state) {
    (void)state;
    struct seen seen;
    struct kb_render_params p = picture(4800, 0.6, 0.08, 0.0);
    look(&p, KB_DUCTILE_IRON, NULL, &seen);
    struct kb_place place = {-1, -1};
    for (int32_t y = 0; y < p.height && place.x < 0; y++) {
        const uint8_t *at = memchr(kb_row(&seen.map.label, y), KB_OTHER, (size_t)p.width);
        place =
            at != NULL ? (struct kb_place){(int32_t)(at - kb_row(&seen.map.label, y)), y} : place;
    }
    release(&seen);
    assert_true(place.x >= 0);
    look(&p, KB_DUCTILE_IRON, &place, &seen);
    const struct kb_why *why = &seen.map.why[0];
    const struct kb_why_step *last = &why->step[why->steps - 1];
    assert_string_equal(last->step, "fits neither");
    assert_int_equal(last->to, KB_OTHER);
    assert_true(last->figure > last->limit);
    assert_non_null(strstr(last->says, "half as contrasty as pearlite"));
    release(&seen);
}

static void a_threshold_by_hand_hides_nothing(void **state) {
    (void)state;
    struct kb_render_params p = picture(4900, 0.6, 0.06, 0.0);
    struct drawn_field drawn;
    struct kb_phase_map map;
    assert_true(drawn_field_make(&p, &drawn));
    struct kb_segmentation_params params =
        kb_segmentation_params_default(KB_DUCTILE_IRON, KB_LIGHT);
    for (int i = 0; i < 2; i++) { /* bainite on either side of the cut */
        params.bright_threshold = i == 0 ? 175.0 : 145.0;
        assert_int_equal(kb_segment(&drawn.field, &params, &map, NULL), KB_OK);
        assert_near(label_share(&map, KB_OTHER), drawn.render.truth.other, 1.5 * POINT);
        kb_phase_map_release(&map);
    }
    drawn_field_release(&drawn);
}

static void every_failed_allocation_on_the_way_is_reported(void **state) {
    (void)state;
    struct kb_render_params p = picture(5000, 0.6, 0.08, 0.05);
    struct drawn_field drawn;
    struct kb_phase_map map;
    p.width = 500;
    p.height = 400;
    assert_true(drawn_field_make(&p, &drawn));
    struct kb_segmentation_params params =
        kb_segmentation_params_default(KB_DUCTILE_IRON, KB_LIGHT);
    bool happened = true;
    for (size_t n = 1; happened; n++) {
        fail_alloc_at(n);
        enum kb_status status = kb_segment(&drawn.field, &params, &map, NULL);
        happened = fail_alloc_happened() != 0;
        assert_int_equal(status, happened ? KB_E_MEMORY : KB_OK);
        if (!happened) {
            assert_true(map.figures.mid_grey_px > 0 && map.figures.white_px > 0);
        }
        kb_phase_map_release(&map);
        assert_int_equal(fail_alloc_open_blocks(), 0);
        fail_alloc_at(0);
    }
    drawn_field_release(&drawn);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(bainite_is_found_within_a_point),
        cmocka_unit_test(carbide_is_found_within_a_point),
        cmocka_unit_test(both_are_found_side_by_side),
        cmocka_unit_test(each_kind_of_evidence_is_counted_for_itself),
        cmocka_unit_test(a_field_without_a_free_part_has_none),
        cmocka_unit_test(white_without_ferrite_beside_graphite_is_not_named_but_told),
        cmocka_unit_test(a_large_free_part_is_a_serious_matter),
        cmocka_unit_test(a_point_in_it_is_told_why),
        cmocka_unit_test(a_threshold_by_hand_hides_nothing),
        cmocka_unit_test(every_failed_allocation_on_the_way_is_reported),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
