/* test_contrast_found.c - how a field was seen is found right or not said at all: on drawn fields
 * of every look, whose truth is the drawing, and on real micrographs, whose sources say what they
 * are (tests/data, ATTRIBUTION and LICENSE files beside them).
 */
#include "varied.h"

#include "kb_cmocka.h"

#include <string.h>

#define DATA KB_SOURCE_DIR "/tests/data/"

static void look_at(const struct kb_field *field, bool iron, struct kb_first_look *look) {
    struct kb_first_look_params params = kb_first_look_params_default();
    params.iron = iron;
    assert_int_equal(kb_first_look_run(field, &params, look, NULL), KB_OK);
}

static void words_for_contrasts_are_read_back(void **state) {
    (void)state;
    for (int c = KB_LIGHT; c <= KB_SEM; c++) {
        enum kb_contrast back = KB_LIGHT;
        assert_true(kb_contrast_parse(kb_contrast_name((enum kb_contrast)c), &back));
        assert_int_equal(back, c);
    }
    enum kb_contrast untouched = KB_SEM;
    assert_false(kb_contrast_parse("SEM", &untouched));
    assert_false(kb_contrast_parse("", &untouched));
    assert_int_equal(untouched, KB_SEM);
    assert_string_equal(kb_contrast_name((enum kb_contrast)7), "unknown");
}

/* Never wrong and sure, but where etching left no trace: there a polished field is what it shows.
 */
static void drawn_fields_are_taken_right_or_not_at_all(void **state) {
    (void)state;
    int said[3][4] = {{0}}; /* by truth; the last: unsure */
    for (int n = 0; n < VARIED_COUNT; n++) {
        struct varied v = varied_field(n, 2);
        struct kb_field field;
        struct kb_first_look look;
        assert_true(varied_draw(&v, &field));
        look_at(&field, v.iron, &look);
        const struct kb_contrast_found *found = &look.contrast;
        if (found->sure && found->contrast != v.truth) {
            if (!v.traceless || found->contrast != KB_LIGHT_UNETCHED) {
                print_error("%s taken for %s\n", v.name, kb_contrast_name(found->contrast));
            }
            assert_true(v.traceless);
            assert_int_equal(found->contrast, KB_LIGHT_UNETCHED);
        }
        said[v.truth][found->sure ? (int)found->contrast : 3]++;
        assert_int_equal(look.marks, 0);
        kb_first_look_release(&look);
        marked_release(&field);
    }
    print_message("%-15s %8s %15s %8s %8s\n", "true, said:", "light", "light-unetched", "sem",
                  "unsure");
    for (int c = 0; c < 3; c++) {
        print_message("%-15s %8d %15d %8d %8d\n", kb_contrast_name((enum kb_contrast)c), said[c][0],
                      said[c][1], said[c][2], said[c][3]);
    }
    /* A finder that never dares is no use. All 24 polished fields; of the 32 etched and 32 of
     * electrons two thirds at least, the rest being pearlite or ferrite alone, or noise below
     * structure. */
    assert_true(said[KB_LIGHT_UNETCHED][KB_LIGHT_UNETCHED] >= 23);
    assert_true(said[KB_LIGHT][KB_LIGHT] >= 22);
    assert_true(said[KB_SEM][KB_SEM] >= 25);
}

static const struct {
    const char *name;
    enum kb_contrast truth;
    bool iron;
} picture[] = {
    {"uhcs-sem/uhcs0006.tif", KB_SEM, false},
    {"uhcs-sem/uhcs0124.tif", KB_SEM, false},
    {"uhcs-sem/uhcs0295.tif", KB_SEM, false},
    {"uhcs-sem/uhcs0357.tif", KB_SEM, false},
    {"uhcs-sem/uhcs0495.tif", KB_SEM, false},
    {"uhcs-sem/uhcs0599.tif", KB_SEM, false},
    {"uhcs-sem/uhcs1176.tif", KB_SEM, false},
    {"uhcs-sem/uhcs1528.tif", KB_SEM, false},
    {"uhcs-sem-banner/micrograph1.tif", KB_SEM, false},
    {"uhcs-sem-banner/micrograph2.tif", KB_SEM, false},
    {"uhcs-sem-banner/micrograph11.tif", KB_SEM, false},
    {"uhcs-sem-banner/micrograph12.tif", KB_SEM, false},
    {"uhcs-sem-banner/micrograph18.png", KB_SEM, false},
    {"uhcs-sem-banner/micrograph20.tif", KB_SEM, false},
    {"uhcs-sem-banner/micrograph24.tif", KB_SEM, false},
    {"steel-grains/g940_200x_1.jpg", KB_LIGHT, false},
    {"ductile-unetched/ductile_unetched.jpg", KB_LIGHT_UNETCHED, true},
    {"teaching/particles.jpg", KB_LIGHT_UNETCHED, true},
};

static void real_micrographs_are_taken_for_what_they_are(void **state) {
    (void)state;
    for (size_t i = 0; i < sizeof picture / sizeof *picture; i++) {
        char path[512];
        struct kb_intake_params intake = kb_intake_params_default();
        struct kb_field field;
        struct kb_first_look look;
        (void)snprintf(path, sizeof path, DATA "%s", picture[i].name);
        assert_int_equal(kb_field_read(path, &intake, &field, NULL), KB_OK);
        /* Whichever material was asked for, it is never taken for another contrast and sure. */
        for (int iron = 0; iron < 2; iron++) {
            look_at(&field, iron == 1, &look);
            if (look.contrast.sure || picture[i].iron == (iron == 1)) {
                assert_int_equal(look.contrast.contrast, picture[i].truth);
            }
            if (picture[i].iron == (iron == 1)) {
                assert_true(look.contrast.sure);
            }
            kb_first_look_release(&look);
        }
        kb_field_release(&field);
    }
}

/* Change a field as pictures are changed on their way: mirrored, turned by a quarter, dimmed, or
 * cut to one of its quarters. */
enum { MIRRORED, TURNED, DIMMED, QUARTERS, CHANGES = QUARTERS + 4 };

static uint8_t changed_grey(const struct kb_image *from, int change, int32_t x, int32_t y) {
    int part = change - QUARTERS;
    switch (change) {
    case MIRRORED:
        return kb_row(from, y)[from->width - 1 - x];
    case TURNED:
        return kb_row(from, x)[y];
    case DIMMED:
        return (uint8_t)(kb_row(from, y)[x] * 3 / 4);
    default:
        return kb_row(from, y + part / 2 * (from->height / 2))[x + part % 2 * (from->width / 2)];
    }
}

static struct kb_field changed(const struct kb_field *from, int change) {
    const struct kb_image *grey = &from->grey;
    struct kb_field to = {.format = from->format};
    int32_t width = change == TURNED ? grey->height : grey->width;
    int32_t height = change == TURNED ? grey->width : grey->height;
    int share = change >= QUARTERS ? 2 : 1;
    assert_int_equal(kb_image_alloc(width / share, height / share, &to.grey, NULL), KB_OK);
    for (int32_t y = 0; y < to.grey.height; y++) {
        for (int32_t x = 0; x < to.grey.width; x++) {
            kb_row(&to.grey, y)[x] = changed_grey(grey, change, x, y);
        }
    }
    return to;
}

static void changed_real_micrographs_are_never_taken_for_another_contrast(void **state) {
    (void)state;
    for (size_t i = 0; i < sizeof picture / sizeof *picture; i++) {
        char path[512];
        struct kb_intake_params intake = kb_intake_params_default();
        struct kb_field field;
        (void)snprintf(path, sizeof path, DATA "%s", picture[i].name);
        assert_int_equal(kb_field_read(path, &intake, &field, NULL), KB_OK);
        for (int change = 0; change < CHANGES; change++) {
            struct kb_field other = changed(&field, change);
            for (int iron = 0; iron < 2; iron++) {
                struct kb_first_look look;
                look_at(&other, iron == 1, &look);
                if (look.contrast.sure && look.contrast.contrast != picture[i].truth) {
                    fail_msg("%s, change %d: %s", picture[i].name, change,
                             kb_contrast_name(look.contrast.contrast));
                }
                kb_first_look_release(&look);
            }
            kb_image_release(&other.grey);
        }
        kb_field_release(&field);
    }
}

static void belief_is_what_the_evidence_adds_up_to(void **state) {
    (void)state;
    for (int n = 0; n < VARIED_COUNT; n += 11) {
        struct varied v = varied_field(n, 5);
        struct kb_field field;
        struct kb_first_look look;
        assert_true(varied_draw(&v, &field));
        look_at(&field, v.iron, &look);
        const struct kb_contrast_found *found = &look.contrast;
        double odds[3] = {0.0}, whole = 0.0, best = 0.0, second = 0.0;
        assert_true(found->count > 0 && found->count <= KB_EVIDENCE_MAX);
        for (int i = 0; i < found->count; i++) {
            assert_non_null(found->evidence[i].what);
            assert_non_null(found->evidence[i].unit);
            for (int c = 0; c < 3; c++) {
                odds[c] += found->evidence[i].speaks[c];
            }
        }
        for (int c = 0; c < 3; c++) {
            whole += exp(odds[c]);
        }
        for (int c = 0; c < 3; c++) {
            double belief = exp(odds[c]) / whole;
            assert_near(found->belief[c], belief, 1e-9);
            second = belief > best ? best : fmax(second, belief);
            best = fmax(best, belief);
        }
        assert_near(found->belief[found->contrast], best, 1e-9);
        assert_int_equal(found->sure, best >= 9.0 * second);
        kb_first_look_release(&look);
        marked_release(&field);
    }
}

static void an_unsure_look_asks_for_the_option_by_name(void **state) {
    (void)state;
    struct kb_field field;
    struct kb_first_look look;
    assert_true(marked_even(300, 200, 128, &field));
    look_at(&field, true, &look);
    assert_false(look.contrast.sure);
    bool asked = false;
    for (size_t i = 0; i < look.findings.count; i++) {
        if (strcmp(look.findings.item[i].code, "contrast-unsure") == 0) {
            asked = strstr(look.findings.item[i].text, "--contrast light-unetched") != NULL;
            assert_int_equal(look.findings.item[i].severity, KB_SERIOUS);
        }
    }
    assert_true(asked);
    kb_first_look_release(&look);
    marked_release(&field);
}

static void a_greater_lead_is_harder_to_reach(void **state) {
    (void)state;
    struct varied v = varied_field(64, 1); /* polished, with nodules */
    struct kb_first_look_params params = kb_first_look_params_default();
    struct kb_field field;
    struct kb_first_look look;
    assert_true(varied_draw(&v, &field));
    bool before = true;
    for (double lead = 1.0; lead <= 1e6; lead *= 10.0) {
        params.lead = lead;
        assert_int_equal(kb_first_look_run(&field, &params, &look, NULL), KB_OK);
        assert_true(before || !look.contrast.sure);
        before = look.contrast.sure;
        assert_int_equal(look.contrast.contrast, KB_LIGHT_UNETCHED);
        kb_first_look_release(&look);
    }
    assert_false(before);
    marked_release(&field);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(words_for_contrasts_are_read_back),
        cmocka_unit_test(drawn_fields_are_taken_right_or_not_at_all),
        cmocka_unit_test(real_micrographs_are_taken_for_what_they_are),
        cmocka_unit_test(changed_real_micrographs_are_never_taken_for_another_contrast),
        cmocka_unit_test(belief_is_what_the_evidence_adds_up_to),
        cmocka_unit_test(an_unsure_look_asks_for_the_option_by_name),
        cmocka_unit_test(a_greater_lead_is_harder_to_reach),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
