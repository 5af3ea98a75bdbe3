/* test_gate.c - who may ask what: every check by itself, without a socket, and bodies and paths of
 * random bytes. The desk behind it is a plain one that counts what it is asked. */
#include "kb_cmocka.h"
#include "serve_priv.h"

#include <stdlib.h>
#include <string.h>

static struct kb_gate gate;
static char path[400];
static unsigned asked, changed;

/* ---- a desk ---- */

static enum kb_status give_state(void *context, struct kb_text *out, struct kb_err *err) {
    (void)context;
    (void)err;
    asked++;
    kb_text_add(out, "{}");
    return KB_OK;
}

static enum kb_status take_change(void *context, const struct kb_review_change *change,
                                  struct kb_err *err) {
    (void)context;
    assert_true(change->fields > 0 && change->field[0] < 3);
    changed++;
    return change->draft.who != NULL ? KB_OK
                                     : kb_fail(err, KB_E_USAGE, "app", NULL, "nobody (say who)");
}

static enum kb_status refuse_look(void *context, size_t field, bool evened,
                                  struct kb_review_view *view, struct kb_err *err) {
    (void)context;
    (void)evened;
    (void)view;
    assert_true(field < 3);
    return kb_fail(err, KB_E_INPUT, "app", NULL, "cannot be read (put \"it\" (back))");
}

static enum kb_status take_name(void *context, const char *who, struct kb_err *err) {
    (void)context;
    (void)who;
    (void)err;
    changed++;
    return KB_OK;
}

static const struct kb_review_desk desk = {.fields = 3,
                                           .state = give_state,
                                           .change = take_change,
                                           .look = refuse_look,
                                           .undo = take_name,
                                           .redo = take_name};

/* ---- requests ---- */

static struct kb_ask ask_for(const char *method, const char *rest) {
    (void)snprintf(path, sizeof path, "/%s/%s", gate.token, rest);
    return (struct kb_ask){.method = method,
                           .path = path,
                           .hosts = 1,
                           .host = "127.0.0.1:4711",
                           .origins = 1,
                           .origin = "http://127.0.0.1:4711",
                           .content_type = "application/json",
                           .body = "",
                           .body_size = 0};
}

static unsigned answer_to(const struct kb_ask *ask, char *said, size_t size) {
    struct kb_answer answer;
    kb_route_answer(&gate, &desk, ask, &answer);
    if (said != NULL) {
        (void)snprintf(said, size, "%s", answer.body.data != NULL ? answer.body.data : "");
    }
    kb_text_release(&answer.body);
    return answer.code;
}

static unsigned code_of(const struct kb_ask *ask) {
    return answer_to(ask, NULL, 0);
}

static int make_gate(void **state) {
    (void)state;
    gate.port = 4711;
    return kb_gate_make(&gate, NULL) == KB_OK ? 0 : -1;
}

/* ---- the gate ---- */

static void tokens_are_256_random_bits_in_hexadecimal(void **state) {
    (void)state;
    struct kb_gate other = {.port = 1};
    assert_int_equal(kb_gate_make(&other, NULL), KB_OK);
    assert_int_equal(strlen(gate.token), 64);
    assert_int_equal(strspn(gate.token, "0123456789abcdef"), 64);
    assert_string_not_equal(gate.token, other.token);
}

static void a_token_with_any_one_digit_changed_opens_nothing(void **state) {
    (void)state;
    struct kb_ask ask = ask_for("GET", "state");
    assert_int_equal(code_of(&ask), KB_HTTP_OK);
    for (size_t i = 0; i < KB_TOKEN_LENGTH; i++) {
        const char kept = path[1 + i];
        path[1 + i] = kept == '0' ? '1' : '0';
        assert_int_equal(code_of(&ask), KB_HTTP_NONE);
        path[1 + i] = kept;
    }
    path[KB_TOKEN_LENGTH + 1] = '\0'; /* the token alone */
    assert_int_equal(code_of(&ask), KB_HTTP_NONE);
}

static void only_names_of_this_machine_with_our_port_are_hosts(void **state) {
    (void)state;
    struct kb_ask ask = ask_for("GET", "state");
    const char *const wrong[] = {"",
                                 "127.0.0.1",
                                 "127.0.0.1:4712",
                                 "evil.example",
                                 "127.1:4711",
                                 "127.0.0.1:04711",
                                 "[::1]:4711",
                                 "LOCALHOST:4711",
                                 "localhost:4711 "};
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++) {
        ask.origins = 0;
        ask.host = wrong[i];
        assert_int_equal(code_of(&ask), KB_HTTP_FORBIDDEN);
    }
    ask.host = "localhost:4711";
    assert_int_equal(code_of(&ask), KB_HTTP_OK);
    ask.hosts = 2;
    assert_int_equal(code_of(&ask), KB_HTTP_FORBIDDEN);
    ask.hosts = 0;
    ask.host = NULL;
    assert_int_equal(code_of(&ask), KB_HTTP_FORBIDDEN);
}

static void who_changes_something_says_that_it_is_our_page(void **state) {
    (void)state;
    struct kb_ask ask = ask_for("POST", "undo");
    ask.body = "{\"who\":\"A\"}";
    ask.body_size = strlen(ask.body);
    assert_int_equal(code_of(&ask), KB_HTTP_OK);
    ask.origin = "http://localhost:4711"; /* not the name that it was asked under */
    assert_int_equal(code_of(&ask), KB_HTTP_FORBIDDEN);
    ask.origin = "http://127.0.0.1:4711";
    ask.origins = 2;
    assert_int_equal(code_of(&ask), KB_HTTP_FORBIDDEN);
    ask.origins = 0;
    ask.origin = NULL;
    assert_int_equal(code_of(&ask), KB_HTTP_FORBIDDEN);
    ask = ask_for("POST", "undo");
    ask.site = "same-site";
    assert_int_equal(code_of(&ask), KB_HTTP_FORBIDDEN);
    ask.site = "same-origin";
    ask.content_type = "text/plain";
    assert_int_equal(code_of(&ask), KB_HTTP_TYPE);
    ask.content_type = NULL;
    assert_int_equal(code_of(&ask), KB_HTTP_TYPE);
}

/* ---- routes ---- */

static void numbers_are_plain_digits_in_range(void **state) {
    (void)state;
    const char *const wrong[] = {
        "", "-1", "+1", "01", "1 ", " 1", "1.0", "0x1", "a", "2147483648", "99999999999999999999"};
    int64_t number = 0;
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++) {
        assert_false(kb_route_number(wrong[i], strlen(wrong[i]), &number));
    }
    assert_true(kb_route_number("2147483647", 10, &number));
    assert_int_equal(number, INT32_MAX);
    assert_true(kb_route_number("0", 1, &number));
    assert_int_equal(number, 0);
    assert_false(kb_route_number(NULL, 0, &number));
}

static void a_field_that_is_not_there_is_not_asked_for(void **state) {
    (void)state;
    struct kb_ask ask = ask_for("GET", "field/3/grey/0/0/0");
    assert_int_equal(code_of(&ask), KB_HTTP_NONE);
    ask = ask_for("GET", "field/2/grey/0/0/0");
    char said[200];
    assert_int_equal(answer_to(&ask, said, sizeof said), KB_HTTP_CANNOT);
    assert_string_equal(
        said, "{\"error\":{\"what\":\"cannot be read\",\"do\":\"put \\\"it\\\" (back)\"}}");
}

static void other_methods_are_told_which_is_right(void **state) {
    (void)state;
    const char *const method[] = {"PUT", "DELETE", "OPTIONS", "get", "POST"};
    for (size_t i = 0; i < sizeof method / sizeof method[0]; i++) {
        const struct kb_ask ask = ask_for(method[i], "state");
        assert_int_equal(code_of(&ask), KB_HTTP_METHOD);
    }
    const struct kb_ask head = ask_for("HEAD", "state");
    assert_int_equal(code_of(&head), KB_HTTP_OK);
    const struct kb_ask read = ask_for("GET", "change");
    assert_int_equal(code_of(&read), KB_HTTP_METHOD);
}

/* Linear congruential, Numerical Recipes' constants: the same bytes on every machine. */
static uint8_t next_byte(uint32_t *seed) {
    *seed = *seed * 1664525u + 1013904223u;
    return (uint8_t)(*seed >> 24);
}

static void paths_of_random_bytes_lead_nowhere(void **state) {
    (void)state;
    static const char likely[] = "field/0123456789grey.-%";
    uint32_t seed = 7;
    const unsigned before = asked;
    for (int round = 0; round < 20000; round++) {
        char rest[64];
        const size_t length = next_byte(&seed) % (sizeof rest - 1);
        for (size_t i = 0; i < length; i++) {
            const uint8_t byte = next_byte(&seed);
            rest[i] = round % 2 == 0 ? (char)(byte | 1) : likely[byte % (sizeof likely - 1)];
        }
        rest[length] = '\0';
        const struct kb_ask ask = ask_for("GET", rest);
        const unsigned code = code_of(&ask);
        assert_true(code == KB_HTTP_NONE || (length == 0 && code == KB_HTTP_OK) ||
                    code == KB_HTTP_CANNOT);
    }
    assert_int_equal(asked, before);
}

/* ---- bodies ---- */

static unsigned post_change(const char *body, size_t size) {
    struct kb_ask ask = ask_for("POST", "change");
    ask.body = body;
    ask.body_size = size;
    return code_of(&ask);
}

static const char good[] = "{\"kind\":\"cut\",\"fields\":[2],\"points\":[[1.5,2],[30,40.9]],"
                           "\"who\":\"A. Example\",\"why\":\"seen\",\"revision\":4}";

static void a_whole_change_is_handed_on_as_it_was_said(void **state) {
    (void)state;
    struct kb_asked_change read;
    assert_int_equal(kb_asked_change_read(good, strlen(good), 3, &read, NULL), KB_OK);
    const struct kb_record_entry *draft = &read.change.draft;
    assert_int_equal(draft->kind, KB_RECORD_CUT);
    assert_int_equal(read.change.fields, 1);
    assert_int_equal(read.change.field[0], 2);
    assert_int_equal(draft->points, 2);
    assert_int_equal(draft->point[1].x, 30);
    assert_int_equal(draft->point[1].y, 40);
    assert_string_equal(draft->who, "A. Example");
    assert_string_equal(draft->why, "seen");
    assert_true(isnan(draft->dark));
    kb_asked_change_release(&read);
    assert_int_equal(kb_asked_change_read(good, strlen(good), 2, &read, NULL), KB_E_USAGE);
    kb_asked_change_release(&read);
}

static void a_change_cut_short_anywhere_is_none(void **state) {
    (void)state;
    const unsigned before = changed;
    for (size_t size = 0; size + 1 < sizeof good; size++) {
        assert_int_equal(post_change(good, size), KB_HTTP_CANNOT);
    }
    assert_int_equal(changed, before);
    assert_int_equal(post_change(good, strlen(good)), KB_HTTP_OK);
    assert_int_equal(changed, before + 1);
}

static void a_body_beyond_the_limit_is_not_read(void **state) {
    (void)state;
    const unsigned before = changed;
    assert_int_equal(post_change(good, KB_BODY_MOST + 1), KB_HTTP_LARGE);
    assert_int_equal(changed, before);
}

static void bodies_with_bytes_changed_never_crash(void **state) {
    (void)state;
    uint32_t seed = 11;
    for (int round = 0; round < 20000; round++) {
        char body[sizeof good];
        memcpy(body, good, sizeof good);
        for (int k = next_byte(&seed) % 4; k >= 0; k--) {
            body[next_byte(&seed) % (sizeof good - 1)] = (char)next_byte(&seed);
        }
        const unsigned code = post_change(body, sizeof good - 1);
        assert_true(code == KB_HTTP_OK || code == KB_HTTP_CANNOT);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(tokens_are_256_random_bits_in_hexadecimal),
        cmocka_unit_test(a_token_with_any_one_digit_changed_opens_nothing),
        cmocka_unit_test(only_names_of_this_machine_with_our_port_are_hosts),
        cmocka_unit_test(who_changes_something_says_that_it_is_our_page),
        cmocka_unit_test(numbers_are_plain_digits_in_range),
        cmocka_unit_test(a_field_that_is_not_there_is_not_asked_for),
        cmocka_unit_test(other_methods_are_told_which_is_right),
        cmocka_unit_test(paths_of_random_bytes_lead_nowhere),
        cmocka_unit_test(a_whole_change_is_handed_on_as_it_was_said),
        cmocka_unit_test(a_change_cut_short_anywhere_is_none),
        cmocka_unit_test(a_body_beyond_the_limit_is_not_read),
        cmocka_unit_test(bodies_with_bytes_changed_never_crash),
    };
    return cmocka_run_group_tests(tests, make_gate, NULL);
}
