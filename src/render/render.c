/* render.c - a micrograph with known truth, start to end: scene, phases, light, picture.
 *
 * The order below is the order of the stage's files. The section (particles, rings, grains) depends
 * on the seed and the sizes, never on the look: the same seed drawn unetched and etched shows the
 * same place before and after etching.
 */
#include "render_priv.h"

struct kb_render_params kb_render_params_default(void) {
    return (struct kb_render_params){
        .seed = 1,
        .width = 1280,
        .height = 960,
        .px_um = 0.5,
        .look = KB_RENDER_LIGHT,
        .graphite = KB_RENDER_NODULES,
        .nodules_per_mm2 = 180.0,
        .nodule_um = 24.0,
        .nodule_spread = 1.45,
        .nodularity = 0.9,
        .graphite_fraction = 0.11,
        .pearlite_of_matrix = 0.4,
        .bulls_eye = true,
        .grain_um = 20.0,
        .lamella_um = 0.5,
        .fall_off = 0.08,
        .blur_um = 0.35,
        .noise = 2.5,
        .scratches_per_mm2 = 6.0,
        .clusters = 0.06,
    };
}

struct bound {
    const char *name;
    double value, low, high;
};

static enum kb_status refuse(struct kb_err *err, const struct bound *bound) {
    return kb_fail(err, KB_E_USAGE, KB_RENDER_STAGE, bound->name,
                   "%s %g is out of range (give a value from %g to %g)", bound->name, bound->value,
                   bound->low, bound->high);
}

/* Largest share of the plane that separate round particles can be asked to fill. */
#define DENSEST 0.4

/* More would take hours and leave nothing to see. */
#define SCRATCHES_MAX 1e6

static enum kb_status check_together(const struct kb_render_params *p, struct kb_err *err) {
    if (p->grain_um > 0.0 && p->grain_um < 3.0 * p->px_um) {
        return kb_fail(err, KB_E_USAGE, KB_RENDER_STAGE, "grain_um",
                       "a grain of %g um spans less than 3 pixels of %g um (give larger grains, "
                       "smaller pixels, or 0 for no boundaries)",
                       p->grain_um, p->px_um);
    }
    if (p->blur_um > 30.0 * p->px_um) {
        return kb_fail(err, KB_E_USAGE, KB_RENDER_STAGE, "blur_um",
                       "a blur of %g um spans more than 30 pixels of %g um (give less blur)",
                       p->blur_um, p->px_um);
    }
    double scratches = p->scratches_per_mm2 * p->width * p->height * p->px_um * p->px_um * 1e-6;
    if (scratches > SCRATCHES_MAX) {
        return kb_fail(err, KB_E_USAGE, KB_RENDER_STAGE, "scratches_per_mm2",
                       "%g scratches in the field are more than %g (give fewer)", scratches,
                       SCRATCHES_MAX);
    }
    double spread = kb_log(p->nodule_spread);
    double area = 0.785398 * p->nodule_um * p->nodule_um * kb_exp(2.0 * spread * spread);
    if (p->graphite == KB_RENDER_NODULES && area * p->nodules_per_mm2 * 1e-6 > DENSEST) {
        return kb_fail(err, KB_E_USAGE, KB_RENDER_STAGE, "nodules_per_mm2",
                       "%g nodules/mm2 of that size would fill %.0f %% of the field (give fewer or "
                       "smaller ones, to %.0f %%)",
                       p->nodules_per_mm2, area * p->nodules_per_mm2 * 1e-4, 100.0 * DENSEST);
    }
    return KB_OK;
}

enum kb_status kb_render_params_check(const struct kb_render_params *p, struct kb_err *err) {
    const struct bound bounds[] = {
        {"width", p->width, 1, KB_SIDE_MAX},
        {"height", p->height, 1, KB_SIDE_MAX},
        {"width x height", (double)p->width * p->height, 1, 4e8},
        {"px_um", p->px_um, 0.001, 100},
        {"look", p->look, KB_RENDER_LIGHT, KB_RENDER_SEM},
        {"graphite", p->graphite, KB_RENDER_NONE, KB_RENDER_FLAKES},
        {"distribution", p->distribution, KB_RENDER_A, KB_RENDER_E},
        {"nodules_per_mm2", p->nodules_per_mm2, 0, 1e6},
        {"nodule_um", p->nodule_um, 0.1, 1000},
        {"nodule_spread", p->nodule_spread, 1, 3},
        {"nodularity", p->nodularity, 0, 1},
        {"graphite_fraction", p->graphite_fraction, 0, DENSEST},
        {"pearlite_of_matrix", p->pearlite_of_matrix, 0, 1},
        {"bainite_of_matrix", p->bainite_of_matrix, 0, 1},
        {"carbide_of_matrix", p->carbide_of_matrix, 0, 1},
        {"grain_um", p->grain_um, 0, 10000},
        {"lamella_um", p->lamella_um, 0.01, 100},
        {"fall_off", p->fall_off, 0, 0.9},
        {"blur_um", p->blur_um, 0, 1000},
        {"noise", p->noise, 0, 100},
        {"beam_noise", p->beam_noise, 0, 100},
        {"charging", p->charging, 0, 255},
        {"over_etch", p->over_etch, 0, 1},
        {"scratches_per_mm2", p->scratches_per_mm2, 0, 1e5},
        {"clusters", p->clusters, 0, 1},
    };
    for (size_t i = 0; i < sizeof bounds / sizeof *bounds; i++) {
        const struct bound *b = &bounds[i];
        if (!(b->value >= b->low && b->value <= b->high)) { /* also refuses NaN */
            return refuse(err, b);
        }
    }
    return check_together(p, err);
}

/* ---- drawing ------------------------------------------------------------------------------------
 */

static enum kb_status make_canvas(struct kb_canvas *canvas, struct kb_err *err) {
    int32_t width = canvas->params->width, height = canvas->params->height;
    enum kb_status status = kb_image_alloc(width, height, &canvas->graphite, err);
    if (status == KB_OK) {
        status = kb_image_alloc(width, height, &canvas->pearlite, err);
    }
    if (status == KB_OK) {
        status = kb_image_alloc(width, height, &canvas->tone, err);
    }
    if (status != KB_OK) {
        return status;
    }
    canvas->light = (struct kb_light){width, height, NULL};
    size_t count = (size_t)width * (size_t)height;
    canvas->light.px = kb_alloc(count, sizeof *canvas->light.px);
    return canvas->light.px != NULL ? KB_OK : kb_fail_memory(err, KB_RENDER_STAGE, 2 * count);
}

static void release_canvas(struct kb_canvas *canvas) {
    kb_image_release(&canvas->graphite);
    kb_image_release(&canvas->pearlite);
    kb_image_release(&canvas->bainite);
    kb_image_release(&canvas->carbide);
    kb_image_release(&canvas->tone);
    kb_free(canvas->light.px);
}

static enum kb_status cover_graphite(const struct kb_scene *scene, struct kb_canvas *canvas,
                                     struct kb_render_truth *truth, struct kb_err *err) {
    struct kb_cover cover = {0};
    const struct kb_render_params *p = canvas->params;
    enum kb_status status = KB_OK;
    for (size_t i = 0; i < scene->count && status == KB_OK; i++) {
        status = kb_cover_add(&cover, &scene->point[scene->graphite[i].first_point],
                              KB_OUTLINE_POINTS, p->px_um, err);
    }
    if (status == KB_OK) {
        status =
            kb_cover_draw(&cover, p->width, p->height, &canvas->graphite, &truth->graphite, err);
    }
    kb_cover_release(&cover);
    return status;
}

/* Share of a pixel that is neither graphite, ferrite nor pearlite. */
static int other_at(const struct kb_canvas *canvas, int32_t x, int32_t y) {
    int bainite = canvas->bainite.px != NULL ? kb_row(&canvas->bainite, y)[x] : 0;
    return bainite + (canvas->carbide.px != NULL ? kb_row(&canvas->carbide, y)[x] : 0);
}

/* Labels of the phase map: 1 graphite, 2 ferrite, 3 pearlite, 6 other. */
static void fill_labels(const struct kb_canvas *canvas, struct kb_image *label) {
    for (int32_t y = 0; y < label->height; y++) {
        const uint8_t *graphite = kb_row(&canvas->graphite, y),
                      *pearlite = kb_row(&canvas->pearlite, y);
        uint8_t *to = kb_row(label, y);
        for (int32_t x = 0; x < label->width; x++) {
            int g = graphite[x], p = pearlite[x], o = other_at(canvas, x, y), f = 255 - g - p - o;
            to[x] = g >= f && g >= p ? 1 : f >= p ? 2 : 3;
            to[x] = o > g && o > f && o > p ? 6 : to[x];
        }
    }
}

static enum kb_status draw(struct kb_canvas *canvas, struct kb_matrix *matrix,
                           struct kb_render *render, struct kb_err *err) {
    const struct kb_render_params *params = canvas->params;
    enum kb_status status = make_canvas(canvas, err);
    if (status == KB_OK) {
        status = cover_graphite(canvas->scene, canvas, &render->truth, err);
    }
    if (status == KB_OK) {
        status = kb_matrix_make(params, canvas->scene, &canvas->graphite, matrix, &canvas->pearlite,
                                &render->truth, err);
    }
    if (status == KB_OK) {
        status = kb_free_part_make(canvas, matrix, &render->truth, err);
    }
    if (status == KB_OK) {
        status = kb_scene_truth(canvas->scene, &render->truth, err);
    }
    if (status == KB_OK) {
        status = kb_image_alloc(params->width, params->height, &render->label, err);
    }
    if (status == KB_OK) {
        status = kb_image_alloc(params->width, params->height, &render->grey, err);
    }
    if (status != KB_OK) {
        return status;
    }
    fill_labels(canvas, &render->label);
    kb_paint_graphite(canvas);
    kb_paint(canvas);
    kb_mark_specks(canvas);
    kb_mark_scratches(canvas);
    return kb_expose(canvas, &render->grey, err);
}

enum kb_status kb_render_draw(const struct kb_render_params *params, struct kb_render *render,
                              struct kb_err *err) {
    struct kb_scene scene = {0};
    struct kb_matrix matrix = {0};
    struct kb_canvas canvas = {.params = params, .scene = &scene, .matrix = &matrix};
    *render = (struct kb_render){0};
    enum kb_status status = kb_render_params_check(params, err);
    if (status == KB_OK) {
        status = kb_scene_make(params, &scene, err);
    }
    if (status == KB_OK) {
        status = draw(&canvas, &matrix, render, err);
    }
    release_canvas(&canvas);
    kb_matrix_release(&matrix);
    kb_scene_release(&scene);
    if (status != KB_OK) {
        kb_render_release(render);
    }
    return status;
}

void kb_render_release(struct kb_render *render) {
    kb_image_release(&render->grey);
    kb_image_release(&render->label);
    kb_free(render->truth.particle);
    *render = (struct kb_render){0};
}
