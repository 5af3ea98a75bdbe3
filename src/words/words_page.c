/* words_page.c - the pass over a page's markup.
 *
 * The markup is ours and XML-clean, so a scan for '<' and '>' is enough: no attribute of ours holds
 * a bare '>'. Text between tags is unescaped, said in the language and escaped again; of a tag only
 * the attributes that a reader meets are touched. Elements that are left alone count how deep they
 * are. Pictures are attributes and are copied in one go.
 */
#include "words_priv.h"

#include <string.h>

struct page_pass {
    const struct kb_words *words;
    enum kb_language language;
    struct kb_text *out, *left;
    struct kb_text plain, said; /* of one phrase */
    bool in_body;
    bool in_title; /* of the page, between <title> and its end; drawings have titles too */
    int kept;      /* depth inside what stays as it is; 0: outside */
};

static const struct {
    const char *name, *sign;
} entities[] = {{"&amp;", "&"},   {"&lt;", "<"},   {"&gt;", ">"},
                {"&quot;", "\""}, {"&#39;", "\'"}, {"&#160;", "\xc2\xa0"}};
enum { ENTITIES = sizeof entities / sizeof *entities };

static void unescape(struct kb_text *to, const char *at, size_t length) {
    for (size_t i = 0; i < length;) {
        size_t used = 0;
        for (int k = 0; at[i] == '&' && k < ENTITIES && used == 0; k++) {
            size_t size = strlen(entities[k].name);
            if (size <= length - i && memcmp(at + i, entities[k].name, size) == 0) {
                kb_text_add(to, entities[k].sign);
                used = size;
            }
        }
        if (used == 0) {
            kb_text_add_bytes(to, at + i, 1);
            used = 1;
        }
        i += used;
    }
}

static void escape(struct kb_text *to, const char *at, size_t length) {
    for (size_t i = 0; i < length; i++) {
        size_t used = 0;
        for (int k = 0; k < ENTITIES && used == 0; k++) {
            size_t size = strlen(entities[k].sign);
            if (size <= length - i && memcmp(at + i, entities[k].sign, size) == 0) {
                kb_text_add(to, entities[k].name);
                used = size;
            }
        }
        if (used == 0) {
            kb_text_add_bytes(to, at + i, 1);
        } else {
            i += used - 1;
        }
    }
}

static void phrase(struct page_pass *pass, const char *at, size_t length) {
    static const char title[] = "<title>"; /* rows of titles begin with it: names stand in them */
    const size_t before = pass->in_title ? sizeof title - 1 : 0;
    pass->plain.length = pass->said.length = 0;
    kb_text_add(&pass->plain, pass->in_title ? title : "");
    unescape(&pass->plain, at, length);
    if (pass->plain.length == 0 || pass->plain.failed) {
        kb_text_add_bytes(pass->out, at, length);
        return;
    }
    kb_words_say(pass->words, pass->plain.data, pass->plain.length, &pass->said, pass->left);
    const bool titled = pass->said.length > before && memcmp(pass->said.data, title, before) == 0;
    const size_t from = pass->in_title && titled ? before : 0;
    escape(pass->out, pass->said.data + from, pass->said.length - from);
    pass->out->failed = pass->out->failed || pass->said.failed;
}

static bool begins(const char *at, size_t length, const char *word) {
    size_t size = strlen(word);
    return size <= length && memcmp(at, word, size) == 0;
}

static const char *find(const char *at, size_t length, const char *word) {
    size_t size = strlen(word);
    for (size_t i = 0; i + size <= length; i++) {
        const char *next = memchr(at + i, word[0], length - i - size + 1);
        if (next == NULL) {
            return NULL;
        }
        if (memcmp(next, word, size) == 0) {
            return next;
        }
        i = (size_t)(next - at);
    }
    return NULL;
}

static bool tag_is(const char *tag, size_t length, const char *name) {
    size_t size = strlen(name);
    return begins(tag, length, name) &&
           (length == size || tag[size] == ' ' || tag[size] == '\n' || tag[size] == '/');
}

/* Attributes of an opening tag; `tag` is what stands between '<' and '>'. */
static void attributes(struct page_pass *pass, const char *tag, size_t length) {
    static const char *const read[] = {" alt=\"", " title=\"", " aria-label=\"", " data-label=\""};
    size_t done = 0;
    if (tag_is(tag, length, "html")) {
        kb_text_format(pass->out, "html lang=\"%s\"", kb_language_name(pass->language));
        return;
    }
    while (done < length) {
        const char *at = NULL;
        size_t size = 0;
        for (size_t k = 0; k < sizeof read / sizeof *read; k++) {
            const char *here = find(tag + done, length - done, read[k]);
            if (here != NULL && (at == NULL || here < at)) {
                at = here;
                size = strlen(read[k]);
            }
        }
        const char *value = at != NULL ? at + size : NULL;
        const char *end = value != NULL ? memchr(value, '"', length - (size_t)(value - tag)) : NULL;
        if (end == NULL) {
            break;
        }
        kb_text_add_bytes(pass->out, tag + done, (size_t)(value - tag) - done);
        phrase(pass, value, (size_t)(end - value));
        done = (size_t)(end - tag);
    }
    kb_text_add_bytes(pass->out, tag + done, length - done);
}

static bool stays(const char *tag, size_t length) {
    return tag_is(tag, length, "code") || tag_is(tag, length, "pre") ||
           tag_is(tag, length, "style") || find(tag, length, " translate=\"no\"") != NULL;
}

static void one_tag(struct page_pass *pass, const char *tag, size_t length) {
    bool closes = length > 0 && tag[0] == '/';
    bool empty = length > 0 && (tag[length - 1] == '/' || tag[0] == '!');
    pass->in_body = pass->in_body || tag_is(tag, length, "body");
    pass->in_title = !pass->in_body && tag_is(tag, length, "title");
    if (pass->kept > 0) {
        pass->kept += empty ? 0 : closes ? -1 : 1;
        kb_text_add_bytes(pass->out, tag, length);
    } else if (closes) {
        kb_text_add_bytes(pass->out, tag, length);
    } else if (stays(tag, length)) {
        pass->kept = empty ? 0 : 1;
        kb_text_add_bytes(pass->out, tag, length);
    } else {
        attributes(pass, tag, length);
    }
}

static void whole(struct page_pass *pass, const char *page, size_t length) {
    size_t at = 0;
    while (at < length) {
        const char *open = memchr(page + at, '<', length - at);
        size_t until = open != NULL ? (size_t)(open - page) : length;
        if (pass->kept > 0) {
            kb_text_add_bytes(pass->out, page + at, until - at);
        } else if (until > at) {
            phrase(pass, page + at, until - at);
        }
        const char *close = open != NULL ? memchr(open, '>', length - until) : NULL;
        if (close == NULL) {
            kb_text_add_bytes(pass->out, page + until, length - until);
            return;
        }
        kb_text_add(pass->out, "<");
        one_tag(pass, open + 1, (size_t)(close - open) - 1);
        kb_text_add(pass->out, ">");
        at = (size_t)(close - page) + 1;
    }
}

enum kb_status kb_words_page(enum kb_language language, struct kb_text *page, struct kb_text *left,
                             struct kb_err *err) {
    struct kb_words words;
    if (language == KB_ENGLISH || page->data == NULL) {
        return KB_OK;
    }
    enum kb_status status = kb_words_open(language, &words, err);
    if (status != KB_OK) {
        kb_text_release(page);
        return status;
    }
    struct kb_text out = KB_TEXT_INIT;
    struct page_pass pass = {.words = &words, .language = language, .out = &out, .left = left};
    whole(&pass, page->data, page->length);
    bool failed = out.failed || pass.plain.failed || pass.said.failed;
    kb_text_release(&pass.plain);
    kb_text_release(&pass.said);
    kb_words_close(&words);
    if (failed) {
        size_t length = page->length;
        kb_text_release(&out);
        kb_text_release(page);
        return kb_fail_memory(err, "words", length);
    }
    kb_text_release(page);
    *page = out;
    return KB_OK;
}

enum kb_status kb_words_phrase(enum kb_language language, const char *string, struct kb_text *out,
                               struct kb_text *left, struct kb_err *err) {
    struct kb_words words;
    if (language == KB_ENGLISH) {
        kb_text_add(out, string);
        return out->failed ? kb_fail_memory(err, "words", strlen(string)) : KB_OK;
    }
    enum kb_status status = kb_words_open(language, &words, err);
    if (status == KB_OK) {
        kb_words_say(&words, string, strlen(string), out, left);
        kb_words_close(&words);
        status = out->failed ? kb_fail_memory(err, "words", strlen(string)) : KB_OK;
    }
    return status;
}
