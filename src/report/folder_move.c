/* folder_move.c - many files into place as if they were one.
 *
 * No file system renames several files at once. So: what stands in the way is first moved into a
 * folder "old" beside the new files, then the new ones are moved in, result.json last, so that
 * whoever finds it finds a whole result. When a step fails, all steps are undone in reverse order.
 */
#include "folder_priv.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

struct step {
    char *from, *to;
};

struct move {
    const char *aside, *folder;
    char *old; /* aside/old */
    struct step *step;
    size_t steps, capacity;
};

static enum kb_status plan_step(struct move *move, const char *from_folder, const char *to_folder,
                                const char *name, struct kb_err *err) {
    void *items = move->step;
    struct step step = {kb_join_path(from_folder, name), kb_join_path(to_folder, name)};
    if (step.from == NULL || step.to == NULL ||
        !kb_grow(&items, move->steps, &move->capacity, sizeof *move->step)) {
        kb_free(step.from);
        kb_free(step.to);
        return kb_fail_memory(err, "report", strlen(name));
    }
    move->step = items;
    move->step[move->steps++] = step;
    return KB_OK;
}

/* Whether something stands at folder/name that must make way; refuses what is no file. */
static enum kb_status in_the_way(const char *folder, const char *name, bool *there,
                                 struct kb_err *err) {
    char *path = kb_join_path(folder, name);
    struct stat info;
    if (path == NULL) {
        return kb_fail_memory(err, "report", strlen(name));
    }
    enum kb_status status = KB_OK;
    *there = lstat(path, &info) == 0;
    if (*there && !S_ISREG(info.st_mode) && !S_ISLNK(info.st_mode)) {
        status = kb_fail(err, KB_E_SYSTEM, "report", path,
                         "something that is no file stands where the report must write (move it "
                         "away or choose another folder)");
    }
    kb_free(path);
    return status;
}

static bool is_listed(const struct kb_names *names, const char *name) {
    for (size_t i = 0; i < names->count; i++) {
        if (strcmp(names->name[i], name) == 0) {
            return true;
        }
    }
    return false;
}

/* What an earlier measurement may have left and this one does not write: report.pdf, and names that
 * measuring gives its overlays, "overlay-01-...png". */
static bool is_of_a_result(const char *name) {
    static const char start[] = "overlay-", end[] = ".png";
    size_t length = strlen(name), digits = 0;
    if (strcmp(name, KB_PAPER_FILE) == 0) {
        return true;
    }
    if (length < sizeof start + sizeof end || strncmp(name, start, sizeof start - 1) != 0) {
        return false;
    }
    while (name[sizeof start - 1 + digits] >= '0' && name[sizeof start - 1 + digits] <= '9') {
        digits++;
    }
    return digits >= 2 && strcmp(name + length - (sizeof end - 1), end) == 0;
}

static enum kb_status plan_away(struct move *move, const struct kb_names *fresh,
                                const struct kb_names *present, struct kb_err *err) {
    enum kb_status status = KB_OK;
    bool earlier = is_listed(present, KB_RESULT_NAME); /* only beside a result are they ours */
    for (size_t i = 0; i < present->count && status == KB_OK; i++) {
        const char *name = present->name[i];
        bool stale = earlier && is_of_a_result(name);
        bool there = false;
        if (stale || is_listed(fresh, name)) {
            status = in_the_way(move->folder, name, &there, err);
        }
        if (status == KB_OK && there) {
            status = plan_step(move, move->folder, move->old, name, err);
        }
    }
    return status;
}

static enum kb_status plan_in(struct move *move, const struct kb_names *fresh, struct kb_err *err) {
    enum kb_status status = KB_OK;
    for (int last = 0; last < 2; last++) {
        for (size_t i = 0; i < fresh->count && status == KB_OK; i++) {
            bool is_last = strcmp(fresh->name[i], KB_RESULT_NAME) == 0;
            if (is_last == (last == 1)) {
                status = plan_step(move, move->aside, move->folder, fresh->name[i], err);
            }
        }
    }
    return status;
}

static enum kb_status run(const struct move *move, struct kb_err *err) {
    for (size_t i = 0; i < move->steps; i++) {
        if (rename(move->step[i].from, move->step[i].to) != 0) {
            enum kb_status status = kb_folder_failure(err, move->step[i].to, "put in place");
            while (i-- > 0) {
                (void)rename(move->step[i].to, move->step[i].from);
            }
            return status;
        }
    }
    return KB_OK;
}

static void sync_folder(const char *folder) {
    int file = open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (file >= 0) {
        (void)fsync(file); /* some file systems cannot: the renames stand all the same */
        (void)close(file);
    }
}

enum kb_status kb_folder_move(const char *aside, const char *folder, struct kb_err *err) {
    struct move move = {.aside = aside, .folder = folder, .old = kb_join_path(aside, "old")};
    struct kb_names fresh = {NULL, 0, 0}, present = {NULL, 0, 0};
    if (move.old == NULL) {
        return kb_fail_memory(err, "report", strlen(aside));
    }
    enum kb_status status = kb_names_read(aside, &fresh, err);
    if (status == KB_OK && mkdir(move.old, 0700) != 0) {
        status = kb_folder_failure(err, folder, "write");
    }
    if (status == KB_OK) {
        status = kb_names_read(folder, &present, err);
    }
    if (status == KB_OK) {
        status = plan_away(&move, &fresh, &present, err);
    }
    if (status == KB_OK) {
        status = plan_in(&move, &fresh, err);
    }
    if (status == KB_OK) {
        status = run(&move, err);
    }
    if (status == KB_OK) {
        sync_folder(folder);
    }
    for (size_t i = 0; i < move.steps; i++) {
        kb_free(move.step[i].from);
        kb_free(move.step[i].to);
    }
    kb_free(move.step);
    kb_free(move.old);
    kb_names_release(&fresh);
    kb_names_release(&present);
    return status;
}
