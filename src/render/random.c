/* random.c - chance that is the same on every machine, and the few elementary functions with it.
 *
 * Streams are SplitMix64 (Steele, Lea, Flood: Fast splittable pseudorandom number generators,
 * OOPSLA 2014), started from a key made of seed, purpose and index: drawing one thing more never
 * shifts another. Normal deviates are sums of twelve uniform ones (Irwin-Hall; tails end at 6 s).
 * exp, log and the circular functions are short series in + - * /, because the last bits of the C
 * library's differ between libraries.
 */
#include "render_priv.h"

#define DIAGONAL 0.7071067811865476 /* 1 / sqrt(2) */

uint64_t kb_mix(uint64_t bits) {
    bits = (bits ^ (bits >> 30)) * 0xbf58476d1ce4e5b9u; /* multipliers of SplitMix64 */
    bits = (bits ^ (bits >> 27)) * 0x94d049bb133111ebu;
    return bits ^ (bits >> 31);
}

uint64_t kb_random_bits(struct kb_random *random) {
    random->state += 0x9e3779b97f4a7c15u; /* 2^64 / golden ratio, SplitMix64 */
    return kb_mix(random->state);
}

uint64_t kb_random_key(uint64_t seed, enum kb_chance purpose, uint64_t index) {
    struct kb_random stream = {seed};
    uint64_t key = kb_random_bits(&stream);
    stream.state = key ^ (uint64_t)purpose;
    key = kb_random_bits(&stream);
    stream.state = key ^ index;
    return kb_random_bits(&stream);
}

struct kb_random kb_random_start(uint64_t seed, enum kb_chance purpose, uint64_t index) {
    return (struct kb_random){kb_random_key(seed, purpose, index)};
}

double kb_random_uniform(struct kb_random *random) {
    return (double)(kb_random_bits(random) >> 11) * 0x1p-53; /* 53 bits: a double's mantissa */
}

double kb_random_between(struct kb_random *random, double low, double high) {
    return low + (high - low) * kb_random_uniform(random);
}

double kb_random_normal(struct kb_random *random) {
    double sum = -6.0;
    for (int i = 0; i < 12; i++) {
        sum += kb_random_uniform(random);
    }
    return sum;
}

/* Slope at a lattice point along (u, v): one of eight unit vectors by chance. */
static double slope(uint64_t key, int64_t x, int64_t y, double u, double v) {
    static const double c[8] = {1, DIAGONAL, 0, -DIAGONAL, -1, -DIAGONAL, 0, DIAGONAL};
    uint64_t bits =
        kb_mix(key + (uint64_t)x * 0x9e3779b97f4a7c15u + (uint64_t)y * 0xd1b54a32d192ed03u);
    return c[bits & 7] * u + c[(bits + 6) & 7] * v;
}

/* Sum of the eight bytes of a hash: mean 1020, variance 8 * (256^2 - 1) / 12. */
double kb_byte_normal(uint64_t bits) {
    int sum = 0;
    for (int i = 0; i < 64; i += 8) {
        sum += (int)((bits >> i) & 0xff);
    }
    return (sum - 1020) / 209.022; /* sqrt(8 * 65535 / 12) */
}

int64_t kb_round_down(double x) {
    int64_t i = (int64_t)x;
    return i - ((double)i > x);
}

double kb_noise(uint64_t key, double x, double y) {
    int64_t ix = kb_round_down(x), iy = kb_round_down(y);
    double u = x - (double)ix, v = y - (double)iy;
    double a = slope(key, ix, iy, u, v), b = slope(key, ix + 1, iy, u - 1.0, v);
    double c = slope(key, ix, iy + 1, u, v - 1.0), d = slope(key, ix + 1, iy + 1, u - 1.0, v - 1.0);
    u = u * u * u * (u * (u * 6.0 - 15.0) + 10.0);
    v = v * v * v * (v * (v * 6.0 - 15.0) + 10.0);
    double top = a + (b - a) * u, bottom = c + (d - c) * u;
    return 1.6 * (top + (bottom - top) * v); /* the sum itself stays within +-0.71 */
}

double kb_exp(double x) {
    if (x < -700.0) {
        return 0.0;
    }
    if (x > 700.0) {
        x = 700.0; /* near the end of the range of a double */
    }
    double whole = floor(x + 0.5), rest = x - whole; /* |rest| <= 1/2 */
    double term = 1.0, sum = 1.0;
    for (int i = 1; i < 16; i++) { /* 0.5^16 / 16! < 1e-18 */
        term *= rest / i;
        sum += term;
    }
    const double e = 2.718281828459045;
    double base = whole < 0.0 ? 1.0 / e : e;
    for (int n = (int)fabs(whole); n > 0; n >>= 1) {
        if (n & 1) {
            sum *= base;
        }
        base *= base;
    }
    return sum;
}

double kb_log(double x) {
    int power = 0;
    while (x > 2.0) {
        x *= 0.5;
        power++;
    }
    while (x < 1.0) {
        x *= 2.0;
        power--;
    }
    double t = (x - 1.0) / (x + 1.0), square = t * t, sum = 0.0; /* t <= 1/3 */
    for (int i = 39; i > 0; i -= 2) {                            /* (1/3)^40 < 1e-19 */
        sum = sum * square + 1.0 / i;
    }
    return 2.0 * t * sum + power * 0.6931471805599453;
}

void kb_turn(double turns, double *cosine, double *sine) {
    turns -= floor(turns);
    double quarter = floor(turns * 4.0 + 0.5);
    double a = (turns - quarter * 0.25) * 6.283185307179586; /* |a| <= pi / 4 */
    double square = a * a, c = 1.0, s = 1.0;
    for (int i = 9; i >= 1; i--) { /* nested Taylor series, to a^18 */
        c = 1.0 - square / (double)((2 * i - 1) * 2 * i) * c;
        s = 1.0 - square / (double)(2 * i * (2 * i + 1)) * s;
    }
    s *= a;
    switch ((int)quarter & 3) {
    case 0:
        *cosine = c, *sine = s;
        break;
    case 1:
        *cosine = -s, *sine = c;
        break;
    case 2:
        *cosine = -c, *sine = -s;
        break;
    default:
        *cosine = s, *sine = -c;
        break;
    }
}
