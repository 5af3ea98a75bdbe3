/* seal.c - digests over what was signed, and whether it is still that.
 *
 * Sealed are the files of the result (figures, settings and decisions stand in result.json), the
 * record, and the pictures that were measured. The digest over all of them with name, remark and
 * time shows that the seal itself was left alone by chance and by hand; it is no proof of identity,
 * for which a laboratory signs the paper or the file by its own means.
 */
#include "record_priv.h"

#include <string.h>
#include <sys/stat.h>

#define SCHEMA "keelblock.seal/1"
#define RESULT "result.json"

static const char about[] =
    "This seal tells whether anything was changed after signing. It does not prove who signed.";

/* Files of a result beside its overlays; those that there are. */
static const char *const own_file[] = {RESULT,       "report.html",   "report.pdf",
                                       "fields.csv", "particles.csv", KB_RECORD_NAME};

void kb_seal_release(struct kb_seal *seal) {
    for (size_t i = 0; i < seal->items; i++) {
        kb_free(seal->item[i].name);
    }
    kb_free(seal->item);
    kb_free(seal->who);
    kb_free(seal->remark);
    *seal = (struct kb_seal){.exists = false};
}

static enum kb_status add_item(struct kb_seal *seal, const char *name, bool picture,
                               const char *sha256, struct kb_err *err) {
    void *items = seal->item;
    char *copy = kb_copy_string(name);
    if (copy == NULL || !kb_grow(&items, seal->items, &seal->capacity, sizeof *seal->item)) {
        kb_free(copy);
        return kb_fail_memory(err, KB_REVIEW_STAGE, sizeof *seal->item);
    }
    seal->item = items;
    struct kb_seal_item *item = &seal->item[seal->items++];
    *item = (struct kb_seal_item){.name = copy, .picture = picture};
    (void)snprintf(item->sha256, sizeof item->sha256, "%s", sha256);
    return KB_OK;
}

/* ---- the digest over all ---- */

static void put(struct kb_text *text, const char *word) { /* no two lists give the same bytes */
    kb_text_format(text, "%zu:%s\n", strlen(word), word);
}

static enum kb_status digest_all(const struct kb_seal *seal, char sha256[65], struct kb_err *err) {
    struct kb_text text = KB_TEXT_INIT;
    put(&text, SCHEMA);
    put(&text, seal->who);
    put(&text, seal->remark != NULL ? seal->remark : "");
    put(&text, seal->at);
    for (size_t i = 0; i < seal->items; i++) {
        put(&text, seal->item[i].picture ? "picture" : "file");
        put(&text, seal->item[i].name);
        put(&text, seal->item[i].sha256);
    }
    enum kb_status status = text.failed ? kb_fail_memory(err, KB_REVIEW_STAGE, text.length) : KB_OK;
    if (status == KB_OK) {
        kb_digest(text.data, text.length, sha256);
    }
    kb_text_release(&text);
    return status;
}

/* ---- where an item lies, and its digest now ---- */

static bool is_plain_name(const char *name) {
    return name[0] != '\0' && name[0] != '.' && strchr(name, '/') == NULL;
}

static char *item_path(const char *folder, const struct kb_seal_item *item) {
    return item->picture ? kb_find_picture(folder, item->name) : kb_join_path(folder, item->name);
}

static bool is_there(const char *path) {
    struct stat info;
    return stat(path, &info) == 0 && S_ISREG(info.st_mode);
}

static enum kb_status compare(const char *folder, struct kb_seal_item *item, struct kb_err *err) {
    char now[65];
    char *path = item_path(folder, item);
    enum kb_status status = KB_OK;
    item->state = KB_SEAL_MISSING;
    if (path != NULL && is_there(path)) {
        struct kb_err own = {.code = KB_OK};
        status = kb_file_digest(path, now, &own);
        item->state =
            status == KB_OK && strcmp(now, item->sha256) == 0 ? KB_SEAL_SAME : KB_SEAL_CHANGED;
        if (status == KB_E_MEMORY) {
            *err = own;
        } else {
            status = KB_OK; /* what cannot be read any more is not what it was */
        }
    }
    kb_free(path);
    return status;
}

/* ---- writing ---- */

static enum kb_status add_file(const char *folder, const char *name, struct kb_seal *seal,
                               struct kb_err *err) {
    char sha256[65];
    char *path = kb_join_path(folder, name);
    if (path == NULL) {
        return kb_fail_memory(err, KB_REVIEW_STAGE, 1);
    }
    enum kb_status status = KB_OK;
    if (is_there(path)) {
        status = kb_file_digest(path, sha256, err);
        if (status == KB_OK) {
            status = add_item(seal, name, false, sha256, err);
        }
    }
    kb_free(path);
    return status;
}

/* The overlay of a field, and its picture, which must still be the one that was measured. */
static enum kb_status add_field(const char *folder, const json_t *field, struct kb_seal *seal,
                                struct kb_err *err) {
    const char *overlay = json_string_value(json_object_get(field, "overlay"));
    const char *name = json_string_value(json_object_get(field, "file"));
    const char *sha256 = json_string_value(json_object_get(field, "sha256"));
    if (name == NULL || sha256 == NULL || strlen(sha256) != 64) {
        return kb_fail(err, KB_E_INPUT, KB_REVIEW_STAGE, folder,
                       "its %s does not name its pictures (measure again)", RESULT);
    }
    enum kb_status status = KB_OK;
    if (overlay != NULL && is_plain_name(overlay)) {
        status = add_file(folder, overlay, seal, err);
    }
    if (status == KB_OK) {
        status = add_item(seal, name, true, sha256, err);
    }
    if (status == KB_OK) {
        status = compare(folder, &seal->item[seal->items - 1], err);
    }
    if (status == KB_OK && seal->item[seal->items - 1].state != KB_SEAL_SAME) {
        status = kb_fail(err, KB_E_INPUT, KB_REVIEW_STAGE, name,
                         "this picture is not the one that was measured, or is not found (put it "
                         "back, or measure again)");
    }
    return status;
}

static enum kb_status add_all(const char *folder, struct kb_seal *seal, struct kb_err *err) {
    char *path = kb_join_path(folder, RESULT);
    if (path == NULL) {
        return kb_fail_memory(err, KB_REVIEW_STAGE, strlen(folder));
    }
    json_t *result = json_load_file(path, JSON_REJECT_DUPLICATES, NULL);
    kb_free(path);
    const json_t *fields = json_object_get(result, "fields");
    enum kb_status status =
        json_array_size(fields) > 0
            ? KB_OK
            : kb_fail(err, KB_E_INPUT, KB_REVIEW_STAGE, folder,
                      "holds no %s that could be sealed (measure with -o first)", RESULT);
    for (size_t i = 0; i < KB_COUNT_OF(own_file) && status == KB_OK; i++) {
        status = add_file(folder, own_file[i], seal, err);
    }
    for (size_t i = 0; i < json_array_size(fields) && status == KB_OK; i++) {
        status = add_field(folder, json_array_get(fields, i), seal, err);
    }
    json_decref(result);
    return status;
}

static json_t *document(const struct kb_seal *seal) {
    json_t *items = json_array();
    for (size_t i = 0; i < seal->items; i++) {
        const struct kb_seal_item *item = &seal->item[i];
        (void)json_array_append_new(items, json_pack("{s:s,s:s,s:s}", "name", item->name, "kind",
                                                     item->picture ? "picture" : "file", "sha256",
                                                     item->sha256));
    }
    return json_pack("{s:s,s:s,s:s,s:s?,s:s,s:o,s:s}", "schema", SCHEMA, "about", about, "who",
                     seal->who, "remark", seal->remark, "at", seal->at, "items", items, "digest",
                     seal->digest);
}

static enum kb_status write_seal(const char *folder, const struct kb_seal *seal,
                                 struct kb_err *err) {
    struct kb_text text = KB_TEXT_INIT;
    json_t *root = document(seal);
    char *path = kb_join_path(folder, KB_SEAL_NAME);
    const bool named = json_array_size(json_object_get(root, "items")) == seal->items;
    enum kb_status status = KB_OK;
    if (!named) {
        status = kb_fail(err, KB_E_USAGE, KB_REVIEW_STAGE, folder,
                         "cannot be sealed: a name or the remark is no UTF-8 (write it so)");
    } else if (path == NULL || !kb_review_dump(root, JSON_INDENT(1), &text)) {
        status = kb_fail_memory(err, KB_REVIEW_STAGE, text.length);
    } else {
        kb_text_add(&text, "\n");
        status = text.failed ? kb_fail_memory(err, KB_REVIEW_STAGE, text.length)
                             : kb_write_file(path, text.data, text.length, err);
    }
    json_decref(root);
    kb_free(path);
    kb_text_release(&text);
    return status;
}

enum kb_status kb_seal_write(const char *folder, const char *who, const char *remark,
                             const char *at, struct kb_err *err) {
    struct kb_seal seal = {.exists = true};
    seal.who = kb_copy_string(who);
    seal.remark = kb_copy_string(remark);
    (void)snprintf(seal.at, sizeof seal.at, "%s", at);
    enum kb_status status = seal.who != NULL && (remark == NULL || seal.remark != NULL)
                                ? KB_OK
                                : kb_fail_memory(err, KB_REVIEW_STAGE, 1);
    if (status == KB_OK) {
        status = add_all(folder, &seal, err);
    }
    if (status == KB_OK) {
        status = digest_all(&seal, seal.digest, err);
    }
    if (status == KB_OK) {
        status = write_seal(folder, &seal, err);
    }
    kb_seal_release(&seal);
    return status;
}

/* ---- reading ---- */

static enum kb_status no_seal(const char *path, struct kb_err *err) {
    return kb_fail(err, KB_E_INPUT, KB_REVIEW_STAGE, path,
                   "is no seal that keelblock wrote (sign the result again)");
}

static enum kb_status take_items(const json_t *items, const char *path, struct kb_seal *seal,
                                 struct kb_err *err) {
    enum kb_status status = KB_OK;
    for (size_t i = 0; i < json_array_size(items) && status == KB_OK; i++) {
        const json_t *item = json_array_get(items, i);
        const char *name = json_string_value(json_object_get(item, "name"));
        const char *kind = json_string_value(json_object_get(item, "kind"));
        const char *sha256 = json_string_value(json_object_get(item, "sha256"));
        const bool picture = kind != NULL && strcmp(kind, "picture") == 0;
        if (name == NULL || kind == NULL || sha256 == NULL || strlen(sha256) != 64 ||
            (!picture && (strcmp(kind, "file") != 0 || !is_plain_name(name)))) {
            return no_seal(path, err);
        }
        status = add_item(seal, name, picture, sha256, err);
    }
    return status;
}

static enum kb_status take_seal(const json_t *root, const char *path, struct kb_seal *seal,
                                struct kb_err *err) {
    const char *schema = json_string_value(json_object_get(root, "schema"));
    const char *who = json_string_value(json_object_get(root, "who"));
    const char *at = json_string_value(json_object_get(root, "at"));
    const char *digest = json_string_value(json_object_get(root, "digest"));
    const char *remark = json_string_value(json_object_get(root, "remark"));
    if (schema == NULL || strcmp(schema, SCHEMA) != 0 || who == NULL || at == NULL ||
        strlen(at) >= sizeof seal->at || digest == NULL || strlen(digest) != 64) {
        return no_seal(path, err);
    }
    seal->who = kb_copy_string(who);
    seal->remark = kb_copy_string(remark);
    (void)snprintf(seal->at, sizeof seal->at, "%s", at);
    (void)snprintf(seal->digest, sizeof seal->digest, "%s", digest);
    if (seal->who == NULL || (remark != NULL && seal->remark == NULL)) {
        return kb_fail_memory(err, KB_REVIEW_STAGE, 1);
    }
    return take_items(json_object_get(root, "items"), path, seal, err);
}

static enum kb_status read_seal(const char *path, struct kb_seal *seal, struct kb_err *err) {
    json_t *root = json_load_file(path, JSON_REJECT_DUPLICATES, NULL);
    enum kb_status status = json_is_object(root) ? KB_OK : no_seal(path, err);
    if (status == KB_OK) {
        status = take_seal(root, path, seal, err);
    }
    json_decref(root);
    return status;
}

static enum kb_status compare_all(const char *folder, struct kb_seal *seal, struct kb_err *err) {
    char digest[65];
    enum kb_status status = digest_all(seal, digest, err);
    if (status != KB_OK) {
        return status;
    }
    seal->digest_fits = strcmp(digest, seal->digest) == 0;
    seal->intact = seal->digest_fits && seal->items > 0;
    for (size_t i = 0; i < seal->items && status == KB_OK; i++) {
        status = compare(folder, &seal->item[i], err);
        seal->intact = seal->intact && seal->item[i].state == KB_SEAL_SAME;
    }
    return status;
}

enum kb_status kb_seal_verify(const char *folder, struct kb_seal *seal, struct kb_err *err) {
    *seal = (struct kb_seal){.exists = false};
    char *path = kb_join_path(folder, KB_SEAL_NAME);
    if (path == NULL) {
        return kb_fail_memory(err, KB_REVIEW_STAGE, strlen(folder));
    }
    enum kb_status status = KB_OK;
    if (is_there(path)) {
        status = read_seal(path, seal, err);
        seal->exists = status == KB_OK;
        if (status == KB_OK) {
            status = compare_all(folder, seal, err);
        }
    }
    kb_free(path);
    if (status != KB_OK) {
        kb_seal_release(seal);
    }
    return status;
}
