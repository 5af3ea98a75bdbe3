/* point_count.c - the fields that counting points by hand would take for the same precision.
 *
 * A grid of P points over n fields puts V n P points on a phase of fraction V. Were they
 * independent and few, their number would vary as Poisson's law has it, and the 95 % interval,
 * twice its standard deviation, would be 2 / sqrt(V n P) of the value: n = (2 / E)^2 / (V P) for a
 * relative accuracy E. ASTM E562 prints this, rounded to convenient numbers, with the grid to
 * choose for a fraction (Tables 2 and 3, from memory, unverified: refs/e562_grid.csv,
 * e562_fields.csv). Limits: structures coarser than the grid take more fields; large fractions
 * fewer, by 1 - V.
 */
#include "specimen_priv.h"

size_t kb_point_fields(double fraction, double accuracy, size_t points) {
    if (!(fraction > 0.0 && fraction <= 1.0) || !(accuracy > 0.0) || points == 0) {
        return 0;
    }
    double ratio = 2.0 / accuracy;
    /* a hair less first: rounding must not make 160 fields 161 */
    double fields = ceil(ratio * ratio / (fraction * (double)points) * (1.0 - 1e-12));
    const double most = 1e6; /* as kb_fields_for(): more is no plan */
    return fields <= most ? (size_t)fields : 0;
}

size_t kb_point_grid(double fraction) {
    size_t points = kb_specimen_grids[0].points; /* below the table, the densest */
    for (size_t i = 0; i < kb_specimen_grid_count; i++) {
        if (100.0 * fraction >= kb_specimen_grids[i].from_percent) {
            points = kb_specimen_grids[i].points;
        }
    }
    return points;
}
