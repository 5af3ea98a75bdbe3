/* answers.c - failures as the page is told them. */
#include "record_priv.h"
#include "serve_priv.h"

#include <string.h>

/* Nine digits tell any two figures apart that the report does (six). */
enum { JSON_DIGITS = 9 };

void kb_answer_dump(json_t *json, struct kb_text *out) {
    const size_t flags = JSON_COMPACT | JSON_REAL_PRECISION(JSON_DIGITS);
    if (!kb_review_dump(json, flags, out)) {
        out->failed = true;
    }
    json_decref(json);
}

void kb_answer_json(struct kb_answer *answer) {
    answer->code = KB_HTTP_OK;
    answer->type = "application/json";
}

/* Errors read "what failed (what to do)"; the last bracket that closes at the end is the advice. */
void kb_err_parts(char *text, const char **what, const char **what_to_do) {
    const size_t length = strlen(text);
    *what = text;
    *what_to_do = "";
    if (length == 0 || text[length - 1] != ')') {
        return;
    }
    int depth = 0;
    for (size_t i = length; i-- > 1;) {
        depth += text[i] == ')' ? 1 : text[i] == '(' ? -1 : 0;
        if (depth == 0 && text[i - 1] == ' ') {
            text[length - 1] = '\0';
            text[i - 1] = '\0';
            *what_to_do = text + i + 1;
            return;
        }
        if (depth == 0) {
            return;
        }
    }
}

void kb_answer_error(struct kb_answer *answer, const struct kb_err *err) {
    struct kb_err parts = *err;
    const char *what = NULL, *what_to_do = NULL;
    kb_err_parts(parts.text, &what, &what_to_do);
    const bool fault = err->code == KB_E_SYSTEM || err->code == KB_E_MEMORY;
    kb_text_release(&answer->body);
    answer->body = (struct kb_text)KB_TEXT_INIT;
    answer->code = fault ? KB_HTTP_FAULT : KB_HTTP_CANNOT;
    answer->type = "application/json";
    json_t *json = json_pack("{s:{s:s+,s:s+}}", "error", "what", what, "", "do", what_to_do, "");
    kb_answer_dump(json, &answer->body);
}
