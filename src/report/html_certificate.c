/* html_certificate.c - the certificate of a batch: one sheet for the customer.
 *
 * It says what was asked, what was found with its interval, by which rule that was decided, and
 * what it does not say. Only a batch that is accepted with every specimen measured and limited gets
 * a certificate of conformity with the customer's own title and wording; otherwise the sheet says
 * what the batch is instead. Its number is made of the digest of batch.json, so that it belongs to
 * these figures and no others, unless the laboratory numbers its sheets itself.
 */
#include "html_batch_priv.h"

#include "keelblock/version.h"

#include <nettle/sha2.h>
#include <string.h>

enum {
    SLOT_MOST = 160,    /* characters of a slot; half of it where it is set large or narrow */
    LINE_WORDING = 110, /* characters of the statement that take as much room as a limit's line */
    CLOSE_LINES = 10,   /* from so many lines on the sheet is set closer, ... */
    CLOSER_LINES = 18,  /* ... and closer still */
    NUMBER_DIGITS = 12, /* hexadecimal, of the digest: enough to tell apart a house's batches */
};

struct sheet {
    const struct kb_batch *batch;
    struct kb_batch_limited limited;
    char digest[2 * SHA256_DIGEST_SIZE + 1]; /* of batch.json */
    bool conforms;                           /* accepted, every specimen measured and limited */
};

/* ---- what it is ---- */

static enum kb_status digest_of(const struct kb_batch *batch, struct sheet *sheet,
                                struct kb_err *err) {
    struct kb_text json = KB_TEXT_INIT;
    struct sha256_ctx context;
    uint8_t digest[SHA256_DIGEST_SIZE];
    enum kb_status status = kb_report_batch_json(batch, &json, err);
    if (status != KB_OK) {
        return status;
    }
    sha256_init(&context);
    sha256_update(&context, json.length, (const uint8_t *)json.data);
    sha256_digest(&context, sizeof digest, digest);
    for (size_t i = 0; i < sizeof digest; i++) {
        (void)snprintf(sheet->digest + 2 * i, 3, "%02x", (unsigned)digest[i]);
    }
    kb_text_release(&json);
    return KB_OK;
}

static bool too_long(const char *words, int most) {
    return words != NULL && kb_text_columns(words) > most;
}

static enum kb_status check(const struct sheet *sheet, struct kb_err *err) {
    const struct kb_certificate_words *words = &sheet->batch->certificate;
    const struct {
        const char *name, *text;
        int most;
    } slot[] = {
        {"statement", words->statement, KB_STATEMENT_MOST},
        {"title", words->title, SLOT_MOST / 2}, /* set large */
        {"specification", words->specification, SLOT_MOST},
        {"part", words->part, SLOT_MOST},
        {"order", words->order, SLOT_MOST},
        {"number", words->number, SLOT_MOST / 2},
        {"approver's name", words->approved_by, SLOT_MOST / 2},
    };
    if (sheet->limited.count == 0) {
        return kb_fail(err, KB_E_USAGE, "report", sheet->batch->name,
                       "there is nothing to certify without limits");
    }
    for (size_t i = 0; i < KB_COUNT_OF(slot); i++) {
        if (too_long(slot[i].text, slot[i].most)) {
            return kb_fail(err, KB_E_USAGE, "report", sheet->batch->name,
                           "the certificate's %s is too long for one sheet (at most %d characters)",
                           slot[i].name, slot[i].most);
        }
    }
    return KB_OK;
}

static void title(struct kb_text *out, const struct sheet *sheet) {
    const struct kb_batch_judgement *judgement = &sheet->batch->judgement;
    const char *own = sheet->batch->certificate.title;
    if (!sheet->conforms) {
        kb_text_add(out,
                    judgement->verdict == KB_REJECT ? "Requirements not met" : "No certificate");
    } else if (own != NULL) {
        kb_html_own(out, own);
    } else {
        kb_text_add(out, "Certificate of conformity");
    }
}

static void number(struct kb_text *out, const struct sheet *sheet) {
    const char *own = sheet->batch->certificate.number;
    if (own != NULL) {
        kb_html_own(out, own);
        return;
    }
    for (int i = 0; i < NUMBER_DIGITS; i++) {
        kb_text_add(out, i > 0 && i % 4 == 0 ? "-" : "");
        kb_text_add_bytes(out, &sheet->digest[i], 1);
    }
}

/* ---- head ---- */

static void fact(struct kb_text *out, const char *name, const char *value) {
    if (value != NULL && value[0] != '\0') {
        kb_text_format(out, "<div><dt>%s</dt><dd>", name);
        kb_html_own(out, value);
        kb_text_add(out, "</dd></div>\n");
    }
}

/* The word that all specimens share; NULL when they differ. */
static const char *shared(const struct kb_batch *batch, bool grade) {
    const char *first = NULL;
    for (size_t i = 0; i < batch->specimens; i++) {
        const struct kb_batch_specimen *specimen = &batch->specimen[i];
        const char *own = grade ? specimen->grade : specimen->casting;
        if (own == NULL || (first != NULL && strcmp(first, own) != 0)) {
            return NULL;
        }
        first = own;
    }
    return first;
}

static void material(struct kb_text *out, const struct kb_batch *batch) {
    bool same = true;
    for (size_t i = 1; i < batch->specimens; i++) {
        same = same && batch->specimen[i].material == batch->specimen[0].material;
    }
    kb_text_add(out, "<div><dt>material</dt><dd>");
    if (same) {
        kb_text_words(out, kb_material_name(batch->specimen[0].material));
    } else {
        kb_text_add(out, "several");
    }
    kb_text_add(out, "</dd></div>\n");
}

static void head(struct kb_text *out, const struct sheet *sheet) {
    const struct kb_batch *batch = sheet->batch;
    kb_text_add(out, "<header>\n");
    kb_html_house_mark(out, &batch->house_mark);
    kb_text_add(out, "<p class=\"kind\"><span>");
    kb_html_own(out, batch->laboratory);
    kb_text_add(out, batch->laboratory == NULL ? "Metallographic laboratory" : "");
    kb_text_add(out, "</span><span>");
    kb_html_time(out, batch->made_at);
    kb_text_add(out, "</span></p>\n<h1>");
    title(out, sheet);
    kb_text_add(out, "</h1>\n");
    if (sheet->conforms || batch->judgement.verdict == KB_REJECT) { /* no certificate, no number */
        kb_text_add(out, "<p class=\"sub\">No. ");
        number(out, sheet);
        kb_text_add(out, "</p>\n");
    }
    kb_text_add(out, "</header>\n<dl class=\"facts\">\n");
    fact(out, "customer", batch->customer);
    fact(out, "order", batch->certificate.order);
    fact(out, "part", batch->certificate.part);
    fact(out, "batch", batch->name);
    fact(out, "casting", shared(batch, false));
    fact(out, "grade", shared(batch, true));
    material(out, batch);
    kb_text_format(out, "<div><dt>tested</dt><dd>%zu specimen%s, %zu field%s</dd></div>\n</dl>\n",
                   batch->specimens, batch->specimens == 1 ? "" : "s", batch->fields,
                   batch->fields == 1 ? "" : "s");
}

static void why_none(struct kb_text *out, const struct kb_batch_judgement *judgement) {
    if (judgement->unjudged > 0) {
        kb_text_format(out, "%zu of %zu specimens could not be measured as a whole",
                       judgement->unjudged, judgement->specimens);
    } else if (judgement->unlimited > 0 && judgement->verdict == KB_ACCEPT) {
        kb_text_format(out, "%zu of %zu specimens have no limits", judgement->unlimited,
                       judgement->specimens);
    } else {
        kb_html_text(out, judgement->reason);
    }
}

static void verdict(struct kb_text *out, const struct sheet *sheet) {
    static const char *const style[] = {"nolimits", "accept", "reject", "undecided"};
    const struct kb_batch_judgement *judgement = &sheet->batch->judgement;
    const bool reject = judgement->verdict == KB_REJECT;
    const enum kb_outcome shown = sheet->conforms ? KB_ACCEPT : reject ? KB_REJECT : KB_UNDECIDED;
    kb_text_format(out, "<div class=\"verdict %s\">", style[shown]);
    kb_svg_verdict(out, shown, 48);
    kb_text_format(out, "<div><strong>%s</strong><span>",
                   sheet->conforms ? "The batch conforms"
                   : reject        ? "The batch does not conform"
                                   : "Not decided");
    if (sheet->conforms || reject) {
        kb_html_text(out, judgement->reason);
    } else {
        why_none(out, judgement);
        kb_text_add(out, "; conformity is not certified");
    }
    kb_text_add(out, "</span></div></div>\n");
    if (!sheet->conforms && !reject && judgement->advice[0] != '\0') {
        kb_text_add(out, "<p class=\"small\">The cheapest way to a decision: ");
        kb_html_text(out, judgement->advice);
        kb_text_add(out, ".</p>\n");
    }
}

/* ---- results ---- */

struct met {
    size_t accepted, limited;
    enum kb_outcome worst;
};

static struct met met_of(const struct kb_batch *batch, enum kb_quantity quantity) {
    struct met met = {0, 0, KB_ACCEPT};
    for (size_t i = 0; i < batch->specimens; i++) {
        const struct kb_limit_result *limit = kb_batch_limit(&batch->specimen[i], quantity);
        if (limit != NULL) {
            met.limited++;
            met.accepted += limit->outcome == KB_ACCEPT ? 1 : 0;
            const bool worse = limit->outcome == KB_REJECT ||
                               (limit->outcome == KB_UNDECIDED && met.worst != KB_REJECT);
            met.worst = worse ? limit->outcome : met.worst;
        }
    }
    return met;
}

/* Of one specimen its figure; of several, the lowest and the highest. */
static void range(struct kb_text *out, const struct kb_batch *batch, enum kb_quantity quantity) {
    const struct kb_estimate *low = NULL, *high = NULL;
    for (size_t i = 0; i < batch->specimens; i++) {
        const struct kb_estimate *own = &batch->specimen[i].figure[quantity];
        if (own->measured) {
            low = low == NULL || own->value < low->value ? own : low;
            high = high == NULL || own->value > high->value ? own : high;
        }
    }
    kb_text_add(out, "<td class=\"n\" data-label=\"lowest to highest\">");
    if (low == NULL) {
        kb_text_add(out, "–");
    } else {
        const struct kb_shown from = kb_show(low), to = kb_show(high);
        kb_text_add(out, from.value);
        kb_text_format(out, low != high ? " to %s&#160;" : "%s&#160;", low != high ? to.value : "");
        kb_html_text(out, from.unit);
    }
    kb_text_add(out, "</td>");
}

static void outcome_cell(struct kb_text *out, const struct sheet *sheet,
                         const struct kb_batch_figure *figure, enum kb_quantity quantity) {
    const struct met met = met_of(sheet->batch, quantity);
    char words[64];
    kb_text_add(out, "<td data-label=\"met by\">");
    if (sheet->batch->judgement.params.rule == KB_BATCH_MEAN) {
        const enum kb_outcome outcome =
            figure != NULL && figure->limited ? figure->limit.outcome : KB_UNDECIDED;
        (void)snprintf(words, sizeof words, "mean: %s", kb_outcome_name(outcome));
        kb_html_outcome(out, outcome, words, 16);
    } else {
        (void)snprintf(words, sizeof words, "%zu of %zu", met.accepted, sheet->batch->specimens);
        kb_html_outcome(out, met.worst, words, 16);
    }
    kb_text_add(out, "</td>");
}

static void row(struct kb_text *out, const struct sheet *sheet, enum kb_quantity quantity) {
    const struct kb_batch_figure *figure = kb_batch_figure(sheet->batch, quantity);
    struct kb_limit limit = {.quantity = quantity};
    kb_text_add(out, "<tr><td class=\"lone\">");
    kb_html_text(out, kb_quantity_words(quantity));
    kb_text_add(out, quantity >= KB_Q_GIVEN ? " *" : "");
    kb_text_add(out, "</td><td class=\"n\" data-label=\"required\">");
    if (kb_batch_limit_of_all(sheet->batch, quantity, &limit)) {
        kb_limit_words(&limit, out);
    } else {
        kb_text_add(out, "by specimen");
    }
    kb_text_add(out, "</td><td class=\"n\" data-label=\"mean\"><span>");
    if (figure != NULL) {
        kb_html_estimate(out, &figure->split.mean, true);
    } else {
        kb_text_add(out, "<span class=\"none\">not measured</span>");
    }
    kb_text_add(out, "</span></td>");
    range(out, sheet->batch, quantity);
    outcome_cell(out, sheet, figure, quantity);
    kb_text_add(out, "</tr>\n");
}

static void results(struct kb_text *out, const struct sheet *sheet) {
    const bool several = sheet->batch->specimens > 1;
    kb_text_format(out,
                   "<table class=\"stack\"><thead><tr><th>quantity</th><th class=\"n\">required"
                   "</th><th class=\"n\">%s, 95&#160;%% interval</th><th class=\"n\">%s</th>"
                   "<th>met by</th></tr></thead><tbody>\n",
                   several ? "mean of specimens" : "found",
                   several ? "lowest to highest" : "specimen");
    for (size_t i = 0; i < sheet->limited.count; i++) {
        row(out, sheet, sheet->limited.quantity[i]);
    }
    kb_text_add(out, "</tbody></table>\n");
}

/* ---- what it rests on and what it does not say ---- */

static bool limits_given_values(const struct sheet *sheet) {
    for (size_t i = 0; i < sheet->limited.count; i++) {
        if (sheet->limited.quantity[i] >= KB_Q_GIVEN) {
            return true;
        }
    }
    return false;
}

static void rules(struct kb_text *out, const struct sheet *sheet) {
    const char *rule = kb_batch_decision_rule(sheet->batch);
    kb_text_add(out, "<p class=\"small\">");
    if (sheet->batch->certificate.specification != NULL) {
        kb_text_add(out, "<b>Specification:</b> ");
        kb_html_own(out, sheet->batch->certificate.specification);
        kb_text_add(out, ". ");
    }
    kb_text_add(out, "<b>Rule for the batch:</b> ");
    kb_html_text(out, sheet->batch->judgement.rule);
    if (rule != NULL) {
        kb_text_add(out, ". <b>Rule for a limit:</b> ");
        char named[200]; /* without its sources, which the batch report has */
        (void)snprintf(named, sizeof named, "%s", rule);
        char *source = strstr(named, " (");
        if (source != NULL) {
            *source = '\0';
        }
        kb_html_text(out, named);
    }
    kb_text_add(out, ".</p>\n");
}

static void not_said(struct kb_text *out, const struct sheet *sheet) {
    kb_text_add(out,
                "<p class=\"small\"><b>What this sheet does not say:</b> the figures are of the "
                "sections that were cut and speak for other places and castings only as far "
                "as these stand for them. ");
    if (sheet->batch->specimens == 1) {
        kb_text_add(out, "One specimen says nothing about the spread between specimens. ");
    }
    kb_text_add(out, "Shares of phases and carbon from structure are estimates near equilibrium, "
                     "no chemical analysis. ");
    if (limits_given_values(sheet)) {
        kb_text_add(out, "Values marked * were measured elsewhere and taken over as stated. ");
    }
    kb_text_add(out, "The batch report with every specimen and field stands behind it.</p>\n");
}

static void foot(struct kb_text *out, const struct sheet *sheet) {
    const struct kb_batch *batch = sheet->batch;
    kb_text_add(out, "<div class=\"sign\">\n<div><b>");
    kb_html_own(out, batch->operator_name);
    kb_text_add(out, "</b>measured by, name and signature</div>\n<div><b>");
    kb_html_own(out, batch->certificate.approved_by);
    kb_text_add(out, "</b>approved by, name and signature</div>\n<div><b></b>date</div>\n</div>\n"
                     "<p class=\"small soft\">keelblock " KB_VERSION
                     "; SHA-256 of batch.json <code class=\"digest\">");
    kb_text_add(out, sheet->digest);
    kb_text_add(out, "</code></p>\n");
}

/* Set closer the more there is to say; Letter is lower than A4. */
static void style(struct kb_text *out, const struct sheet *sheet) {
    const char *statement = sheet->batch->certificate.statement;
    const size_t wording = statement != NULL ? (size_t)kb_text_columns(statement) : 0;
    const size_t lines = sheet->limited.count + wording / LINE_WORDING;
    kb_text_format(out,
                   ".sheet p{max-width:none}.sheet .verdict{margin:1rem 0}\n"
                   ".sheet .sign{margin-top:4rem}.sheet th,.sheet td{padding-top:.3rem;"
                   "padding-bottom:.3rem}\n"
                   "@page{size:%s;margin:15mm 16mm;@bottom-right{content:none}}\n"
                   "@media print{html{font-size:%s}.sheet h1{font-size:1.8rem}"
                   ".sheet .sign{margin-top:3rem}.sheet .verdict{margin:.7rem 0;"
                   "padding:.7rem 0}}\n",
                   sheet->batch->paper == KB_PAPER_LETTER ? "letter" : "A4",
                   lines > CLOSER_LINES  ? "7.2pt"
                   : lines > CLOSE_LINES ? "8.4pt"
                                         : "9.6pt");
}

static void write_sheet(struct kb_text *out, const struct sheet *sheet) {
    const char *statement = sheet->batch->certificate.statement;
    struct kb_text close = KB_TEXT_INIT;
    style(&close, sheet);
    kb_html_document(out, sheet->batch->name, sheet->conforms ? "certificate" : "no certificate",
                     sheet->batch->made_at, close.data);
    out->failed = out->failed || close.failed;
    kb_text_release(&close);
    kb_text_add(out, "<div class=\"sheet\">\n");
    head(out, sheet);
    verdict(out, sheet);
    if (sheet->conforms && statement != NULL) {
        kb_text_add(out, "<p class=\"statement\">");
        kb_html_own(out, statement);
        kb_text_add(out, "</p>\n");
    }
    results(out, sheet);
    rules(out, sheet);
    not_said(out, sheet);
    foot(out, sheet);
    kb_text_add(out, "</div>\n");
    kb_html_document_end(out);
}

enum kb_status kb_report_certificate_html(const struct kb_batch *batch, struct kb_text *out,
                                          struct kb_err *err) {
    const struct kb_batch_judgement *judgement = &batch->judgement;
    struct sheet sheet = {.batch = batch, .limited = kb_batch_limited(batch)};
    sheet.conforms =
        judgement->unjudged == 0 && judgement->unlimited == 0 && judgement->verdict == KB_ACCEPT;
    enum kb_status status = check(&sheet, err);
    if (status == KB_OK) {
        status = digest_of(batch, &sheet, err);
    }
    if (status != KB_OK) {
        kb_text_release(out);
        return status;
    }
    struct kb_locale locale = kb_locale_enter();
    write_sheet(out, &sheet);
    kb_locale_leave(locale);
    return kb_text_end(out, err);
}
