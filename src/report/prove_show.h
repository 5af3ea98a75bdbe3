/* prove_show.h - rows of a proof in words, for the terminal and the page alike. */
#ifndef KB_PROVE_SHOW_H
#define KB_PROVE_SHOW_H

#include "report_priv.h"

bool kb_proof_same_series(const struct kb_proof_row *a, const struct kb_proof_row *b);
/* "+0.12 points", "96.2 %", "no figure". */
void kb_proof_figure(const struct kb_proof_row *row, char *to, size_t size);
/* "±1", "93 to 97", "≤ 0.2". */
void kb_proof_limits(const struct kb_proof_row *row, char *to, size_t size);
/* How far a row is towards its limits: 1 on a limit; without a figure beyond everything. */
double kb_proof_strain(const struct kb_proof_row *row);

/* Rows of one series and quantity. */
struct kb_proof_series {
    const struct kb_proof_row *worst; /* a failed one before any that passed */
    size_t rows, passed;
};
/* Those of `quantity` in the series that begins at row `start`; false when there is none. */
bool kb_proof_worst(const struct kb_proof *proof, size_t start, const char *quantity,
                    struct kb_proof_series *series);

#endif
