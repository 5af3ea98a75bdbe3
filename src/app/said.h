/* said.h - how decisions by hand are taken apart; see said.c. */
#ifndef KB_SAID_H
#define KB_SAID_H

#include "request.h"

enum { KB_SAID_NUMBERS = 4 };

/* Views into one part of what was said. */
struct kb_said {
    char *field; /* NULL: none */
    int32_t number[KB_SAID_NUMBERS];
    struct kb_place *point; /* kept with the request; NULL: numbers were said */
    size_t points;
    char *word;   /* "" when none */
    char *reason; /* NULL: no colon */
};

/* A kind of decision: its place, and what makes it whole. */
struct kb_grammar {
    enum kb_hand_kind kind;
    int numbers;       /* so many apart by commas; 0: none */
    size_t points;     /* or at least so many pairs apart by blanks; 0: none */
    bool asks;         /* a question about a point, no decision: `kind` is not used */
    const char *right; /* what to write */
    /* Understand the word (and numbers); NULL, or why not. */
    const char *(*settle)(const struct kb_said *said, struct kb_by_hand *fresh);
};

/* Every part of an assignment, each kept with the request. */
KB_NODISCARD enum kb_status kb_said_take(struct kb_request *request,
                                         const struct kb_assignment *from,
                                         const struct kb_grammar *grammar, struct kb_err *err);
KB_NODISCARD enum kb_status kb_said_keep(struct kb_request *request, const struct kb_by_hand *fresh,
                                         struct kb_err *err);
/* NULL, or what of a part no job file could keep as it stands; `most`: bytes. */
const char *kb_said_trouble(const char *part, size_t most);
/* A line of a job file holds so much behind its key; a chain of lines that end in a backslash more.
 */
enum { KB_SAID_LINE = 180, KB_SAID_CHAIN = 16000 };

#endif
