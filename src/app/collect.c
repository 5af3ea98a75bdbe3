/* collect.c - what was said, in order: the words of the command line, the entries of a job file. */
#include "limit_sections.h"
#include "request.h"

#include <string.h>

static enum kb_status unknown_option(const char *said, enum kb_command command,
                                     struct kb_err *err) {
    for (size_t i = 0; i < kb_option_count; i++) { /* an option of another command? */
        if (strcmp(kb_options[i].name, said) == 0) {
            return kb_fail(err, KB_E_USAGE, "app", NULL,
                           "--%s does not belong to this command (see --help)", said);
        }
    }
    const char *names[128];
    size_t count = 0;
    for (size_t i = 0; i < kb_option_count && count < 128; i++) {
        if ((kb_options[i].commands & command) != 0) {
            names[count++] = kb_options[i].name;
        }
    }
    const char *near = kb_nearest_name(said, names, count);
    if (near != NULL) {
        return kb_fail(err, KB_E_USAGE, "app", NULL,
                       "there is no option --%.60s (did you mean --%s?)", said, near);
    }
    return kb_fail(err, KB_E_USAGE, "app", NULL, "there is no option --%.60s (see --help)", said);
}

/* One option at argv[*at]; moves *at over its value. */
static enum kb_status take_option(struct kb_request *request, int argc, char *const *argv, int *at,
                                  struct kb_err *err) {
    const char *word = argv[*at];
    char name[64] = "", where[72];
    const char *value = NULL;
    const struct kb_option *option = NULL;
    if (word[1] == '-') {
        size_t length = strcspn(word + 2, "=");
        (void)snprintf(name, sizeof name, "%.*s", (int)(length < 60 ? length : 60), word + 2);
        value = word[2 + length] == '=' ? word + 3 + length : NULL;
        option = kb_option_by_name(name, request->command);
    } else {
        (void)snprintf(name, sizeof name, "%c", word[1]);
        value = word[2] != '\0' ? word + 2 : NULL;
        option = kb_option_by_letter(word[1], request->command);
    }
    if (option == NULL) {
        return unknown_option(name, request->command, err);
    }
    (void)snprintf(where, sizeof where, "--%s", option->name);
    if (option->kind == KB_OPT_FLAG) {
        if (value != NULL) {
            return kb_fail(err, KB_E_USAGE, "app", where, "takes no value (leave '=...' out)");
        }
        value = "yes";
    } else if (value == NULL) {
        if (*at + 1 >= argc) {
            return kb_fail(err, KB_E_USAGE, "app", where, "wants a value, %s", option->value);
        }
        value = argv[++*at];
    }
    return kb_request_assign(request, option, value, KB_FROM_LINE, where, "", err);
}

enum kb_status kb_request_line(struct kb_request *request, int argc, char *const *argv,
                               struct kb_err *err) {
    bool only_fields = false;
    struct kb_said_contrast contrast = {false, false, KB_LIGHT};
    for (int i = 0; i < argc; i++) {
        enum kb_status status = KB_OK;
        if (!only_fields && strcmp(argv[i], "--") == 0) {
            only_fields = true;
        } else if (!only_fields && argv[i][0] == '-' && argv[i][1] != '\0') {
            status = take_option(request, argc, argv, &i, err);
            const struct kb_assignment *last =
                status == KB_OK ? &request->assignment[request->assignments - 1] : NULL;
            if (last != NULL && last->option->own == kb_own_contrast &&
                !kb_said_contrast_parse(last->value, &contrast)) {
                contrast.said = false; /* refused when it is applied */
            }
        } else if ((request->command &
                    (KB_MEASURE | KB_REVIEW | KB_SURVEY | KB_BATCH | KB_HISTORY)) == 0) {
            status = kb_fail(err, KB_E_USAGE, "app", argv[i],
                             "this command takes options only (see --help)");
        } else {
            status = kb_request_name_field(request, argv[i], contrast, KB_FROM_LINE, err);
        }
        if (status != KB_OK) {
            return status;
        }
    }
    return KB_OK;
}

/* ---- job file ----------------------------------------------------------------------------------
 */

/* Paths in a job file are meant from the folder that it lies in. */
static char *beside_job(const struct kb_job *job, const char *path) {
    if (path[0] == '/') {
        return kb_copy_string(path);
    }
    size_t length = (size_t)(kb_base_name(job->path) - job->path);
    char *folder = kb_alloc(length + 2, 1);
    if (folder == NULL) {
        return NULL;
    }
    (void)snprintf(folder, length + 2, "%.*s", (int)length, job->path);
    char *joined = length > 0 ? kb_join_path(folder, path) : kb_copy_string(path);
    kb_free(folder);
    return joined;
}

/* [fields]: contrast = pattern, several patterns apart by '|'. */
static enum kb_status take_fields(struct kb_request *request, const struct kb_job *job,
                                  const struct kb_job_entry *entry, const char *where,
                                  struct kb_err *err) {
    struct kb_said_contrast contrast = {false, false, KB_LIGHT};
    if (!kb_said_contrast_parse(entry->key, &contrast)) {
        return kb_fail(err, KB_E_USAGE, "app", where,
                       "'%.60s' is no contrast (write light = fields/*.tif, or light-unetched, sem "
                       "or auto)",
                       entry->key);
    }
    char *copy = kb_request_keep(request, entry->value);
    enum kb_status status = copy != NULL ? KB_OK : kb_fail_memory(err, "app", 1);
    for (char *part = copy, *next = NULL; part != NULL && status == KB_OK; part = next) {
        next = strchr(part, '|');
        if (next != NULL) {
            *next++ = '\0';
        }
        char *path = beside_job(job, kb_trim(part));
        status = path != NULL ? kb_request_name_field(request, path, contrast, KB_FROM_JOB, err)
                              : kb_fail_memory(err, "app", 1);
        kb_free(path);
    }
    return status;
}

static const char *const sections[] = {
    "specimen", "fields", "calibration", "segmentation", "particles",   "precision", "chemistry",
    "carbon",   "given",  "limits",      "by_hand",      "certificate", "output"};

static enum kb_status unknown_entry(const struct kb_job_entry *entry, const char *where,
                                    struct kb_err *err) {
    const char *names[64];
    char keys[64][40];
    size_t count = 0;
    bool known = false;
    for (size_t i = 0; i < sizeof sections / sizeof sections[0]; i++) {
        known = known || strcmp(sections[i], entry->section) == 0;
    }
    if (!known) {
        const char *near =
            kb_nearest_name(entry->section, sections, sizeof sections / sizeof sections[0]);
        return kb_fail(err, KB_E_USAGE, "app", where, "there is no section [%.40s] (%s%s%s)",
                       entry->section, near != NULL ? "did you mean [" : "see the manual",
                       near != NULL ? near : "", near != NULL ? "]?" : "");
    }
    for (size_t i = 0; i < kb_option_count && count < 64; i++) {
        const struct kb_option *option = &kb_options[i];
        if (option->section != NULL && strcmp(option->section, entry->section) == 0) {
            kb_option_key(option->name, keys[count], sizeof keys[count]);
            names[count] = keys[count];
            count++;
        }
    }
    const char *near = kb_nearest_name(entry->key, names, count);
    return kb_fail(err, KB_E_USAGE, "app", where, "[%s] has no key '%.40s' (%s%s%s)",
                   entry->section, entry->key,
                   near != NULL ? "did you mean " : "see the manual for its keys",
                   near != NULL ? near : "", near != NULL ? "?" : "");
}

static bool names_a_file(const struct kb_option *option) {
    return option->value != NULL &&
           (strcmp(option->value, "FILE") == 0 || strcmp(option->value, "DIR") == 0);
}

static enum kb_status take_entry(struct kb_request *request, const struct kb_job *job,
                                 const struct kb_job_entry *entry, struct kb_err *err) {
    char where[256], key[40] = "";
    (void)snprintf(where, sizeof where, "%.200s:%d", job->path, entry->line);
    if (strcmp(entry->section, "fields") == 0) {
        return take_fields(request, job, entry, where, err);
    }
    const struct kb_option *option = kb_option_by_key(entry->section, entry->key);
    /* the specimen's name reads "id" in a job file, as in the result */
    if (option == NULL && strcmp(entry->section, "specimen") == 0 &&
        strcmp(entry->key, "id") == 0) {
        option = kb_option_by_name("specimen", KB_MEASURE);
    }
    /* exclusions may stand beside the other decisions by hand */
    if (option == NULL && strcmp(entry->section, "by_hand") == 0 &&
        strcmp(entry->key, "exclude") == 0) {
        option = kb_option_by_name("exclude", KB_MEASURE);
    }
    if (option == NULL) {
        return unknown_entry(entry, where, err);
    }
    if (strcmp(entry->section, "chemistry") == 0 || strcmp(entry->section, "limits") == 0 ||
        strcmp(entry->section, "given") == 0) {
        (void)snprintf(key, sizeof key, "%s", entry->key);
    }
    char *path = names_a_file(option) && entry->value[0] != '\0' ? beside_job(job, entry->value)
                                                                 : kb_copy_string(entry->value);
    if (path == NULL) {
        return kb_fail_memory(err, "app", 1);
    }
    enum kb_status status = kb_request_assign(request, option, path, KB_FROM_JOB, where, key, err);
    kb_free(path);
    return status;
}

/* Those that hold for the specimen, the general ones first. */
static enum kb_status take_limits(struct kb_request *request, const struct kb_job *job,
                                  struct kb_err *err) {
    enum { RANKS = 4 };
    char limits[] = "limits";
    enum kb_status status = kb_request_place(request, err);
    const double section_mm = request->section_um > 0.0 ? request->section_um / 1e3 : (double)NAN;
    if (status == KB_OK) {
        status = kb_limit_places_check(job, request->grade, section_mm, err);
    }
    for (int rank = 0; rank < RANKS; rank++) {
        for (size_t i = 0; i < job->count && status == KB_OK; i++) {
            struct kb_job_entry entry = job->entry[i];
            struct kb_limit_place place;
            if (!kb_is_limit_section(entry.section)) {
                continue;
            }
            status = kb_limit_place_parse(entry.section, job->path, &place, err);
            if (status == KB_OK && kb_limit_place_rank(&place) == rank &&
                kb_limit_place_fits(&place, request->grade, section_mm)) {
                entry.section = limits;
                status = take_entry(request, job, &entry, err);
            }
        }
    }
    return status;
}

enum kb_status kb_request_job(struct kb_request *request, const char *path, bool limits_only,
                              struct kb_err *err) {
    struct kb_job job;
    enum kb_status status = kb_job_read(path, &job, err);
    if (status != KB_OK) {
        return status;
    }
    bool any = false;
    for (size_t i = 0; i < job.count && status == KB_OK; i++) {
        bool limit = kb_is_limit_section(job.entry[i].section);
        any = any || limit;
        if (!limit && !limits_only) {
            status = take_entry(request, &job, &job.entry[i], err);
        }
    }
    if (status == KB_OK) {
        status = take_limits(request, &job, err);
    }
    if (status == KB_OK && limits_only && !any) {
        status =
            kb_fail(err, KB_E_USAGE, "app", path, "no [limits] in this file (add the section)");
    }
    kb_job_release(&job);
    return status;
}
