/* own_prepare.c - options of `keelblock prepare` that are words: hardness, cut, mount, etchant and
 * faults. */
#include "request.h"

#include <string.h>

enum kb_status kb_own_hardness(struct kb_request *request, const struct kb_assignment *from,
                               struct kb_err *err) {
    struct kb_prepare_params *prepare = &request->prepare;
    if (!kb_hardness_parse(from->value, &prepare->hardness, &prepare->hardness_value,
                           &prepare->hardness_by)) {
        return kb_refuse(from, err,
                         "is no hardness (soft, medium, hard, or a value with its scale, as 187HBW "
                         "or 210HV, from 20 to 1500)");
    }
    request->hardness_said = true;
    return KB_OK;
}

enum kb_status kb_own_cut(struct kb_request *request, const struct kb_assignment *from,
                          struct kb_err *err) {
    return kb_cut_parse(from->value, &request->prepare.cut)
               ? KB_OK
               : kb_refuse(from, err,
                           "is no way of cutting known here (precision, abrasive-wheel, saw, "
                           "as-broken or flame)");
}

enum kb_status kb_own_mount(struct kb_request *request, const struct kb_assignment *from,
                            struct kb_err *err) {
    return kb_mount_parse(from->value, &request->prepare.mount)
               ? KB_OK
               : kb_refuse(from, err, "is no mount (hot, cold or none)");
}

enum kb_status kb_own_etchant(struct kb_request *request, const struct kb_assignment *from,
                              struct kb_err *err) {
    return kb_etchant_parse(from->value, &request->prepare.etchant)
               ? KB_OK
               : kb_refuse(from, err, "is no etchant known here (nital or picral)");
}

enum kb_status kb_own_fault(struct kb_request *request, const struct kb_assignment *from,
                            struct kb_err *err) {
    enum kb_check check = KB_CHECK_FOCUS;
    if (!kb_check_parse(from->value, &check)) {
        char right[400] = "is no check of preparation (";
        for (int i = 0; i < KB_CHECKS; i++) {
            size_t used = strlen(right);
            (void)snprintf(right + used, sizeof right - used, "%s%s",
                           kb_check_name((enum kb_check)i), i + 1 < KB_CHECKS ? ", " : ")");
        }
        return kb_refuse(from, err, right);
    }
    request->faults |= 1U << check;
    return KB_OK;
}
