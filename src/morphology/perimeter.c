/* perimeter.c - perimeter by Crofton's formula in four directions, from runs alone.
 *
 * A curve of length L is crossed by lines of direction t, dp apart, so that
 * L = 1/2 integral of N(p, t) dp dt over 0 <= t < pi. With the four directions of the pixel grid,
 * axis lines 1 px and diagonals 1/sqrt(2) px apart, L = pi/8 (N0 + N90 + (N45 + N135) / sqrt(2)),
 * N being the crossings in and out of the region along all lines of a direction. Unbiased over
 * directions: right on discs; a straight edge reads 5.2 % short along the grid and 2.6 % long at
 * 22.5 degrees (computed).
 *
 * Along rows N0 is two a run. For any other direction N = 2 (A - pairs), where pairs counts the
 * pixels whose neighbour in that direction belongs to the region too: the overlap of the runs of
 * adjacent rows, shifted by one pixel for the diagonals.
 */
#include "morphology_priv.h"

#include <math.h>

/* Neighbour pairs straight down, and down to the right and to the left. */
struct pairs {
    int64_t down, right, left;
};

static int64_t overlap(const struct kb_span *a, const struct kb_span *b, int32_t shift) {
    int32_t low = a->x0 + shift > b->x0 ? a->x0 + shift : b->x0;
    int32_t high = a->x1 + shift < b->x1 ? a->x1 + shift : b->x1;
    return high > low ? high - low : 0;
}

static size_t row_end(const struct kb_spans *spans, size_t first) {
    size_t end = first + 1;
    while (end < spans->count && spans->item[end].y == spans->item[first].y) {
        end++;
    }
    return end;
}

/* Pairs between upper row [first, middle) and the row below it, [middle, end). */
static void add_row_pairs(const struct kb_span *span, size_t first, size_t middle, size_t end,
                          struct pairs *pairs) {
    size_t below = middle;
    for (size_t i = first; i < middle; i++) {
        while (below < end && span[below].x1 < span[i].x0) {
            below++;
        }
        for (size_t j = below; j < end && span[j].x0 <= span[i].x1; j++) {
            pairs->down += overlap(&span[i], &span[j], 0);
            pairs->right += overlap(&span[i], &span[j], 1);
            pairs->left += overlap(&span[i], &span[j], -1);
        }
    }
}

double kb_perimeter(const struct kb_spans *spans) {
    static const double pi = 3.14159265358979323846;
    struct pairs pairs = {0, 0, 0};
    int64_t area = 0;
    for (size_t i = 0; i < spans->count; i++) {
        area += spans->item[i].x1 - spans->item[i].x0;
    }
    for (size_t first = 0; first < spans->count;) {
        size_t middle = row_end(spans, first);
        if (middle < spans->count && spans->item[middle].y == spans->item[first].y + 1) {
            add_row_pairs(spans->item, first, middle, row_end(spans, middle), &pairs);
        }
        first = middle;
    }
    double along = 2.0 * (double)spans->count;
    double across = 2.0 * (double)(area - pairs.down);
    double diagonal = 2.0 * (double)(2 * area - pairs.right - pairs.left);
    return pi / 8.0 * (along + across + diagonal / sqrt(2.0));
}
