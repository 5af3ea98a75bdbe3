/* html_space.c - counting rules side by side, and what the sections say of nodules in space. */
#include "html_priv.h"

/* ---- counting rules ----------------------------------------------------------------------------
 */

static void count_row(struct kb_text *out, const struct kb_specimen *specimen,
                      enum kb_count_rule rule) {
    static const char *const bias[KB_COUNT_RULES] = {
        [KB_COUNT_INSIDE] = "too low",
        [KB_COUNT_HALF_CUT] = "a little too high",
        [KB_COUNT_TWO_EDGES] = "none",
        [KB_COUNT_WEIGHTED] = "none",
    };
    bool used = rule == KB_COUNT_WEIGHTED;
    kb_text_add(out, "<tr><td class=\"lone\">");
    kb_html_text(out, kb_count_rule_words(rule));
    kb_text_add(out, used ? " <b>(used in this report)</b>" : "");
    kb_text_format(out, "</td><td data-label=\"bias by the frame\">%s</td>", bias[rule]);
    kb_text_add(out, "<td class=\"n\" data-label=\"nodules\"><span>");
    kb_html_estimate(out, &specimen->nodule_count_per_mm2[rule], true);
    kb_text_add(out, "</span></td><td class=\"n\" data-label=\"all graphite\"><span>");
    kb_html_estimate(out, &specimen->graphite_count_per_mm2[rule], true);
    kb_text_add(out, "</span></td></tr>\n");
}

void kb_html_counts(struct kb_text *out, const struct kb_specimen *specimen) {
    if (!specimen->nodule_count_per_mm2[KB_COUNT_WEIGHTED].measured) {
        return;
    }
    kb_text_add(out, "<h3>Count by each rule</h3>\n<div class=\"wide\"><table class=\"stack\">"
                     "<thead><tr><th>rule</th><th>bias by the frame</th>"
                     "<th class=\"n\">nodules, 95&#160;% interval</th>"
                     "<th class=\"n\">all graphite of the minimum size</th></tr></thead><tbody>\n");
    for (int rule = 0; rule < KB_COUNT_RULES; rule++) {
        count_row(out, specimen, (enum kb_count_rule)rule);
    }
    kb_text_add(out,
                "</tbody></table></div>\n<p class=\"small\">The rules differ in what they make of "
                "particles that the edge of the picture cuts. Whether a cut particle is a nodule "
                "cannot be seen: where a rule counts cut ones, as many are taken to be nodules as "
                "among the complete ones, and their size is that of the part that shows. Compare "
                "only counts by the same rule.</p>\n");
}

/* ---- sizes in space ----------------------------------------------------------------------------
 */

static void method_row(struct kb_text *out, const char *method, const struct kb_estimate *number,
                       const struct kb_estimate *mean) {
    kb_text_format(out, "<tr><td class=\"lone\">%s</td>", method);
    kb_text_add(out, "<td class=\"n\" data-label=\"number\"><span>");
    kb_html_estimate(out, number, true);
    kb_text_add(out, "</span></td><td class=\"n\" data-label=\"mean diameter\"><span>");
    kb_html_estimate(out, mean, true);
    kb_text_add(out, "</span></td></tr>\n");
}

static void methods(struct kb_text *out, const struct kb_spheres *spheres) {
    kb_text_add(out, "<div class=\"wide\"><table class=\"stack\"><thead><tr><th>nodules</th>"
                     "<th class=\"n\">number, 95&#160;% interval</th>"
                     "<th class=\"n\">mean diameter</th></tr></thead><tbody>\n");
    method_row(out, "in the plane, as sections", &spheres->per_mm2, &spheres->plane_mean_um);
    method_row(out, "<b>in space</b>, smoothed expectation-maximisation", &spheres->per_mm3,
               &spheres->mean_um);
    method_row(out, "in space, Schwartz–Saltykov (even classes)", &spheres->saltykov_per_mm3,
               &spheres->saltykov_mean_um);
    method_row(out, "in space, Saltykov (classes in the ratio 10<sup>0.1</sup>)",
               &spheres->log_per_mm3, &spheres->log_mean_um);
    kb_text_add(out, "</tbody></table></div>\n");
}

static void draw(struct kb_text *out, const struct kb_spheres *spheres) {
    double bound[KB_SPHERE_CLASSES + 1] = {0};
    double plane[KB_SPHERE_CLASSES], space[KB_SPHERE_CLASSES];
    double low[KB_SPHERE_CLASSES], high[KB_SPHERE_CLASSES];
    double sections = 0.0, nodules = 0.0;
    for (size_t i = 0; i < spheres->bins; i++) {
        sections += spheres->bin[i].sections_per_mm2;
        nodules += spheres->bin[i].spheres_per_mm3;
    }
    bound[0] = spheres->bin[0].from_um;
    for (size_t i = 0; i < spheres->bins; i++) {
        const struct kb_sphere_class *bin = &spheres->bin[i];
        bound[i + 1] = bin->to_um;
        plane[i] = 100.0 * bin->sections_per_mm2 / sections;
        space[i] = 100.0 * bin->spheres_per_mm3 / nodules;
        low[i] = 100.0 * bin->lo / nodules;
        high[i] = 100.0 * bin->hi / nodules;
    }
    const struct kb_pairs pairs = {
        .bound = bound,
        .left = plane,
        .right = space,
        .low = low,
        .high = high,
        .count = spheres->bins,
        .decimals = bound[1] - bound[0] < 1.0 ? 1 : 0,
        .x_title = "diameter, µm",
        .left_words = "sections in the plane, %",
        .right_words = "nodules in space, %",
        .title = "Distribution of diameters of sections in the plane and of nodules in space",
    };
    kb_text_add(out, "<figure>");
    kb_svg_pairs(out, &pairs);
    kb_text_add(out, "<figcaption>Share of the number in each class of diameter");
    if (isfinite(spheres->bin[0].lo)) {
        kb_text_add(out, "; the lines are 95&#160;% intervals of the nodules in space");
    }
    kb_text_add(out, "</figcaption></figure>\n");
}

/* Whole nodules, three digits of them at most. */
static void per_mm3(struct kb_text *out, double number) {
    int decimals = kb_show_decimals(number);
    kb_html_number_cell(out, NULL, number, decimals > 0 ? 0 : decimals, NULL);
}

static void class_rows(struct kb_text *out, const struct kb_spheres *spheres) {
    kb_text_add(out, "<figure class=\"wide\"><table><thead><tr><th class=\"n\">diameter, µm</th>"
                     "<th class=\"n\">sections /mm²</th><th class=\"n\">nodules /mm³</th>"
                     "<th class=\"n\">Schwartz–<br />Saltykov</th></tr></thead><tbody>\n");
    for (size_t i = 0; i < spheres->bins; i++) {
        const struct kb_sphere_class *bin = &spheres->bin[i];
        kb_text_format(out, "<tr><td class=\"n\">%.4g to %.4g</td>", bin->from_um, bin->to_um);
        kb_html_number_cell(out, NULL, bin->sections_per_mm2, 1, NULL);
        per_mm3(out, bin->spheres_per_mm3);
        per_mm3(out, bin->saltykov_per_mm3);
        kb_text_add(out, "</tr>\n");
    }
    kb_text_add(out, "</tbody></table></figure>\n");
}

static void trust(struct kb_text *out, const struct kb_specimen *specimen) {
    const struct kb_spheres *spheres = &specimen->spheres;
    char misfit[24], strength[24];
    struct kb_shown volume = kb_show(&spheres->volume_fraction);
    struct kb_shown graphite = kb_show(&specimen->phase[KB_GRAPHITE]);
    kb_show_number(misfit, sizeof misfit, spheres->misfit, 1);
    kb_text_format(
        out,
        "<p class=\"small\">From %zu sections of %.4g µm and more, each weighted for the frame, on "
        "the assumption that nodules are spheres; the figures speak of nodules of that size and "
        "more, and nothing is said of smaller ones. Together these spheres fill %s&#160;%% of the "
        "volume",
        spheres->sections, spheres->least_um, volume.value);
    if (graphite.measured) {
        kb_text_format(out, "; all graphite is %s&#160;%% of the fields", graphite.value);
    }
    kb_text_format(out,
                   ". Sections seen and those that the spheres would show differ by a chi squared "
                   "of %s a class (about 1 or less is good).</p>\n",
                   misfit);
    if (spheres->smoothing < 1.0) {
        (void)snprintf(strength, sizeof strength, "1/%.0f of", 1.0 / spheres->smoothing);
    } else {
        (void)snprintf(strength, sizeof strength, "at");
    }
    kb_text_format(
        out,
        "<p class=\"small\">Schwartz–Saltykov subtracts class by class, so that counting noise "
        "grows towards small sizes and can pass below zero, and lumps each class at its upper end, "
        "which makes the mean too large and the number too low. The smoothed method finds by "
        "expectation-maximisation the spheres that make the sections seen most likely, and after "
        "each round evens neighbouring classes; the smoothing is the strongest that still fits as "
        "well as counting noise allows (here %s full strength).</p>\n",
        strength);
}

static void sizes(struct kb_text *out, const struct kb_specimen *specimen) {
    const struct kb_spheres *spheres = &specimen->spheres;
    kb_text_add(out, "<h3>Size and number of nodules</h3>\n");
    if (!spheres->per_mm3.measured) {
        kb_text_add(out, "<p>Not unfolded");
        if (spheres->per_mm3.why != NULL) {
            kb_text_add(out, ": ");
            kb_html_text(out, spheres->per_mm3.why);
        }
        kb_text_add(out, ".</p>\n");
        return;
    }
    kb_text_add(out, "<p>A plane cuts nodules off their centres, so that each section is smaller "
                     "than its nodule, and meets large nodules more often than small ones, so that "
                     "small ones are missed. The mean size in the plane is therefore not that of "
                     "the nodules, and a count per mm² is the number per mm³ times the mean "
                     "diameter: two irons of the same count may hold very different numbers of "
                     "nodules.</p>\n");
    methods(out, spheres);
    kb_text_add(out, "<div class=\"charts\">\n");
    draw(out, spheres);
    class_rows(out, spheres);
    kb_text_add(out, "</div>\n");
    trust(out, specimen);
}

/* ---- spacing -----------------------------------------------------------------------------------
 */

static void spacing_row(struct kb_text *out, const char *name, const char *formula,
                        const struct kb_estimate *estimate) {
    kb_text_format(out,
                   "<tr><td class=\"lone\">%s</td><td data-label=\"formula\"><span>%s</span></td>"
                   "<td class=\"n\" data-label=\"value\"><span>",
                   name, formula);
    kb_html_estimate(out, estimate, true);
    kb_text_add(out, "</span></td></tr>\n");
}

static void spacing(struct kb_text *out, const struct kb_spacing *spacing) {
    kb_text_add(out, "<h3>Surface and spacing of the graphite</h3>\n");
    if (!spacing->surface_per_mm.measured) {
        kb_text_add(out, "<p>Not measured");
        if (spacing->surface_per_mm.why != NULL) {
            kb_text_add(out, ": ");
            kb_html_text(out, spacing->surface_per_mm.why);
        }
        kb_text_add(out, ".</p>\n");
        return;
    }
    kb_text_add(out, "<div class=\"wide\"><table class=\"stack\"><thead><tr><th>quantity</th>"
                     "<th>formula</th><th class=\"n\">value, 95&#160;% interval</th></tr></thead>"
                     "<tbody>\n");
    spacing_row(out, "graphite surface per volume (mm² in a mm³)",
                "<i>S</i><sub>V</sub> = 4 <i>N</i><sub>L</sub>", &spacing->surface_per_mm);
    spacing_row(out, "mean intercept through graphite",
                "<i>V</i><sub>V</sub> / <i>N</i><sub>L</sub>", &spacing->mean_intercept_um);
    spacing_row(out, "mean free path between graphite",
                "(1 − <i>V</i><sub>V</sub>) / <i>N</i><sub>L</sub>", &spacing->mean_free_path_um);
    spacing_row(out, "mean spacing, centre to centre along a line", "1 / <i>N</i><sub>L</sub>",
                &spacing->mean_spacing_um);
    spacing_row(out, "graphite intercepts a length of line", "<i>N</i><sub>L</sub>",
                &spacing->intercepts_per_mm);
    spacing_row(out, "the same on lines along the rows", "<i>N</i><sub>L</sub>",
                &spacing->along_per_mm[KB_ALONG_ROWS]);
    spacing_row(out, "the same on lines along the columns", "<i>N</i><sub>L</sub>",
                &spacing->along_per_mm[KB_ALONG_COLUMNS]);
    kb_text_add(out, "</tbody></table></div>\n<p class=\"small\">From all graphite, cut and small "
                     "particles too, on every row and column of the pictures; no shape is assumed. "
                     "Where rows and columns differ the section has a direction, and the figures "
                     "hold for the mean of the two. Formulas after Underwood and ASTM E1245, from "
                     "memory, unverified.</p>\n");
}

void kb_html_space(struct kb_text *out, const struct kb_result *result) {
    if (!kb_material_is_iron(result->material)) {
        return;
    }
    kb_html_section(out, "space", "From plane to space");
    sizes(out, &result->specimen);
    spacing(out, &result->specimen.spacing);
    kb_html_section_end(out);
}
