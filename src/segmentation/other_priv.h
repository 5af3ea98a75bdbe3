/* other_priv.h - what other_seen.c learns of a field and other.c finds by it.
 */
#ifndef KB_OTHER_PRIV_H
#define KB_OTHER_PRIV_H

#include "segmentation_priv.h"

struct kb_other_population {
    uint64_t bins[256];
    double count, middle, low, high; /* standard deviation below and above the middle */
};

struct kb_other_evidence {
    const struct kb_seg *seg;
    uint8_t plain;
    int calm;                               /* grey levels */
    int32_t lag;                            /* pixels between the two of a contrast */
    struct kb_other_population means;       /* local means of pearlite */
    struct kb_other_population plain_means; /* of ferrite */
    struct kb_other_population beside;      /* grey of ferrite beside graphite */
    uint64_t calm_means[256];               /* of either */
    uint64_t plain_grey[256];
    double plain_pixels, plain_runs; /* of ferrite */
    uint32_t contrasts[64][256];     /* of pearlite: by a quarter of the local mean */
    double matrix;                   /* samples */
    double ferrite;                  /* its grey */
    int smooth;                      /* a difference up to this is smooth; grey levels */
    int low, high;                   /* mid-grey lies between */
    int white;                       /* white is above */
    uint8_t *kept; /* local means of the sampled rows, one after the other; NULL: labels changed */
};

/* Sort `p`'s counts into its middle and spreads. */
void kb_other_measure(struct kb_other_population *p);
/* Local means over colony_um of the matrix, row by row. */
KB_NODISCARD enum kb_status kb_other_means(const struct kb_other_evidence *e, int32_t step,
                                           void (*take)(void *context, int32_t y,
                                                        const uint8_t *mean),
                                           void *context, struct kb_err *err);
/* The same of every n-th row: those that were kept, or anew. */
KB_NODISCARD enum kb_status kb_other_sampled(const struct kb_other_evidence *e,
                                             void (*take)(void *context, int32_t y,
                                                          const uint8_t *mean),
                                             void *context, struct kb_err *err);
/* Look at every n-th row and set where mid-grey and white lie. Free `kept` afterwards. */
KB_NODISCARD enum kb_status kb_other_see(struct kb_other_evidence *e, struct kb_err *err);

#endif
