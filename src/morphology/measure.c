/* measure.c - the shape figures of one region, from its spans.
 *
 *   shape factor  area / area of the circle on the maximum Feret diameter: the measure of ASTM
 * E2567 and (as "roundness") of ISO 945-4; facts about both in refs/particle_rules.csv circularity
 * 4 pi area / perimeter^2: leans on the perimeter and so on magnification; a help to tell forms, no
 * measure of nodularity solidity      pixels of the region / pixels of its convex hull (see hull.c)
 *
 * Digitisation can carry the first two above 1 on small discs: they are clipped there.
 */
#include "morphology_priv.h"

#include <math.h>

enum kb_status kb_measure_region(const struct kb_spans *spans, struct kb_hull *hull,
                                 struct kb_particle *particle, struct kb_err *err) {
    static const double pi = 3.14159265358979323846;
    static const double half_pixel = 0.5; /* see feret.c */
    enum kb_status status = kb_hull_make(spans, hull, err);
    if (status != KB_OK) {
        return status;
    }
    kb_moments_measure(spans, particle);
    kb_feret_measure(hull, half_pixel, particle);
    double area = particle->area_px2;
    double perimeter = kb_perimeter(spans);
    double feret = particle->feret_max_px;
    particle->perimeter_px = perimeter;
    particle->diameter_px = sqrt(4.0 * area / pi);
    particle->shape_factor = fmin(4.0 * area / (pi * feret * feret), 1.0);
    particle->circularity = fmin(4.0 * pi * area / (perimeter * perimeter), 1.0);
    particle->solidity = area / kb_hull_pixels(hull);
    particle->subpixel = false;
    return KB_OK;
}
