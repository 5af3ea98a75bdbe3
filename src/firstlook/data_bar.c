/* data_bar.c - an instrument's strip of lettering along a side of the frame.
 *
 * The strip has a ground of one even level, whatever it is, which the outermost lines show, and
 * legible lettering on it. It is followed inwards line by line: a line belongs while half of it or
 * more is ground, or while it is a separator, even in some other level. Four things must then be
 * so, or there is no bar: it is at least eight lines and at most a third of the frame deep; its
 * inner end is a step, ground before and picture behind; the lettering covers a share that
 * lettering can cover; and it falls into several pieces along the strip. A burnt-out or black part
 * of the specimen at the side fails the step, a margin the lettering.
 */
#include "firstlook_priv.h"

#include <stdlib.h>

#define DEPTH_LEAST 8 /* lines: letters of seven pixels are the smallest that are drawn */
#define GAP_MOST 3    /* lines in a row that belong to neither: soft separators */

struct bar {
    const struct kb_firstlook_lines *lines;
    int level; /* of the ground */
    int waver;
    int32_t depth_most;
};

static void count_line(const struct kb_firstlook_lines *lines, int32_t line, uint32_t bins[256]) {
    const uint8_t *px = lines->first + lines->inward * line;
    for (int32_t i = 0; i < lines->length; i++) {
        bins[px[lines->along * i]]++;
    }
}

/* The level about which most pixels lie; their share goes to *share. */
static int main_level(const uint32_t bins[256], int waver, double *share) {
    uint32_t total = 0, best = 0, most = 0;
    for (int i = 0; i < 256; i++) {
        total += bins[i];
    }
    int level = 0;
    for (int i = 0; i < 256; i++) {
        uint32_t sum = 0;
        for (int j = i - waver; j <= i + waver; j++) {
            sum += j >= 0 && j < 256 ? bins[j] : 0;
        }
        if (sum > best || (sum == best && bins[i] > most)) {
            best = sum;
            most = bins[i];
            level = i;
        }
    }
    *share = total > 0 ? best / (double)total : 0.0;
    return level;
}

static bool ground_at_side(struct bar *bar) {
    static const double ground_least = 0.6;
    uint32_t bins[256] = {0};
    /* A fiftieth of the frame is less than any strip that can be read. */
    int32_t look = bar->lines->depth / 50 > DEPTH_LEAST ? bar->lines->depth / 50 : DEPTH_LEAST;
    for (int32_t i = 0; i < look && i < bar->lines->depth; i++) {
        count_line(bar->lines, i, bins);
    }
    double share = 0.0;
    bar->level = main_level(bins, bar->waver, &share);
    return share >= ground_least;
}

static bool is_separator(const struct bar *bar, int32_t line) {
    static const double all = 0.9;
    uint32_t bins[256] = {0};
    double share = 0.0;
    count_line(bar->lines, line, bins);
    int level = main_level(bins, bar->waver, &share);
    return share >= all && abs(level - bar->level) >= KB_FIRSTLOOK_LEGIBLE;
}

static double ground_share(const struct bar *bar, int32_t line) {
    return kb_firstlook_line_share(bar->lines, line, bar->level, bar->waver);
}

/* Lines that belong to the strip; 0 when it does not end within the depth allowed. */
static int32_t follow(const struct bar *bar) {
    static const double ground_least = 0.5;
    int32_t end = 0;
    for (int32_t line = 0; line <= end + GAP_MOST; line++) {
        if (line > bar->depth_most) {
            return 0;
        }
        if (ground_share(bar, line) >= ground_least || is_separator(bar, line)) {
            end = line + 1;
        }
    }
    return end;
}

/* Ground or separator before the end, picture behind it. */
static bool ends_in_step(const struct bar *bar, int32_t end) {
    enum { LOOK = 8 };
    static const double ground_least = 0.85, ground_most = 0.5;
    double behind = 0.0;
    for (int32_t i = 1; i <= LOOK; i++) {
        behind += ground_share(bar, end + i) / LOOK;
    }
    return (ground_share(bar, end - 1) >= ground_least || is_separator(bar, end - 1)) &&
           behind <= ground_most;
}

/* Lettering: its share of the strip, and the pieces into which it falls along the strip. */
static enum kb_status letters(const struct bar *bar, int32_t end, double *share, int *pieces,
                              struct kb_err *err) {
    static const double separator = 0.9;
    size_t length = (size_t)bar->lines->length, ink = 0;
    uint8_t *inked = kb_alloc_zero(length, 1);
    if (inked == NULL) {
        return kb_fail_memory(err, "firstlook", length);
    }
    for (int32_t line = 0; line < end; line++) {
        const uint8_t *px = bar->lines->first + bar->lines->inward * line;
        if (ground_share(bar, line) < 1.0 - separator) {
            continue; /* a line all across is no letter */
        }
        for (size_t i = 0; i < length; i++) {
            int off = abs(px[bar->lines->along * (ptrdiff_t)i] - bar->level);
            ink += off >= KB_FIRSTLOOK_LEGIBLE;
            inked[i] |= off >= KB_FIRSTLOOK_LEGIBLE;
        }
    }
    *share = (double)ink / ((double)length * end);
    *pieces = inked[0];
    for (size_t i = 1; i < length; i++) {
        *pieces += inked[i] > inked[i - 1];
    }
    kb_free(inked);
    return KB_OK;
}

enum kb_status kb_firstlook_data_bar(const struct kb_firstlook_frame *frame,
                                     enum kb_firstlook_side side, int32_t *depth, int *level,
                                     struct kb_err *err) {
    static const double share_least = 0.002, share_most = 0.4;
    /* Along an upright strip the pieces are lines of lettering, else letters. */
    const int pieces_least = side == KB_LEFT || side == KB_RIGHT ? 2 : 4;
    struct kb_firstlook_lines lines =
        kb_firstlook_lines_of(kb_firstlook_grey(frame), frame->inside, side);
    struct bar bar = {.lines = &lines, .waver = frame->waver, .depth_most = lines.depth / 3};
    *depth = 0;
    if (lines.length < KB_FIRSTLOOK_SIDE_LEAST || lines.depth < KB_FIRSTLOOK_SIDE_LEAST ||
        !ground_at_side(&bar)) {
        return KB_OK;
    }
    int32_t end = follow(&bar);
    if (end < DEPTH_LEAST || !ends_in_step(&bar, end)) {
        return KB_OK;
    }
    double share = 0.0;
    int pieces = 0;
    enum kb_status status = letters(&bar, end, &share, &pieces, err);
    if (status == KB_OK && share >= share_least && share <= share_most && pieces >= pieces_least) {
        *depth = end;
        *level = bar.level;
    }
    return status;
}
