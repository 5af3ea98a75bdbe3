/* outline.c - the forms of graphite as closed polygons, and their true measures.
 *
 * Round forms are r(angle) = 1 + a h(angle): h is a sum of low harmonics with random phase, a is
 * found by bisection so that the shape factor is the one drawn by chance. Worms and flakes are a
 * bent centre line with a half-width at each place and rounded ends. Area by the shoelace formula;
 * Feret diameters by rotating callipers (Shamos 1978) on the convex hull (monotone chain, Andrew
 * 1979).
 */
#include "render_priv.h"

#define PI 3.14159265358979323846

/* ---- measures -----------------------------------------------------------------------------------
 */

static double cross(struct kb_point o, struct kb_point a, struct kb_point b) {
    return (a.x - o.x) * (b.y - o.y) - (a.y - o.y) * (b.x - o.x);
}

static double distance(struct kb_point a, struct kb_point b) {
    return sqrt((a.x - b.x) * (a.x - b.x) + (a.y - b.y) * (a.y - b.y));
}

static bool before(struct kb_point a, struct kb_point b) {
    return a.x < b.x || (a.x == b.x && a.y < b.y);
}

/* Shell sort: no recursion, no comparison through pointers, few points. */
static void sort_points(struct kb_point *point, size_t n) {
    size_t gap = 1;
    while (gap < n / 3) {
        gap = 3 * gap + 1;
    }
    for (; gap > 0; gap /= 3) {
        for (size_t i = gap; i < n; i++) {
            struct kb_point p = point[i];
            size_t j = i;
            for (; j >= gap && before(p, point[j - gap]); j -= gap) {
                point[j] = point[j - gap];
            }
            point[j] = p;
        }
    }
}

/* hull[0 .. n-1] holds a copy of the points, with room for n + 1 more (the end of the upper chain
 * can stand there once more than in the hull); returns how many remain, at hull + n. */
static size_t make_hull(struct kb_point *hull, size_t n) {
    struct kb_point *in = hull, *out = hull + n;
    size_t k = 0;
    sort_points(in, n);
    for (size_t i = 0; i < n; i++) { /* lower chain */
        while (k >= 2 && cross(out[k - 2], out[k - 1], in[i]) <= 0.0) {
            k--;
        }
        out[k++] = in[i];
    }
    for (size_t i = n - 1, low = k + 1; i > 0; i--) { /* upper chain */
        while (k >= low && cross(out[k - 2], out[k - 1], in[i - 1]) <= 0.0) {
            k--;
        }
        if (i > 1) {
            out[k++] = in[i - 1];
        }
    }
    return k;
}

/* Rotating callipers: for each hull edge the farthest vertex. */
static void measure_feret(const struct kb_point *hull, size_t n,
                          struct kb_outline_measures *measures) {
    double largest = 0.0, smallest = INFINITY;
    size_t far = 1;
    for (size_t i = 0; i < n; i++) {
        struct kb_point a = hull[i], b = hull[(i + 1) % n];
        while (cross(a, b, hull[(far + 1) % n]) > cross(a, b, hull[far])) {
            far = (far + 1) % n;
        }
        double length = distance(a, b);
        double reach = distance(a, hull[far]), reach_b = distance(b, hull[far]);
        largest = fmax(largest, fmax(reach, reach_b));
        if (length > 0.0) {
            smallest = fmin(smallest, cross(a, b, hull[far]) / length);
        }
    }
    measures->feret_max = largest;
    measures->feret_min = smallest;
}

void kb_outline_measure(const struct kb_point *point, size_t n, struct kb_point *hull,
                        struct kb_outline_measures *measures) {
    struct kb_outline_measures m = {
        .x0 = INFINITY, .y0 = INFINITY, .x1 = -INFINITY, .y1 = -INFINITY};
    double twice = 0.0, mx = 0.0, my = 0.0;
    struct kb_point o = point[0]; /* small numbers keep the sums exact */
    for (size_t i = 0; i < n; i++) {
        struct kb_point a = point[i], b = point[(i + 1) % n];
        double part = cross(o, a, b);
        twice += part;
        mx += part * (a.x + b.x - 2.0 * o.x);
        my += part * (a.y + b.y - 2.0 * o.y);
        m.perimeter += distance(a, b);
        m.x0 = fmin(m.x0, a.x);
        m.y0 = fmin(m.y0, a.y);
        m.x1 = fmax(m.x1, a.x);
        m.y1 = fmax(m.y1, a.y);
        hull[i] = a;
    }
    m.area = fabs(twice) / 2.0;
    m.x = o.x + mx / (3.0 * twice);
    m.y = o.y + my / (3.0 * twice);
    measure_feret(hull + n, make_hull(hull, n), &m);
    m.shape_factor = m.area / (PI / 4.0 * m.feret_max * m.feret_max);
    *measures = m;
}

/* ---- round forms --------------------------------------------------------------------------------
 */

enum { HARMONICS = 22 };

/* Sum of harmonics at each vertex: form[] of the outline at large, rough[] of its fine serration.
 */
static void draw_harmonics(struct kb_random *random, bool irregular, double form[],
                           double rough[]) {
    for (int i = 0; i < KB_OUTLINE_POINTS; i++) {
        form[i] = rough[i] = 0.0;
    }
    for (int k = 2; k <= HARMONICS; k++) {
        double phase = kb_random_uniform(random);
        double size = kb_random_between(random, 0.3, 1.0);
        /* lobes weigh little in a nodule, much in a crab-like particle */
        size *= k > 7 ? 1.0 : irregular ? 1.0 / k : 1.6 / (k * k);
        double *to = k > 7 ? rough : form;
        for (int i = 0; i < KB_OUTLINE_POINTS; i++) {
            double c, s;
            kb_turn((double)(k * i) / KB_OUTLINE_POINTS + phase, &c, &s);
            to[i] += size * c;
        }
    }
}

/* How a round form departs from the circle. */
struct round_form {
    double lobes[KB_OUTLINE_POINTS], rough[KB_OUTLINE_POINTS];
    double serration; /* weight of rough */
    double stretch;   /* long over short side of the form without lobes */
    double turned;    /* direction of the long side, turns */
};

static void polar(const struct round_form *round, double lobes, struct kb_point point[]) {
    double tc, ts;
    kb_turn(round->turned, &tc, &ts);
    for (int i = 0; i < KB_OUTLINE_POINTS; i++) {
        double c, s, r = 1.0 + lobes * round->lobes[i] + round->serration * round->rough[i];
        r = r < 0.36 ? 0.36 : r; /* keeps the outline free of crossings */
        kb_turn((double)i / KB_OUTLINE_POINTS, &c, &s);
        c *= round->stretch;
        point[i] = (struct kb_point){r * (c * tc - s * ts), r * (c * ts + s * tc)};
    }
}

static void draw_round(struct kb_random *random, bool irregular, struct kb_form *form) {
    struct round_form round;
    struct kb_point hull[KB_HULL_ROOM];
    struct kb_outline_measures m;
    draw_harmonics(random, irregular, round.lobes, round.rough);
    round.serration = irregular ? kb_random_between(random, 0.015, 0.035)
                                : kb_random_between(random, 0.002, 0.010);
    round.stretch = irregular ? kb_random_between(random, 1.15, 1.55) : 1.0;
    round.turned = kb_random_uniform(random);
    /* nodules of forms VI and V, a few of them hardly that; degenerate graphite well below 0.6 */
    double aim = irregular                          ? kb_random_between(random, 0.40, 0.57)
                 : kb_random_uniform(random) < 0.12 ? kb_random_between(random, 0.66, 0.80)
                                                    : kb_random_between(random, 0.80, 0.95);
    double low = 0.0, high = irregular ? 4.0 : 1.0; /* amplitude of the lobes */
    for (int i = 0; i < 14; i++) {
        double middle = (low + high) / 2.0;
        polar(&round, middle, form->point);
        kb_outline_measure(form->point, KB_OUTLINE_POINTS, hull, &m);
        if (m.shape_factor > aim) {
            low = middle;
        } else {
            high = middle;
        }
    }
    polar(&round, irregular ? high : low, form->point); /* on the aim's own side */
    form->discs = 1;
    form->disc[0] = (struct kb_disc){0.0, 0.0, 1.0};
}

/* ---- worms and flakes ---------------------------------------------------------------------------
 */

enum { CAP = 10 }; /* vertices of a rounded end */

/* Two sides of the spine and two caps make exactly KB_OUTLINE_POINTS vertices. */
enum { SPINE = (KB_OUTLINE_POINTS - 2 * CAP) / 2 };

struct spine {
    struct kb_point at[SPINE], along[SPINE];
    double half[SPINE];
};

/* What makes one kind of stroke differ from another. */
struct stroke {
    double bend, wave;                /* turns over the length: of the whole, of its kinks */
    double slender_low, slender_high; /* half thickness over length */
    double kinks, lumps;              /* how many */
    double fine;                      /* weight of the small lumps */
    bool taper;                       /* to a point; else the ends are round and often thick */
};

static const struct stroke strokes[] = {
    [KB_SHAPE_WORM] = {0.16, 0.13, 0.07, 0.15, 3.5, 4.0, 0.13, false},
    [KB_SHAPE_FLAKE] = {0.10, 0.10, 0.009, 0.020, 3.0, 9.0, 0.15, true},
    [KB_SHAPE_SLIVER] = {0.06, 0.07, 0.020, 0.038, 2.0, 6.0, 0.15, true},
    [KB_SHAPE_PLATE] = {0.01, 0.01, 0.013, 0.022, 2.0, 3.0, 0.10, true},
};

static void draw_spine(struct kb_random *random, const struct stroke *stroke, struct spine *spine) {
    double direction = kb_random_uniform(random);
    double bend = kb_random_normal(random) * stroke->bend;
    uint64_t key = kb_random_bits(random);
    double slender = kb_random_between(random, stroke->slender_low, stroke->slender_high);
    double kinks = stroke->kinks, lumps = stroke->lumps;
    struct kb_point p = {0.0, 0.0};
    for (int i = 0; i < SPINE; i++) {
        double t = (double)i / (SPINE - 1), mid = 2.0 * t - 1.0;
        double wave = kb_noise(key, t * kinks + 0.4, 0.5) * stroke->wave;
        struct kb_point along;
        kb_turn(direction + bend * t + wave, &along.x, &along.y);
        double taper = stroke->taper ? 0.12 + 0.88 * sqrt(1.0 - mid * mid * mid * mid) : 1.0;
        double wobble = 1.0 + 0.45 * kb_noise(key, t * lumps + 0.3, 7.5) +
                        stroke->fine * kb_noise(key, t * 3.0 * lumps, 3.5);
        spine->at[i] = p;
        spine->along[i] = along;
        spine->half[i] = slender * taper * wobble;
        p.x += along.x / SPINE;
        p.y += along.y / SPINE;
    }
}

static struct kb_point beside(const struct spine *spine, int i, double turns) {
    double c, s;
    struct kb_point d = spine->along[i];
    kb_turn(turns, &c, &s);
    return (struct kb_point){spine->at[i].x + spine->half[i] * (d.x * c - d.y * s),
                             spine->at[i].y + spine->half[i] * (d.x * s + d.y * c)};
}

static void draw_stroke(struct kb_random *random, enum kb_shape shape, struct kb_form *form) {
    struct spine spine;
    int n = 0;
    draw_spine(random, &strokes[shape], &spine);
    for (int i = 0; i < SPINE; i++) {
        form->point[n++] = beside(&spine, i, 0.25);
    }
    for (int i = 0; i < CAP; i++) {
        form->point[n++] = beside(&spine, SPINE - 1, 0.25 - 0.5 * (i + 1) / (CAP + 1));
    }
    for (int i = SPINE - 1; i >= 0; i--) {
        form->point[n++] = beside(&spine, i, -0.25);
    }
    for (int i = 0; i < CAP; i++) {
        form->point[n++] = beside(&spine, 0, -0.25 - 0.5 * (i + 1) / (CAP + 1));
    }
    form->discs = KB_SPINE_DISCS;
    for (int i = 0; i < KB_SPINE_DISCS; i++) {
        int at = i * (SPINE - 1) / (KB_SPINE_DISCS - 1);
        form->disc[i] = (struct kb_disc){spine.at[at].x, spine.at[at].y, spine.half[at]};
    }
}

/* ---- any form -----------------------------------------------------------------------------------
 */

/* Centre of area to the origin, area to that of the circle of `diameter`. */
static void normalise(struct kb_form *form, double diameter) {
    struct kb_point hull[KB_HULL_ROOM];
    struct kb_outline_measures m;
    kb_outline_measure(form->point, KB_OUTLINE_POINTS, hull, &m);
    double scale = diameter / sqrt(m.area * 4.0 / PI), reach = 0.0;
    for (int i = 0; i < KB_OUTLINE_POINTS; i++) {
        struct kb_point *p = &form->point[i];
        p->x = (p->x - m.x) * scale;
        p->y = (p->y - m.y) * scale;
        reach = fmax(reach, sqrt(p->x * p->x + p->y * p->y));
    }
    for (size_t i = 0; i < form->discs; i++) {
        struct kb_disc *d = &form->disc[i];
        *d = (struct kb_disc){(d->x - m.x) * scale, (d->y - m.y) * scale, d->r * scale};
    }
    if (form->discs == 1) {
        form->disc[0] = (struct kb_disc){0.0, 0.0, reach};
    }
}

void kb_form_draw(struct kb_random *random, enum kb_shape shape, double diameter,
                  struct kb_form *form) {
    if (shape == KB_SHAPE_NODULE || shape == KB_SHAPE_IRREGULAR) {
        draw_round(random, shape == KB_SHAPE_IRREGULAR, form);
    } else {
        draw_stroke(random, shape, form);
    }
    normalise(form, diameter);
}
