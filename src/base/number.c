/* number.c - strict numbers and quantities: the whole string or nothing.
 *
 * A laboratory's typing slip must be an error, never a silently different number. So: no leading or
 * trailing rubbish, no NaN or infinity, no hexadecimal, and a length always says its unit.
 */
#include "keelblock/base.h"

#include <ctype.h>
#include <errno.h>
#include <stdlib.h>
#include <string.h>

char *kb_trim(char *string) {
    while (isspace((unsigned char)*string)) {
        string++;
    }
    size_t length = strlen(string);
    while (length > 0 && isspace((unsigned char)string[length - 1])) {
        string[--length] = '\0';
    }
    return string;
}

/* Read a plain decimal number at the start of `string`; *rest points behind it and its blanks. */
static bool number_prefix(const char *string, double *value, const char **rest) {
    const char *c = string;
    if (*c == '+' || *c == '-') {
        c++;
    }
    /* strtod also takes "nan", "inf" and "0x1p3": only digits and a point may begin a number here
     */
    if (!isdigit((unsigned char)c[0]) && !(c[0] == '.' && isdigit((unsigned char)c[1]))) {
        return false;
    }
    if (c[0] == '0' && (c[1] == 'x' || c[1] == 'X')) {
        return false;
    }
    struct kb_locale locale = kb_locale_enter();
    char *end = NULL;
    double parsed = strtod(string, &end);
    kb_locale_leave(locale);
    if (end == string || !isfinite(parsed)) {
        return false;
    }
    while (*end == ' ') {
        end++;
    }
    *value = parsed;
    *rest = end;
    return true;
}

bool kb_parse_number(const char *string, double *value) {
    const char *rest = NULL;
    double parsed = 0.0;
    if (!number_prefix(string, &parsed, &rest) || *rest != '\0') {
        return false;
    }
    *value = parsed;
    return true;
}

bool kb_parse_integer(const char *string, int64_t low, int64_t high, int64_t *value) {
    const char *digits = string + (*string == '-' || *string == '+' ? 1 : 0);
    if (!isdigit((unsigned char)*digits)) {
        return false;
    }
    char *end = NULL;
    errno = 0;
    long long parsed = strtoll(string, &end, 10);
    if (errno != 0 || *end != '\0' || parsed < low || parsed > high) {
        return false;
    }
    *value = parsed;
    return true;
}

bool kb_parse_length_um(const char *string, double *um) {
    static const struct {
        const char *name;
        double um;
    } unit[] = {
        {"um", 1.0},        {"\xc2\xb5m", 1.0}, /* micro sign */
        {"\xce\xbcm", 1.0},                     /* Greek mu */
        {"nm", 1e-3},       {"mm", 1e3},
    };
    const char *rest = NULL;
    double parsed = 0.0;
    if (!number_prefix(string, &parsed, &rest)) {
        return false;
    }
    for (size_t i = 0; i < sizeof unit / sizeof unit[0]; i++) {
        if (strcmp(rest, unit[i].name) == 0) {
            *um = parsed * unit[i].um;
            return true;
        }
    }
    return false;
}

bool kb_parse_pixels(const char *string, double *px) {
    const char *rest = NULL;
    double parsed = 0.0;
    if (!number_prefix(string, &parsed, &rest) || strcmp(rest, "px") != 0) {
        return false;
    }
    *px = parsed;
    return true;
}

bool kb_parse_fraction(const char *string, double *fraction) {
    const char *rest = NULL;
    double parsed = 0.0;
    if (!number_prefix(string, &parsed, &rest)) {
        return false;
    }
    if (strcmp(rest, "%") == 0) {
        parsed /= 100.0;
    } else if (*rest != '\0') {
        return false;
    }
    if (parsed < 0.0 || parsed > 1.0) {
        return false;
    }
    *fraction = parsed;
    return true;
}
