/* desk_work.c - what is measured in the background: first what somebody waits for, then what is not
 * measured yet or was measured under other decisions, then the specimen, then the seal.
 *
 * A thread takes a job under the lock, does it without, and puts the outcome in place under the
 * lock, unless decisions about the field have changed meanwhile: then it is done again. Pixels of
 * fields that nobody looks at are let go when they take more than desk->params.most_px, the one
 * looked at longest ago first, but never those of the last two.
 */
#include "desk_priv.h"

#include <omp.h>
#include <string.h>
#include <time.h>

enum { PIXELS_LEAST = 2, THUMB_WIDTH = 320 };

void kb_desk_tell(struct kb_desk *desk) {
    desk->revision++;
    (void)pthread_cond_broadcast(&desk->news);
}

bool kb_desk_stale(const struct kb_desk *desk, size_t index) {
    const struct kb_desk_measured *measured = desk->slot[index].measured;
    struct kb_text key;
    bool stale = measured == NULL || !kb_desk_key(desk->hands, index, KB_DESK_MEASURED, &key);
    if (measured != NULL) {
        stale = stale || !kb_desk_same_key(&key, &measured->key);
        kb_text_release(&key);
    }
    return stale;
}

/* ---- pixels that are let go --------------------------------------------------------------------
 */

static struct kb_desk_slot *least_looked(struct kb_desk *desk, uint64_t *size, size_t *held) {
    struct kb_desk_slot *least = NULL;
    *size = 0;
    *held = 0;
    for (size_t i = 0; i < desk->plan.count; i++) {
        struct kb_desk_slot *slot = &desk->slot[i];
        if (slot->pixels == NULL) {
            continue;
        }
        *size += kb_desk_pixels_size(slot->pixels);
        (*held)++;
        if (!slot->wanted && (least == NULL || slot->looked < least->looked)) {
            least = slot;
        }
    }
    return least;
}

static void make_room(struct kb_desk *desk) {
    uint64_t size = 0;
    size_t held = 0;
    for (;;) {
        struct kb_desk_slot *least = least_looked(desk, &size, &held);
        if (least == NULL || held <= PIXELS_LEAST || size <= desk->params.most_px) {
            return;
        }
        kb_desk_pixels_drop(least->pixels);
        least->pixels = NULL;
    }
}

void kb_desk_install(struct kb_desk *desk, size_t index, struct kb_desk_measured *measured,
                     struct kb_desk_pixels *pixels) {
    struct kb_desk_slot *slot = &desk->slot[index];
    const bool same =
        slot->measured != NULL && kb_desk_same_key(&slot->measured->key, &measured->key);
    /* the same again, for its pixels: what a page has of it still holds */
    measured->revision = same ? slot->measured->revision : ++desk->label_revision;
    kb_desk_measured_drop(slot->measured);
    kb_desk_pixels_drop(slot->pixels);
    slot->measured = measured;
    slot->pixels = pixels;
    slot->wanted = false;
    desk->generation += same ? 0 : 1;
    make_room(desk);
}

/* ---- a field -----------------------------------------------------------------------------------
 */

void kb_desk_draw_thumb(struct kb_desk *desk, size_t index, const struct kb_desk_pixels *pixels,
                        uint64_t revision) {
    uint8_t *bytes = NULL;
    size_t size = 0;
    const struct kb_image *label = pixels->own_label.px != NULL ? &pixels->own_label
                                   : pixels->found != NULL      ? &pixels->found->map.label
                                                                : NULL;
    if (kb_report_thumb(&pixels->picture->field.grey, label, THUMB_WIDTH, &bytes, &size, NULL) !=
        KB_OK) {
        return;
    }
    (void)pthread_mutex_lock(&desk->lock);
    struct kb_desk_slot *slot = &desk->slot[index];
    if (slot->thumb == NULL || slot->thumb_revision <= revision) {
        kb_free(slot->thumb);
        slot->thumb = bytes;
        slot->thumb_size = size;
        slot->thumb_revision = revision;
        bytes = NULL;
    }
    (void)pthread_mutex_unlock(&desk->lock);
    kb_free(bytes);
}

/* Out of memory: others may give some back. Under the lock, let go meanwhile. */
static void rest(struct kb_desk *desk) {
    struct timespec until;
    (void)clock_gettime(CLOCK_REALTIME, &until);
    until.tv_sec += 1;
    (void)pthread_cond_timedwait(&desk->news, &desk->lock, &until);
}

/* Under the lock, which is let go meanwhile. */
static void do_field(struct kb_desk *desk, size_t index) {
    struct kb_desk_slot *slot = &desk->slot[index];
    struct kb_desk_job job = {.index = index, .hands = kb_desk_hands_hold(desk->hands)};
    job.before = slot->pixels != NULL ? kb_desk_pixels_hold(slot->pixels) : NULL;
    slot->busy = true;
    (void)pthread_mutex_unlock(&desk->lock);
    struct kb_err err;
    const bool made = kb_desk_measure(desk, &job, &err) == KB_OK;
    (void)pthread_mutex_lock(&desk->lock);
    slot->busy = false;
    if (!made) {
        rest(desk);
    }
    kb_desk_hands_drop(job.hands);
    kb_desk_pixels_drop(job.before);
    struct kb_text wanted;
    const bool known = kb_desk_key(desk->hands, index, KB_DESK_MEASURED, &wanted);
    if (!made || !known || !kb_desk_same_key(&wanted, &job.measured->key)) {
        kb_desk_measured_drop(job.measured);
        kb_desk_pixels_drop(job.pixels);
        kb_text_release(&wanted);
        return;
    }
    kb_text_release(&wanted);
    struct kb_desk_pixels *pixels = job.pixels != NULL ? kb_desk_pixels_hold(job.pixels) : NULL;
    kb_desk_install(desk, index, job.measured, job.pixels);
    kb_desk_tell(desk);
    const uint64_t revision = job.measured->revision;
    if (pixels != NULL) {
        (void)pthread_mutex_unlock(&desk->lock);
        kb_desk_draw_thumb(desk, index, pixels, revision);
        kb_desk_pixels_drop(pixels);
        (void)pthread_mutex_lock(&desk->lock);
    }
}

/* ---- the specimen ------------------------------------------------------------------------------
 */

static struct kb_desk_measured **hold_measured(struct kb_desk *desk) {
    struct kb_desk_measured **all =
        kb_alloc(desk->plan.count + 1, sizeof(struct kb_desk_measured *));
    for (size_t i = 0; all != NULL && i < desk->plan.count; i++) {
        all[i] = kb_desk_measured_hold(desk->slot[i].measured);
    }
    return all;
}

static void do_sheet(struct kb_desk *desk) {
    struct kb_desk_measured **all = hold_measured(desk);
    struct kb_desk_hands *hands = kb_desk_hands_hold(desk->hands);
    const uint64_t generation = desk->generation;
    struct kb_desk_sheet *sheet = NULL;
    struct kb_err err;
    (void)pthread_mutex_unlock(&desk->lock);
    const bool made = all != NULL && kb_desk_sheet_make(desk, hands, all, &sheet, &err) == KB_OK;
    for (size_t i = 0; all != NULL && i < desk->plan.count; i++) {
        kb_desk_measured_drop(all[i]);
    }
    kb_free(all);
    kb_desk_hands_drop(hands);
    (void)pthread_mutex_lock(&desk->lock);
    if (!made) {
        rest(desk);
    }
    if (!made || desk->generation != generation) {
        kb_desk_sheet_release(sheet);
        return;
    }
    kb_desk_sheet_release(desk->sheet);
    sheet->generation = generation;
    desk->sheet = sheet;
    kb_desk_tell(desk);
}

/* Comparing digests takes as long as reading all pictures: nothing waits for it, and what was made
 * or broken meanwhile is known better. */
static void do_seal(struct kb_desk *desk) {
    struct kb_seal seal = {.exists = false};
    const uint64_t sealed = desk->sealed;
    desk->sealing = false;
    (void)pthread_mutex_unlock(&desk->lock);
    const bool known = kb_seal_verify(desk->folder, &seal, NULL) == KB_OK;
    (void)pthread_mutex_lock(&desk->lock);
    if (desk->sealed != sealed) {
        kb_seal_release(&seal);
        desk->sealing = !desk->seal.exists; /* a change alone tells nothing of the seal */
        return;
    }
    if (!known || kb_record_signature(&desk->record) == NULL) {
        seal.intact = false; /* unreadable, or changed since */
    }
    kb_seal_release(&desk->seal);
    desk->seal = seal;
    if (seal.exists) {
        kb_desk_tell(desk);
    }
}

/* ---- threads -----------------------------------------------------------------------------------
 */

/* The field to be measured next; the number of fields when there is none. */
static size_t next_field(const struct kb_desk *desk, bool *all_tried) {
    size_t wanted = desk->plan.count, stale = desk->plan.count;
    *all_tried = true;
    for (size_t i = 0; i < desk->plan.count; i++) {
        const struct kb_desk_slot *slot = &desk->slot[i];
        const bool is_stale = kb_desk_stale(desk, i);
        *all_tried = *all_tried && !is_stale;
        if (slot->busy) {
            continue;
        }
        if (slot->wanted &&
            (wanted == desk->plan.count || slot->looked > desk->slot[wanted].looked)) {
            wanted = i;
        }
        if (is_stale && (stale == desk->plan.count || slot->looked > desk->slot[stale].looked)) {
            stale = i;
        }
    }
    return wanted < desk->plan.count ? wanted : stale;
}

static bool sheet_due(const struct kb_desk *desk) {
    return desk->sheet == NULL || desk->sheet->generation != desk->generation;
}

static void *work(void *context) {
    struct kb_desk *desk = context;
    (void)pthread_mutex_lock(&desk->lock);
    while (!desk->shut) {
        bool all_tried = false;
        const size_t field = next_field(desk, &all_tried);
        if (field < desk->plan.count) {
            do_field(desk, field);
        } else if (all_tried && sheet_due(desk) && !desk->concluding) {
            desk->concluding = true;
            do_sheet(desk);
            desk->concluding = false;
        } else if (desk->sealing) {
            do_seal(desk);
        } else {
            (void)pthread_cond_wait(&desk->news, &desk->lock);
        }
    }
    (void)pthread_mutex_unlock(&desk->lock);
    return NULL;
}

enum kb_status kb_desk_work_begin(struct kb_desk *desk, struct kb_err *err) {
    const int machine = omp_get_num_procs();
    const int wished = desk->params.threads > 0 ? desk->params.threads : machine;
    desk->thread = kb_alloc((size_t)wished, sizeof *desk->thread);
    if (desk->thread == NULL) {
        return kb_fail_memory(err, "app", (size_t)wished * sizeof *desk->thread);
    }
    while (desk->threads < wished &&
           pthread_create(&desk->thread[desk->threads], NULL, work, desk) == 0) {
        desk->threads++;
    }
    return desk->threads > 0 ? KB_OK
                             : kb_fail(err, KB_E_SYSTEM, "app", NULL,
                                       "cannot begin a thread (are too many programs running?)");
}

void kb_desk_work_end(struct kb_desk *desk) {
    for (int i = 0; i < desk->threads; i++) {
        (void)pthread_join(desk->thread[i], NULL);
    }
    kb_free(desk->thread);
    desk->thread = NULL;
    desk->threads = 0;
}
