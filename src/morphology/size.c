/* size.c - ISO 945-1 graphite size classes by the maximum Feret diameter.
 *
 * The table (refs/iso945_size_classes.csv) gives lengths seen at 100x: 100, 50, 25, 12, 6, 3,
 * 1.5 mm; here they are true lengths. Which side of a limit belongs to a class was not read: the
 * lower limit is taken as inside.
 */
#include "morphology_priv.h"

#include <stddef.h>

int kb_size_class(double feret_um) {
    static const double from_um[] = {1000.0, 500.0, 250.0, 120.0, 60.0, 30.0, 15.0};
    const int limits = (int)(sizeof from_um / sizeof from_um[0]);
    if (!(feret_um > 0.0)) {
        return 0;
    }
    for (int i = 0; i < limits; i++) {
        if (feret_um >= from_um[i]) {
            return i + 1;
        }
    }
    return limits + 1;
}
