/* drawn.c - what somebody drew over the picture: scale bars, lettering, arrows, frames, plates.
 *
 * Drawn ink is black, white or, in a file with colour, one of the pure screen colours. Each such
 * level is looked at by itself, and only when little of the picture has it: structure that is burnt
 * out or black cannot be told from ink, and then nothing is said. Pieces of ink count as
 * - a plate, when they fill their box along all four sides;
 * - lettering, when three or more stand on a line, of like height and pen, with sharp edges;
 * - a frame, when they follow their box along all four sides and leave it empty;
 * - a stroke (arrow, ring), when long, thin and sharp, and only if one of the others was drawn with
 *   the same ink: flakes, lamellae and scratches are long and thin too.
 * Whatever ink touches a scale bar or a line of letters, or lies within half a letter of it, goes
 * with it. A pure black or white piece alone that is none of these is left in: it may be structure.
 */
#include "ink.h"

#include <stdlib.h>
#include <string.h>

#define LETTERS_MAX 3000 /* more pieces like letters than a drawing has */

struct letter {
    const struct kb_ink_piece *piece;
    double pen;
    uint32_t line; /* union-find link, then root */
};

struct drawing {
    const struct kb_firstlook_frame *frame;
    struct kb_firstlook_ink levels;
    struct kb_ink ink;
};

static struct kb_rect box_of(const struct drawing *d, const struct kb_ink_piece *p) {
    return (struct kb_rect){d->frame->inside.x + p->x0, d->frame->inside.y + p->y0, p->x1 - p->x0,
                            p->y1 - p->y0};
}

static struct kb_rect joined(struct kb_rect a, struct kb_rect b) {
    int32_t x = a.x < b.x ? a.x : b.x, y = a.y < b.y ? a.y : b.y;
    int32_t x1 = a.x + a.width > b.x + b.width ? a.x + a.width : b.x + b.width;
    int32_t y1 = a.y + a.height > b.y + b.height ? a.y + a.height : b.y + b.height;
    return (struct kb_rect){x, y, x1 - x, y1 - y};
}

static bool near(struct kb_rect a, struct kb_rect b, int32_t reach) {
    return a.x - reach < b.x + b.width && b.x - reach < a.x + a.width &&
           a.y - reach < b.y + b.height && b.y - reach < a.y + a.height;
}

/* A box grown by the pieces that touch it or nearly do, none of them much larger than it. */
static struct kb_rect gathered(const struct drawing *d, struct kb_rect box, int32_t reach) {
    struct kb_rect whole = box;
    int32_t most = box.width > box.height ? box.width : box.height;
    for (size_t i = 0; i < d->ink.count; i++) {
        struct kb_rect piece = box_of(d, &d->ink.piece[i]);
        if (near(box, piece, reach) && piece.width <= most + 2 * reach &&
            piece.height <= most + 2 * reach) {
            whole = joined(whole, piece);
        }
    }
    return whole;
}

/* Whether a mark that was noted before holds the box. */
static bool left_out(const struct drawing *d, struct kb_rect box) {
    for (size_t i = 0; i < d->frame->look->marks; i++) {
        const struct kb_mark *mark = &d->frame->look->mark[i];
        struct kb_rect both = joined(mark->box, box);
        if (mark->kind != KB_MARK_VIGNETTE && mark->kind != KB_MARK_RESIN &&
            both.width <= mark->box.width && both.height <= mark->box.height) {
            return true;
        }
    }
    return false;
}

/* ---- plates ------------------------------------------------------------------------------------
 */

/* Fills its box along all four sides: nothing that grew does. */
static bool is_squared(const struct kb_ink_piece *p) {
    enum { WIDE = 24, HIGH = 12 }; /* pixels: less holds no lettering */
    static const double along = 0.95;
    int32_t width = p->x1 - p->x0, height = p->y1 - p->y0;
    return width >= WIDE && height >= HIGH && p->left >= along * height &&
           p->right >= along * height && p->top >= along * width && p->bottom >= along * width;
}

static double filled(const struct kb_ink_piece *p) {
    return p->area / ((double)(p->x1 - p->x0) * (p->y1 - p->y0));
}

static bool is_plate(const struct kb_ink_piece *p) {
    static const double most = 0.97, least = 0.4; /* of its box; the rest is lettering */
    bool bar = p->x1 - p->x0 >= 5 * (p->y1 - p->y0) && filled(p) >= most;
    return is_squared(p) && filled(p) >= least && !bar;
}

static bool is_frame(const struct kb_ink_piece *p) {
    static const double most = 0.3;
    return is_squared(p) && filled(p) <= most;
}

static enum kb_status note_plate(const struct drawing *d, struct kb_rect box, struct kb_err *err) {
    struct kb_firstlook_ink on_it = d->levels.low > 127
                                        ? (struct kb_firstlook_ink){0, d->levels.low - 96}
                                        : (struct kb_firstlook_ink){d->levels.high + 96, 255};
    struct kb_firstlook_bar bar = {.length_px = 0.0};
    if (on_it.low < on_it.high) {
        bar = kb_firstlook_find_bar(kb_firstlook_grey(d->frame), NULL, box, on_it, 16, true);
    }
    bool known = bar.length_px > 0.0 && left_out(d, bar.box);
    enum kb_status status = kb_firstlook_note_box(d->frame, KB_MARK_LETTERING, box, 0.0, err);
    if (status == KB_OK && bar.length_px > 0.0 && !known) {
        status = kb_firstlook_note(d->frame, KB_MARK_SCALE_BAR, bar.box, bar.length_px, err);
    }
    return status;
}

/* ---- strokes -----------------------------------------------------------------------------------
 */

static bool is_stroke(const struct kb_ink_piece *p) {
    enum { LONG = 24, LARGE = 60 }; /* pixels: bright rims break into short pieces, seldom long */
    static const double sharp_small = 0.95, sharp_large = 0.85, slender = 0.12;
    int32_t width = p->x1 - p->x0, height = p->y1 - p->y0;
    int32_t longest = width > height ? width : height;
    double pen = kb_ink_pen(p);
    return longest >= LONG && pen >= 1.0 && pen <= slender * longest &&
           kb_ink_sharpness(p) >= (longest >= LARGE ? sharp_large : sharp_small);
}

static enum kb_status note_stroke(const struct drawing *d, uint32_t region, struct kb_err *err) {
    const struct kb_runs *runs = &d->ink.runs;
    const struct kb_ink_piece *piece = &d->ink.piece[region];
    enum kb_status status =
        kb_firstlook_note(d->frame, KB_MARK_LETTERING, box_of(d, piece), 0.0, err);
    if (status == KB_OK) {
        status = kb_firstlook_need_outside(d->frame, err);
    }
    for (int32_t y = piece->y0; status == KB_OK && y < piece->y1; y++) {
        for (size_t i = runs->row[y]; i < runs->row[y + 1]; i++) {
            const struct kb_run *run = &runs->run[i];
            if (run->region == region) {
                kb_firstlook_paint(d->frame, (struct kb_rect){
                                                 d->frame->inside.x + run->x0 - KB_FIRSTLOOK_HALO,
                                                 d->frame->inside.y + y - KB_FIRSTLOOK_HALO,
                                                 run->x1 - run->x0 + 2 * KB_FIRSTLOOK_HALO,
                                                 1 + 2 * KB_FIRSTLOOK_HALO,
                                             });
            }
        }
    }
    return status;
}

/* ---- lettering ---------------------------------------------------------------------------------
 */

static bool is_letter(const struct kb_firstlook_frame *frame, const struct kb_ink_piece *p) {
    enum { LOW = 6 }; /* pixels */
    static const double sharp_least = 0.8, slender = 0.3;
    int32_t width = p->x1 - p->x0, height = p->y1 - p->y0;
    int32_t most = frame->inside.height / 8 > LOW ? frame->inside.height / 8 : LOW;
    return height >= LOW && height <= most && width <= 2 * height &&
           kb_ink_pen(p) <= slender * height && kb_ink_sharpness(p) >= sharp_least;
}

static bool in_a_line(const struct letter *a, const struct letter *b) {
    const struct kb_ink_piece *p = a->piece, *q = b->piece;
    int32_t high = p->y1 - p->y0, other = q->y1 - q->y0;
    int32_t low = high < other ? high : other, tall = high + other - low;
    int32_t top = p->y0 > q->y0 ? p->y0 : q->y0, bottom = p->y1 < q->y1 ? p->y1 : q->y1;
    int32_t gap = p->x0 < q->x0 ? q->x0 - p->x1 : p->x0 - q->x1;
    return tall <= 2 * low && 2 * (bottom - top) >= low && gap <= tall && a->pen <= 2.0 * b->pen &&
           b->pen <= 2.0 * a->pen;
}

static uint32_t root_of(struct letter *letter, uint32_t i) {
    while (letter[i].line != i) {
        letter[i].line = letter[letter[i].line].line;
        i = letter[i].line;
    }
    return i;
}

static void join_lines(struct letter *letter, uint32_t count) {
    for (uint32_t i = 0; i < count; i++) {
        /* Pieces are in the order of their first rows: once one begins below, all do. */
        for (uint32_t j = i + 1; j < count && letter[j].piece->y0 < letter[i].piece->y1; j++) {
            if (in_a_line(&letter[i], &letter[j])) {
                uint32_t a = root_of(letter, i), b = root_of(letter, j);
                letter[a > b ? a : b].line = a > b ? b : a;
            }
        }
    }
}

static uint32_t take_letters(const struct drawing *d, struct letter *letter) {
    uint32_t count = 0;
    for (size_t i = 0; i < d->ink.count; i++) {
        const struct kb_ink_piece *piece = &d->ink.piece[i];
        if (is_letter(d->frame, piece)) {
            if (count == LETTERS_MAX) {
                return 0;
            }
            letter[count] = (struct letter){piece, kb_ink_pen(piece), count};
            count++;
        }
    }
    return count;
}

/* How many of the letters of a line stand on the level of letter `at`. */
static int32_t on_level(struct letter *letter, uint32_t count, uint32_t root, uint32_t at) {
    const struct kb_ink_piece *piece = letter[at].piece;
    int32_t apart = (piece->y1 - piece->y0) / 8 > 1 ? (piece->y1 - piece->y0) / 8 : 1;
    int32_t sum = 0;
    for (uint32_t i = root; i < count; i++) {
        sum += root_of(letter, i) == root && abs(letter[i].piece->y1 - piece->y1) <= apart;
    }
    return sum;
}

/* Three letters or more, and half of all, stand on one level: lamellae and rods in a row do not. */
static bool has_base_line(struct letter *letter, uint32_t count, uint32_t root, int32_t members) {
    enum { FEWEST = 3 };
    int32_t most = 0;
    for (uint32_t i = root; i < count && members >= FEWEST; i++) {
        if (root_of(letter, i) == root) {
            int32_t level = on_level(letter, count, root, i);
            most = level > most ? level : most;
        }
    }
    return most >= FEWEST && 2 * most >= members;
}

static enum kb_status note_line(const struct drawing *d, struct letter *letter, uint32_t count,
                                uint32_t root, struct kb_err *err) {
    struct kb_rect box = box_of(d, letter[root].piece);
    int32_t members = 0, tall = 0;
    for (uint32_t i = root; i < count; i++) {
        if (root_of(letter, i) == root) {
            struct kb_rect piece = box_of(d, letter[i].piece);
            box = joined(box, piece);
            tall = piece.height > tall ? piece.height : tall;
            members++;
        }
    }
    /* A line of letters is no higher than two of them. */
    if (box.height > 2 * tall || left_out(d, box) || !has_base_line(letter, count, root, members)) {
        return KB_OK;
    }
    return kb_firstlook_note_box(d->frame, KB_MARK_LETTERING, gathered(d, box, tall / 2), 0.0, err);
}

static enum kb_status lettering(const struct drawing *d, struct kb_err *err) {
    struct letter *letter = kb_alloc(LETTERS_MAX, sizeof *letter);
    if (letter == NULL) {
        return kb_fail_memory(err, "firstlook", LETTERS_MAX * sizeof *letter);
    }
    uint32_t count = take_letters(d, letter);
    join_lines(letter, count);
    enum kb_status status = KB_OK;
    for (uint32_t i = 0; status == KB_OK && i < count; i++) {
        if (letter[i].line == i) {
            status = note_line(d, letter, count, i, err);
        }
    }
    kb_free(letter);
    return status;
}

/* ---- one level of ink --------------------------------------------------------------------------
 */

static enum kb_status scale_bar(const struct drawing *d, struct kb_err *err) {
    struct kb_rect in = d->frame->inside;
    int32_t least = in.width / 32 > 20 ? in.width / 32 : 20;
    struct kb_firstlook_bar bar = kb_firstlook_find_bar(
        kb_firstlook_grey(d->frame), &d->frame->look->outside, in, d->levels, least, false);
    if (bar.length_px <= 0.0) {
        return KB_OK;
    }
    struct kb_rect box = gathered(d, bar.box, KB_FIRSTLOOK_HALO);
    return kb_firstlook_note_box(d->frame, KB_MARK_SCALE_BAR, box, bar.length_px, err);
}

static enum kb_status plates(const struct drawing *d, struct kb_err *err) {
    enum kb_status status = KB_OK;
    for (size_t i = 0; status == KB_OK && i < d->ink.count; i++) {
        if (is_plate(&d->ink.piece[i]) && !left_out(d, box_of(d, &d->ink.piece[i]))) {
            status = note_plate(d, box_of(d, &d->ink.piece[i]), err);
        }
    }
    return status;
}

/* Frames; other strokes only where something else was drawn with this ink. */
static enum kb_status strokes(const struct drawing *d, bool drawn, struct kb_err *err) {
    enum kb_status status = KB_OK;
    for (size_t i = 0; status == KB_OK && i < d->ink.count; i++) {
        const struct kb_ink_piece *piece = &d->ink.piece[i];
        if ((is_frame(piece) || (drawn && is_stroke(piece))) &&
            !left_out(d, box_of(d, &d->ink.piece[i]))) {
            status = note_stroke(d, (uint32_t)i, err);
        }
    }
    return status;
}

static enum kb_status one_level(const struct kb_firstlook_frame *frame,
                                struct kb_firstlook_ink levels, struct kb_err *err) {
    struct drawing d = {.frame = frame, .levels = levels};
    size_t before = frame->look->marks;
    /* Of a drawing, one run in 60 pixels is more than dense. */
    size_t runs_most = (size_t)frame->inside.width * (size_t)frame->inside.height / 60 + 100;
    enum kb_status status = kb_ink_find(frame, levels, runs_most, &d.ink, err);
    if (status == KB_OK) {
        status = plates(&d, err);
    }
    if (status == KB_OK) {
        status = scale_bar(&d, err);
    }
    if (status == KB_OK) {
        status = lettering(&d, err);
    }
    if (status == KB_OK) {
        status = strokes(&d, frame->look->marks > before, err);
    }
    kb_ink_release(&d.ink);
    return status;
}

/* ---- all of them -------------------------------------------------------------------------------
 */

/* Levels of every third row: no letter is lower. */
static uint64_t sample(const struct kb_firstlook_frame *frame, uint64_t bins[256]) {
    const struct kb_image *grey = kb_firstlook_grey(frame);
    uint32_t part[4][256] = {{0}}; /* four, so that neighbours of one level do not wait */
    struct kb_rect in = frame->inside;
    uint64_t total = 0;
    for (int32_t y = in.y; y < in.y + in.height; y += 3) {
        const uint8_t *row = kb_row(grey, y) + in.x;
        for (int32_t x = 0; x < in.width; x++) {
            part[x & 3][row[x]]++;
        }
        total += (uint64_t)in.width;
    }
    for (int i = 0; i < 256; i++) {
        bins[i] = (uint64_t)part[0][i] + part[1][i] + part[2][i] + part[3][i];
    }
    return total;
}

/* Some of it, and not so much that it must be structure. */
static bool worth_a_look(const uint64_t bins[256], uint64_t total, struct kb_firstlook_ink levels) {
    static const double most = 0.05; /* of the frame; a caption and its plate take up less */
    uint64_t sum = 0;
    for (int i = levels.low; i <= levels.high; i++) {
        sum += bins[i];
    }
    return sum > 0 && (double)sum <= most * (double)total;
}

/* Levels that three neighbours in a row share, of every third row: a pen paints them so. */
static void sample_even(const struct kb_firstlook_frame *frame, int waver, uint64_t bins[256]) {
    struct kb_rect in = frame->inside;
    memset(bins, 0, 256 * sizeof *bins);
    for (int32_t y = in.y; y < in.y + in.height; y += 3) {
        const uint8_t *row = kb_row(kb_firstlook_grey(frame), y) + in.x;
        for (int32_t x = 1; x + 1 < in.width; x++) {
            bins[row[x]] += abs(row[x - 1] - row[x]) <= waver && abs(row[x + 1] - row[x]) <= waver;
        }
    }
}

/* A level that stands out from its neighbours. */
static bool is_spike(const uint64_t bins[256], int level, int waver) {
    enum { FEWEST = 30, BESIDE = 12 };
    uint64_t at = 0, beside = 0;
    int wide = 2 * waver + 1, counted = 0;
    for (int i = level - BESIDE; i <= level + BESIDE; i++) {
        if (abs(i - level) <= waver) {
            at += bins[i];
        } else if (abs(i - level) > 2 * waver + 1 && i >= 0 && i < 256) {
            beside += bins[i];
            counted++;
        }
    }
    return at >= FEWEST && counted > 0 && at * (uint64_t)counted > 3 * beside * (uint64_t)wide;
}

static enum kb_status colours(const struct kb_firstlook_frame *frame, const uint64_t bins[256],
                              uint64_t total, struct kb_err *err) {
    /* Luminance of pure blue, red, magenta, green, cyan and yellow (ITU-R BT.601 weights). */
    static const int pure[] = {29, 76, 105, 150, 179, 226};
    int waver = frame->waver / 4;
    enum kb_status status = KB_OK;
    uint64_t even[256];
    sample_even(frame, waver, even);
    for (size_t i = 0; status == KB_OK && i < sizeof pure / sizeof *pure; i++) {
        struct kb_firstlook_ink levels = {pure[i] - waver, pure[i] + waver};
        if (is_spike(even, pure[i], waver) && worth_a_look(bins, total, levels)) {
            status = one_level(frame, levels, err);
        }
    }
    return status;
}

enum kb_status kb_firstlook_drawn(const struct kb_firstlook_frame *frame, struct kb_err *err) {
    if (frame->inside.width < KB_FIRSTLOOK_SIDE_LEAST ||
        frame->inside.height < KB_FIRSTLOOK_SIDE_LEAST) {
        return KB_OK;
    }
    uint64_t bins[256];
    uint64_t total = sample(frame, bins);
    const struct kb_firstlook_ink black = {0, frame->waver}, white = {255 - frame->waver, 255};
    enum kb_status status = KB_OK;
    if (worth_a_look(bins, total, white)) {
        status = one_level(frame, white, err);
    }
    if (status == KB_OK && worth_a_look(bins, total, black)) {
        status = one_level(frame, black, err);
    }
    if (status == KB_OK && frame->field->was_colour) {
        status = colours(frame, bins, total, err);
    }
    return status;
}
