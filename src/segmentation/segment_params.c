/* segment_params.c - words for materials and phases; defaults and limits of the
 * parameters.
 *
 * The lengths are common practice, no published source: 2 um is well below the 10 um at which
 * graphite starts to count (ISO 945-4, ASTM E2567) and above polishing pits; the lamellae of coarse
 * pearlite are up to about 1 um apart and show up to twice that where they are cut obliquely, so
 * that a window of 4 um holds at least two; etched grain boundaries appear 0.5 to 2 um wide.
 */
#include "segmentation_priv.h"

#include <string.h>

static const char *const material_name[] = {"ductile-iron", "grey-iron", "compacted-iron",
                                            "carbon-steel"};
static const char *const proeutectoid_name[] = {"ferrite", "cementite"};
static const char *const phase_name[KB_PHASES] = {"excluded",  "graphite", "ferrite", "pearlite",
                                                  "cementite", "matrix",   "other"};

#define COUNT(array) (sizeof(array) / sizeof *(array))

static const char *name_of(const char *const *name, size_t count, size_t index) {
    return index < count ? name[index] : "unknown";
}

static bool index_of(const char *const *name, size_t count, const char *wanted, size_t *index) {
    for (size_t i = 0; i < count; i++) {
        if (strcmp(name[i], wanted) == 0) {
            *index = i;
            return true;
        }
    }
    return false;
}

const char *kb_material_name(enum kb_material material) {
    return name_of(material_name, COUNT(material_name), (size_t)material);
}

const char *kb_proeutectoid_name(enum kb_proeutectoid proeutectoid) {
    return name_of(proeutectoid_name, COUNT(proeutectoid_name), (size_t)proeutectoid);
}

const char *kb_phase_name(enum kb_phase phase) {
    return name_of(phase_name, COUNT(phase_name), (size_t)phase);
}

bool kb_material_parse(const char *name, enum kb_material *material) {
    size_t index = 0;
    bool known = index_of(material_name, COUNT(material_name), name, &index);
    if (known) {
        *material = (enum kb_material)index;
    }
    return known;
}

bool kb_proeutectoid_parse(const char *name, enum kb_proeutectoid *proeutectoid) {
    size_t index = 0;
    bool known = index_of(proeutectoid_name, COUNT(proeutectoid_name), name, &index);
    if (known) {
        *proeutectoid = (enum kb_proeutectoid)index;
    }
    return known;
}

bool kb_phase_parse(const char *name, enum kb_phase *phase) {
    size_t index = 0;
    bool known = index_of(phase_name, COUNT(phase_name), name, &index);
    if (known) {
        *phase = (enum kb_phase)index;
    }
    return known;
}

bool kb_material_is_iron(enum kb_material material) {
    return material != KB_CARBON_STEEL;
}

struct kb_segmentation_params kb_segmentation_params_default(enum kb_material material,
                                                             enum kb_contrast contrast) {
    return (struct kb_segmentation_params){
        .material = material,
        .contrast = contrast,
        .proeutectoid = KB_PRO_FERRITE,
        .dark_threshold = (double)NAN,
        .bright_threshold = (double)NAN,
        .even_light = true,
        .clean_um = 2.0,
        .colony_um = 4.0,
        .line_um = 2.0,
        .fallback_px_um = 0.5,
    };
}

static enum kb_status bad(struct kb_err *err, const char *what, const char *advice) {
    return kb_fail(err, KB_E_USAGE, "segmentation", what, "%s", advice);
}

static enum kb_status check_words(const struct kb_segmentation_params *p, struct kb_err *err) {
    if ((size_t)p->material >= COUNT(material_name)) {
        return bad(err, "material",
                   "unknown material (ductile-iron, grey-iron, compacted-iron or "
                   "carbon-steel)");
    }
    if ((unsigned)p->contrast > KB_SEM) {
        return bad(err, "contrast", "unknown contrast (light, light-unetched or sem)");
    }
    if ((size_t)p->proeutectoid >= COUNT(proeutectoid_name)) {
        return bad(err, "proeutectoid", "unknown proeutectoid phase (ferrite or cementite)");
    }
    return KB_OK;
}

static enum kb_status check_thresholds(const struct kb_segmentation_params *p, struct kb_err *err) {
    if (isinf(p->dark_threshold) || p->dark_threshold < 0.0) {
        return bad(err, "dark threshold", "out of range (give a grey level of the file)");
    }
    if (isinf(p->bright_threshold) || p->bright_threshold < 0.0) {
        return bad(err, "bright threshold", "out of range (give a grey level of the file)");
    }
    if (p->dark_threshold >= p->bright_threshold) { /* false where either is NaN */
        return bad(err, "bright threshold", "not above the dark threshold (give a brighter level)");
    }
    return KB_OK;
}

/* Above 0 and at most `most`; false for NaN. */
static bool in_range(double value, double least, double most) {
    return value >= least && value <= most;
}

static enum kb_status check_lengths(const struct kb_segmentation_params *p, struct kb_err *err) {
    /* 1 mm is wider than most fields: a larger length is a slip of the unit. */
    const double most_um = 1000.0;
    if (!in_range(p->clean_um, 0.0, most_um)) {
        return bad(err, "clean size", "out of range (0 to 1000 um)");
    }
    if (!in_range(p->colony_um, 0.0, most_um)) {
        return bad(err, "colony size", "out of range (0 to 1000 um)");
    }
    if (!in_range(p->line_um, 0.0, most_um)) {
        return bad(err, "line width", "out of range (0 to 1000 um)");
    }
    if (!in_range(p->fallback_px_um, 1e-4, most_um)) {
        return bad(err, "fallback pixel size", "out of range (0.0001 to 1000 um)");
    }
    return KB_OK;
}

static enum kb_status check_exclusions(const struct kb_segmentation_params *p, struct kb_err *err) {
    if (p->exclusions > 0 && p->exclusion == NULL) {
        return bad(err, "exclusions", "rectangles are missing");
    }
    for (size_t i = 0; i < p->exclusions; i++) {
        if (p->exclusion[i].width < 1 || p->exclusion[i].height < 1) {
            return bad(err, "exclusions",
                       "a rectangle is empty (give a width and height of at "
                       "least 1 pixel)");
        }
    }
    return KB_OK;
}

static enum kb_status check_outlines(const struct kb_segmentation_params *p, struct kb_err *err) {
    if (p->outlines > 0 && p->outline == NULL) {
        return bad(err, "exclusions", "outlines are missing");
    }
    for (size_t i = 0; i < p->outlines; i++) {
        const struct kb_polygon *polygon = &p->outline[i];
        if (polygon->corner == NULL || polygon->corners < 3) {
            return bad(err, "exclusions", "an outline has less than three corners (give more)");
        }
        for (size_t k = 0; k < polygon->corners; k++) {
            const struct kb_place *at = &polygon->corner[k];
            if (at->x < -KB_SIDE_MAX || at->y < -KB_SIDE_MAX || at->x > 2 * KB_SIDE_MAX ||
                at->y > 2 * KB_SIDE_MAX) {
                return bad(err, "exclusions",
                           "a corner of an outline lies outside every picture (give x,y in "
                           "pixels)");
            }
        }
    }
    return KB_OK;
}

enum kb_status kb_segmentation_params_check(const struct kb_segmentation_params *params,
                                            struct kb_err *err) {
    enum kb_status status = check_words(params, err);
    if (status == KB_OK) {
        status = check_thresholds(params, err);
    }
    if (status == KB_OK) {
        status = check_lengths(params, err);
    }
    if (status == KB_OK) {
        status = check_exclusions(params, err);
    }
    if (status == KB_OK) {
        status = check_outlines(params, err);
    }
    if (status == KB_OK && params->whys > 0 && params->why == NULL) {
        status = bad(err, "points to be explained", "are missing");
    }
    return status;
}
