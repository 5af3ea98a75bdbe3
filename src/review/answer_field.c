/* answer_field.c - what is asked about one field: tiles, particles, outlines, a stamp of it, and
 * why a point is what it is.
 *
 * A view is held while it is read, and never longer. Tiles, particles and outlines may be kept by a
 * browser when the address names the revision that they are of; otherwise not, since a page that is
 * behind would keep what is newer than it knows.
 */
#include "serve_priv.h"

#include <string.h>

static bool named(const char *r, uint64_t revision) {
    int64_t said = 0;
    return r != NULL && kb_route_number(r, strlen(r), &said) && (uint64_t)said == revision;
}

/* The view of the field that is asked for; false where there is none, and answered. */
static bool look(struct kb_visit *visit, bool evened, struct kb_review_view *view,
                 struct kb_answer *answer) {
    struct kb_err err = {.code = KB_OK};
    const size_t field = (size_t)visit->number[0];
    if (field >= visit->desk->fields) {
        answer->code = KB_HTTP_NONE;
        return false;
    }
    if (visit->desk->look(visit->desk->context, field, evened, view, &err) != KB_OK) {
        kb_answer_error(answer, &err);
        return false;
    }
    answer->code = KB_HTTP_OK;
    return true;
}

enum layer { GREY, EVENED, LABEL };

static struct kb_pyramid *layer_of(const struct kb_review_view *view, enum layer layer) {
    return layer == GREY ? view->grey : layer == EVENED ? view->evened : view->label;
}

/* Where a field could not be measured there are no labels: 404, and the page shows the bare grey.
 */
static void tile(struct kb_visit *visit, enum layer layer, struct kb_answer *answer) {
    struct kb_review_view view;
    struct kb_err err = {.code = KB_OK};
    int32_t width = 0, height = 0;
    if (!look(visit, layer == EVENED, &view, answer)) {
        return;
    }
    struct kb_pyramid *pyramid = layer_of(&view, layer);
    uint8_t *bytes = kb_alloc((size_t)KB_TILE_SIDE * KB_TILE_SIDE, 1);
    enum kb_status status = KB_OK;
    if (pyramid == NULL) {
        answer->code = KB_HTTP_NONE;
    } else if (bytes == NULL) {
        status = kb_fail_memory(&err, KB_SERVE_STAGE, (size_t)KB_TILE_SIDE * KB_TILE_SIDE);
    } else {
        status = kb_pyramid_tile(pyramid, visit->number[1], visit->number[2], visit->number[3],
                                 bytes, &width, &height, &err);
    }
    if (status == KB_E_INPUT) {
        answer->code = KB_HTTP_NONE;
    } else if (status != KB_OK) {
        kb_answer_error(answer, &err);
    } else if (pyramid != NULL) {
        answer->type = "application/octet-stream";
        answer->keep = layer == GREY || named(visit->ask->r, view.revision);
        answer->body.data = (char *)bytes; /* taken over */
        answer->body.length = (size_t)width * (size_t)height;
        bytes = NULL;
    }
    kb_free(bytes);
    visit->desk->let_go(visit->desk->context, &view);
}

void kb_answer_tile_grey(struct kb_visit *visit, struct kb_answer *answer) {
    tile(visit, GREY, answer);
}

void kb_answer_tile_evened(struct kb_visit *visit, struct kb_answer *answer) {
    tile(visit, EVENED, answer);
}

void kb_answer_tile_label(struct kb_visit *visit, struct kb_answer *answer) {
    tile(visit, LABEL, answer);
}

void kb_answer_particles(struct kb_visit *visit, struct kb_answer *answer) {
    struct kb_review_view view;
    if (!look(visit, false, &view, answer)) {
        return;
    }
    kb_answer_json(answer);
    answer->keep = named(visit->ask->r, view.revision);
    kb_particles_json(view.particles, &answer->body);
    visit->desk->let_go(visit->desk->context, &view);
}

void kb_answer_outlines(struct kb_visit *visit, struct kb_answer *answer) {
    struct kb_review_view view;
    struct kb_err err = {.code = KB_OK};
    if (!look(visit, false, &view, answer)) {
        return;
    }
    answer->type = "application/octet-stream";
    answer->keep = named(visit->ask->r, view.revision);
    if (kb_outlines_bytes(view.particles, &answer->body, &err) != KB_OK) {
        kb_answer_error(answer, &err);
    }
    visit->desk->let_go(visit->desk->context, &view);
}

void kb_answer_thumb(struct kb_visit *visit, struct kb_answer *answer) {
    struct kb_err err = {.code = KB_OK};
    const size_t field = (size_t)visit->number[0];
    if (field >= visit->desk->fields) {
        answer->code = KB_HTTP_NONE;
    } else if (visit->desk->thumb(visit->desk->context, field, &answer->body, &err) != KB_OK) {
        kb_answer_error(answer, &err);
    } else {
        answer->type = "image/jpeg";
    }
}

/* ---- why ---------------------------------------------------------------------------------------
 */

static json_t *number(double value) {
    return isfinite(value) ? json_real(value) : json_null();
}

static json_t *step_json(const struct kb_why_step *step) {
    return json_pack("{s:s,s:s,s:s,s:o,s:o,s:s?,s:s}", "step", step->step, "from",
                     kb_phase_name(step->from), "to", kb_phase_name(step->to), "figure",
                     number(step->figure), "limit", number(step->limit), "unit", step->unit, "says",
                     step->says);
}

static void explain(const struct kb_explained *explained, struct kb_answer *answer) {
    json_t *steps = json_array();
    for (size_t i = 0; i < explained->way.steps; i++) {
        (void)json_array_append_new(steps, step_json(&explained->way.step[i]));
    }
    json_t *json = json_pack(
        "{s:s,s:o,s:o}", "phase", kb_phase_name(explained->phase), "particle",
        explained->particle > 0 ? json_integer(explained->particle) : json_null(), "steps", steps);
    kb_answer_dump(json, &answer->body);
}

void kb_answer_why(struct kb_visit *visit, struct kb_answer *answer) {
    struct kb_err err = {.code = KB_OK};
    struct kb_explained explained = {.field = 0};
    const struct kb_ask *ask = visit->ask;
    const size_t field = (size_t)visit->number[0];
    int64_t x = 0, y = 0;
    if (field >= visit->desk->fields) {
        answer->code = KB_HTTP_NONE;
    } else if (ask->x == NULL || ask->y == NULL || !kb_route_number(ask->x, strlen(ask->x), &x) ||
               !kb_route_number(ask->y, strlen(ask->y), &y)) {
        answer->code = KB_HTTP_BAD;
    } else if (visit->desk->why(visit->desk->context, field,
                                (struct kb_place){(int32_t)x, (int32_t)y}, &explained,
                                &err) != KB_OK) {
        kb_answer_error(answer, &err);
    } else {
        kb_answer_json(answer);
        explain(&explained, answer);
    }
}
