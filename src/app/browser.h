/* browser.h - the person's own browser. */
#ifndef KB_BROWSER_H
#define KB_BROWSER_H

#include <stdbool.h>

/* Ask the desktop to open the address; false where there is none to ask. */
bool kb_open_browser(const char *address);

#endif
