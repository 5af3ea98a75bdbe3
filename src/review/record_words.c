/* record_words.c - a line of the record as one sentence, for the list of what was done. */
#include "record_priv.h"

static void put_level(char *to, size_t size, double level) {
    if (isfinite(level)) {
        (void)snprintf(to, size, "%.4g", level);
    } else {
        (void)snprintf(to, size, "as found");
    }
}

static void thresholds(const struct kb_record_entry *entry, char *to, size_t size) {
    char dark[24], bright[24];
    put_level(dark, sizeof dark, entry->dark);
    put_level(bright, sizeof bright, entry->bright);
    if (isfinite(entry->bright)) {
        (void)snprintf(to, size, "set thresholds: dark %s, bright %s", dark, bright);
    } else {
        (void)snprintf(
            to, size, isfinite(entry->dark) ? "set the dark threshold: %s" : "thresholds %s", dark);
    }
}

static void exclude(const struct kb_record_entry *entry, char *to, size_t size) {
    if (entry->points > 0) {
        (void)snprintf(to, size, "left out an outline of %zu points", entry->points);
    } else {
        (void)snprintf(to, size, "left out %d × %d pixels at %d,%d", (int)entry->rect.width,
                       (int)entry->rect.height, (int)entry->rect.x, (int)entry->rect.y);
    }
}

void kb_record_words(const struct kb_record_entry *entry, char *to, size_t size) {
    const struct kb_place none = {0, 0};
    const struct kb_place at = entry->points > 0 ? entry->point[0] : none;
    const int x = (int)at.x, y = (int)at.y;
    switch (entry->kind) {
    case KB_RECORD_THRESHOLDS:
        thresholds(entry, to, size);
        break;
    case KB_RECORD_EXCLUDE:
        exclude(entry, to, size);
        break;
    case KB_RECORD_CUT:
        (void)snprintf(to, size, "cut graphite with a stroke from %d,%d", x, y);
        break;
    case KB_RECORD_JOIN:
        (void)snprintf(to, size, "joined the particles at %d,%d and %d,%d", x, y,
                       entry->points > 1 ? (int)entry->point[1].x : 0,
                       entry->points > 1 ? (int)entry->point[1].y : 0);
        break;
    case KB_RECORD_PHASE:
        (void)snprintf(to, size, "named the region at %d,%d %s", x, y,
                       entry->phase == KB_EXCLUDED ? "not to be measured"
                                                   : kb_phase_name(entry->phase));
        break;
    case KB_RECORD_FORM:
        (void)snprintf(to, size, "named the particle at %d,%d form %s", x, y,
                       kb_form_roman(entry->form));
        break;
    case KB_RECORD_SCALE:
        (void)snprintf(to, size, "set the scale: the line from %d,%d is %.6g µm", x, y,
                       entry->length_um);
        break;
    case KB_RECORD_UNDO:
    case KB_RECORD_REDO:
        (void)snprintf(to, size, "%s change %llu",
                       entry->kind == KB_RECORD_UNDO ? "undid" : "made again",
                       (unsigned long long)entry->of);
        break;
    default:
        (void)snprintf(to, size, "signed");
        break;
    }
}
