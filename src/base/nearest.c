/* nearest.c - "did you mean": the name at the smallest edit distance (Levenshtein, Soviet Physics
 * Doklady 10 (1966) 707), one row of the table at a time. */
#include "keelblock/base.h"

#include <string.h>

enum { LONGEST = 63 }; /* option names and keys are shorter; longer words are never a slip */

static size_t least(size_t a, size_t b, size_t c) {
    size_t ab = a < b ? a : b;
    return ab < c ? ab : c;
}

/* Capitals, '-' and ' ' are slips that should cost nothing. */
static char plain(char c) {
    if (c >= 'A' && c <= 'Z') {
        return (char)(c - 'A' + 'a');
    }
    return c == '-' || c == ' ' ? '_' : c;
}

static size_t edit_distance(const char *a, const char *b) {
    size_t row[LONGEST + 1];
    size_t length_a = strlen(a), length_b = strlen(b);
    if (length_a > LONGEST || length_b > LONGEST) {
        return SIZE_MAX;
    }
    for (size_t k = 0; k <= length_b; k++) {
        row[k] = k;
    }
    for (size_t i = 1; i <= length_a; i++) {
        size_t diagonal = row[0];
        row[0] = i;
        for (size_t k = 1; k <= length_b; k++) {
            size_t replaced = diagonal + (plain(a[i - 1]) != plain(b[k - 1]) ? 1 : 0);
            diagonal = row[k];
            row[k] = least(replaced, row[k] + 1, row[k - 1] + 1);
        }
    }
    return row[length_b];
}

const char *kb_nearest_name(const char *said, const char *const *names, size_t count) {
    size_t best = strlen(said) / 3 + 1;
    const char *nearest = NULL;
    for (size_t i = 0; i < count; i++) {
        size_t distance = edit_distance(said, names[i]);
        if (distance < best || (nearest == NULL && distance == best)) {
            best = distance;
            nearest = names[i];
        }
    }
    return nearest;
}
