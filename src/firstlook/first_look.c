/* first_look.c - the first look at a field, step by step.
 *
 * Marks come first, from the sides inwards: margins and data bars, a round field of view, drawings,
 * mounting resin. What they leave is looked at once more, at a size at which it can be seen as a
 * whole, to say which contrast it is. Nothing here measures the specimen.
 */
#include "firstlook_priv.h"

#include <string.h>

const char *kb_mark_kind_name(enum kb_mark_kind kind) {
    static const char *const name[KB_MARK_KINDS] = {"data-bar", "scale-bar", "lettering",
                                                    "margin",   "vignette",  "resin"};
    return (size_t)kind < KB_MARK_KINDS ? name[kind] : "unknown";
}

struct kb_first_look_params kb_first_look_params_default(void) {
    return (struct kb_first_look_params){.find_marks = true, .lead = 9.0, .iron = true};
}

enum kb_status kb_first_look_params_check(const struct kb_first_look_params *params,
                                          struct kb_err *err) {
    /* Odds below 1 would prefer the less likely; a million to one is never reached. */
    if (!(params->lead >= 1.0 && params->lead <= 1e6)) {
        return kb_fail(err, KB_E_USAGE, "firstlook", "lead", "out of range (1 to 1000000)");
    }
    return KB_OK;
}

void kb_first_look_release(struct kb_first_look *look) {
    kb_free(look->mark);
    kb_image_release(&look->outside);
    kb_findings_release(&look->findings);
    memset(look, 0, sizeof *look);
}

/* ---- marks -------------------------------------------------------------------------------------
 */

enum kb_status kb_firstlook_note(const struct kb_firstlook_frame *frame, enum kb_mark_kind kind,
                                 struct kb_rect box, double bar_px, struct kb_err *err) {
    struct kb_first_look *look = frame->look;
    struct kb_mark *grown = kb_resize(look->mark, look->marks + 1, sizeof *grown);
    if (grown == NULL) {
        return kb_fail_memory(err, "firstlook", (look->marks + 1) * sizeof *grown);
    }
    look->mark = grown;
    look->mark[look->marks++] = (struct kb_mark){kind, box, bar_px};
    return KB_OK;
}

enum kb_status kb_firstlook_need_outside(const struct kb_firstlook_frame *frame,
                                         struct kb_err *err) {
    const struct kb_image *grey = kb_firstlook_grey(frame);
    struct kb_image *outside = &frame->look->outside;
    if (outside->px != NULL) {
        return KB_OK;
    }
    enum kb_status status = kb_image_alloc(grey->width, grey->height, outside, err);
    if (status == KB_OK) {
        kb_image_fill(outside, 0);
    }
    return status;
}

void kb_firstlook_paint(const struct kb_firstlook_frame *frame, struct kb_rect box) {
    const struct kb_image *outside = &frame->look->outside;
    int32_t x0 = box.x > 0 ? box.x : 0, y0 = box.y > 0 ? box.y : 0;
    int32_t x1 = box.x + box.width < outside->width ? box.x + box.width : outside->width;
    int32_t y1 = box.y + box.height < outside->height ? box.y + box.height : outside->height;
    for (int32_t y = y0; y < y1 && x0 < x1; y++) {
        memset(kb_row(outside, y) + x0, 1, (size_t)(x1 - x0));
    }
}

enum kb_status kb_firstlook_note_box(const struct kb_firstlook_frame *frame, enum kb_mark_kind kind,
                                     struct kb_rect box, double bar_px, struct kb_err *err) {
    enum kb_status status = kb_firstlook_need_outside(frame, err);
    if (status == KB_OK) {
        status = kb_firstlook_note(frame, kind, box, bar_px, err);
    }
    if (status == KB_OK) {
        box.x -= KB_FIRSTLOOK_HALO;
        box.y -= KB_FIRSTLOOK_HALO;
        box.width += 2 * KB_FIRSTLOOK_HALO;
        box.height += 2 * KB_FIRSTLOOK_HALO;
        kb_firstlook_paint(frame, box);
    }
    return status;
}

static void count_outside(struct kb_first_look *look) {
    const struct kb_image *outside = &look->outside;
    look->outside_px = 0;
    for (int32_t y = 0; outside->px != NULL && y < outside->height; y++) {
        const uint8_t *row = kb_row(outside, y);
        uint32_t sum = 0;
        for (int32_t x = 0; x < outside->width; x++) {
            sum += row[x];
        }
        look->outside_px += sum;
    }
}

/* ---- steps -------------------------------------------------------------------------------------
 */

static enum kb_status find_marks(struct kb_firstlook_frame *frame, struct kb_err *err) {
    enum kb_status status = kb_firstlook_strips(frame, err);
    if (status == KB_OK) {
        status = kb_firstlook_vignette(frame, err);
    }
    return status == KB_OK ? kb_firstlook_drawn(frame, err) : status;
}

static enum kb_status look_at(struct kb_firstlook_frame *frame,
                              const struct kb_first_look_params *params, struct kb_err *err) {
    struct kb_firstlook_small small;
    struct kb_firstlook_measures measures;
    enum kb_status status = params->find_marks ? find_marks(frame, err) : KB_OK;
    if (status != KB_OK) {
        return status;
    }
    status = kb_firstlook_small_make(frame, &small, err);
    if (status == KB_OK && params->find_marks) {
        size_t before = frame->look->marks;
        status = kb_firstlook_resin(frame, &small, err);
        if (status == KB_OK && frame->look->marks > before) {
            kb_firstlook_small_release(&small);
            status = kb_firstlook_small_make(frame, &small, err);
        }
    }
    count_outside(frame->look);
    if (status == KB_OK) {
        status = kb_firstlook_measure(frame, &small, &measures, err);
    }
    if (status == KB_OK) {
        kb_firstlook_weigh(frame, &measures, params);
        status = kb_firstlook_tell(frame, err);
    }
    kb_firstlook_small_release(&small);
    return status;
}

enum kb_status kb_first_look_run(const struct kb_field *field,
                                 const struct kb_first_look_params *params,
                                 struct kb_first_look *look, struct kb_err *err) {
    memset(look, 0, sizeof *look);
    enum kb_status status = kb_first_look_params_check(params, err);
    if (status != KB_OK) {
        return status;
    }
    /* Levels by which an even area wavers: a step rings in lossy files. */
    bool lossy = field->format != NULL && strcmp(field->format, "JPEG") == 0;
    struct kb_firstlook_frame frame = {
        .field = field,
        .look = look,
        .inside = {0, 0, field->grey.width, field->grey.height},
        .waver = lossy ? 12 : 3,
    };
    status = look_at(&frame, params, err);
    if (status != KB_OK) {
        kb_first_look_release(look);
    }
    return status;
}
