/* why.c - the way of chosen points to their phases, told step by step.
 *
 * After each step of segment.c that may have changed labels the points are asked again, so that the
 * cost is that of the points and nothing without them. Steps that decide by regions tell their own
 * figures (graphite.c, pearlite.c, clean.c, single.c, by_hand.c) through kb_seg_why_next(); what is
 * decided by the pixel or its surroundings is told here. Where the labels are made once more the
 * story starts again behind a line that says why.
 *
 * Greys are given on the file's own scale, as thresholds are. The local mean is that of the step
 * "pearlite as regions"; the local contrast beside it, the standard deviation over the same window,
 * decides nothing: it is what the eye sees first.
 */
#include "segmentation_priv.h"

#include <math.h>
#include <stdarg.h>
#include <string.h>

void kb_why_add(struct kb_why *why, const struct kb_why_step *step, const char *format, ...) {
    if (why->steps == KB_WHY_STEPS) {
        return;
    }
    struct kb_why_step *fresh = &why->step[why->steps++];
    *fresh = *step;
    va_list args;
    va_start(args, format);
    (void)vsnprintf(fresh->says, sizeof fresh->says, format, args);
    va_end(args);
}

static enum kb_phase label_at(const struct kb_seg *seg, const struct kb_why *why) {
    return (enum kb_phase)kb_row(&seg->map->label, why->y)[why->x];
}

static enum kb_phase last_phase(const struct kb_why *why) {
    return why->steps > 0 ? why->step[why->steps - 1].to : KB_SEG_UNDECIDED;
}

struct kb_why_step kb_seg_why_step(const struct kb_why *why, const char *step, enum kb_phase to) {
    return (struct kb_why_step){
        .step = step,
        .from = last_phase(why),
        .to = to,
        .figure = (double)NAN,
        .limit = (double)NAN,
        .unit = "",
    };
}

struct kb_why *kb_seg_why_next(const struct kb_seg *seg, struct kb_why *before) {
    struct kb_why *next = before == NULL ? seg->map->why : before + 1;
    for (; next < seg->map->why + seg->map->whys; next++) {
        if (last_phase(next) != KB_EXCLUDED) {
            return next;
        }
    }
    return NULL;
}

enum kb_status kb_seg_why_begin(struct kb_seg *seg, struct kb_err *err) {
    const size_t count = seg->params->whys;
    if (count == 0) {
        return KB_OK;
    }
    seg->map->why = kb_alloc_zero(count, sizeof *seg->map->why);
    if (seg->map->why == NULL) {
        return kb_fail_memory(err, KB_SEG_STAGE, count * sizeof *seg->map->why);
    }
    const struct kb_image *label = &seg->map->label;
    for (size_t i = 0; i < count; i++) {
        struct kb_why *why = &seg->map->why[i];
        why->x = seg->params->why[i].x;
        why->y = seg->params->why[i].y;
        if (why->x < 0 || why->y < 0 || why->x >= label->width || why->y >= label->height) {
            return kb_fail(err, KB_E_USAGE, KB_SEG_STAGE, NULL,
                           "the point %d,%d to be explained lies outside the picture of %d x %d "
                           "pixels (give x,y from its upper left corner)",
                           (int)why->x, (int)why->y, (int)label->width, (int)label->height);
        }
        seg->map->whys = i + 1;
        if (label_at(seg, why) == KB_EXCLUDED) {
            const struct kb_why_step step = kb_seg_why_step(why, "left out", KB_EXCLUDED);
            kb_why_add(why, &step, "left out of every figure before any phase was looked for");
        }
    }
    return KB_OK;
}

/* ---- grey --------------------------------------------------------------------------------------
 */

enum kb_status kb_seg_why_grey(struct kb_seg *seg, struct kb_err *err) {
    if (seg->map->whys == 0) {
        return KB_OK;
    }
    uint8_t *row = kb_alloc((size_t)seg->grey.width, 1);
    if (row == NULL) {
        return kb_fail_memory(err, KB_SEG_STAGE, (size_t)seg->grey.width);
    }
    for (struct kb_why *why = NULL; (why = kb_seg_why_next(seg, why)) != NULL;) {
        kb_seg_even_row(seg, why->y, row);
        const double taken = kb_seg_to_file(seg, kb_row(&seg->field->grey, why->y)[why->x]);
        const double evened = kb_seg_to_file(seg, row[why->x]);
        struct kb_why_step step = kb_seg_why_step(why, "evened grey", last_phase(why));
        step.figure = kb_seg_to_file(seg, kb_row(&seg->grey, why->y)[why->x]);
        step.unit = "grey level";
        kb_why_add(why, &step,
                   "grey %.4g as taken; %.4g %s; %.4g when the median of 3 x 3 pixels%s has "
                   "taken off noise",
                   taken, evened,
                   seg->map->figures.evened ? "with the light evened" : "(light not evened)",
                   step.figure, seg->noise_is_strong ? " and a smoothing" : "");
    }
    seg->why_kept = 1;
    kb_free(row);
    return KB_OK;
}

/* Which class a grey level falls in, as classify.c has it. */
static int class_of(const struct kb_seg *seg, int level) {
    const int last = seg->scheme.classes - 1;
    int class = 0;
    while (class < last && level > seg->threshold[class]) {
        class ++;
    }
    return class;
}

static void tell_class(const struct kb_seg *seg, struct kb_why *why) {
    const struct kb_segmentation_figures *f = &seg->map->figures;
    const int level = kb_row(&seg->grey, why->y)[why->x];
    const int class = class_of(seg, level);
    const char *phase = kb_phase_name(seg->scheme.phase[class]);
    struct kb_why_step step = kb_seg_why_step(why, "grey level", seg->scheme.phase[class]);
    step.figure = kb_seg_to_file(seg, level);
    step.unit = "grey level";
    if (class > 0 && class < seg->scheme.classes - 1) {
        const bool lower = level - seg->threshold[0] <= seg->threshold[1] - level;
        step.limit = f->threshold[lower ? 0 : 1];
        kb_why_add(why, &step, "grey %.4g lies between the thresholds %.4g and %.4g: %s",
                   step.figure, f->threshold[0], f->threshold[1], phase);
        return;
    }
    const int cut = class == 0 ? 0 : class - 1;
    step.limit = f->threshold[cut];
    kb_why_add(why, &step, "grey %.4g lies on the %s side of the threshold %.4g%s: %s", step.figure,
               class == 0 ? "dark" : "bright", step.limit,
               f->origin[cut] == KB_THRESHOLD_BY_HAND ? ", which was set by hand" : "", phase);
}

void kb_seg_why_classes(const struct kb_seg *seg, int mid_grey, int longest) {
    for (struct kb_why *why = NULL; (why = kb_seg_why_next(seg, why)) != NULL;) {
        tell_class(seg, why);
        const enum kb_phase now = label_at(seg, why);
        if (now == last_phase(why)) {
            continue;
        }
        struct kb_why_step step = kb_seg_why_step(why, "blurred rim", now);
        step.figure = kb_seg_to_file(seg, kb_row(&seg->grey, why->y)[why->x]);
        step.limit = kb_seg_to_file(seg, mid_grey);
        step.unit = "grey level";
        kb_why_add(
            why, &step,
            "in a passage of at most %d px from %s to %s, as blur makes them, not a layer of "
            "%s: by the mid-grey %.4g it is %s",
            longest, kb_phase_name(seg->scheme.phase[0]), kb_phase_name(seg->scheme.phase[2]),
            kb_phase_name(step.from), step.limit, kb_phase_name(now));
    }
}

void kb_seg_why_again(const struct kb_seg *seg, const char *because) {
    for (struct kb_why *why = NULL; (why = kb_seg_why_next(seg, why)) != NULL;) {
        why->steps = seg->why_kept;
        struct kb_why_step step = kb_seg_why_step(why, "second look", KB_SEG_UNDECIDED);
        step.limit = seg->map->figures.threshold[seg->scheme.classes - 2];
        step.unit = "grey level";
        kb_why_add(why, &step,
                   "%s: the threshold in the matrix goes to %.4g, and the labels are "
                   "made once more",
                   because, step.limit);
    }
}

/* ---- surroundings ------------------------------------------------------------------------------
 */

struct surroundings {
    double mean, contrast; /* file grey */
};

/* Mean and standard deviation of the matrix about a point, in the window of local_means(). */
static struct surroundings look_around(const struct kb_seg *seg, const struct kb_why *why,
                                       int32_t radius) {
    const struct kb_image *grey = &seg->grey;
    const int32_t x0 = why->x > radius ? why->x - radius : 0;
    const int32_t x1 = why->x < grey->width - radius ? why->x + radius + 1 : grey->width;
    const int32_t y0 = why->y > radius ? why->y - radius : 0;
    const int32_t y1 = why->y < grey->height - radius ? why->y + radius + 1 : grey->height;
    double n = 0.0;
    double sum = 0.0;
    double squares = 0.0;
    for (int32_t y = y0; y < y1; y++) {
        const uint8_t *level = kb_row(grey, y);
        const uint8_t *label = kb_row(&seg->map->label, y);
        for (int32_t x = x0; x < x1; x++) {
            const bool matrix = label[x] == KB_PEARLITE || label[x] == seg->scheme.plain;
            n += matrix ? 1.0 : 0.0;
            sum += matrix ? (double)level[x] : 0.0;
            squares += matrix ? (double)level[x] * (double)level[x] : 0.0;
        }
    }
    const double mean = sum / fmax(n, 1.0);
    const double spread = sqrt(fmax(squares / fmax(n, 1.0) - mean * mean, 0.0));
    const double level = kb_seg_to_file(seg, 1.0) - kb_seg_to_file(seg, 0.0);
    return (struct surroundings){kb_seg_to_file(seg, floor(mean + 0.5)), spread * level};
}

void kb_seg_why_around(const struct kb_seg *seg, int32_t radius) {
    for (struct kb_why *why = NULL; (why = kb_seg_why_next(seg, why)) != NULL;) {
        const enum kb_phase phase = last_phase(why);
        if (phase != KB_PEARLITE && phase != seg->scheme.plain) {
            continue;
        }
        const struct surroundings around = look_around(seg, why, radius);
        struct kb_why_step step = kb_seg_why_step(why, "surroundings", phase);
        step.figure = around.mean;
        step.unit = "grey level";
        kb_why_add(why, &step,
                   "the matrix over %.3g um about it has a mean grey of %.4g and a local contrast "
                   "(standard deviation) of %.3g",
                   seg->params->colony_um, around.mean, around.contrast);
    }
}

/* What closing the lamellae meant for a point of the matrix. */
static void tell_closing(const struct kb_seg *seg, const struct kb_seg_closing *closing,
                         struct kb_why *why) {
    const enum kb_phase was = last_phase(why);
    const enum kb_phase now = label_at(seg, why);
    struct kb_why_step step = kb_seg_why_step(why, "resolved lamellae", now);
    step.figure = look_around(seg, why, closing->radius).mean;
    step.limit = closing->one_hill ? (double)NAN : kb_seg_to_file(seg, closing->cut);
    step.unit = "grey level";
    if (closing->colonies) {
        if (now != was) {
            step.limit = kb_seg_to_file(seg, closing->cut);
            kb_why_add(
                why, &step,
                "a stripe of at most %.3g um beside lamellae as thin; the local mean %.4g is "
                "well on pearlite's side, beyond %.4g: pearlite",
                seg->params->line_um, step.figure, step.limit);
        }
    } else if (now != was && closing->one_hill) {
        kb_why_add(why, &step,
                   "a bright stripe between dark lamellae, in a matrix whose local mean has one "
                   "hill: pearlite");
    } else if (now != was) {
        kb_why_add(why, &step,
                   "a bright stripe of at most %.3g um between dark lamellae; the local mean %.4g "
                   "is on pearlite's side of %.4g: pearlite",
                   0.5 * seg->params->colony_um, step.figure, step.limit);
    } else if (was == seg->scheme.plain && !closing->one_hill) {
        const bool pearlite = closing->dark == (step.figure <= step.limit);
        kb_why_add(why, &step, "no stripe between lamellae: %s",
                   pearlite ? "wider than half a colony" : "the local mean is not pearlite's");
    }
}

void kb_seg_why_closed(const struct kb_seg *seg, const struct kb_seg_closing *closing) {
    for (struct kb_why *why = NULL; (why = kb_seg_why_next(seg, why)) != NULL;) {
        const enum kb_phase phase = last_phase(why);
        if (phase == KB_PEARLITE || phase == seg->scheme.plain) {
            tell_closing(seg, closing, why);
        }
    }
}

/* ---- dark lines --------------------------------------------------------------------------------
 */

/* Shortest of four chords of a phase through a point, pixels. */
static double narrowest(const struct kb_image *label, const struct kb_why *why) {
    static const int32_t dx[4] = {1, 0, 1, 1};
    static const int32_t dy[4] = {0, 1, 1, -1};
    const uint8_t phase = kb_row(label, why->y)[why->x];
    double least = (double)(label->width + label->height);
    for (int i = 0; i < 4; i++) {
        int32_t length = 1;
        for (int32_t sign = -1; sign <= 1; sign += 2) {
            int32_t x = why->x + sign * dx[i];
            int32_t y = why->y + sign * dy[i];
            while (x >= 0 && y >= 0 && x < label->width && y < label->height &&
                   kb_row(label, y)[x] == phase) {
                length++;
                x += sign * dx[i];
                y += sign * dy[i];
            }
        }
        least = fmin(least, (double)length * sqrt((double)(dx[i] * dx[i] + dy[i] * dy[i])));
    }
    return least;
}

void kb_seg_why_lines(const struct kb_seg *seg, const struct kb_bits *lines, double width_um) {
    for (struct kb_why *why = NULL; (why = kb_seg_why_next(seg, why)) != NULL;) {
        const uint64_t word = kb_bits_row(lines, why->y)[why->x / 64];
        if ((word >> (why->x % 64) & 1) == 0) {
            continue;
        }
        struct kb_why_step step = kb_seg_why_step(why, "line, not a phase", seg->scheme.plain);
        step.figure = narrowest(&seg->map->label, why) * seg->px_um;
        step.limit = width_um;
        step.unit = "um";
        kb_why_add(why, &step,
                   "%.2g um across here: of what is narrower than %.3g um nothing stays pearlite, "
                   "it is boundary, scratch or a junction of them: %s",
                   step.figure, width_um, kb_phase_name(seg->scheme.plain));
    }
}

void kb_seg_why_border(const struct kb_seg *seg, double shift_um) {
    for (struct kb_why *why = NULL; (why = kb_seg_why_next(seg, why)) != NULL;) {
        struct kb_why_step step = kb_seg_why_step(why, "line on the border", seg->scheme.plain);
        if (step.from != KB_PEARLITE || kb_row(&seg->map->label, why->y)[why->x] != step.to) {
            continue;
        }
        step.figure = shift_um;
        step.unit = "um";
        kb_why_add(why, &step,
                   "a line runs along the border of pearlite and made it too wide by %.2g um; half "
                   "of a line belongs to either side, so that this point is %s",
                   step.figure, kb_phase_name(step.to));
    }
}
