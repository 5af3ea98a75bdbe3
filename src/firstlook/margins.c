/* margins.c - even margins and data bars, peeled off the sides of the frame one after the other.
 *
 * A margin is a row of lines, from the side inwards, that are black or white all along, and ends
 * with a step: just behind it most of the line is different. Without the step it is structure that
 * happens to be burnt out or black at the side, and is left alone. Peeling goes on until no side
 * has a margin or a bar any more, since bars have margins and margins have bars.
 */
#include "firstlook_priv.h"

struct kb_firstlook_lines kb_firstlook_lines_of(const struct kb_image *grey, struct kb_rect inside,
                                                enum kb_firstlook_side side) {
    const uint8_t *corner = kb_row(grey, inside.y) + inside.x;
    ptrdiff_t row = (ptrdiff_t)grey->stride;
    switch (side) {
    case KB_TOP:
        return (struct kb_firstlook_lines){corner, 1, row, inside.width, inside.height};
    case KB_BOTTOM:
        return (struct kb_firstlook_lines){corner + row * (inside.height - 1), 1, -row,
                                           inside.width, inside.height};
    case KB_LEFT:
        return (struct kb_firstlook_lines){corner, row, 1, inside.height, inside.width};
    default:
        return (struct kb_firstlook_lines){corner + inside.width - 1, row, -1, inside.height,
                                           inside.width};
    }
}

struct kb_rect kb_firstlook_strip(struct kb_rect inside, enum kb_firstlook_side side,
                                  int32_t depth) {
    struct kb_rect strip = inside;
    if (side == KB_TOP || side == KB_BOTTOM) {
        strip.height = depth;
        strip.y += side == KB_BOTTOM ? inside.height - depth : 0;
    } else {
        strip.width = depth;
        strip.x += side == KB_RIGHT ? inside.width - depth : 0;
    }
    return strip;
}

struct kb_rect kb_firstlook_rest(struct kb_rect inside, enum kb_firstlook_side side,
                                 int32_t depth) {
    struct kb_rect rest = inside;
    if (side == KB_TOP || side == KB_BOTTOM) {
        rest.height -= depth;
        rest.y += side == KB_TOP ? depth : 0;
    } else {
        rest.width -= depth;
        rest.x += side == KB_LEFT ? depth : 0;
    }
    return rest;
}

double kb_firstlook_line_share(const struct kb_firstlook_lines *lines, int32_t line, int level,
                               int waver) {
    const uint8_t *px = lines->first + lines->inward * line;
    int32_t count = 0;
    for (int32_t i = 0; i < lines->length; i++) {
        int off = px[lines->along * i] - level;
        count += off <= waver && off >= -waver;
    }
    return count / (double)lines->length;
}

const char *kb_firstlook_side_name(enum kb_firstlook_side side) {
    static const char *const name[KB_SIDES] = {"top", "bottom", "left", "right"};
    return name[side];
}

/* ---- margins -----------------------------------------------------------------------------------
 */

/* Lines from the side inwards that are even in `level`. */
static int32_t even_lines(const struct kb_firstlook_frame *frame,
                          const struct kb_firstlook_lines *lines, int level) {
    static const double all = 0.995; /* a speck of dust on the scan is no structure */
    int32_t depth = 0;
    while (depth < lines->depth &&
           kb_firstlook_line_share(lines, depth, level, frame->waver) >= all) {
        depth++;
    }
    return depth;
}

/* Whether most of the lines just behind are different. The first is skipped: it may be mixed. */
static bool steps(const struct kb_firstlook_frame *frame, const struct kb_firstlook_lines *lines,
                  int32_t depth, int level) {
    enum { LOOK = 4 };               /* lines */
    static const double like = 0.75; /* share that may still look like the margin */
    double share = 0.0;
    for (int32_t i = 1; i <= LOOK; i++) {
        int32_t line = depth + i < lines->depth ? depth + i : lines->depth - 1;
        share += kb_firstlook_line_share(lines, line, level, 2 * frame->waver) / LOOK;
    }
    return share < like;
}

static int32_t margin_depth(const struct kb_firstlook_frame *frame, enum kb_firstlook_side side) {
    const int least = 2; /* lines: one dark line is a sensor's edge */
    struct kb_firstlook_lines lines =
        kb_firstlook_lines_of(kb_firstlook_grey(frame), frame->inside, side);
    int level = lines.first[lines.along * (lines.length / 2)] < 128 ? 0 : 255;
    int32_t depth = even_lines(frame, &lines, level);
    if (depth == lines.depth) {
        return depth;
    }
    return depth >= least && steps(frame, &lines, depth, level) ? depth : 0;
}

/* ---- peeling -----------------------------------------------------------------------------------
 */

static enum kb_status take(struct kb_firstlook_frame *frame, enum kb_mark_kind kind,
                           enum kb_firstlook_side side, int32_t depth, struct kb_err *err) {
    struct kb_rect strip = kb_firstlook_strip(frame->inside, side, depth);
    enum kb_status status = kb_firstlook_note_box(frame, kind, strip, 0.0, err);
    frame->inside = kb_firstlook_rest(frame->inside, side, depth);
    return status;
}

/* A scale bar in a data bar is noted for its length; the strip is left out in any case. Its ink is
 * brighter than the ground or darker. */
static enum kb_status look_for_scale_bar(const struct kb_firstlook_frame *frame,
                                         struct kb_rect strip, int level, struct kb_err *err) {
    enum { APART = 96 }; /* levels: half-way from ground to any ink that is used on it */
    const struct kb_firstlook_ink inks[] = {{level + APART, 255}, {0, level - APART}};
    int32_t least = strip.width / 32 > 20 ? strip.width / 32 : 20;
    struct kb_firstlook_bar best = {.length_px = 0.0};
    for (size_t i = 0; i < sizeof inks / sizeof *inks; i++) {
        if (inks[i].low > inks[i].high) {
            continue;
        }
        struct kb_firstlook_bar bar =
            kb_firstlook_find_bar(kb_firstlook_grey(frame), NULL, strip, inks[i], least, true);
        best = bar.length_px > best.length_px ? bar : best;
    }
    return best.length_px > 0.0
               ? kb_firstlook_note(frame, KB_MARK_SCALE_BAR, best.box, best.length_px, err)
               : KB_OK;
}

static enum kb_status peel(struct kb_firstlook_frame *frame, enum kb_firstlook_side side,
                           bool *peeled, struct kb_err *err) {
    int32_t depth = margin_depth(frame, side);
    if (depth ==
        (side == KB_TOP || side == KB_BOTTOM ? frame->inside.height : frame->inside.width)) {
        return kb_fail(err, KB_E_UNFIT, "firstlook", frame->field->path,
                       "nothing in the frame is specimen: it is even black or white (check the "
                       "exposure and the file)");
    }
    if (depth > 0) {
        *peeled = true;
        return take(frame, KB_MARK_MARGIN, side, depth, err);
    }
    int level = 0;
    enum kb_status status = kb_firstlook_data_bar(frame, side, &depth, &level, err);
    if (status != KB_OK || depth == 0) {
        return status;
    }
    *peeled = true;
    struct kb_rect strip = kb_firstlook_strip(frame->inside, side, depth);
    status = take(frame, KB_MARK_DATA_BAR, side, depth, err);
    return status == KB_OK ? look_for_scale_bar(frame, strip, level, err) : status;
}

enum kb_status kb_firstlook_strips(struct kb_firstlook_frame *frame, struct kb_err *err) {
    enum { ROUNDS = 4 }; /* margin, bar, margin, and one to see that there is no more */
    enum kb_status status = KB_OK;
    bool peeled = true;
    for (int round = 0; status == KB_OK && peeled && round < ROUNDS; round++) {
        peeled = false;
        for (int side = 0; status == KB_OK && side < KB_SIDES; side++) {
            status = peel(frame, (enum kb_firstlook_side)side, &peeled, err);
        }
    }
    return status;
}
