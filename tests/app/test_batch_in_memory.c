/* test_batch_in_memory.c - shares and batches through the library: bytes there and back, damage of
 * every kind, every allocation of the way failing once. */
#include "fail_alloc.h"
#include "kb_cmocka.h"
#include "share.h"

#include <dirent.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static char folder[] = "/tmp/kb-batch-XXXXXX";
static char path[64], out[64];

static int draw(void **state) {
    (void)state;
    struct kb_render_params params = kb_render_params_default();
    struct kb_render drawn;
    params.seed = 81;
    params.width = 200;
    params.height = 160;
    if (mkdtemp(folder) == NULL || kb_render_draw(&params, &drawn, NULL) != KB_OK) {
        return -1;
    }
    (void)snprintf(path, sizeof path, "%s/field.tif", folder);
    (void)snprintf(out, sizeof out, "%s/out", folder);
    enum kb_status status = kb_write_tiff(path, &drawn.grey, params.px_um, false, NULL);
    kb_render_release(&drawn);
    return status == KB_OK ? 0 : -1;
}

static void remove_tree(const char *tree) {
    struct stat info;
    if (lstat(tree, &info) != 0) {
        return;
    }
    if (!S_ISDIR(info.st_mode)) {
        (void)unlink(tree);
        return;
    }
    DIR *stream = opendir(tree);
    const struct dirent *entry = NULL;
    while (stream != NULL && (entry = readdir(stream)) != NULL) {
        if (strcmp(entry->d_name, ".") != 0 && strcmp(entry->d_name, "..") != 0) {
            char inside[512];
            (void)snprintf(inside, sizeof inside, "%s/%s", tree, entry->d_name);
            remove_tree(inside);
        }
    }
    if (stream != NULL) {
        (void)closedir(stream);
    }
    (void)rmdir(tree);
}

static int clean_up(void **state) {
    (void)state;
    remove_tree(folder);
    return 0;
}

/* ---- bytes ---- */

static void values_come_back_as_they_went(void **state) {
    (void)state;
    struct kb_text text = KB_TEXT_INIT;
    struct kb_words words = {0};
    double number[] = {0.1, -0.0, 1e308, 5e-324, (double)INFINITY, -(double)NAN};
    uint64_t whole[] = {0, 127, 128, UINT64_MAX};
    int32_t integer[] = {0, -1, 1, INT32_MIN, INT32_MAX};
    bool yes = true;
    char chars[16] = "15 characters..";
    char owned[] = "of its own", *string = owned, *none = NULL;
    const char *word = "static";
    struct kb_pack pack = kb_packing(&text);
    for (int round = 0; round < 2; round++) {
        kb_pack_numbers(&pack, number, 6);
        for (int i = 0; i < 4; i++) {
            kb_pack_whole(&pack, &whole[i]);
        }
        for (int i = 0; i < 5; i++) {
            kb_pack_int(&pack, &integer[i]);
        }
        kb_pack_bool(&pack, &yes);
        kb_pack_chars(&pack, chars, sizeof chars);
        kb_pack_string(&pack, &string);
        kb_pack_string(&pack, &none);
        kb_pack_word(&pack, &word);
        assert_false(pack.failed);
        if (round == 0) { /* forget everything, then read it back by the same calls */
            memset(number, 1, sizeof number);
            memset(whole, 1, sizeof whole);
            memset(integer, 1, sizeof integer);
            memset(chars, 'x', sizeof chars);
            yes = false;
            string = none = NULL;
            word = NULL;
            pack = kb_unpacking(text.data, text.length, &words);
        }
    }
    assert_ptr_equal(pack.at, pack.end);
    assert_true(number[0] == 0.1 && number[1] == 0.0 && signbit(number[1]));
    assert_true(number[2] == 1e308 && number[3] == 5e-324 && isinf(number[4]) && isnan(number[5]));
    assert_true(whole[0] == 0 && whole[1] == 127 && whole[2] == 128 && whole[3] == UINT64_MAX);
    assert_true(integer[1] == -1 && integer[3] == INT32_MIN && integer[4] == INT32_MAX);
    assert_true(yes);
    assert_string_equal(chars, "15 characters..");
    assert_string_equal(string, "of its own");
    assert_null(none);
    assert_string_equal(word, "static");
    kb_free(string);
    kb_words_release(&words);
    kb_text_release(&text);
}

/* A measured field, its share in the folder, and the share's bytes. */
static void measure_and_keep(const char *name, struct kb_result *result) {
    struct kb_settings settings = kb_settings_default(KB_DUCTILE_IRON, KB_LIGHT);
    settings.accept_unfit = true;
    settings.threads = 1;
    assert_int_equal(kb_measure_file(path, &settings, result, NULL), KB_OK);
    const struct kb_share share = {.field = &result->field[0]};
    assert_int_equal(kb_share_write(folder, name, &share, NULL), KB_OK);
}

static void a_share_says_of_its_field_what_the_result_says(void **state) {
    (void)state;
    struct kb_result result;
    struct kb_words words = {0};
    struct kb_field_result back = {0};
    measure_and_keep("a", &result);
    const struct kb_share share = {.field = &back};
    assert_true(kb_share_is_there(folder, "a", false));
    assert_false(kb_share_is_there(folder, "a", true)); /* no pictures were asked for */
    assert_int_equal(kb_share_read(folder, "a", &words, &share, NULL), KB_OK);
    /* packed again it gives the same bytes: nothing was lost or made up */
    struct kb_text first = KB_TEXT_INIT, second = KB_TEXT_INIT;
    struct kb_pack pack = kb_packing(&first);
    const struct kb_share before = {.field = &result.field[0]};
    kb_share_pack(&pack, &before);
    pack = kb_packing(&second);
    kb_share_pack(&pack, &share);
    assert_int_equal(first.length, second.length);
    assert_memory_equal(first.data, second.data, first.length);
    assert_true(first.length < 60000); /* "some ten kilobytes" */
    kb_text_release(&first);
    kb_text_release(&second);
    kb_field_result_release(&back);
    kb_result_release(&result);
    kb_words_release(&words);
}

/* Damage that the seal does not see, as if it had been sealed so: no crash, no leak, no success
 * with bytes left over. */
static void bytes_that_make_no_sense_are_refused_without_harm(void **state) {
    (void)state;
    struct kb_result result;
    struct kb_text text = KB_TEXT_INIT;
    measure_and_keep("a", &result);
    struct kb_pack pack = kb_packing(&text);
    const struct kb_share share = {.field = &result.field[0]};
    kb_share_pack(&pack, &share);
    uint32_t random = 12345;
    for (int round = 0; round < 3000; round++) {
        random = random * 1664525u + 1013904223u; /* Numerical Recipes' generator */
        size_t at = (size_t)(random >> 8) % text.length;
        const size_t length = round % 3 == 0 ? at : text.length; /* every third one cut */
        const char was = text.data[at];
        text.data[at] = (char)(was ^ (char)(1 << (random & 7)));
        struct kb_words words = {0};
        struct kb_field_result back = {0};
        const struct kb_share read = {.field = &back};
        struct kb_pack unpack = kb_unpacking(text.data, length, &words);
        kb_share_pack(&unpack, &read);
        assert_true(unpack.at <= unpack.end);
        kb_field_result_release(&back);
        kb_words_release(&words);
        text.data[at] = was;
    }
    kb_text_release(&text);
    kb_result_release(&result);
}

/* ---- batches ---- */

static struct kb_order_specimen specimen_of(const struct kb_settings_field *field) {
    struct kb_order_specimen specimen = {
        .batch = "week 12", .id = "A", .section_mm = 25.0, .field = field, .fields = 1};
    specimen.settings = kb_settings_default(KB_DUCTILE_IRON, KB_LIGHT);
    specimen.settings.accept_unfit = true;
    return specimen;
}

static enum kb_status run(const struct kb_order_specimen *specimen, enum kb_batch_task task,
                          struct kb_err *err) {
    const struct kb_order order = {.specimen = specimen,
                                   .specimens = 1,
                                   .out_folder = out,
                                   .task = task,
                                   .part = 1,
                                   .parts = 1,
                                   .threads = 1};
    return kb_measure_batches(&order, NULL, err);
}

static void every_failed_allocation_ends_the_run_and_the_next_one_finishes_it(void **state) {
    (void)state;
    const struct kb_settings_field field = {path, KB_LIGHT, false};
    const struct kb_order_specimen specimen = specimen_of(&field);
    enum kb_status status = KB_E_MEMORY;
    size_t n = 1;
    for (; status != KB_OK && n < 100000; n++) {
        struct kb_err err = {.code = KB_OK};
        fail_alloc_at(n);
        status = run(&specimen, KB_TASK_ALL, &err);
        const long left = fail_alloc_open_blocks();
        fail_alloc_at(0);
        assert_int_equal(left, 0);
        if (status != KB_OK) {
            assert_int_equal(status, KB_E_MEMORY);
            assert_int_equal(err.code, KB_E_MEMORY);
        }
    }
    assert_int_equal(status, KB_OK);
    assert_true(n > 100);
    char document[96];
    (void)snprintf(document, sizeof document, "%s/week-12/batch.json", out);
    assert_int_equal(access(document, R_OK), 0);
}

/* ---- documents ---- */

static size_t widest_line(const char *text) {
    size_t widest = 0;
    while (*text != '\0') {
        size_t columns = 0;
        for (; *text != '\0' && *text != '\n'; text++) {
            columns += ((unsigned char)*text & 0xc0) != 0x80 ? 1 : 0;
        }
        widest = columns > widest ? columns : widest;
        text += *text == '\n' ? 1 : 0;
    }
    return widest;
}

static int batches_seen;

static enum kb_status look(void *context, const struct kb_batch *batch, const char *where,
                           struct kb_err *err) {
    (void)context;
    struct kb_text text = KB_TEXT_INIT;
    char file[128], disk[8192];
    batches_seen++;
    assert_int_equal(kb_report_batch_fields_csv(batch, &text, err), KB_OK);
    (void)snprintf(file, sizeof file, "%s/fields.csv", where);
    FILE *stream = fopen(file, "rb");
    assert_non_null(stream);
    const size_t size = fread(disk, 1, sizeof disk, stream);
    (void)fclose(stream);
    assert_int_equal(size, text.length); /* the file grew by pieces, this in one go */
    assert_memory_equal(disk, text.data, size);
    kb_text_release(&text);
    for (int columns = 40; columns <= 200; columns += 40) {
        assert_int_equal(kb_report_batch_table(batch, columns, false, &text, err), KB_OK);
        assert_true(widest_line(text.data) <= (size_t)columns);
        assert_non_null(strstr(text.data, "A"));
        kb_text_release(&text);
    }
    struct kb_result result;
    assert_int_equal(batch->open(batch->context, 0, &result, err), KB_OK);
    assert_int_equal(result.fields, 1);
    assert_string_equal(result.specimen_id, "A");
    assert_int_equal(result.made_at[0], 0);
    kb_result_release(&result);
    return KB_OK;
}

static void the_documents_of_a_batch_agree_and_keep_to_their_width(void **state) {
    (void)state;
    static char id[] = "A";
    const struct kb_settings_field field = {path, KB_LIGHT, false};
    struct kb_order_specimen specimen = specimen_of(&field);
    struct kb_limit limit[] = {{KB_Q_NODULARITY, 80.0, (double)NAN},
                               {KB_Q_NODULES_PER_MM2, 50.0, (double)NAN},
                               {KB_Q_HARDNESS_HBW, 160.0, 210.0}};
    specimen.settings.specimen_id = id;
    specimen.settings.limit = limit;
    specimen.settings.limits = 3;
    const struct kb_order order = {
        .specimen = &specimen, .specimens = 1, .out_folder = out, .threads = 1};
    const struct kb_batch_watch watch = {.written = look};
    assert_int_equal(kb_measure_batches(&order, &watch, NULL), KB_OK);
    assert_int_equal(batches_seen, 1);
}

static void orders_that_cannot_be_are_refused(void **state) {
    (void)state;
    const struct kb_settings_field field = {path, KB_LIGHT, false};
    struct kb_order_specimen specimen = specimen_of(&field);
    struct kb_order order = {.specimen = &specimen, .specimens = 0, .out_folder = out};
    assert_int_equal(kb_measure_batches(&order, NULL, NULL), KB_E_USAGE);
    order.specimens = 1;
    order.out_folder = NULL;
    assert_int_equal(kb_measure_batches(&order, NULL, NULL), KB_E_USAGE);
    order.out_folder = out;
    order.task = KB_TASK_PART;
    order.part = 3;
    order.parts = 2;
    assert_int_equal(kb_measure_batches(&order, NULL, NULL), KB_E_USAGE);
    specimen.fields = 0;
    order.task = KB_TASK_ALL;
    assert_int_equal(kb_measure_batches(&order, NULL, NULL), KB_E_USAGE);
    specimen.fields = 1;
    specimen.settings.morphology.min_feret_um = (double)NAN;
    assert_int_equal(kb_measure_batches(&order, NULL, NULL), KB_E_USAGE);
    specimen.settings = kb_settings_default(KB_DUCTILE_IRON, KB_LIGHT);
    specimen.settings.out_folder = out;
    assert_int_equal(kb_measure_batches(&order, NULL, NULL), KB_E_USAGE);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(values_come_back_as_they_went),
        cmocka_unit_test(a_share_says_of_its_field_what_the_result_says),
        cmocka_unit_test(bytes_that_make_no_sense_are_refused_without_harm),
        cmocka_unit_test(every_failed_allocation_ends_the_run_and_the_next_one_finishes_it),
        cmocka_unit_test(the_documents_of_a_batch_agree_and_keep_to_their_width),
        cmocka_unit_test(orders_that_cannot_be_are_refused),
    };
    return cmocka_run_group_tests(tests, draw, clean_up);
}
