/* made_spheres.c - a plane through a Poisson crowd of spheres: sections come in a Poisson number of
 * mean N_V D_mean area, each from a sphere chosen in proportion to its diameter, at a distance from
 * the centre that is uniform over the radius. */
#include "made_spheres.h"

#include "made_fields.h"

#include <stdlib.h>

double made_law_mean(const struct made_law *law) {
    if (law->spread > 0.0) {
        return law->diameter * exp(0.5 * law->spread * law->spread);
    }
    return law->diameter + law->second_share * (law->second - law->diameter);
}

void made_law_above(const struct made_law *law, double least, double *per_mm3, double *mean) {
    if (!(law->spread > 0.0)) {
        double first = law->diameter >= least ? 1.0 - law->second_share : 0.0;
        double second = law->second >= least ? law->second_share : 0.0;
        *per_mm3 = law->per_mm3 * (first + second);
        *mean = (first * law->diameter + second * law->second) / (first + second);
        return;
    }
    double number = 0.0;
    double length = 0.0;
    double all = 0.0;
    for (int i = 0; i < 8000; i++) { /* midpoints over four standard deviations on either side */
        double z = -4.0 + (i + 0.5) / 1000.0;
        double diameter = law->diameter * exp(law->spread * z);
        double density = exp(-0.5 * z * z);
        all += density;
        number += diameter >= least ? density : 0.0;
        length += diameter >= least ? density * diameter : 0.0;
    }
    *per_mm3 = law->per_mm3 * number / all;
    *mean = length / number;
}

/* A sphere that the plane meets: chosen in proportion to its diameter. */
static double met_sphere(const struct made_law *law, struct random *random) {
    if (law->spread > 0.0) {
        /* D times a log-normal law is log-normal with its median moved up by spread^2 */
        return law->diameter * exp(law->spread * (random_normal(random) + law->spread));
    }
    double second = law->second_share * law->second / made_law_mean(law);
    return random_unit(random) < second ? law->second : law->diameter;
}

static struct kb_particle section(double diameter, double least_um) {
    const double quarter_pi = 0.78539816339744830962;
    struct kb_particle particle = {.state = diameter < least_um ? KB_UNDER_SIZE : KB_COUNTS};
    particle.diameter_px = particle.feret_max_px = particle.feret_min_px = diameter;
    particle.area_px2 = quarter_pi * diameter * diameter;
    particle.shape_factor = 1.0;
    particle.form = KB_FORM_VI;
    particle.size_class = 6;
    return particle;
}

/* 1 um a pixel, and a frame so large that no weight differs from 1. */
static void cut_field(const struct made_law *law, double area_mm2, double least_um,
                      struct random *random, struct kb_particle *particle,
                      struct kb_field_figures *field) {
    const int32_t endless = 1 << 20;
    double mean = law->per_mm3 * made_law_mean(law) / 1000.0 * area_mm2;
    size_t count = 0;
    *field = made_unetched(0.1, 0, 0);
    /* random_poisson() takes means up to some hundreds: in parts */
    for (double left = mean; left > 0.0; left -= 100.0) {
        count += (size_t)random_poisson(random, fmin(left, 100.0));
    }
    count = count < SPHERES_SECTIONS_MOST ? count : SPHERES_SECTIONS_MOST;
    for (size_t i = 0; i < count; i++) {
        double diameter = met_sphere(law, random);
        double off = random_unit(random);
        particle[i] = section(diameter * sqrt(1.0 - off * off), least_um);
        field->particles[particle[i].state]++;
        field->rated += particle[i].state == KB_COUNTS ? 1 : 0;
    }
    field->nodules = field->rated;
    field->rated_weighted = (double)field->rated;
    field->nodules_per_mm2 = (double)field->rated / area_mm2;
    field->area_mm2 = area_mm2;
    field->least_um = least_um;
    field->edges_plain = true;
    field->particle = particle;
    field->particle_count = count;
    field->frame = (struct kb_frame){.width = endless, .height = endless};
    field->frame.measured_px = (double)endless * (double)endless;
}

void made_spheres_cut(const struct made_law *law, size_t fields, double area_mm2, double least_um,
                      struct random *random, struct made_spheres *made) {
    made->particle = calloc(fields * SPHERES_SECTIONS_MOST, sizeof *made->particle);
    made->fields = fields;
    if (made->particle == NULL || fields > SPHERES_FIELDS_MOST) {
        abort();
    }
    for (size_t i = 0; i < fields; i++) {
        cut_field(law, area_mm2, least_um, random, made->particle + i * SPHERES_SECTIONS_MOST,
                  &made->field[i]);
    }
}

void made_spheres_release(struct made_spheres *made) {
    free(made->particle);
    made->particle = NULL;
}
