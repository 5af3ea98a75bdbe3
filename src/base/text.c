/* text.c - a growing text buffer whose failure is sticky, and the locale bracket that keeps decimal
 * points decimal points inside programs that run under another locale. */
#include "keelblock/base.h"

#include <locale.h>
#include <string.h>

/* Room for `more` bytes and the closing NUL. */
static bool make_room(struct kb_text *text, size_t more) {
    if (text->failed || more > SIZE_MAX / 4 - text->length) {
        text->failed = true;
        return false;
    }
    size_t wanted = text->length + more + 1;
    if (wanted <= text->capacity) {
        return true;
    }
    size_t doubled = text->capacity * 2;
    size_t capacity = wanted > doubled ? wanted : doubled;
    char *grown = kb_resize(text->data, capacity, 1);
    if (grown == NULL) {
        text->failed = true;
        return false;
    }
    text->data = grown;
    text->capacity = capacity;
    return true;
}

void kb_text_add_bytes(struct kb_text *text, const char *bytes, size_t length) {
    if (!make_room(text, length)) {
        return;
    }
    if (length > 0) {
        memcpy(text->data + text->length, bytes, length);
    }
    text->length += length;
    text->data[text->length] = '\0';
}

void kb_text_add(struct kb_text *text, const char *string) {
    kb_text_add_bytes(text, string, strlen(string));
}

void kb_text_format(struct kb_text *text, const char *format, ...) {
    char small[256];
    va_list args;
    va_start(args, format);
    int length = vsnprintf(small, sizeof small, format, args);
    va_end(args);
    if (length < 0) {
        text->failed = true;
        return;
    }
    if ((size_t)length < sizeof small) {
        kb_text_add_bytes(text, small, (size_t)length);
        return;
    }
    if (!make_room(text, (size_t)length)) {
        return;
    }
    va_start(args, format);
    (void)vsnprintf(text->data + text->length, (size_t)length + 1, format, args);
    va_end(args);
    text->length += (size_t)length;
}

void kb_text_release(struct kb_text *text) {
    kb_free(text->data);
    *text = (struct kb_text)KB_TEXT_INIT;
}

struct kb_locale kb_locale_enter(void) {
    struct kb_locale entered = {NULL, NULL};
    locale_t c = newlocale(LC_NUMERIC_MASK, "C", (locale_t)0);
    if (c != (locale_t)0) {
        entered.previous = uselocale(c);
        entered.own = c;
    }
    return entered;
}

void kb_locale_leave(struct kb_locale entered) {
    if (entered.own != NULL) {
        (void)uselocale((locale_t)entered.previous);
        freelocale((locale_t)entered.own);
    }
}
