/* serve_priv.h - the page's server: a request as it was asked, its answer, and who answers what.
 *
 * Nothing but server.c knows the HTTP library: a request is a plain struct, so that every check can
 * be tested without a socket.
 */
#ifndef KB_SERVE_PRIV_H
#define KB_SERVE_PRIV_H

#include "keelblock/review.h"

#include <jansson.h>

#define KB_SERVE_STAGE "review"

enum { KB_TOKEN_BYTES = 32, KB_TOKEN_LENGTH = 2 * KB_TOKEN_BYTES };
/* Free words and strokes are short: a larger body is no change by hand. */
enum { KB_BODY_MOST = 1 << 20 };

/* How the server is addressed. */
struct kb_gate {
    char token[KB_TOKEN_LENGTH + 1];
    unsigned port;
};

/* A request. Views; NULL where a header or an argument is not there. */
struct kb_ask {
    const char *method, *path;
    size_t hosts, origins; /* how often the header was said */
    const char *host, *origin, *content_type;
    const char *site; /* Sec-Fetch-Site */
    const char *revision, *r, *x, *y;
    const char *body;
    size_t body_size;
};

enum {
    KB_HTTP_OK = 200,
    KB_HTTP_BAD = 400,
    KB_HTTP_FORBIDDEN = 403,
    KB_HTTP_NONE = 404,
    KB_HTTP_METHOD = 405,
    KB_HTTP_LARGE = 413,
    KB_HTTP_TYPE = 415,
    KB_HTTP_CANNOT = 422,
    KB_HTTP_FAULT = 500
};

struct kb_answer {
    unsigned code;
    const char *type; /* static text */
    bool keep;        /* a browser may keep it: it will not change under this address */
    bool last;        /* the connection ends with it */
    const char *allow;
    struct kb_text body;
    const uint8_t *fixed; /* instead of `body`: static bytes */
    size_t fixed_size;
};

/* ---- gate.c ------------------------------------------------------------------------------------
 */

/* Fill the token with fresh random digits. KB_E_SYSTEM where the system has none. */
KB_NODISCARD enum kb_status kb_gate_make(struct kb_gate *gate, struct kb_err *err);
/* KB_HTTP_OK when the request comes from a page of ours; `rest` is then its path behind the token.
 */
unsigned kb_gate_check(const struct kb_gate *gate, const struct kb_ask *ask, const char **rest);

/* ---- routes.c ----------------------------------------------------------------------------------
 */

enum { KB_ROUTE_NUMBERS = 4 };
/* A request that passed the gate, on its way to who answers it. */
struct kb_visit {
    const struct kb_review_desk *desk;
    const struct kb_ask *ask;
    int64_t number[KB_ROUTE_NUMBERS]; /* those in its path */
};
/* 0 to INT32_MAX in plain digits; false for anything else, NULL too. */
bool kb_route_number(const char *digits, size_t length, int64_t *number);
/* Who is asked, and whether by a method that is allowed there; before any body is read. */
unsigned kb_route_check(const struct kb_gate *gate, const struct kb_ask *ask);
/* The whole answer; its body is released with kb_text_release(). */
void kb_route_answer(const struct kb_gate *gate, const struct kb_review_desk *desk,
                     const struct kb_ask *ask, struct kb_answer *answer);

/* ---- answers.c ---------------------------------------------------------------------------------
 */

void kb_answer_json(struct kb_answer *answer);
/* Append what `json` says and let go of it; NULL fails, as no memory does. */
void kb_answer_dump(json_t *json, struct kb_text *out);
/* 422 and what the person is told; 500 for disk and memory. */
void kb_answer_error(struct kb_answer *answer, const struct kb_err *err);
/* An error in two: what failed, and what to do, NULL-ended views into `text`, which is cut. */
void kb_err_parts(char *text, const char **what, const char **what_to_do);

/* ---- who answers (answer_field.c, answer_desk.c) ----------------------------------------------
 */

void kb_answer_tile_grey(struct kb_visit *visit, struct kb_answer *answer);
void kb_answer_tile_evened(struct kb_visit *visit, struct kb_answer *answer);
void kb_answer_tile_label(struct kb_visit *visit, struct kb_answer *answer);
void kb_answer_particles(struct kb_visit *visit, struct kb_answer *answer);
void kb_answer_outlines(struct kb_visit *visit, struct kb_answer *answer);
void kb_answer_thumb(struct kb_visit *visit, struct kb_answer *answer);
void kb_answer_why(struct kb_visit *visit, struct kb_answer *answer);
void kb_answer_state(struct kb_visit *visit, struct kb_answer *answer);
void kb_answer_wait(struct kb_visit *visit, struct kb_answer *answer);
void kb_answer_report(struct kb_visit *visit, struct kb_answer *answer);
void kb_answer_change(struct kb_visit *visit, struct kb_answer *answer);
void kb_answer_undo(struct kb_visit *visit, struct kb_answer *answer);
void kb_answer_redo(struct kb_visit *visit, struct kb_answer *answer);
void kb_answer_sign(struct kb_visit *visit, struct kb_answer *answer);

/* ---- what is said of a field -------------------------------------------------------------------
 */

/* particles_json.c */
void kb_particles_json(const struct kb_particles *particles, struct kb_text *out);
/* outlines.c: uint32 loops; each loop uint32 particle, uint32 points, points x (float x, float y),
 * little-endian. Lines that particles were measured from, else the border of their pixels. */
KB_NODISCARD enum kb_status kb_outlines_bytes(const struct kb_particles *particles,
                                              struct kb_text *out, struct kb_err *err);

/* ---- ask_json.c: bodies of POST ----------------------------------------------------------------
 */

struct kb_asked_change {
    struct kb_review_change change; /* its words are owned */
    struct kb_place *point;
    size_t *field;
};
/* KB_E_USAGE says what is wrong with it. Release also on failure. */
KB_NODISCARD enum kb_status kb_asked_change_read(const char *body, size_t size, size_t fields,
                                                 struct kb_asked_change *asked, struct kb_err *err);
void kb_asked_change_release(struct kb_asked_change *asked);
/* {"who", "remark"}: copies, NULL when not said. */
KB_NODISCARD enum kb_status kb_asked_name_read(const char *body, size_t size, char **who,
                                               char **remark, struct kb_err *err);

/* ---- the page's own files, built in ------------------------------------------------------------
 */

struct kb_asset {
    const char *name; /* "page.css"; "" is the page */
    const char *type;
    const uint8_t *data;
    size_t size;
};
const struct kb_asset *kb_asset_find(const char *name); /* NULL: none of that name */

#endif
