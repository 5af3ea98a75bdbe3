/* answer_desk.c - what is asked of the whole: its state, news of it, and changes to it.
 *
 * A change is answered with the whole state as it then is, so that a page which asked for it, and
 * another one that looks on, show the same. The revision that a page saw last stands in its request
 * for the record's sake only: a change that can still be made is made.
 */
#include "serve_priv.h"

#include <string.h>

/* A browser or what stands before it gives up on an answer after half a minute or so. */
static const double patience_s = 25.0;

static void put_state(struct kb_visit *visit, struct kb_answer *answer) {
    struct kb_err err = {.code = KB_OK};
    kb_answer_json(answer);
    if (visit->desk->state(visit->desk->context, &answer->body, &err) != KB_OK) {
        kb_answer_error(answer, &err);
    }
}

void kb_answer_state(struct kb_visit *visit, struct kb_answer *answer) {
    put_state(visit, answer);
}

void kb_answer_wait(struct kb_visit *visit, struct kb_answer *answer) {
    const char *said = visit->ask->revision;
    int64_t after = 0;
    if (said == NULL || !kb_route_number(said, strlen(said), &after)) {
        answer->code = KB_HTTP_BAD;
        return;
    }
    const uint64_t now = visit->desk->wait(visit->desk->context, (uint64_t)after, patience_s);
    kb_answer_json(answer);
    kb_text_format(&answer->body, "{\"revision\":%llu}", (unsigned long long)now);
}

void kb_answer_report(struct kb_visit *visit, struct kb_answer *answer) {
    struct kb_err err = {.code = KB_OK};
    if (visit->desk->report(visit->desk->context, &answer->body, &err) != KB_OK) {
        kb_answer_error(answer, &err);
        answer->code = err.code == KB_E_INPUT ? KB_HTTP_NONE : answer->code;
        return;
    }
    answer->type = "text/html; charset=utf-8";
}

void kb_answer_change(struct kb_visit *visit, struct kb_answer *answer) {
    struct kb_err err = {.code = KB_OK};
    struct kb_asked_change asked;
    enum kb_status status = kb_asked_change_read(visit->ask->body, visit->ask->body_size,
                                                 visit->desk->fields, &asked, &err);
    if (status == KB_OK) {
        status = visit->desk->change(visit->desk->context, &asked.change, &err);
    }
    kb_asked_change_release(&asked);
    if (status != KB_OK) {
        kb_answer_error(answer, &err);
        return;
    }
    put_state(visit, answer);
}

enum deed { UNDO, REDO, SIGN };

static void do_named(struct kb_visit *visit, enum deed deed, struct kb_answer *answer) {
    const struct kb_review_desk *desk = visit->desk;
    struct kb_err err = {.code = KB_OK};
    char *who = NULL, *remark = NULL;
    enum kb_status status =
        kb_asked_name_read(visit->ask->body, visit->ask->body_size, &who, &remark, &err);
    if (status == KB_OK) {
        status = deed == UNDO   ? desk->undo(desk->context, who, &err)
                 : deed == REDO ? desk->redo(desk->context, who, &err)
                                : desk->sign(desk->context, who, remark, &err);
    }
    kb_free(who);
    kb_free(remark);
    if (status != KB_OK) {
        kb_answer_error(answer, &err);
        return;
    }
    put_state(visit, answer);
}

void kb_answer_undo(struct kb_visit *visit, struct kb_answer *answer) {
    do_named(visit, UNDO, answer);
}

void kb_answer_redo(struct kb_visit *visit, struct kb_answer *answer) {
    do_named(visit, REDO, answer);
}

void kb_answer_sign(struct kb_visit *visit, struct kb_answer *answer) {
    do_named(visit, SIGN, answer);
}
