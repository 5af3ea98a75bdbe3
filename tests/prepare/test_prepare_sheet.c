/* test_prepare_sheet.c - every sheet: a ladder that gets finer in steps a surface can follow,
 * values as they stand in refs/ (common practice, no published source; papers after the FEPA P
 * series, ISO 6344), and cautions at the step that can hurt.
 */
#include "every_sheet.h"
#include "refs_table.h"

#include "kb_cmocka.h"

#include <string.h>

/* From one rung to the next a grain falls to a third at most: a larger step leaves scratches that
 * the finer one takes too long to remove. Common practice, no published source. */
static const double largest_step = 3.0 + 1e-9;

static void gets_finer(const struct kb_prepare_sheet *sheet) {
    double before = NAN;
    for (size_t i = 0; i < sheet->steps; i++) {
        double grain = sheet->step[i].grain_um;
        if (isnan(grain)) {
            continue;
        }
        if (!isnan(before) && !(grain < before && before / grain <= largest_step)) {
            fail_msg("%s, %s: from %g to %g um", kb_hardness_name(sheet->params.hardness),
                     kb_cut_name(sheet->params.cut), before, grain);
        }
        before = grain;
    }
    assert_near(before, 1.0, 0.0); /* ends at 1 um diamond */
}

static void ladders_get_finer_in_small_steps_to_one_micrometre(void **state) {
    (void)state;
    every_sheet(gets_finer);
}

static struct table papers, rungs;

static void stands_in_the_series(const struct kb_prepare_sheet *sheet) {
    for (size_t i = 0; i < sheet->steps; i++) {
        const struct kb_prepare_step *step = &sheet->step[i];
        bool found = step->kind != KB_PREPARE_GRIND;
        for (size_t row = 0; row < papers.rows && !found; row++) {
            found = strcmp(table_text(&papers, row, "grade"), step->abrasive) == 0;
            if (found) {
                assert_near(step->grain_um, table_number(&papers, row, "grain_um"), 0.0);
            }
        }
        if (!found) {
            fail_msg("%s is no paper of the FEPA P series", step->abrasive);
        }
    }
}

static void every_paper_stands_in_the_fepa_series_with_its_grain(void **state) {
    (void)state;
    table_read("fepa_p_series.csv", &papers);
    every_sheet(stands_in_the_series);
    table_release(&papers);
}

/* Whether a row of preparation.csv holds the step's own figures. */
static bool told(const struct kb_prepare_step *step, size_t row) {
    return strcmp(table_text(&rungs, row, "abrasive"), step->abrasive) == 0 &&
           fabs(table_number(&rungs, row, "min_low") - step->low_min) < 1e-9 &&
           fabs(table_number(&rungs, row, "min_high") - step->high_min) < 1e-9 &&
           fabs(table_number(&rungs, row, "n_low") - step->low_n) < 1e-9 &&
           fabs(table_number(&rungs, row, "n_high") - step->high_n) < 1e-9;
}

static void is_told_by_the_table(const struct kb_prepare_sheet *sheet) {
    for (size_t i = 0; i < sheet->steps; i++) {
        const struct kb_prepare_step *step = &sheet->step[i];
        bool found = step->kind != KB_PREPARE_GRIND && step->kind != KB_PREPARE_POLISH;
        for (size_t row = 0; row < rungs.rows && !found; row++) {
            found = told(step, row);
        }
        if (!found) {
            fail_msg("%s stands in no row of preparation.csv", step->abrasive);
        }
        if (step->abrasive != NULL) {
            assert_true(step->low_min > 0.0 && step->low_min <= step->high_min);
            assert_non_null(step->source);
            assert_string_equal(step->status, "memory-unverified");
        }
    }
}

static void times_and_loads_are_those_of_the_table(void **state) {
    (void)state;
    table_read("preparation.csv", &rungs);
    every_sheet(is_told_by_the_table);
    table_release(&rungs);
}

static void sheet_of(enum kb_material material, enum kb_hardness hardness, enum kb_cut cut,
                     struct kb_prepare_sheet *sheet) {
    struct kb_prepare_params params = kb_prepare_params_default(material);
    params.hardness = hardness;
    params.cut = cut;
    assert_int_equal(kb_prepare_plan(&params, NULL, 0, sheet, NULL), KB_OK);
}

static double first_grain(const struct kb_prepare_sheet *sheet) {
    return sheet->step[part_of_kind(sheet, KB_PREPARE_GRIND)->first].grain_um;
}

static void a_deeper_cut_begins_with_no_finer_paper_and_says_how_deep(void **state) {
    (void)state;
    static const enum kb_cut deeper[] = {KB_CUT_PRECISION, KB_CUT_ABRASIVE_WHEEL, KB_CUT_SAW,
                                         KB_CUT_AS_BROKEN};
    for (int hardness = 0; hardness < KB_HARDNESSES; hardness++) {
        double before = 0.0, depth = 0.0;
        for (size_t i = 0; i < sizeof deeper / sizeof *deeper; i++) {
            static struct kb_prepare_sheet sheet;
            sheet_of(KB_GREY_IRON, (enum kb_hardness)hardness, deeper[i], &sheet);
            assert_true(first_grain(&sheet) >= before);
            assert_true(sheet.damage_high_um > depth);
            assert_true(sheet.damage_low_um < sheet.damage_high_um);
            before = first_grain(&sheet);
            depth = sheet.damage_high_um;
        }
    }
}

static void harder_metal_takes_no_less_time_and_load(void **state) {
    (void)state;
    static struct kb_prepare_sheet medium, hard;
    sheet_of(KB_CARBON_STEEL, KB_MEDIUM, KB_CUT_SAW, &medium);
    sheet_of(KB_CARBON_STEEL, KB_HARD, KB_CUT_SAW, &hard);
    assert_int_equal(medium.steps, hard.steps);
    for (size_t i = 0; i < hard.steps; i++) {
        if (hard.step[i].kind == KB_PREPARE_GRIND) {
            assert_true(hard.step[i].high_min >= medium.step[i].high_min);
            assert_true(hard.step[i].high_n >= medium.step[i].high_n);
        }
    }
}

static void carries_cautions(const struct kb_prepare_sheet *sheet) {
    const struct kb_prepare_part *etch = part_of_kind(sheet, KB_PREPARE_ETCH);
    assert_true(cautions(etch, "fume hood") && cautions(etch, "gloves") &&
                cautions(etch, "eye protection") && cautions(etch, "no flame"));
    bool nital = sheet->params.etchant == KB_NITAL;
    assert_int_equal(cautions(etch, "acid into alcohol"), nital);
    assert_int_equal(cautions(etch, "never kept in a closed bottle"), nital);
    assert_int_equal(cautions(etch, "stays damp"), !nital);
    assert_int_equal(cautions(part_of_kind(sheet, KB_PREPARE_MOUNT), "fume hood"),
                     sheet->params.mount == KB_MOUNT_COLD);
    assert_true(cautions(part_of_kind(sheet, KB_PREPARE_DRY), "no flame"));
    assert_true(cautions(part_of_kind(sheet, KB_PREPARE_POLISH), "no flame"));
    assert_true(cautions(part_of_kind(sheet, KB_PREPARE_GRIND), "Eye protection"));
    assert_true(cautions(part_of_kind(sheet, KB_PREPARE_GRIND), "dust wet"));
    assert_true(cautions(part_of_kind(sheet, KB_PREPARE_CUT), "clamp"));
    for (size_t i = 0; i < sheet->parts; i++) {
        assert_true(sheet->part[i].cautions > 0 || sheet->part[i].kind == KB_PREPARE_LOOK);
    }
}

static void every_step_that_can_hurt_carries_its_cautions(void **state) {
    (void)state;
    every_sheet(carries_cautions);
}

static bool says(const struct kb_prepare_part *part, const char *words) {
    for (size_t i = 0; i < part->rules; i++) {
        if (strstr(part->rule[i], words) != NULL) {
            return true;
        }
    }
    return false;
}

static void speaks_of_graphite_where_there_is(const struct kb_prepare_sheet *sheet) {
    bool iron = kb_material_is_iron(sheet->params.material);
    bool said = false;
    for (size_t i = 0; i < sheet->parts; i++) {
        said = said || says(&sheet->part[i], "raphite");
        assert_true(sheet->part[i].rules > 0);
    }
    assert_int_equal(said, iron);
    assert_int_equal(says(part_of_kind(sheet, KB_PREPARE_POLISH), "keeps graphite in"), iron);
    assert_int_equal(says(part_of_kind(sheet, KB_PREPARE_LOOK), "--contrast light-unetched"), iron);
    assert_true(part_of_kind(sheet, KB_PREPARE_LOOK)->first <
                part_of_kind(sheet, KB_PREPARE_ETCH)->first);
    assert_true(says(part_of_kind(sheet, KB_PREPARE_GRIND), "right angle"));
}

static void graphite_is_looked_at_before_the_etch_and_only_in_irons(void **state) {
    (void)state;
    every_sheet(speaks_of_graphite_where_there_is);
}

static void is_whole(const struct kb_prepare_sheet *sheet) {
    assert_true(sheet->steps < KB_PREPARE_STEPS);
    assert_int_equal(sheet->begin, 0);
    size_t next = 0;
    for (size_t i = 0; i < sheet->parts; i++) {
        const struct kb_prepare_part *part = &sheet->part[i];
        assert_int_equal(part->first, next);
        assert_true(part->steps > 0);
        next += part->steps;
        /* at the limit a line may have been left out, or cut off */
        assert_true(part->rules < KB_PREPARE_LINES && part->cautions < KB_PREPARE_LINES);
        for (size_t k = 0; k < part->rules; k++) {
            const char *rule = part->rule[k];
            assert_int_equal(rule[strlen(rule) - 1], '.');
        }
        for (size_t k = 0; k < part->cautions; k++) {
            const char *caution = part->caution[k];
            assert_int_equal(caution[strlen(caution) - 1], '.');
        }
    }
    assert_int_equal(next, sheet->steps);
}

static void no_step_and_no_sentence_is_left_out(void **state) {
    (void)state;
    every_sheet(is_whole);
}

static void etchants_have_the_ranges_of_their_table(void **state) {
    (void)state;
    struct table table;
    table_read("etchants.csv", &table);
    for (size_t row = 0; row < table.rows; row++) {
        bool iron = strcmp(table_text(&table, row, "material"), "iron") == 0;
        struct kb_prepare_params params =
            kb_prepare_params_default(iron ? KB_COMPACTED_IRON : KB_CARBON_STEEL);
        static struct kb_prepare_sheet sheet;
        assert_true(kb_etchant_parse(table_text(&table, row, "etchant"), &params.etchant));
        assert_int_equal(kb_prepare_plan(&params, NULL, 0, &sheet, NULL), KB_OK);
        const struct kb_prepare_step *step =
            &sheet.step[part_of_kind(&sheet, KB_PREPARE_ETCH)->first];
        table_expect(&table, row, "percent_low", step->low_percent,
                     table_number(&table, row, "percent_low"), 0.0);
        table_expect(&table, row, "percent_high", step->high_percent,
                     table_number(&table, row, "percent_high"), 0.0);
        table_expect(&table, row, "s_low", 60.0 * step->low_min, table_number(&table, row, "s_low"),
                     1e-9);
        table_expect(&table, row, "s_high", 60.0 * step->high_min,
                     table_number(&table, row, "s_high"), 1e-9);
    }
    table_release(&table);
}

static void expect_hardness(const char *said, enum kb_hardness wanted) {
    enum kb_hardness hardness = KB_HARDNESSES;
    double value = 0.0;
    const char *by = NULL;
    if (!kb_hardness_parse(said, &hardness, &value, &by) || hardness != wanted) {
        fail_msg("'%s' is taken for %s", said, kb_hardness_name(hardness));
    }
}

static void hardness_is_taken_by_class_brinell_or_vickers(void **state) {
    (void)state;
    expect_hardness("soft", KB_SOFT);
    expect_hardness("150HBW", KB_SOFT);
    expect_hardness("151 HBW", KB_MEDIUM);
    expect_hardness("158 HV", KB_SOFT);
    expect_hardness("187 HBW 5/750", KB_MEDIUM);
    expect_hardness("300 HB", KB_MEDIUM);
    expect_hardness("317 HV10", KB_HARD);
    expect_hardness("700HV0.3", KB_HARD);
}

static void what_is_no_hardness_is_refused(void **state) {
    (void)state;
    static const char *const bad[] = {"",       "187",     "45 HRC", "HBW",  "-5 HBW", "1e9 HV",
                                      "nan HV", "187 HBX", "0 HBW",  "Soft", "19 HBW"};
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        enum kb_hardness hardness = KB_MEDIUM;
        double value = 0.0;
        const char *by = NULL;
        if (kb_hardness_parse(bad[i], &hardness, &value, &by)) {
            fail_msg("'%s' is taken for a hardness", bad[i]);
        }
    }
}

static void values_outside_their_enumerations_are_refused(void **state) {
    (void)state;
    static struct kb_prepare_sheet sheet;
    for (int i = 0; i < 5; i++) {
        struct kb_prepare_params params = kb_prepare_params_default(KB_GREY_IRON);
        params.material = i == 0 ? (enum kb_material)99 : params.material;
        params.hardness = i == 1 ? (enum kb_hardness)99 : params.hardness;
        params.cut = i == 2 ? (enum kb_cut)99 : params.cut;
        params.mount = i == 3 ? (enum kb_mount)99 : params.mount;
        params.etchant = i == 4 ? (enum kb_etchant)99 : params.etchant;
        struct kb_err err = {.code = KB_OK};
        assert_int_equal(kb_prepare_plan(&params, NULL, 0, &sheet, &err), KB_E_USAGE);
        assert_string_equal(err.stage, "prepare");
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(ladders_get_finer_in_small_steps_to_one_micrometre),
        cmocka_unit_test(every_paper_stands_in_the_fepa_series_with_its_grain),
        cmocka_unit_test(times_and_loads_are_those_of_the_table),
        cmocka_unit_test(a_deeper_cut_begins_with_no_finer_paper_and_says_how_deep),
        cmocka_unit_test(harder_metal_takes_no_less_time_and_load),
        cmocka_unit_test(every_step_that_can_hurt_carries_its_cautions),
        cmocka_unit_test(graphite_is_looked_at_before_the_etch_and_only_in_irons),
        cmocka_unit_test(no_step_and_no_sentence_is_left_out),
        cmocka_unit_test(etchants_have_the_ranges_of_their_table),
        cmocka_unit_test(hardness_is_taken_by_class_brinell_or_vickers),
        cmocka_unit_test(what_is_no_hardness_is_refused),
        cmocka_unit_test(values_outside_their_enumerations_are_refused),
    };
    return cmocka_run_group_tests_name("preparation sheets", tests, NULL, NULL);
}
