/* raster.h - pixels in, pixels out.   base > RASTER > intake > segmentation > ...
 *
 * Histogram, smoothing, masked local means, distance, and labelling by runs. Knows no micrometres
 * and no phases. Everything is exact integer arithmetic, or floating point in a fixed order, so
 * that results do not depend on the number of threads, on strips, or on the machine.
 */
#ifndef KEELBLOCK_RASTER_H
#define KEELBLOCK_RASTER_H

#include "keelblock/base.h"

#ifdef __cplusplus
extern "C" {
#endif

/* One byte a pixel: grey level 0..255, a label, or a mask (0 / not 0). */
struct kb_image {
    int32_t width, height; /* pixels */
    size_t stride;         /* bytes from row to row, >= width */
    uint8_t *px;
};

/* Half-open: covers x .. x + width - 1. */
struct kb_rect {
    int32_t x, y, width, height;
};

/* Largest width or height that any stage accepts, and the largest number of pixels. */
#define KB_SIDE_MAX 200000
#define KB_PIXELS_MAX ((int64_t)1 << 32)

/* Uninitialised pixels. Refuses sizes < 1 or above the limits (KB_E_INPUT). Release with
 * kb_image_release(), which is fine on a zeroed struct and leaves a zeroed struct. */
KB_API KB_NODISCARD enum kb_status kb_image_alloc(int32_t width, int32_t height,
                                                  struct kb_image *image, struct kb_err *err);
KB_API void kb_image_release(struct kb_image *image);
KB_API void kb_image_fill(struct kb_image *image, uint8_t value);

static inline uint8_t *kb_row(const struct kb_image *image, int32_t y) {
    return image->px + (size_t)y * image->stride;
}

static inline uint64_t kb_image_pixels(const struct kb_image *image) {
    return (uint64_t)image->width * (uint64_t)image->height;
}

/* Count grey levels of the pixels whose label is chosen: chosen[label] true. `labels` NULL counts
 * every pixel. bins is overwritten. */
KB_API void kb_histogram(const struct kb_image *grey, const struct kb_image *labels,
                         const bool chosen[256], uint64_t bins[256]);

/* 3 x 3 binomial smoothing (1 2 1 outer 1 2 1, / 16, rounded half up), edge pixels repeated.
 * `to` has the size of `from`, and may be `from`. */
KB_API KB_NODISCARD enum kb_status kb_smooth(const struct kb_image *from, struct kb_image *to,
                                             struct kb_err *err);

/* Median of 3 x 3, edge pixels repeated. `to` has the size of `from`, and may be `from`. */
KB_API KB_NODISCARD enum kb_status kb_median(const struct kb_image *from, struct kb_image *to,
                                             struct kb_err *err);

/* The same for one row that lies between `up` and `down`; `scratch` holds 3 * (width + 2) bytes. */
KB_API void kb_median_row(const uint8_t *up, const uint8_t *mid, const uint8_t *down, int32_t width,
                          uint8_t *scratch, uint8_t *to);

/* Magnitudes of the answer of the mask 1 -2 1 / -2 4 -2 / 1 -2 1, blind to planes and to edges
 * along rows or columns, at `count` pixels of a row; `up`, `mid` and `down` begin one pixel to the
 * left of the first and hold count + 2. To normal noise of standard deviation s the answer has
 * standard deviation 6 s (Immerkaer, Comput. Vis. Image Underst. 64 (1996) 300). */
KB_API void kb_noise_answers(const uint8_t *up, const uint8_t *mid, const uint8_t *down,
                             int32_t count, uint16_t *answer);
#define KB_NOISE_ANSWERS 2048 /* all are below */

/* Columns x .. x + count - 1 as rows of `to`, each image->height long, `pitch` bytes apart. */
KB_API void kb_columns(const struct kb_image *image, int32_t x, int32_t count, uint8_t *to,
                       size_t pitch);

/* Pixels that stand abreast: sum[i] is the sum over `count` places, at most 257, of
 * px[place[k] + i]. */
#define KB_ABREAST 16
KB_API void kb_add_up(const uint8_t *px, const ptrdiff_t *place, int count,
                      uint16_t sum[KB_ABREAST]);

/* Greater radii of a window are taken as this one: 255 x (2 x 1450 + 1)^2 is the last such sum
 * below 2^31. */
#define KB_WINDOW_RADIUS_MAX 1450

/* Mean over the square window of side 2 * radius + 1 about each pixel, clipped at the frame, of
 * those pixels whose label is chosen; rounded half up. Where the window holds none, `to` takes the
 * pixel's own grey. `labels` NULL: all pixels. Cost does not depend on the radius (running sums).
 * `to` is another image than `grey` and `labels`. */
KB_API KB_NODISCARD enum kb_status kb_local_mean(const struct kb_image *grey,
                                                 const struct kb_image *labels,
                                                 const bool chosen[256], int32_t radius,
                                                 struct kb_image *to, struct kb_err *err);

/* The same, given row by row from the top instead: every `step`-th row, `mean` lent for the call.
 * `take` must not change grey or labels. */
KB_API KB_NODISCARD enum kb_status
kb_local_mean_rows(const struct kb_image *grey, const struct kb_image *labels,
                   const bool chosen[256], int32_t radius, int32_t step,
                   void (*take)(void *context, int32_t y, const uint8_t *mean), void *context,
                   struct kb_err *err);

/* Standard deviation in the same windows, rounded half up, 0 where the window holds no chosen
 * pixel. */
KB_API KB_NODISCARD enum kb_status kb_local_deviation(const struct kb_image *grey,
                                                      const struct kb_image *labels,
                                                      const bool chosen[256], int32_t radius,
                                                      struct kb_image *to, struct kb_err *err);

/* Erosion and dilation of a mask (not 0 = set) by the octagon that comes nearest to the disc of
 * diameter 2 * radius + 1: equal to it in every pixel up to radius 5, beyond that 3 to 6 % of the
 * disc's pixels differ. Outside the frame counts as set for erosion, as clear for dilation, so that
 * the frame itself does not eat or grow anything. Result is 0 / 1. `to` is another image. Cost
 * grows with the logarithm of the radius; scratch is a quarter of a byte a pixel. Opening = erode,
 * dilate; closing = dilate, erode. A radius below 0 is refused (KB_E_USAGE); 0 copies the mask as 0
 * / 1. */
KB_API KB_NODISCARD enum kb_status kb_erode(const struct kb_image *mask, int32_t radius,
                                            struct kb_image *to, struct kb_err *err);
KB_API KB_NODISCARD enum kb_status kb_dilate(const struct kb_image *mask, int32_t radius,
                                             struct kb_image *to, struct kb_err *err);

/* ---- sets of pixels ----------------------------------------------------------------------------
 * One bit a pixel, an eighth of a picture: what is asked of many pixels at once goes by words. */

struct kb_bits {
    int32_t width, height;
    size_t pitch;   /* words a row */
    uint64_t *word; /* pixel x is bit x % 64 of word x / 64 of its row; bits past the last are 0 */
};

static inline uint64_t *kb_bits_row(const struct kb_bits *bits, int32_t y) {
    return bits->word + (size_t)y * bits->pitch;
}

/* Uninitialised; limits as for kb_image_alloc(). Release leaves a zeroed struct. */
KB_API KB_NODISCARD enum kb_status kb_bits_alloc(int32_t width, int32_t height,
                                                 struct kb_bits *bits, struct kb_err *err);
KB_API void kb_bits_release(struct kb_bits *bits);
/* The pixels whose value is chosen; the picture has the size of the set. */
KB_API void kb_bits_pick(const struct kb_image *image, const bool chosen[256],
                         struct kb_bits *bits);
/* The same for row y from bytes that are not 0. */
KB_API void kb_bits_pick_row(const uint8_t *px, int32_t y, struct kb_bits *bits);
KB_API uint64_t kb_bits_count(const struct kb_bits *bits);
/* What is in `bits` and in `other`; what is in `bits` only. Sizes alike. */
KB_API void kb_bits_both(struct kb_bits *bits, const struct kb_bits *other);
KB_API void kb_bits_without(struct kb_bits *bits, const struct kb_bits *other);
/* Give every pixel of the set that value. */
KB_API void kb_bits_paint(const struct kb_bits *bits, uint8_t value, struct kb_image *image);
/* Erosion and then dilation, dilation and then erosion, as kb_erode() and kb_dilate() do them. `to`
 * is another set of the same size (else KB_E_USAGE). */
KB_API KB_NODISCARD enum kb_status kb_bits_open(const struct kb_bits *bits, int32_t erode,
                                                int32_t dilate, struct kb_bits *to,
                                                struct kb_err *err);
KB_API KB_NODISCARD enum kb_status kb_bits_close(const struct kb_bits *bits, int32_t dilate,
                                                 int32_t erode, struct kb_bits *to,
                                                 struct kb_err *err);

/* Largest side of a window of distances: twice its square still fits in 32 bits. */
#define KB_DISTANCE_SIDE_MAX 46340

/* Exact squared Euclidean distance, in pixels, from each set pixel of a mask to the nearest clear
 * pixel centre; 0 on clear pixels. Outside the frame counts as clear when `outside_clear`.
 * Where nothing is clear the distance is UINT32_MAX. `squared` is the caller's, width * height,
 * row-major. Sides outside 1 .. KB_DISTANCE_SIDE_MAX are refused (KB_E_INPUT). Method: two passes
 * of lower envelopes (Felzenszwalb & Huttenlocher, Theory of Computing 8 (2012) 415; the same
 * result as Meijster et al. 2000). Meant for a window about one region. */
KB_API KB_NODISCARD enum kb_status kb_distance_squared(const uint8_t *mask, int32_t width,
                                                       int32_t height, bool outside_clear,
                                                       uint32_t *squared, struct kb_err *err);

/* ---- runs and regions --------------------------------------------------------------------------
 */

/* Pixels x0 .. x1 - 1 of one row that belong to one region. */
struct kb_run {
    int32_t x0, x1;
    uint32_t
        region; /* 0-based; regions are numbered in the order of their first pixel, row by row */
};

/* Connected regions of a picture as runs, rows from top to bottom, runs from left to right. */
struct kb_runs {
    int32_t width, height;
    struct kb_run *run;
    size_t count;
    size_t *row; /* height + 1 entries: runs of row y are row[y] .. row[y+1] - 1 */
    uint32_t regions;
};

/* Label the pixels whose value is chosen, with connectivity 4 or 8 (else KB_E_USAGE), by union-find
 * over runs in one pass over the pixels. Initialises `runs`; release with kb_runs_release(). On
 * failure `runs` is zeroed. */
KB_API KB_NODISCARD enum kb_status kb_runs_label(const struct kb_image *image,
                                                 const bool chosen[256], int connectivity,
                                                 struct kb_runs *runs, struct kb_err *err);
/* Give `runs` (x0, x1, rows already filled in) fresh region numbers: used after cuts were made.
 * Runs of one row that abut (x1 of the one is x0 of the next) count as joined: a cut is a gap. */
KB_API KB_NODISCARD enum kb_status kb_runs_relabel(struct kb_runs *runs, int connectivity,
                                                   struct kb_err *err);
KB_API void kb_runs_release(struct kb_runs *runs);
/* The region that holds a pixel; false where none does, or outside the picture. */
KB_API KB_NODISCARD bool kb_runs_at(const struct kb_runs *runs, int32_t x, int32_t y,
                                    uint32_t *region);

/* Runs of each region together: runs of region r are order[start[r]] .. order[start[r+1]-1], top to
 * bottom. Each entry is an index into runs->run; `y` holds the row of each entry. */
struct kb_run_order {
    size_t *start; /* regions + 1 */
    size_t *order;
    int32_t *y;
};
KB_API KB_NODISCARD enum kb_status
kb_run_order_make(const struct kb_runs *runs, struct kb_run_order *order, struct kb_err *err);
KB_API void kb_run_order_release(struct kb_run_order *order);

/* Repaint: every pixel of the regions with to_value[region] != KB_KEEP becomes that value. */
#define KB_KEEP 0x100u
KB_API void kb_runs_paint(const struct kb_runs *runs, const uint16_t *to_value,
                          struct kb_image *image);

#ifdef __cplusplus
}
#endif
#endif
