/* whereabouts.c - a result names its pictures as they were named to it, from the folder in which it
 * was measured. That folder is not on record, so the name is tried from where the program stands,
 * and from the result's own folder and those around it. */
#include "record_priv.h"

#include <string.h>
#include <sys/stat.h>

static bool is_file(const char *path) {
    struct stat info;
    return stat(path, &info) == 0 && S_ISREG(info.st_mode);
}

char *kb_find_picture(const char *folder, const char *path) {
    enum { UP_MOST = 64 };
    if (is_file(path)) {
        return kb_copy_string(path);
    }
    char *from = path[0] != '/' ? kb_copy_string(folder) : NULL;
    char *found = NULL;
    for (int up = 0; from != NULL && up < UP_MOST && found == NULL; up++) {
        char *tried = kb_join_path(from, path);
        if (tried != NULL && is_file(tried)) {
            found = tried;
            break;
        }
        kb_free(tried);
        char *outer = kb_join_path(from, "..");
        kb_free(from);
        from = outer;
    }
    kb_free(from);
    return found;
}

/* ---- names of fields on record ---- */

bool kb_record_names(const char *path, const char *end) {
    const size_t whole = strlen(path), part = strlen(end);
    return part <= whole && strcmp(path + whole - part, end) == 0 &&
           (part == whole || path[whole - part - 1] == '/');
}

/* The end of a path that is one step longer than `end`. */
static const char *longer(const char *path, const char *end) {
    while (end > path && end[-1] == '/') {
        end--;
    }
    while (end > path && end[-1] != '/') {
        end--;
    }
    return end;
}

const char *kb_record_field_name(const char *const *path, size_t count, size_t i) {
    const char *end = kb_base_name(path[i]);
    while (end > path[i]) {
        size_t fits = 0;
        for (size_t k = 0; k < count; k++) {
            fits += kb_record_names(path[k], end);
        }
        if (fits == 1) {
            break;
        }
        end = longer(path[i], end);
    }
    return end;
}
