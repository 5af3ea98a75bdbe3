/* terminal.c - width, colour and progress of the terminal. */
#include "terminal.h"

#include <stdlib.h>
#include <sys/ioctl.h>
#include <unistd.h>

int kb_terminal_columns(void) {
    struct winsize size;
    if (ioctl(STDOUT_FILENO, TIOCGWINSZ, &size) == 0 && size.ws_col >= 40) {
        return size.ws_col;
    }
    return 80;
}

bool kb_terminal_colour(void) {
    const char *no_colour = getenv("NO_COLOR");
    return isatty(STDOUT_FILENO) == 1 && (no_colour == NULL || no_colour[0] == '\0');
}

static void step(void *context, size_t done, size_t total) {
    struct kb_terminal_progress *bar = context;
    double spent = kb_clock_s() - bar->started_s;
    if (spent < 1.0) { /* short work needs no talk */
        return;
    }
    double left = done > 0 ? spent / (double)done * (double)(total - done) : 0.0;
    const double minute = 60.0, hour = 3600.0;
    const char *unit = "s";
    int decimals = 0;
    if (left >= 2.0 * hour) { /* in the unit that a person would say it in */
        left /= hour;
        unit = "h";
        decimals = 1;
    } else if (left >= 2.0 * minute) {
        left /= minute;
        unit = "min";
    }
    (void)fprintf(stderr, "\r%zu of %zu fields, about %.*f %s left    ", done, total, decimals,
                  left, unit);
    (void)fflush(stderr);
    bar->shown = true;
}

const struct kb_progress *kb_terminal_progress_start(struct kb_terminal_progress *bar,
                                                     bool silent) {
    *bar = (struct kb_terminal_progress){.progress = {step, bar}, .started_s = kb_clock_s()};
    return !silent && isatty(STDERR_FILENO) == 1 ? &bar->progress : NULL;
}

void kb_terminal_progress_end(struct kb_terminal_progress *bar) {
    if (bar->shown) {
        (void)fprintf(stderr, "\r%50s\r", "");
    }
}
