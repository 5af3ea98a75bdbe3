/* test_marks_drawn.c - marks of known place laid over drawn fields are found where they are, and
 * nothing else is. The truth is the drawing. */
#include "marked.h"

#include "kb_cmocka.h"

enum { W = 800, H = 600, BASES = 4 };

/* One field of each look, and one with flakes. */
static struct kb_render_params base(int which) {
    static const enum kb_render_look look[BASES] = {KB_RENDER_LIGHT, KB_RENDER_UNETCHED,
                                                    KB_RENDER_SEM, KB_RENDER_LIGHT};
    struct kb_render_params params = kb_render_params_default();
    params.seed = 71 + (uint64_t)which;
    params.width = W;
    params.height = H;
    params.look = look[which];
    params.graphite = which == 3 ? KB_RENDER_FLAKES : KB_RENDER_NODULES;
    return params;
}

static void draw(int which, struct kb_field *field) {
    struct kb_render_params params = base(which);
    assert_true(marked_draw(&params, field));
}

static void look_at(const struct kb_field *field, struct kb_first_look *look) {
    struct kb_first_look_params params = kb_first_look_params_default();
    assert_int_equal(kb_first_look_run(field, &params, look, NULL), KB_OK);
}

/* Every pixel of the box is left out, and hardly any other. */
static void assert_left_out(const struct kb_first_look *look, struct kb_rect box) {
    uint64_t inside = 0;
    assert_non_null(look->outside.px);
    for (int32_t y = box.y; y < box.y + box.height; y++) {
        for (int32_t x = box.x; x < box.x + box.width; x++) {
            inside += kb_row(&look->outside, y)[x] != 0;
        }
    }
    assert_int_equal(inside, (uint64_t)box.width * (uint64_t)box.height);
    /* Marks grow by two pixels all round, for the ringing of lossy files. */
    uint64_t grown = (uint64_t)(box.width + 4) * (uint64_t)(box.height + 4);
    assert_true(look->outside_px <= grown);
}

static void assert_box(struct kb_rect box, struct kb_rect expected, int32_t apart) {
    assert_near(box.x, expected.x, apart);
    assert_near(box.y, expected.y, apart);
    assert_near(box.width, expected.width, 2 * apart);
    assert_near(box.height, expected.height, 2 * apart);
}

static void a_field_without_marks_has_none(void **state) {
    (void)state;
    for (int i = 0; i < BASES; i++) {
        struct kb_field field;
        struct kb_first_look look;
        draw(i, &field);
        look_at(&field, &look);
        assert_int_equal(look.marks, 0);
        assert_null(look.outside.px);
        assert_int_equal(look.outside_px, 0);
        kb_first_look_release(&look);
        marked_release(&field);
    }
}

static void data_bars_at_any_side_in_any_ground_are_left_out_and_their_scale_is_read(void **state) {
    (void)state;
    const struct {
        struct kb_rect box;
        uint8_t ground, ink;
        int32_t length;
        bool ticks;
    } strip[] = {
        {{0, H - 60, W, 60}, 0, 255, 137, true},   {{0, H - 60, W, 60}, 255, 0, 90, false},
        {{0, 0, W, 40}, 0, 255, 211, false},       {{0, 0, W, 90}, 255, 0, 64, true},
        {{W - 240, 0, 240, H}, 0, 255, 101, true}, {{0, 0, 230, H}, 255, 0, 77, false},
        {{0, H - 36, W, 36}, 40, 230, 99, true},   {{0, H - 60, W, 60}, 128, 255, 137, true},
    };
    for (size_t i = 0; i < sizeof strip / sizeof *strip; i++) {
        struct kb_field field;
        struct kb_first_look look;
        draw((int)i % BASES, &field);
        marked_strip(&field, strip[i].box, strip[i].ground, strip[i].ink, strip[i].length,
                     strip[i].ticks);
        look_at(&field, &look);
        const struct kb_mark *bar = marked_find(&look, KB_MARK_DATA_BAR);
        const struct kb_mark *scale = marked_find(&look, KB_MARK_SCALE_BAR);
        assert_non_null(bar);
        assert_box(bar->box, strip[i].box, 0);
        assert_left_out(&look, strip[i].box);
        assert_non_null(scale);
        assert_near(scale->bar_px, strip[i].length, 0.0);
        assert_true(kb_findings_has(&look.findings, "data-bar-excluded"));
        assert_true(kb_findings_has(&look.findings, "scale-bar-seen"));
        kb_first_look_release(&look);
        marked_release(&field);
    }
}

static void a_bar_behind_a_margin_and_a_separator_is_found(void **state) {
    (void)state;
    struct kb_field field;
    struct kb_first_look look;
    draw(0, &field);
    marked_fill(&field, (struct kb_rect){0, H - 5, W, 5}, 255);
    marked_strip(&field, (struct kb_rect){0, H - 55, W, 50}, 0, 255, 120, true);
    marked_fill(&field, (struct kb_rect){0, H - 57, W, 2}, 255);
    look_at(&field, &look);
    assert_non_null(marked_find(&look, KB_MARK_MARGIN));
    assert_non_null(marked_find(&look, KB_MARK_DATA_BAR));
    assert_left_out(&look, (struct kb_rect){0, H - 57, W, 57});
    kb_first_look_release(&look);
    marked_release(&field);
}

static void margins_of_any_width_are_left_out(void **state) {
    (void)state;
    const int32_t margin[][4] = {{3, 3, 3, 3}, {0, 40, 0, 0}, {25, 0, 0, 7}, {0, 0, 60, 60}};
    for (size_t i = 0; i < sizeof margin / sizeof *margin; i++) {
        struct kb_field field;
        struct kb_first_look look;
        uint8_t level = i % 2 == 0 ? 0 : 255;
        int32_t top = margin[i][0], bottom = margin[i][1], left = margin[i][2],
                right = margin[i][3];
        draw((int)i, &field);
        marked_fill(&field, (struct kb_rect){0, 0, W, top}, level);
        marked_fill(&field, (struct kb_rect){0, H - bottom, W, bottom}, level);
        marked_fill(&field, (struct kb_rect){0, 0, left, H}, level);
        marked_fill(&field, (struct kb_rect){W - right, 0, right, H}, level);
        look_at(&field, &look);
        assert_int_equal(marked_count(&look, KB_MARK_MARGIN),
                         (top > 0) + (bottom > 0) + (left > 0) + (right > 0));
        assert_int_equal(look.marks, marked_count(&look, KB_MARK_MARGIN));
        uint64_t rest = (uint64_t)(W - left - right) * (uint64_t)(H - top - bottom);
        /* Two pixels of halo along each side at most. */
        assert_near((double)(W * H) - (double)look.outside_px, (double)rest, 4.0 * (W + H));
        kb_first_look_release(&look);
        marked_release(&field);
    }
}

static void a_round_field_of_view_is_kept_and_its_surround_left_out(void **state) {
    (void)state;
    const double radius[] = {280.0, 330.0, 420.0}, soft[] = {1.0, 4.0, 12.0};
    for (int i = 0; i < 3; i++) {
        struct kb_field field;
        struct kb_first_look look;
        draw(i, &field);
        marked_round(&field, 410.0, 290.0, radius[i], soft[i], 4);
        look_at(&field, &look);
        assert_int_equal(look.marks, 1);
        assert_int_equal(look.mark[0].kind, KB_MARK_VIGNETTE);
        uint64_t wrong_in = 0, wrong_out = 0;
        for (int32_t y = 0; y < H; y++) {
            for (int32_t x = 0; x < W; x++) {
                double off = hypot(x - 410.0, y - 290.0) - radius[i];
                bool out = kb_row(&look.outside, y)[x] != 0;
                wrong_in += !out && off > 0.0;
                /* The rim, the halo, and a thirtieth of the radius that may be drawn in. */
                wrong_out += out && off < -(soft[i] + 4.0 + radius[i] / 30.0);
            }
        }
        assert_int_equal(wrong_in, 0);
        assert_int_equal(wrong_out, 0);
        kb_first_look_release(&look);
        marked_release(&field);
    }
}

/* Resin below a straight or slightly bent border, with a little noise of its own. */
static void pour(struct kb_field *field, double at, double slope, double bend, int level) {
    uint32_t noise = 1;
    for (int32_t y = 0; y < H; y++) {
        for (int32_t x = 0; x < W; x++) {
            double u = (x - W / 2.0) / W;
            noise = noise * 1664525U + 1013904223U; /* any generator will do */
            if (y > at + slope * u + bend * u * u) {
                kb_row(&field->grey, y)[x] = (uint8_t)(level + (int)(noise >> 30));
            }
        }
    }
}

static void resin_is_left_out_and_the_specimen_beside_it_kept(void **state) {
    (void)state;
    const double at[] = {430.0, 480.0, 400.0}, slope[] = {0.0, 60.0, -40.0};
    const double bend[] = {0.0, 0.0, 80.0};
    const int level[] = {30, 60, 45};
    for (int i = 0; i < 3; i++) {
        struct kb_field field;
        struct kb_first_look look;
        draw(i == 2 ? 1 : 0, &field);
        pour(&field, at[i], slope[i], bend[i], level[i]);
        look_at(&field, &look);
        assert_int_equal(marked_count(&look, KB_MARK_RESIN), 1);
        assert_int_equal(look.marks, 1);
        uint64_t missed = 0, taken = 0;
        for (int32_t y = 0; y < H; y++) {
            for (int32_t x = 0; x < W; x++) {
                double u = (x - W / 2.0) / W;
                double off = y - (at[i] + slope[i] * u + bend[i] * u * u);
                bool out = kb_row(&look.outside, y)[x] != 0;
                missed += !out && off > 0.0;
                taken += out && off < -16.0; /* one square */
            }
        }
        /* A hundredth of the frame either way: graphite that touches the border has its level. */
        assert_true(missed <= W * H / 100);
        assert_true(taken <= W * H / 100);
        kb_first_look_release(&look);
        marked_release(&field);
    }
}

static void a_large_dark_grain_at_the_side_is_no_resin(void **state) {
    (void)state;
    struct kb_field field;
    struct kb_first_look look;
    draw(0, &field);
    for (int32_t y = 0; y < H; y++) {
        for (int32_t x = 0; x < W; x++) {
            if (hypot(x - 400.0, y - 640.0) < 190.0) {
                kb_row(&field.grey, y)[x] = 40;
            }
        }
    }
    look_at(&field, &look);
    assert_int_equal(look.marks, 0);
    kb_first_look_release(&look);
    marked_release(&field);
}

static void a_scale_bar_over_the_picture_is_found_with_its_lettering(void **state) {
    (void)state;
    for (int ticks = 0; ticks < 2; ticks++) {
        for (int32_t length = 60; length <= 300; length += 60) {
            struct kb_field field;
            struct kb_first_look look;
            draw(1, &field);
            struct kb_rect bar = {500 - length / 2, 520, length, 6};
            marked_fill(&field, bar, 0);
            if (ticks == 1) {
                marked_fill(&field, (struct kb_rect){bar.x, 512, 3, 22}, 0);
                marked_fill(&field, (struct kb_rect){bar.x + length - 3, 512, 3, 22}, 0);
            }
            int32_t wide = marked_text(&field, 480, 480, 3, 0, "200 UM");
            look_at(&field, &look);
            const struct kb_mark *found = marked_find(&look, KB_MARK_SCALE_BAR);
            assert_non_null(found);
            assert_near(found->bar_px, length, 0.0);
            for (int32_t x = 480; x < 480 + wide - 3; x++) {
                assert_int_equal(kb_row(&look.outside, 490)[x], 1);
            }
            assert_true(look.outside_px < 12000); /* bar and lettering with their halo, no more */
            kb_first_look_release(&look);
            marked_release(&field);
        }
    }
}

static void a_plate_is_left_out_whole_and_its_scale_bar_read(void **state) {
    (void)state;
    struct kb_field field;
    struct kb_first_look look;
    struct kb_rect plate = {540, 500, 220, 70};
    draw(0, &field);
    marked_fill(&field, plate, 255);
    marked_fill(&field, (struct kb_rect){570, 550, 160, 5}, 0);
    (void)marked_text(&field, 600, 512, 3, 0, "100 UM");
    look_at(&field, &look);
    const struct kb_mark *scale = marked_find(&look, KB_MARK_SCALE_BAR);
    assert_non_null(scale);
    assert_near(scale->bar_px, 160, 0.0);
    assert_left_out(&look, plate);
    kb_first_look_release(&look);
    marked_release(&field);
}

static void lettering_and_frames_are_left_out_but_not_what_a_frame_shows(void **state) {
    (void)state;
    struct kb_field field;
    struct kb_first_look look;
    draw(2, &field);
    int32_t wide = marked_text(&field, 100, 80, 4, 255, "HEAT 5A");
    marked_fill(&field, (struct kb_rect){300, 250, 200, 3}, 255);
    marked_fill(&field, (struct kb_rect){300, 397, 200, 3}, 255);
    marked_fill(&field, (struct kb_rect){300, 250, 3, 150}, 255);
    marked_fill(&field, (struct kb_rect){497, 250, 3, 150}, 255);
    look_at(&field, &look);
    assert_int_equal(marked_count(&look, KB_MARK_LETTERING), 2); /* words and frame */
    assert_null(marked_find(&look, KB_MARK_SCALE_BAR));
    assert_int_equal(kb_row(&look.outside, 251)[400], 1);
    assert_int_equal(kb_row(&look.outside, 320)[301], 1);
    assert_int_equal(kb_row(&look.outside, 320)[400], 0); /* what the frame shows is measured */
    assert_int_equal(kb_row(&look.outside, 94)[100 + wide - 6], 1);
    assert_true(look.outside_px < (uint64_t)(wide + 8) * 36 + 700 * 7);
    kb_first_look_release(&look);
    marked_release(&field);
}

static void lettering_in_pure_colour_is_found_where_it_can_be_read_in_grey(void **state) {
    (void)state;
    struct kb_field field;
    struct kb_first_look look;
    draw(1, &field);
    field.was_colour = true;
    (void)marked_text(&field, 100, 80, 4, 29, "HEAT 5A"); /* pure blue as luminance */
    look_at(&field, &look);
    assert_true(marked_count(&look, KB_MARK_LETTERING) >= 1);
    assert_int_equal(kb_row(&look.outside, 90)[102], 1);
    kb_first_look_release(&look);
    marked_release(&field);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_field_without_marks_has_none),
        cmocka_unit_test(data_bars_at_any_side_in_any_ground_are_left_out_and_their_scale_is_read),
        cmocka_unit_test(a_bar_behind_a_margin_and_a_separator_is_found),
        cmocka_unit_test(margins_of_any_width_are_left_out),
        cmocka_unit_test(a_round_field_of_view_is_kept_and_its_surround_left_out),
        cmocka_unit_test(resin_is_left_out_and_the_specimen_beside_it_kept),
        cmocka_unit_test(a_large_dark_grain_at_the_side_is_no_resin),
        cmocka_unit_test(a_scale_bar_over_the_picture_is_found_with_its_lettering),
        cmocka_unit_test(a_plate_is_left_out_whole_and_its_scale_bar_read),
        cmocka_unit_test(lettering_and_frames_are_left_out_but_not_what_a_frame_shows),
        cmocka_unit_test(lettering_in_pure_colour_is_found_where_it_can_be_read_in_grey),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
