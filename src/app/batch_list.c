/* batch_list.c - what became of the fields of a part: "part-3-of-8.json" beside the shares.
 *
 * Written when the part is done, so a list stands for a complete part. It names for each of its
 * fields the share, or says why there is none; with the lists of all parts a batch is joined
 * without opening a picture. A list of another plan (other files, other settings, other version) is
 * passed over, since its shares do not answer what is asked now.
 */
#include "batch_run.h"

#include <dirent.h>
#include <jansson.h>
#include <string.h>

#define SCHEMA "keelblock.part/1"
/* More machines than anybody has; a bound for what a file name may claim. */
enum { PARTS_MOST = 100000 };

static char *list_path(const struct kb_batch_run *run, int part, int parts) {
    char name[64];
    (void)snprintf(name, sizeof name, "part-%d-of-%d.json", part, parts);
    return kb_join_path(run->shares, name);
}

/* ---- writing ---- */

static const char *status_word(enum kb_status status) {
    return status == KB_E_UNFIT    ? "unfit"
           : status == KB_E_USAGE  ? "usage"
           : status == KB_E_SYSTEM ? "system"
                                   : "input";
}

static enum kb_status status_of(const char *word) {
    static const enum kb_status known[] = {KB_E_UNFIT, KB_E_USAGE, KB_E_SYSTEM, KB_E_INPUT};
    for (size_t i = 0; word != NULL && i < sizeof known / sizeof known[0]; i++) {
        if (strcmp(status_word(known[i]), word) == 0) {
            return known[i];
        }
    }
    return KB_OK;
}

/* The errors of a picture may quote its name, whose bytes need not be UTF-8. */
static json_t *lossy_string(const char *text) {
    json_t *string = json_string(text);
    if (string != NULL) {
        return string;
    }
    char plain[sizeof(struct kb_err)];
    size_t length = 0;
    for (; text[length] != '\0' && length + 1 < sizeof plain; length++) {
        plain[length] = '?';
        if ((unsigned char)text[length] < 0x80) {
            plain[length] = text[length];
        }
    }
    plain[length] = '\0';
    return json_string(plain);
}

static json_t *list_fields(const struct kb_batch_run *run) {
    json_t *fields = json_array();
    for (size_t i = 0; fields != NULL && i < run->fields; i++) {
        const struct kb_batch_field *field = &run->field[i];
        if (!kb_batch_is_mine(run->order, i)) {
            continue;
        }
        json_t *entry =
            field->share[0] != '\0'
                ? json_pack("{s:I, s:s}", "field", (json_int_t)i + 1, "share", field->share)
                : json_pack("{s:I, s:s, s:o}", "field", (json_int_t)i + 1, "status",
                            status_word(field->status), "text", lossy_string(field->text));
        if (json_array_append_new(fields, entry) != 0) {
            json_decref(fields);
            return NULL;
        }
    }
    return fields;
}

/* jansson's receiver: 0 is fine. */
static int add_text(const char *bytes, size_t size, void *to) {
    struct kb_text *text = to;
    kb_text_add_bytes(text, bytes, size);
    return text->failed ? -1 : 0;
}

enum kb_status kb_batch_list_write(const struct kb_batch_run *run, struct kb_err *err) {
    const bool whole = run->order->task != KB_TASK_PART;
    const int part = whole ? 1 : run->order->part, parts = whole ? 1 : run->order->parts;
    json_t *list =
        json_pack("{s:s, s:s, s:i, s:i, s:o}", "schema", SCHEMA, "plan_sha256", run->plan_sha256,
                  "part", part, "parts", parts, "fields", list_fields(run));
    struct kb_text text = KB_TEXT_INIT;
    char *path = list_path(run, part, parts);
    const bool written = list != NULL && path != NULL &&
                         json_dump_callback(list, add_text, &text, JSON_INDENT(1)) == 0;
    enum kb_status status = written ? kb_write_file(path, text.data, text.length, err)
                                    : kb_fail_memory(err, "app", run->fields);
    kb_free(path);
    kb_text_release(&text);
    json_decref(list);
    return status;
}

/* ---- reading ---- */

/* The list of a part, NULL when it is not there or not of this plan. */
static json_t *load(const struct kb_batch_run *run, int part, int parts) {
    char *path = list_path(run, part, parts);
    json_t *list = path != NULL ? json_load_file(path, 0, NULL) : NULL;
    kb_free(path);
    const char *schema = json_string_value(json_object_get(list, "schema"));
    const char *plan = json_string_value(json_object_get(list, "plan_sha256"));
    if (schema == NULL || strcmp(schema, SCHEMA) != 0 || plan == NULL ||
        strcmp(plan, run->plan_sha256) != 0) {
        json_decref(list);
        return NULL;
    }
    return list;
}

/* "part-3-of-8.json" to 8; 0 for any other name. */
static int parts_in_name(const char *name) {
    char word[64];
    int64_t part = 0;
    int64_t parts = 0;
    (void)snprintf(word, sizeof word, "%.60s", name);
    char *of = strstr(word, "-of-");
    char *end = strstr(word, ".json");
    if (strncmp(word, "part-", 5) != 0 || of == NULL || end == NULL || end < of ||
        strcmp(end, ".json") != 0) {
        return 0;
    }
    *of = *end = '\0';
    return kb_parse_integer(word + 5, 1, PARTS_MOST, &part) &&
                   kb_parse_integer(of + 4, 1, PARTS_MOST, &parts)
               ? (int)parts
               : 0;
}

/* Numbers of parts into which some list on disk says that the batch was cut, each once, ascending.
 */
static size_t find_cuts(const char *folder, int *cut, size_t most) {
    size_t count = 0;
    DIR *stream = opendir(folder);
    const struct dirent *entry = NULL;
    while (stream != NULL && count < most &&
           (entry = readdir(stream)) != NULL) { /* NOLINT(concurrency-mt-unsafe): own DIR */
        const int parts = parts_in_name(entry->d_name);
        bool known = parts == 0;
        for (size_t i = 0; i < count; i++) {
            known = known || cut[i] == parts;
        }
        if (known) {
            continue;
        }
        size_t at = count++;
        for (; at > 0 && cut[at - 1] > parts; at--) {
            cut[at] = cut[at - 1];
        }
        cut[at] = parts;
    }
    if (stream != NULL) {
        (void)closedir(stream);
    }
    return count;
}

/* One entry to its field; false when it makes no sense. */
static bool take_entry(struct kb_batch_run *run, const json_t *entry) {
    const json_int_t number = json_integer_value(json_object_get(entry, "field"));
    const char *share = json_string_value(json_object_get(entry, "share"));
    const char *text = json_string_value(json_object_get(entry, "text"));
    const enum kb_status status = status_of(json_string_value(json_object_get(entry, "status")));
    if (number < 1 || (uint64_t)number > run->fields) {
        return false;
    }
    struct kb_batch_field *field = &run->field[number - 1];
    if (share != NULL && strlen(share) < sizeof field->share && strchr(share, '/') == NULL) {
        (void)snprintf(field->share, sizeof field->share, "%s", share);
        return true;
    }
    kb_free(field->text);
    field->text = kb_copy_string(text);
    field->status = status;
    return field->text != NULL && status != KB_OK;
}

/* The first part that is missing of so many; 0: all are there. What they say goes to the fields
 * when `take`; `missing` counts. */
static int read_parts(struct kb_batch_run *run, int parts, bool take, int *missing) {
    int first = 0;
    *missing = 0;
    for (int part = 1; part <= parts; part++) {
        json_t *list = load(run, part, parts);
        const json_t *fields = json_object_get(list, "fields");
        bool good = json_is_array(fields);
        for (size_t i = 0; take && good && i < json_array_size(fields); i++) {
            good = take_entry(run, json_array_get(fields, i));
        }
        json_decref(list);
        if (!good) {
            first = first == 0 ? part : first;
            *missing += 1;
        }
    }
    return first;
}

enum kb_status kb_batch_list_read(struct kb_batch_run *run, struct kb_err *err) {
    int cut[64], missing = 0, best = 0, best_missing = PARTS_MOST + 1, best_first = 0;
    const size_t cuts = find_cuts(run->shares, cut, sizeof cut / sizeof cut[0]);
    for (size_t i = 0; i < cuts && best_missing > 0; i++) {
        const int first = read_parts(run, cut[i], false, &missing);
        if (missing < cut[i] && missing < best_missing) {
            best = cut[i];
            best_missing = missing;
            best_first = first;
        }
    }
    if (best == 0) {
        return kb_fail(err, KB_E_INPUT, "app", run->shares,
                       "no part of this batch was measured with this manifest, these settings and "
                       "this version (run it with --part 1/N to --part N/N first)");
    }
    if (best_missing > 0) {
        return kb_fail(err, KB_E_INPUT, "app", run->shares,
                       "%d of %d parts %s missing, part %d the first (run --part %d/%d)",
                       best_missing, best, best_missing == 1 ? "is" : "are", best_first, best_first,
                       best);
    }
    if (read_parts(run, best, true, &missing) != 0) {
        return kb_fail(err, KB_E_INPUT, "app", run->shares,
                       "a list of parts makes no sense (run the parts again)");
    }
    for (size_t i = 0; i < run->fields; i++) {
        if (run->field[i].share[0] == '\0' && run->field[i].status == KB_OK) {
            return kb_fail(err, KB_E_INPUT, "app", run->shares,
                           "the lists of parts leave field %zu out (run the parts again)", i + 1);
        }
    }
    return KB_OK;
}
