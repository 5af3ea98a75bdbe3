/* json_prove.c - prove.json, schema "keelblock.proof/1", and what all writers of a proof share.
 *
 * Every row is written, passed or failed, with its limits and what they rest on. Figures that could
 * not be found are null.
 */
#include "json_write.h"

#include "keelblock/version.h"

const char *kb_proof_kind_name(enum kb_proof_kind kind) {
    static const char *const name[KB_PROOF_KINDS] = {
        [KB_PROOF_BIAS] = "bias",
        [KB_PROOF_REPEATABILITY] = "repeatability",
        [KB_PROOF_TURNING] = "turning",
        [KB_PROOF_COVERAGE] = "coverage",
    };
    return (unsigned)kind < KB_PROOF_KINDS ? name[kind] : "unknown";
}

size_t kb_proof_failed(const struct kb_proof *proof) {
    size_t failed = 0;
    for (size_t i = 0; i < proof->rows; i++) {
        failed += proof->row[i].passed ? 0 : 1;
    }
    return failed;
}

void kb_proof_release(struct kb_proof *proof) {
    kb_free(proof->row);
    *proof = (struct kb_proof){.rows = 0};
}

static void row_object(struct kb_json *json, const struct kb_proof_row *row) {
    kb_json_open(json, NULL, '{');
    kb_json_string(json, "kind", kb_proof_kind_name(row->kind));
    kb_json_string(json, "group", row->group);
    kb_json_string(json, "subject", row->subject);
    kb_json_string(json, "quantity", row->quantity);
    kb_json_count(json, "specimens", row->specimens);
    kb_json_count(json, "fields", row->fields);
    kb_json_count(json, "fields_refused", row->refused);
    kb_json_count(json, "fields_accepted_unfit", row->accepted);
    kb_json_string(json, "refusal", row->why[0] != '\0' ? row->why : NULL);
    kb_json_number(json, "truth", row->truth);
    kb_json_number(json, "measured", row->measured);
    kb_json_string(json, "value_unit", row->value_unit);
    kb_json_number(json, "figure", row->figure);
    kb_json_number(json, "standard_error", row->error);
    kb_json_string(json, "unit", row->unit);
    kb_json_number(json, "low", row->low);
    kb_json_number(json, "high", row->high);
    if (row->kind == KB_PROOF_COVERAGE) {
        kb_json_count(json, "hits", row->hits);
        kb_json_count(json, "trials", row->trials);
    } else {
        kb_json_null(json, "hits");
        kb_json_null(json, "trials");
    }
    kb_json_string(json, "limit", row->limit_words);
    kb_json_bool(json, "passed", row->passed);
    kb_json_close(json, '}');
}

enum kb_status kb_report_proof_json(const struct kb_proof *proof, struct kb_text *out,
                                    struct kb_err *err) {
    struct kb_locale locale = kb_locale_enter();
    struct kb_json json = {.out = out};
    kb_json_open(&json, NULL, '{');
    kb_json_string(&json, "schema", "keelblock.proof/1");
    kb_json_open(&json, "tool", '{');
    kb_json_string(&json, "name", "keelblock");
    kb_json_string(&json, "version", KB_VERSION);
    kb_json_close(&json, '}');
    kb_json_string(&json, "made_at", proof->made_at[0] != '\0' ? proof->made_at : NULL);
    kb_json_bool(&json, "quick", proof->quick);
    kb_json_count(&json, "specimens", proof->specimens);
    kb_json_count(&json, "fields", proof->fields);
    kb_json_count(&json, "fields_refused", proof->refused);
    kb_json_number(&json, "seconds", proof->seconds);
    kb_json_number(&json, "threads", proof->threads);
    kb_json_count(&json, "rows_failed", kb_proof_failed(proof));
    kb_json_bool(&json, "passed", kb_proof_failed(proof) == 0);
    kb_json_open(&json, "rows", '[');
    for (size_t i = 0; i < proof->rows; i++) {
        row_object(&json, &proof->row[i]);
    }
    kb_json_close(&json, ']');
    kb_json_close(&json, '}');
    kb_text_add(out, "\n");
    kb_locale_leave(locale);
    return kb_text_end(out, err);
}
