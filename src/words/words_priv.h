/* words_priv.h - rows of a table of phrases, and how a phrase finds its row. */
#ifndef KB_WORDS_PRIV_H
#define KB_WORDS_PRIV_H

#include "keelblock/words.h"

struct kb_words_row {
    const char *from, *to; /* with places {n}, {d}, {s}, {t} */
    size_t literal;        /* bytes of `from` outside places */
};

struct kb_words {
    char *text; /* what the rows point into */
    struct kb_words_row *row;
    size_t rows;
    size_t first[257]; /* rows that begin with a byte, from first[b] to first[b + 1] */
};

/* One row's places, filled by a match. */
struct kb_words_place {
    const char *at;
    size_t length;
    char kind;
};
enum { KB_WORDS_PLACES = 12, KB_WORDS_DATE = 10 /* bytes of 2026-03-04 */ };

/* The tables as they stand in their files, embedded at build. */
extern const unsigned char kb_words_de[];
extern const size_t kb_words_de_size;

/* A table from the bytes of its file. */
KB_NODISCARD enum kb_status kb_words_read(const char *table, size_t size, struct kb_words *words,
                                          struct kb_err *err);
KB_NODISCARD enum kb_status kb_words_open(enum kb_language language, struct kb_words *words,
                                          struct kb_err *err);
void kb_words_close(struct kb_words *words);
/* Whether the phrase is the row's, and what stands in its places. */
bool kb_words_match(const char *from, const char *phrase, size_t length,
                    struct kb_words_place *place, size_t *places);
/* The phrase in the language; false when there is no row for some part of it. */
bool kb_words_look_up(const struct kb_words *words, const char *phrase, size_t length, int depth,
                      struct kb_text *out);
/* A text of one or several sentences: the whole, else the longest beginnings that have rows, one
 * after the other. A sentence without a row is added as it stands, and to `left`. */
void kb_words_say(const struct kb_words *words, const char *phrase, size_t length,
                  struct kb_text *out, struct kb_text *left);
/* Length of the number that begins here; 0: none. */
size_t kb_words_number(const char *at, size_t length);
/* Length of the date, with or without a time, that begins here; 0: none. */
size_t kb_words_moment(const char *at, size_t length);
void kb_words_add_number(struct kb_text *out, const char *at, size_t length);
/* Numbers and dates in what has no words. */
void kb_words_add_plain(struct kb_text *out, const char *at, size_t length);

#endif
