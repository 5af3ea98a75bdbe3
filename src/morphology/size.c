/* size.c - ISO 945-1 graphite size classes by the maximum Feret diameter.
 *
 * The table, made from refs/iso945_size_classes.csv when the program is built, gives lengths seen
 * at 100x: 100, 50, 25, 12, 6, 3, 1.5 mm; here they are true lengths. Which side of a limit belongs
 * to a class was not read: the lower limit is taken as inside.
 */
#include "morphology_priv.h"

#include <stddef.h>

int kb_size_class(double feret_um) {
    if (!(feret_um > 0.0)) {
        return 0;
    }
    for (int i = 0; i < KB_SIZE_CLASSES; i++) {
        if (feret_um >= kb_morphology_size_um[i]) {
            return i + 1;
        }
    }
    return KB_SIZE_CLASSES; /* not reached: the last one starts at 0 */
}

void kb_size_class_span(int size_class, double *from_um, double *to_um) {
    *from_um = kb_morphology_size_um[size_class - 1];
    *to_um = size_class > 1 ? kb_morphology_size_um[size_class - 2] : (double)INFINITY;
}
