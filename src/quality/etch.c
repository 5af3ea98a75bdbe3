/* etch.c - what an etch that was left on too long does to ferrite: dark lines along boundaries.
 *
 * Rows and columns at even distances are read, three lines averaged against noise. The level of
 * ferrite is its mean along the line near the place, so that uneven light drops out (wide lines in
 * small grains pull it down, and come out up to a sixth too narrow). A dip is a
 * short stretch that falls below that level by more than noise and comes back to it, with ferrite
 * on both sides; its width is taken at half its depth. Lines of any direction are crossed aslant:
 * the median of what is seen is 1 / cos 30 degrees = 1.155 times the true width, since a line is
 * the more likely to be crossed the squarer it is (the median of the sine is one half). Islands of
 * pearlite are no lines: a circle about the dip must be dark in two or three narrow places, where
 * the line leaves it; of an island it is dark nowhere, among lamellae in many places. Necks of the
 * other phase are still among them: lines that are few beside the borders of that phase say
 * nothing.
 */
#include "quality_priv.h"

#include <string.h>

#define SCAN_LINES 64  /* rows, and as many columns */
#define NEAR_PX 40     /* half the stretch whose ferrite gives the level */
#define DEEP 0.08      /* of the level: less is no line */
#define DEEP_NOISE 3.5 /* times the noise of a mean of three lines */
#define LONGEST_UM 8.0 /* longer stretches are another phase ... */
#define LONGEST_PX 4   /* ... but so many pixels at least are allowed */
#define DIPS_MOST 32768
#define MANY 0.2  /* lines for each time that a scan line leaves ferrite */
#define AROUND 32 /* places on the circle */
#define ASLANT 1.155

/* One line of the picture with what is known of it. */
struct line {
    int32_t length;
    double *grey;   /* mean of three lines */
    double *sum;    /* of the grey of ferrite before each place; length + 1 */
    int32_t *count; /* of ferrite before each place; length + 1 */
    uint8_t *label;
    int32_t at; /* which row or column */
    bool column;
    double cosine[AROUND], sine[AROUND]; /* of the places on a circle */
};

/* A dip at from .. to - 1 of a line. */
struct dip {
    int32_t from, to;
    double level, low;
};

static void read_line(const struct kb_look *look, int32_t at, bool column, struct line *line) {
    const struct kb_image *grey = &look->field->grey, *label = &look->map->label;
    ptrdiff_t along = column ? (ptrdiff_t)grey->stride : 1;
    ptrdiff_t across = column ? 1 : (ptrdiff_t)grey->stride;
    ptrdiff_t step = column ? (ptrdiff_t)label->stride : 1;
    const uint8_t *g = column ? grey->px + at : kb_row(grey, at);
    const uint8_t *l = column ? label->px + at : kb_row(label, at);
    line->at = at;
    line->column = column;
    line->length = column ? grey->height : grey->width;
    for (int32_t i = 0; i < line->length; i++) {
        const uint8_t *here = g + i * along;
        bool ferrite = l[i * step] == KB_FERRITE;
        line->grey[i] = (here[-across] + here[0] + here[across]) / 3.0;
        line->label[i] = l[i * step];
        line->sum[i + 1] = line->sum[i] + (ferrite ? line->grey[i] : 0.0);
        line->count[i + 1] = line->count[i] + ferrite;
    }
}

/* Mean grey of the ferrite near a place; NaN where there is little. */
static double level_at(const struct line *line, int32_t i) {
    int32_t from = i > NEAR_PX ? i - NEAR_PX : 0;
    int32_t to = i + NEAR_PX < line->length ? i + NEAR_PX : line->length;
    int32_t count = line->count[to] - line->count[from];
    return count >= NEAR_PX / 2 ? (line->sum[to] - line->sum[from]) / count : (double)NAN;
}

/* Width at half depth of a dip, ends interpolated. */
static double width_of(const struct line *line, const struct dip *dip) {
    double half = 0.5 * (dip->level + dip->low), width = 0.0;
    for (int32_t i = dip->from; i <= dip->to; i++) {
        double a = half - line->grey[i - 1], b = half - line->grey[i];
        width += a > 0.0 && b > 0.0 ? 1.0 : a > 0.0 ? a / (a - b) : b > 0.0 ? b / (b - a) : 0.0;
    }
    return width;
}

/* Two or three narrow dark places on a circle about the dip. */
static bool is_line(const struct kb_image *grey, const struct line *line, const struct dip *dip,
                    double width) {
    double radius = 2.0 * width + 2.0, middle = 0.5 * (dip->from + dip->to - 1);
    double x = line->column ? line->at : middle, y = line->column ? middle : line->at;
    double dark = dip->level - 0.4 * (dip->level - dip->low);
    int arcs = 0, places = 0;
    bool before = false, first = false;
    if (x < radius + 1 || y < radius + 1 || x > grey->width - radius - 2 ||
        y > grey->height - radius - 2) {
        return false;
    }
    for (int k = 0; k < AROUND; k++) {
        int32_t u = (int32_t)(x + radius * line->cosine[k] + 0.5);
        int32_t v = (int32_t)(y + radius * line->sine[k] + 0.5);
        bool here = kb_row(grey, v)[u] < dark;
        first = k == 0 ? here : first;
        arcs += here && !before;
        places += here;
        before = here;
    }
    arcs -= first && before; /* one arc over the start of the circle */
    return (arcs == 2 || arcs == 3) && 2 * places <= AROUND;
}

/* Ferrite stands on both sides of from .. to - 1. */
static bool between_ferrite(const struct line *line, int32_t from, int32_t to) {
    return from >= 3 && to + 2 < line->length && line->label[from - 3] == KB_FERRITE &&
           line->label[from - 2] == KB_FERRITE && line->label[to + 1] == KB_FERRITE &&
           line->label[to + 2] == KB_FERRITE;
}

static void find_dips(const struct kb_look *look, const struct line *line, int32_t longest,
                      double *width, size_t *count) {
    double noise = look->seen.noise;
    for (int32_t i = 3; i + 3 < line->length && *count < DIPS_MOST; i++) {
        double level = level_at(line, i);
        double deep = fmax(DEEP * level, DEEP_NOISE * noise / sqrt(3.0));
        if (!(line->grey[i] < level - deep)) { /* NaN: no ferrite near */
            continue;
        }
        double low = line->grey[i];
        int32_t end = i + 1; /* back at a quarter of the least depth: the foot of the dip */
        while (end < line->length && line->grey[end] < level - 0.25 * deep) {
            low = fmin(low, line->grey[end++]);
        }
        struct dip dip = {i, end, level, low};
        if (end - i <= longest && between_ferrite(line, i, end)) {
            double wide = width_of(line, &dip);
            width[*count] = wide;
            *count += is_line(&look->field->grey, line, &dip, wide / ASLANT);
        }
        i = end;
    }
}

/* How often a line passes from ferrite to another phase. */
static size_t leaves_ferrite(const struct line *line) {
    size_t count = 0;
    for (int32_t i = 1; i < line->length; i++) {
        count += line->label[i - 1] == KB_FERRITE && line->label[i] != KB_FERRITE;
    }
    return count;
}

static size_t scan_lines(const struct kb_look *look, struct line *line, double *width,
                         size_t *count) {
    size_t borders = 0;
    const struct kb_image *grey = &look->field->grey;
    int32_t longest =
        look->px_um > 0.0 ? (int32_t)fmin(LONGEST_UM / look->px_um, 200.0) : LONGEST_PX * 4;
    longest = longest > LONGEST_PX ? longest : LONGEST_PX;
    for (int32_t k = 0; k < 2 * SCAN_LINES; k++) {
        bool column = k % 2 == 1;
        int32_t lines = column ? grey->width : grey->height;
        int32_t at = (int32_t)((2 * (int64_t)(k / 2) + 1) * lines / (2 * SCAN_LINES));
        if (at >= 1 && at + 1 < lines) {
            read_line(look, at, column, line);
            find_dips(look, line, longest, width, count);
            borders += leaves_ferrite(line);
        }
    }
    return borders;
}

enum kb_status kb_quality_lines(const struct kb_look *look, struct kb_line_widths *lines,
                                struct kb_err *err) {
    const struct kb_image *grey = &look->field->grey;
    size_t longer = (size_t)(grey->width > grey->height ? grey->width : grey->height);
    struct line line = {
        .grey = kb_alloc(longer, sizeof(double)),
        .sum = kb_alloc_zero(longer + 1, sizeof(double)),
        .count = kb_alloc_zero(longer + 1, sizeof(int32_t)),
        .label = kb_alloc(longer, 1),
    };
    for (int k = 0; k < AROUND; k++) {
        line.cosine[k] = cos(2.0 * KB_PI * k / AROUND);
        line.sine[k] = sin(2.0 * KB_PI * k / AROUND);
    }
    double *width = kb_alloc(DIPS_MOST, sizeof *width);
    enum kb_status status = KB_OK;
    *lines = (struct kb_line_widths){NAN, 0};
    if (line.grey == NULL || line.sum == NULL || line.count == NULL || line.label == NULL ||
        width == NULL) {
        status = kb_fail_memory(err, KB_QUALITY_STAGE, longer * sizeof(double));
    } else {
        size_t borders = scan_lines(look, &line, width, &lines->dips);
        if (lines->dips >= KB_LINES_LEAST && (double)lines->dips >= MANY * (double)borders) {
            lines->px = kb_quality_quantile(width, lines->dips, 0.5) / ASLANT;
        }
    }
    kb_free(line.grey);
    kb_free(line.sum);
    kb_free(line.count);
    kb_free(line.label);
    kb_free(width);
    return status;
}
