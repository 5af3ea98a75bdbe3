/* test_scale.c - where the pixel size comes from, and when it is not believed. */
#include "kb_cmocka.h"
#include "pictures_to_files.h"

#include <png.h>
#include <stdlib.h>
#include <string.h>
#include <tiffio.h>

static struct kb_field field;

static void read_grey_tiff(struct tiff_spec spec) {
    spec.width = 12;
    spec.height = 8;
    spec.bits = 8;
    spec.samples = 1;
    spec.photometric = PHOTOMETRIC_MINISBLACK;
    write_tiff(scratch_path("scale.tif"), &spec);
    read_field(scratch_path("scale.tif"), &field);
}

static void expect(double px_um, enum kb_scale_source source, double tolerance) {
    assert_near(field.px_um, px_um, tolerance * px_um);
    assert_int_equal(field.scale_source, source);
    assert_int_equal(kb_findings_has(&field.findings, "scale-unknown"), source == KB_SCALE_UNKNOWN);
    if (source == KB_SCALE_UNKNOWN) {
        assert_true(isnan(kb_field_area_mm2(&field)));
    } else {
        const double area = field.grey.width * field.grey.height * px_um * px_um * 1e-6;
        assert_near(kb_field_area_mm2(&field), area, 1e-3 * area);
    }
    kb_field_release(&field);
}

static void tiff_resolution_is_taken_in_inch_and_centimetre(void **state) {
    (void)state;
    read_grey_tiff((struct tiff_spec){.x_res = 50800, .y_res = 50800, .unit = RESUNIT_INCH});
    expect(0.5, KB_SCALE_TIFF_TAG, 1e-6);
    read_grey_tiff((struct tiff_spec){.x_res = 20000, .y_res = 20000, .unit = RESUNIT_CENTIMETER});
    expect(0.5, KB_SCALE_TIFF_TAG, 1e-6);
    /* TIFF 6.0, tag 296: the inch when the unit is not stated */
    read_grey_tiff((struct tiff_spec){.x_res = 25400, .y_res = 25400});
    expect(1.0, KB_SCALE_TIFF_TAG, 1e-6);
    read_grey_tiff((struct tiff_spec){.x_res = 25400, .y_res = 25400, .unit = RESUNIT_NONE});
    expect(0.0, KB_SCALE_UNKNOWN, 0.0);
}

static void screen_and_print_resolutions_are_no_scale(void **state) {
    (void)state;
    static const double dpi[] = {72, 96, 150, 300, 600, 200, 250, 1};
    for (size_t i = 0; i < sizeof dpi / sizeof dpi[0]; i++) {
        read_grey_tiff((struct tiff_spec){.x_res = dpi[i], .y_res = dpi[i], .unit = RESUNIT_INCH});
        assert_true(kb_findings_has(&field.findings, "screen-resolution-ignored"));
        expect(0.0, KB_SCALE_UNKNOWN, 0.0);
        /* the same in whole dots per centimetre, as some writers round them */
        const double per_cm = round(dpi[i] / 2.54) + (dpi[i] < 2 ? 1 : 0);
        read_grey_tiff(
            (struct tiff_spec){.x_res = per_cm, .y_res = per_cm, .unit = RESUNIT_CENTIMETER});
        expect(0.0, KB_SCALE_UNKNOWN, 0.0);
    }
    read_grey_tiff((struct tiff_spec){.x_res = 610, .y_res = 610, .unit = RESUNIT_INCH});
    expect(25400.0 / 610, KB_SCALE_TIFF_TAG, 1e-6);
    read_grey_tiff((struct tiff_spec){.x_res = 260, .y_res = 260, .unit = RESUNIT_INCH});
    expect(25400.0 / 260, KB_SCALE_TIFF_TAG, 1e-6);
}

static void png_and_jpeg_resolutions_follow_the_same_rule(void **state) {
    (void)state;
    struct png_spec png = {.width = 12, .height = 8, .bits = 8, .unit = PNG_RESOLUTION_METER};
    png.x_res = png.y_res = 2000000;
    write_png(scratch_path("s.png"), &png);
    read_field(scratch_path("s.png"), &field);
    expect(0.5, KB_SCALE_PNG_PHYS, 1e-9);
    static const uint32_t screens[] = {2835, 3780, 11811, 23622}; /* 72, 96, 300, 600 dpi */
    for (size_t i = 0; i < 4; i++) {
        png.x_res = png.y_res = screens[i];
        write_png(scratch_path("s.png"), &png);
        read_field(scratch_path("s.png"), &field);
        assert_true(kb_findings_has(&field.findings, "screen-resolution-ignored"));
        expect(0.0, KB_SCALE_UNKNOWN, 0.0);
    }
    struct jpeg_spec jpeg = {
        .width = 12, .height = 8, .components = 1, .density_unit = 2, .x_density = 10000};
    jpeg.y_density = jpeg.x_density;
    write_jpeg(scratch_path("s.jpg"), &jpeg);
    read_field(scratch_path("s.jpg"), &field);
    expect(1.0, KB_SCALE_JPEG_TAG, 1e-9);
    static const int densities[][2] = {{1, 72}, {1, 96}, {1, 300}, {2, 28}, {2, 118}, {2, 38}};
    for (size_t i = 0; i < 6; i++) {
        jpeg.density_unit = densities[i][0];
        jpeg.x_density = jpeg.y_density = densities[i][1];
        write_jpeg(scratch_path("s.jpg"), &jpeg);
        read_field(scratch_path("s.jpg"), &field);
        expect(0.0, KB_SCALE_UNKNOWN, 0.0);
    }
}

/* EXIF with resolution 50000/1 by 50000/1 in the given unit, high byte first. */
static void exif_resolution_is_taken(void **state) {
    (void)state;
    uint8_t block[] = {'M',  'M',  0,    42,   0, 0, 0, 8, 0, 3,           /* three entries */
                       0x01, 0x1a, 0,    5,    0, 0, 0, 1, 0, 0, 0,    50, /* x at 50 */
                       0x01, 0x1b, 0,    5,    0, 0, 0, 1, 0, 0, 0,    58, /* y at 58 */
                       0x01, 0x28, 0,    3,    0, 0, 0, 1, 0, 3, 0,    0,  /* centimetre */
                       0,    0,    0,    0,                                /* no next */
                       0,    0,    0xc3, 0x50, 0, 0, 0, 1, 0, 0, 0xc3, 0x50, 0, 0, 0, 1};
    struct jpeg_spec spec = {.width = 8,
                             .height = 8,
                             .components = 1,
                             .exif = block,
                             .exif_size = sizeof block,
                             .x_density = -1};
    write_jpeg(scratch_path("e.jpg"), &spec);
    read_field(scratch_path("e.jpg"), &field);
    expect(0.2, KB_SCALE_JPEG_TAG, 1e-9);
    block[43] = 2; /* the inch */
    write_jpeg(scratch_path("e.jpg"), &spec);
    read_field(scratch_path("e.jpg"), &field);
    expect(25400.0 / 50000.0, KB_SCALE_JPEG_TAG, 1e-9);
    block[20] = 0xff; /* a place outside the block */
    write_jpeg(scratch_path("e.jpg"), &spec);
    read_field(scratch_path("e.jpg"), &field);
    expect(0.0, KB_SCALE_UNKNOWN, 0.0);
    block[20] = 0;
    block[57] = 0; /* a fraction over 0 */
    write_jpeg(scratch_path("e.jpg"), &spec);
    read_field(scratch_path("e.jpg"), &field);
    expect(0.0, KB_SCALE_UNKNOWN, 0.0);
}

/* ---- OME-XML ----------------------------------------------------------------------------------
 */

#define OME_HEAD                                                                                   \
    "<?xml version=\"1.0\" encoding=\"UTF-8\"?>"                                                   \
    "<OME xmlns=\"http://www.openmicroscopy.org/Schemas/OME/2016-06\"><Image ID=\"Image:0\">"
#define OME_TAIL "</Image></OME>"

static void read_ome(const char *pixels) {
    char text[2048];
    (void)snprintf(text, sizeof text, OME_HEAD "%s" OME_TAIL, pixels);
    read_grey_tiff((struct tiff_spec){
        .description = text, .x_res = 25400, .y_res = 25400, .unit = RESUNIT_INCH});
}

static void ome_physical_size_is_read_in_every_unit_of_length(void **state) {
    (void)state;
    static const struct {
        const char *unit;
        double um;
    } rows[] = {{"\xc2\xb5m", 0.25}, {"\xce\xbcm", 0.25},   {"nm", 0.25e-3},
                {"mm", 250},         {"cm", 2500},          {"m", 250000},
                {"pm", 0.25e-6},     {"\xc3\x85", 0.25e-4}, {"in", 6350}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        char pixels[512];
        (void)snprintf(pixels, sizeof pixels,
                       "<Pixels PhysicalSizeX=\"0.25\" PhysicalSizeXUnit=\"%s\" "
                       "PhysicalSizeY=\"0.25\" PhysicalSizeYUnit=\"%s\"/>",
                       rows[i].unit, rows[i].unit);
        read_ome(pixels);
        expect(rows[i].um, KB_SCALE_OME, 1e-9);
    }
    read_ome("<Pixels PhysicalSizeX=\"0.5\" PhysicalSizeY=\"0.5\"/>"); /* default: micrometre */
    expect(0.5, KB_SCALE_OME, 1e-9);
    read_ome("<Pixels PhysicalSizeX=\"500\" PhysicalSizeXUnit=\"nm\" PhysicalSizeY=\"0.5\"/>");
    expect(0.5, KB_SCALE_OME, 1e-9);
    read_ome("<Pixels PhysicalSizeX=\"3.7e-1\" PhysicalSizeY=\"0.37\"/>");
    expect(0.37, KB_SCALE_OME, 1e-9);
}

static void ome_namespace_prefixes_are_read(void **state) {
    (void)state;
    read_grey_tiff((struct tiff_spec){.description =
                                          "<ome:OME xmlns:ome=\"urn:x\"><ome:Image>"
                                          "<ome:Pixels PhysicalSizeX=\"2\" PhysicalSizeY=\"2\"/>"
                                          "</ome:Image></ome:OME>"});
    expect(2.0, KB_SCALE_OME, 1e-9);
}

static void ome_that_cannot_be_used_leaves_the_tags_and_is_told(void **state) {
    (void)state;
    static const char *const pixels[] = {
        "<Pixels PhysicalSizeX=\"1\" PhysicalSizeXUnit=\"pixel\" PhysicalSizeY=\"1\"/>",
        "<Pixels PhysicalSizeX=\"0\" PhysicalSizeY=\"1\"/>",
        "<Pixels PhysicalSizeX=\"-1\" PhysicalSizeY=\"-1\"/>",
        "<Pixels PhysicalSizeX=\"nan\" PhysicalSizeY=\"1\"/>",
        "<Pixels PhysicalSizeX=\"0,5\" PhysicalSizeY=\"0,5\"/>",
        "<Pixels PhysicalSizeX=\"0.5\" PhysicalSizeY=\"0.5\">", /* not closed */
        ("<Pixels PhysicalSizeX=\"0.5\" PhysicalSizeY=\"0.5\"/></Image><Image>"
         "<Pixels PhysicalSizeX=\"0.6\" PhysicalSizeY=\"0.6\"/>"),
    };
    for (size_t i = 0; i < sizeof pixels / sizeof pixels[0]; i++) {
        read_ome(pixels[i]);
        assert_true(kb_findings_has(&field.findings, "scale-unreadable"));
        expect(1.0, KB_SCALE_TIFF_TAG, 1e-6);
    }
    read_ome("<Pixels SizeX=\"12\"/>"); /* says nothing, and that is no trouble */
    assert_false(kb_findings_has(&field.findings, "scale-unreadable"));
    expect(1.0, KB_SCALE_TIFF_TAG, 1e-6);
}

static void ome_behind_a_byte_order_mark_is_read_and_endless_ome_is_not(void **state) {
    (void)state;
    read_grey_tiff((struct tiff_spec){.description =
                                          "\xef\xbb\xbf\n<OME><Image><Pixels PhysicalSizeX=\"2\" "
                                          "PhysicalSizeY=\"2\"/></Image></OME>"});
    expect(2.0, KB_SCALE_OME, 1e-9);
    enum { LONG = 33 << 20 };
    static char text[LONG + 1];
    memset(text, ' ', LONG);
    static const char head[] = "<OME><Image><Pixels PhysicalSizeX=\"2\" PhysicalSizeY=\"2\"/>";
    memcpy(text, head, sizeof head - 1);
    read_grey_tiff((struct tiff_spec){.description = text});
    assert_true(kb_findings_has(&field.findings, "scale-unreadable"));
    expect(0.0, KB_SCALE_UNKNOWN, 0.0);
}

static void entities_in_ome_are_never_expanded(void **state) {
    (void)state;
    read_grey_tiff((struct tiff_spec){
        .description =
            "<?xml version=\"1.0\"?><!DOCTYPE OME [<!ENTITY a \"0.5\"><!ENTITY b \"&a;&a;&a;\">]>"
            "<OME><Image><Pixels PhysicalSizeX=\"&a;\" PhysicalSizeY=\"&a;\"/></Image></OME>"});
    assert_true(kb_findings_has(&field.findings, "scale-unreadable"));
    expect(0.0, KB_SCALE_UNKNOWN, 0.0);
}

static void the_first_page_speaks_for_later_pages(void **state) {
    (void)state;
    const struct tiff_spec spec = {
        .width = 12,
        .height = 8,
        .bits = 8,
        .samples = 1,
        .photometric = PHOTOMETRIC_MINISBLACK,
        .pages = 2,
        .description = OME_HEAD "<Pixels PhysicalSizeX=\"0.3\" PhysicalSizeY=\"0.3\"/>" OME_TAIL};
    write_tiff(scratch_path("p.tif"), &spec);
    struct kb_intake_params params = kb_intake_params_default();
    params.page = 2;
    assert_int_equal(kb_field_read(scratch_path("p.tif"), &params, &field, NULL), KB_OK);
    expect(0.3, KB_SCALE_OME, 1e-9);
}

/* ---- square pixels ----------------------------------------------------------------------------
 */

static void nearly_square_pixels_give_the_geometric_mean(void **state) {
    (void)state;
    read_ome("<Pixels PhysicalSizeX=\"0.500\" PhysicalSizeY=\"0.502\"/>");
    expect(sqrt(0.500 * 0.502), KB_SCALE_OME, 1e-9);
}

static void pixels_that_are_not_square_are_refused_unless_overruled(void **state) {
    (void)state;
    const struct tiff_spec spec = {.width = 12,
                                   .height = 8,
                                   .bits = 8,
                                   .samples = 1,
                                   .photometric = PHOTOMETRIC_MINISBLACK,
                                   .x_res = 25400,
                                   .y_res = 25600,
                                   .unit = RESUNIT_INCH};
    const char *path = scratch_path("oblong.tif");
    write_tiff(path, &spec);
    refuse_field(path, NULL, KB_E_INPUT, "not square");
    struct kb_intake_params params = kb_intake_params_default();
    params.px_um = 1.0;
    assert_int_equal(kb_field_read(path, &params, &field, NULL), KB_OK);
    assert_true(kb_findings_has(&field.findings, "pixels-not-square"));
    expect(1.0, KB_SCALE_GIVEN, 0.0);
    const struct png_spec png = {
        .width = 12, .height = 8, .bits = 8, .x_res = 2, .y_res = 3, .unit = 0};
    write_png(scratch_path("aspect.png"), &png);
    read_field(scratch_path("aspect.png"), &field);
    assert_true(kb_findings_has(&field.findings, "pixels-not-square"));
    expect(0.0, KB_SCALE_UNKNOWN, 0.0);
}

/* ---- a person's word --------------------------------------------------------------------------
 */

static void a_given_scale_wins_and_disagreement_is_told(void **state) {
    (void)state;
    const struct tiff_spec spec = {.width = 12,
                                   .height = 8,
                                   .bits = 8,
                                   .samples = 1,
                                   .photometric = PHOTOMETRIC_MINISBLACK,
                                   .x_res = 25400,
                                   .y_res = 25400,
                                   .unit = RESUNIT_INCH};
    const char *path = scratch_path("given.tif");
    write_tiff(path, &spec);
    static const struct {
        double px_um;
        bool disagrees;
    } rows[] = {{1.0, false},  {1.009, false}, {0.991, false},
                {1.011, true}, {0.98, true},   {2, true}};
    struct kb_intake_params params = kb_intake_params_default();
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        params.px_um = rows[i].px_um;
        params.bar_px = params.bar_um = 0.0;
        assert_int_equal(kb_field_read(path, &params, &field, NULL), KB_OK);
        assert_int_equal(kb_findings_has(&field.findings, "scale-disagrees"), rows[i].disagrees);
        expect(rows[i].px_um, KB_SCALE_GIVEN, 0.0);
        params.px_um = 0.0;
        params.bar_px = 200.0;
        params.bar_um = 200.0 * rows[i].px_um;
        assert_int_equal(kb_field_read(path, &params, &field, NULL), KB_OK);
        assert_int_equal(kb_findings_has(&field.findings, "scale-disagrees"), rows[i].disagrees);
        expect(rows[i].px_um, KB_SCALE_BAR, 1e-12);
    }
}

static void a_screen_resolution_does_not_disagree_with_anything(void **state) {
    (void)state;
    const struct tiff_spec spec = {.width = 12,
                                   .height = 8,
                                   .bits = 8,
                                   .samples = 1,
                                   .photometric = PHOTOMETRIC_MINISBLACK,
                                   .x_res = 300,
                                   .y_res = 300,
                                   .unit = RESUNIT_INCH};
    write_tiff(scratch_path("screen.tif"), &spec);
    struct kb_intake_params params = kb_intake_params_default();
    params.px_um = 0.5;
    assert_int_equal(kb_field_read(scratch_path("screen.tif"), &params, &field, NULL), KB_OK);
    assert_int_equal(field.findings.count, 0);
    expect(0.5, KB_SCALE_GIVEN, 0.0);
}

static void impossible_params_are_refused(void **state) {
    (void)state;
    static const double bad[][3] = {{-1, 0, 0},   {NAN, 0, 0}, {INFINITY, 0, 0}, {1e-5, 0, 0},
                                    {2000, 0, 0}, {0, 100, 0}, {0, 0, 100},      {0, -5, 5},
                                    {0, NAN, 5},  {0, 5, NAN}, {0, 1, 1e9},      {1, 100, 100}};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct kb_intake_params params = kb_intake_params_default();
        params.px_um = bad[i][0];
        params.bar_px = bad[i][1];
        params.bar_um = bad[i][2];
        assert_int_equal(kb_intake_params_check(&params, NULL), KB_E_USAGE);
        refuse_field("any.tif", &params, KB_E_USAGE, "");
    }
    struct kb_intake_params params = kb_intake_params_default();
    assert_int_equal(kb_intake_params_check(&params, NULL), KB_OK);
    params.max_pixels = 0;
    assert_int_equal(kb_intake_params_check(&params, NULL), KB_E_USAGE);
    params.max_pixels = UINT64_MAX;
    assert_int_equal(kb_intake_params_check(&params, NULL), KB_E_USAGE);
}

static void every_source_has_a_name_of_its_own(void **state) {
    (void)state;
    for (int a = KB_SCALE_UNKNOWN; a < KB_SCALE_SOURCES; a++) {
        for (int b = KB_SCALE_UNKNOWN; b < a; b++) {
            assert_string_not_equal(kb_scale_source_name((enum kb_scale_source)a),
                                    kb_scale_source_name((enum kb_scale_source)b));
        }
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(tiff_resolution_is_taken_in_inch_and_centimetre),
        cmocka_unit_test(screen_and_print_resolutions_are_no_scale),
        cmocka_unit_test(png_and_jpeg_resolutions_follow_the_same_rule),
        cmocka_unit_test(exif_resolution_is_taken),
        cmocka_unit_test(ome_physical_size_is_read_in_every_unit_of_length),
        cmocka_unit_test(ome_namespace_prefixes_are_read),
        cmocka_unit_test(ome_that_cannot_be_used_leaves_the_tags_and_is_told),
        cmocka_unit_test(ome_behind_a_byte_order_mark_is_read_and_endless_ome_is_not),
        cmocka_unit_test(entities_in_ome_are_never_expanded),
        cmocka_unit_test(the_first_page_speaks_for_later_pages),
        cmocka_unit_test(nearly_square_pixels_give_the_geometric_mean),
        cmocka_unit_test(pixels_that_are_not_square_are_refused_unless_overruled),
        cmocka_unit_test(a_given_scale_wins_and_disagreement_is_told),
        cmocka_unit_test(a_screen_resolution_does_not_disagree_with_anything),
        cmocka_unit_test(impossible_params_are_refused),
        cmocka_unit_test(every_source_has_a_name_of_its_own),
    };
    return cmocka_run_group_tests(tests, scratch_make, scratch_remove);
}
