/* words_table.c - a language's table of phrases, read from the file that was built in.
 *
 * Two columns, English and the language; fields as RFC 4180 has them. Rows are put in order once:
 * by the first byte of the English, and within it the most literal first, so that the first row
 * that matches is the one that says most about the phrase. Rows that begin with a place stand
 * under byte 0.
 */
#include "words_priv.h"

#include <stdlib.h>
#include <string.h>

const char *kb_language_name(enum kb_language language) {
    return language == KB_GERMAN ? "de" : "en";
}

bool kb_language_parse(const char *name, enum kb_language *language) {
    for (int i = KB_ENGLISH; i <= KB_GERMAN; i++) {
        const char *own = kb_language_name((enum kb_language)i);
        if (strncmp(name, own, 2) == 0 && (name[2] == '\0' || name[2] == '-' || name[2] == '_')) {
            *language = (enum kb_language)i;
            return true;
        }
    }
    return false;
}

const char *kb_words_sheets(enum kb_language language) {
    return language == KB_GERMAN ? "Seite %zu von %zu" : "page %zu of %zu";
}

/* ---- the file ---- */

/* The next field, unquoted in place; `at` moves behind its comma or line end. */
static char *field(char **at) {
    char *to = *at, *start = *at, *from = *at;
    bool quoted = *from == '"';
    from += quoted ? 1 : 0;
    while (*from != '\0' && (quoted || (*from != ',' && *from != '\n'))) {
        if (quoted && *from == '"') {
            if (from[1] != '"') {
                from++;
                break;
            }
            from++;
        }
        *to++ = *from++;
    }
    *at = *from != '\0' ? from + 1 : from;
    *to = '\0';
    return start;
}

static bool is_place(const char *at) {
    return at[0] == '{' && at[1] != '\0' && strchr("ndst", at[1]) != NULL && at[2] == '}';
}

static size_t literal_of(const char *from) {
    size_t count = 0;
    while (*from != '\0') {
        bool place = is_place(from);
        count += place ? 0 : 1;
        from += place ? 3 : 1;
    }
    return count;
}

static unsigned first_byte(const struct kb_words_row *row) {
    return is_place(row->from) ? 0 : (unsigned char)row->from[0];
}

static int by_place_in_table(const void *a, const void *b) {
    const struct kb_words_row *left = a, *right = b;
    unsigned x = first_byte(left), y = first_byte(right);
    if (x != y) {
        return x < y ? -1 : 1;
    }
    if (left->literal != right->literal) {
        return left->literal > right->literal ? -1 : 1;
    }
    return strcmp(left->from, right->from);
}

static void index_rows(struct kb_words *words) {
    qsort(words->row, words->rows, sizeof *words->row, by_place_in_table);
    size_t next = 0;
    for (unsigned byte = 0; byte < 256; byte++) {
        words->first[byte] = next;
        while (next < words->rows && first_byte(&words->row[next]) == byte) {
            next++;
        }
    }
    words->first[256] = next;
}

enum kb_status kb_words_read(const char *table, size_t size, struct kb_words *words,
                             struct kb_err *err) {
    *words = (struct kb_words){.text = kb_alloc(size + 1, 1)};
    size_t capacity = 0;
    if (words->text == NULL) {
        return kb_fail_memory(err, "words", size);
    }
    memcpy(words->text, table, size);
    words->text[size] = '\0';
    char *at = words->text;
    (void)field(&at); /* names of the columns */
    (void)field(&at);
    while (*at != '\0') {
        if (!kb_grow((void **)&words->row, words->rows, &capacity, sizeof *words->row)) {
            kb_words_close(words);
            return kb_fail_memory(err, "words", capacity);
        }
        struct kb_words_row *row = &words->row[words->rows];
        row->from = field(&at);
        row->to = field(&at);
        row->literal = literal_of(row->from);
        words->rows += row->from[0] != '\0' ? 1 : 0;
    }
    if (words->rows > 0) {
        index_rows(words);
    }
    return KB_OK;
}

enum kb_status kb_words_open(enum kb_language language, struct kb_words *words,
                             struct kb_err *err) {
    const bool german = language == KB_GERMAN;
    return kb_words_read(german ? (const char *)kb_words_de : "", german ? kb_words_de_size : 0,
                         words, err);
}

void kb_words_close(struct kb_words *words) {
    kb_free(words->text);
    kb_free(words->row);
    *words = (struct kb_words){.text = NULL};
}
