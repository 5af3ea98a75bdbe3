/* split.c - how much of a batch's spread lies between specimens, and how much within them.
 *
 * One-way random effects, components by the analysis of variance method: with k specimens of n_i
 * fields, mean square within MSW = sum (n_i - 1) s_i^2 / sum (n_i - 1), mean square between
 * MSB = sum n_i (m_i - m)^2 / (k - 1), and for unequal numbers n0 = (N - sum n_i^2 / N) / (k - 1):
 * the variance between specimens is (MSB - MSW) / n0, or 0 where that is negative. (Montgomery,
 * "Design and Analysis of Experiments"; from memory, worked example in refs/random_effects.csv.)
 *
 * The batch's own figure is the plain mean of its specimens. Its interval rests on the spread of
 * the specimens' means alone, which already contains the spread between fields; hence Student's t
 * with k - 1 degrees of freedom, exact where specimens have the same number of fields.
 */
#include "specimen_priv.h"

static bool speaks(const struct kb_estimate *estimate) {
    return estimate->measured && isfinite(estimate->value);
}

/* Sums over the specimens that give the figure. */
struct sums {
    double fields, fields2; /* sum n, sum n^2 */
    double weighted;        /* sum n m */
    double inner, freedom;  /* sum (n - 1) s^2, sum (n - 1) */
    double mean, scatter;   /* of the means: plain, and sum (m - mean)^2 */
    size_t groups;
    bool spread_known; /* at least one has an s between its fields */
};

static struct sums add_up(const struct kb_estimate *member, size_t count) {
    struct sums sums = {.groups = 0};
    for (size_t i = 0; i < count; i++) {
        if (speaks(&member[i])) {
            double n = member[i].n > 0 ? (double)member[i].n : 1.0;
            sums.fields += n;
            sums.fields2 += n * n;
            sums.weighted += n * member[i].value;
            sums.mean += member[i].value;
            sums.groups++;
            if (n > 1.0 && isfinite(member[i].s)) {
                sums.inner += (n - 1.0) * member[i].s * member[i].s;
                sums.freedom += n - 1.0;
                sums.spread_known = true;
            }
        }
    }
    sums.mean /= sums.groups > 0 ? (double)sums.groups : 1.0;
    for (size_t i = 0; i < count; i++) {
        if (speaks(&member[i])) {
            sums.scatter += (member[i].value - sums.mean) * (member[i].value - sums.mean);
        }
    }
    return sums;
}

static double square_between(const struct kb_estimate *member, size_t count,
                             const struct sums *sums) {
    double grand = sums->weighted / sums->fields, square = 0.0;
    for (size_t i = 0; i < count; i++) {
        if (speaks(&member[i])) {
            double n = member[i].n > 0 ? (double)member[i].n : 1.0;
            square += n * (member[i].value - grand) * (member[i].value - grand);
        }
    }
    return square / (double)(sums->groups - 1);
}

static struct kb_estimate mean_of(const struct kb_estimate *member, size_t count,
                                  const struct sums *sums, double least, double most) {
    const char *unit = "";
    for (size_t i = 0; i < count && unit[0] == '\0'; i++) {
        unit = speaks(&member[i]) ? member[i].unit : "";
    }
    if (sums->groups == 0) {
        return kb_estimate_missing(unit, "no specimen of the batch gives it");
    }
    static const char method[] = "mean of the specimens, Student's t between specimens";
    struct kb_estimate mean = kb_estimate_point(sums->mean, sums->groups, unit, method);
    if (sums->groups < 2) {
        return mean; /* one specimen says nothing of the others */
    }
    double k = (double)sums->groups;
    mean.s = sqrt(sums->scatter / (k - 1.0));
    double half = kb_student_95(sums->groups) * mean.s / sqrt(k);
    mean.lo = fmax(mean.value - half, least);
    mean.hi = fmin(mean.value + half, most);
    mean.has_interval = true;
    return mean;
}

struct kb_split kb_split_run(const struct kb_estimate *member, size_t count, double least,
                             double most) {
    struct sums sums = add_up(member, count);
    struct kb_split split = {
        .groups = sums.groups,
        .fields = (size_t)sums.fields,
        .mean = mean_of(member, count, &sums, least, most),
        .within = sums.spread_known ? sqrt(sums.inner / sums.freedom) : KB_NAN,
        .within_freedom = sums.freedom,
        .between = KB_NAN,
        .fields_each = sums.groups > 0 ? sums.fields / (double)sums.groups : KB_NAN,
    };
    if (sums.groups > 1) {
        split.fields_each = (sums.fields - sums.fields2 / sums.fields) / (double)(sums.groups - 1);
        double excess = square_between(member, count, &sums) - split.within * split.within;
        if (isfinite(excess)) {
            split.between = sqrt(fmax(excess / split.fields_each, 0.0));
        }
    }
    return split;
}
