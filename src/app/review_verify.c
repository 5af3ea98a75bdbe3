/* review_verify.c - the seal of a result in words: who signed, what was changed or moved since. */
#include "review_verify.h"

#include "request.h"

#include <string.h>
#include <sys/stat.h>

static const char *const state_words[] = {"unchanged", "CHANGED", "not found"};

/* Only what is not as it was; a folder has many files. */
static void show_items(const struct kb_seal *seal) {
    size_t same = 0;
    for (size_t i = 0; i < seal->items; i++) {
        const struct kb_seal_item *item = &seal->item[i];
        same += item->state == KB_SEAL_SAME;
        if (item->state != KB_SEAL_SAME) {
            printf("  %-9s  %s%s\n", state_words[item->state], item->picture ? "picture " : "",
                   item->name);
        }
    }
    printf("  %zu of %zu files and pictures are as they were signed\n", same, seal->items);
    if (!seal->digest_fits) {
        printf("  CHANGED    %s itself: its digest does not fit what stands in it\n", KB_SEAL_NAME);
    }
}

static void show(const struct kb_seal *seal) {
    if (!seal->exists) {
        printf("Not signed: there is no %s in the folder of the result.\n", KB_SEAL_NAME);
        return;
    }
    printf("%s: signed by %s on %s%s%s\n", seal->intact ? "Unchanged" : "NOT as it was signed",
           seal->who, seal->at, seal->remark != NULL ? ", " : "",
           seal->remark != NULL ? seal->remark : "");
    show_items(seal);
    printf("  digest %s\n", seal->digest);
    printf("The seal tells whether anything was changed since; it does not prove who signed.\n");
}

/* The folder of a result, new memory. */
static char *result_folder(const char *path) {
    struct stat info;
    if (stat(path, &info) == 0 && S_ISDIR(info.st_mode)) {
        return kb_copy_string(path);
    }
    const size_t length = (size_t)(kb_base_name(path) - path);
    char *folder = kb_copy_string(length > 0 ? path : ".");
    if (folder != NULL && length > 0) {
        folder[length] = '\0';
    }
    return folder;
}

/* A folder without a result is no unsigned result. */
static enum kb_status find_result(const char *folder, struct kb_err *err) {
    struct stat info;
    char *result = kb_join_path(folder, "result.json");
    if (result == NULL) {
        return kb_fail_memory(err, "app", strlen(folder));
    }
    enum kb_status status = KB_OK;
    if (stat(result, &info) != 0) {
        status = kb_fail(err, KB_E_INPUT, "app", folder,
                         "holds no result.json (name the folder of a result)");
    }
    kb_free(result);
    return status;
}

int kb_review_verify(const char *path, bool quiet) {
    struct kb_err err = {.code = KB_OK};
    struct kb_seal seal = {.exists = false};
    char *folder = result_folder(path);
    enum kb_status status =
        folder != NULL ? find_result(folder, &err) : kb_fail_memory(&err, "app", strlen(path));
    if (status == KB_OK) {
        status = kb_seal_verify(folder, &seal, &err);
    }
    kb_free(folder);
    if (status != KB_OK) {
        return kb_complain(&err);
    }
    if (!quiet) {
        show(&seal);
    }
    const int code = seal.intact ? 0 : 1;
    kb_seal_release(&seal);
    return fflush(stdout) == 0 ? code : kb_exit_code(KB_E_SYSTEM);
}
