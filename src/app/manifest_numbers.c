/* manifest_numbers.c - decimal commas.
 *
 * "0,52" can only be a decimal comma and "0.52" only a decimal point. "1,050" can be one and a bit
 * or a thousand and fifty: what the rest of the file uses decides, then the separator (a file with
 * semicolons comes from where the comma is the decimal sign). What stays in doubt, and every number
 * with both signs, is refused: a tensile strength that is read a thousand times too small is worse
 * than an error.
 */
#include "manifest.h"

#include <ctype.h>
#include <string.h>

enum look { NO_SIGN, COMMA, POINT, COMMA_OR_THOUSANDS, POINT_OR_THOUSANDS, SEVERAL_SIGNS };

static bool is_digit(char c) {
    return isdigit((unsigned char)c) != 0;
}

/* Length of the number at `at`: digits, with signs between digits. */
static size_t number_length(const char *at) {
    size_t length = 0;
    while (is_digit(at[length]) ||
           ((at[length] == ',' || at[length] == '.') && length > 0 && is_digit(at[length + 1]))) {
        length++;
    }
    return length;
}

static enum look look_at(const char *number, size_t length) {
    size_t signs = 0;
    size_t before = 0;
    char sign = 0;
    for (size_t i = 0; i < length; i++) {
        if (!is_digit(number[i])) {
            signs++;
            sign = number[i];
            before = i;
        }
    }
    if (signs != 1) {
        return signs == 0 ? NO_SIGN : SEVERAL_SIGNS;
    }
    const size_t group = 3; /* digits of a group of thousands */
    const bool thousands = length - before - 1 == group && before <= group && number[0] != '0';
    if (sign == ',') {
        return thousands ? COMMA_OR_THOUSANDS : COMMA;
    }
    return thousands ? POINT_OR_THOUSANDS : POINT;
}

void kb_decimals_look(const char *cell, struct kb_decimals *decimals) {
    while (*cell != '\0') {
        const size_t length = number_length(cell);
        const enum look look = look_at(cell, length);
        decimals->comma = decimals->comma || look == COMMA;
        decimals->point = decimals->point || look == POINT;
        cell += length > 0 ? length : 1;
    }
}

/* NULL when the sign is a decimal one. */
static const char *doubt(enum look look, const struct kb_decimals *decimals) {
    static const char both[] = "is it a decimal or a thousands sign? (write the number with a "
                               "decimal point and without groups)";
    const bool one_kind = decimals->comma != decimals->point;
    switch (look) {
    case SEVERAL_SIGNS:
        return "a number with several points or commas (write it without groups of thousands)";
    case COMMA_OR_THOUSANDS:
        return (one_kind ? decimals->comma : !decimals->point && decimals->separator == ';') ? NULL
                                                                                             : both;
    case POINT_OR_THOUSANDS:
        return (one_kind ? decimals->point : !decimals->comma && decimals->separator != ';') ? NULL
                                                                                             : both;
    default:
        return NULL;
    }
}

const char *kb_decimals_to_point(const char *cell, const struct kb_decimals *decimals, char *to,
                                 size_t size) {
    size_t kept = 0;
    if (strlen(cell) >= size) {
        return "too long for a number";
    }
    while (*cell != '\0') {
        const size_t length = number_length(cell);
        const char *wrong = doubt(look_at(cell, length), decimals);
        if (wrong != NULL) {
            return wrong;
        }
        for (size_t i = 0; i < length; i++) {
            to[kept++] = cell[i];
            if (cell[i] == ',') {
                to[kept - 1] = '.';
            }
        }
        cell += length;
        if (length == 0) {
            to[kept++] = *cell++;
        }
    }
    to[kept] = '\0';
    return NULL;
}
