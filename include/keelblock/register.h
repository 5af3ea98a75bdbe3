/* register.h - what was measured, kept over months: results in an SQLite file, and control charts
 * of the figures of one casting.   ... > judge > REGISTER > report
 *
 * The words: a *result* is what one measurement of a specimen gave; a *casting* is the type of
 * casting it was cut from, whose results make one series; a result is *superseded* when the same
 * pictures of the same specimen were measured anew with other settings or another version, and is
 * then kept but no longer charted; a *stretch* is a run of castings made in one way, with control
 * limits of its own.
 */
#ifndef KEELBLOCK_REGISTER_H
#define KEELBLOCK_REGISTER_H

#include "keelblock/judge.h"

#ifdef __cplusplus
extern "C" {
#endif

/* Whether it is a day or a time, "2026-03-04" or "2026-03-04T09:41:00+01:00" (ISO 8601); seconds
 * since 1970 of its instant. */
KB_API KB_NODISCARD bool kb_register_date(const char *text, int64_t *seconds);

/* ---- control charts ----------------------------------------------------------------------------
 * Individuals and moving range. Within a stretch the limits come from its first castings (the
 * baseline) and stay, so that a drift does not widen its own limits: mean ± 3 MR/d2, and D4 MR for
 * the range, MR the mean of the moving ranges of the baseline, d2 = 1.128 and D4 = 3.267 for ranges
 * of two (refs/chart_factors.csv). Arithmetic only; knows of no file. */

/* Tests for special causes, numbered as by L. S. Nelson, Journal of Quality Technology 16 (1984)
 * 237-239 (from memory, unverified); 1, 5, 6 and, with 8 instead of 9 in a row, 2 are those of the
 * Western Electric Statistical Quality Control Handbook, 1956. Sigma is MR/d2. */
enum kb_chart_rule {
    KB_CHART_BEYOND = 1,   /* one point beyond three sigma */
    KB_CHART_ONE_SIDE,     /* nine in a row on one side of the mean */
    KB_CHART_STEADY,       /* six in a row steadily rising or falling */
    KB_CHART_ALTERNATING,  /* fourteen in a row going up and down by turns */
    KB_CHART_TWO_OF_THREE, /* two of three beyond two sigma, on one side */
    KB_CHART_FOUR_OF_FIVE, /* four of five beyond one sigma, on one side */
    KB_CHART_HUGGING,      /* fifteen in a row within one sigma */
    KB_CHART_APART,        /* eight in a row beyond one sigma, on either side */
    KB_CHART_RULES_END
};
#define KB_CHART_BIT(rule) (1u << (unsigned)(rule))
KB_API const char *kb_chart_rule_words(enum kb_chart_rule rule); /* "beyond a control limit" */

struct kb_chart_params {
    unsigned rules;        /* KB_CHART_BIT()s; 1 and 2 */
    bool ranges;           /* also mark moving ranges above their limit; true. Never a
                               finding: they add false alarms and find little that the rules miss */
    size_t one_side;       /* points in a row of KB_CHART_ONE_SIDE; 9 (Western Electric: 8) */
    size_t baseline;       /* castings that give the limits; 25. Fewer so far: provisional */
    char from[32], to[32]; /* days between which the baseline lies, inclusive; "" open or, both,
                              the first castings */
    size_t baseline_least; /* no limits from fewer; 8, our choice */
    size_t trend;          /* castings over which the trend is taken; 20 */
    size_t trend_least;    /* no trend over fewer; 8, our choice */
    double
        trend_certainty; /* a drift is named when this interval of the slope leaves out 0; 0.999 */
    double least, most;  /* what the quantity can be, NaN: anything; limits beyond are none */
};
KB_API struct kb_chart_params kb_chart_params_default(enum kb_quantity quantity);
/* KB_E_USAGE for what makes no sense. */
KB_API KB_NODISCARD enum kb_status kb_chart_params_check(const struct kb_chart_params *params,
                                                         struct kb_err *err);

/* One result in the order of casting. */
struct kb_chart_point {
    double value, lo, hi;    /* lo and hi NaN: without interval */
    double low, high;        /* limits of the specification; NaN: open on that side */
    char *specimen, *batch;  /* names; batch "" when there is none */
    char date[32];           /* on which it was cast, else measured; ISO 8601 */
    enum kb_outcome outcome; /* of the limit */
    bool begins;             /* a stretch begins here; the first point always does */
    char *words;             /* why it begins; NULL */
    /* Filled in by kb_chart_run(): */
    double range;      /* to the point before; NaN at the beginning of a stretch */
    unsigned broken;   /* KB_CHART_BIT()s of rules that the run up to here breaks */
    bool range_beyond; /* the moving range is above its limit */
    bool baseline;     /* gives the limits */
    size_t stretch;    /* index */
};

/* Castings made in one way. */
struct kb_chart_stretch {
    size_t first, count; /* its points */
    const char *words;   /* why it begins, a view; NULL */
    bool limited;        /* false: too few castings, or they do not vary; `why` says which */
    const char *why;     /* static text */
    bool provisional;    /* fewer castings so far than a baseline takes */
    size_t baseline;     /* castings that give the limits */
    double mean, range_mean, sigma;
    double upper, lower; /* control limits; NaN: beyond what the quantity can be */
    double range_upper;
};

/* Straight line through the latest castings of the last stretch. */
struct kb_chart_trend {
    bool known;           /* false: too few castings */
    size_t count;         /* castings it is taken over */
    double slope, lo, hi; /* a casting; two-sided 95 % interval, Student's t */
    bool drifts;          /* zero lies outside the interval of trend_certainty */
    double level;         /* of the line at the last casting */
    double limit;         /* of the specification, the one it drifts towards; NaN: none */
    double castings;      /* until the line reaches it; NaN: never or there is none; 0: has */
    /* The same where the line's 95 % band is there; latest infinite: perhaps never. */
    double soonest, latest;
};

struct kb_chart {
    enum kb_quantity quantity;
    char *casting; /* NULL: not said */
    struct kb_chart_params params;
    struct kb_chart_point *point;
    size_t points, capacity;
    struct kb_chart_stretch *stretch;
    size_t stretches;
    struct kb_chart_trend trend;
    struct kb_findings findings; /* in words: drift, latest breach, what the chart rests on */
};
/* Ranges, limits, rules, trend and findings of the points given; `chart` holds points, quantity and
 * casting. KB_E_USAGE for params out of range or a value that is not finite. */
KB_API KB_NODISCARD enum kb_status
kb_chart_run(struct kb_chart *chart, const struct kb_chart_params *params, struct kb_err *err);
/* Add a point with values only (the rest open); views are copied. */
KB_API KB_NODISCARD enum kb_status kb_chart_add(struct kb_chart *chart, double value,
                                                const char *specimen, const char *date,
                                                struct kb_err *err);
KB_API void kb_chart_release(struct kb_chart *chart);

/* ---- the register ------------------------------------------------------------------------------
 * An SQLite file. Several programs may use one at a time: each addition is one transaction, and a
 * writer waits for another up to half a minute. Nothing in it is ever changed or removed but the
 * mark by which a result is superseded. */

struct kb_register;

/* Open for reading, or, with `write`, for adding too; then made if missing. KB_E_INPUT: missing,
 * damaged, of another program or of a later version, and left untouched; KB_E_SYSTEM: what the disk
 * refuses. Close also after a failure of a later call. */
KB_API KB_NODISCARD enum kb_status kb_register_open(const char *path, bool write,
                                                    struct kb_register **reg, struct kb_err *err);
KB_API void kb_register_close(struct kb_register *reg); /* NULL is fine */
KB_API const char *kb_register_path(const struct kb_register *reg);

/* What became of a result. */
enum kb_register_news {
    KB_NEWS_ADDED,
    KB_NEWS_KNOWN,      /* it was in already: nothing changed */
    KB_NEWS_SUPERSEDES, /* added, and takes the place of an earlier one */
    KB_NEWS_SUPERSEDED, /* added to the past: a later measurement of the same is in already */
    KB_NEWS_KINDS
};
struct kb_register_added {
    enum kb_register_news news;
    int64_t id, other; /* number of the result; of the one that it supersedes or is by, 0 none */
    char same_pictures[128]; /* another specimen with the same pictures; "" none */
};
/* The bytes of a result.json. `batch` and `measured_at` (ISO 8601 with offset) stand in where the
 * result states none; NULL: nothing stands in. `name` is for errors. KB_E_INPUT: no result, or it
 * lacks specimen, figures or date; or the same pictures, settings and version gave other figures,
 * so that the file was altered. */
KB_API KB_NODISCARD enum kb_status kb_register_add(struct kb_register *reg, const char *json,
                                                   size_t length, const char *name,
                                                   const char *batch, const char *measured_at,
                                                   struct kb_register_added *added,
                                                   struct kb_err *err);
/* Several additions as one: all or none. */
KB_API KB_NODISCARD enum kb_status kb_register_begin(struct kb_register *reg, struct kb_err *err);
KB_API KB_NODISCARD enum kb_status kb_register_commit(struct kb_register *reg, struct kb_err *err);
KB_API void kb_register_rollback(struct kb_register *reg); /* does nothing when none has begun */

/* A new stretch of a casting from `date` on ("2026-03-04"), and why. Said again for the same day it
 * replaces the words. */
KB_API KB_NODISCARD enum kb_status kb_register_stretch(struct kb_register *reg, const char *casting,
                                                       const char *date, const char *words,
                                                       struct kb_err *err);

/* A figure as it stands in the register. */
struct kb_register_figure {
    enum kb_quantity quantity;
    double value, lo, hi, s; /* NaN where not measured */
    size_t n;
    double low, high;        /* limits; NaN open, both: none */
    enum kb_outcome outcome; /* none without limits */
};

/* One result. */
struct kb_register_entry {
    int64_t id, superseded_by;                                   /* 0: in force */
    char *specimen, *batch, *casting, *material, *operator_name; /* "" where not stated */
    char *cast_on, *measured_at, *added_at; /* ISO 8601; cast_on "" not stated */
    char *version, *pictures_sha256, *settings_sha256, *digest;
    size_t fields;
    enum kb_outcome verdict;
    struct kb_register_figure *figure; /* in the order of enum kb_quantity */
    size_t figures;
};
struct kb_register_list {
    struct kb_register_entry *entry; /* in the order of casting */
    size_t count, capacity;
};
/* Results of a casting (NULL: all), with or without those that are superseded. */
KB_API KB_NODISCARD enum kb_status kb_register_list(struct kb_register *reg, const char *casting,
                                                    bool superseded, struct kb_register_list *list,
                                                    struct kb_err *err);
KB_API void kb_register_list_release(struct kb_register_list *list);

/* The castings that the register knows, each with what it holds. */
struct kb_register_casting {
    char *name;     /* "": not stated */
    size_t results; /* in force */
    bool measured[KB_QUANTITIES], limited[KB_QUANTITIES];
};
struct kb_register_castings {
    struct kb_register_casting *item;
    size_t count, capacity;
};
KB_API KB_NODISCARD enum kb_status kb_register_castings(struct kb_register *reg,
                                                        struct kb_register_castings *castings,
                                                        struct kb_err *err);
KB_API void kb_register_castings_release(struct kb_register_castings *castings);

/* The chart of a quantity of a casting, from all results in force; run. No points when there are
 * none. `params` NULL: the defaults. Release with kb_chart_release(). */
KB_API KB_NODISCARD enum kb_status kb_register_chart(struct kb_register *reg, const char *casting,
                                                     enum kb_quantity quantity,
                                                     const struct kb_chart_params *params,
                                                     struct kb_chart *chart, struct kb_err *err);

#ifdef __cplusplus
}
#endif
#endif
