/* subpixel.c - the figures of particles from an outline at sub-pixel precision.
 *
 * The label map says what belongs together; the grey about the border says where exactly it ends.
 * For each particle that is not cut by frame or exclusion: its border (border.c), the grey midway
 * between its own and that of the ground (grey_edge.c), the outline without noise (arc_noise.c) and
 * without what blur took (deblur.c), and from it area, perimeter, centroid, axes, hull, Feret
 * diameters and all ratios. What that gains over pixel rules is in refs/subpixel_bias.csv.
 *
 * Small particles cannot show their own blur and grey without being mixed with their surroundings:
 * they come last, and take what the larger ones of the field have shown (median). A particle keeps
 * the figures of the pixel rules where the grey does not follow its border, where it is too narrow
 * for its own grey and the field has no larger one, and below three pixels across.
 *
 * Limits: of ellipses narrower than some 4 px length and width are told apart less well (see
 * there); parting cuts stay straight, with the corners at their ends rounded by a pixel or so; very
 * large regions (more than 2^20 pixels in their box) keep the pixel rules, which are as good there.
 */
#include "subpixel_priv.h"

#include <stdlib.h>

static const int64_t largest_box = (int64_t)1 << 20;
static const double least_across_px = 2.0; /* minor axis by pixels */
/* Wide enough to show its own blur, and its own grey: 4.5 and 2.2 sigma of 1.33 px to either side
 * of the middle, so that the middle shows all, or 97 %, of the step. */
static const double shows_blur_px = 12.0;
static const double shows_grey_px = 8.0;
static const double own_depth_px = 4.0; /* where the particle's own grey is looked for */
/* Of the border, at least so much must be where the grey has an edge. */
static const double least_found = 0.75;
/* Tips of an ellipse with the radius (minor / 2)^2 / (major / 2) below this are not gentle bends
 * (three times the blur), if the border is short enough for the model. */
static const double gentle_px = 4.0;
static const double model_length_px = 100.0;
static const double least_ratio = 0.2; /* of the stretching for the even division */
static const double softest_px = 3.0;  /* blur beyond which there is no edge to speak of */
enum { LEAST_SIDES = 8 };

/* What the larger particles of a field have shown. */
struct shown {
    double *sigma, *inside; /* one a particle; then their medians */
    size_t count;
    double median_sigma, median_inside;
};

struct subpixel {
    const struct kb_image *grey;
    struct kb_edge_rules rules;
    double px_um, min_feret_um;
    struct kb_spans spans;
    struct kb_border_mask mask;
    struct kb_cracks cracks;
    struct kb_loop loop;
    struct kb_patch patch;
    struct kb_hull hull;
    struct shown shown;
    struct kb_particles *kept; /* where outlines are kept; NULL: nowhere */
    /* of the particle at hand */
    const struct kb_runs *beside; /* all particles, where it was cut by hand; else NULL */
    bool apart;                   /* joined by hand from parts that do not touch */
    struct kb_point *corner;      /* of the hulls of those parts */
    size_t corners, corner_capacity;
};

/* ---- one loop ---------------------------------------------------------------------------------
 */

/* Points behind `first` .. `last` (running on past the end) on the straight line between the ones
 * before and after. */
static void draw_straight(struct kb_point *point, size_t n, size_t first, size_t last) {
    struct kb_point a = point[(first + n - 1) % n];
    struct kb_point b = point[(last + 1) % n];
    double steps = (double)(last - first + 2);
    for (size_t i = first; i <= last; i++) {
        double t = (double)(i - first + 1) / steps;
        point[i % n] = (struct kb_point){a.x + t * (b.x - a.x), a.y + t * (b.y - a.y)};
    }
}

/* The place of first .. last that lies farthest off the line between the ones before and after, if
 * that is more than a pixel; 0 else. The stairs of a straight cut lie within a pixel of it. */
static size_t bend_of(const struct kb_loop *loop, size_t first, size_t last) {
    const size_t n = loop->count;
    const struct kb_point a = loop->base[(first + n - 1) % n];
    const struct kb_point b = loop->base[(last + 1) % n];
    const double length = hypot(b.x - a.x, b.y - a.y);
    double most = 1.0;
    size_t bend = 0;
    for (size_t i = first; i <= last && length > 0.0; i++) {
        const struct kb_point p = loop->base[i % n];
        const double off = fabs((p.x - a.x) * (b.y - a.y) - (p.y - a.y) * (b.x - a.x)) / length;
        if (off > most) {
            most = off;
            bend = i;
        }
    }
    return bend;
}

/* Places first .. last made a straight line; none (last = first - 1) has only the points between
 * two places. */
static void draw_cut(const struct kb_loop *loop, struct kb_point *point, size_t fine, size_t first,
                     size_t last) {
    const size_t from = fine * first - (fine - 1);
    const size_t to = fine * last + (fine - 1);
    if (to >= from) {
        draw_straight(point, fine * loop->count, from, to);
    }
}

/* The straight line through places from .. to (least squares, square to the line), at its ends. */
static void fit_line(const struct kb_loop *loop, size_t from, size_t to, struct kb_point end[2]) {
    const size_t n = loop->count;
    const double count = (double)(to - from + 1);
    struct kb_point middle = {0.0, 0.0};
    double xx = 0.0;
    double xy = 0.0;
    double yy = 0.0;
    for (size_t i = from; i <= to; i++) {
        middle.x += loop->base[i % n].x / count;
        middle.y += loop->base[i % n].y / count;
    }
    for (size_t i = from; i <= to; i++) {
        const double dx = loop->base[i % n].x - middle.x;
        const double dy = loop->base[i % n].y - middle.y;
        xx += dx * dx;
        xy += dx * dy;
        yy += dy * dy;
    }
    const double angle = 0.5 * atan2(2.0 * xy, xx - yy);
    const size_t at[2] = {from, to};
    for (int k = 0; k < 2; k++) {
        const struct kb_point p = loop->base[at[k] % n];
        const double along = (p.x - middle.x) * cos(angle) + (p.y - middle.y) * sin(angle);
        end[k] = (struct kb_point){middle.x + along * cos(angle), middle.y + along * sin(angle)};
    }
}

/* The same along a stroke by hand: where it bends, a chain of lines from bend to bend. Corners at
 * the ends of a line are rounded; a long one goes by what lies between them, since a line from
 * corner to corner would take a strip off. */
static void follow_cut(const struct kb_loop *loop, struct kb_point *point, size_t fine,
                       size_t first, size_t last) {
    enum { CORNER = 4, LONG = 4 * CORNER }; /* places, about a pixel apart */
    const size_t places = fine * loop->count;
    const size_t bend = last >= first ? bend_of(loop, first, last) : 0;
    if (bend != 0) {
        point[fine * bend % places] = loop->base[bend % loop->count];
        follow_cut(loop, point, fine, first, bend - 1);
        follow_cut(loop, point, fine, bend + 1, last);
        return;
    }
    if (last < first + LONG) {
        draw_cut(loop, point, fine, first, last);
        return;
    }
    const size_t from = first + CORNER;
    const size_t to = last - CORNER;
    struct kb_point end[2];
    fit_line(loop, from, to, end);
    point[fine * from % places] = end[0];
    point[fine * to % places] = end[1];
    draw_cut(loop, point, fine, first, from - 1);
    draw_cut(loop, point, fine, from + 1, to - 1);
    draw_cut(loop, point, fine, to + 1, last);
}

/* Make cuts straight in `point`, which has `fine` points a place; false when all is cut. */
static bool straighten_cuts(const struct kb_loop *loop, struct kb_point *point, size_t fine,
                            bool by_hand) {
    size_t n = loop->count;
    size_t begin = 0;
    while (begin < n && loop->kind[begin] == KB_EDGE_CUT) {
        begin++;
    }
    for (size_t i = begin + 1; i < begin + n && begin < n; i++) {
        size_t last = i;
        while (loop->kind[last % n] == KB_EDGE_CUT) {
            last++;
        }
        if (last > i) {
            if (by_hand) {
                follow_cut(loop, point, fine, i, last - 1);
            } else {
                draw_cut(loop, point, fine, i, last - 1);
            }
            i = last;
        }
    }
    return begin < n;
}

static void finish(struct subpixel *sub, struct kb_curve_sums *sums) {
    kb_loop_draw(&sub->loop);
    (void)straighten_cuts(&sub->loop, sub->loop.fine, sub->loop.fine_count / sub->loop.count,
                          sub->beside != NULL);
    kb_curve_add(&sub->loop, sums);
}

/* The finished line, thinned to points about a pixel apart. */
static enum kb_status keep_outline(const struct subpixel *sub, uint32_t id, struct kb_err *err) {
    enum { LEAST = 16 }; /* points that still look round */
    struct kb_particles *to = sub->kept;
    const struct kb_loop *loop = &sub->loop;
    if (to == NULL) {
        return KB_OK;
    }
    const size_t wanted = (size_t)fmax(ceil(loop->length), LEAST);
    const size_t stride = loop->fine_count > wanted ? loop->fine_count / wanted : 1;
    const size_t count = (loop->fine_count + stride - 1) / stride;
    void *lines = to->outline;
    void *points = to->outline_point;
    if (!kb_grow(&lines, to->outlines, &to->outline_capacity, sizeof *to->outline)) {
        return kb_fail_memory(err, "morphology", sizeof *to->outline);
    }
    to->outline = lines;
    for (size_t i = 0; i < count; i++) {
        if (!kb_grow(&points, to->outline_points, &to->outline_point_capacity,
                     sizeof *to->outline_point)) {
            return kb_fail_memory(err, "morphology", sizeof *to->outline_point);
        }
        to->outline_point = points;
        const struct kb_point *at = &loop->fine[i * stride];
        to->outline_point[to->outline_points++] =
            (struct kb_outline_point){(float)at->x, (float)at->y};
    }
    to->outline[to->outlines++] = (struct kb_outline){id, to->outline_points - count, count};
    return KB_OK;
}

/* ---- one particle -----------------------------------------------------------------------------
 */

static double median(double *value, size_t count);

/* How one particle is to be looked at. */
struct view {
    bool shows_blur, shows_grey, gentle;
    double ratio; /* of the even division */
    struct kb_axes axes;
};

/* Direction of the region's major axis, from the middles of its border. */
static struct kb_axes axes_of(const struct kb_cracks *cracks) {
    struct kb_curve_sums sums = {0};
    struct kb_loop border = {.fine = cracks->middle, .fine_count = cracks->count};
    kb_curve_add(&border, &sums);
    return kb_curve_axes(&sums);
}

static struct view view_of(const struct kb_particle *particle, const struct kb_cracks *cracks) {
    double tip = particle->minor_px * particle->minor_px / (2.0 * particle->major_px);
    bool gentle =
        tip >= gentle_px || 2.0 * (particle->major_px + particle->minor_px) > model_length_px;
    const struct kb_axes nowhere = {.angle = 0.0}; /* not asked for then */
    return (struct view){
        .shows_blur = particle->minor_px >= shows_blur_px,
        .shows_grey = particle->minor_px >= shows_grey_px,
        .gentle = gentle,
        .ratio = gentle ? 1.0 : fmax(particle->minor_px / particle->major_px, least_ratio),
        .axes = gentle && particle->minor_px >= shows_blur_px ? nowhere : axes_of(cracks),
    };
}

/* Within a small particle the grey is its own only about the middle. */
static struct kb_core core_of(const struct kb_particle *particle, const struct view *view) {
    const double middle = 0.2; /* of the length, to both sides: the width is 92 % there */
    return (struct kb_core){
        .depth = fmin(own_depth_px, 0.5 * particle->minor_px),
        .centre = view->axes.centre,
        .along = {cos(view->axes.angle), sin(view->axes.angle)},
        .half_length = view->shows_blur ? HUGE_VAL : middle * particle->major_px,
    };
}

/* Follow the outer border with the blur and grey of the particle, or of the larger ones where it
 * cannot show them. False: no edge to speak of. */
static bool follow_outer(struct subpixel *sub, const struct kb_particle *particle,
                         const struct view *view, struct kb_edge_figures *figures) {
    const struct kb_core core = core_of(particle, view);
    if (!kb_edge_levels(&sub->rules, &sub->patch, &sub->mask, &core, &sub->loop, figures)) {
        return false;
    }
    if (!view->shows_grey) {
        double own = figures->outside - figures->inside;
        double theirs = figures->outside - sub->shown.median_inside;
        bool paler = own > 0.0 ? theirs > own : theirs < own; /* as narrow ones look */
        if (sub->shown.count == 0) {
            return false;
        }
        figures->inside = paler ? sub->shown.median_inside : figures->inside;
    }
    kb_edge_find(&sub->rules, &sub->patch, &sub->loop, figures);
    if (!view->shows_blur && sub->shown.count > 0) {
        figures->sigma = sub->shown.median_sigma;
    }
    return figures->found >= least_found && figures->sigma < softest_px &&
           straighten_cuts(&sub->loop, sub->loop.point, 1, sub->beside != NULL);
}

static bool outline_outer(struct subpixel *sub, const struct kb_particle *particle,
                          const struct view *view, struct kb_edge_figures *figures,
                          struct kb_curve_sums *sums) {
    if (!follow_outer(sub, particle, view, figures)) {
        return false;
    }
    kb_noise_remove(&sub->loop, figures->sigma);
    if (view->gentle) {
        kb_deblur_gentle(&sub->loop, figures->sigma);
    } else {
        /* half of the true step, or of what the middle shows of it */
        double level = view->shows_grey ? 0.0 : 0.5;
        const struct kb_shares shares = {&sub->patch, figures->inside, figures->outside};
        if (!kb_deblur_model(&sub->loop, figures->sigma, level, &shares)) {
            return false;
        }
    }
    finish(sub, sums);
    return true;
}

/* A hole that was left open, with the inside and blur of the whole. */
static bool outline_hole(struct subpixel *sub, const struct kb_edge_figures *outer,
                         struct kb_curve_sums *sums) {
    struct kb_edge_figures figures = *outer;
    if (!kb_edge_ground(&sub->rules, &sub->patch, &sub->loop, &figures)) {
        return false;
    }
    kb_edge_find(&sub->rules, &sub->patch, &sub->loop, &figures);
    if (figures.found < least_found ||
        !straighten_cuts(&sub->loop, sub->loop.point, 1, sub->beside != NULL)) {
        return false;
    }
    kb_noise_remove(&sub->loop, outer->sigma);
    kb_deblur_gentle(&sub->loop, outer->sigma);
    finish(sub, sums);
    return true;
}

/* Whether the border that was walked is an outer one: those run the other way than holes. */
static bool is_outer(const struct kb_cracks *cracks) {
    struct kb_curve_sums sums = {0};
    const struct kb_loop border = {.fine = cracks->middle, .fine_count = cracks->count};
    kb_curve_add(&border, &sums);
    return sums.area > 0.0;
}

/* The part of a particle that its border at hand encloses: the particle, unless it is in parts. */
static struct kb_particle part_at_hand(const struct subpixel *sub,
                                       const struct kb_particle *particle) {
    struct kb_particle part = *particle;
    if (sub->apart) {
        const struct kb_axes axes = axes_of(&sub->cracks);
        part.major_px = 2.0 * axes.semi_a;
        part.minor_px = 2.0 * axes.semi_b;
    }
    return part;
}

/* Hull of the finished outer border; of all of them where there are several. */
static enum kb_status take_hull(struct subpixel *sub, struct kb_err *err) {
    enum kb_status status = kb_hull_make_of(sub->loop.fine, sub->loop.fine_count, &sub->hull, err);
    for (size_t i = 0; i < sub->hull.count && status == KB_OK && sub->apart; i++) {
        void *items = sub->corner;
        if (!kb_grow(&items, sub->corners, &sub->corner_capacity, sizeof *sub->corner)) {
            return kb_fail_memory(err, "morphology", sizeof *sub->corner);
        }
        sub->corner = items;
        sub->corner[sub->corners++] = sub->hull.corner[i];
    }
    return status == KB_OK && sub->apart
               ? kb_hull_make_of(sub->corner, sub->corners, &sub->hull, err)
               : status;
}

/* One loop: the outer border of the particle, of a part of it, or a hole. */
static enum kb_status outline_loop(struct subpixel *sub, const struct kb_particle *particle,
                                   bool first, struct kb_edge_figures *figures,
                                   struct kb_curve_sums *sums, bool *good, struct kb_err *err) {
    struct view view = {.ratio = 1.0};
    const bool outer = first || (sub->apart && is_outer(&sub->cracks));
    kb_cracks_smooth(&sub->cracks);
    const struct kb_particle part = outer ? part_at_hand(sub, particle) : *particle;
    if (outer) {
        view = view_of(&part, &sub->cracks);
    }
    enum kb_status status =
        kb_loop_divide(&sub->loop, &sub->cracks, view.ratio, view.axes.angle, err);
    if (status != KB_OK) {
        return status;
    }
    *good =
        outer ? outline_outer(sub, &part, &view, figures, sums) : outline_hole(sub, figures, sums);
    status = *good ? keep_outline(sub, particle->id, err) : KB_OK;
    /* the hull puts the points in another order, and so comes last */
    return status == KB_OK && *good && outer ? take_hull(sub, err) : status;
}

/* Draw every loop of the region; *good false when one cannot be followed. An outer border comes
 * first. */
static enum kb_status outline(struct subpixel *sub, const struct kb_particle *particle,
                              struct kb_edge_figures *figures, struct kb_curve_sums *sums,
                              bool *good, struct kb_err *err) {
    enum kb_status status = kb_border_draw(&sub->mask, particle->box, &sub->spans, err);
    if (status == KB_OK) {
        status = kb_patch_take(&sub->patch, sub->grey, particle->box, err);
    }
    *good = true;
    sub->corners = 0;
    for (size_t i = 0; i < sub->spans.count && status == KB_OK && *good; i++) {
        bool walked = false;
        status = kb_border_walk(&sub->mask, &sub->spans.item[i], sub->rules.label, sub->beside,
                                &sub->cracks, &walked, err);
        if (status != KB_OK || !walked) {
            continue;
        }
        *good = sub->cracks.count >= LEAST_SIDES;
        if (*good) {
            status = outline_loop(sub, particle, i == 0, figures, sums, good, err);
        }
    }
    return status;
}

static void take_figures(const struct subpixel *sub, const struct kb_curve_sums *sums,
                         struct kb_particle *particle) {
    const struct kb_axes axes = kb_curve_axes(sums);
    kb_feret_measure(&sub->hull, 0.0, particle);
    double area = sums->area;
    double feret = particle->feret_max_px;
    particle->area_px2 = area;
    particle->perimeter_px = sums->perimeter;
    particle->x_px = axes.centre.x;
    particle->y_px = axes.centre.y;
    particle->major_px = 2.0 * axes.semi_a;
    particle->minor_px = 2.0 * axes.semi_b;
    particle->diameter_px = sqrt(4.0 * area / KB_PI);
    particle->shape_factor = fmin(4.0 * area / (KB_PI * feret * feret), 1.0);
    particle->circularity = fmin(4.0 * KB_PI * area / (sums->perimeter * sums->perimeter), 1.0);
    particle->solidity = fmin(area / kb_hull_area(&sub->hull), 1.0);
    particle->subpixel = true;
}

/* Whether the outline stayed by the border: all of it moved by less than the reach. */
static bool plausible(const struct kb_particle *particle, const struct kb_curve_sums *sums,
                      double reach_px) {
    return fabs(sums->area - particle->area_px2) <= reach_px * particle->perimeter_px &&
           sums->area > 0.0;
}

static enum kb_status measure(struct subpixel *sub, struct kb_particle *particle,
                              struct kb_err *err) {
    struct kb_edge_figures figures = {0};
    struct kb_curve_sums sums = {0};
    bool good = false;
    const size_t lines = sub->kept != NULL ? sub->kept->outlines : 0;
    const size_t points = sub->kept != NULL ? sub->kept->outline_points : 0;
    enum kb_status status = outline(sub, particle, &figures, &sums, &good, err);
    if (status != KB_OK || !good || !plausible(particle, &sums, sub->rules.reach_px)) {
        if (sub->kept != NULL) { /* measured by pixels, drawn so */
            sub->kept->outlines = lines;
            sub->kept->outline_points = points;
        }
        return status;
    }
    if (particle->minor_px >= shows_blur_px && !sub->apart) {
        sub->shown.sigma[sub->shown.count] = figures.sigma;
        sub->shown.inside[sub->shown.count++] = figures.inside;
    }
    take_figures(sub, &sums, particle);
    kb_state_settle(&sub->spans, sub->rules.label, NULL, sub->px_um, sub->min_feret_um, particle);
    return KB_OK;
}

/* ---- all particles ----------------------------------------------------------------------------
 */

static int by_value(const void *left, const void *right) {
    double a = *(const double *)left;
    double b = *(const double *)right;
    return (a > b) - (a < b);
}

static double median(double *value, size_t count) {
    qsort(value, count, sizeof *value, by_value);
    return 0.5 * (value[(count - 1) / 2] + value[count / 2]);
}

static bool can_be_followed(const struct kb_particle *particle) {
    return particle->state != KB_ON_FRAME && particle->state != KB_ON_EXCLUSION &&
           particle->minor_px >= least_across_px &&
           (int64_t)particle->box.width * particle->box.height <= largest_box;
}

/* Whether what was joined by hand hangs together. */
static enum kb_status look_apart(struct subpixel *sub, const struct kb_particles *out,
                                 struct kb_err *err) {
    struct kb_runs runs = {0};
    enum kb_status status = kb_spans_regions(&sub->spans, out->width, out->height, &runs, err);
    sub->apart = runs.regions > 1;
    kb_runs_release(&runs);
    return status;
}

/* Measure the particles that show their own blur, or those that do not, with those
 * joined by hand, whose parts may be small. */
static enum kb_status measure_some(struct subpixel *sub, bool large,
                                   const struct kb_run_order *order, struct kb_particles *out,
                                   struct kb_err *err) {
    enum kb_status status = KB_OK;
    for (uint32_t i = 0; i < out->count && status == KB_OK; i++) {
        struct kb_particle *particle = &out->particle[i];
        if (particle->subpixel || !can_be_followed(particle) ||
            (particle->minor_px >= shows_blur_px && !particle->joined_by_hand) != large) {
            continue;
        }
        status = kb_spans_take(&sub->spans, &out->runs, order, i, err);
        sub->beside = particle->cut_by_hand ? &out->runs : NULL;
        sub->apart = false;
        if (status == KB_OK && particle->joined_by_hand) {
            status = look_apart(sub, out, err);
        }
        if (status == KB_OK) {
            status = measure(sub, particle, err);
        }
    }
    return status;
}

static void release(struct subpixel *sub) {
    kb_spans_release(&sub->spans);
    kb_hull_release(&sub->hull);
    kb_free(sub->mask.px);
    kb_free(sub->cracks.middle);
    kb_free(sub->cracks.scratch);
    kb_free(sub->cracks.cut);
    kb_free(sub->loop.base); /* the one block of all its arrays */
    kb_free(sub->patch.px);
    kb_free(sub->patch.row);
    kb_free(sub->shown.sigma);
    kb_free(sub->shown.inside);
    kb_free(sub->corner);
}

enum kb_status kb_subpixel_run(const struct kb_image *grey, const struct kb_image *label,
                               const struct kb_morphology_params *params,
                               const struct kb_run_order *order, struct kb_particles *out,
                               struct kb_err *err) {
    if (out->count == 0) {
        return KB_OK;
    }
    struct subpixel sub = {
        .grey = grey,
        .rules = {label, params->outline_reach_px, params->outline_contrast},
        .px_um = out->px_um,
        .min_feret_um = params->min_feret_um,
        .kept = params->keep_outlines ? out : NULL,
        .shown = {.sigma = kb_alloc(out->count, sizeof(double)),
                  .inside = kb_alloc(out->count, sizeof(double))},
    };
    enum kb_status status = KB_OK;
    if (sub.shown.sigma == NULL || sub.shown.inside == NULL) {
        status = kb_fail_memory(err, "morphology", out->count * sizeof(double));
    }
    if (status == KB_OK) {
        status = measure_some(&sub, true, order, out, err);
    }
    if (status == KB_OK && sub.shown.count > 0) {
        sub.shown.median_sigma = median(sub.shown.sigma, sub.shown.count);
        sub.shown.median_inside = median(sub.shown.inside, sub.shown.count);
    }
    if (status == KB_OK) {
        status = measure_some(&sub, false, order, out, err);
    }
    release(&sub);
    return status;
}
