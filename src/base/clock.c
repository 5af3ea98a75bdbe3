/* clock.c - elapsed time for --timing, and the progress call. */
#include "keelblock/base.h"

#include <time.h>

double kb_clock_s(void) {
    struct timespec now;
    (void)clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

void kb_progress_step(const struct kb_progress *progress, size_t done, size_t total) {
    if (progress != NULL && progress->step != NULL) {
        progress->step(progress->context, done, total);
    }
}
