/* desk_measure.c - one field measured by the pipeline's own steps, beginning where its decisions by
 * hand begin to matter.
 *
 * A picture is read and looked at once, and segmented once for its exclusions, thresholds and
 * scale; both are lent to the steps that follow, which cannot tell them from their own. So a form
 * or a cut costs no segmentation, and no way of measuring exists beside the one that `measure`
 * takes.
 */
#include "desk_priv.h"

#include <string.h>

/* One field under way. */
struct run {
    const struct kb_desk *desk;
    struct kb_plan plan; /* with decisions of its own, to note down what comes of them */
    struct kb_by_hand *hand;
    struct kb_field_way way;
    struct kb_desk_measured *measured;
    struct kb_desk_picture *picture;
    struct kb_desk_found *found;
    struct kb_desk_pixels *pixels;
    bool borrowed_label;
    double seconds[KB_WAY_STEPS];
};

static enum kb_status no_memory(struct kb_err *err) {
    return kb_fail_memory(err, "app", sizeof(struct run));
}

/* ---- lending -----------------------------------------------------------------------------------
 */

static bool copy_findings(const struct kb_findings *from, struct kb_findings *to) {
    *to = (struct kb_findings)KB_FINDINGS_INIT;
    to->item = kb_alloc(from->count + 1, sizeof *to->item);
    if (to->item == NULL) {
        return false;
    }
    if (from->count > 0) {
        memcpy(to->item, from->item, from->count * sizeof *to->item);
    }
    to->count = from->count;
    to->capacity = from->count + 1;
    return true;
}

/* The picture to the way: what the way gives on to its result is copied, pixels are lent. */
static bool lend_picture(struct run *run) {
    struct kb_desk_picture *picture = run->picture;
    struct kb_field_way *way = &run->way;
    const size_t marks = picture->look.marks;
    way->field = picture->field;
    way->field.path = kb_copy_string(picture->field.path);
    way->look = picture->look;
    way->look.mark = kb_alloc(marks + 1, sizeof *way->look.mark);
    if (way->look.mark != NULL && marks > 0) {
        memcpy(way->look.mark, picture->look.mark, marks * sizeof *way->look.mark);
    }
    way->contrast = picture->contrast;
    run->measured->out.contrast_found = picture->contrast_found;
    return way->field.path != NULL && way->look.mark != NULL;
}

/* What was lent is not the way's to release. */
static void take_back(struct run *run) {
    struct kb_field_way *way = &run->way;
    if (run->picture != NULL) {
        way->field.grey = (struct kb_image){0};
        way->field.findings = (struct kb_findings)KB_FINDINGS_INIT;
        way->look.outside = (struct kb_image){0};
        way->look.findings = (struct kb_findings)KB_FINDINGS_INIT;
    }
    if (run->borrowed_label) {
        way->map.label = (struct kb_image){0};
    }
}

/* Labels that will be corrected are copied, others lent. */
static enum kb_status lend_found(struct run *run, struct kb_err *err) {
    const struct kb_phase_map *from = &run->found->map;
    struct kb_phase_map *to = &run->way.map;
    *to = (struct kb_phase_map){.figures = from->figures};
    run->way.quality = run->found->quality;
    run->way.out->unfit_accepted = run->found->unfit_accepted;
    if (!copy_findings(&from->findings, &to->findings)) {
        return no_memory(err);
    }
    if (run->way.hands.phases == 0) {
        to->label = from->label;
        run->borrowed_label = true;
        return KB_OK;
    }
    enum kb_status status = kb_image_alloc(from->label.width, from->label.height, &to->label, err);
    for (int32_t y = 0; status == KB_OK && y < from->label.height; y++) {
        memcpy(kb_row(&to->label, y), kb_row(&from->label, y), (size_t)from->label.width);
    }
    return status;
}

/* ---- layers ------------------------------------------------------------------------------------
 */

/* Read and look: what the way has made goes over to a new picture, and is lent back. */
static enum kb_status new_picture(struct run *run, struct kb_desk_hands *hands,
                                  struct kb_err *err) {
    struct kb_field_way *way = &run->way;
    enum kb_status status =
        kb_way_steps(&run->plan, way, KB_STEP_READ, KB_STEP_SEGMENT, run->seconds, err);
    if (way->field.grey.px == NULL) {
        return status;
    }
    struct kb_desk_picture *picture = kb_alloc_zero(1, sizeof *picture);
    if (picture == NULL) {
        return no_memory(err);
    }
    picture->held = 1;
    picture->field = way->field;
    picture->look = way->look;
    picture->contrast = way->contrast;
    picture->contrast_found = way->out->contrast_found;
    if (status != KB_OK) {
        picture->error = *err;
    }
    way->field = (struct kb_field){.path = NULL};
    way->look = (struct kb_first_look){.marks = 0};
    run->picture = picture;
    struct kb_err lost;
    if (!kb_desk_key(hands, way->index, KB_DESK_PICTURE, &picture->key) ||
        kb_pyramid_make(&picture->field.grey, KB_PYRAMID_MEAN, &picture->pyramid, &lost) != KB_OK ||
        !lend_picture(run)) {
        return no_memory(err);
    }
    return status;
}

static bool same_layer(const struct kb_desk_hands *hands, size_t index, enum kb_desk_layer layer,
                       const struct kb_text *key) {
    struct kb_text wanted;
    const bool same = kb_desk_key(hands, index, layer, &wanted) && kb_desk_same_key(&wanted, key);
    kb_text_release(&wanted);
    return same;
}

static enum kb_status get_picture(struct run *run, const struct kb_desk_job *job,
                                  struct kb_err *err) {
    struct kb_desk_pixels *before = job->before;
    if (before == NULL ||
        !same_layer(job->hands, job->index, KB_DESK_PICTURE, &before->picture->key)) {
        return new_picture(run, job->hands, err);
    }
    run->picture = kb_desk_picture_hold(before->picture);
    if (!lend_picture(run)) {
        return no_memory(err);
    }
    return run->picture->error.code == KB_OK ? KB_OK : kb_plan_pass_on(&run->picture->error, err);
}

/* Segment and check: what the way has made goes over to the new layer, and is lent back. A field
 * that is not fit is kept so far, to be looked at. */
static enum kb_status new_found(struct run *run, struct kb_desk_hands *hands, struct kb_err *err) {
    struct kb_field_way *way = &run->way;
    enum kb_status status =
        kb_way_steps(&run->plan, way, KB_STEP_SEGMENT, KB_STEP_CORRECT, run->seconds, err);
    if (way->map.label.px == NULL) {
        return status;
    }
    struct kb_desk_found *found = kb_alloc_zero(1, sizeof *found);
    if (found == NULL) {
        return no_memory(err);
    }
    found->held = 1;
    found->picture = kb_desk_picture_hold(run->picture);
    found->map = way->map;
    found->quality = way->quality;
    found->unfit_accepted = way->out->unfit_accepted;
    way->map = (struct kb_phase_map){.changes = 0};
    run->found = found;
    struct kb_err lost;
    if (!kb_desk_key(hands, way->index, KB_DESK_FOUND, &found->key) ||
        kb_pyramid_make(&found->map.label, KB_PYRAMID_MOST, &found->label, &lost) != KB_OK ||
        (found->map.evened.px != NULL &&
         kb_pyramid_make(&found->map.evened, KB_PYRAMID_MEAN, &found->evened, &lost) != KB_OK)) {
        return no_memory(err);
    }
    return status == KB_OK ? lend_found(run, err) : status;
}

static enum kb_status get_found(struct run *run, const struct kb_desk_job *job,
                                struct kb_err *err) {
    struct kb_desk_found *before = job->before != NULL ? job->before->found : NULL;
    const bool fit = before != NULL && before->picture == run->picture &&
                     (before->quality.fitness != KB_NOT_FIT || before->unfit_accepted);
    if (!fit || !same_layer(job->hands, job->index, KB_DESK_FOUND, &before->key)) {
        return new_found(run, job->hands, err);
    }
    enum kb_status status = kb_way_gather_hands(&run->plan, &run->way, err);
    if (status == KB_OK) {
        run->found = kb_desk_found_hold(before);
        status = lend_found(run, err);
    }
    return status;
}

/* ---- what is kept ------------------------------------------------------------------------------
 */

/* Of a field that was not measured: what is known so far, for the page. */
static void tell_so_far(struct run *run) {
    struct kb_field_result *out = &run->measured->out;
    const struct kb_field *field = &run->picture->field;
    if (out->path == NULL) { /* not settled */
        out->width = field->grey.width;
        out->height = field->grey.height;
        out->bits = field->bits;
        out->px_um = field->px_um;
        out->scale_source = field->scale_source;
        out->contrast = run->picture->contrast;
        out->segmentation.grey_low = field->grey_low;
        out->segmentation.grey_high = field->grey_high;
    }
    if (run->found != NULL && out->path == NULL) {
        out->segmentation = run->found->map.figures;
        out->quality = run->found->quality;
    }
}

static bool keep_outcomes(struct run *run) {
    const size_t index = run->way.index;
    run->measured->outcome = kb_alloc_zero(run->plan.hands + 1, sizeof *run->measured->outcome);
    if (run->measured->outcome == NULL) {
        return false;
    }
    for (size_t i = 0; i < run->plan.hands; i++) {
        if (run->plan.hand[i].field == index + 1 &&
            !kb_by_hand_copy(&run->plan.hand[i],
                             &run->measured->outcome[run->measured->outcomes++])) {
            return false;
        }
    }
    return true;
}

/* Labels, runs and outlines from way and result to pixels of their own. */
static enum kb_status keep_pixels(struct run *run, struct kb_err *err) {
    struct kb_desk_pixels *pixels = kb_alloc_zero(1, sizeof *pixels);
    struct kb_particles *particles = &run->measured->out.particles;
    if (pixels == NULL) {
        return no_memory(err);
    }
    run->pixels = pixels;
    pixels->held = 1;
    pixels->picture = kb_desk_picture_hold(run->picture);
    pixels->found = run->found != NULL ? kb_desk_found_hold(run->found) : NULL;
    pixels->lines.runs = particles->runs; /* moved */
    pixels->lines.outline = particles->outline;
    pixels->lines.outlines = particles->outlines;
    pixels->lines.outline_point = particles->outline_point;
    pixels->lines.outline_points = particles->outline_points;
    particles->runs = (struct kb_runs){.width = 0};
    particles->outline = NULL;
    particles->outline_point = NULL;
    particles->outlines = particles->outline_capacity = 0;
    particles->outline_points = particles->outline_point_capacity = 0;
    if (run->found == NULL || run->borrowed_label || run->way.map.label.px == NULL) {
        return KB_OK;
    }
    pixels->own_label = run->way.map.label; /* moved */
    run->way.map.label = (struct kb_image){0};
    return kb_pyramid_make(&pixels->own_label, KB_PYRAMID_MOST, &pixels->own, err);
}

static bool begin(const struct kb_desk *desk, const struct kb_desk_job *job, struct run *run) {
    const struct kb_result *list = &job->hands->list;
    *run = (struct run){.desk = desk, .plan = desk->plan};
    run->hand = kb_alloc(list->by_hands + 1, sizeof *run->hand);
    run->measured = kb_alloc_zero(1, sizeof *run->measured);
    if (run->measured == NULL) {
        return false;
    }
    run->measured->held = 1;
    run->way.out = &run->measured->out;
    if (run->hand == NULL) {
        return false;
    }
    if (list->by_hands > 0) {
        memcpy(run->hand, list->by_hand, list->by_hands * sizeof *run->hand);
    }
    run->plan.hand = run->hand;
    run->plan.hands = list->by_hands;
    run->way.index = job->index;
    run->way.moved = desk->settings.specimen.threshold_step > 0.0 ? &run->measured->moved : NULL;
    return kb_desk_key(job->hands, job->index, KB_DESK_MEASURED, &run->measured->key);
}

static void end(struct run *run) {
    take_back(run);
    if (run->measured != NULL) {
        kb_way_release(&run->way);
    }
    kb_desk_picture_drop(run->picture);
    kb_desk_found_drop(run->found);
    kb_free(run->hand);
}

static enum kb_status go(struct run *run, const struct kb_desk_job *job, struct kb_err *err) {
    enum kb_status status = get_picture(run, job, err);
    if (status == KB_OK) {
        status = get_found(run, job, err);
    }
    if (status == KB_OK) {
        status =
            kb_way_steps(&run->plan, &run->way, KB_STEP_CORRECT, KB_WAY_STEPS, run->seconds, err);
    }
    return status;
}

enum kb_status kb_desk_measure(const struct kb_desk *desk, struct kb_desk_job *job,
                               struct kb_err *err) {
    struct run run;
    job->measured = NULL;
    job->pixels = NULL;
    bool made = begin(desk, job, &run);
    enum kb_status status = KB_OK;
    if (made) {
        (void)go(&run, job, &run.measured->error);
        run.measured->seen = run.picture != NULL;
        made = keep_outcomes(&run);
    }
    if (made && run.picture != NULL) {
        tell_so_far(&run);
        made = keep_pixels(&run, err) == KB_OK;
    }
    end(&run);
    if (!made) {
        kb_desk_pixels_drop(run.pixels);
        kb_desk_measured_drop(run.measured);
        status = no_memory(err);
    } else {
        job->measured = run.measured;
        job->pixels = run.pixels;
    }
    return status;
}

enum kb_status kb_desk_explain(const struct kb_desk *desk, const struct kb_desk_job *job,
                               struct kb_place place, struct kb_explained *out,
                               struct kb_err *err) {
    struct run run;
    *out = (struct kb_explained){
        .field = job->index + 1, .way = {.x = place.x, .y = place.y}, .origin = "review"};
    enum kb_status status = begin(desk, job, &run) ? KB_OK : no_memory(err);
    if (status == KB_OK) {
        run.plan.explained = out;
        run.plan.explaineds = 1;
        run.plan.kept_open = false;
        status = get_picture(&run, job, err);
    }
    if (status == KB_OK) {
        status = kb_way_steps(&run.plan, &run.way, KB_STEP_SEGMENT, KB_WAY_STEPS, run.seconds, err);
    }
    end(&run);
    kb_desk_measured_drop(run.measured);
    return status;
}
