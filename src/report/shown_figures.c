/* shown_figures.c - the specimen's figures in the order in which a reader wants them, rounded as
 * the report rounds them, for a page that shows them as they change.
 *
 * The same quantities that limits can name, so that every figure has one key everywhere. The words
 * of a quantity are cut at their first comma: what it is, and what it is of.
 */
#include "report_priv.h"

#include <string.h>

static const enum kb_quantity of_iron[] = {
    KB_Q_NODULARITY,       KB_Q_NODULES_PER_MM2,
    KB_Q_GRAPHITE,         KB_Q_FERRITE,
    KB_Q_PEARLITE,         KB_Q_PEARLITE_OF_MATRIX,
    KB_Q_OTHER_OF_MATRIX,  KB_Q_FORM_VI,
    KB_Q_FORM_V,           KB_Q_FORM_IV,
    KB_Q_FORM_III,         KB_Q_FORM_II,
    KB_Q_FORM_I,           KB_Q_MEAN_FERET_UM,
    KB_Q_LARGEST_FERET_UM, KB_Q_NODULARITY_BY_COUNT,
    KB_Q_NODULARITY_E2567, KB_Q_NODULARITY_ISO16112,
    KB_Q_CARBON,
};
static const enum kb_quantity of_flake_iron[] = {
    KB_Q_GRAPHITE,        KB_Q_FERRITE,          KB_Q_PEARLITE, KB_Q_PEARLITE_OF_MATRIX,
    KB_Q_OTHER_OF_MATRIX, KB_Q_LARGEST_FERET_UM, KB_Q_FORM_I,   KB_Q_MEAN_FERET_UM,
    KB_Q_CARBON,
};
static const enum kb_quantity of_steel[] = {
    KB_Q_PEARLITE,
    KB_Q_FERRITE,
    KB_Q_CEMENTITE,
    KB_Q_CARBON,
};

static const enum kb_quantity *order_of(enum kb_material material, size_t *count) {
    if (!kb_material_is_iron(material)) {
        *count = KB_COUNT_OF(of_steel);
        return of_steel;
    }
    if (material == KB_GREY_IRON) {
        *count = KB_COUNT_OF(of_flake_iron);
        return of_flake_iron;
    }
    *count = KB_COUNT_OF(of_iron);
    return of_iron;
}

/* What follows the last comma says of what it is a share, or by which method. */
static void set_words(enum kb_quantity quantity, struct kb_shown_figure *figure) {
    const char *words = kb_quantity_words(quantity), *comma = strrchr(words, ',');
    const size_t length = comma != NULL ? (size_t)(comma - words) : strlen(words);
    (void)snprintf(figure->words, sizeof figure->words, "%.*s", (int)length, words);
    figure->of = comma != NULL ? comma + 2 : "";
}

static void set_numbers(const struct kb_estimate *estimate, struct kb_shown_figure *figure) {
    const struct kb_shown shown = kb_show(estimate);
    figure->unit = shown.unit;
    figure->decimals = shown.decimals;
    figure->value = shown.measured ? estimate->value * shown.scale : KB_NAN;
    figure->low = shown.has_interval ? estimate->lo * shown.scale : KB_NAN;
    figure->high = shown.has_interval ? estimate->hi * shown.scale : KB_NAN;
    figure->reason = shown.measured ? NULL : estimate->why != NULL ? estimate->why : "not measured";
}

size_t kb_report_figures(const struct kb_result *result, bool concluded,
                         struct kb_shown_figure out[KB_QUANTITIES]) {
    size_t count = 0;
    const enum kb_quantity *order = order_of(result->material, &count);
    for (size_t i = 0; i < count; i++) {
        struct kb_estimate estimate =
            kb_estimate_missing(kb_quantity_unit(order[i]), "some field is not measured");
        if (concluded) {
            estimate = kb_quantity_value(order[i], &result->specimen, &result->carbon);
        }
        out[i] = (struct kb_shown_figure){.key = kb_quantity_name(order[i])};
        set_words(order[i], &out[i]);
        set_numbers(&estimate, &out[i]);
    }
    return count;
}

void kb_report_limit_words(const struct kb_limit *limit, struct kb_text *out) {
    kb_limit_words(limit, out);
}

const char *kb_report_state_words(enum kb_particle_state state) {
    return kb_state_words(state);
}
