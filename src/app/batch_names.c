/* batch_names.c - names of batches and specimens as names of folders.
 *
 * Letters, digits and what is not ASCII stay, so that a person finds the specimen again; what
 * separates folders, what shells and other file systems give a meaning, controls and blanks become
 * one '-'. Two names may come out alike, or differ in case alone: the later one gets a number.
 */
#include "batch_run.h"

#include <ctype.h>
#include <string.h>
#include <strings.h>

enum { NAME_MOST = 120 }; /* bytes; file systems take 255, and the number goes behind */

static bool stays(unsigned char c) {
    return c >= 0x80 || isalnum(c) != 0 || strchr("_+=.", c) != NULL;
}

/* No name that is hidden, empty or means another folder. */
static void plain_name(const char *name, char to[NAME_MOST + 1]) {
    size_t length = 0;
    for (const char *c = name; *c != '\0' && length < NAME_MOST; c++) {
        if (stays((unsigned char)*c)) {
            to[length++] = *c;
        } else if (length > 0 && to[length - 1] != '-') {
            to[length++] = '-';
        }
    }
    while (length > 0 && (unsigned char)to[length - 1] >= 0x80 && name[length] != '\0' &&
           ((unsigned char)name[length] & 0xc0) == 0x80) {
        length--; /* not in the middle of a character */
    }
    while (length > 0 && (to[length - 1] == '-' || to[length - 1] == '.')) {
        length--;
    }
    to[length] = '\0';
    if (length == 0) {
        (void)snprintf(to, NAME_MOST, "unnamed");
    } else if (to[0] == '.') {
        to[0] = '-';
    }
}

static bool is_taken(const char *name, char *const *taken, size_t count) {
    for (size_t i = 0; i < count; i++) {
        if (strcasecmp(name, taken[i]) == 0) {
            return true;
        }
    }
    return false;
}

char *kb_batch_folder_name(const char *name, char *const *taken, size_t count) {
    char plain[NAME_MOST + 1], numbered[NAME_MOST + 24];
    plain_name(name, plain);
    (void)snprintf(numbered, sizeof numbered, "%s", plain);
    for (size_t number = 2; is_taken(numbered, taken, count); number++) {
        (void)snprintf(numbered, sizeof numbered, "%s-%zu", plain, number);
    }
    return kb_copy_string(numbered);
}
