/* browser.c - the person's own browser, opened at an address. No shell sees the address. */
#include "browser.h"

#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/types.h>
#include <sys/wait.h>
#include <unistd.h>

/* Where there is no screen there is no browser to open. */
static bool has_screen(void) {
    const char *const name[] = {"DISPLAY", "WAYLAND_DISPLAY"};
    for (size_t i = 0; i < sizeof name / sizeof name[0]; i++) {
        const char *value = getenv(name[i]);
        if (value != NULL && value[0] != '\0') {
            return true;
        }
    }
    return false;
}

/* The child's child opens it, so that nobody has to wait for a browser to end. */
_Noreturn static void open_apart(const char *address) {
    char command[] = "xdg-open", copy[256];
    char *const argv[] = {command, copy, NULL};
    (void)snprintf(copy, sizeof copy, "%s", address);
    if (fork() != 0) {
        _exit(0);
    }
    sigset_t none;
    (void)sigemptyset(&none);
    (void)sigprocmask(SIG_SETMASK, &none, NULL); /* ours are not its own */
    (void)setsid();
    if (freopen("/dev/null", "r", stdin) != NULL && freopen("/dev/null", "w", stdout) != NULL &&
        freopen("/dev/null", "w", stderr) != NULL) {
        (void)execvp(command, argv);
    }
    _exit(127);
}

bool kb_open_browser(const char *address) {
    if (!has_screen()) {
        return false;
    }
    const pid_t child = fork();
    if (child == 0) {
        open_apart(address);
    }
    return child > 0 && waitpid(child, NULL, 0) == child;
}
