/* untranslated.c - for tests: the phrases of English pages that have no row in a language's table.
 *
 * kb_untranslated LANGUAGE PAGE.html ...: one line each to standard output; exit code 1 when there
 * are any, 2 when a page cannot be read. kb_untranslated --count LANGUAGE LIST.html: the numbers,
 * from 0, of those lines of the file that hold such a phrase.
 */
#include "keelblock/words.h"

#include <string.h>

static bool read_page(const char *path, struct kb_text *page) {
    char block[4096];
    size_t got = 0;
    FILE *stream = fopen(path, "rb");
    while (stream != NULL && (got = fread(block, 1, sizeof block, stream)) > 0) {
        kb_text_add_bytes(page, block, got);
    }
    return stream != NULL && fclose(stream) == 0 && !page->failed;
}

/* One page; what is left of it is added to `left`. */
static bool look(enum kb_language language, const char *markup, size_t length,
                 struct kb_text *left) {
    struct kb_text page = KB_TEXT_INIT;
    kb_text_add_bytes(&page, markup, length);
    bool good = kb_words_page(language, &page, left, NULL) == KB_OK;
    kb_text_release(&page);
    return good;
}

static int count(enum kb_language language, const struct kb_text *list) {
    size_t number = 0;
    for (const char *at = list->data; at != NULL && *at != '\0'; number++) {
        const char *end = strchr(at, '\n');
        struct kb_text left = KB_TEXT_INIT;
        size_t length = end != NULL ? (size_t)(end - at) : strlen(at);
        if (!look(language, at, length, &left)) {
            return 2;
        }
        if (left.length > 0) {
            (void)printf("%zu\n", number);
        }
        kb_text_release(&left);
        at = end != NULL ? end + 1 : NULL;
    }
    return 0;
}

int main(int argc, char **argv) {
    enum kb_language language = KB_ENGLISH;
    const bool counts = argc == 4 && strcmp(argv[1], "--count") == 0;
    struct kb_text left = KB_TEXT_INIT, list = KB_TEXT_INIT;
    if (argc < 3 || !kb_language_parse(argv[counts ? 2 : 1], &language)) {
        return 2;
    }
    if (counts) {
        int code = read_page(argv[3], &list) ? count(language, &list) : 2;
        kb_text_release(&list);
        return code;
    }
    for (int i = 2; i < argc; i++) {
        list.length = 0;
        if (!read_page(argv[i], &list) || !look(language, list.data, list.length, &left)) {
            (void)fprintf(stderr, "%s cannot be read\n", argv[i]);
            return 2;
        }
    }
    bool any = left.length > 0;
    if (any) {
        (void)fputs(left.data, stdout);
    }
    kb_text_release(&list);
    kb_text_release(&left);
    return any ? 1 : 0;
}
