/* bench_raster.c - how long each function of the raster stage takes on one field.
 *
 *   bench_raster [WIDTH HEIGHT [REPEATS]]        default 4000 3000 7
 *
 * Draws a field with some 2000 dark discs on a noisy matrix, runs every function several times, and
 * prints the fastest and the median in milliseconds. Threads: OMP_NUM_THREADS.
 */
#include "keelblock/raster.h"

#include <stdlib.h>
#include <string.h>

#define DISCS 2000
#define REPEATS_MOST 101

/* What every case works on. */
struct bench {
    struct kb_image grey, mask, to;
    bool set[256]; /* label 1 */
    int32_t radius;
    struct kb_runs runs;
};

struct bench_case {
    const char *name;
    int32_t radius;
    enum kb_status (*work)(struct bench *bench);
};

/* Marsaglia, Journal of Statistical Software 8 (2003) 14: xorshift with shifts 13, 17, 5. */
static uint32_t next_random(uint32_t *state) {
    *state ^= *state << 13;
    *state ^= *state >> 17;
    *state ^= *state << 5;
    return *state;
}

static void draw_disc(struct bench *bench, int32_t cx, int32_t cy, int32_t radius) {
    for (int32_t y = cy - radius; y <= cy + radius; y++) {
        for (int32_t x = cx - radius; x <= cx + radius; x++) {
            int32_t dx = x - cx;
            int32_t dy = y - cy;
            if (x >= 0 && y >= 0 && x < bench->mask.width && y < bench->mask.height &&
                dx * dx + dy * dy <= radius * radius) {
                kb_row(&bench->mask, y)[x] = 1;
                kb_row(&bench->grey, y)[x] /= 3;
            }
        }
    }
}

static void draw_field(struct bench *bench) {
    uint32_t state = 2463534242u;
    kb_image_fill(&bench->mask, 0);
    for (int32_t y = 0; y < bench->grey.height; y++) {
        for (int32_t x = 0; x < bench->grey.width; x++) {
            kb_row(&bench->grey, y)[x] = (uint8_t)(170 + next_random(&state) % 50);
        }
    }
    for (int disc = 0; disc < DISCS; disc++) {
        int32_t x = (int32_t)(next_random(&state) % (uint32_t)bench->mask.width);
        int32_t y = (int32_t)(next_random(&state) % (uint32_t)bench->mask.height);
        draw_disc(bench, x, y, 8 + (int32_t)(next_random(&state) % 16));
    }
}

static enum kb_status do_histogram(struct bench *bench) {
    uint64_t bins[256];
    kb_histogram(&bench->grey, NULL, NULL, bins);
    return bins[0] == UINT64_MAX ? KB_E_SYSTEM : KB_OK;
}

static enum kb_status do_histogram_chosen(struct bench *bench) {
    uint64_t bins[256];
    kb_histogram(&bench->grey, &bench->mask, bench->set, bins);
    return bins[0] == UINT64_MAX ? KB_E_SYSTEM : KB_OK;
}

static enum kb_status do_smooth(struct bench *bench) {
    return kb_smooth(&bench->grey, &bench->to, NULL);
}

static enum kb_status do_median(struct bench *bench) {
    return kb_median(&bench->grey, &bench->to, NULL);
}

static enum kb_status do_mean(struct bench *bench) {
    return kb_local_mean(&bench->grey, &bench->mask, bench->set, bench->radius, &bench->to, NULL);
}

static enum kb_status do_deviation(struct bench *bench) {
    return kb_local_deviation(&bench->grey, &bench->mask, bench->set, bench->radius, &bench->to,
                              NULL);
}

static enum kb_status do_erode(struct bench *bench) {
    return kb_erode(&bench->mask, bench->radius, &bench->to, NULL);
}

static enum kb_status do_dilate(struct bench *bench) {
    return kb_dilate(&bench->mask, bench->radius, &bench->to, NULL);
}

static enum kb_status do_label(struct bench *bench) {
    kb_runs_release(&bench->runs);
    return kb_runs_label(&bench->mask, bench->set, 8, &bench->runs, NULL);
}

static enum kb_status do_order(struct bench *bench) {
    struct kb_run_order order;
    enum kb_status status = kb_run_order_make(&bench->runs, &order, NULL);
    if (status == KB_OK) {
        kb_run_order_release(&order);
    }
    return status;
}

/* A window of 200 x 200 pixels at a time, as separating touching particles does. */
static enum kb_status do_distance(struct bench *bench) {
    enum { SIDE = 200 };
    static uint8_t window[SIDE * SIDE];
    static uint32_t squared[SIDE * SIDE];
    for (int32_t y0 = 0; y0 + SIDE <= bench->mask.height; y0 += SIDE) {
        for (int32_t x0 = 0; x0 + SIDE <= bench->mask.width; x0 += SIDE) {
            for (int32_t y = 0; y < SIDE; y++) {
                memcpy(window + y * SIDE, kb_row(&bench->mask, y0 + y) + x0, SIDE);
            }
            enum kb_status status = kb_distance_squared(window, SIDE, SIDE, false, squared, NULL);
            if (status != KB_OK) {
                return status;
            }
        }
    }
    return KB_OK;
}

static int by_value(const void *a, const void *b) {
    double left = *(const double *)a;
    double right = *(const double *)b;
    return left < right ? -1 : left > right;
}

static enum kb_status time_case(struct bench *bench, const struct bench_case *which, int repeats) {
    double ms[REPEATS_MOST];
    bench->radius = which->radius;
    for (int i = 0; i < repeats; i++) {
        double start = kb_clock_s();
        enum kb_status status = which->work(bench);
        if (status != KB_OK) {
            return status;
        }
        ms[i] = 1e3 * (kb_clock_s() - start);
    }
    qsort(ms, (size_t)repeats, sizeof ms[0], by_value);
    (void)printf("%-22s %8.2f %8.2f\n", which->name, ms[0], ms[repeats / 2]);
    return KB_OK;
}

static const struct bench_case cases[] = {
    {"histogram", 0, do_histogram},
    {"histogram, chosen", 0, do_histogram_chosen},
    {"smooth", 0, do_smooth},
    {"median", 0, do_median},
    {"local mean, r 10", 10, do_mean},
    {"local mean, r 100", 100, do_mean},
    {"local deviation, r 10", 10, do_deviation},
    {"erode, r 3", 3, do_erode},
    {"dilate, r 3", 3, do_dilate},
    {"dilate, r 20", 20, do_dilate},
    {"dilate, r 200", 200, do_dilate},
    {"label", 0, do_label},
    {"run order", 0, do_order},
    {"distance, 200 x 200", 0, do_distance},
};

static enum kb_status run_cases(int32_t width, int32_t height, int repeats) {
    struct bench bench = {.set = {[1] = true}};
    enum kb_status status = kb_image_alloc(width, height, &bench.grey, NULL);
    if (status == KB_OK) {
        status = kb_image_alloc(width, height, &bench.mask, NULL);
    }
    if (status == KB_OK) {
        status = kb_image_alloc(width, height, &bench.to, NULL);
    }
    if (status == KB_OK) {
        draw_field(&bench);
        (void)printf("%d x %d pixels, ms       fastest   median\n", width, height);
    }
    for (size_t i = 0; status == KB_OK && i < sizeof cases / sizeof cases[0]; i++) {
        status = time_case(&bench, &cases[i], repeats);
    }
    kb_runs_release(&bench.runs);
    kb_image_release(&bench.grey);
    kb_image_release(&bench.mask);
    kb_image_release(&bench.to);
    return status;
}

int main(int argc, char **argv) {
    int64_t width = 4000;
    int64_t height = 3000;
    int64_t repeats = 7;
    bool usable = argc == 1 || argc == 3 || argc == 4;
    if (argc >= 3) {
        usable = usable && kb_parse_integer(argv[1], 1, KB_SIDE_MAX, &width) &&
                 kb_parse_integer(argv[2], 1, KB_SIDE_MAX, &height);
    }
    if (argc == 4) {
        usable = usable && kb_parse_integer(argv[3], 1, REPEATS_MOST, &repeats);
    }
    if (!usable) {
        (void)fprintf(stderr, "usage: bench_raster [WIDTH HEIGHT [REPEATS]]\n");
        return 2;
    }
    if (run_cases((int32_t)width, (int32_t)height, (int)repeats) != KB_OK) {
        (void)fprintf(stderr, "bench_raster: out of memory\n");
        return 4;
    }
    return 0;
}
