/* surface_fit.c - a smooth surface through scattered values, by robust weighted least squares.
 *
 * Nine terms in u and v: a full second-order polynomial, and r^4, u r^2, v r^2 which describe
 * vignetting about a centre that need not be the picture's. Few terms on purpose: the surface must
 * not be able to follow the structure. Normal equations with Cholesky; nine terms on |u|, |v| <= 1
 * are well conditioned in double precision. Robust by iteratively reweighted least squares with
 * Tukey's biweight (Huber & Ronchetti, Robust Statistics, 2009, ch. 7; its constant 4.685 gives 95
 * % efficiency for normal errors; from memory, unverified).
 */
#include "segmentation_priv.h"

#include <math.h>
#include <string.h>

#define ROUNDS 6

static void terms_at(double u, double v, double term[KB_SURFACE_TERMS]) {
    double r2 = u * u + v * v;
    term[0] = 1.0;
    term[1] = u;
    term[2] = v;
    term[3] = u * u;
    term[4] = u * v;
    term[5] = v * v;
    term[6] = r2 * r2;
    term[7] = u * r2;
    term[8] = v * r2;
}

double kb_surface_at(const struct kb_surface *surface, double u, double v) {
    double term[KB_SURFACE_TERMS];
    terms_at(u, v, term);
    double value = 0.0;
    for (int i = 0; i < KB_SURFACE_TERMS; i++) {
        value += surface->term[i] * term[i];
    }
    return value;
}

/* Solve a x = b in place of b; a symmetric positive definite, lower triangle used. */
static bool cholesky_solve(double a[KB_SURFACE_TERMS][KB_SURFACE_TERMS], int n,
                           double b[KB_SURFACE_TERMS]) {
    for (int j = 0; j < n; j++) {
        double least = a[j][j] * 1e-10; /* a pivot that lost ten digits is no pivot */
        for (int k = 0; k < j; k++) {
            a[j][j] -= a[j][k] * a[j][k];
        }
        if (!(a[j][j] > least)) {
            return false;
        }
        a[j][j] = sqrt(a[j][j]);
        for (int i = j + 1; i < n; i++) {
            for (int k = 0; k < j; k++) {
                a[i][j] -= a[i][k] * a[j][k];
            }
            a[i][j] /= a[j][j];
        }
    }
    for (int i = 0; i < n; i++) {
        for (int k = 0; k < i; k++) {
            b[i] -= a[i][k] * b[k];
        }
        b[i] /= a[i][i];
    }
    for (int i = n - 1; i >= 0; i--) {
        for (int k = i + 1; k < n; k++) {
            b[i] -= a[k][i] * b[k];
        }
        b[i] /= a[i][i];
    }
    return true;
}

/* Biweight of residual r at scale s; one-sided for an upper envelope. */
static double biweight(double r, double s, bool upper) {
    if (upper && r > 0.0) {
        return 1.0;
    }
    double t = r / (4.685 * s);
    return fabs(t) < 1.0 ? (1.0 - t * t) * (1.0 - t * t) : 0.0;
}

static bool solve_once(const struct kb_surface_point *point, size_t count, int terms,
                       const struct kb_surface *last, double scale, bool upper,
                       struct kb_surface *surface) {
    double a[KB_SURFACE_TERMS][KB_SURFACE_TERMS] = {{0.0}};
    double b[KB_SURFACE_TERMS] = {0.0};
    for (size_t p = 0; p < count; p++) {
        double weight = point[p].weight;
        if (last != NULL) {
            double residual = point[p].value - kb_surface_at(last, point[p].u, point[p].v);
            weight *= biweight(residual, scale, upper);
        }
        double term[KB_SURFACE_TERMS];
        terms_at(point[p].u, point[p].v, term);
        for (int i = 0; i < terms; i++) {
            for (int j = 0; j <= i; j++) {
                a[i][j] += weight * term[i] * term[j];
            }
            b[i] += weight * term[i] * point[p].value;
        }
    }
    if (!cholesky_solve(a, terms, b)) {
        return false;
    }
    memset(surface, 0, sizeof *surface);
    memcpy(surface->term, b, (size_t)terms * sizeof *b);
    return true;
}

/* Weighted mean absolute residual times 1.2533 = sigma for normal errors: bounded work, no sorting;
 * robust enough here since outliers have lost their weight by the second round. */
static double residual_scale(const struct kb_surface_point *point, size_t count,
                             const struct kb_surface *surface, double last_scale, bool upper) {
    double sum = 0.0;
    double total = 0.0;
    for (size_t p = 0; p < count; p++) {
        double residual = point[p].value - kb_surface_at(surface, point[p].u, point[p].v);
        double weight = point[p].weight;
        if (last_scale > 0.0) {
            weight *= biweight(residual, last_scale, upper);
        }
        sum += weight * fabs(residual);
        total += weight;
    }
    /* A surface needs no finer scale than 0.2 % of the light. */
    return total > 0.0 ? fmax(1.2533 * sum / total, 0.002) : 0.002;
}

bool kb_surface_fit(const struct kb_surface_point *point, size_t count, int terms, bool upper,
                    struct kb_surface *surface) {
    struct kb_surface now;
    if (!solve_once(point, count, terms, NULL, 0.0, false, &now)) {
        return false;
    }
    double scale = residual_scale(point, count, &now, 0.0, upper);
    for (int round = 1; round < ROUNDS; round++) {
        struct kb_surface next;
        if (!solve_once(point, count, terms, &now, scale, upper, &next)) {
            break; /* too few points kept their say: the last surface stands */
        }
        now = next;
        scale = residual_scale(point, count, &now, scale, upper);
    }
    *surface = now;
    return true;
}
