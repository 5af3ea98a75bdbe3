/* words_number.c - numbers and dates in the language's form: decimal comma, day before month.
 *
 * Digits stay as they are; a number is found by its digits, a date by the form 2026-03-04. Numbers
 * with two points are versions and the like, and are left alone.
 */
#include "words_priv.h"

#include <string.h>

static bool digit(char c) {
    return c >= '0' && c <= '9';
}

size_t kb_words_number(const char *at, size_t length) {
    static const char minus[] = "\xe2\x88\x92"; /* U+2212 */
    size_t used = 0;
    if (length > 0 && (at[0] == '-' || at[0] == '+')) {
        used = 1;
    } else if (length > 3 && memcmp(at, minus, 3) == 0) {
        used = 3;
    }
    size_t start = used;
    while (used < length && digit(at[used])) {
        used++;
    }
    if (used == start) {
        return 0;
    }
    if (used + 1 < length && at[used] == '.' && digit(at[used + 1])) {
        used++;
        while (used < length && digit(at[used])) {
            used++;
        }
    }
    if (used + 2 < length && at[used] == 'e' && (at[used + 1] == '-' || at[used + 1] == '+') &&
        digit(at[used + 2])) {
        used += 2;
        while (used < length && digit(at[used])) {
            used++;
        }
    }
    return used;
}

void kb_words_add_number(struct kb_text *out, const char *at, size_t length) {
    for (size_t i = 0; i < length; i++) {
        kb_text_add_bytes(out, at[i] == '.' ? "," : at + i, 1);
    }
}

/* "2026-03-04" */
static bool date(const char *at, size_t length) {
    static const char form[] = "0000-00-00";
    bool is = length >= KB_WORDS_DATE && (length == KB_WORDS_DATE || !digit(at[KB_WORDS_DATE]));
    for (size_t i = 0; i < KB_WORDS_DATE && is; i++) {
        is = form[i] == '0' ? digit(at[i]) : at[i] == form[i];
    }
    return is;
}

/* A date, and the time behind it: "2026-03-04 09:41:00 +01:00". */
size_t kb_words_moment(const char *at, size_t length) {
    size_t used = date(at, length) ? KB_WORDS_DATE : 0;
    while (used > 0 && used < length &&
           (digit(at[used]) || at[used] == ':' ||
            (at[used] == ' ' && used + 1 < length &&
             (digit(at[used + 1]) || at[used + 1] == '+' || at[used + 1] == '-')) ||
            ((at[used] == '+' || at[used] == '-') && at[used - 1] == ' '))) {
        used++;
    }
    return used;
}

/* Day, month, year: "04.03.2026". */
static void add_date(struct kb_text *out, const char *at) {
    kb_text_format(out, "%.2s.%.2s.%.4s", at + 8, at + 5, at);
}

void kb_words_add_plain(struct kb_text *out, const char *at, size_t length) {
    size_t i = 0;
    while (i < length) {
        size_t number = kb_words_number(at + i, length - i);
        if (date(at + i, length - i)) {
            add_date(out, at + i);
            i += KB_WORDS_DATE;
        } else if (number > 0 && i + number + 1 < length && at[i + number] == '.' &&
                   digit(at[i + number + 1])) {
            /* a version or the like: 1.2.3 */
            while (i < length && (digit(at[i]) || at[i] == '.')) {
                kb_text_add_bytes(out, at + i++, 1);
            }
        } else if (number > 0) {
            kb_words_add_number(out, at + i, number);
            i += number;
        } else {
            kb_text_add_bytes(out, at + i++, 1);
        }
    }
}
