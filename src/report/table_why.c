/* table_why.c - points that were asked about, for a terminal: numbered steps, wrapped. */
#include "report_priv.h"

enum { INDENT = 2, STEP_INDENT = 6 };

static void line(struct kb_text *out, int columns, int number, const struct kb_why_step *step) {
    struct kb_text words = KB_TEXT_INIT;
    kb_text_format(&words, "%s: ", step->step);
    kb_text_units(&words, step->says);
    if (words.failed) {
        out->failed = true;
    } else {
        kb_text_format(out, "%*d  ", STEP_INDENT - 2, number);
        kb_text_wrap(out, words.data, columns, STEP_INDENT, STEP_INDENT);
    }
    kb_text_release(&words);
}

static void point(struct kb_text *out, int columns, const struct kb_result *result,
                  const struct kb_explained *why) {
    struct kb_text words = KB_TEXT_INIT;
    const char *path = result->field[why->field - 1].path;
    kb_text_plain(&words, path != NULL ? kb_base_name(path) : "field");
    kb_text_format(&words, " at %d,%d is %s", (int)why->way.x, (int)why->way.y,
                   kb_phase_name(why->phase));
    if (why->particle > 0) {
        kb_text_format(&words, ", particle %u", (unsigned)why->particle);
    }
    kb_text_add(&words, ", because");
    if (words.failed) {
        out->failed = true;
    } else {
        kb_text_format(out, "\n%*s", INDENT, "");
        kb_text_wrap(out, words.data, columns, INDENT, INDENT + 2);
    }
    kb_text_release(&words);
    for (size_t i = 0; i < why->way.steps; i++) {
        line(out, columns, (int)i + 1, &why->way.step[i]);
    }
}

void kb_table_why(struct kb_text *out, int columns, const struct kb_result *result) {
    for (size_t i = 0; i < result->explaineds && !out->failed; i++) {
        point(out, columns, result, &result->explained[i]);
    }
}
