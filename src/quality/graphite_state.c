/* graphite_state.c - graphite that was torn out, and comet tails behind it.
 *
 * Up to PARTICLES_MOST particles, evenly chosen among those large enough, are looked at along 24
 * rays from their centre.
 *   hollow  a pulled-out particle is a pit: black inside, with a bright, turned-up rim. Asked are
 *           both: a middle much darker than the particle's own outer part, or black against the
 *           matrix; and a rim brighter than the same phase farther out. A ferrite ring is another
 *           phase than the pearlite beyond it and no rim; where it is too thin to be found as a
 * phase it looks like one, so that a rim in pearlite that is no brighter than ferrite counts only
 *           round a black pit. A dark centre alone is texture.
 *   tail    polishing in one direction too long leaves a trail to one side of each particle. Asked
 *           is one group of rays, and not its opposite, along which the matrix is off its grey;
 *           then that most tails point the same way: those beyond twice what chance puts into the
 *           fullest eighth of the circle count.
 * Limits are common practice, no published source.
 */
#include "quality_priv.h"

#include <string.h>

#define PARTICLES_MOST 300
#define SIZE_LEAST 12 /* pixels across: less shows no inside */
#define RAYS 24
#define REACH_MOST 400      /* pixels from the centre */
#define RIM 0.06            /* brighter by this share of the step from matrix to graphite */
#define COLLAR 0.5          /* of the way from centre to outline: where the rim is looked for */
#define CORE_DARKER 0.7     /* of the particle's outer part */
#define FERRITE_BRIGHT 1.05 /* of the grey of ferrite: no brighter than it, noise allowed for */
#define CORE_BLACK 0.1      /* of the grey of the matrix */
#define TAIL_LEAST 0.07     /* of the grey of the matrix */
#define TAIL_NOISE 4.0      /* times the spread of the rays */
#define WINDOW 3            /* rays: an eighth of the circle */
#define FAR 10              /* pixels from the outline where the matrix is itself again */

struct body {
    double x, y, pixels;
    int32_t x0, y0, x1, y1;
};

struct ray {
    double core, outer; /* grey of the inner and outer part */
    double ring;        /* grey of the rim where it lies in pearlite; NaN elsewhere */
    double rim;         /* rim less matrix farther out, grey levels; NaN: another phase */
    double trail;       /* matrix along the ray over its median less 1; NaN: no matrix */
};

static uint8_t label_at(const struct kb_look *look, double x, double y) {
    const struct kb_image *label = &look->map->label;
    if (x < 0.0 || y < 0.0 || x >= label->width || y >= label->height) {
        return KB_EXCLUDED;
    }
    return kb_row(label, (int32_t)y)[(int32_t)x];
}

static double grey_near(const struct kb_look *look, double x, double y) {
    return kb_row(&look->field->grey, (int32_t)y)[(int32_t)x];
}

static double mean_along(const struct kb_look *look, const struct body *b, double c, double s,
                         double from, double to) {
    double sum = 0.0;
    int count = (int)(to - from) + 1;
    for (int i = 0; i < count; i++) {
        sum += grey_near(look, b->x + (from + i) * c, b->y + (from + i) * s);
    }
    return count > 0 ? sum / count : (double)NAN;
}

/* Pixels from the outline to where the rim should be: beside it, or behind a collar of graphite
 * that was left standing and taken for a darker phase than the one beyond. */
static int rim_start(const struct kb_look *look, const struct body *b, double c, double s,
                     double edge) {
    const double *median = look->seen.median;
    int reach = 4 + (int)(COLLAR * edge);
    uint8_t near = label_at(look, b->x + (edge + 3) * c, b->y + (edge + 3) * s);
    for (int d = 2; d <= reach; d++) {
        uint8_t label = label_at(look, b->x + (edge + d) * c, b->y + (edge + d) * s);
        if (median[label] > median[near]) { /* false where a phase is missing */
            return d + 1;
        }
    }
    return 2;
}

static double rim_along(const struct kb_look *look, const struct body *b, double c, double s,
                        double edge, double *ring) {
    *ring = NAN;
    double rim = edge + rim_start(look, b, c, s, edge);
    uint8_t near = label_at(look, b->x + (rim + 1) * c, b->y + (rim + 1) * s);
    for (int d = 0; d <= FAR + 2; d++) {
        uint8_t label = label_at(look, b->x + (rim + d) * c, b->y + (rim + d) * s);
        if (label != near || near == KB_EXCLUDED || near == KB_GRAPHITE) {
            return NAN;
        }
    }
    double grey = mean_along(look, b, c, s, rim, rim + 2);
    *ring = near == KB_PEARLITE ? grey : (double)NAN;
    return grey - mean_along(look, b, c, s, rim + FAR - 2, rim + FAR + 2);
}

static double trail_along(const struct kb_look *look, const struct body *b, double c, double s,
                          double edge, double length) {
    double sum = 0.0, count = 0.0;
    for (int i = 0; i <= (int)length; i++) {
        double x = b->x + (edge + 4.0 + i) * c, y = b->y + (edge + 4.0 + i) * s;
        uint8_t label = label_at(look, x, y);
        if (label == KB_EXCLUDED || label == KB_GRAPHITE) {
            break;
        }
        sum += grey_near(look, x, y) / fmax(1.0, look->seen.median[label]) - 1.0;
        count += 1.0;
    }
    return count >= 0.6 * length ? sum / count : (double)NAN;
}

static struct ray cast(const struct kb_look *look, const struct body *b, int k) {
    double angle = 2.0 * KB_PI * k / RAYS, c = cos(angle), s = sin(angle);
    double edge = 0.0; /* last graphite on the ray, holes and gaps overstepped */
    int outside = 0;
    for (int d = 0; d < REACH_MOST && outside < 3; d++) {
        bool in = label_at(look, b->x + d * c, b->y + d * s) == KB_GRAPHITE;
        edge = in ? d : edge;
        outside = in ? 0 : outside + 1;
    }
    double radius = sqrt(b->pixels / KB_PI);
    double ring = NAN, rim = rim_along(look, b, c, s, edge, &ring);
    return (struct ray){
        .ring = ring,
        .rim = rim,
        .core = mean_along(look, b, c, s, 0.0, 0.35 * edge),
        .outer = mean_along(look, b, c, s, 0.5 * edge, 0.8 * edge),
        .trail = trail_along(look, b, c, s, edge, fmax(8.0, radius)),
    };
}

static double mean_of(const struct ray ray[RAYS], size_t offset, int *count) {
    double sum = 0.0;
    *count = 0;
    for (int i = 0; i < RAYS; i++) {
        double value = *(const double *)((const char *)&ray[i] + offset);
        if (!isnan(value)) {
            sum += value;
            (*count)++;
        }
    }
    return *count > 0 ? sum / *count : (double)NAN;
}

static double matrix_grey(const struct kb_look *look) {
    const struct kb_seen *s = &look->seen;
    double best = NAN; /* brightest constituent */
    for (int i = KB_FERRITE; i < KB_OTHER; i++) {
        best = s->share[i] > 0.02 ? fmax(best, s->median[i]) : best;
    }
    return best;
}

/* Whether the rim may be a thin ring of ferrite round graphite in pearlite. */
static bool may_be_ferrite(const struct kb_look *look, const struct ray ray[RAYS], int rims) {
    int in_pearlite = 0;
    double ring = mean_of(ray, offsetof(struct ray, ring), &in_pearlite);
    double ferrite = look->seen.median[KB_FERRITE]; /* NaN where there is none */
    return 2 * in_pearlite > rims && ring <= FERRITE_BRIGHT * ferrite;
}

static bool is_hollow(const struct kb_look *look, const struct ray ray[RAYS]) {
    int n = 0, rims = 0;
    double core = mean_of(ray, offsetof(struct ray, core), &n);
    double outer = mean_of(ray, offsetof(struct ray, outer), &n);
    double rim = mean_of(ray, offsetof(struct ray, rim), &rims);
    double matrix = matrix_grey(look), step = matrix - look->seen.median[KB_GRAPHITE];
    bool black = core < CORE_BLACK * matrix;
    bool dark = black || (core < CORE_DARKER * outer && !may_be_ferrite(look, ray, rims));
    return dark && rims >= RAYS / 3 && rim > RIM * step;
}

/* Ray in the middle of the tail, or -1. */
static int tail_of(const struct ray ray[RAYS]) {
    double smooth[RAYS], sorted[RAYS];
    size_t count = 0;
    for (int i = 0; i < RAYS; i++) {
        smooth[i] =
            (ray[(i + RAYS - 1) % RAYS].trail + ray[i].trail + ray[(i + 1) % RAYS].trail) / 3;
        if (!isnan(smooth[i])) {
            sorted[count++] = smooth[i];
        }
    }
    if (count < RAYS / 2) {
        return -1;
    }
    double middle = kb_quality_quantile(sorted, count, 0.5);
    double spread =
        0.5 * (kb_quality_quantile(sorted, count, 0.75) - kb_quality_quantile(sorted, count, 0.25));
    int best = -1;
    double most = fmax(TAIL_LEAST, TAIL_NOISE * spread);
    for (int i = 0; i < RAYS; i++) {
        double off = fabs(smooth[i] - middle);
        double opposite = fabs(smooth[(i + RAYS / 2) % RAYS] - middle);
        if (off > most && !(opposite > 0.5 * off)) {
            most = off;
            best = i;
        }
    }
    return best;
}

static double common_tails(const int tails[RAYS], size_t looked) {
    int most = 0, all = 0;
    for (int i = 0; i < RAYS; i++) {
        int in = 0;
        for (int k = 0; k < WINDOW; k++) {
            in += tails[(i + k) % RAYS];
        }
        most = in > most ? in : most;
        all += tails[i];
    }
    double beyond = most - 2.0 * all * WINDOW / RAYS;
    return looked > 0 ? fmax(0.0, beyond) / (double)looked : 0.0;
}

/* ---- which particles ----------------------------------------------------------------------------
 */

static enum kb_status find_bodies(const struct kb_look *look, struct body **made, size_t *count,
                                  struct kb_err *err) {
    static const bool chosen[256] = {[KB_GRAPHITE] = true};
    struct kb_runs runs;
    enum kb_status status = kb_runs_label(&look->map->label, chosen, 8, &runs, err);
    *made = NULL;
    *count = 0;
    if (status != KB_OK || runs.regions == 0) {
        if (status == KB_OK) {
            kb_runs_release(&runs);
        }
        return status;
    }
    struct body *body = kb_alloc_zero(runs.regions, sizeof *body);
    if (body == NULL) {
        size_t size = runs.regions * sizeof *body;
        kb_runs_release(&runs);
        return kb_fail_memory(err, KB_QUALITY_STAGE, size);
    }
    for (int32_t y = 0; y < runs.height; y++) {
        for (size_t i = runs.row[y]; i < runs.row[y + 1]; i++) {
            const struct kb_run *r = &runs.run[i];
            struct body *b = &body[r->region];
            double length = r->x1 - r->x0;
            b->y0 = b->pixels > 0.0 ? b->y0 : y;
            b->x0 = b->pixels > 0.0 && b->x0 < r->x0 ? b->x0 : r->x0;
            b->x1 = b->x1 > r->x1 ? b->x1 : r->x1;
            b->y1 = y + 1;
            b->pixels += length;
            b->x += 0.5 * length * (r->x0 + r->x1);
            b->y += length * (y + 0.5);
        }
    }
    *count = runs.regions;
    *made = body;
    kb_runs_release(&runs);
    return KB_OK;
}

/* Large enough, compact enough for rays, and away from the frame. */
static bool is_fit(const struct kb_look *look, const struct body *b) {
    const struct kb_image *grey = &look->field->grey;
    int32_t wide = b->x1 - b->x0, high = b->y1 - b->y0, margin = FAR + 4;
    return wide >= SIZE_LEAST && high >= SIZE_LEAST && wide < REACH_MOST && high < REACH_MOST &&
           b->x0 > margin && b->y0 > margin && b->x1 < grey->width - margin &&
           b->y1 < grey->height - margin && b->pixels > 0.45 * wide * high &&
           label_at(look, b->x, b->y) == KB_GRAPHITE;
}

enum kb_status kb_quality_pull_out(const struct kb_look *look, struct kb_pull_out *pull_out,
                                   struct kb_err *err) {
    struct body *body = NULL;
    size_t count = 0, fit = 0, hollow = 0, looked = 0;
    int tails[RAYS] = {0};
    enum kb_status status = find_bodies(look, &body, &count, err);
    for (size_t i = 0; i < count; i++) {
        body[i].x /= body[i].pixels;
        body[i].y /= body[i].pixels;
        if (is_fit(look, &body[i])) {
            body[fit++] = body[i];
        }
    }
    size_t every = fit / PARTICLES_MOST + 1;
    for (size_t i = 0; i < fit; i += every) {
        struct ray ray[RAYS];
        for (int k = 0; k < RAYS; k++) {
            ray[k] = cast(look, &body[i], k);
        }
        hollow += is_hollow(look, ray);
        int tail = tail_of(ray);
        if (tail >= 0) {
            tails[tail]++;
        }
        looked++;
    }
    kb_free(body);
    *pull_out = (struct kb_pull_out){looked > 0 ? (double)hollow / (double)looked : 0.0,
                                     common_tails(tails, looked), looked};
    return status;
}
