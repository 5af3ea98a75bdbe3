/* seeded.c - splitmix64 (Steele, Lea & Flood 2014) and two laws on top of it. */
#include "seeded.h"

#include <math.h>

double random_unit(struct random *random) {
    uint64_t z = random->state += 0x9e3779b97f4a7c15U;
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9U;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebU;
    z ^= z >> 31;
    return (double)(z >> 11) * 0x1p-53;
}

double random_normal(struct random *random) {
    double radius = sqrt(-2.0 * log(1.0 - random_unit(random)));
    return radius * cos(6.283185307179586 * random_unit(random));
}

int random_poisson(struct random *random, double mean) {
    double least = exp(-mean);
    double product = random_unit(random);
    int count = 0;
    while (product > least) {
        product *= random_unit(random);
        count++;
    }
    return count;
}
