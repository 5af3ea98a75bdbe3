/* words_match.c - a phrase finds its row, and is said in the language.
 *
 * Places in a row: {n} a number, {d} a date with or without a time, {s} text that stays as it is (a
 * name), {t} text that is itself a phrase of the table. They match as little as they can, left to
 * right. The other language has them in the same order, or calls them by number: {1} is the first
 * place of the English. A phrase without a row is cut into sentences, and each is looked up by
 * itself.
 */
#include "words_priv.h"

#include <ctype.h>
#include <string.h>

enum { DEPTH_MOST = 5 }; /* of phrases within phrases */

/* Bytes that a word may hold; beyond ASCII all letters count, signs as well. */
static bool letter(char c) {
    return isalpha((unsigned char)c) != 0;
}

/* ---- matching ---- */

static bool place_here(const char *from, char *kind) {
    *kind = from[0] == '{' && from[1] != '\0' && from[2] == '}' ? from[1] : '\0';
    return *kind == 'n' || *kind == 'd' || *kind == 's' || *kind == 't';
}

bool kb_words_match(const char *from, const char *phrase, size_t length,
                    struct kb_words_place *place, size_t *places) {
    char kind = '\0';
    size_t i = 0;
    while (*from != '\0' && !place_here(from, &kind)) {
        if (i >= length || *from != phrase[i]) {
            return false;
        }
        from++;
        i++;
    }
    if (*from == '\0') {
        return i == length;
    }
    size_t mine = (*places)++;
    if (mine == KB_WORDS_PLACES) {
        return false;
    }
    place[mine].at = phrase + i;
    place[mine].kind = kind;
    if (kind == 'n' || kind == 'd') {
        place[mine].length = kind == 'n' ? kb_words_number(phrase + i, length - i)
                                         : kb_words_moment(phrase + i, length - i);
        i += place[mine].length;
        if (place[mine].length > 0 &&
            kb_words_match(from + 3, phrase + i, length - i, place, places)) {
            return true;
        }
        *places = mine;
        return false;
    }
    for (size_t take = 1; take <= length - i; take++) {
        *places = mine + 1;
        place[mine].length = take;
        if (kb_words_match(from + 3, phrase + i + take, length - i - take, place, places)) {
            return true;
        }
    }
    *places = mine;
    return false;
}

static bool add_place(const struct kb_words *words, const struct kb_words_place *place, int depth,
                      struct kb_text *out) {
    if (place->kind == 'n') {
        kb_words_add_number(out, place->at, place->length);
    } else if (place->kind == 'd') {
        kb_words_add_plain(out, place->at, place->length);
    } else if (place->kind == 's') {
        kb_text_add_bytes(out, place->at, place->length);
    } else {
        return kb_words_look_up(words, place->at, place->length, depth + 1, out);
    }
    return true;
}

static bool fill(const struct kb_words *words, const char *to, const struct kb_words_place *place,
                 size_t places, int depth, struct kb_text *out) {
    size_t next = 0;
    bool all = true;
    while (*to != '\0' && all) {
        char kind = '\0';
        bool named = place_here(to, &kind);
        bool numbered = !named && kind >= '1' && kind <= '9';
        if (!named && !numbered) {
            kb_text_add_bytes(out, to++, 1);
            continue;
        }
        size_t which = numbered ? (size_t)(kind - '1') : next++;
        all = which < places && add_place(words, &place[which], depth, out);
        to += 3;
    }
    return all;
}

static bool look_among(const struct kb_words *words, unsigned byte, const char *phrase,
                       size_t length, int depth, struct kb_text *out) {
    for (size_t i = words->first[byte]; i < words->first[byte + 1]; i++) {
        struct kb_words_place place[KB_WORDS_PLACES];
        size_t places = 0, before = out->length;
        const struct kb_words_row *row = &words->row[i];
        if (row->literal > length || !kb_words_match(row->from, phrase, length, place, &places)) {
            continue;
        }
        if (fill(words, row->to, place, places, depth, out)) {
            return true;
        }
        out->length = before; /* some part of it has no row: try the next */
    }
    return false;
}

static bool wordless(const char *phrase, size_t length) {
    size_t number = 0;
    for (size_t i = 0; i<length; i += number> 0 ? number : 1) {
        number = kb_words_number(phrase + i, length - i); /* it may have an exponent */
        if (number == 0 && letter(phrase[i])) {
            return false;
        }
    }
    return true;
}

static bool row_for(const struct kb_words *words, const char *phrase, size_t length, int depth,
                    struct kb_text *out) {
    return look_among(words, (unsigned char)phrase[0], phrase, length, depth, out) ||
           look_among(words, 0, phrase, length, depth, out);
}

/* Blanks and marks at the edges of a phrase, which are the same in every language here. */
static const char *const edge[] = {
    " ", "\n", ",", ";", ".", ":", "(", ")", "\xc2\xa0", "\xc2\xb7", "\xe2\x80\x93",
};

static size_t edge_bytes(const char *phrase, size_t length, bool at_end) {
    for (size_t i = 0; i < sizeof edge / sizeof *edge; i++) {
        size_t size = strlen(edge[i]);
        if (size <= length &&
            memcmp(at_end ? phrase + length - size : phrase, edge[i], size) == 0) {
            return size;
        }
    }
    return 0;
}

bool kb_words_look_up(const struct kb_words *words, const char *phrase, size_t length, int depth,
                      struct kb_text *out) {
    if (wordless(phrase, length)) {
        kb_words_add_plain(out, phrase, length);
        return true;
    }
    if (depth > DEPTH_MOST || words->rows == 0) {
        return false;
    }
    size_t begin = 0, end = length, step = 0;
    if (row_for(words, phrase, length, depth, out)) {
        return true;
    }
    while ((step = edge_bytes(phrase, end, true)) > 0) {
        end -= step;
        if (row_for(words, phrase, end, depth, out)) {
            kb_text_add_bytes(out, phrase + end, length - end);
            return true;
        }
    }
    while ((step = edge_bytes(phrase + begin, end - begin, false)) > 0) {
        begin += step;
    }
    const size_t before = out->length;
    kb_text_add_bytes(out, phrase, begin);
    if (begin > 0 && (row_for(words, phrase + begin, length - begin, depth, out) ||
                      kb_words_look_up(words, phrase + begin, length - begin, depth, out))) {
        return true;
    }
    out->length = before;
    return false;
}

/* ---- a text of one or several sentences ---- */

static bool blank(char c) {
    return c == ' ' || c == '\n' || c == '\t' || c == '\r';
}

/* Length of the sentence or clause that ends before `length`; 0: there is no shorter one. */
static size_t shorter(const char *phrase, size_t length) {
    for (size_t i = length > 1 ? length - 2 : 0; i > 0; i--) {
        bool ends = phrase[i] == '.' || phrase[i] == ';' || phrase[i] == ':';
        if (ends && phrase[i + 1] == ' ') {
            return i + 1;
        }
    }
    return 0;
}

/* As much as is known from the beginning on; what is not known is said as it stands. */
static size_t say_first(const struct kb_words *words, const char *phrase, size_t length,
                        struct kb_text *out, struct kb_text *left) {
    size_t first = length;
    for (size_t cut = length; cut > 0; cut = shorter(phrase, cut)) {
        if (kb_words_look_up(words, phrase, cut, 0, out)) {
            return cut;
        }
        first = cut;
    }
    kb_text_add_bytes(out, phrase, first);
    if (left != NULL) {
        kb_text_add_bytes(left, phrase, first);
        kb_text_add(left, "\n");
    }
    return first;
}

void kb_words_say(const struct kb_words *words, const char *phrase, size_t length,
                  struct kb_text *out, struct kb_text *left) {
    size_t end = length, at = 0;
    while (end > 0 && blank(phrase[end - 1])) {
        end--;
    }
    while (at < end) {
        if (blank(phrase[at])) {
            kb_text_add_bytes(out, phrase + at++, 1);
        } else {
            at += say_first(words, phrase + at, end - at, out, left);
        }
    }
    kb_text_add_bytes(out, phrase + end, length - end);
}
