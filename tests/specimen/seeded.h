/* seeded.h - seeded random numbers, the same on every machine. */
#ifndef KB_TEST_SEEDED_H
#define KB_TEST_SEEDED_H

#include <stdint.h>

struct random {
    uint64_t state;
};
double random_unit(struct random *random);   /* uniform in [0, 1) */
double random_normal(struct random *random); /* mean 0, variance 1 */
int random_poisson(struct random *random, double mean);

#endif
