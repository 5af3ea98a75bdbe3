/* server.c - the page's server: HTTP by libmicrohttpd on the loopback address, a thread a
 * connection, so that a page which waits for news holds up nobody.
 *
 * The library parses requests and writes answers; what is asked is handed on as a plain struct
 * (routes.c), what is answered comes back as one. Headers that every answer bears stand here. A
 * request is judged as soon as its head is read: a body is only taken from who may send one, and
 * never more than KB_BODY_MOST bytes of it.
 */
#include "serve_priv.h"

#include <arpa/inet.h>
#include <errno.h>
#include <microhttpd.h>
#include <netinet/in.h>
#include <string.h>
#include <strings.h>
#include <sys/socket.h>
#include <unistd.h>

enum {
    CONNECTIONS_MOST = 64, /* some windows, six connections each */
    IDLE_S = 60,           /* longer than an answer to `wait` takes */
    STRANGER_S = 10,       /* idle time of who has not shown the token yet */
    HEAD_MOST = 32 * 1024  /* bytes of a request's head */
};

struct kb_review_server {
    struct kb_gate gate;
    const struct kb_review_desk *desk;
    struct MHD_Daemon *daemon;
    char address[KB_TOKEN_LENGTH + 64];
};

/* What of a request has arrived. */
struct arrival {
    struct kb_text body;
    size_t size; /* of the body, kept or not */
};

/* ---- answers -----------------------------------------------------------------------------------
 */

static const struct {
    const char *name, *value;
} always[] = {
    {"Content-Security-Policy",
     "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; "
     "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"},
    {"X-Content-Type-Options", "nosniff"},
    {"X-Frame-Options", "DENY"},
    {"Referrer-Policy", "no-referrer"},
    {"Cross-Origin-Opener-Policy", "same-origin"},
    {"Cross-Origin-Resource-Policy", "same-origin"},
};

/* The report is a page of its own with its style and pictures inside, and needs no scripts. */
static const char report_policy[] =
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; "
    "form-action 'none'; frame-ancestors 'none'";

static bool add_headers(struct MHD_Response *response, const struct kb_answer *answer) {
    bool added = true;
    const bool report = answer->code == KB_HTTP_OK && answer->fixed == NULL &&
                        strncmp(answer->type, "text/html", 9) == 0;
    for (size_t i = 0; i < sizeof always / sizeof always[0]; i++) {
        const char *value = i == 0 && report ? report_policy : always[i].value;
        added = MHD_add_response_header(response, always[i].name, value) == MHD_YES && added;
    }
    added = MHD_add_response_header(response, "Content-Type", answer->type) == MHD_YES && added;
    added = MHD_add_response_header(response, "Cache-Control",
                                    answer->keep ? "private, max-age=3600, immutable"
                                                 : "no-store") == MHD_YES &&
            added;
    if (answer->last) {
        added = MHD_add_response_header(response, "Connection", "close") == MHD_YES && added;
    }
    if (answer->allow != NULL) {
        added = MHD_add_response_header(response, "Allow", answer->allow) == MHD_YES && added;
    }
    return added;
}

static struct MHD_Response *response_of(struct kb_answer *answer) {
    if (answer->fixed != NULL) {
        /* the library takes bytes as not const and does not change them */
        union {
            const uint8_t *in;
            void *bytes;
        } fixed = {answer->fixed};
        return MHD_create_response_from_buffer(answer->fixed_size, fixed.bytes,
                                               MHD_RESPMEM_PERSISTENT);
    }
    if (answer->body.length == 0) {
        static char nothing[1];
        return MHD_create_response_from_buffer(0, nothing, MHD_RESPMEM_PERSISTENT);
    }
    struct MHD_Response *response = MHD_create_response_from_buffer_with_free_callback(
        answer->body.length, answer->body.data, kb_free);
    if (response != NULL) {
        answer->body = (struct kb_text)KB_TEXT_INIT; /* taken over */
    }
    return response;
}

static enum MHD_Result put_answer(struct MHD_Connection *connection, struct kb_answer *answer) {
    struct MHD_Response *response = response_of(answer);
    enum MHD_Result result = MHD_NO;
    kb_text_release(&answer->body);
    if (response == NULL) {
        return MHD_NO;
    }
    if (add_headers(response, answer)) {
        result = MHD_queue_response(connection, answer->code, response);
    }
    MHD_destroy_response(response);
    return result;
}

/* A refusal. Who is refused may not keep the connection, which windows of ours may need. */
static enum MHD_Result put_code(struct MHD_Connection *connection, unsigned code) {
    struct kb_answer answer = {.code = code, .type = "text/plain; charset=utf-8", .last = true};
    return put_answer(connection, &answer);
}

/* ---- requests ----------------------------------------------------------------------------------
 */

static enum MHD_Result take_header(void *context, enum MHD_ValueKind kind, const char *name,
                                   const char *value) {
    struct kb_ask *ask = context;
    (void)kind;
    if (strcasecmp(name, "Host") == 0) {
        ask->host = value;
        ask->hosts += value != NULL;
    } else if (strcasecmp(name, "Origin") == 0) {
        ask->origin = value;
        ask->origins += value != NULL;
    } else if (strcasecmp(name, "Content-Type") == 0) {
        ask->content_type = value;
    } else if (strcasecmp(name, "Sec-Fetch-Site") == 0) {
        ask->site = value;
    }
    return MHD_YES;
}

static const char *argument(struct MHD_Connection *connection, const char *name) {
    return MHD_lookup_connection_value(connection, MHD_GET_ARGUMENT_KIND, name);
}

static struct kb_ask read_ask(struct MHD_Connection *connection, const char *method,
                              const char *path) {
    struct kb_ask ask = {.method = method, .path = path};
    (void)MHD_get_connection_values(connection, MHD_HEADER_KIND, take_header, &ask);
    ask.revision = argument(connection, "revision");
    ask.r = argument(connection, "r");
    ask.x = argument(connection, "x");
    ask.y = argument(connection, "y");
    return ask;
}

/* Longer than is taken, by its own word. */
static bool says_large(struct MHD_Connection *connection) {
    const char *said =
        MHD_lookup_connection_value(connection, MHD_HEADER_KIND, MHD_HTTP_HEADER_CONTENT_LENGTH);
    int64_t length = 0;
    return said != NULL && (!kb_route_number(said, strlen(said), &length) || length > KB_BODY_MOST);
}

/* The head is there: refuse now, or make room for the body. */
static enum MHD_Result begin(const struct kb_review_server *server,
                             struct MHD_Connection *connection, const struct kb_ask *ask,
                             void **kept) {
    const unsigned code = kb_route_check(&server->gate, ask);
    if (code != KB_HTTP_OK && code != KB_HTTP_METHOD) {
        return put_code(connection, code);
    }
    if (says_large(connection)) {
        return put_code(connection, KB_HTTP_LARGE);
    }
    (void)MHD_set_connection_option(connection, MHD_CONNECTION_OPTION_TIMEOUT, (unsigned)IDLE_S);
    struct arrival *arrival = kb_alloc_zero(1, sizeof *arrival);
    *kept = arrival;
    return arrival != NULL ? MHD_YES : MHD_NO;
}

static void take_body(struct arrival *arrival, const char *data, size_t *size) {
    arrival->size += *size;
    if (arrival->size <= KB_BODY_MOST) {
        kb_text_add_bytes(&arrival->body, data, *size);
    }
    *size = 0;
}

static enum MHD_Result handle(void *context, struct MHD_Connection *connection, const char *path,
                              const char *method, const char *version, const char *data,
                              size_t *size, void **kept) {
    const struct kb_review_server *server = context;
    struct kb_ask ask = read_ask(connection, method, path);
    struct arrival *arrival = *kept;
    (void)version;
    if (arrival == NULL) {
        return begin(server, connection, &ask, kept);
    }
    if (*size > 0) {
        take_body(arrival, data, size);
        return MHD_YES;
    }
    if (arrival->body.failed) {
        return put_code(connection, KB_HTTP_FAULT);
    }
    struct kb_answer answer;
    ask.body = arrival->body.data != NULL ? arrival->body.data : "";
    ask.body_size = arrival->size;
    kb_route_answer(&server->gate, server->desk, &ask, &answer);
    return put_answer(connection, &answer);
}

static void done(void *context, struct MHD_Connection *connection, void **kept,
                 enum MHD_RequestTerminationCode why) {
    struct arrival *arrival = *kept;
    (void)context;
    (void)connection;
    (void)why;
    if (arrival != NULL) {
        kb_text_release(&arrival->body);
        kb_free(arrival);
        *kept = NULL;
    }
}

/* ---- begin and end -----------------------------------------------------------------------------
 */

/* No path and no argument of ours needs an escape: one that holds some names nothing. */
static size_t keep_escapes(void *context, struct MHD_Connection *connection, char *text) {
    (void)context;
    (void)connection;
    return strlen(text);
}

static enum kb_status no_port(struct kb_err *err) {
    return kb_fail(err, KB_E_SYSTEM, KB_SERVE_STAGE, NULL,
                   "cannot open a port on this machine: %s (is networking switched off?)",
                   strerror(errno));
}

/* A free port of the loopback address, known before the first request can come. */
static enum kb_status open_port(int *listening, unsigned *port, struct kb_err *err) {
    struct sockaddr_in here = {.sin_family = AF_INET, .sin_port = 0};
    socklen_t size = sizeof here;
    here.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    *listening = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
    if (*listening < 0) {
        return no_port(err);
    }
    if (bind(*listening, (struct sockaddr *)&here, sizeof here) != 0 ||
        listen(*listening, CONNECTIONS_MOST) != 0 ||
        getsockname(*listening, (struct sockaddr *)&here, &size) != 0) {
        const enum kb_status status = no_port(err);
        (void)close(*listening);
        return status;
    }
    *port = ntohs(here.sin_port);
    return KB_OK;
}

static enum kb_status begin_serving(struct kb_review_server *server, struct kb_err *err) {
    int listening = -1;
    enum kb_status status = open_port(&listening, &server->gate.port, err);
    if (status != KB_OK) {
        return status;
    }
    server->daemon = MHD_start_daemon(
        MHD_USE_INTERNAL_POLLING_THREAD | MHD_USE_THREAD_PER_CONNECTION | MHD_USE_POLL, 0, NULL,
        NULL, handle, server, MHD_OPTION_LISTEN_SOCKET, listening, MHD_OPTION_CONNECTION_LIMIT,
        (unsigned)CONNECTIONS_MOST, MHD_OPTION_CONNECTION_TIMEOUT, (unsigned)STRANGER_S,
        MHD_OPTION_CONNECTION_MEMORY_LIMIT, (size_t)HEAD_MOST, MHD_OPTION_UNESCAPE_CALLBACK,
        keep_escapes, NULL, MHD_OPTION_NOTIFY_COMPLETED, done, NULL, MHD_OPTION_END);
    if (server->daemon == NULL) {
        status = no_port(err);
        (void)close(listening);
    }
    return status;
}

enum kb_status kb_review_start(const struct kb_review_desk *desk, struct kb_review_server **server,
                               struct kb_err *err) {
    struct kb_review_server *made = kb_alloc_zero(1, sizeof *made);
    *server = NULL;
    if (made == NULL) {
        return kb_fail_memory(err, KB_SERVE_STAGE, sizeof *made);
    }
    made->desk = desk;
    enum kb_status status = kb_gate_make(&made->gate, err);
    if (status == KB_OK) {
        status = begin_serving(made, err);
    }
    if (status != KB_OK) {
        kb_review_stop(made);
        return status;
    }
    (void)snprintf(made->address, sizeof made->address, "http://127.0.0.1:%u/%s/", made->gate.port,
                   made->gate.token);
    *server = made;
    return KB_OK;
}

const char *kb_review_address(const struct kb_review_server *server) {
    return server->address;
}

void kb_review_stop(struct kb_review_server *server) {
    if (server == NULL) {
        return;
    }
    if (server->daemon != NULL) {
        MHD_stop_daemon(server->daemon);
    }
    kb_free(server);
}
