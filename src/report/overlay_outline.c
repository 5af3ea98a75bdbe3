/* overlay_outline.c - outlines of particles: the line that a particle was measured from where that
 * was kept, else the border of its runs.
 *
 * The sub-pixel line is followed in steps of half a pixel, so that what is drawn is what the
 * figures come from. Of runs: a pixel of a run is on the outline when it ends the run, or when the
 * row above or below holds no pixel of the same region there. Walking the runs of three rows at a
 * time finds them all without a picture of region numbers. Dashes follow the angle about the
 * centroid, so that they are evenly spaced whichever way the outline runs.
 */
#include "paint_priv.h"

struct pen {
    struct kb_picture *picture;
    const struct kb_particle *particle;
    struct kb_rgb colour;
    bool dashed;
    int32_t unit;
};

static void dot(const struct pen *pen, int32_t x, int32_t y) {
    if (pen->dashed) {
        const struct kb_particle *p = pen->particle;
        double angle = atan2(y + 0.5 - p->y_px, x + 0.5 - p->x_px);
        /* dashes and gaps of four units along the perimeter; the angle spans 2 pi of it */
        double along = (angle + 3.14159265358979) / 6.28318530717959 * p->perimeter_px;
        if ((int64_t)(along / (4.0 * pen->unit)) % 2 != 0) {
            return;
        }
    }
    kb_paint_block(pen->picture, x - pen->unit / 2, y - pen->unit / 2, pen->unit, pen->unit,
                   pen->colour);
}

/* Dots of `run` in row y that runs of the same region in row `other` do not cover. `from` moves on
 * to the first run of that row that may still meet the next run of row y. */
static void exposed(const struct pen *pen, const struct kb_runs *runs, const struct kb_run *run,
                    int32_t y, int32_t other, size_t *from) {
    int32_t x = run->x0;
    if (other >= 0 && other < runs->height) {
        size_t end = runs->row[other + 1];
        while (*from < end && runs->run[*from].x1 <= run->x0) {
            (*from)++;
        }
        for (size_t i = *from; i < end && runs->run[i].x0 < run->x1; i++) {
            if (runs->run[i].region != run->region) {
                continue;
            }
            for (; x < runs->run[i].x0; x++) {
                dot(pen, x, y);
            }
            x = runs->run[i].x1 > x ? runs->run[i].x1 : x;
        }
    }
    for (; x < run->x1; x++) {
        dot(pen, x, y);
    }
}

static struct pen pen_of(const struct kb_particle *particle, int32_t unit,
                         struct kb_picture *picture) {
    const struct kb_paint_mark *mark = kb_state_mark(particle->state);
    bool odd = particle->state == KB_COUNTS && !kb_is_nodule(particle);
    return (struct pen){picture, particle, odd ? kb_not_nodular : mark->colour, mark->dashed, unit};
}

/* A closed line with the pen's middle on it. */
static void follow(const struct pen *pen, const struct kb_outline_point *point, size_t count) {
    const double steps_a_pixel = 2.0;
    const double shift = pen->unit % 2 == 0 ? 0.5 : 0.0; /* an even pen has its middle on a side */
    for (size_t i = 0; i < count; i++) {
        const struct kb_outline_point a = point[i], b = point[i + 1 < count ? i + 1 : 0];
        const double dx = (double)b.x - (double)a.x, dy = (double)b.y - (double)a.y;
        const int steps = (int)(steps_a_pixel * sqrt(dx * dx + dy * dy)) + 1;
        for (int k = 0; k < steps; k++) {
            const double t = (double)k / steps;
            dot(pen, (int32_t)floor((double)a.x + t * dx + shift),
                (int32_t)floor((double)a.y + t * dy + shift));
        }
    }
}

static void measured_lines(const struct kb_particles *particles, int32_t unit,
                           struct kb_picture *picture) {
    for (size_t i = 0; i < particles->outlines; i++) {
        const struct kb_outline *outline = &particles->outline[i];
        if (outline->particle >= 1 && outline->particle <= particles->count) {
            const struct pen pen =
                pen_of(&particles->particle[outline->particle - 1], unit, picture);
            follow(&pen, particles->outline_point + outline->first, outline->count);
        }
    }
}

/* Whether the border of its runs stands for a particle. */
static bool by_runs(const struct kb_particles *particles, const struct kb_particle *particle) {
    return particles->outlines == 0 || !particle->subpixel;
}

void kb_overlay_outlines(const struct kb_particles *particles, int32_t unit,
                         struct kb_picture *picture) {
    const struct kb_runs *runs = &particles->runs;
    for (int32_t y = 0; y < runs->height; y++) {
        size_t above = y > 0 ? runs->row[y - 1] : 0;
        size_t below = y + 1 < runs->height ? runs->row[y + 1] : 0;
        for (size_t i = runs->row[y]; i < runs->row[y + 1]; i++) {
            const struct kb_run *run = &runs->run[i];
            if (run->region >= particles->count ||
                !by_runs(particles, &particles->particle[run->region])) {
                continue;
            }
            const struct pen pen = pen_of(&particles->particle[run->region], unit, picture);
            dot(&pen, run->x0, y);
            dot(&pen, run->x1 - 1, y);
            exposed(&pen, runs, run, y, y - 1, &above);
            exposed(&pen, runs, run, y, y + 1, &below);
        }
    }
    measured_lines(particles, unit, picture);
}
