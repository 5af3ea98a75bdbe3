/* prepare.c - the sheet: parts in the order of the bench, the ladder from the tables of refs/.
 *
 * A row of preparation.csv belongs to the specimen when its material, hardness and cut all fit;
 * rows stand coarsest first, so the ladder can only get finer. The sizes of papers are those of the
 * FEPA series. A sheet after a measurement is the same sheet, begun at the earliest step that a
 * fault sends back to. All values are common practice.
 */
#include "prepare_priv.h"

#include <string.h>

static const double nan_ = (double)NAN;

struct kb_prepare_params kb_prepare_params_default(enum kb_material material) {
    return (struct kb_prepare_params){
        .material = material,
        .hardness = KB_MEDIUM,
        .hardness_value = (double)NAN,
        .cut = KB_CUT_ABRASIVE_WHEEL,
        .mount = KB_MOUNT_HOT,
        .etchant = KB_NITAL,
    };
}

/* Whether `name` is one of the words of `list`, joined by "+"; "any" holds all. */
static bool holds(const char *list, const char *name) {
    size_t wanted = strlen(name);
    for (const char *at = list; *at != '\0';) {
        size_t length = strcspn(at, "+");
        if ((length == wanted && strncmp(at, name, length) == 0) ||
            (length == 3 && strncmp(at, "any", length) == 0)) {
            return true;
        }
        at += length + (at[length] == '+' ? 1 : 0);
    }
    return false;
}

static const char *family(enum kb_material material) {
    return kb_material_is_iron(material) ? "iron" : "steel";
}

static struct kb_prepare_step *add_step(struct kb_prepare_sheet *sheet, enum kb_prepare_kind kind) {
    struct kb_prepare_step *step = &sheet->step[sheet->steps++];
    *step = (struct kb_prepare_step){.kind = kind,
                                     .grain_um = nan_,
                                     .low_min = nan_,
                                     .high_min = nan_,
                                     .low_n = nan_,
                                     .high_n = nan_,
                                     .low_percent = nan_,
                                     .high_percent = nan_};
    return step;
}

static double grain_of(const struct kb_prepare_row *row) {
    size_t count = 0;
    const struct kb_abrasive *paper = kb_abrasives(&count);
    for (size_t i = 0; i < count; i++) {
        if (strcmp(paper[i].name, row->abrasive) == 0) {
            return paper[i].grain_um;
        }
    }
    return row->grain_um > 0.0 ? row->grain_um : nan_;
}

/* The rungs of one stage, "grind" or "polish". */
static void add_rungs(struct kb_prepare_sheet *sheet, enum kb_prepare_kind kind) {
    const struct kb_prepare_params *params = &sheet->params;
    for (size_t i = 0; i < kb_prepare_row_count; i++) {
        const struct kb_prepare_row *row = &kb_prepare_rows[i];
        bool fits = strcmp(row->stage, kb_prepare_kind_name(kind)) == 0 &&
                    holds(row->material, family(params->material)) &&
                    holds(row->hardness, kb_hardness_name(params->hardness)) &&
                    holds(row->cut, kb_cut_name(params->cut));
        /* room for the parts that have one step each; the test of all ladders sees the table fit */
        if (!fits || sheet->steps + KB_PREPARE_KINDS >= KB_PREPARE_STEPS) {
            continue;
        }
        struct kb_prepare_step *step = add_step(sheet, kind);
        step->abrasive = row->abrasive;
        step->grain_um = grain_of(row);
        step->surface = row->surface;
        step->lubricant = row->lubricant;
        step->low_min = row->low_min;
        step->high_min = row->high_min;
        step->low_n = row->low_n;
        step->high_n = row->high_n;
        step->source = row->source;
        step->status = row->status;
    }
}

static void add_etch(struct kb_prepare_sheet *sheet) {
    const double s_per_min = 60.0;
    struct kb_prepare_step *step = add_step(sheet, KB_PREPARE_ETCH);
    step->abrasive = kb_etchant_name(sheet->params.etchant);
    for (size_t i = 0; i < kb_prepare_bath_count; i++) {
        const struct kb_prepare_bath *bath = &kb_prepare_baths[i];
        if (strcmp(bath->etchant, step->abrasive) == 0 &&
            strcmp(bath->material, family(sheet->params.material)) == 0) {
            step->low_percent = bath->percent_low;
            step->high_percent = bath->percent_high;
            step->low_min = bath->s_low / s_per_min;
            step->high_min = bath->s_high / s_per_min;
            step->source = bath->source;
            step->status = bath->status;
        }
    }
}

static void add_part(struct kb_prepare_sheet *sheet, enum kb_prepare_kind kind) {
    struct kb_prepare_part *part = &sheet->part[sheet->parts++];
    *part = (struct kb_prepare_part){.kind = kind, .first = sheet->steps};
    if (kind == KB_PREPARE_GRIND || kind == KB_PREPARE_POLISH) {
        add_rungs(sheet, kind);
    } else if (kind == KB_PREPARE_ETCH) {
        add_etch(sheet);
    } else {
        (void)add_step(sheet, kind);
    }
    part->steps = sheet->steps - part->first;
}

static void find_damage(struct kb_prepare_sheet *sheet) {
    for (size_t i = 0; i < kb_prepare_damage_count; i++) {
        if (strcmp(kb_prepare_damages[i].cut, kb_cut_name(sheet->params.cut)) == 0) {
            sheet->damage_low_um = kb_prepare_damages[i].low_um;
            sheet->damage_high_um = kb_prepare_damages[i].high_um;
        }
    }
}

static enum kb_status check(const struct kb_prepare_params *params,
                            const struct kb_prepare_seen *seen, size_t count, struct kb_err *err) {
    bool known = (unsigned)params->material <= KB_CARBON_STEEL &&
                 (unsigned)params->hardness < KB_HARDNESSES && (unsigned)params->cut < KB_CUTS &&
                 (unsigned)params->mount < KB_MOUNTS && (unsigned)params->etchant < KB_ETCHANTS &&
                 count <= KB_CHECKS;
    for (size_t i = 0; i < count && known && seen != NULL; i++) {
        known = (unsigned)seen[i].check < KB_CHECKS;
    }
    return known ? KB_OK
                 : kb_fail(err, KB_E_USAGE, KB_PREPARE_STAGE, NULL,
                           "the specimen is described by a value that is none (start from "
                           "kb_prepare_params_default)");
}

/* The earliest step that a fault sends back to. What only might be better sends nobody back while
 * something else is not fit. */
static void begin(struct kb_prepare_sheet *sheet) {
    enum kb_fitness worst = KB_FIT;
    sheet->begin = sheet->after ? sheet->steps : 0;
    for (size_t i = 0; i < sheet->faults; i++) {
        const struct kb_prepare_fault *fault = &sheet->fault[i];
        worst = fault->bench && fault->seen.fitness > worst ? fault->seen.fitness : worst;
    }
    for (size_t i = 0; i < sheet->faults; i++) {
        const struct kb_prepare_fault *fault = &sheet->fault[i];
        if (fault->bench && fault->seen.fitness == worst && fault->step < sheet->begin) {
            sheet->begin = fault->step;
        }
    }
}

enum kb_status kb_prepare_plan(const struct kb_prepare_params *params,
                               const struct kb_prepare_seen *seen, size_t count,
                               struct kb_prepare_sheet *sheet, struct kb_err *err) {
    enum kb_status status = check(params, seen, count, err);
    if (status != KB_OK) {
        return status;
    }
    *sheet = (struct kb_prepare_sheet){.params = *params, .after = seen != NULL};
    find_damage(sheet);
    for (int kind = 0; kind < KB_PREPARE_KINDS; kind++) {
        add_part(sheet, (enum kb_prepare_kind)kind);
    }
    for (size_t i = 0; i < count && seen != NULL; i++) {
        kb_prepare_return(sheet, &seen[i]);
    }
    kb_prepare_settle_etch(sheet);
    begin(sheet);
    for (size_t i = 0; i < sheet->parts; i++) {
        kb_prepare_say(sheet, &sheet->part[i]);
    }
    return KB_OK;
}
