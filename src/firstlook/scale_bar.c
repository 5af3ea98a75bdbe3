/* scale_bar.c - a burnt-in scale bar: a long thin level stroke of ink, and its length.
 *
 * Looked for are stretches of ink in a row, longer than any letter, that are a rectangle: the row
 * above and the row below hold hardly any ink, every row between begins and ends at the same
 * place, and just off the edge the picture is legibly different all along and at both ends. No
 * structure is so straight and so level. Of each stretch only every `least`-th pixel is looked at
 * first, so that a large picture costs nothing. Ticks at both ends make a bar more likely, and a
 * bar parted by its lettering in the middle is put together. Two strokes of the same extent one
 * above the other are a frame, not a bar.
 *
 * The length is that of the stroke from end to end, ticks included. Upright bars are not looked
 * for.
 */
#include "firstlook_priv.h"

#include <stdlib.h>

#define STROKES_MAX 64

struct strokes {
    const struct kb_image *grey;
    const struct kb_image *outside; /* not 0: already left out; or NULL */
    struct kb_rect where;
    struct kb_firstlook_ink ink;
    int32_t least;
    bool bare;
    struct stroke {
        int32_t x0, x1, y, thick;
        bool ticks_left, ticks_right;
    } item[STROKES_MAX];
    size_t count;
};

static bool is_ink(const struct strokes *s, int32_t x, int32_t y) {
    int level = kb_row(s->grey, y)[x];
    return level >= s->ink.low && level <= s->ink.high &&
           (s->outside == NULL || s->outside->px == NULL || kb_row(s->outside, y)[x] == 0);
}

static bool within(const struct strokes *s, int32_t x, int32_t y) {
    return x >= s->where.x && y >= s->where.y && x < s->where.x + s->where.width &&
           y < s->where.y + s->where.height;
}

/* Legibly off the ink. Outside the rectangle nothing is known, and nothing counts against. */
static bool is_off(const struct strokes *s, int32_t x, int32_t y) {
    if (!within(s, x, y)) {
        return true;
    }
    int level = kb_row(s->grey, y)[x];
    return level >= s->ink.high + KB_FIRSTLOOK_LEGIBLE ||
           level <= s->ink.low - KB_FIRSTLOOK_LEGIBLE;
}

static double ink_share(const struct strokes *s, int32_t x0, int32_t x1, int32_t y) {
    if (!within(s, x0, y)) {
        return 0.0;
    }
    int32_t count = 0;
    for (int32_t x = x0; x < x1; x++) {
        count += is_ink(s, x, y);
    }
    return count / (double)(x1 - x0);
}

static double off_share(const struct strokes *s, int32_t x0, int32_t x1, int32_t y) {
    int32_t count = 0;
    for (int32_t x = x0; x < x1; x++) {
        count += is_off(s, x, y);
    }
    return count / (double)(x1 - x0);
}

/* Where the run of ink through x in row y begins and ends. */
static void run_at(const struct strokes *s, int32_t x, int32_t y, int32_t *x0, int32_t *x1) {
    for (*x0 = x; *x0 > s->where.x && is_ink(s, *x0 - 1, y); --*x0) {
    }
    for (*x1 = x + 1; *x1 < s->where.x + s->where.width && is_ink(s, *x1, y); ++*x1) {
    }
}

/* Share of a bar's rows above or below that ticks, scale divisions or letters may take up. */
static const double interrupted = 0.2;

/* Rows of the same extent from row y on; 0 when they do not keep it. */
static int32_t thickness(const struct strokes *s, int32_t x0, int32_t x1, int32_t y) {
    static const double full = 0.97;
    const int32_t most = (x1 - x0) / 5; /* thicker is a block, not a bar */
    int32_t thick = 1;
    while (thick <= most && ink_share(s, x0, x1, y + thick) >= full) {
        thick++;
    }
    if (thick > most || ink_share(s, x0, x1, y + thick) > interrupted + 0.1) {
        return 0;
    }
    return thick;
}

static int by_position(const void *a, const void *b) {
    return *(const int32_t *)a - *(const int32_t *)b;
}

/* Ends by the median of the rows: bright or dark structure may touch the bar in some of them. */
static void settle_ends(const struct strokes *s, struct stroke *stroke) {
    enum { ROWS = 64 };
    int32_t x0[ROWS], x1[ROWS], middle = stroke->x0 + (stroke->x1 - stroke->x0) / 2;
    size_t rows = (size_t)(stroke->thick < ROWS ? stroke->thick : ROWS);
    for (size_t i = 0; i < rows; i++) {
        int32_t y = stroke->y + (int32_t)i, x = middle;
        while (x > stroke->x0 && !is_ink(s, x, y)) {
            x--; /* the few pixels that are not quite ink */
        }
        run_at(s, x, y, &x0[i], &x1[i]);
    }
    qsort(x0, rows, sizeof *x0, by_position);
    qsort(x1, rows, sizeof *x1, by_position);
    stroke->x0 = x0[rows / 2];
    stroke->x1 = x1[rows / 2];
}

/* Ends: in most rows the ink stops within a pixel and the picture is different two further. */
static bool ends_sharp(const struct strokes *s, const struct stroke *stroke) {
    enum { REACH = 3 };
    int32_t sharp = 0;
    for (int32_t y = stroke->y; y < stroke->y + stroke->thick; y++) {
        sharp += is_off(s, stroke->x0 - REACH, y) && is_off(s, stroke->x1 - 1 + REACH, y) &&
                 (!within(s, stroke->x0 - 2, y) || !is_ink(s, stroke->x0 - 2, y)) &&
                 (!within(s, stroke->x1 + 1, y) || !is_ink(s, stroke->x1 + 1, y));
    }
    return 4 * sharp >= 3 * stroke->thick;
}

/* A tick stands out above or below within the outermost pixels of an end. */
static bool tick_at(const struct strokes *s, const struct stroke *stroke, int32_t x, int step) {
    enum { OUT = 2, WIDE = 4 };
    for (int32_t i = 0; i < WIDE; i++) {
        int32_t up = stroke->y - 1 - OUT, down = stroke->y + stroke->thick + OUT;
        if ((within(s, x + i * step, up) && is_ink(s, x + i * step, up)) ||
            (within(s, x + i * step, down) && is_ink(s, x + i * step, down))) {
            return true;
        }
    }
    return false;
}

static bool is_bar(const struct strokes *s, const struct stroke *stroke) {
    enum { OFF = 3 }; /* pixels off an edge at which it has faded */
    static const double different = 0.8;
    bool rimmed = off_share(s, stroke->x0, stroke->x1, stroke->y - OFF) >= different - 0.05 &&
                  off_share(s, stroke->x0, stroke->x1, stroke->y + stroke->thick - 1 + OFF) >=
                      different - 0.05;
    if (!rimmed || !ends_sharp(s, stroke)) {
        return false;
    }
    return s->bare || stroke->thick >= 2;
}

/* In the middle of an area of ink: no top row of a bar is here. A tick is narrower than this. */
static bool ink_above(const struct strokes *s, int32_t x, int32_t y) {
    enum { APART = 5 };
    return within(s, x - APART, y - 1) && within(s, x + APART, y - 1) &&
           is_ink(s, x - APART, y - 1) && is_ink(s, x, y - 1) && is_ink(s, x + APART, y - 1);
}

static bool seen_before(const struct strokes *s, int32_t x, int32_t y) {
    for (size_t i = s->count; i-- > 0;) {
        const struct stroke *stroke = &s->item[i];
        if (x >= stroke->x0 && x < stroke->x1 && y >= stroke->y && y < stroke->y + stroke->thick) {
            return true;
        }
    }
    return false;
}

/* Ink at x, y: is it the top row of a bar? */
static void try_at(struct strokes *s, int32_t x, int32_t y) {
    struct stroke stroke = {.y = y};
    if (s->count == STROKES_MAX || ink_above(s, x, y) || seen_before(s, x, y)) {
        return;
    }
    run_at(s, x, y, &stroke.x0, &stroke.x1);
    if (stroke.x1 - stroke.x0 < s->least ||
        ink_share(s, stroke.x0, stroke.x1, y - 1) > interrupted + 0.1) {
        return;
    }
    /* A line all across is a separator. */
    if (stroke.x1 - stroke.x0 > s->where.width * 0.95) {
        return;
    }
    stroke.thick = thickness(s, stroke.x0, stroke.x1, y);
    if (stroke.thick == 0) {
        return;
    }
    settle_ends(s, &stroke);
    if (is_bar(s, &stroke)) {
        stroke.ticks_left = tick_at(s, &stroke, stroke.x0, 1);
        stroke.ticks_right = tick_at(s, &stroke, stroke.x1 - 1, -1);
        s->item[s->count++] = stroke;
    }
}

static void scan(struct strokes *s) {
    for (int32_t y = s->where.y; y < s->where.y + s->where.height; y++) {
        for (int32_t x = s->where.x + s->least / 2; x < s->where.x + s->where.width;
             x += s->least) {
            if (is_ink(s, x, y)) {
                try_at(s, x, y);
            }
        }
    }
}

/* ---- choosing ----------------------------------------------------------------------------------
 */

static void drop(struct strokes *s, size_t at) {
    s->item[at] = s->item[--s->count];
}

/* Two of one extent, one above the other: upper and lower edge of a frame. */
static void drop_frames(struct strokes *s) {
    for (size_t i = 0; i < s->count; i++) {
        for (size_t j = s->count; j-- > i + 1;) {
            if (abs(s->item[i].x0 - s->item[j].x0) <= 2 &&
                abs(s->item[i].x1 - s->item[j].x1) <= 2) {
                drop(s, j);
                drop(s, i--);
                break;
            }
        }
    }
}

/* Left and right half of a bar with its lettering between them. */
static bool are_halves(const struct stroke *left, const struct stroke *right) {
    int32_t a = left->x1 - left->x0, b = right->x1 - right->x0, gap = right->x0 - left->x1;
    return abs(left->y - right->y) <= 1 && abs(left->thick - right->thick) <= 1 && gap > 0 &&
           gap <= 2 * (a + b) && 4 * abs(a - b) <= a + b;
}

static void join_halves(struct strokes *s) {
    for (size_t i = 0; i < s->count; i++) {
        for (size_t j = 0; j < s->count; j++) {
            if (i != j && are_halves(&s->item[i], &s->item[j])) {
                s->item[i].x1 = s->item[j].x1;
                s->item[i].ticks_right = s->item[j].ticks_right;
                drop(s, j);
                return; /* a picture has one scale bar */
            }
        }
    }
}

static bool better(const struct stroke *a, const struct stroke *b) {
    int ticks_a = a->ticks_left + a->ticks_right, ticks_b = b->ticks_left + b->ticks_right;
    if (ticks_a != ticks_b) {
        return ticks_a > ticks_b;
    }
    return a->x1 - a->x0 > b->x1 - b->x0;
}

struct kb_firstlook_bar kb_firstlook_find_bar(const struct kb_image *grey,
                                              const struct kb_image *outside, struct kb_rect where,
                                              struct kb_firstlook_ink ink, int32_t least,
                                              bool bare) {
    struct strokes s = {
        .grey = grey, .outside = outside, .where = where, .ink = ink, .least = least, .bare = bare};
    scan(&s);
    drop_frames(&s);
    join_halves(&s);
    const struct stroke *best = NULL;
    for (size_t i = 0; i < s.count; i++) {
        best = best == NULL || better(&s.item[i], best) ? &s.item[i] : best;
    }
    if (best == NULL) {
        return (struct kb_firstlook_bar){.length_px = 0.0};
    }
    return (struct kb_firstlook_bar){
        .box = {best->x0, best->y, best->x1 - best->x0, best->thick},
        .ticks = best->ticks_left && best->ticks_right,
        .length_px = best->x1 - best->x0,
    };
}
