/* terminal.h - what the program knows of the screen that it talks to. */
#ifndef KB_TERMINAL_H
#define KB_TERMINAL_H

#include "keelblock/base.h"

int kb_terminal_columns(void); /* of standard output; 80 when it is no terminal */
bool kb_terminal_colour(void); /* standard output is a terminal and NO_COLOR is not set */

struct kb_terminal_progress {
    struct kb_progress progress;
    double started_s;
    bool shown;
};
/* Progress on standard error, from the second second on, when that is a terminal; NULL when it is
 * not or when `silent`. */
const struct kb_progress *kb_terminal_progress_start(struct kb_terminal_progress *bar, bool silent);
void kb_terminal_progress_end(struct kb_terminal_progress *bar);

#endif
