/* overlay_number.c - a number on every particle that counts, a letter on every one that does not.
 *
 * Inside the particle where it fits there, else beside it where nothing else stands: the first of
 * right, left, above, below that is free, or the least crowded. A coarse grid remembers what is
 * taken. Numbers go first; a letter that finds no room is left out, since the dashes say it too. A
 * number with a line under it marks a particle that is no nodule, one in brackets a form by hand.
 */
#include "paint_priv.h"

struct grid {
    uint8_t *taken;
    int32_t columns, rows, cell; /* cell: side in pixels */
};

static void grid_take(struct grid *grid, int32_t x, int32_t y, int32_t width, int32_t height) {
    int32_t x0 = x < 0 ? 0 : x / grid->cell, y0 = y < 0 ? 0 : y / grid->cell;
    for (int32_t row = y0; row <= (y + height - 1) / grid->cell && row < grid->rows; row++) {
        for (int32_t column = x0; column <= (x + width - 1) / grid->cell && column < grid->columns;
             column++) {
            grid->taken[(size_t)row * (size_t)grid->columns + (size_t)column] = 1;
        }
    }
}

/* Taken cells under a rectangle; one that leaves the picture counts as wholly taken. */
static int32_t grid_crowd(const struct grid *grid, const struct kb_rect *rect, int32_t width,
                          int32_t height) {
    if (rect->x < 0 || rect->y < 0 || rect->x + rect->width > width ||
        rect->y + rect->height > height) {
        return INT32_MAX;
    }
    int32_t crowd = 0;
    for (int32_t row = rect->y / grid->cell; row <= (rect->y + rect->height - 1) / grid->cell;
         row++) {
        for (int32_t column = rect->x / grid->cell;
             column <= (rect->x + rect->width - 1) / grid->cell; column++) {
            crowd += grid->taken[(size_t)row * (size_t)grid->columns + (size_t)column];
        }
    }
    return crowd;
}

struct label {
    char text[16];
    bool letter, underlined;
    int32_t scale;
    struct kb_rect place;
    bool inside;
};

static void measure_label(struct label *label, int32_t scale) {
    label->scale = scale;
    label->place.width = kb_paint_text_width(label->text, scale);
    label->place.height = (KB_GLYPH_HEIGHT + (label->underlined ? 2 : 0)) * scale;
}

/* Largest scale at which the label lies inside the particle, 0 when none does. */
static int32_t inside_scale(const struct kb_particle *p, const struct label *label, int32_t least,
                            int32_t most) {
    /* In a convex body a rectangle about the centroid fits when its diagonal is well below the
     * minimum Feret diameter; bent or lobed particles have their centroid anywhere. */
    const double convex = 0.8, room = 0.72;
    if (p->solidity < convex) {
        return 0;
    }
    for (int32_t scale = most; scale >= least; scale--) {
        struct label trial = *label;
        measure_label(&trial, scale);
        if (hypot(trial.place.width, trial.place.height) <= room * p->feret_min_px) {
            return scale;
        }
    }
    return 0;
}

static void centre(struct label *label, double x, double y) {
    label->place.x = (int32_t)(x - 0.5 * label->place.width);
    label->place.y = (int32_t)(y - 0.5 * label->place.height);
}

/* Best place beside the particle; false when every one leaves the picture. *crowd: how taken it is.
 */
static bool place_beside(const struct grid *grid, const struct kb_particle *p, int32_t gap,
                         int32_t width, int32_t height, struct label *label, int32_t *crowd) {
    const struct kb_rect *box = &p->box;
    int32_t w = label->place.width, h = label->place.height;
    int32_t middle_x = (int32_t)p->x_px - w / 2, middle_y = (int32_t)p->y_px - h / 2;
    const struct kb_rect choice[] = {
        {box->x + box->width + gap, middle_y, w, h},
        {box->x - gap - w, middle_y, w, h},
        {middle_x, box->y - gap - h, w, h},
        {middle_x, box->y + box->height + gap, w, h},
    };
    *crowd = INT32_MAX;
    for (size_t i = 0; i < KB_COUNT_OF(choice) && *crowd > 0; i++) {
        int32_t here = grid_crowd(grid, &choice[i], width, height);
        if (here < *crowd) {
            *crowd = here;
            label->place = choice[i];
        }
    }
    return *crowd < INT32_MAX;
}

static void write_label(struct kb_picture *picture, const struct label *label) {
    struct kb_rgb ink = label->inside ? KB_PAPER : KB_INK;
    const struct kb_rect *at = &label->place;
    kb_paint_text(picture, at->x, at->y, label->scale, label->text, ink, !label->inside, KB_PAPER);
    if (label->underlined) {
        kb_paint_block(picture, at->x, at->y + (KB_GLYPH_HEIGHT + 1) * label->scale, at->width,
                       label->scale, ink);
    }
}

static void label_particle(const struct kb_particle *p, const struct kb_particles *particles,
                           int32_t unit, struct grid *grid, struct kb_picture *picture) {
    const struct kb_paint_mark *mark = kb_state_mark(p->state);
    struct label label = {.letter = mark->letter != 0};
    if (label.letter) {
        label.text[0] = mark->letter;
    } else {
        (void)snprintf(label.text, sizeof label.text, p->by_hand ? "(%u)" : "%u", (unsigned)p->id);
        label.underlined = !kb_is_nodule(p);
    }
    int32_t least = (unit + 1) / 2, most = 2 * unit;
    int32_t scale = inside_scale(p, &label, least, most);
    measure_label(&label, scale > 0 ? scale : least);
    label.inside = scale > 0;
    if (label.inside) {
        centre(&label, p->x_px, p->y_px);
    } else if (p->state == KB_UNDER_SIZE) {
        return; /* too many, too small: the dashes say it */
    } else {
        int32_t crowd = 0;
        bool placed =
            place_beside(grid, p, 2 * unit, particles->width, particles->height, &label, &crowd);
        if (!placed || (label.letter && crowd > 0)) {
            return;
        }
        grid_take(grid, label.place.x, label.place.y, label.place.width, label.place.height);
    }
    write_label(picture, &label);
}

static enum kb_status grid_make(const struct kb_particles *particles, int32_t cell,
                                struct grid *grid, struct kb_err *err) {
    grid->cell = cell;
    grid->columns = particles->width / cell + 1;
    grid->rows = particles->height / cell + 1;
    size_t cells = (size_t)grid->columns * (size_t)grid->rows;
    grid->taken = kb_alloc_zero(cells, 1);
    if (grid->taken == NULL) {
        return kb_fail_memory(err, "report", cells);
    }
    const struct kb_runs *runs = &particles->runs;
    for (int32_t y = 0; y < runs->height; y++) {
        for (size_t i = runs->row[y]; i < runs->row[y + 1]; i++) {
            grid_take(grid, runs->run[i].x0, y, runs->run[i].x1 - runs->run[i].x0, 1);
        }
    }
    return KB_OK;
}

enum kb_status kb_overlay_numbers(const struct kb_particles *particles, int32_t unit,
                                  struct kb_picture *picture, struct kb_err *err) {
    struct grid grid;
    /* four units: about half a letter, fine enough to find gaps between particles */
    enum kb_status status = grid_make(particles, 4 * unit, &grid, err);
    if (status != KB_OK) {
        return status;
    }
    for (int letters = 0; letters < 2; letters++) {
        for (size_t i = 0; i < particles->count; i++) {
            const struct kb_particle *p = &particles->particle[i];
            if ((p->state != KB_COUNTS) == (letters == 1)) {
                label_particle(p, particles, unit, &grid, picture);
            }
        }
    }
    kb_free(grid.taken);
    return KB_OK;
}
