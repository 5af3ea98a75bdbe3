/* test_published_carbon.c - lever rule and graphite volume against worked textbook answers:
 * refs/lever_worked.csv, lever_table.csv, lever_constants.csv, graphite_volume.csv, densities.csv.
 */
#include "keelblock/judge.h"
#include "refs_table.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

/* Half of the fourth digit that the table prints, and a rounding. */
static const double four_digits = 0.5e-4 + 1e-9;

static struct kb_carbon_constants constants_named(const char *name) {
    struct kb_carbon_constants constants = kb_carbon_constants_default();
    struct table table;
    bool found = false;
    table_read("lever_constants.csv", &table);
    for (size_t row = 0; row < table.rows; row++) {
        if (strcmp(table_text(&table, row, "name"), name) == 0) {
            constants.ferrite_c = table_number(&table, row, "ferrite_c");
            constants.eutectoid_c = table_number(&table, row, "eutectoid_c");
            constants.cementite_c = table_number(&table, row, "cementite_c");
            found = true;
        }
    }
    table_release(&table);
    assert_true(found);
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

static void worked_textbook_answers_are_found(void **state) {
    (void)state;
    struct table table;
    table_read("lever_worked.csv", &table);
    for (size_t row = 0; row < table.rows; row++) {
        struct kb_carbon_constants constants =
            constants_named(table_text(&table, row, "constants"));
        const char *given = table_text(&table, row, "given");
        const char *asked = table_text(&table, row, "asked");
        double value = table_number(&table, row, "given_value");
        double found = 0.0;
        if (strcmp(given, "carbon") == 0) {
            struct kb_lever lever;
            assert_int_equal(kb_lever_from_carbon(value, &constants, &lever, NULL), KB_OK);
            found = fraction_named(&lever, asked);
        } else {
            assert_string_equal(asked, "carbon");
            found = carbon_from(given, value, &constants);
        }
        table_expect(&table, row, asked, found, table_number(&table, row, "answer"),
                     table_number(&table, row, "tolerance"));
    }
    table_release(&table);
}

static void the_table_of_fractions_agrees_to_every_digit(void **state) {
    (void)state;
    struct table table;
    struct kb_carbon_constants callister = constants_named("callister");
    struct kb_carbon_constants princeton = constants_named("princeton");
    table_read("lever_table.csv", &table);
    for (size_t row = 0; row < table.rows; row++) {
        double carbon = table_number(&table, row, "carbon");
        struct kb_lever one;
        struct kb_lever two;
        assert_int_equal(kb_lever_from_carbon(carbon, &callister, &one, NULL), KB_OK);
        assert_int_equal(kb_lever_from_carbon(carbon, &princeton, &two, NULL), KB_OK);
        const struct {
            const char *heading;
            double found;
        } cell[] = {{"pearlite_callister", one.pearlite},
                    {"proeutectoid_callister", one.proeutectoid},
                    {"total_cementite_callister", one.total_cementite},
                    {"pearlite_princeton", two.pearlite}};
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

static void the_defaults_are_the_listed_constants(void **state) {
    (void)state;
    struct kb_carbon_constants used = kb_carbon_constants_default();
    struct kb_carbon_constants callister = constants_named("callister");
    assert_true(used.ferrite_c == callister.ferrite_c);
    assert_true(used.eutectoid_c == callister.eutectoid_c);
    assert_true(used.cementite_c == callister.cementite_c);
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
        cmocka_unit_test(worked_textbook_answers_are_found),
        cmocka_unit_test(the_table_of_fractions_agrees_to_every_digit),
        cmocka_unit_test(graphite_by_mass_and_by_volume_agree_with_the_table),
        cmocka_unit_test(the_defaults_are_the_listed_constants),
        cmocka_unit_test(a_steel_by_area_is_nearly_the_steel_by_mass),
    };
    return cmocka_run_group_tests_name("published carbon", tests, NULL, NULL);
}
