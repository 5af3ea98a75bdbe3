/* batch_document.c - giving back what a batch owns. */
#include "batch_priv.h"

void kb_batch_specimen_release(struct kb_batch_specimen *specimen) {
    kb_free(specimen->id);
    kb_free(specimen->folder);
    kb_free(specimen->grade);
    kb_free(specimen->casting);
    for (size_t i = 0; i < specimen->faults; i++) {
        kb_free(specimen->fault[i].path);
        kb_free(specimen->fault[i].text);
    }
    kb_free(specimen->fault);
    kb_judgement_release(&specimen->judgement);
    *specimen = (struct kb_batch_specimen){.id = NULL};
}

void kb_batch_release(struct kb_batch *batch) {
    kb_free(batch->name);
    kb_free(batch->laboratory);
    kb_free(batch->operator_name);
    kb_free(batch->customer);
    kb_free(batch->manifest);
    for (size_t i = 0; i < batch->specimens; i++) {
        kb_batch_specimen_release(&batch->specimen[i]);
    }
    kb_free(batch->specimen);
    kb_free(batch->house_mark.data);
    *batch = (struct kb_batch){.name = NULL};
}

const char *kb_fault_word(enum kb_status status) {
    switch (status) {
    case KB_E_UNFIT:
        return "unfit";
    case KB_E_USAGE:
        return "settings";
    case KB_E_SYSTEM:
        return "system";
    default:
        return "unusable";
    }
}

const char *kb_batch_verdict_word(const struct kb_batch_specimen *specimen) {
    return specimen->judged ? kb_outcome_name(specimen->judgement.verdict) : "unjudged";
}
