/* again.c - a result.json back to the request that it was made by.
 *
 * A result lists its fields with their contrast, and every setting that decides figures with its
 * value as it was said and where. These are said again, by the same readers; so the figures are the
 * same to the digit. What a result does not hold (where its files go, threads) is for the caller.
 */
#include "again.h"
#include "keelblock/review.h"
#include "result_file.h"

#include <string.h>
#include <sys/stat.h>

#define STAGE "app"

struct source {
    const json_t *root;
    const char *file; /* of the result */
    char *folder;
};

static enum kb_status unclear(const struct source *source, const char *what, struct kb_err *err) {
    return kb_fail(err, KB_E_INPUT, STAGE, source->file,
                   "does not say %s (give the result.json as this version of keelblock wrote it)",
                   what);
}

static char *folder_of(const char *file) {
    const size_t length = (size_t)(kb_base_name(file) - file);
    char *folder = kb_copy_string(length > 0 ? file : ".");
    if (folder != NULL && length > 0) {
        folder[length > 1 ? length - 1 : 1] = '\0';
    }
    return folder;
}

/* ---- fields ---- */

static enum kb_status not_the_picture(const char *path, const char *why, struct kb_err *err) {
    return kb_fail(err, KB_E_INPUT, STAGE, path,
                   "%s (put the picture back, start where it was measured, or measure again)", why);
}

static enum kb_status take_field(const struct source *source, const json_t *field,
                                 struct kb_request *request, struct kb_err *err) {
    const char *path = json_string_value(json_object_get(field, "file"));
    const char *sha256 = json_string_value(json_object_get(field, "sha256"));
    const char *word = json_string_value(json_object_get(field, "contrast"));
    struct kb_said_contrast contrast;
    if (path == NULL || sha256 == NULL || word == NULL ||
        !kb_said_contrast_parse(word, &contrast)) {
        return unclear(source, "what its fields are", err);
    }
    contrast.find = json_is_object(json_object_get(field, "contrast_found"));
    char *found = kb_find_picture(source->folder, path), now[65];
    enum kb_status status = found != NULL ? kb_file_digest(found, now, err)
                                          : not_the_picture(path, "this picture is not found", err);
    if (status == KB_OK && strcmp(now, sha256) != 0) {
        status = not_the_picture(found, "this picture was changed since it was measured", err);
    }
    if (status == KB_OK) {
        status = kb_request_name_field(request, found, contrast, KB_FROM_LINE, err);
    }
    kb_free(found);
    return status;
}

/* ---- settings ---- */

static bool origin_named(const char *name, enum kb_origin *origin) {
    for (int i = KB_FROM_DEFAULT; i <= KB_FROM_LINE; i++) {
        if (name != NULL && strcmp(name, kb_origin_name((enum kb_origin)i)) == 0) {
            *origin = (enum kb_origin)i;
            return true;
        }
    }
    return false;
}

static bool same_file(const char *a, const char *b) {
    struct stat one, other;
    return stat(a, &one) == 0 && stat(b, &other) == 0 && one.st_dev == other.st_dev &&
           one.st_ino == other.st_ino;
}

/* The record beside the result is the review's own; it is read there. */
static bool is_own_record(const struct source *source, const struct kb_option *option,
                          const char *value) {
    if (strcmp(option->name, "record") != 0) {
        return false;
    }
    char *own = kb_join_path(source->folder, KB_RECORD_NAME);
    const bool is_own = own != NULL && same_file(own, value);
    kb_free(own);
    return is_own;
}

static enum kb_status say(const struct source *source, const struct kb_option *option,
                          const char *key, const char *value, enum kb_origin origin,
                          struct kb_request *request, struct kb_err *err) {
    if (is_own_record(source, option, value)) {
        return KB_OK;
    }
    const bool file = option->value != NULL && strcmp(option->value, "FILE") == 0;
    char *found = file ? kb_find_picture(source->folder, value) : NULL;
    enum kb_status status = kb_request_assign(request, option, found != NULL ? found : value,
                                              origin, source->file, key, err);
    kb_free(found);
    return status;
}

static enum kb_status take_setting(const struct source *source, const json_t *setting,
                                   struct kb_request *request, struct kb_err *err) {
    const char *name = json_string_value(json_object_get(setting, "name"));
    const char *value = json_string_value(json_object_get(setting, "value"));
    enum kb_origin origin = KB_FROM_DEFAULT;
    if (name == NULL || value == NULL ||
        !origin_named(json_string_value(json_object_get(setting, "origin")), &origin)) {
        return unclear(source, "its settings", err);
    }
    if (origin == KB_FROM_DEFAULT) {
        return KB_OK;
    }
    char option_name[64];
    const size_t length = strcspn(name, " ");
    const char *key = name[length] == ' ' ? name + length + 1 : "";
    (void)snprintf(option_name, sizeof option_name, "%.*s",
                   (int)(length < sizeof option_name ? length : sizeof option_name - 1), name);
    const struct kb_option *option = kb_option_by_name(option_name, KB_MEASURE);
    if (option == NULL) {
        return kb_fail(err, KB_E_INPUT, STAGE, source->file,
                       "has the setting '%.60s', which this version does not know (measure again)",
                       name);
    }
    return say(source, option, key, value, origin, request, err);
}

static enum kb_status take_all(const struct source *source, struct kb_request *request,
                               struct kb_err *err) {
    const json_t *fields = json_object_get(source->root, "fields");
    const json_t *settings = json_object_get(source->root, "settings");
    enum kb_status status = KB_OK;
    if (json_array_size(fields) == 0 || !json_is_array(settings)) {
        return unclear(source, "fields and settings", err);
    }
    for (size_t i = 0; i < json_array_size(fields) && status == KB_OK; i++) {
        status = take_field(source, json_array_get(fields, i), request, err);
    }
    for (size_t i = 0; i < json_array_size(settings) && status == KB_OK; i++) {
        status = take_setting(source, json_array_get(settings, i), request, err);
    }
    if (status == KB_OK) {
        status = kb_request_resolve(request, err);
    }
    const char *job = json_string_value(json_object_get(source->root, "job_file"));
    if (status == KB_OK && job != NULL) {
        request->settings.job_path = kb_request_keep(request, job);
        if (request->settings.job_path == NULL) {
            status = kb_fail_memory(err, STAGE, strlen(job));
        }
    }
    return status;
}

enum kb_status kb_request_again(const char *path, struct kb_request *request, struct kb_err *err) {
    json_t *root = NULL;
    char *file = NULL;
    kb_request_init(request, KB_MEASURE);
    enum kb_status status = kb_result_load(path, STAGE, &root, &file, err);
    if (status != KB_OK) {
        return status;
    }
    struct source source = {root, file, folder_of(file)};
    status = source.folder != NULL ? take_all(&source, request, err)
                                   : kb_fail_memory(err, STAGE, strlen(file));
    if (status != KB_OK) {
        kb_request_release(request);
    }
    kb_free(source.folder);
    kb_free(file);
    json_decref(root);
    return status;
}
