/* json_prepare.c - a preparation sheet as JSON, schema "keelblock.preparation/1". Every step stands
 * in it with its values and their status, also those that need not be done again. */
#include "json_write.h"

#include "keelblock/version.h"

static void specimen(struct kb_json *json, const struct kb_prepare_sheet *sheet,
                     const struct kb_sheet_names *names) {
    const struct kb_prepare_params *params = &sheet->params;
    kb_json_open(json, "specimen", '{');
    kb_json_string(json, "id", names->specimen);
    kb_json_string(json, "material", kb_material_name(params->material));
    kb_json_string(json, "hardness", kb_hardness_name(params->hardness));
    kb_json_number(json, "hardness_value", params->hardness_value);
    kb_json_string(json, "hardness_by", params->hardness_by);
    kb_json_string(json, "cut", kb_cut_name(params->cut));
    kb_json_number(json, "damage_low_um", sheet->damage_low_um);
    kb_json_number(json, "damage_high_um", sheet->damage_high_um);
    kb_json_string(json, "mount", kb_mount_name(params->mount));
    kb_json_string(json, "etchant", kb_etchant_name(params->etchant));
    kb_json_close(json, '}');
}

static void step(struct kb_json *json, const struct kb_prepare_step *step, size_t number) {
    const double s_per_min = 60.0;
    kb_json_open(json, NULL, '{');
    kb_json_count(json, "number", number);
    kb_json_string(json, "abrasive", step->kind == KB_PREPARE_ETCH ? NULL : step->abrasive);
    kb_json_string(json, "etchant", step->kind == KB_PREPARE_ETCH ? step->abrasive : NULL);
    kb_json_number(json, "grain_um", step->grain_um);
    kb_json_string(json, "surface", step->surface);
    kb_json_string(json, "lubricant", step->lubricant);
    kb_json_number(json, "time_low_s", s_per_min * step->low_min);
    kb_json_number(json, "time_high_s", s_per_min * step->high_min);
    kb_json_number(json, "load_low_n", step->low_n);
    kb_json_number(json, "load_high_n", step->high_n);
    kb_json_number(json, "percent_low", step->low_percent);
    kb_json_number(json, "percent_high", step->high_percent);
    kb_json_string(json, "source", step->source);
    kb_json_string(json, "status", step->status);
    kb_json_close(json, '}');
}

static void part(struct kb_json *json, const struct kb_prepare_sheet *sheet,
                 const struct kb_prepare_part *part) {
    kb_json_open(json, NULL, '{');
    kb_json_string(json, "part", kb_prepare_kind_name(part->kind));
    kb_json_string(json, "title", part->title);
    kb_json_open(json, "cautions", '[');
    for (size_t i = 0; i < part->cautions; i++) {
        kb_json_string(json, NULL, part->caution[i]);
    }
    kb_json_close(json, ']');
    kb_json_open(json, "rules", '[');
    for (size_t i = 0; i < part->rules; i++) {
        kb_json_string(json, NULL, part->rule[i]);
    }
    kb_json_close(json, ']');
    kb_json_open(json, "steps", '[');
    for (size_t i = part->first; i < part->first + part->steps; i++) {
        step(json, &sheet->step[i], i + 1);
    }
    kb_json_close(json, ']');
    kb_json_close(json, '}');
}

static void faults(struct kb_json *json, const struct kb_prepare_sheet *sheet) {
    kb_json_open(json, "found", '[');
    for (size_t i = 0; i < sheet->faults; i++) {
        const struct kb_prepare_fault *fault = &sheet->fault[i];
        kb_json_open(json, NULL, '{');
        kb_json_string(json, "check", kb_check_name(fault->seen.check));
        kb_json_string(json, "fitness", kb_fitness_name(fault->seen.fitness));
        kb_json_count(json, "fields", fault->seen.fields);
        if (fault->bench) {
            kb_json_count(json, "return_to", fault->step + 1);
        } else {
            kb_json_null(json, "return_to");
        }
        kb_json_string(json, "why", fault->why);
        kb_json_close(json, '}');
    }
    kb_json_close(json, ']');
}

enum kb_status kb_report_prepare_json(const struct kb_prepare_sheet *sheet,
                                      const struct kb_sheet_names *names, struct kb_text *out,
                                      struct kb_err *err) {
    struct kb_locale locale = kb_locale_enter();
    struct kb_json json = {.out = out};
    kb_json_open(&json, NULL, '{');
    kb_json_string(&json, "schema", "keelblock.preparation/1");
    kb_json_open(&json, "tool", '{');
    kb_json_string(&json, "name", "keelblock");
    kb_json_string(&json, "version", KB_VERSION);
    kb_json_close(&json, '}');
    specimen(&json, sheet, names);
    kb_json_bool(&json, "after_measurement", sheet->after);
    faults(&json, sheet);
    if (sheet->begin < sheet->steps) {
        kb_json_count(&json, "begin", sheet->begin + 1);
    } else {
        kb_json_null(&json, "begin");
    }
    kb_json_open(&json, "parts", '[');
    for (size_t i = 0; i < sheet->parts; i++) {
        part(&json, sheet, &sheet->part[i]);
    }
    kb_json_close(&json, ']');
    kb_json_close(&json, '}');
    kb_text_add(out, "\n");
    kb_locale_leave(locale);
    return kb_text_end(out, err);
}
