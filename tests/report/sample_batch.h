/* sample_batch.h - a batch made up for the tests of its papers; its verdict is that of
 * kb_judge_batch(). */
#ifndef KB_TEST_SAMPLE_BATCH_H
#define KB_TEST_SAMPLE_BATCH_H

#include "keelblock/batch.h"

struct sample_batch_options {
    size_t specimens;
    size_t unjudged; /* the first so many could not be measured */
    double value;    /* nodularity of the first, per cent; of each further one 0.001 more */
    double half;     /* of the interval */
    size_t limits;   /* how many quantities are limited, from nodularity on; 0: none */
    bool own_limits; /* the limit of every other specimen is another */
    bool hostile;    /* names that try to break out of markup */
    enum kb_batch_rule rule;
};

/* Aborts the test when memory is out. Release with sample_batch_release(). */
void sample_batch_make(const struct sample_batch_options *options, struct kb_batch *batch);
void sample_batch_release(struct kb_batch *batch);
/* Wording of so many characters, in words; static, until the next call. */
const char *sample_wording(size_t characters);

#endif
