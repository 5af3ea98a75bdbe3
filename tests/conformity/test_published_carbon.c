/* test_published_carbon.c - lever rule and graphite volume against worked textbook answers:
 * refs/lever_worked.csv, lever_table.csv, lever_constants.csv, graphite_volume.csv, densities.csv.
 */
#include "keelblock/judge.h"
#include "refs_table.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

/* Half of the fourth digit that the table prints, and a rounding. */
static const double four_digits = 0.5e-4 + 1e-9;

static struct kb_carbon_constants constants_named(const char *name) {
    struct kb_carbon_constants constants = kb_carbon_constants_default();
    const struct kb_carbon_set *set = kb_carbon_set_named(name);
    assert_non_null(set);
    kb_carbon_use_set(&constants, set);
    return constants;
}

static double fraction_named(const struct kb_lever *lever, const char *name) {
    if (strcmp(name, "pearlite") == 0) {
        return lever->pearlite;
    }
    if (strcmp(name, "proeutectoid") == 0) {
        return lever->proeutectoid;
    }
    if (strcmp(name, "total_ferrite") == 0) {
        return lever->total_ferrite;
    }
    assert_string_equal(name, "total_cementite");
    return lever->total_cementite;
}

/* Carbon of a steel whose pearlite, or whole cementite, is given: by the program alone. */
static double carbon_from(const char *given, double value,
                          const struct kb_carbon_constants *constants) {
    if (strcmp(given, "pearlite") == 0) {
        return kb_lever_carbon(value, KB_PRO_FERRITE, constants);
    }
    assert_string_equal(given, "total_cementite");
    double low = constants->ferrite_c;
    double high = constants->cementite_c;
    for (int i = 0; i < 60; i++) { /* total cementite rises with carbon: halve */
        struct kb_lever lever;
        double middle = 0.5 * (low + high);
        assert_int_equal(kb_lever_from_carbon(middle, constants, &lever, NULL), KB_OK);
        *(lever.total_cementite < value ? &low : &high) = middle;
    }
    return 0.5 * (low + high);
}

/* As a book prints it: with as many decimals as `like` has. */
static void print_like(double value, const char *like, char text[32]) {
    const char *point = strchr(like, '.');
    assert_non_null(point);
    (void)snprintf(text, 32, "%.*f", (int)strlen(point + 1), value);
}

static double rounded_like(double value, const char *like) {
    char text[32];
    print_like(value, like, text);
    return strtod(text, NULL);
}

static double fraction_asked(const struct kb_lever *lever, const char *asked, const char *answer) {
    if (strcmp(asked, "eutectoid_ferrite") == 0) {
        return rounded_like(lever->total_ferrite, answer) -
               rounded_like(lever->proeutectoid, answer);
    }
    return fraction_named(lever, asked);
}

/* What the row asks, under its own constants and in the way that its source works it. */
static double answer_of(const struct table *table, size_t row) {
    struct kb_carbon_constants constants = constants_named(table_text(table, row, "constants"));
    const char *given = table_text(table, row, "given");
    const char *asked = table_text(table, row, "asked");
    double value = table_number(table, row, "given_value");
    if (strcmp(given, "carbon") != 0) {
        assert_string_equal(asked, "carbon");
        return carbon_from(given, value, &constants);
    }
    struct kb_lever lever;
    assert_int_equal(kb_lever_from_carbon(value, &constants, &lever, NULL), KB_OK);
    double found = fraction_asked(&lever, asked, table_text(table, row, "answer"));
    if (!table_empty(table, row, "divisor")) { /* the source rounds the length of the lever */
        found *=
            (constants.eutectoid_c - constants.ferrite_c) / table_number(table, row, "divisor");
    }
    return table_empty(table, row, "whole") ? found : found * table_number(table, row, "whole");
}

static void worked_textbook_answers_come_out_digit_for_digit(void **state) {
    (void)state;
    struct table table;
    table_read("lever_worked.csv", &table);
    assert_true(table.rows >= 20);
    for (size_t row = 0; row < table.rows; row++) {
        const char *answer = table_text(&table, row, "answer");
        char found[32];
        print_like(answer_of(&table, row), answer, found);
        if (strcmp(found, answer) != 0) {
            fail_msg("%s: found %s, in print %s", table_text(&table, row, "source"), found, answer);
        }
    }
    table_release(&table);
}

static void another_books_constants_give_another_answer(void **state) {
    (void)state;
    struct table table;
    size_t differ = 0;
    table_read("lever_worked.csv", &table);
    for (size_t row = 0; row < table.rows; row++) {
        struct kb_carbon_constants other = constants_named("0.80");
        struct kb_lever lever;
        if (strcmp(table_text(&table, row, "asked"), "pearlite") == 0) {
            double carbon = table_number(&table, row, "given_value");
            assert_int_equal(kb_lever_from_carbon(carbon, &other, &lever, NULL), KB_OK);
            differ += fabs(lever.pearlite - answer_of(&table, row)) > 0.005 ? 1 : 0;
        }
    }
    assert_true(differ >= 4);
    table_release(&table);
}

static void the_table_of_fractions_agrees_to_every_digit(void **state) {
    (void)state;
    struct table table;
    struct kb_carbon_constants first = constants_named("0.76");
    struct kb_carbon_constants second = constants_named("0.77");
    table_read("lever_table.csv", &table);
    for (size_t row = 0; row < table.rows; row++) {
        double carbon = table_number(&table, row, "carbon");
        struct kb_lever one;
        struct kb_lever two;
        assert_int_equal(kb_lever_from_carbon(carbon, &first, &one, NULL), KB_OK);
        assert_int_equal(kb_lever_from_carbon(carbon, &second, &two, NULL), KB_OK);
        const struct {
            const char *heading;
            double found;
        } cell[] = {{"pearlite_076", one.pearlite},
                    {"proeutectoid_076", one.proeutectoid},
                    {"total_cementite_076", one.total_cementite},
                    {"pearlite_077", two.pearlite}};
        for (size_t i = 0; i < sizeof cell / sizeof cell[0]; i++) {
            table_expect(&table, row, cell[i].heading, cell[i].found,
                         table_number(&table, row, cell[i].heading), four_digits);
        }
    }
    table_release(&table);
}

static void graphite_by_mass_and_by_volume_agree_with_the_table(void **state) {
    (void)state;
    struct table table;
    table_read("graphite_volume.csv", &table);
    for (size_t row = 0; row < table.rows; row++) {
        double mass = table_number(&table, row, "graphite_mass_percent");
        double graphite = table_number(&table, row, "rho_graphite");
        double matrix = table_number(&table, row, "rho_matrix");
        double volume = table_number(&table, row, "graphite_volume_percent");
        double tolerance = table_number(&table, row, "tolerance");
        table_expect(&table, row, "volume",
                     100.0 * kb_volume_fraction(mass / 100.0, graphite, matrix), volume, tolerance);
        /* the same tolerance in volume, seen from mass: less than its third */
        table_expect(&table, row, "mass",
                     100.0 * kb_mass_fraction(volume / 100.0, graphite, matrix), mass,
                     tolerance * 0.35);
    }
    table_release(&table);
}

static void every_listed_set_can_be_chosen_by_name(void **state) {
    (void)state;
    struct table table;
    size_t count = 0;
    const struct kb_carbon_set *set = kb_carbon_sets(&count);
    table_read("lever_constants.csv", &table);
    assert_int_equal(table.rows, count);
    for (size_t row = 0; row < table.rows; row++) {
        assert_string_equal(table_text(&table, row, "name"), set[row].name);
        assert_ptr_equal(kb_carbon_set_named(set[row].name), &set[row]);
        assert_true(set[row].ferrite_c == table_number(&table, row, "ferrite_c"));
        assert_true(set[row].eutectoid_c == table_number(&table, row, "eutectoid_c"));
        assert_true(set[row].cementite_c == table_number(&table, row, "cementite_c"));
        assert_string_equal(table_text(&table, row, "source"), set[row].source);
        assert_string_equal(table_text(&table, row, "status"), set[row].status);
        struct kb_carbon_constants constants = constants_named(set[row].name);
        assert_int_equal(kb_carbon_constants_check(&constants, NULL), KB_OK);
    }
    assert_null(kb_carbon_set_named("0.75"));
    table_release(&table);
}

static void the_defaults_are_the_listed_constants(void **state) {
    (void)state;
    struct kb_carbon_constants used = kb_carbon_constants_default();
    struct kb_carbon_constants first = constants_named("0.76");
    assert_true(used.ferrite_c == first.ferrite_c);
    assert_true(used.eutectoid_c == first.eutectoid_c);
    assert_true(used.cementite_c == first.cementite_c);
    const struct {
        const char *phase;
        double density;
    } listed[] = {{"ferrite", used.rho_ferrite},
                  {"pearlite", used.rho_pearlite},
                  {"graphite", used.rho_graphite},
                  {"cementite", used.rho_cementite},
                  {"iron_matrix", used.rho_iron_matrix}};
    struct table table;
    table_read("densities.csv", &table);
    assert_int_equal(table.rows, sizeof listed / sizeof listed[0]);
    for (size_t row = 0; row < table.rows; row++) {
        assert_string_equal(table_text(&table, row, "phase"), listed[row].phase);
        table_expect(&table, row, listed[row].phase, listed[row].density,
                     table_number(&table, row, "density_g_cm3"), 0.0);
    }
    table_release(&table);
}

static void a_steel_by_area_is_nearly_the_steel_by_mass(void **state) {
    (void)state;
    /* 0.38 % C: 0.4851 by mass is 0.4860 by volume with 7.84 and 7.87 g/cm3 (worked out) */
    double volume = kb_volume_fraction(0.4851, 7.84, 7.87);
    assert_true(fabs(volume - 0.4860) < 1e-4);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(worked_textbook_answers_come_out_digit_for_digit),
        cmocka_unit_test(another_books_constants_give_another_answer),
        cmocka_unit_test(every_listed_set_can_be_chosen_by_name),
        cmocka_unit_test(the_table_of_fractions_agrees_to_every_digit),
        cmocka_unit_test(graphite_by_mass_and_by_volume_agree_with_the_table),
        cmocka_unit_test(the_defaults_are_the_listed_constants),
        cmocka_unit_test(a_steel_by_area_is_nearly_the_steel_by_mass),
    };
    return cmocka_run_group_tests_name("published carbon", tests, NULL, NULL);
}
