/* dates.c - days and times as ISO 8601 writes them: "2026-03-04", "2026-03-04T09:41:00+01:00". */
#include "register_priv.h"

#include <string.h>
#include <time.h>

/* `count` digits to a number within low..high; *at moves behind them. */
static bool digits(const char **at, int count, int low, int high, int *value) {
    *value = 0;
    for (int i = 0; i < count; i++) {
        const char c = (*at)[i];
        if (c < '0' || c > '9') {
            return false;
        }
        *value = 10 * *value + (c - '0');
    }
    *at += count;
    return *value >= low && *value <= high;
}

static bool sign(const char **at, char wanted) {
    const bool is = **at == wanted;
    *at += is ? 1 : 0;
    return is;
}

/* "+01:00" or "Z" in seconds east. */
static bool zone(const char **at, int *east_s) {
    int hours = 0, minutes = 0;
    *east_s = 0;
    if (sign(at, 'Z') || **at == '\0') {
        return true;
    }
    const int way = **at == '-' ? -1 : 1;
    if ((!sign(at, '+') && !sign(at, '-')) || !digits(at, 2, 0, 14, &hours) || !sign(at, ':') ||
        !digits(at, 2, 0, 59, &minutes)) {
        return false;
    }
    *east_s = way * (hours * 3600 + minutes * 60);
    return true;
}

bool kb_register_date(const char *text, int64_t *seconds) {
    struct tm at = {.tm_year = 0};
    int year = 0, month = 0, east_s = 0;
    const char *c = text;
    if (!digits(&c, 4, 1900, 9999, &year) || !sign(&c, '-') || !digits(&c, 2, 1, 12, &month) ||
        !sign(&c, '-') || !digits(&c, 2, 1, 31, &at.tm_mday)) {
        return false;
    }
    at.tm_year = year - 1900; /* struct tm counts from 1900, months from 0 */
    at.tm_mon = month - 1;
    const int day = at.tm_mday;
    if (sign(&c, 'T') &&
        (!digits(&c, 2, 0, 23, &at.tm_hour) || !sign(&c, ':') ||
         !digits(&c, 2, 0, 59, &at.tm_min) ||
         (sign(&c, ':') && !digits(&c, 2, 0, 60, &at.tm_sec)) || !zone(&c, &east_s))) {
        return false;
    }
    const time_t instant = timegm(&at);
    *seconds = (int64_t)instant - east_s;
    return *c == '\0' && at.tm_mday == day; /* 30 February would have become 2 March */
}
