/* batch_gather.c - what the page of a batch needs of the whole results, kept while each specimen is
 * open: settings that all share, and findings by their code.
 *
 * There are some dozens of codes, so that a batch of ten thousand fields takes no more room here
 * than one of three. Of each code the first finding of the worst severity is shown; the pages of
 * the specimens have them all.
 */
#include "html_batch_priv.h"

#include <string.h>

void kb_batch_gathered_release(struct kb_batch_gathered *gathered) {
    for (size_t i = 0; i < gathered->settings; i++) {
        kb_free(gathered->setting[i].name);
        kb_free(gathered->setting[i].value);
    }
    kb_free(gathered->setting);
    kb_free(gathered->group);
    *gathered = (struct kb_batch_gathered){.settings = 0};
}

/* ---- settings ---- */

static bool names_the_specimen(const char *name) {
    return strcmp(name, "specimen") == 0;
}

static enum kb_status first_settings(const struct kb_result *result,
                                     struct kb_batch_gathered *gathered, struct kb_err *err) {
    gathered->setting = kb_alloc_zero(result->settings + 1, sizeof *gathered->setting);
    if (gathered->setting == NULL) {
        return kb_fail_memory(err, "report", result->settings * sizeof *gathered->setting);
    }
    for (size_t i = 0; i < result->settings; i++) {
        const struct kb_setting_record *from = &result->setting[i];
        if (names_the_specimen(from->name)) {
            continue;
        }
        struct kb_batch_setting *to = &gathered->setting[gathered->settings++];
        *to = (struct kb_batch_setting){kb_copy_string(from->name), kb_copy_string(from->value),
                                        from->origin, false};
        if (to->name == NULL || to->value == NULL) {
            return kb_fail_memory(err, "report", 1);
        }
    }
    return KB_OK;
}

/* How many settings of the name and value a result holds; limits come several times under one. */
static bool holds(const struct kb_result *result, const char *name, const char *value) {
    for (size_t i = 0; i < result->settings; i++) {
        if (strcmp(result->setting[i].name, name) == 0 &&
            strcmp(result->setting[i].value, value) == 0) {
            return true;
        }
    }
    return false;
}

/* A setting that only a later specimen states is added, as one that differs. */
static enum kb_status compare_settings(const struct kb_result *result,
                                       struct kb_batch_gathered *gathered, struct kb_err *err) {
    for (size_t i = 0; i < gathered->settings; i++) {
        struct kb_batch_setting *setting = &gathered->setting[i];
        setting->differs = setting->differs || !holds(result, setting->name, setting->value);
    }
    for (size_t k = 0; k < result->settings; k++) {
        const char *name = result->setting[k].name;
        bool known = names_the_specimen(name);
        for (size_t i = 0; i < gathered->settings && !known; i++) {
            known = strcmp(gathered->setting[i].name, name) == 0;
        }
        if (known) {
            continue;
        }
        struct kb_batch_setting *more =
            kb_resize(gathered->setting, gathered->settings + 1, sizeof *more);
        char *copy = kb_copy_string(name), *value = kb_copy_string("");
        gathered->setting = more != NULL ? more : gathered->setting;
        if (more == NULL || copy == NULL || value == NULL) {
            kb_free(copy);
            kb_free(value);
            return kb_fail_memory(err, "report", (gathered->settings + 1) * sizeof *more);
        }
        more[gathered->settings++] =
            (struct kb_batch_setting){copy, value, result->setting[k].origin, true};
    }
    return KB_OK;
}

/* ---- findings ---- */

static enum kb_status gather_finding(size_t specimen, const struct kb_finding *finding,
                                     struct kb_batch_gathered *gathered, struct kb_err *err) {
    struct kb_batch_group *group = NULL;
    for (size_t i = 0; i < gathered->groups && group == NULL; i++) {
        group = strcmp(gathered->group[i].finding.code, finding->code) == 0 ? &gathered->group[i]
                                                                            : NULL;
    }
    if (group == NULL) {
        void *items = gathered->group;
        if (!kb_grow(&items, gathered->groups, &gathered->capacity, sizeof *group)) {
            return kb_fail_memory(err, "report", gathered->groups * sizeof *group);
        }
        gathered->group = items;
        group = &gathered->group[gathered->groups++];
        *group = (struct kb_batch_group){.finding = *finding, .specimen = specimen};
    } else if (finding->severity > group->finding.severity) {
        group->finding = *finding;
        group->specimen = specimen;
    }
    group->times++;
    group->specimens += group->last != specimen + 1 ? 1 : 0;
    group->last = specimen + 1;
    return KB_OK;
}

static enum kb_status gather_findings(size_t specimen, const struct kb_findings *findings,
                                      struct kb_batch_gathered *gathered, struct kb_err *err) {
    enum kb_status status = KB_OK;
    for (size_t i = 0; i < findings->count && status == KB_OK; i++) {
        status = gather_finding(specimen, &findings->item[i], gathered, err);
    }
    return status;
}

enum kb_status kb_batch_gather(size_t specimen, const struct kb_result *result,
                               struct kb_batch_gathered *gathered, struct kb_err *err) {
    enum kb_status status = gathered->opened == 0 ? first_settings(result, gathered, err)
                                                  : compare_settings(result, gathered, err);
    if (status == KB_OK) {
        gathered->opened++;
        status = gather_findings(specimen, &result->specimen.findings, gathered, err);
    }
    for (size_t i = 0; i < result->fields && status == KB_OK; i++) {
        status = gather_findings(specimen, &result->field[i].findings, gathered, err);
    }
    return status;
}
