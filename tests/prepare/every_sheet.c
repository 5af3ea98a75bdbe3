/* every_sheet.c - all 360 specimens that a preparation sheet can be made for. */
#include "every_sheet.h"

#include "kb_cmocka.h"

#include <string.h>

static void of_material(struct kb_prepare_params *params,
                        void (*look)(const struct kb_prepare_sheet *sheet)) {
    static struct kb_prepare_sheet sheet;
    for (int cut = 0; cut < KB_CUTS; cut++) {
        for (int mount = 0; mount < KB_MOUNTS; mount++) {
            for (int etchant = 0; etchant < KB_ETCHANTS; etchant++) {
                params->cut = (enum kb_cut)cut;
                params->mount = (enum kb_mount)mount;
                params->etchant = (enum kb_etchant)etchant;
                assert_int_equal(kb_prepare_plan(params, NULL, 0, &sheet, NULL), KB_OK);
                look(&sheet);
            }
        }
    }
}

void every_sheet(void (*look)(const struct kb_prepare_sheet *sheet)) {
    for (int material = KB_DUCTILE_IRON; material <= KB_CARBON_STEEL; material++) {
        for (int hardness = 0; hardness < KB_HARDNESSES; hardness++) {
            struct kb_prepare_params params = kb_prepare_params_default((enum kb_material)material);
            params.hardness = (enum kb_hardness)hardness;
            of_material(&params, look);
        }
    }
}

bool cautions(const struct kb_prepare_part *part, const char *words) {
    for (size_t i = 0; i < part->cautions; i++) {
        if (strstr(part->caution[i], words) != NULL) {
            return true;
        }
    }
    return false;
}

const struct kb_prepare_part *part_of_kind(const struct kb_prepare_sheet *sheet,
                                           enum kb_prepare_kind kind) {
    for (size_t i = 0; i < sheet->parts; i++) {
        if (sheet->part[i].kind == kind) {
            return &sheet->part[i];
        }
    }
    fail_msg("the sheet has no part '%s'", kb_prepare_kind_name(kind));
    return NULL;
}
