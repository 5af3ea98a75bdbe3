/* shrink.c - a smaller picture by exact area mean.
 *
 * Every new pixel is the mean of the rectangle of old pixels that it covers, parts of pixels
 * weighted by their share. One pass over the rows; sums in float, whose rounding stays far below
 * one grey level.
 */
#include "paint_priv.h"

#include <string.h>

/* Share of the old cell [at, at + 1) that lies in the new cell [low, high). */
static float overlap(int32_t at, double low, double high) {
    double left = at > low ? at : low, right = at + 1 < high ? at + 1 : high;
    return right > left ? (float)(right - left) : 0.0F;
}

/* One old row to sums over the columns of the new one. */
static void shrink_row(const uint8_t *from, int32_t width, int channels, int32_t to_width,
                       float *sum) {
    double step = (double)width / to_width;
    for (int32_t x = 0; x < to_width; x++) {
        double low = x * step, high = (x + 1) * step;
        int32_t first = (int32_t)low, last = (int32_t)ceil(high);
        last = last > width ? width : last;
        float total[3] = {0.0F, 0.0F, 0.0F};
        for (int32_t at = first; at < last; at++) {
            float share = at > first && at + 1 < last ? 1.0F : overlap(at, low, high);
            for (int c = 0; c < channels && c < 3; c++) {
                total[c] += share * (float)from[(size_t)at * (size_t)channels + (size_t)c];
            }
        }
        for (int c = 0; c < channels && c < 3; c++) {
            sum[x * channels + c] = total[c];
        }
    }
}

enum kb_status kb_shrink(const uint8_t *from, int32_t width, int32_t height, size_t stride,
                         int channels, int32_t to_width, int32_t to_height, uint8_t *to,
                         struct kb_err *err) {
    size_t length = (size_t)to_width * (size_t)channels;
    float *row = kb_alloc(length, sizeof *row);
    float *sum = kb_alloc(length, sizeof *sum);
    if (row == NULL || sum == NULL) {
        kb_free(row);
        kb_free(sum);
        return kb_fail_memory(err, "report", length * sizeof *row);
    }
    double step = (double)height / to_height;
    float norm = (float)((double)to_width / width / step);
    int32_t have = -1; /* old row whose column sums `row` holds: two new rows may share one */
    for (int32_t y = 0; y < to_height; y++) {
        double low = y * step, high = (y + 1) * step;
        memset(sum, 0, length * sizeof *sum);
        for (int32_t at = (int32_t)low; at < height && at < high; at++) {
            if (at != have) {
                shrink_row(from + (size_t)at * stride, width, channels, to_width, row);
                have = at;
            }
            float share = overlap(at, low, high) * norm;
            for (size_t i = 0; i < length; i++) {
                sum[i] += share * row[i];
            }
        }
        for (size_t i = 0; i < length; i++) {
            float level = sum[i] + 0.5F;
            to[(size_t)y * length + i] = level > 255.0F ? 255 : (uint8_t)level;
        }
    }
    kb_free(row);
    kb_free(sum);
    return KB_OK;
}
