/* strips.c - how a picture is cut into strips of rows for the threads.
 *
 * Every filter of this stage gives the same bytes whatever the cut: strips only read across their
 * edges, and sums are of integers.
 */
#include "raster_priv.h"

#include <omp.h>

/* Below this many rows a strip costs more to start than it saves. */
#define ROWS_MIN 64

int kb_strips(int32_t height) {
    if (omp_in_parallel()) {
        return 1;
    }
    int threads = omp_get_max_threads();
    int worthwhile = height / ROWS_MIN;
    int strips = threads < worthwhile ? threads : worthwhile;
    return strips > 1 ? strips : 1;
}

int32_t kb_strip_start(int32_t height, int count, int index) {
    return (int32_t)((int64_t)height * index / count);
}
