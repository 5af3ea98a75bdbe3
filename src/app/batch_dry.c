/* batch_dry.c - what a batch would measure: its specimens with their fields and settings, and every
 * name that leads to no picture. Opens no picture, makes no file.
 */
#include "batch_run.h"
#include "manifest.h"

#include <string.h>

enum { WORDS = 160 };

/* The contrasts of a specimen's fields: "light, light-unetched". */
static void contrasts(const struct kb_plan *plan, char to[WORDS]) {
    bool seen[KB_SEM + 2] = {false};
    size_t length = 0;
    to[0] = '\0';
    for (size_t i = 0; i < plan->count; i++) {
        const struct kb_settings_field *named = &plan->named[i];
        const int which = named->find_contrast ? KB_SEM + 1 : (int)named->contrast;
        const char *word = named->find_contrast ? "auto" : kb_contrast_name(named->contrast);
        if (!seen[which] && length + strlen(word) + 3 < WORDS) {
            length +=
                (size_t)snprintf(to + length, WORDS - length, "%s%s", length > 0 ? ", " : "", word);
        }
        seen[which] = true;
    }
}

static void scale(const struct kb_settings *settings, char to[WORDS]) {
    const struct kb_intake_params *intake = &settings->intake;
    if (intake->px_um > 0.0) {
        (void)snprintf(to, WORDS, "%.6g um a pixel", intake->px_um);
    } else if (intake->bar_px > 0.0) {
        (void)snprintf(to, WORDS, "%.6g um a pixel by scale bar", intake->bar_um / intake->bar_px);
    } else {
        (void)snprintf(to, WORDS, "scale from the files");
    }
}

static void show_limits(const struct kb_settings *settings) {
    for (size_t i = 0; i < settings->limits; i++) {
        const struct kb_limit *limit = &settings->limit[i];
        const char *unit = kb_quantity_unit(limit->quantity);
        printf("%s%s ", i == 0 ? "      limits: " : "; ", kb_quantity_name(limit->quantity));
        if (isnan(limit->high)) {
            printf(">= %g %s", limit->low, unit);
        } else if (isnan(limit->low)) {
            printf("<= %g %s", limit->high, unit);
        } else {
            printf("%g..%g %s", limit->low, limit->high, unit);
        }
    }
    printf("%s", settings->limits > 0 ? "\n" : "");
}

/* What was set otherwise than by default, but what the columns beside it show. */
static void show_settings(const struct kb_settings *settings) {
    static const char *const shown[] = {"specimen", "material", "contrast", "pixel-size",
                                        "scale-bar"};
    bool any = false;
    for (size_t i = 0; i < settings->records; i++) {
        const struct kb_setting_record *record = &settings->record[i];
        bool passed = strcmp(record->origin, kb_origin_name(KB_FROM_DEFAULT)) == 0 ||
                      strncmp(record->name, "limit ", 6) == 0;
        for (size_t k = 0; k < sizeof shown / sizeof shown[0]; k++) {
            passed = passed || strcmp(record->name, shown[k]) == 0;
        }
        if (!passed) {
            printf("%s%s = %s", any ? "; " : "      set: ", record->name, record->value);
            any = true;
        }
    }
    printf("%s", any ? "\n" : "");
}

static void show_specimen(const struct kb_order_specimen *specimen, const struct kb_plan *plan) {
    char seen[WORDS], size[WORDS];
    contrasts(plan, seen);
    scale(&specimen->settings, size);
    printf("  %s / %s: %zu field%s, %s, %s, %s", specimen->batch, specimen->id, plan->count,
           plan->count == 1 ? "" : "s", kb_material_name(specimen->settings.material), seen, size);
    if (specimen->grade != NULL) {
        printf(", grade %s", specimen->grade);
    }
    if (isfinite(specimen->section_mm)) {
        printf(", section %g mm", specimen->section_mm);
    }
    printf("\n");
    show_limits(&specimen->settings);
    show_settings(&specimen->settings);
}

/* Names that lead to no picture, told on standard error; how many. */
static size_t tell_missing(const struct kb_batch_run *run) {
    size_t missing = 0;
    for (size_t i = 0; i < run->fields; i++) {
        const struct kb_batch_field *field = &run->field[i];
        const char *path = run->plan[field->specimen].path[field->index];
        struct kb_paths found = {NULL, 0, 0};
        struct kb_err err = {.code = KB_OK};
        if (kb_paths_expand(path, &found, &err) != KB_OK) {
            (void)fprintf(stderr, "keelblock: '%s' of specimen '%s': %s\n", path,
                          run->order->specimen[field->specimen].id, err.text);
            missing++;
        }
        kb_paths_release(&found);
    }
    return missing;
}

int kb_batch_dry_run(const struct kb_order *order, const struct kb_table *table, bool quiet) {
    struct kb_err err = {.code = KB_OK};
    struct kb_batch_run run;
    const char *separator = table->separator == '\t'  ? "tab"
                            : table->separator == ';' ? "semicolon"
                                                      : "comma";
    if (kb_batch_plan(order, &run, &err) != KB_OK) {
        kb_batch_run_release(&run);
        return kb_complain(&err);
    }
    if (!quiet) {
        printf("%s: %s, columns apart by %s\n", table->path, table->encoding, separator);
        for (size_t i = 0; i < order->specimens; i++) {
            show_specimen(&order->specimen[i], &run.plan[i]);
        }
    }
    const size_t missing = tell_missing(&run);
    if (!quiet) {
        printf("%zu specimen%s, %zu field%s, %zu of them missing; nothing was measured\n",
               order->specimens, order->specimens == 1 ? "" : "s", run.fields,
               run.fields == 1 ? "" : "s", missing);
    }
    kb_batch_run_release(&run);
    return fflush(stdout) != 0 ? kb_exit_code(KB_E_SYSTEM)
           : missing > 0       ? kb_exit_code(KB_E_INPUT)
                               : 0;
}
