/* table_prepare.c - a preparation sheet for a terminal, and the words that all its writers share.
 *
 * Short lines that may be read aloud to somebody at the bench: cautions first, what holds for a
 * part, then its steps by number. A sheet after a measurement begins with what was found and leaves
 * out what need not be done again.
 */
#include "prepare_show.h"

#include <ctype.h>
#include <string.h>

void kb_prepare_about(struct kb_text *out, const struct kb_prepare_sheet *sheet) {
    static const char *const material[] = {
        [KB_DUCTILE_IRON] = "Ductile iron",
        [KB_GREY_IRON] = "Grey iron",
        [KB_COMPACTED_IRON] = "Compacted iron",
        [KB_CARBON_STEEL] = "Carbon steel",
    };
    static const char *const cut[KB_CUTS] = {
        [KB_CUT_PRECISION] = "cut with a precision wheel",
        [KB_CUT_ABRASIVE_WHEEL] = "cut with an abrasive wheel",
        [KB_CUT_SAW] = "cut with a saw",
        [KB_CUT_AS_BROKEN] = "as broken",
        [KB_CUT_FLAME] = "cut with a flame",
    };
    static const char *const mount[KB_MOUNTS] = {"hot mount", "cold mount", "no mount"};
    const struct kb_prepare_params *params = &sheet->params;
    kb_text_format(out, "%s, %s", material[params->material], kb_hardness_name(params->hardness));
    if (params->hardness_by != NULL && isfinite(params->hardness_value)) {
        kb_text_format(out, " (%g %s)", params->hardness_value, params->hardness_by);
    }
    if (!sheet->after) {
        kb_text_format(out, ", %s, %s", cut[params->cut], mount[params->mount]);
    }
    kb_text_format(out, ", %s.", kb_etchant_name(params->etchant));
}

void kb_prepare_range(char *to, size_t size, double low, double high) {
    if (high > low) {
        (void)snprintf(to, size, "%.3g to %.3g", low, high);
    } else {
        (void)snprintf(to, size, "%.3g", low);
    }
}

void kb_prepare_time(char *to, size_t size, const struct kb_prepare_step *step) {
    const double s_per_min = 60.0;
    char range[32];
    bool seconds = step->high_min <= 1.0;
    double scale = seconds ? s_per_min : 1.0;
    kb_prepare_range(range, sizeof range, scale * step->low_min, scale * step->high_min);
    (void)snprintf(to, size, "%s %s", range, seconds ? "s" : "min");
}

static const struct kb_prepare_part *part_of(const struct kb_prepare_sheet *sheet, size_t step) {
    size_t i = 0;
    while (i + 1 < sheet->parts && step >= sheet->part[i].first + sheet->part[i].steps) {
        i++;
    }
    return &sheet->part[i];
}

void kb_prepare_step_name(struct kb_text *out, const struct kb_prepare_sheet *sheet, size_t step) {
    const char *abrasive = sheet->step[step].abrasive;
    const char *title = part_of(sheet, step)->title;
    kb_text_format(out, "step %zu, ", step + 1);
    if (sheet->step[step].kind == KB_PREPARE_ETCH || abrasive == NULL) {
        kb_text_format(out, "%c%s", tolower((unsigned char)title[0]), title + 1);
    } else {
        kb_text_add(out, abrasive);
    }
}

void kb_prepare_verdict(struct kb_text *out, const struct kb_prepare_sheet *sheet) {
    if (sheet->faults == 0) {
        kb_text_add(out, "Nothing to prepare again: every check of the fields was fit.");
    } else if (sheet->begin == sheet->steps) {
        kb_text_add(out, "Nothing to prepare again: what was found is a matter of the microscope "
                         "or the camera.");
    } else {
        kb_text_add(out, "Begin with ");
        kb_prepare_step_name(out, sheet, sheet->begin);
        kb_text_add(out, ", and go on to the end.");
    }
}

void kb_prepare_where(char *to, size_t size, const struct kb_prepare_fault *fault) {
    to[0] = '\0';
    if (fault->seen.of > 0) {
        (void)snprintf(to, size, "(%s in %zu of %zu field%s)",
                       fault->seen.fitness == KB_NOT_FIT ? "not fit" : "usable", fault->seen.fields,
                       fault->seen.of, fault->seen.of == 1 ? "" : "s");
    }
}

const char *kb_prepare_fault_words(const struct kb_prepare_fault *fault) {
    static const char *const words[KB_CHECKS] = {
        [KB_CHECK_FOCUS] = "Out of focus",
        [KB_CHECK_LIGHT] = "Uneven light",
        [KB_CHECK_SATURATION] = "Too bright",
        [KB_CHECK_SHADOWS] = "Too dark",
        [KB_CHECK_GREY_LEVELS] = "Too few grey levels",
        [KB_CHECK_BLOCKS] = "Blocks of the compression",
        [KB_CHECK_NOISE] = "Noise",
        [KB_CHECK_SCRATCHES] = "Scratches",
        [KB_CHECK_PULL_OUT] = "Graphite torn out or dragged",
        [KB_CHECK_ETCH_WEAK] = "Etch too weak",
        [KB_CHECK_ETCH_STRONG] = "Etch too strong",
        [KB_CHECK_STAINS] = "Stains",
        [KB_CHECK_ETCH_FERRITE] = "Etch too strong: ferrite attacked",
        [KB_CHECK_BOUNDARIES] = "Etch too strong: boundaries wide",
        [KB_CHECK_RESOLUTION] = "Pixels too large",
        [KB_CHECK_TOUCHING] = "Nodules run together",
    };
    return words[fault->seen.check];
}

void kb_prepare_remedy(struct kb_text *out, const struct kb_prepare_sheet *sheet,
                       const struct kb_prepare_fault *fault) {
    if (fault->bench) {
        kb_text_add(out, fault->step >= sheet->begin ? "Return to " : "Not needed; for better, ");
        kb_prepare_step_name(out, sheet, fault->step);
        kb_text_add(out, ". ");
    } else {
        kb_text_add(out, "No preparation. ");
    }
    kb_text_add(out, fault->why);
}

bool kb_prepare_open(const struct kb_prepare_sheet *sheet, const struct kb_prepare_part *part) {
    return part->first + part->steps > sheet->begin;
}

/* ---- the terminal ------------------------------------------------------------------------------
 */

static void wrapped(struct kb_text *out, int columns, const char *head, const char *sentence) {
    kb_text_add(out, head);
    int used = kb_text_columns(head);
    kb_text_wrap(out, sentence, columns, used, used);
}

static void heading(struct kb_text *out, const char *title) {
    kb_text_add(out, "\n");
    for (const char *c = title; *c != '\0'; c++) {
        char capital[2] = {(char)toupper((unsigned char)*c), '\0'};
        kb_text_add(out, capital);
    }
    kb_text_add(out, "\n");
}

static void rung(struct kb_text *line, const struct kb_prepare_step *step) {
    char range[48];
    kb_text_add(line, step->abrasive);
    if (step->kind == KB_PREPARE_GRIND) {
        kb_text_format(line, ", grain %g µm", step->grain_um); /* the surface is said above */
    } else if (step->kind == KB_PREPARE_ETCH) {
        kb_prepare_range(range, sizeof range, step->low_percent, step->high_percent);
        kb_text_format(line, ", %s %%", range);
    } else {
        kb_text_format(line, ", %s, %s", step->surface, step->lubricant);
    }
    kb_prepare_time(range, sizeof range, step);
    kb_text_format(line, ": %s", range);
    if (isfinite(step->low_n)) {
        kb_prepare_range(range, sizeof range, step->low_n, step->high_n);
        kb_text_format(line, ", %s N", range);
    }
    kb_text_add(line, ".");
}

static void steps(struct kb_text *out, int columns, const struct kb_prepare_sheet *sheet,
                  const struct kb_prepare_part *part) {
    if (part->kind == KB_PREPARE_GRIND) {
        const struct kb_prepare_step *first = &sheet->step[part->first];
        char on[120];
        (void)snprintf(on, sizeof on, "On %s, with %s:", first->surface, first->lubricant);
        wrapped(out, columns, "      ", on);
    }
    for (size_t i = part->first; i < part->first + part->steps; i++) {
        struct kb_text line = KB_TEXT_INIT;
        char head[32];
        if (i < sheet->begin || sheet->step[i].abrasive == NULL) {
            continue;
        }
        (void)snprintf(head, sizeof head, "  %2zu. ", i + 1);
        rung(&line, &sheet->step[i]);
        wrapped(out, columns, head, line.data != NULL ? line.data : "");
        out->failed = out->failed || line.failed;
        kb_text_release(&line);
    }
}

static void part_lines(struct kb_text *out, int columns, const struct kb_prepare_sheet *sheet,
                       const struct kb_prepare_part *part) {
    heading(out, part->title);
    for (size_t i = 0; i < part->cautions; i++) {
        wrapped(out, columns, "  Caution: ", part->caution[i]);
    }
    bool own = sheet->step[part->first].abrasive == NULL; /* the part is one step, its rules */
    for (size_t i = 0; i < part->rules; i++) {
        char head[32] = "      ";
        if (own && i == 0) {
            (void)snprintf(head, sizeof head, "  %2zu. ", part->first + 1);
        }
        wrapped(out, columns, head, part->rule[i]);
    }
    steps(out, columns, sheet, part);
}

static void found(struct kb_text *out, int columns, const struct kb_prepare_sheet *sheet) {
    struct kb_text line = KB_TEXT_INIT;
    heading(out, "Found");
    for (size_t i = 0; i < sheet->faults; i++) {
        const struct kb_prepare_fault *fault = &sheet->fault[i];
        char where[64];
        kb_prepare_where(where, sizeof where, fault);
        kb_text_release(&line);
        kb_text_format(&line, "%s%s%s. ", kb_prepare_fault_words(fault),
                       where[0] != '\0' ? " " : "", where);
        kb_prepare_remedy(&line, sheet, fault);
        wrapped(out, columns, "  - ", line.data != NULL ? line.data : "");
        out->failed = out->failed || line.failed;
    }
    kb_text_release(&line);
    kb_prepare_verdict(&line, sheet);
    wrapped(out, columns, "  ", line.data != NULL ? line.data : "");
    out->failed = out->failed || line.failed;
    kb_text_release(&line);
}

enum kb_status kb_report_prepare_text(const struct kb_prepare_sheet *sheet,
                                      const struct kb_sheet_names *names, int columns,
                                      struct kb_text *out, struct kb_err *err) {
    struct kb_locale locale = kb_locale_enter();
    struct kb_text about = KB_TEXT_INIT;
    kb_text_add(out, "Preparation sheet");
    if (names->specimen != NULL) {
        kb_text_add(out, " · ");
        kb_text_plain(out, names->specimen);
    }
    kb_text_add(out, "\n");
    kb_prepare_about(&about, sheet);
    wrapped(out, columns, "", about.data != NULL ? about.data : "");
    out->failed = out->failed || about.failed;
    kb_text_release(&about);
    wrapped(out, columns, "",
            KB_PREPARE_DEFERS " Loads are for a specimen of 30 mm across; less for a smaller one.");
    if (sheet->after) {
        found(out, columns, sheet);
    }
    for (size_t i = 0; i < sheet->parts; i++) {
        if (kb_prepare_open(sheet, &sheet->part[i])) {
            part_lines(out, columns, sheet, &sheet->part[i]);
        }
    }
    kb_locale_leave(locale);
    return kb_text_end(out, err);
}
