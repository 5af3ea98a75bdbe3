/* html_graphite.c - graphite of the specimen: nodularity by each method side by side, forms, sizes,
 * shape, and the rules by which particles were left out. */
#include "html_priv.h"

/* Whether the graphite figures rest on this field: beside unetched ones, etched ones do not. */
static bool gives_graphite(const struct kb_result *result, const struct kb_field_result *field) {
    return !result->specimen.graphite_from_unetched || field->contrast == KB_LIGHT_UNETCHED;
}

/* Shape factor that parts nodules from the rest in ISO 945-4 and ASTM E2567 (see refs/). */
static const double nodule_shape_factor = 0.6;
/* Bars of the histograms: 20 over the whole range of the shape factor, about as many of size. */
enum { SHAPE_BARS = 20, SIZE_BARS_MOST = 24 };

static void nodularity_row(struct kb_text *out, const char *method, const char *rule,
                           const struct kb_estimate *estimate) {
    kb_text_format(out,
                   "<tr><td class=\"lone\">%s</td><td data-label=\"rule\"><span>%s</span></td>",
                   method, rule);
    kb_text_add(out, "<td class=\"n\" data-label=\"nodularity\"><span>");
    kb_html_estimate(out, estimate, true);
    kb_text_add(out, "</span></td></tr>\n");
}

static void nodularity(struct kb_text *out, const struct kb_result *result) {
    const struct kb_specimen *specimen = &result->specimen;
    const struct kb_estimate *by = specimen->nodularity_percent;
    if (result->material == KB_GREY_IRON) {
        kb_text_add(out, "<h3>Nodularity</h3>\n<p>Not given: ");
        kb_html_text(out, by[KB_NOD_ISO945_4].why);
        kb_text_add(out, ". What is round all the same shows as forms V and VI below.</p>\n");
        return;
    }
    kb_text_add(out, "<h3>Nodularity</h3>\n<div class=\"wide\"><table class=\"stack\"><thead><tr>"
                     "<th>method</th><th>what is divided by what</th>"
                     "<th class=\"n\">nodularity, 95&#160;% interval</th></tr></thead><tbody>\n");
    nodularity_row(out, "after ISO 945-4, by area",
                   "area of particles with shape factor ≥ 0.6, over the area of all that count",
                   &by[KB_NOD_ISO945_4]);
    nodularity_row(
        out, "after ASTM E2567, by area",
        "the same shape factor from the maximum Feret diameter, over all at or above the "
        "minimum size",
        &by[KB_NOD_E2567]);
    nodularity_row(
        out, "after ISO 16112, by area",
        "nodules in full and intermediate shapes by half, over the area of all that count",
        &by[KB_NOD_ISO16112]);
    nodularity_row(out, "by count", "number of nodules over the number of particles that count",
                   &specimen->nodularity_by_count_percent);
    kb_text_add(out,
                "</tbody></table></div>\n<p class=\"small\">The methods differ because they "
                "draw the line between nodule and not at different shape factors, and because "
                "weighting by area lets few large particles outweigh many small ones. Compare "
                "only figures of the same method. The methods follow the standards as commonly "
                "described; this is no statement of conformity with them.</p>\n");
}

static void forms_by_hand(struct kb_text *out, const struct kb_result *result) {
    size_t count = kb_hand_forms(result);
    if (count == 0) {
        return;
    }
    kb_text_format(out,
                   "<p class=\"small\">The form of %zu particle%s was <a href=\"#by-hand\">set by "
                   "hand</a>. There the form decides in every method of nodularity, not the shape "
                   "factor: V and VI are nodules, I to IV are not. The histograms below show "
                   "figures, not forms.</p>\n",
                   count, count == 1 ? "" : "s");
}

/* One decimal throughout, so that the column can be read down. */
static void form_row(struct kb_text *out, enum kb_form form, const struct kb_estimate *share) {
    char value[24], low[24], high[24];
    kb_text_format(out, "<tr><td class=\"lone\">form %s: %s</td>", kb_form_roman(form),
                   kb_form_words(form));
    kb_text_add(out, "<td class=\"n\" data-label=\"share of graphite area\"><span>");
    if (!share->measured) {
        kb_html_estimate(out, share, false);
    } else {
        kb_show_number(value, sizeof value, share->value, 1);
        kb_show_number(low, sizeof low, share->lo, 1);
        kb_show_number(high, sizeof high, share->hi, 1);
        kb_text_format(out, "%s&#160;%%", value);
        if (share->has_interval) {
            kb_text_format(out, " <span class=\"ci\">(%s to %s)</span>", low, high);
        }
    }
    kb_text_add(out, "</span></td></tr>\n");
}

static void forms(struct kb_text *out, const struct kb_result *result) {
    const struct kb_specimen *specimen = &result->specimen;
    kb_text_add(out, "<h3>Form of graphite</h3>\n<div class=\"wide\"><table class=\"stack\"><thead>"
                     "<tr><th>form as named in ISO 945-1</th>"
                     "<th class=\"n\">share of the counting graphite area, 95&#160;% interval</th>"
                     "</tr></thead><tbody>\n");
    for (int form = KB_FORM_I; form < KB_FORMS; form++) {
        form_row(out, (enum kb_form)form, &specimen->form_area_percent[form]);
    }
    kb_text_add(out, "</tbody></table></div>\n<p class=\"caution\"><b>Mind the numbering.</b> In "
                     "ISO 945-1 form I is lamellar and form VI is nodular. ASTM A247 numbers its "
                     "types the other way round: type I there is nodular. Quote forms with their "
                     "names.</p>\n<p class=\"small\">The standard gives pictures, not figures, for "
                     "the six forms; here shape factor, solidity, aspect ratio and circularity "
                     "together decide.</p>\n");
}

/* ---- histograms --------------------------------------------------------------------------------
 */

static double largest_feret(const struct kb_result *result) {
    double largest = 0.0;
    for (size_t i = 0; i < result->fields; i++) {
        const struct kb_field_result *field = &result->field[i];
        for (size_t k = 0; gives_graphite(result, field) && k < field->particles.count; k++) {
            const struct kb_particle *p = &field->particles.particle[k];
            double feret = p->feret_max_px * field->px_um;
            if (p->state == KB_COUNTS && feret > largest) {
                largest = feret;
            }
        }
    }
    return largest;
}

/* Least of 1, 2, 5, 10, 20, ... that divides `range` into at most `most` parts. */
static double round_step(double range, int most) {
    static const double step[] = {1.0, 2.0, 5.0};
    double decade = pow(10.0, floor(log10(range / most)));
    for (int tens = 0; tens < 2; tens++) {
        for (size_t i = 0; i < KB_COUNT_OF(step); i++) {
            if (step[i] * decade * most >= range) {
                return step[i] * decade;
            }
        }
        decade *= 10.0;
    }
    return decade;
}

static void count_bars(const struct kb_result *result, bool size, double width, double *bar,
                       size_t bars) {
    for (size_t i = 0; i < result->fields; i++) {
        const struct kb_field_result *field = &result->field[i];
        for (size_t k = 0; gives_graphite(result, field) && k < field->particles.count; k++) {
            const struct kb_particle *p = &field->particles.particle[k];
            double value = size ? p->feret_max_px * field->px_um : p->shape_factor;
            if (p->state != KB_COUNTS || !(value >= 0.0)) {
                continue;
            }
            double index = floor(value / width);
            bar[index < (double)bars ? (size_t)index : bars - 1] += 1.0;
        }
    }
}

static const char *const size_words[KB_SIZE_CLASSES] = {"size 1", "size 2", "size 3", "size 4",
                                                        "size 5", "size 6", "size 7", "size 8"};

/* The classes of ISO 945-1 as spans of the axis, smallest particles first. */
static void size_spans(struct kb_bar_span span[KB_SIZE_CLASSES]) {
    for (int size = 1; size <= KB_SIZE_CLASSES; size++) {
        struct kb_bar_span *to = &span[KB_SIZE_CLASSES - size];
        double most = 0.0;
        kb_size_class_span(size, &to->low, &most);
        to->high = fmin(most, 1e6); /* a metre: beyond any axis */
        to->words = size_words[size - 1];
    }
}

static void size_histogram(struct kb_text *out, const struct kb_result *result) {
    double largest = largest_feret(result);
    double bar[SIZE_BARS_MOST + 1] = {0};
    double width = round_step(largest, SIZE_BARS_MOST);
    size_t bars = (size_t)ceil(largest / width);
    bars = bars < 1 ? 1 : bars > SIZE_BARS_MOST ? SIZE_BARS_MOST : bars;
    struct kb_bar_span span[KB_SIZE_CLASSES];
    size_spans(span);
    count_bars(result, true, width, bar, bars);
    const struct kb_bars chart = {
        .height = bar,
        .count = bars,
        .low = 0.0,
        .width = width,
        .decimals = width < 1.0 ? 1 : 0,
        .x_title = "maximum Feret diameter, µm",
        .y_title = "particles",
        .title = "Histogram of the maximum Feret diameter of the counted particles",
        .span = span,
        .spans = KB_SIZE_CLASSES,
        .cut = KB_NAN,
        .cut_words = NULL,
    };
    kb_text_add(out, "<figure>");
    kb_svg_bars(out, &chart);
    kb_text_add(out,
                "<figcaption>Size of the counted particles, with the size classes of ISO 945-1");
    if (result->specimen.size_class > 0) {
        kb_text_format(out, "; the largest is of ISO 945-1 size class %d",
                       result->specimen.size_class);
    }
    kb_text_add(out, "</figcaption></figure>\n");
}

static void shape_histogram(struct kb_text *out, const struct kb_result *result) {
    double bar[SHAPE_BARS] = {0};
    count_bars(result, false, 1.0 / SHAPE_BARS, bar, SHAPE_BARS);
    const struct kb_bars chart = {
        .height = bar,
        .count = SHAPE_BARS,
        .low = 0.0,
        .width = 1.0 / SHAPE_BARS,
        .decimals = 1,
        .x_title = "shape factor",
        .y_title = "particles",
        .title = "Histogram of the shape factor of the counted particles, cut at 0.6",
        .cut = nodule_shape_factor,
        .cut_words = "0.6: nodules to the right",
    };
    kb_text_add(out, "<figure>");
    kb_svg_bars(out, &chart);
    kb_text_add(out, "<figcaption>Shape factor: area over the area of the circle on the maximum "
                     "Feret diameter</figcaption></figure>\n");
}

static void histograms(struct kb_text *out, const struct kb_result *result) {
    kb_text_add(out, "<h3>Size and shape of the counted particles</h3>\n");
    if (!(largest_feret(result) > 0.0)) {
        kb_text_add(out,
                    "<p class=\"soft\">No particle counts, so there is nothing to draw.</p>\n");
        return;
    }
    kb_text_add(out, "<div class=\"charts\">\n");
    size_histogram(out, result);
    shape_histogram(out, result);
    kb_text_add(out, "</div>\n");
}

/* ---- rules -------------------------------------------------------------------------------------
 */

static void rules(struct kb_text *out, const struct kb_result *result) {
    static const char *const rule[KB_PARTICLE_STATES] = {
        [KB_COUNTS] = "counts for shape, size and number",
        [KB_ON_FRAME] = "cut by the edge of the picture: in the area fraction, not in shape",
        [KB_ON_EXCLUSION] = "touches an excluded area: in the area fraction, not in shape",
        [KB_UNDER_SIZE] = "maximum Feret diameter below the minimum",
        [KB_NO_SCALE] = "pixel size unknown, so the minimum cannot be applied",
    };
    const struct kb_specimen *specimen = &result->specimen;
    size_t all = 0, parted = 0;
    for (int state = 0; state < KB_PARTICLE_STATES; state++) {
        all += specimen->particles[state];
    }
    for (size_t i = 0; i < result->fields; i++) {
        const struct kb_field_result *field = &result->field[i];
        parted += gives_graphite(result, field) ? field->particles.parted_clusters : 0;
    }
    kb_text_add(out, "<h3>Rules that decide whether a particle counts</h3>\n<div class=\"wide\">"
                     "<table><thead><tr><th>rule</th><th class=\"n\">particles</th>"
                     "</tr></thead><tbody>\n");
    for (int state = 0; state < KB_PARTICLE_STATES; state++) {
        kb_text_format(out, "<tr><td>%s", rule[state]);
        if (state == KB_UNDER_SIZE) {
            kb_text_format(out, " of %.4g µm", result->morphology_params.min_feret_um);
        }
        kb_text_format(out, "</td><td class=\"n\">%zu</td></tr>\n", specimen->particles[state]);
    }
    kb_text_format(out, "<tr><td>all particles found</td><td class=\"n\">%zu</td></tr>\n", all);
    kb_text_add(out, "</tbody></table></div>\n<p class=\"small\">");
    if (result->morphology_params.part_touching) {
        kb_text_format(out, "%zu cluster%s of touching particles were parted.", parted,
                       parted == 1 ? "" : "s");
    } else {
        kb_text_add(out, "Touching particles were left together.");
    }
    kb_text_add(out, " Holes inside particles are filled for shape and size, not for the area "
                     "fraction. The nodule count corrects for particles lost at the edge of the "
                     "picture (Miles–Lantuéjoul weights).</p>\n");
}

void kb_html_graphite(struct kb_text *out, const struct kb_result *result) {
    if (!kb_material_is_iron(result->material)) {
        return;
    }
    kb_html_section(out, "graphite", "Graphite");
    kb_html_flakes(out, result);
    nodularity(out, result);
    forms_by_hand(out, result);
    kb_html_counts(out, &result->specimen);
    forms(out, result);
    histograms(out, result);
    rules(out, result);
    kb_html_section_end(out);
}
