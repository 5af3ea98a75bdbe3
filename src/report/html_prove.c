/* html_prove.c - prove.html: the software validation as a page that a laboratory files and signs.
 *
 * The same calm document as the report of a measurement: the answer first, then the rows that fail,
 * then every row in the order of the series with its limits, then what was done and what the limits
 * rest on. No scripts, no network. The markup is XML-clean.
 */
#include "html_priv.h"
#include "prove_show.h"

#include "keelblock/version.h"

#include <string.h>

static void head(struct kb_text *out, bool passed) {
    kb_text_format(out,
                   "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\" />\n"
                   "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\" />\n"
                   "<title>keelblock %s: software validation %s</title>\n<style>\n",
                   KB_VERSION, passed ? "passed" : "failed");
    for (size_t i = 0; kb_html_style[i] != NULL; i++) {
        kb_text_add(out, kb_html_style[i]);
    }
    kb_text_add(out, "</style>\n</head>\n<body>\n<main>\n");
    kb_svg_patterns(out);
}

/* The row of `kind` and quantity that strains its limits most; NULL: there is none. */
static const struct kb_proof_row *worst_of(const struct kb_proof *proof, enum kb_proof_kind kind,
                                           const char *quantity) {
    const struct kb_proof_row *worst = NULL;
    for (size_t i = 0; i < proof->rows; i++) {
        const struct kb_proof_row *row = &proof->row[i];
        bool asked = row->kind == kind && isfinite(row->figure) &&
                     (quantity == NULL || strcmp(row->quantity, quantity) == 0);
        if (asked && (worst == NULL || kb_proof_strain(row) > kb_proof_strain(worst))) {
            worst = row;
        }
    }
    return worst;
}

static void leading_figure(struct kb_text *out, const char *title, const struct kb_proof_row *row) {
    char figure[48], limits[48];
    if (row == NULL) {
        return;
    }
    kb_proof_figure(row, figure, sizeof figure);
    kb_proof_limits(row, limits, sizeof limits);
    size_t number = strcspn(figure, " ");
    kb_text_format(out,
                   "<div><dt>%s</dt><dd class=\"value\">%.*s<small>%s</small></dd>"
                   "<dd class=\"ci\">limit %s</dd><dd class=\"soft small\">",
                   title, (int)number, figure, figure + number, limits);
    kb_html_text(out, row->group);
    kb_text_add(out, ", ");
    kb_html_text(out, row->subject);
    kb_text_add(out, "</dd></div>\n");
}

static void leading(struct kb_text *out, const struct kb_proof *proof) {
    static const struct {
        const char *title, *quantity;
    } figure[] = {
        {"Graphite", "graphite, of the field"},
        {"Pearlite", "pearlite, of the field"},
        {"Pearlite of matrix", "pearlite, of the matrix"},
        {"Nodularity", "nodularity by area, ISO 945-4"},
        {"Nodule count", "nodule count"},
    };
    kb_text_add(out, "<p class=\"small soft\">Largest bias of each quantity in all series, and the "
                     "coverage that is farthest from 95&#160;%:</p>\n<dl class=\"lead\">\n");
    for (size_t i = 0; i < KB_COUNT_OF(figure); i++) {
        leading_figure(out, figure[i].title, worst_of(proof, KB_PROOF_BIAS, figure[i].quantity));
    }
    leading_figure(out, "Coverage", worst_of(proof, KB_PROOF_COVERAGE, NULL));
    kb_text_add(out, "</dl>\n");
}

static void summary(struct kb_text *out, const struct kb_proof *proof) {
    const size_t failed = kb_proof_failed(proof);
    kb_text_add(out, "<header>\n<p class=\"kind\"><span>Software validation</span><span>");
    kb_html_time(out, proof->made_at);
    kb_text_format(out,
                   "</span></p>\n<h1>keelblock %s</h1>\n<p class=\"sub\">%s set of %zu drawn "
                   "specimens, %zu fields, measured in %.0f&#160;s on %d thread%s</p>\n",
                   KB_VERSION, proof->quick ? "Quick" : "Full", proof->specimens, proof->fields,
                   proof->seconds, proof->threads, proof->threads == 1 ? "" : "s");
    kb_text_format(out, "<div class=\"verdict %s\">", failed == 0 ? "accept" : "reject");
    kb_svg_verdict(out, failed == 0 ? KB_ACCEPT : KB_REJECT, 56);
    kb_text_format(out, "<div><strong>%s</strong><span>", failed == 0 ? "Passed" : "Failed");
    if (failed == 0) {
        kb_text_format(out, "all %zu rows keep their limits", proof->rows);
    } else {
        kb_text_format(out, "%zu of %zu rows do not keep their limits", failed, proof->rows);
    }
    if (proof->refused > 0) {
        kb_text_format(out, "; %zu field%s refused as not fit to measure", proof->refused,
                       proof->refused == 1 ? " was" : "s were");
    }
    kb_text_add(out, "</span></div></div>\n");
    leading(out, proof);
    kb_text_add(out, "</header>\n");
}

/* ---- rows --------------------------------------------------------------------------------------
 */

static void drawing(struct kb_text *out, const struct kb_proof_row *row) {
    struct kb_limit_result limit = {
        .limit = {.low = row->kind == KB_PROOF_REPEATABILITY || row->kind == KB_PROOF_TURNING
                             ? KB_NAN
                             : row->low,
                  .high = row->high},
        .value = kb_estimate_point(row->figure, row->fields, "1", ""),
    };
    limit.value.measured = isfinite(row->figure);
    limit.value.has_interval = isfinite(row->error) && limit.value.measured;
    const double normal = 1.96; /* two-sided 95 % */
    limit.value.lo = row->figure - normal * row->error;
    limit.value.hi = row->figure + normal * row->error;
    kb_text_add(out, "<td class=\"bar\">");
    kb_svg_limit(out, &limit);
    kb_text_add(out, "</td>");
}

static void figure_cell(struct kb_text *out, const struct kb_proof_row *row) {
    char figure[48], error[32] = "";
    kb_proof_figure(row, figure, sizeof figure);
    kb_text_format(out, "<td class=\"n\" data-label=\"%s\"><span>", kb_proof_kind_name(row->kind));
    kb_html_text(out, figure);
    if (isfinite(row->error)) {
        kb_show_number(error, sizeof error, row->error,
                       row->unit[0] == '\0'             ? 4
                       : row->kind == KB_PROOF_COVERAGE ? 1
                                                        : 2);
        kb_text_format(out, "<br /><span class=\"ci small\">± %s</span>", error);
    }
    kb_text_add(out, "</span></td>");
}

/* Why fields were refused is said once a specimen. */
static void outcome_cell(struct kb_text *out, const struct kb_proof_row *row,
                         const struct kb_proof_row *above) {
    bool again = above != NULL && kb_proof_same_series(row, above) &&
                 strcmp(row->subject, above->subject) == 0;
    kb_text_format(out, "<td data-label=\"outcome\"><span class=\"outcome %s\">",
                   row->passed ? "accept" : "reject");
    kb_svg_verdict(out, row->passed ? KB_ACCEPT : KB_REJECT, 16);
    kb_text_format(out, "%s</span>", row->passed ? "passed" : "failed");
    if (again) {
        kb_text_add(out, "</td>");
        return;
    }
    if (row->refused > 0) {
        kb_text_format(out, "<span class=\"small soft\">%zu of %zu fields refused: ", row->refused,
                       row->fields);
        kb_html_text(out, row->why);
        kb_text_add(out, "</span>");
    } else if (row->accepted > 0) {
        kb_text_format(out,
                       "<span class=\"small soft\">%zu of %zu fields not fit, measured all the "
                       "same</span>",
                       row->accepted, row->fields);
    }
    kb_text_add(out, "</td>");
}

static void value_cell(struct kb_text *out, const char *label, double value) {
    int decimals = fabs(value) >= 99.95 ? 0 : fabs(value) >= 9.995 ? 1 : 2;
    kb_html_number_cell(out, label, value, decimals, NULL);
}

/* What a table shows beside the figures. */
struct columns {
    bool group, values;
    const struct kb_proof_row *above; /* the row before, or NULL */
};

static void row_cells(struct kb_text *out, const struct kb_proof_row *row,
                      const struct columns *columns) {
    char limits[48];
    kb_proof_limits(row, limits, sizeof limits);
    kb_text_add(out, "<tr><td class=\"lone\">");
    if (columns->group) {
        kb_html_text(out, row->group);
        kb_text_add(out, ": ");
    }
    kb_html_text(out, row->subject);
    kb_text_add(out, "</td>");
    kb_html_cell(out, "quantity", row->quantity);
    if (columns->values) {
        value_cell(out, "true", row->truth);
        value_cell(out, "measured", row->measured);
        kb_html_cell(out, "in", isfinite(row->truth) ? row->value_unit : "");
    }
    figure_cell(out, row);
    kb_text_format(out, "<td class=\"n\" data-label=\"limit\">%s</td>", limits);
    drawing(out, row);
    outcome_cell(out, row, columns->above);
    kb_text_add(out, "</tr>\n");
}

static void open_table(struct kb_text *out, const char *figure, bool values) {
    kb_text_add(out, "<div class=\"wide\"><table class=\"stack\"><thead><tr><th>specimens</th>"
                     "<th>quantity</th>");
    kb_text_add(out,
                values ? "<th class=\"n\">true</th><th class=\"n\">measured</th><th></th>" : "");
    kb_text_format(out,
                   "<th class=\"n\">%s</th><th class=\"n\">limit</th><th></th><th></th></tr>"
                   "</thead><tbody>\n",
                   figure);
}

static void close_table(struct kb_text *out) {
    kb_text_add(out, "</tbody></table></div>\n");
}

static void failures(struct kb_text *out, const struct kb_proof *proof) {
    if (kb_proof_failed(proof) == 0) {
        return;
    }
    kb_html_section(out, "failed", "Rows that fail");
    open_table(out, "figure", true);
    struct columns columns = {.group = true, .values = true};
    for (size_t i = 0; i < proof->rows; i++) {
        if (!proof->row[i].passed) {
            row_cells(out, &proof->row[i], &columns);
            columns.above = &proof->row[i];
        }
    }
    close_table(out);
    kb_html_section_end(out);
}

static void caption(struct kb_text *out, const struct kb_proof *proof, size_t start) {
    static const char *const means[KB_PROOF_KINDS] = {
        [KB_PROOF_BIAS] = "Bias: measured less true over the same fields, ± its standard error.",
        [KB_PROOF_REPEATABILITY] =
            "Repeatability r = 2.8 s of the same section exposed again with other noise, ± its "
            "standard error.",
        [KB_PROOF_TURNING] = "Largest change of the specimen's figure when each of its pictures is "
                             "turned by 90° or mirrored.",
        [KB_PROOF_COVERAGE] =
            "Share of the 95 % intervals, one a specimen, that hold the value of the population "
            "which the fields were drawn from, ± its binomial standard error.",
    };
    size_t fields = 0, specimens = 0;
    const struct kb_proof_row *first = &proof->row[start];
    for (size_t i = start; i < proof->rows && kb_proof_same_series(first, &proof->row[i]); i++) {
        bool fresh = i == start || strcmp(proof->row[i].subject, proof->row[i - 1].subject) != 0;
        fields += fresh ? proof->row[i].fields : 0;
        specimens += fresh ? proof->row[i].specimens : 0;
    }
    kb_text_format(out, "<p class=\"small soft\">%s ", means[first->kind]);
    if (first->kind == KB_PROOF_COVERAGE) {
        kb_text_format(out, "%zu specimens a row.", first->specimens);
    } else {
        kb_text_format(out, "%zu specimen%s, %zu pictures.", specimens, specimens == 1 ? "" : "s",
                       fields);
    }
    kb_text_add(out, "</p>\n");
}

/* Whether any row of the series at `start` has a value to show beside its figure. */
static bool has_values(const struct kb_proof *proof, size_t start) {
    const struct kb_proof_row *first = &proof->row[start];
    for (size_t i = start; i < proof->rows && kb_proof_same_series(first, &proof->row[i]); i++) {
        if (isfinite(proof->row[i].truth)) {
            return true;
        }
    }
    return false;
}

/* One section; returns the row behind it. */
static size_t series(struct kb_text *out, const struct kb_proof *proof, size_t start) {
    const struct kb_proof_row *first = &proof->row[start];
    struct columns columns = {.group = false, .values = has_values(proof, start)};
    char id[32];
    size_t i = start;
    (void)snprintf(id, sizeof id, "series-%zu", start);
    kb_html_section(out, id, first->group);
    caption(out, proof, start);
    open_table(out, kb_proof_kind_name(first->kind), columns.values);
    for (; i < proof->rows && kb_proof_same_series(first, &proof->row[i]); i++) {
        row_cells(out, &proof->row[i], &columns);
        columns.above = &proof->row[i];
    }
    close_table(out);
    kb_html_section_end(out);
    return i;
}

/* ---- what was done -----------------------------------------------------------------------------
 */

static void limits(struct kb_text *out, const struct kb_proof *proof) {
    kb_text_add(out, "<h3>Limits</h3>\n<p>No standard sets limits for software of this kind. These "
                     "were set before the first run and do not follow its results:</p>\n<ul>\n");
    for (size_t i = 0; i < proof->rows; i++) {
        const struct kb_proof_row *row = &proof->row[i];
        bool told = false;
        char words[48];
        for (size_t k = 0; k < i && !told; k++) {
            const struct kb_proof_row *other = &proof->row[k];
            told = other->kind == row->kind && strcmp(other->quantity, row->quantity) == 0 &&
                   !(fabs(other->high - row->high) > 0.0);
        }
        if (told) {
            continue;
        }
        kb_proof_limits(row, words, sizeof words);
        kb_text_format(out, "<li>%s of %s: %s %s, ", kb_proof_kind_name(row->kind), row->quantity,
                       words, row->unit);
        kb_html_text(out, row->limit_words);
        kb_text_add(out, "</li>\n");
    }
    kb_text_add(out, "</ul>\n");
}

static void method(struct kb_text *out, const struct kb_proof *proof) {
    kb_html_section(out, "method", "What was done");
    kb_text_add(
        out,
        "<p>Specimens were drawn with a known truth: fractions of area from the drawing at "
        "sub-pixel "
        "precision, sizes and shapes from the outlines of the particles. They were measured in the "
        "way of <code>keelblock measure</code>, with its default settings and the contrast stated, "
        "the check of preparation included: a field that it refuses makes its row fail. Graphite "
        "was "
        "drawn as polished, the matrix as etched.</p>\n"
        "<p>Nodularity, its truth too, is that of complete particles of 10 µm and more; the nodule "
        "count is that of nodules whose centre lies in the frame. An interval between fields "
        "speaks "
        "for the population that the fields were drawn from. So coverage is held against that "
        "population's value, found from the exact truth of all fields of all its specimens, not "
        "against the truth of the very fields, which nearly every interval would hold, and not "
        "against what the renderer aimed at.</p>\n"
        "<p>Fields of one section are not alike, and the renderer meets what it is asked for in "
        "every "
        "field. So fields of a population for coverage were asked for shares that differ: pearlite "
        "by "
        "5 points, round particles by 6 points, the number of particles by 12&#160;% (standard "
        "deviations).</p>\n"
        "<p>Discs and ellipses have axis ratios of 1, 0.8 and 0.6 and a blur of 0.7 px; each field "
        "holds some larger discs beside them. Series by size in pixels are measured even where the "
        "check of preparation finds the pixels too large, and say so.</p>\n"
        "<p>A row of coverage fails when a true coverage between 93 and 97&#160;% would give so "
        "few "
        "or so many hits less than once in forty.</p>\n"
        "<p>Drawn specimens are kinder than real ones. This proves the arithmetic, the "
        "segmentation "
        "of clean pictures and the statistics; it does not prove the preparation of a specimen, "
        "the "
        "calibration of a microscope, or the judgement of who chose the fields. The same version "
        "draws and measures the same on every machine, whatever the number of threads.</p>\n");
    limits(out, proof);
    kb_text_add(out, "<p>The same figures in machine-readable form stand in prove.json.</p>\n"
                     "<div class=\"sign\">\n<div><b></b>run by, name and signature</div>\n"
                     "<div><b></b>checked by, name and signature</div>\n<div><b></b>date</div>\n"
                     "</div>\n");
    kb_html_section_end(out);
}

enum kb_status kb_report_proof_html(const struct kb_proof *proof, struct kb_text *out,
                                    struct kb_err *err) {
    struct kb_locale locale = kb_locale_enter();
    head(out, kb_proof_failed(proof) == 0);
    summary(out, proof);
    failures(out, proof);
    for (size_t i = 0; i < proof->rows;) {
        i = series(out, proof, i);
    }
    method(out, proof);
    kb_text_add(out, "</main>\n</body>\n</html>\n");
    kb_locale_leave(locale);
    return kb_text_end(out, err);
}
