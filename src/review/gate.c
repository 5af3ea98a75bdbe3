/* gate.c - who may ask: only a page that this server gave out, from this machine.
 *
 * The server listens on the loopback address alone, but every page in the person's browser, and
 * every program of this machine, can reach that. So, in this order:
 *
 *   Host     must name this machine and our port: a name that an attacker points at 127.0.0.1 does
 *            not pass, whatever page it comes from (DNS rebinding).
 *   Origin   where it is said it must be our own, and whoever changes something must say it; a
 *            browser never lets a page forge it. Sec-Fetch-Site, where said, must not be another.
 *   token    256 random bits in the path, compared in constant time: what does not know it learns
 *            not even which paths there are.
 *   type     what changes something is JSON and says so: a form of another page cannot.
 */
#include "serve_priv.h"

#include <errno.h>
#include <string.h>
#include <strings.h>
#include <sys/random.h>

enum kb_status kb_gate_make(struct kb_gate *gate, struct kb_err *err) {
    static const char digits[] = "0123456789abcdef";
    uint8_t random[KB_TOKEN_BYTES];
    size_t have = 0;
    while (have < sizeof random) {
        const ssize_t got = getrandom(random + have, sizeof random - have, 0);
        if (got < 0 && errno != EINTR) {
            return kb_fail(err, KB_E_SYSTEM, KB_SERVE_STAGE, NULL,
                           "the system gives no random numbers (%s)", strerror(errno));
        }
        have += got > 0 ? (size_t)got : 0;
    }
    for (size_t i = 0; i < sizeof random; i++) {
        gate->token[2 * i] = digits[random[i] >> 4];
        gate->token[2 * i + 1] = digits[random[i] & 15];
    }
    gate->token[KB_TOKEN_LENGTH] = '\0';
    return KB_OK;
}

/* In a time that does not depend on how much of it is right. */
static bool same_token(const char *token, const char *said) {
    unsigned char differ = 0;
    for (size_t i = 0; i < KB_TOKEN_LENGTH; i++) {
        differ = (unsigned char)(differ | ((unsigned char)token[i] ^ (unsigned char)said[i]));
    }
    return differ == 0;
}

/* "127.0.0.1:PORT" or "localhost:PORT". */
static bool is_here(const struct kb_gate *gate, const char *host) {
    static const char *const name[] = {"127.0.0.1", "localhost"};
    for (size_t i = 0; i < sizeof name / sizeof name[0]; i++) {
        char here[32];
        (void)snprintf(here, sizeof here, "%s:%u", name[i], gate->port);
        if (strcmp(host, here) == 0) {
            return true;
        }
    }
    return false;
}

static bool is_ours(const struct kb_ask *ask) {
    static const char scheme[] = "http://";
    const size_t length = sizeof scheme - 1;
    return ask->origins == 1 && strncmp(ask->origin, scheme, length) == 0 &&
           strcmp(ask->origin + length, ask->host) == 0;
}

/* "application/json", with or without its charset. */
static bool is_json(const char *type) {
    static const char json[] = "application/json";
    const size_t length = sizeof json - 1;
    return type != NULL && strncasecmp(type, json, length) == 0 &&
           (type[length] == '\0' || type[length] == ';' || type[length] == ' ');
}

unsigned kb_gate_check(const struct kb_gate *gate, const struct kb_ask *ask, const char **rest) {
    const bool changes = strcmp(ask->method, "POST") == 0;
    if (ask->hosts != 1 || !is_here(gate, ask->host)) {
        return KB_HTTP_FORBIDDEN;
    }
    if ((changes || ask->origins > 0) && !is_ours(ask)) {
        return KB_HTTP_FORBIDDEN;
    }
    if (ask->site != NULL && strcmp(ask->site, "same-origin") != 0 &&
        strcmp(ask->site, "none") != 0) {
        return KB_HTTP_FORBIDDEN;
    }
    if (ask->path[0] != '/' || strlen(ask->path) < KB_TOKEN_LENGTH + 2 ||
        !same_token(gate->token, ask->path + 1) || ask->path[KB_TOKEN_LENGTH + 1] != '/') {
        return KB_HTTP_NONE;
    }
    if (changes && !is_json(ask->content_type)) {
        return KB_HTTP_TYPE;
    }
    *rest = ask->path + KB_TOKEN_LENGTH + 2;
    return KB_HTTP_OK;
}
