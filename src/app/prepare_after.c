/* prepare_after.c - result.json back to what the gate found: each check that was not fit, over all
 * fields, with the worst fitness, the coarsest scratches and the advice of the worst field.
 *
 * Only names and words are taken; what does not fit is refused with the name of the key.
 */
#include "prepare_after.h"
#include "result_file.h"

#include <string.h>

#define STAGE "prepare"

static const struct kb_abrasive *abrasive_named(const char *name) {
    size_t count = 0;
    const struct kb_abrasive *paper = kb_abrasives(&count);
    for (size_t i = 0; i < count && name != NULL; i++) {
        if (strcmp(paper[i].name, name) == 0) {
            return &paper[i];
        }
    }
    return NULL;
}

static bool fitness_named(const char *name, enum kb_fitness *fitness) {
    for (int i = KB_FIT; i <= KB_NOT_FIT; i++) {
        if (name != NULL && strcmp(kb_fitness_name((enum kb_fitness)i), name) == 0) {
            *fitness = (enum kb_fitness)i;
            return true;
        }
    }
    return false;
}

static struct kb_prepare_seen *entry_of(struct kb_after *after, enum kb_check check) {
    for (size_t i = 0; i < after->count; i++) {
        if (after->seen[i].check == check) {
            return &after->seen[i];
        }
    }
    after->seen[after->count] = (struct kb_prepare_seen){.check = check};
    return &after->seen[after->count++];
}

/* Scratches of one field; the coarsest of all fields stays. */
static void note_scratches(struct kb_prepare_seen *seen, const json_t *quality) {
    const char *name = json_string_value(json_object_get(quality, "coarsest_abrasive"));
    const struct kb_abrasive *paper = abrasive_named(name);
    seen->crossed = seen->crossed || json_is_true(json_object_get(quality, "scratches_cross"));
    if (paper != NULL && (seen->abrasive == NULL || paper->grain_um > seen->abrasive->grain_um)) {
        seen->abrasive = paper;
    }
    /* a name that is no grade says: finer than all of them */
    seen->fine = seen->abrasive == NULL && (seen->fine || name != NULL);
}

static void note(struct kb_after *after, enum kb_check check, enum kb_fitness fitness,
                 const json_t *field, size_t fields) {
    struct kb_prepare_seen *seen = entry_of(after, check);
    const json_t *quality = json_object_get(field, "quality");
    const json_t *found = json_object_get(json_object_get(quality, "checks"), kb_check_name(check));
    const char *contrast = json_string_value(json_object_get(field, "contrast"));
    const char *advice = json_string_value(json_object_get(found, "advice"));
    if (fitness > seen->fitness) {
        seen->fitness = fitness;
        (void)snprintf(seen->advice, sizeof seen->advice, "%s", advice != NULL ? advice : "");
    }
    seen->fields++;
    seen->of = fields;
    seen->electrons =
        seen->electrons || (contrast != NULL && strcmp(contrast, kb_contrast_name(KB_SEM)) == 0);
    if (check == KB_CHECK_SCRATCHES) {
        note_scratches(seen, quality);
    }
}

/* False where the field does not tell of its preparation. */
static bool read_field(const json_t *field, size_t fields, struct kb_after *after) {
    const json_t *checks = json_object_get(json_object_get(field, "quality"), "checks");
    bool told = false;
    for (int i = 0; i < KB_CHECKS; i++) {
        const enum kb_check check = (enum kb_check)i;
        const json_t *found = json_object_get(checks, kb_check_name(check));
        enum kb_fitness fitness = KB_FIT;
        told = told || json_is_object(found);
        if (fitness_named(json_string_value(json_object_get(found, "fitness")), &fitness) &&
            fitness != KB_FIT) {
            note(after, check, fitness, field, fields);
        }
    }
    return told;
}

static void read_hardness(const json_t *root, struct kb_after *after) {
    const json_t *given = json_object_get(root, "given");
    for (size_t i = 0; i < json_array_size(given); i++) {
        const json_t *item = json_array_get(given, i);
        const char *name = json_string_value(json_object_get(item, "quantity"));
        const json_t *value = json_object_get(item, "value");
        if (name == NULL || !json_is_number(value)) {
            continue;
        }
        if (strcmp(name, "hardness_hbw") == 0) {
            after->hardness_hbw = json_number_value(value);
        } else if (strcmp(name, "hardness_hv") == 0) {
            after->hardness_hv = json_number_value(value);
        }
    }
}

static enum kb_status take(const json_t *root, const char *file, struct kb_after *after,
                           struct kb_err *err) {
    enum kb_status status = kb_result_material(root, file, STAGE, &after->material, err);
    const json_t *fields = json_object_get(root, "fields");
    size_t count = json_array_size(fields);
    if (status == KB_OK && count == 0) {
        status = kb_fail(err, KB_E_INPUT, STAGE, file,
                         "holds no fields (give a result.json that keelblock measure wrote)");
    }
    for (size_t i = 0; i < count && status == KB_OK; i++) {
        if (!read_field(json_array_get(fields, i), count, after)) {
            status = kb_fail(err, KB_E_INPUT, STAGE, file,
                             "field %zu does not tell of its preparation (measure it anew, or say "
                             "--fault)",
                             i + 1);
        }
    }
    const char *name = json_string_value(json_object_get(json_object_get(root, "specimen"), "id"));
    if (status == KB_OK && name != NULL) {
        after->specimen = kb_copy_string(name);
        status = after->specimen != NULL ? KB_OK : kb_fail_memory(err, STAGE, strlen(name));
    }
    return status;
}

enum kb_status kb_after_read(const char *path, struct kb_after *after, struct kb_err *err) {
    char *file = NULL;
    json_t *root = NULL;
    *after = (struct kb_after){.hardness_hbw = (double)NAN, .hardness_hv = (double)NAN};
    enum kb_status status = kb_result_load(path, STAGE, &root, &file, err);
    if (status == KB_OK) {
        read_hardness(root, after);
        status = take(root, file, after, err);
    }
    json_decref(root);
    kb_free(file);
    return status;
}

void kb_after_release(struct kb_after *after) {
    kb_free(after->specimen);
    *after = (struct kb_after){.count = 0};
}
