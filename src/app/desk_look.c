/* desk_look.c - what the page may see: views of fields, stamps, points explained, the state.
 *
 * A view holds the layers that it shows, so that a change meanwhile takes nothing away from it.
 * Where a field is being measured anew, what was measured before is shown until the new is there.
 */
#include "desk_priv.h"

#include <errno.h>
#include <string.h>
#include <time.h>

/* What a view holds. */
struct held {
    struct kb_desk_measured *measured;
    struct kb_desk_pixels *pixels;
    struct kb_particles particles; /* rows of the one, runs and outlines of the other */
};

static enum kb_status shut_down(struct kb_err *err) {
    return kb_fail(err, KB_E_SYSTEM, "app", NULL, "the review is being ended (start it again)");
}

/* Under the lock, let go meanwhile: until the pixels of the field are at hand. Those of a field
 * whose picture cannot be read never are. */
static enum kb_status get_pixels(struct kb_desk *desk, size_t field, struct kb_err *err) {
    struct kb_desk_slot *slot = &desk->slot[field];
    slot->looked = ++desk->looks;
    while (slot->pixels == NULL && !desk->shut) {
        if (slot->measured != NULL && !slot->measured->seen && !kb_desk_stale(desk, field)) {
            return kb_plan_pass_on(&slot->measured->error, err);
        }
        slot->wanted = true;
        (void)pthread_cond_broadcast(&desk->news);
        (void)pthread_cond_wait(&desk->news, &desk->lock);
    }
    slot->wanted = false;
    return slot->pixels != NULL ? KB_OK : shut_down(err);
}

static void fill_view(const struct held *held, bool evened, struct kb_review_view *view) {
    const struct kb_desk_pixels *pixels = held->pixels;
    const bool measured = held->measured->error.code == KB_OK;
    view->revision = held->measured->revision;
    view->grey = pixels->picture->pyramid;
    if (pixels->found != NULL) {
        view->label = pixels->own != NULL ? pixels->own : pixels->found->label;
        view->evened = evened ? pixels->found->evened : NULL;
    }
    view->figures = measured ? &held->measured->out : NULL;
    view->particles = measured ? &held->particles : NULL;
}

enum kb_status kb_desk_look(void *context, size_t field, bool evened, struct kb_review_view *view,
                            struct kb_err *err) {
    struct kb_desk *desk = context;
    *view = (struct kb_review_view){.revision = 0};
    struct held *held = kb_alloc_zero(1, sizeof *held);
    if (held == NULL) {
        return kb_fail_memory(err, "app", sizeof *held);
    }
    (void)pthread_mutex_lock(&desk->lock);
    const enum kb_status status = get_pixels(desk, field, err);
    if (status == KB_OK) {
        held->measured = kb_desk_measured_hold(desk->slot[field].measured);
        held->pixels = kb_desk_pixels_hold(desk->slot[field].pixels);
    }
    (void)pthread_mutex_unlock(&desk->lock);
    if (status != KB_OK) {
        kb_free(held);
        return status;
    }
    const struct kb_particles *lines = &held->pixels->lines;
    held->particles = held->measured->out.particles;
    held->particles.runs = lines->runs;
    held->particles.outline = lines->outline;
    held->particles.outlines = lines->outlines;
    held->particles.outline_point = lines->outline_point;
    held->particles.outline_points = lines->outline_points;
    fill_view(held, evened, view);
    view->held = held;
    return KB_OK;
}

void kb_desk_let_go(void *context, struct kb_review_view *view) {
    struct held *held = view->held;
    (void)context;
    if (held != NULL) {
        kb_desk_measured_drop(held->measured);
        kb_desk_pixels_drop(held->pixels);
        kb_free(held);
    }
    *view = (struct kb_review_view){.revision = 0};
}

static bool add_thumb(const struct kb_desk *desk, size_t field, bool any, struct kb_text *out) {
    const struct kb_desk_slot *slot = &desk->slot[field];
    const bool fits = slot->thumb != NULL && slot->measured != NULL &&
                      (any || slot->thumb_revision == slot->measured->revision);
    if (fits) {
        kb_text_add_bytes(out, (const char *)slot->thumb, slot->thumb_size);
    }
    return fits;
}

enum kb_status kb_desk_thumb(void *context, size_t field, struct kb_text *out, struct kb_err *err) {
    struct kb_desk *desk = context;
    struct kb_review_view view;
    (void)pthread_mutex_lock(&desk->lock);
    bool there = add_thumb(desk, field, false, out);
    (void)pthread_mutex_unlock(&desk->lock);
    if (there) {
        return KB_OK;
    }
    const enum kb_status status = kb_desk_look(desk, field, false, &view, err);
    if (status != KB_OK || view.held == NULL) {
        return status;
    }
    const struct held *held = view.held;
    kb_desk_draw_thumb(desk, field, held->pixels, view.revision);
    kb_desk_let_go(desk, &view);
    (void)pthread_mutex_lock(&desk->lock);
    there = add_thumb(desk, field, true, out);
    (void)pthread_mutex_unlock(&desk->lock);
    return there ? KB_OK : kb_fail_memory(err, "app", 0);
}

enum kb_status kb_desk_why(void *context, size_t field, struct kb_place place,
                           struct kb_explained *out, struct kb_err *err) {
    struct kb_desk *desk = context;
    struct kb_review_view view;
    enum kb_status status = kb_desk_look(desk, field, false, &view, err);
    if (status != KB_OK || view.held == NULL) {
        return status;
    }
    const struct held *held = view.held;
    (void)pthread_mutex_lock(&desk->lock);
    struct kb_desk_job job = {
        .index = field, .hands = kb_desk_hands_hold(desk->hands), .before = held->pixels};
    (void)pthread_mutex_unlock(&desk->lock);
    status = kb_desk_explain(desk, &job, place, out, err);
    kb_desk_hands_drop(job.hands);
    kb_desk_let_go(desk, &view);
    return status;
}

/* ---- the state ---------------------------------------------------------------------------------
 */

void kb_desk_show(const struct kb_desk *desk, struct kb_review_field *field,
                  struct kb_review_sheet *sheet) {
    bool fresh = desk->sheet->generation == desk->generation;
    for (size_t i = 0; i < desk->plan.count; i++) {
        const struct kb_desk_measured *measured = desk->slot[i].measured;
        field[i] = (struct kb_review_field){.path = desk->plan.path[i]};
        fresh = fresh && measured != NULL;
        if (measured != NULL) {
            field[i].revision = measured->revision;
            field[i].figures = measured->seen ? &measured->out : NULL;
            field[i].error = measured->error.code != KB_OK ? &measured->error : NULL;
        }
    }
    *sheet = (struct kb_review_sheet){.revision = desk->revision,
                                      .result = &desk->sheet->result,
                                      .concluded = fresh && desk->sheet->concluded,
                                      .field = field,
                                      .fields = desk->plan.count,
                                      .record = &desk->record,
                                      .seal = &desk->seal};
}

enum kb_status kb_desk_state(void *context, struct kb_text *out, struct kb_err *err) {
    struct kb_desk *desk = context;
    struct kb_review_sheet sheet;
    struct kb_review_field *field = kb_alloc(desk->plan.count + 1, sizeof *field);
    if (field == NULL) {
        return kb_fail_memory(err, "app", desk->plan.count * sizeof *field);
    }
    (void)pthread_mutex_lock(&desk->lock);
    kb_desk_show(desk, field, &sheet);
    const enum kb_status status = kb_review_state(&sheet, out, err);
    (void)pthread_mutex_unlock(&desk->lock);
    kb_free(field);
    return status;
}

uint64_t kb_desk_wait(void *context, uint64_t after, double seconds) {
    struct kb_desk *desk = context;
    struct timespec until;
    (void)clock_gettime(CLOCK_REALTIME, &until);
    until.tv_sec += (time_t)seconds;
    (void)pthread_mutex_lock(&desk->lock);
    int outcome = 0;
    while (desk->revision <= after && !desk->shut && outcome != ETIMEDOUT) {
        outcome = pthread_cond_timedwait(&desk->news, &desk->lock, &until);
    }
    const uint64_t revision = desk->revision;
    (void)pthread_mutex_unlock(&desk->lock);
    return revision;
}
