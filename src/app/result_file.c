/* result_file.c - a result.json that keelblock measure wrote, read back: file or folder, schema.
 *
 * Keys are read by those who need them; this much holds for all.
 */
#include "result_file.h"

#include <errno.h>
#include <string.h>
#include <sys/stat.h>

#define SCHEMA "keelblock.result/1"

static enum kb_status check_schema(const json_t *root, const char *path, const char *stage,
                                   struct kb_err *err) {
    const char *schema = json_string_value(json_object_get(root, "schema"));
    if (schema == NULL || strncmp(schema, "keelblock.", strlen("keelblock.")) != 0) {
        return kb_fail(err, KB_E_INPUT, stage, path,
                       "is no result of keelblock (give a result.json that keelblock measure "
                       "wrote)");
    }
    if (strcmp(schema, SCHEMA) != 0) {
        return kb_fail(err, KB_E_INPUT, stage, path,
                       "has the schema '%.40s', %s is wanted (give a result.json that keelblock "
                       "measure of this version wrote)",
                       schema, SCHEMA);
    }
    return KB_OK;
}

/* The file meant by `path`: itself, or result.json in the folder; new memory. */
static enum kb_status find_file(const char *path, const char *stage, char **file,
                                struct kb_err *err) {
    struct stat info;
    *file = NULL;
    if (stat(path, &info) != 0) {
        return kb_fail(err, KB_E_INPUT, stage, path, "cannot be read: %s (check the name)",
                       strerror(errno));
    }
    *file = S_ISDIR(info.st_mode) ? kb_join_path(path, "result.json") : kb_copy_string(path);
    if (*file == NULL) {
        return kb_fail_memory(err, stage, strlen(path));
    }
    if (stat(*file, &info) != 0 || !S_ISREG(info.st_mode)) {
        kb_free(*file);
        *file = NULL;
        return kb_fail(err, KB_E_INPUT, stage, path,
                       "is no file, and no folder with a result.json (give a result.json)");
    }
    return KB_OK;
}

enum kb_status kb_result_load(const char *path, const char *stage, json_t **root, char **file,
                              struct kb_err *err) {
    *root = NULL;
    enum kb_status status = find_file(path, stage, file, err);
    if (status != KB_OK) {
        return status;
    }
    json_error_t error;
    *root = json_load_file(*file, JSON_REJECT_DUPLICATES, &error);
    if (*root == NULL) {
        bool unopened = json_error_code(&error) == json_error_cannot_open_file;
        status = unopened
                     ? kb_fail(err, KB_E_INPUT, stage, *file,
                               "cannot be opened (check the file and its permissions)")
                     : kb_fail(err, KB_E_INPUT, stage, *file,
                               "is no JSON: line %d, %.100s (give the result.json as keelblock "
                               "wrote it)",
                               error.line, error.text);
    } else {
        status = check_schema(*root, *file, stage, err);
    }
    if (status != KB_OK) {
        json_decref(*root);
        kb_free(*file);
        *root = NULL;
        *file = NULL;
    }
    return status;
}

enum kb_status kb_result_material(const json_t *root, const char *file, const char *stage,
                                  enum kb_material *material, struct kb_err *err) {
    const json_t *specimen = json_object_get(root, "specimen");
    const char *name = json_string_value(json_object_get(specimen, "material"));
    if (name == NULL || !kb_material_parse(name, material)) {
        return kb_fail(
            err, KB_E_INPUT, stage, file,
            "does not say a known material (give the result.json as keelblock wrote it)");
    }
    return KB_OK;
}
