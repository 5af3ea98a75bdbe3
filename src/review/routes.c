/* routes.c - the one table of what can be asked: method, path, who answers.
 *
 * A path holds fixed words and numbers only ('#' in the table), and files are those that were built
 * in: no part of a path ever becomes the name of a file, so there is nothing to escape from.
 */
#include "serve_priv.h"

#include <string.h>

static const struct route {
    const char *method, *path;
    void (*answer)(struct kb_visit *visit, struct kb_answer *answer);
} routes[] = {
    {"GET", "state", kb_answer_state},
    {"GET", "wait", kb_answer_wait},
    {"GET", "report.html", kb_answer_report},
    {"GET", "field/#/grey/#/#/#", kb_answer_tile_grey},
    {"GET", "field/#/evened/#/#/#", kb_answer_tile_evened},
    {"GET", "field/#/label/#/#/#", kb_answer_tile_label},
    {"GET", "field/#/particles", kb_answer_particles},
    {"GET", "field/#/outlines", kb_answer_outlines},
    {"GET", "field/#/thumb", kb_answer_thumb},
    {"GET", "field/#/why", kb_answer_why},
    {"POST", "change", kb_answer_change},
    {"POST", "undo", kb_answer_undo},
    {"POST", "redo", kb_answer_redo},
    {"POST", "sign", kb_answer_sign},
};

bool kb_route_number(const char *digits, size_t length, int64_t *number) {
    int64_t value = 0;
    if (digits == NULL || length == 0 || (length > 1 && digits[0] == '0')) {
        return false;
    }
    for (size_t i = 0; i < length; i++) {
        if (digits[i] < '0' || digits[i] > '9') {
            return false;
        }
        value = 10 * value + (digits[i] - '0');
        if (value > INT32_MAX) {
            return false;
        }
    }
    *number = value;
    return true;
}

static bool matches(const char *pattern, const char *path, int64_t number[KB_ROUTE_NUMBERS]) {
    size_t numbers = 0;
    while (*pattern != '\0') {
        if (*pattern == '#') {
            const size_t length = strcspn(path, "/");
            if (!kb_route_number(path, length, &number[numbers])) {
                return false;
            }
            numbers++;
            pattern++;
            path += length;
        } else if (*pattern++ != *path++) {
            return false;
        }
    }
    return *path == '\0';
}

static const struct route *find(const char *path, int64_t number[KB_ROUTE_NUMBERS]) {
    for (size_t i = 0; i < sizeof routes / sizeof routes[0]; i++) {
        if (matches(routes[i].path, path, number)) {
            return &routes[i];
        }
    }
    return NULL;
}

/* HEAD is GET without a body. */
static bool allowed(const char *method, const char *said) {
    return strcmp(method, said) == 0 || (strcmp(method, "GET") == 0 && strcmp(said, "HEAD") == 0);
}

static unsigned check(const struct kb_gate *gate, const struct kb_ask *ask,
                      int64_t number[KB_ROUTE_NUMBERS], const struct route **route,
                      const struct kb_asset **asset) {
    const char *rest = NULL;
    const unsigned code = kb_gate_check(gate, ask, &rest);
    if (code != KB_HTTP_OK) {
        return code;
    }
    *route = find(rest, number);
    *asset = *route == NULL ? kb_asset_find(rest) : NULL;
    if (*route == NULL && *asset == NULL) {
        return KB_HTTP_NONE;
    }
    return allowed(*route != NULL ? (*route)->method : "GET", ask->method) ? KB_HTTP_OK
                                                                           : KB_HTTP_METHOD;
}

unsigned kb_route_check(const struct kb_gate *gate, const struct kb_ask *ask) {
    int64_t number[KB_ROUTE_NUMBERS];
    const struct route *route = NULL;
    const struct kb_asset *asset = NULL;
    return check(gate, ask, number, &route, &asset);
}

void kb_route_answer(const struct kb_gate *gate, const struct kb_review_desk *desk,
                     const struct kb_ask *ask, struct kb_answer *answer) {
    struct kb_visit visit = {.desk = desk, .ask = ask};
    const struct route *route = NULL;
    const struct kb_asset *asset = NULL;
    *answer = (struct kb_answer){.type = "text/plain; charset=utf-8", .body = KB_TEXT_INIT};
    answer->code = check(gate, ask, visit.number, &route, &asset);
    if (answer->code == KB_HTTP_METHOD) {
        answer->allow = route != NULL ? route->method : "GET";
    }
    if (answer->code != KB_HTTP_OK) {
        return;
    }
    if (ask->body_size > KB_BODY_MOST) {
        answer->code = KB_HTTP_LARGE;
        return;
    }
    if (asset != NULL) {
        answer->type = asset->type;
        answer->fixed = asset->data;
        answer->fixed_size = asset->size;
        return;
    }
    struct kb_locale locale = kb_locale_enter(); /* it is a thread's own */
    route->answer(&visit, answer);
    kb_locale_leave(locale);
    if (answer->body.failed) {
        kb_text_release(&answer->body);
        answer->code = KB_HTTP_FAULT;
    }
}
