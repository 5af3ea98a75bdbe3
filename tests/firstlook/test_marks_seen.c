/* test_marks_seen.c - conformity on real micrographs: the data bars and scale bars of secondary-
 * electron pictures (tests/data/uhcs-sem-banner, lengths in scalebar_truth.csv), and no mark at all
 * on pictures that have none. Sources and licences stand beside the pictures.
 */
#include "keelblock/firstlook.h"

#include "kb_cmocka.h"

#include <stdlib.h>
#include <string.h>

#define DATA KB_SOURCE_DIR "/tests/data/"

static void look_at(const char *path, struct kb_field *field, struct kb_first_look *look) {
    struct kb_intake_params intake = kb_intake_params_default();
    struct kb_first_look_params params = kb_first_look_params_default();
    assert_int_equal(kb_field_read(path, &intake, field, NULL), KB_OK);
    assert_int_equal(kb_first_look_run(field, &params, look, NULL), KB_OK);
}

static const struct kb_mark *find(const struct kb_first_look *look, enum kb_mark_kind kind) {
    for (size_t i = 0; i < look->marks; i++) {
        if (look->mark[i].kind == kind) {
            return &look->mark[i];
        }
    }
    return NULL;
}

/* The strip of these pictures is their lowest 38 rows: each is 645 x 484 pixels of specimen on one
 * of 522 rows. */
static void assert_strip(const struct kb_field *field, const struct kb_first_look *look) {
    const struct kb_mark *strip = find(look, KB_MARK_DATA_BAR);
    assert_non_null(strip);
    assert_int_equal(strip->box.x, 0);
    assert_int_equal(strip->box.width, field->grey.width);
    assert_near(strip->box.y, 484, 1.0);
    assert_int_equal(strip->box.y + strip->box.height, field->grey.height);
    for (int32_t y = 484; y < field->grey.height; y++) {
        for (int32_t x = 0; x < field->grey.width; x++) {
            assert_int_equal(kb_row(&look->outside, y)[x], 1);
        }
    }
    assert_true(look->outside_px <= (uint64_t)field->grey.width * 41);
}

static void scale_bars_agree_with_their_stated_length_within_two_pixels(void **state) {
    (void)state;
    FILE *truth = fopen(DATA "uhcs-sem-banner/scalebar_truth.csv", "r");
    char line[256];
    int pictures = 0;
    assert_non_null(truth);
    assert_non_null(fgets(line, sizeof line, truth));
    while (fgets(line, sizeof line, truth) != NULL) {
        char path[512];
        const char *column = line;
        (void)snprintf(path, sizeof path, DATA "uhcs-sem-banner/%.*s", (int)strcspn(line, ","),
                       line);
        for (int i = 0; i < 4; i++) { /* file, width, height, bar_um, bar_px */
            column = strchr(column, ',') + 1;
        }
        struct kb_field field;
        struct kb_first_look look;
        look_at(path, &field, &look);
        const struct kb_mark *bar = find(&look, KB_MARK_SCALE_BAR);
        assert_non_null(bar);
        assert_near(bar->bar_px, strtod(column, NULL), 2.0);
        assert_int_equal(look.marks, 2);
        assert_strip(&field, &look);
        assert_true(kb_findings_has(&look.findings, "scale-bar-seen"));
        kb_first_look_release(&look);
        kb_field_release(&field);
        pictures++;
    }
    (void)fclose(truth);
    assert_int_equal(pictures, 7);
}

static void the_finding_offers_the_length_as_it_is_to_be_typed(void **state) {
    (void)state;
    struct kb_field field;
    struct kb_first_look look;
    bool offered = false;
    look_at(DATA "uhcs-sem-banner/micrograph11.tif", &field, &look);
    for (size_t i = 0; i < look.findings.count; i++) {
        if (strcmp(look.findings.item[i].code, "scale-bar-seen") == 0) {
            offered = strstr(look.findings.item[i].text, "--scale-bar 103px=20um") != NULL;
        }
    }
    assert_true(offered);
    kb_first_look_release(&look);
    kb_field_release(&field);
}

static void pictures_without_marks_have_none(void **state) {
    (void)state;
    static const char *const innocent[] = {
        "uhcs-sem/uhcs0006.tif",        "uhcs-sem/uhcs0124.tif",
        "uhcs-sem/uhcs0295.tif",        "uhcs-sem/uhcs0357.tif",
        "uhcs-sem/uhcs0495.tif",        "uhcs-sem/uhcs0599.tif",
        "uhcs-sem/uhcs1176.tif",        "uhcs-sem/uhcs1528.tif",
        "steel-grains/g940_200x_1.jpg", "ductile-unetched/ductile_unetched.jpg",
        "teaching/Alloy.jpg",           "teaching/grains2.jpg",
        "teaching/particles.jpg",
    };
    for (size_t i = 0; i < sizeof innocent / sizeof *innocent; i++) {
        char path[512];
        struct kb_field field;
        struct kb_first_look look;
        (void)snprintf(path, sizeof path, DATA "%s", innocent[i]);
        look_at(path, &field, &look);
        assert_int_equal(look.marks, 0);
        assert_null(look.outside.px);
        kb_first_look_release(&look);
        kb_field_release(&field);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(scale_bars_agree_with_their_stated_length_within_two_pixels),
        cmocka_unit_test(the_finding_offers_the_length_as_it_is_to_be_typed),
        cmocka_unit_test(pictures_without_marks_have_none),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
