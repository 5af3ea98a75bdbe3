/* share_settings.c - all that decides what is measured in one field, as bytes for its share's name.
 *
 * What only decides how fields are pooled and judged (limits, chemistry, wanted precision) is left
 * out on purpose: a batch is judged anew without measuring anew. A setting of the field that were
 * forgotten here would bring back figures measured otherwise: tests/cli/test_batch_parts.py changes
 * every option of the table and asks for another name.
 */
#include "share.h"

/* Settings are packed, never unpacked: the copies are there because packing takes variables. */
static void number(struct kb_pack *pack, double value) {
    kb_pack_number(pack, &value);
}

static void whole(struct kb_pack *pack, uint64_t value) {
    kb_pack_whole(pack, &value);
}

static void rect(struct kb_pack *pack, struct kb_rect place) {
    kb_pack_int(pack, &place.x);
    kb_pack_int(pack, &place.y);
    kb_pack_int(pack, &place.width);
    kb_pack_int(pack, &place.height);
}

static void pack_intake(struct kb_pack *pack, const struct kb_intake_params *params) {
    number(pack, params->px_um);
    number(pack, params->px_um_u);
    number(pack, params->bar_px);
    number(pack, params->bar_um);
    number(pack, params->scale_u);
    whole(pack, params->page);
    whole(pack, params->max_pixels);
}

static void pack_segmentation(struct kb_pack *pack, const struct kb_segmentation_params *params) {
    whole(pack, params->proeutectoid);
    number(pack, params->dark_threshold);
    number(pack, params->bright_threshold);
    whole(pack, params->even_light);
    number(pack, params->clean_um);
    number(pack, params->colony_um);
    number(pack, params->line_um);
    number(pack, params->fallback_px_um);
    whole(pack, params->exclusions);
    for (size_t i = 0; i < params->exclusions; i++) {
        rect(pack, params->exclusion[i]);
    }
}

static void pack_morphology(struct kb_pack *pack, const struct kb_morphology_params *params) {
    const double value[] = {
        params->min_feret_um,     params->part_depth_um,    params->part_neck,
        params->part_round,       params->part_round_neck,  params->part_frame,
        params->part_frame_neck,  params->part_alone,       params->part_alone_neck,
        params->part_sure,        params->part_chord,       params->part_chord_least,
        params->part_gain,        params->hole_share,       params->fallback_px_um,
        params->outline_reach_px, params->outline_contrast,
    };
    for (size_t i = 0; i < sizeof value / sizeof value[0]; i++) {
        number(pack, value[i]);
    }
    whole(pack, params->part_touching);
    whole(pack, params->flake);
}

static void pack_hands(struct kb_pack *pack, const struct kb_plan *plan, size_t index) {
    for (size_t i = 0; i < plan->hands; i++) {
        const struct kb_by_hand *hand = &plan->hand[i];
        if (hand->field != 0 && hand->field != index + 1) {
            continue;
        }
        whole(pack, hand->kind);
        whole(pack, hand->field != 0);
        rect(pack, hand->place);
        whole(pack, hand->kind == KB_HAND_PHASE ? hand->phase : 0);
        whole(pack, hand->kind == KB_HAND_FORM ? hand->form : 0);
        const bool level = hand->kind == KB_HAND_DARK || hand->kind == KB_HAND_BRIGHT;
        number(pack, level ? hand->level : 0.0);
        number(pack, hand->kind == KB_HAND_SCALE ? hand->length_um : 0.0);
        number(pack, hand->kind == KB_HAND_SCALE ? hand->length_um_u : 0.0);
        whole(pack, hand->may_miss);
        whole(pack, hand->points);
        for (size_t k = 0; k < hand->points; k++) {
            rect(pack, (struct kb_rect){hand->point[k].x, hand->point[k].y, 1, 1});
        }
    }
}

void kb_share_pack_settings(struct kb_pack *pack, const struct kb_plan *plan, size_t index) {
    const struct kb_settings *settings = plan->settings;
    const struct kb_settings_field *named = &plan->named[index];
    whole(pack, settings->material);
    whole(pack, named->find_contrast);
    whole(pack, named->find_contrast ? 0 : named->contrast);
    pack_intake(pack, &settings->intake);
    whole(pack, settings->first_look.find_marks);
    number(pack, settings->first_look.lead);
    whole(pack, settings->accept_unfit);
    pack_segmentation(pack, &settings->segmentation);
    pack_morphology(pack, &settings->morphology);
    number(pack, settings->specimen.threshold_step);
    pack_hands(pack, plan, index);
}
