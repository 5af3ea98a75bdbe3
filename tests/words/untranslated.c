/* untranslated.c - for tests: the phrases of English pages that have no row in a language's table.
 *
 * kb_untranslated LANGUAGE PAGE.html ...: one line each to standard output; exit code 1 when there
 * are any, 2 when a page cannot be read.
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

int main(int argc, char **argv) {
    enum kb_language language = KB_ENGLISH;
    struct kb_text left = KB_TEXT_INIT;
    if (argc < 3 || !kb_language_parse(argv[1], &language)) {
        return 2;
    }
    for (int i = 2; i < argc; i++) {
        struct kb_text page = KB_TEXT_INIT;
        if (!read_page(argv[i], &page) || kb_words_page(language, &page, &left, NULL) != KB_OK) {
            (void)fprintf(stderr, "%s cannot be read\n", argv[i]);
            return 2;
        }
        kb_text_release(&page);
    }
    bool any = left.length > 0;
    if (any) {
        (void)fputs(left.data, stdout);
    }
    kb_text_release(&left);
    return any ? 1 : 0;
}
