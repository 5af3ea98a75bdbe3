/* memory_field.c - a field from grey levels that are in memory already.
 *
 * For pictures that no file holds: rendered ones, or those of a program that embeds the library.
 * There is no digest, since there are no bytes of a file to digest.
 */
#include "intake_priv.h"

#include <string.h>

enum kb_status kb_field_from_grey(struct kb_image *grey, double px_um, const char *name,
                                  struct kb_field *field, struct kb_err *err) {
    *field = (struct kb_field){.findings = KB_FINDINGS_INIT};
    if (grey->px == NULL || grey->width < 1 || grey->height < 1) {
        return kb_fail(err, KB_E_INPUT, KB_INTAKE, name, "there are no pixels (give a picture)");
    }
    struct kb_intake_params params = kb_intake_params_default();
    params.px_um = px_um;
    enum kb_status status = kb_intake_params_check(&params, err);
    if (status != KB_OK) {
        return status;
    }
    field->path = kb_copy_string(name);
    if (field->path == NULL) {
        return kb_fail_memory(err, KB_INTAKE, strlen(name));
    }
    field->format = "memory";
    field->page = field->pages = 1;
    field->bits = 8;
    field->grey_low = 0.0;
    field->grey_high = 255.0;
    field->px_um = px_um;
    field->scale_source = px_um > 0.0 ? KB_SCALE_GIVEN : KB_SCALE_UNKNOWN;
    field->grey = *grey;
    *grey = (struct kb_image){0};
    return KB_OK;
}
