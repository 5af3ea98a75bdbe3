/* entry_json.c - a result.json to what the register keeps of it.
 *
 * Every result enters by this door, whether it was measured a moment ago or lies in a folder: so
 * the same result is the same to the digit, and is known again. Its digest covers the specimen, the
 * pictures (bytes and page, in any order), what was set, said and decided by hand, and the version:
 * all that figures hang on. The figures have a digest of their own; the same digest with other
 * figures is a file that somebody altered.
 */
#include "register_priv.h"

#include <jansson.h>
#include <nettle/sha2.h>
#include <stdlib.h>
#include <string.h>

#define STAGE "register"
#define SCHEMA "keelblock.result/1"
#define REMEDY "(give a result.json as keelblock wrote it)"

enum { LIST_MOST = 100000 }; /* fields or settings of one result; beyond it the file is made up */

/* ---- digests ---- */

static void digest_text(const struct kb_text *text, char hex[65]) {
    static const char digit[] = "0123456789abcdef";
    struct sha256_ctx sha;
    uint8_t bytes[SHA256_DIGEST_SIZE];
    sha256_init(&sha);
    sha256_update(&sha, text->length, (const uint8_t *)text->data);
    sha256_digest(&sha, sizeof bytes, bytes);
    for (size_t i = 0; i < sizeof bytes; i++) {
        hex[2 * i] = digit[bytes[i] >> 4];
        hex[2 * i + 1] = digit[bytes[i] & 15];
    }
    hex[64] = '\0';
}

/* A word so that no two lists of words give the same bytes. */
static void put(struct kb_text *text, const char *word) {
    kb_text_format(text, "%zu:%s\n", strlen(word), word);
}

static enum kb_status seal(struct kb_text *text, char hex[65], struct kb_err *err) {
    enum kb_status status = text->failed ? kb_fail_memory(err, STAGE, text->length) : KB_OK;
    if (status == KB_OK) {
        digest_text(text, hex);
    }
    kb_text_release(text);
    return status;
}

static enum kb_status digest_pictures(struct kb_entry *entry, struct kb_err *err) {
    struct kb_text text = KB_TEXT_INIT;
    for (size_t i = 0; i < entry->pictures; i++) {
        put(&text, entry->picture[i].sha256);
        kb_text_format(&text, "%lld\n", (long long)entry->picture[i].page);
    }
    return seal(&text, entry->pictures_sha256, err);
}

/* Who said it does not matter, what was said does. */
static enum kb_status digest_settings(struct kb_entry *entry, struct kb_err *err) {
    struct kb_text text = KB_TEXT_INIT;
    put(&text, entry->material);
    for (size_t i = 0; i < entry->settings; i++) {
        put(&text, entry->setting[i].name);
        put(&text, entry->setting[i].value);
    }
    for (size_t i = 0; i < entry->pictures; i++) {
        put(&text, entry->picture[i].contrast);
        kb_text_format(&text, "%.6g\n", entry->picture[i].px_um);
    }
    return seal(&text, entry->settings_sha256, err);
}

static enum kb_status digest_figures(struct kb_entry *entry, struct kb_err *err) {
    struct kb_text text = KB_TEXT_INIT;
    put(&text, kb_outcome_name(entry->verdict));
    for (size_t i = 0; i < entry->figures; i++) {
        const struct kb_register_figure *figure = &entry->figure[i];
        put(&text, kb_quantity_name(figure->quantity));
        kb_text_format(&text, "%.6g %.6g %.6g %zu\n", figure->value, figure->lo, figure->hi,
                       figure->n);
    }
    return seal(&text, entry->figures_sha256, err);
}

static enum kb_status digest_entry(struct kb_entry *entry, struct kb_err *err) {
    struct kb_text text = KB_TEXT_INIT;
    put(&text, entry->specimen);
    put(&text, entry->batch);
    put(&text, entry->pictures_sha256);
    put(&text, entry->settings_sha256);
    put(&text, entry->version);
    return seal(&text, entry->digest, err);
}

/* ---- reading ---- */

static enum kb_status bad(const char *name, const char *what, struct kb_err *err) {
    return kb_fail(err, KB_E_INPUT, STAGE, name, "%s " REMEDY, what);
}

/* A text of the object; `otherwise` where it is null or missing. */
static const char *word(const json_t *object, const char *key, const char *otherwise) {
    const char *text = json_string_value(json_object_get(object, key));
    return text != NULL && text[0] != '\0' ? text : otherwise;
}

static double number(const json_t *value) {
    return json_is_number(value) ? json_number_value(value) : (double)NAN;
}

static int by_digest(const void *a, const void *b) {
    const struct kb_entry_picture *left = a, *right = b;
    const int order = strcmp(left->sha256, right->sha256);
    return order != 0 ? order : (left->page > right->page) - (left->page < right->page);
}

static enum kb_status read_pictures(const json_t *root, const char *name, struct kb_entry *entry,
                                    struct kb_err *err) {
    const json_t *fields = json_object_get(root, "fields");
    const size_t count = json_array_size(fields);
    if (count == 0 || count > LIST_MOST) {
        return bad(name, "holds no fields", err);
    }
    entry->picture = kb_alloc(count, sizeof *entry->picture);
    if (entry->picture == NULL) {
        return kb_fail_memory(err, STAGE, count * sizeof *entry->picture);
    }
    for (size_t i = 0; i < count; i++) {
        const json_t *field = json_array_get(fields, i);
        const char *sha256 = word(field, "sha256", "");
        if (strlen(sha256) != 64) {
            return bad(name, "has a field without the digest of its picture", err);
        }
        entry->picture[entry->pictures++] = (struct kb_entry_picture){
            .file = word(field, "file", ""),
            .sha256 = sha256,
            .contrast = word(field, "contrast", ""),
            .page = json_integer_value(json_object_get(field, "page")),
            .px_um = number(json_object_get(field, "pixel_size_um")),
        };
    }
    qsort(entry->picture, count, sizeof *entry->picture, by_digest);
    return KB_OK;
}

static int by_name(const void *a, const void *b) {
    const struct kb_entry_setting *left = a, *right = b;
    const int order = strcmp(left->name, right->name);
    return order != 0 ? order : strcmp(left->value, right->value);
}

static enum kb_status read_settings(const json_t *root, const char *name, struct kb_entry *entry,
                                    struct kb_err *err) {
    const json_t *settings = json_object_get(root, "settings");
    const size_t count = json_array_size(settings);
    if (!json_is_array(settings) || count > LIST_MOST) {
        return bad(name, "does not say its settings", err);
    }
    entry->setting = kb_alloc(count + 1, sizeof *entry->setting);
    if (entry->setting == NULL) {
        return kb_fail_memory(err, STAGE, count * sizeof *entry->setting);
    }
    for (size_t i = 0; i < count; i++) {
        const json_t *setting = json_array_get(settings, i);
        entry->setting[entry->settings++] = (struct kb_entry_setting){
            word(setting, "name", ""), word(setting, "value", ""), word(setting, "origin", "")};
    }
    qsort(entry->setting, count, sizeof *entry->setting, by_name);
    return KB_OK;
}

static enum kb_outcome outcome_named(const char *name) {
    for (int i = KB_OUTCOME_NONE; i <= KB_UNDECIDED; i++) {
        if (strcmp(name, kb_outcome_name((enum kb_outcome)i)) == 0) {
            return (enum kb_outcome)i;
        }
    }
    return KB_OUTCOME_NONE;
}

/* What the limit on this quantity says. */
static void read_limit(const json_t *limits, struct kb_register_figure *figure) {
    for (size_t i = 0; i < json_array_size(limits); i++) {
        const json_t *limit = json_array_get(limits, i);
        if (strcmp(word(limit, "quantity", ""), kb_quantity_name(figure->quantity)) == 0) {
            figure->low = number(json_object_get(limit, "low"));
            figure->high = number(json_object_get(limit, "high"));
            figure->outcome = outcome_named(word(limit, "outcome", "none"));
        }
    }
}

static enum kb_status read_figures(const json_t *root, const char *name, struct kb_entry *entry,
                                   struct kb_err *err) {
    const json_t *figures = json_object_get(root, "figures");
    if (!json_is_object(figures)) {
        return kb_fail(err, KB_E_INPUT, STAGE, name,
                       "lists no figures: an earlier version wrote it (measure the pictures again "
                       "with this one)");
    }
    for (int i = 0; i < KB_QUANTITIES; i++) {
        const enum kb_quantity quantity = (enum kb_quantity)i;
        const json_t *figure = json_object_get(figures, kb_quantity_name(quantity));
        const json_t *interval = json_object_get(figure, "ci95");
        struct kb_register_figure *to = &entry->figure[entry->figures];
        *to = (struct kb_register_figure){
            .quantity = quantity,
            .value = number(json_object_get(figure, "value")),
            .lo = number(json_array_get(interval, 0)),
            .hi = number(json_array_get(interval, 1)),
            .s = number(json_object_get(figure, "s")),
            .n = (size_t)json_integer_value(json_object_get(figure, "n")),
            .low = (double)NAN,
            .high = (double)NAN,
        };
        read_limit(json_object_get(root, "limits"), to);
        if (isfinite(to->value) || to->outcome != KB_OUTCOME_NONE) {
            entry->figures++;
        }
    }
    return KB_OK;
}

/* Names and dates; what is missing and must not be is said. */
static enum kb_status read_head(const json_t *root, const struct kb_entry_source *source,
                                struct kb_entry *entry, struct kb_err *err) {
    const json_t *specimen = json_object_get(root, "specimen");
    int64_t cast_s = 0;
    entry->specimen = word(specimen, "id", "");
    entry->batch = word(specimen, "batch", source->batch != NULL ? source->batch : "");
    entry->casting = word(specimen, "casting", "");
    entry->cast_on = word(specimen, "cast_on", "");
    entry->material = word(specimen, "material", "");
    entry->operator_name = word(specimen, "operator", "");
    entry->version = word(json_object_get(root, "tool"), "version", "");
    entry->measured_at =
        word(root, "made_at", source->measured_at != NULL ? source->measured_at : "");
    entry->verdict = outcome_named(word(root, "verdict", "none"));
    if (strcmp(word(root, "schema", ""), SCHEMA) != 0) {
        return bad(source->name, "is no result of keelblock", err);
    }
    if (entry->specimen[0] == '\0') {
        return kb_fail(err, KB_E_USAGE, STAGE, source->name,
                       "does not name its specimen, so that nobody could find it again (measure "
                       "with --specimen NAME)");
    }
    if (entry->version[0] == '\0' || entry->material[0] == '\0') {
        return bad(source->name, "lacks version or material", err);
    }
    if (!kb_register_date(entry->measured_at, &entry->measured_s)) {
        return bad(source->name, "has no date of measurement", err);
    }
    return entry->cast_on[0] == '\0' || kb_register_date(entry->cast_on, &cast_s)
               ? KB_OK
               : bad(source->name, "has a date of casting that is no date", err);
}

static enum kb_status digest(struct kb_entry *entry, struct kb_err *err) {
    enum kb_status status = digest_pictures(entry, err);
    if (status == KB_OK) {
        status = digest_settings(entry, err);
    }
    if (status == KB_OK) {
        status = digest_figures(entry, err);
    }
    return status == KB_OK ? digest_entry(entry, err) : status;
}

enum kb_status kb_entry_read(const struct kb_entry_source *source, struct kb_entry *entry,
                             struct kb_err *err) {
    json_error_t error;
    json_t *root = json_loadb(source->json, source->length, JSON_REJECT_DUPLICATES, &error);
    *entry = (struct kb_entry){.document = root};
    if (root == NULL) {
        return kb_fail(err, KB_E_INPUT, STAGE, source->name, "is no JSON: line %d, %.100s " REMEDY,
                       error.line, error.text);
    }
    struct kb_locale locale = kb_locale_enter();
    enum kb_status status = read_head(root, source, entry, err);
    if (status == KB_OK) {
        status = read_pictures(root, source->name, entry, err);
    }
    if (status == KB_OK) {
        status = read_settings(root, source->name, entry, err);
    }
    if (status == KB_OK) {
        status = read_figures(root, source->name, entry, err);
    }
    if (status == KB_OK) {
        status = digest(entry, err);
    }
    kb_locale_leave(locale);
    if (status != KB_OK) {
        kb_entry_release(entry);
    }
    return status;
}

void kb_entry_release(struct kb_entry *entry) {
    json_decref(entry->document);
    kb_free(entry->setting);
    kb_free(entry->picture);
    *entry = (struct kb_entry){.document = NULL};
}
