/* test_desk.c - the desk beside kb_measure(): after any changes the whole document is the same, to
 * the byte; whatever was let go meanwhile, and whoever looks on.
 */
#include "desk_priv.h"
#include "kb_cmocka.h"

#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

enum { FIELDS = 3, WIDTH = 360, HEIGHT = 270 };

static char folder[] = "/tmp/kb-desk-XXXXXX";
static char path[FIELDS][64], out[64], record[96];
static struct kb_settings_field fields[FIELDS];

static int draw(void **state) {
    (void)state;
    struct kb_render_params params = kb_render_params_default();
    params.width = WIDTH;
    params.height = HEIGHT;
    if (mkdtemp(folder) == NULL) {
        return -1;
    }
    (void)snprintf(out, sizeof out, "%s/result", folder);
    (void)snprintf(record, sizeof record, "%s/review.jsonl", out);
    for (int i = 0; i < FIELDS; i++) {
        struct kb_render drawn;
        params.seed = 60u + (unsigned)i;
        (void)snprintf(path[i], sizeof path[i], "%s/field-%d.tif", folder, i);
        fields[i] = (struct kb_settings_field){.path = path[i], .contrast = KB_LIGHT};
        if (kb_render_draw(&params, &drawn, NULL) != KB_OK) {
            return -1;
        }
        const enum kb_status status =
            kb_write_tiff(path[i], &drawn.grey, params.px_um, false, NULL);
        kb_render_release(&drawn);
        if (status != KB_OK) {
            return -1;
        }
    }
    return 0;
}

static int forget(void **state) {
    (void)state;
    (void)unlink(record);
    return 0;
}

static int clean_up(void **state) {
    (void)forget(state);
    (void)rmdir(out);
    for (int i = 0; i < FIELDS; i++) {
        (void)unlink(path[i]);
    }
    return rmdir(folder);
}

static struct kb_settings settings(void) {
    struct kb_settings made = kb_settings_default(KB_DUCTILE_IRON, KB_LIGHT);
    made.accept_unfit = true; /* the drawn fields are small */
    made.out_folder = out;
    made.threads = 2;
    return made;
}

static struct kb_desk *open_desk(const struct kb_settings *used, uint64_t most_px) {
    struct kb_desk_params params = kb_desk_params_default();
    struct kb_desk *desk = NULL;
    params.threads = 2;
    params.most_px = most_px;
    assert_int_equal(kb_desk_open(fields, FIELDS, used, &params, &desk, NULL), KB_OK);
    return desk;
}

/* The document without the time that it was made at and the times that it took. */
static void document(const struct kb_result *result, struct kb_text *text) {
    struct kb_result timeless = *result;
    timeless.made_at[0] = '\0';
    timeless.times = 0;
    timeless.reviewed = (struct kb_reviewed){.record = NULL};
    *text = (struct kb_text)KB_TEXT_INIT;
    assert_int_equal(kb_report_json(&timeless, text, NULL), KB_OK);
}

static void is_what_kb_measure_gives(struct kb_desk *desk) {
    struct kb_settings used = desk->settings;
    struct kb_result result;
    struct kb_text mine, theirs;
    kb_desk_settle(desk);
    used.out_folder = NULL;
    used.by_hand = desk->hands->list.by_hand;
    used.by_hands = desk->hands->list.by_hands;
    assert_int_equal(kb_measure(fields, FIELDS, &used, NULL, &result, NULL), KB_OK);
    assert_true(desk->sheet->concluded);
    document(&desk->sheet->result, &mine);
    document(&result, &theirs);
    assert_string_equal(mine.data, theirs.data);
    kb_text_release(&mine);
    kb_text_release(&theirs);
    kb_result_release(&result);
}

/* ---- changes ---- */

static char who[] = "A. Example", why[] = "seen at 500x";

static enum kb_status change(struct kb_desk *desk, struct kb_record_entry draft, size_t field,
                             struct kb_err *err) {
    const size_t all[] = {0, 1, 2};
    struct kb_review_change said = {.draft = draft,
                                    .field = field < FIELDS ? &all[field] : all,
                                    .fields = field < FIELDS ? 1 : 3};
    said.draft.who = who;
    said.draft.why = why;
    return kb_desk_change(desk, &said, err);
}

/* The n-th counting particle of a field. */
static struct kb_place nodule(const struct kb_desk *desk, size_t field, size_t n) {
    const struct kb_particles *all = &desk->slot[field].measured->out.particles;
    for (size_t i = 0; i < all->count; i++) {
        if (all->particle[i].state == KB_COUNTS && n-- == 0) {
            return (struct kb_place){(int32_t)all->particle[i].x_px,
                                     (int32_t)all->particle[i].y_px};
        }
    }
    fail_msg("no such particle");
    return (struct kb_place){0, 0};
}

static struct kb_record_entry word(enum kb_record_kind kind, struct kb_place *point,
                                   size_t points) {
    return (struct kb_record_entry){.kind = kind,
                                    .point = point,
                                    .points = points,
                                    .phase = KB_OTHER,
                                    .form = KB_FORM_II,
                                    .dark = (double)NAN,
                                    .bright = (double)NAN};
}

/* Every kind of change, in an order in which later ones meet what earlier ones left. */
static void change_all(struct kb_desk *desk, bool compare) {
    struct kb_place one[] = {nodule(desk, 0, 0)};
    struct kb_place two[] = {nodule(desk, 1, 0), nodule(desk, 1, 1)};
    struct kb_place across[] = {{one->x - 60 < 0 ? 0 : one->x - 60, one->y}, {one->x + 60, one->y}};
    struct kb_place outline[] = {{10, 10}, {90, 30}, {50, 120}};
    struct kb_place bar[] = {{20, 20}, {220, 20}};
    struct kb_record_entry entry[8] = {
        word(KB_RECORD_CUT, across, 2),      word(KB_RECORD_FORM, two, 1),
        word(KB_RECORD_THRESHOLDS, NULL, 0), word(KB_RECORD_EXCLUDE, outline, 3),
        word(KB_RECORD_JOIN, two, 2),        word(KB_RECORD_PHASE, one, 1),
        word(KB_RECORD_SCALE, bar, 2),       word(KB_RECORD_EXCLUDE, NULL, 0),
    };
    const size_t field[8] = {0, 1, FIELDS, 2, 1, 0, FIELDS, 0};
    entry[2].dark = desk->slot[0].measured->out.segmentation.threshold[0] + 6.0;
    entry[6].length_um = 97.0;
    entry[7].rect = (struct kb_rect){250, 170, 70, 60};
    for (size_t i = 0; i < 8; i++) {
        struct kb_err err = {.code = KB_OK};
        if (change(desk, entry[i], field[i], &err) != KB_OK) {
            fail_msg("%s", err.text);
        }
        if (compare) {
            is_what_kb_measure_gives(desk);
        }
    }
}

static void after_every_change_the_document_is_that_of_kb_measure(void **state) {
    (void)state;
    const struct kb_settings used = settings();
    struct kb_desk *desk = open_desk(&used, UINT64_MAX);
    is_what_kb_measure_gives(desk);
    change_all(desk, true);
    for (int i = 0; i < 8; i++) {
        assert_int_equal(kb_desk_undo(desk, who, NULL), KB_OK);
    }
    is_what_kb_measure_gives(desk);
    assert_int_equal(kb_desk_undo(desk, who, NULL), KB_E_USAGE);
    for (int i = 0; i < 5; i++) {
        assert_int_equal(kb_desk_redo(desk, who, NULL), KB_OK);
    }
    is_what_kb_measure_gives(desk);
    kb_desk_close(desk);
}

static void with_moved_thresholds_too(void **state) {
    (void)state;
    struct kb_settings used = settings();
    used.specimen.threshold_step = 3.0;
    struct kb_desk *desk = open_desk(&used, UINT64_MAX);
    is_what_kb_measure_gives(desk);
    kb_desk_settle(desk);
    change_all(desk, false);
    is_what_kb_measure_gives(desk);
    kb_desk_close(desk);
}

static void what_was_let_go_is_measured_again_for_who_looks(void **state) {
    (void)state;
    const struct kb_settings used = settings();
    struct kb_desk *desk = open_desk(&used, 1);
    kb_desk_settle(desk);
    size_t held = 0;
    for (size_t i = 0; i < FIELDS; i++) {
        held += desk->slot[i].pixels != NULL;
    }
    assert_int_equal(held, 2);
    change_all(desk, false);
    const uint64_t before = desk->revision;
    for (size_t i = 0; i < 2 * (size_t)FIELDS; i++) {
        struct kb_review_view view;
        static uint8_t tile[KB_TILE_SIDE * KB_TILE_SIDE];
        int32_t w = 0, h = 0;
        assert_int_equal(kb_desk_look(desk, i % FIELDS, true, &view, NULL), KB_OK);
        assert_int_equal(view.revision, desk->slot[i % FIELDS].measured->revision);
        assert_int_equal(kb_pyramid_tile(view.label, 0, 0, 0, tile, &w, &h, NULL), KB_OK);
        assert_int_equal(kb_pyramid_tile(view.evened, 0, 0, 0, tile, &w, &h, NULL), KB_OK);
        kb_desk_let_go(desk, &view);
    }
    assert_true(desk->revision >= before);
    is_what_kb_measure_gives(desk);
    kb_desk_close(desk);
}

static void a_view_stays_as_it_was_while_a_change_is_made(void **state) {
    (void)state;
    const struct kb_settings used = settings();
    struct kb_desk *desk = open_desk(&used, 1);
    struct kb_review_view before, after;
    static uint8_t then[KB_TILE_SIDE * KB_TILE_SIDE], now[KB_TILE_SIDE * KB_TILE_SIDE];
    int32_t w = 0, h = 0;
    assert_int_equal(kb_desk_look(desk, 0, false, &before, NULL), KB_OK);
    assert_int_equal(kb_pyramid_tile(before.label, 0, 0, 0, then, &w, &h, NULL), KB_OK);
    struct kb_record_entry entry = word(KB_RECORD_EXCLUDE, NULL, 0);
    entry.rect = (struct kb_rect){0, 0, 100, 100};
    assert_int_equal(change(desk, entry, 0, NULL), KB_OK);
    assert_int_equal(kb_pyramid_tile(before.label, 0, 0, 0, now, &w, &h, NULL), KB_OK);
    assert_memory_equal(then, now, sizeof then);
    assert_int_equal(kb_desk_look(desk, 0, false, &after, NULL), KB_OK);
    assert_true(after.revision > before.revision);
    assert_int_equal(kb_pyramid_tile(after.label, 0, 0, 0, now, &w, &h, NULL), KB_OK);
    assert_int_equal(now[0], KB_EXCLUDED);
    kb_desk_let_go(desk, &before);
    kb_desk_let_go(desk, &after);
    kb_desk_close(desk);
}

static void a_change_that_changes_nothing_is_refused_and_not_recorded(void **state) {
    (void)state;
    const struct kb_settings used = settings();
    struct kb_desk *desk = open_desk(&used, UINT64_MAX);
    kb_desk_settle(desk);
    struct kb_place nowhere[] = {{1, 1}, {2, 1}};
    struct kb_place same[] = {nodule(desk, 0, 0), nodule(desk, 0, 0)};
    struct kb_record_entry entry[] = {
        word(KB_RECORD_CUT, nowhere, 2), word(KB_RECORD_JOIN, same, 2),
        word(KB_RECORD_FORM, nowhere, 1), word(KB_RECORD_EXCLUDE, NULL, 0)};
    entry[3].rect = (struct kb_rect){5000, 1, 9, 9};
    for (size_t i = 0; i < sizeof entry / sizeof entry[0]; i++) {
        struct kb_err err = {.code = KB_OK};
        assert_int_equal(change(desk, entry[i], 0, &err), KB_E_USAGE);
        assert_int_equal(err.text[strlen(err.text) - 1], ')'); /* says what to do */
    }
    assert_int_equal(desk->record.count, 0);
    assert_int_not_equal(access(record, F_OK), 0);
    is_what_kb_measure_gives(desk);
    kb_desk_close(desk);
}

static void it_can_be_closed_at_any_time(void **state) {
    (void)state;
    const struct kb_settings used = settings();
    for (int i = 0; i < 6; i++) {
        struct kb_desk *desk = open_desk(&used, UINT64_MAX);
        const struct timespec a_moment = {.tv_nsec = i * 4000000L};
        (void)nanosleep(&a_moment, NULL);
        kb_desk_close(desk);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_teardown(after_every_change_the_document_is_that_of_kb_measure, forget),
        cmocka_unit_test_teardown(with_moved_thresholds_too, forget),
        cmocka_unit_test_teardown(what_was_let_go_is_measured_again_for_who_looks, forget),
        cmocka_unit_test_teardown(a_view_stays_as_it_was_while_a_change_is_made, forget),
        cmocka_unit_test_teardown(a_change_that_changes_nothing_is_refused_and_not_recorded,
                                  forget),
        cmocka_unit_test_teardown(it_can_be_closed_at_any_time, forget),
    };
    return cmocka_run_group_tests(tests, draw, clean_up);
}
