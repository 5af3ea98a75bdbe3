/* classify.c - a phase for each pixel by its grey, and the blurred rims put right.
 *
 * A blurred edge between graphite and a bright constituent passes through every grey between them
 * and so through the middle class: each nodule would be given a thin shell of pearlite (or, in the
 * SEM, of ferrite). Such a shell is a run of middle-class pixels, along a row or a column, that
 * begins at graphite, ends at the outermost class, and is no longer than the blur makes it. A true
 * layer in between has a level stretch; along a blurred edge every step counts, and that is asked
 * too. The pixels of a rim go to either side by the mid-grey of the two, where the true edge lies
 * when the blur is symmetric. How long rims are is read from the picture: from the most frequent
 * length of all such runs.
 * Limits: a ring of ferrite thinner than the blur has no bright pixels and is lost to pearlite.
 */
#include "segmentation_priv.h"

#include <string.h>

#define RUN_MOST 8 /* pixels; a blur beyond this is a picture out of focus */
/* Each step along a blurred edge is at least this share of the mean step; a layer has level steps.
 */
#define STEP_LEAST 0.3

struct rim {
    uint8_t dark, middle, bright; /* labels */
    int cut;                      /* mid-grey of the outer classes */
    int longest;                  /* pixels */
};

struct cut {
    uint8_t first, second;     /* a level above them is of the next class */
    uint8_t low, middle, high; /* labels */
};

/* Comparisons instead of a table: the compiler makes vectors of them. */
KB_WIDE static void label_row(const uint8_t *restrict grey, struct cut cut, int32_t width,
                              uint8_t *restrict label) {
    for (int32_t x = 0; x < width; x++) {
        uint8_t phase = grey[x] > cut.first ? cut.middle : cut.low;
        phase = grey[x] > cut.second ? cut.high : phase;
        label[x] = label[x] == KB_EXCLUDED ? (uint8_t)KB_EXCLUDED : phase;
    }
}

static struct cut cut_of(const struct kb_seg *seg) {
    const struct kb_seg_scheme *scheme = &seg->scheme;
    bool three = scheme->classes == 3;
    return (struct cut){
        .first = (uint8_t)seg->threshold[0],
        .second = three ? (uint8_t)seg->threshold[1] : UINT8_MAX,
        .low = (uint8_t)scheme->phase[0],
        .middle = (uint8_t)scheme->phase[1],
        .high = (uint8_t)scheme->phase[2],
    };
}

static void label_by_grey(struct kb_seg *seg, int32_t y) {
    label_row(kb_row(&seg->grey, y), cut_of(seg), seg->grey.width, kb_row(&seg->map->label, y));
}

/* Whether a run of middle pixels between these two labels spans graphite to bright. */
static bool spans(const struct rim *rim, uint8_t before, uint8_t after) {
    return (before == rim->dark && after == rim->bright) ||
           (before == rim->bright && after == rim->dark);
}

/* Whether the greys from `first` (the pixel before the run) over `length` + 1 steps of `stride`
 * bytes go steadily one way. */
static bool steady(const uint8_t *first, ptrdiff_t stride, int32_t length) {
    int32_t steps = length + 1;
    int total = first[stride * steps] - first[0];
    double least = STEP_LEAST * (double)total / (double)steps;
    for (int32_t i = 0; i < steps; i++) {
        double step = (double)(first[stride * (i + 1)] - first[stride * i]);
        if (total > 0 ? step < least : step > least) {
            return false;
        }
    }
    return true;
}

/* Next pixel of value `wanted` at or after x; width when none. */
static int32_t next_of(const uint8_t *label, int32_t x, int32_t width, uint8_t wanted) {
    const uint8_t *at = memchr(label + x, wanted, (size_t)(width - x));
    return at != NULL ? (int32_t)(at - label) : width;
}

static int32_t run_end(const uint8_t *label, int32_t x, int32_t width) {
    const uint64_t alike = label[x] * UINT64_C(0x0101010101010101);
    int32_t end = x;
    uint64_t eight = alike;
    while (end + 8 <= width && eight == alike) {
        memcpy(&eight, label + end, sizeof eight);
        end += eight == alike ? 8 : 0;
    }
    while (end < width && label[end] == label[x]) {
        end++;
    }
    return end;
}

/* The most frequent length of spanning runs along rows; 0 where there are none. Labels the rows it
 * looks at. */
static int usual_length(struct kb_seg *seg, const struct rim *rim) {
    uint64_t seen[RUN_MOST + 1] = {0};
    int32_t width = seg->grey.width;
    for (int32_t y = 0; y < seg->grey.height; y += 4) { /* a quarter of the rows is sample enough */
        label_by_grey(seg, y);
        const uint8_t *label = kb_row(&seg->map->label, y);
        int32_t x = next_of(label, 0, width, rim->middle);
        while (x < width) {
            int32_t end = run_end(label, x, width);
            if (x > 0 && end < width && end - x <= RUN_MOST &&
                spans(rim, label[x - 1], label[end]) &&
                steady(kb_row(&seg->grey, y) + x - 1, 1, end - x)) {
                seen[end - x]++;
            }
            x = end < width ? next_of(label, end, width, rim->middle) : width;
        }
    }
    int usual = 0;
    for (int i = 1; i <= RUN_MOST; i++) {
        usual = seen[i] > seen[usual] ? i : usual;
    }
    return usual;
}

static void rims_along_row(const struct rim *rim, const uint8_t *level, int32_t width,
                           uint8_t *label) {
    int32_t x = next_of(label, 0, width, rim->middle);
    while (x < width) {
        int32_t end = run_end(label, x, width);
        if (x > 0 && end < width && end - x <= rim->longest &&
            spans(rim, label[x - 1], label[end]) && steady(level + x - 1, 1, end - x)) {
            for (int32_t i = x; i < end; i++) {
                label[i] = level[i] <= rim->cut ? rim->dark : rim->bright;
            }
        }
        x = end < width ? next_of(label, end, width, rim->middle) : width;
    }
}

/* A run of middle pixels that ends above (x, y): settle it when it is a rim. */
static void settle_column(const struct kb_image *grey, const struct rim *rim, int32_t x, int32_t y,
                          struct kb_image *image) {
    int32_t top = y - 1;
    while (top >= 0 && y - top <= rim->longest + 1 && kb_row(image, top)[x] == rim->middle) {
        top--;
    }
    if (top < 0 || y - 1 - top > rim->longest ||
        !spans(rim, kb_row(image, top)[x], kb_row(image, y)[x]) ||
        !steady(kb_row(grey, top) + x, (ptrdiff_t)grey->stride, y - 1 - top)) {
        return;
    }
    for (int32_t i = top + 1; i < y; i++) {
        kb_row(image, i)[x] = kb_row(grey, i)[x] <= rim->cut ? rim->dark : rim->bright;
    }
}

/* 1 where a column of middle pixels ends between the row above and this one; 0 elsewhere. */
KB_WIDE static void column_ends(const uint8_t *restrict above, const uint8_t *restrict here,
                                const struct rim *rim, int32_t count, uint8_t *restrict end) {
    uint8_t dark = rim->dark;
    uint8_t middle = rim->middle;
    uint8_t bright = rim->bright;
    for (int32_t x = 0; x < count; x++) {
        end[x] = (uint8_t)((above[x] == middle) & ((here[x] == dark) | (here[x] == bright)));
    }
}

/* Columns of middle pixels that end above row y. */
static void rims_above(const struct kb_image *grey, const struct rim *rim, int32_t y,
                       struct kb_image *image) {
    uint8_t end[512]; /* a stretch of the row */
    for (int32_t start = 0; start < image->width; start += (int32_t)sizeof end) {
        int32_t left = image->width - start;
        int32_t count = left < (int32_t)sizeof end ? left : (int32_t)sizeof end;
        column_ends(kb_row(image, y - 1) + start, kb_row(image, y) + start, rim, count, end);
        int32_t x = next_of(end, 0, count, 1);
        while (x < count) {
            settle_column(grey, rim, start + x, y, image);
            x = x + 1 < count ? next_of(end, x + 1, count, 1) : count;
        }
    }
}

static struct rim rim_of(struct kb_seg *seg) {
    const struct kb_seg_scheme *scheme = &seg->scheme;
    struct rim rim = {
        .dark = (uint8_t)scheme->phase[0],
        .middle = (uint8_t)scheme->phase[1],
        .bright = (uint8_t)scheme->phase[2],
        .cut = (int)(0.5 * (seg->class_level[0] + seg->class_level[2])),
    };
    int usual = usual_length(seg, &rim);
    /* An edge at 45 degrees is 1.4 times as long along a row, and lengths scatter by a pixel. */
    rim.longest = usual > 0 ? usual + usual / 2 + 1 : 0;
    return rim;
}

/* Row by row, while the rows above are at hand: labels, rims along the row, rims that end above. */
enum kb_status kb_seg_classify(struct kb_seg *seg, struct kb_err *err) {
    (void)err;
    const struct rim rim = seg->scheme.classes == 3 ? rim_of(seg) : (struct rim){0};
    if (rim.longest > 0) {
        seg->rim_px = rim.longest;
    }
    for (int32_t y = 0; y < seg->grey.height; y++) {
        label_by_grey(seg, y);
        if (rim.longest > 0) {
            rims_along_row(&rim, kb_row(&seg->grey, y), seg->grey.width,
                           kb_row(&seg->map->label, y));
        }
        if (rim.longest > 0 && y > 0) {
            rims_above(&seg->grey, &rim, y, &seg->map->label);
        }
    }
    kb_seg_why_classes(seg, rim.cut, rim.longest);
    return KB_OK;
}
