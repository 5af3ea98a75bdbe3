/* test_register.c - the register keeps what it was given: the same twice, corrected, by two
 * programs at once, on a full disk; and leaves alone what is not its own.
 */
#include "kb_cmocka.h"

#include "fail_alloc.h"
#include "keelblock/register.h"

#include <signal.h>
#include <sqlite3.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

static char folder[] = "/tmp/kb-register-XXXXXX";
static char path[80];

static int make_folder(void **state) {
    (void)state;
    if (mkdtemp(folder) == NULL) {
        return -1;
    }
    (void)snprintf(path, sizeof path, "%s/house.db", folder);
    return 0;
}

static int remove_file(void **state) {
    char journal[100];
    (void)state;
    (void)snprintf(journal, sizeof journal, "%s-journal", path);
    (void)unlink(journal);
    (void)unlink(path);
    return 0;
}

static int remove_folder(void **state) {
    (void)remove_file(state);
    return rmdir(folder);
}

/* ---- results ---- */

struct made {
    const char *specimen, *version, *min_feret, *made_at, *cast_on;
    int picture; /* by its number */
    double nodularity;
};

static const struct made usual = {"H-1", "0.1.0", "10 um", "2026-03-04T09:41:00+01:00",
                                  NULL,  1,       90.0};

static void write_result(const struct made *made, struct kb_text *out) {
    kb_text_format(out,
                   "{\"schema\": \"keelblock.result/1\", \"tool\": {\"version\": \"%s\"}, "
                   "\"made_at\": \"%s\", \"specimen\": {\"id\": \"%s\", \"material\": "
                   "\"ductile-iron\", \"batch\": \"w1\", \"casting\": \"bracket\"",
                   made->version, made->made_at, made->specimen);
    kb_text_format(out, made->cast_on != NULL ? ", \"cast_on\": \"%s\"" : "%s",
                   made->cast_on != NULL ? made->cast_on : "");
    kb_text_format(out,
                   "}, \"fields\": [{\"file\": \"a.tif\", \"sha256\": \"%064d\", \"page\": 1, "
                   "\"contrast\": \"light\", \"pixel_size_um\": 0.5}], \"settings\": [{\"name\": "
                   "\"min-feret\", \"value\": \"%s\", \"origin\": \"default\"}], ",
                   made->picture, made->min_feret);
    kb_text_format(out,
                   "\"figures\": {\"nodularity\": {\"value\": %.6g, \"ci95\": [%.6g, %.6g], \"s\": "
                   "1.5, \"n\": 5, \"unit\": \"%%\"}}, \"limits\": [{\"quantity\": \"nodularity\", "
                   "\"low\": 80, \"high\": null, \"outcome\": \"accept\"}], \"verdict\": "
                   "\"accept\"}",
                   made->nodularity, made->nodularity - 2.0, made->nodularity + 2.0);
}

static enum kb_status add(struct kb_register *reg, const struct made *made,
                          struct kb_register_added *added) {
    struct kb_text text = KB_TEXT_INIT;
    write_result(made, &text);
    assert_false(text.failed);
    enum kb_status status =
        kb_register_add(reg, text.data, text.length, "made", NULL, NULL, added, NULL);
    kb_text_release(&text);
    return status;
}

static struct kb_register *open_register(bool write) {
    struct kb_register *reg = NULL;
    struct kb_err err;
    if (kb_register_open(path, write, &reg, &err) != KB_OK) {
        fail_msg("%s", err.text);
    }
    return reg;
}

static struct kb_register_added added_well(struct kb_register *reg, const struct made *made) {
    struct kb_register_added added;
    assert_int_equal(add(reg, made, &added), KB_OK);
    return added;
}

static size_t count(struct kb_register *reg, bool superseded) {
    struct kb_register_list list;
    assert_int_equal(kb_register_list(reg, NULL, superseded, &list, NULL), KB_OK);
    size_t found = list.count;
    kb_register_list_release(&list);
    return found;
}

/* ---- what is kept ---- */

static void a_result_comes_back_as_it_was_given(void **state) {
    (void)state;
    struct kb_register *reg = open_register(true);
    struct kb_register_list list;
    assert_int_equal(added_well(reg, &usual).news, KB_NEWS_ADDED);
    assert_int_equal(kb_register_list(reg, "bracket", false, &list, NULL), KB_OK);
    assert_int_equal(list.count, 1);
    const struct kb_register_entry *entry = &list.entry[0];
    assert_string_equal(entry->specimen, "H-1");
    assert_string_equal(entry->batch, "w1");
    assert_string_equal(entry->measured_at, "2026-03-04T09:41:00+01:00");
    assert_int_equal(entry->verdict, KB_ACCEPT);
    assert_int_equal(entry->figures, 1);
    assert_near(entry->figure[0].value, 90.0, 0.0);
    assert_near(entry->figure[0].hi, 92.0, 0.0);
    assert_near(entry->figure[0].low, 80.0, 0.0);
    assert_true(isnan(entry->figure[0].high));
    kb_register_list_release(&list);
    kb_register_close(reg);
}

static void the_same_result_twice_changes_nothing(void **state) {
    (void)state;
    struct made later = usual; /* measured again: the same figures on another day */
    later.made_at = "2026-03-05T09:41:00+01:00";
    struct kb_register *reg = open_register(true);
    const int64_t id = added_well(reg, &usual).id;
    const struct kb_register_added again = added_well(reg, &later);
    assert_int_equal(again.news, KB_NEWS_KNOWN);
    assert_int_equal(again.id, id);
    assert_int_equal(count(reg, true), 1);
    kb_register_close(reg);
}

static void a_corrected_result_supersedes_and_keeps_the_old_one(void **state) {
    (void)state;
    struct made set = usual, newer = usual;
    set.min_feret = "12 um";
    set.made_at = "2026-03-05T09:41:00+01:00";
    newer.version = "0.2.0";
    newer.made_at = "2026-03-06T09:41:00+01:00";
    struct kb_register *reg = open_register(true);
    const int64_t first = added_well(reg, &usual).id;
    const struct kb_register_added second = added_well(reg, &set);
    const struct kb_register_added third = added_well(reg, &newer);
    assert_int_equal(second.news, KB_NEWS_SUPERSEDES);
    assert_int_equal(second.other, first);
    assert_int_equal(third.other, second.id);
    assert_int_equal(count(reg, false), 1);
    assert_int_equal(count(reg, true), 3);
    assert_int_equal(added_well(reg, &usual).news, KB_NEWS_KNOWN); /* the past stays past */
    assert_int_equal(count(reg, false), 1);
    kb_register_close(reg);
}

static void what_was_measured_earlier_never_supersedes(void **state) {
    (void)state;
    struct made earlier = usual;
    earlier.min_feret = "12 um";
    earlier.made_at = "2026-03-04T08:00:00Z"; /* 41 minutes after 09:41+01:00 is 08:41Z */
    struct kb_register *reg = open_register(true);
    const int64_t first = added_well(reg, &usual).id;
    const struct kb_register_added second = added_well(reg, &earlier);
    assert_int_equal(second.news, KB_NEWS_SUPERSEDED);
    assert_int_equal(second.other, first);
    kb_register_close(reg);
}

static void an_altered_result_is_refused(void **state) {
    (void)state;
    struct made altered = usual;
    altered.nodularity = 95.0;
    struct kb_register_added added;
    struct kb_register *reg = open_register(true);
    (void)added_well(reg, &usual);
    assert_int_equal(add(reg, &altered, &added), KB_E_INPUT);
    assert_int_equal(count(reg, true), 1);
    kb_register_close(reg);
}

static void the_same_pictures_under_another_name_are_said(void **state) {
    (void)state;
    struct made other = usual;
    other.specimen = "H-2";
    struct kb_register *reg = open_register(true);
    (void)added_well(reg, &usual);
    assert_string_equal(added_well(reg, &other).same_pictures, "H-1 of batch w1");
    kb_register_close(reg);
}

static void additions_of_one_run_are_all_or_none(void **state) {
    (void)state;
    struct made second = usual;
    second.picture = 2;
    struct kb_register *reg = open_register(true);
    assert_int_equal(kb_register_begin(reg, NULL), KB_OK);
    (void)added_well(reg, &usual);
    (void)added_well(reg, &second);
    kb_register_rollback(reg);
    assert_int_equal(count(reg, true), 0);
    kb_register_close(reg);
}

static void results_that_are_none_are_refused(void **state) {
    (void)state;
    static const char *const text[] = {
        "",
        "{",
        "[]",
        "{}",
        "null",
        "{\"schema\": \"keelblock.result/1\"}",
        "{\"schema\": \"keelblock.batch/1\", \"specimen\": {\"id\": \"a\"}}"};
    struct kb_register *reg = open_register(true);
    struct kb_register_added added;
    for (size_t i = 0; i < sizeof text / sizeof text[0]; i++) {
        const enum kb_status status =
            kb_register_add(reg, text[i], strlen(text[i]), "made", NULL, NULL, &added, NULL);
        assert_true(status == KB_E_INPUT || status == KB_E_USAGE);
    }
    struct made made = usual;
    made.made_at = "2026-02-30T00:00:00Z";
    assert_int_equal(add(reg, &made, &added), KB_E_INPUT);
    assert_int_equal(count(reg, true), 0);
    kb_register_close(reg);
}

/* ---- charts ---- */

static void castings_are_charted_in_the_order_of_casting(void **state) {
    (void)state;
    struct kb_register *reg = open_register(true);
    struct kb_chart chart;
    for (int i = 0; i < 12; i++) { /* measured the other way round */
        char cast_on[32], specimen[16];
        struct made made = usual;
        (void)snprintf(cast_on, sizeof cast_on, "2026-02-%02d", 20 - i);
        (void)snprintf(specimen, sizeof specimen, "H-%d", i);
        made.specimen = specimen;
        made.cast_on = cast_on;
        made.picture = 100 + i;
        made.nodularity = 90.0 + i;
        (void)added_well(reg, &made);
    }
    assert_int_equal(kb_register_stretch(reg, "bracket", "2026-02-12", "new ladle", NULL), KB_OK);
    assert_int_equal(kb_register_stretch(reg, "bracket", "2026-02-31", "x", NULL), KB_E_USAGE);
    assert_int_equal(kb_register_chart(reg, "bracket", KB_Q_NODULARITY, NULL, &chart, NULL), KB_OK);
    assert_int_equal(chart.points, 12);
    assert_string_equal(chart.point[0].specimen, "H-11");
    assert_near(chart.point[11].value, 90.0, 0.0);
    assert_int_equal(chart.stretches, 2);
    assert_int_equal(chart.stretch[1].first, 3); /* 9, 10, 11, then 12 February */
    assert_string_equal(chart.stretch[1].words, "new ladle");
    kb_chart_release(&chart);
    assert_int_equal(kb_register_chart(reg, "none", KB_Q_NODULARITY, NULL, &chart, NULL), KB_OK);
    assert_int_equal(chart.points, 0);
    kb_chart_release(&chart);
    kb_register_close(reg);
}

static void a_superseded_result_is_not_charted(void **state) {
    (void)state;
    struct made set = usual;
    set.min_feret = "12 um";
    set.nodularity = 88.0;
    struct kb_register *reg = open_register(true);
    struct kb_chart chart;
    struct kb_register_castings castings;
    (void)added_well(reg, &usual);
    (void)added_well(reg, &set);
    assert_int_equal(kb_register_chart(reg, "bracket", KB_Q_NODULARITY, NULL, &chart, NULL), KB_OK);
    assert_int_equal(chart.points, 1);
    assert_near(chart.point[0].value, 88.0, 0.0);
    kb_chart_release(&chart);
    assert_int_equal(kb_register_castings(reg, &castings, NULL), KB_OK);
    assert_int_equal(castings.count, 1);
    assert_int_equal(castings.item[0].results, 1);
    assert_true(castings.item[0].limited[KB_Q_NODULARITY]);
    assert_false(castings.item[0].measured[KB_Q_CARBON]);
    kb_register_castings_release(&castings);
    kb_register_close(reg);
}

/* ---- several programs, full disk ---- */

/* Adds so many results of its own, and one that all add; 0 when all went well. */
static int add_many(int who, int results) {
    struct kb_register *reg = NULL;
    struct kb_register_added added;
    bool well = kb_register_open(path, true, &reg, NULL) == KB_OK;
    for (int i = 0; i < results && well; i++) {
        struct made made = usual;
        made.picture = 1000 * who + i;
        well = add(reg, &made, &added) == KB_OK && add(reg, &usual, &added) == KB_OK;
    }
    kb_register_close(reg);
    return well ? 0 : 1;
}

static void two_programs_add_to_one_register_at_once(void **state) {
    (void)state;
    enum { PROGRAMS = 3, RESULTS = 40 };
    pid_t child[PROGRAMS];
    for (int i = 0; i < PROGRAMS; i++) { /* they also race for making the file */
        child[i] = fork();
        assert_true(child[i] >= 0);
        if (child[i] == 0) {
            _exit(add_many(i + 1, RESULTS));
        }
    }
    for (int i = 0; i < PROGRAMS; i++) {
        int how = 0;
        assert_int_equal(waitpid(child[i], &how, 0), child[i]);
        assert_true(WIFEXITED(how) && WEXITSTATUS(how) == 0);
    }
    struct kb_register *reg = open_register(false);
    assert_int_equal(count(reg, true), PROGRAMS * RESULTS + 1);
    kb_register_close(reg);
}

static void a_program_that_is_killed_harms_nothing(void **state) {
    (void)state;
    kb_register_close(open_register(true));
    for (int round = 0; round < 8; round++) {
        pid_t child = fork();
        assert_true(child >= 0);
        if (child == 0) {
            _exit(add_many(10 + round, 10000));
        }
        (void)usleep((useconds_t)(5000 + 7000 * round));
        (void)kill(child, SIGKILL);
        (void)waitpid(child, NULL, 0);
        struct kb_register *reg = open_register(true);
        struct kb_register_list list;
        assert_int_equal(kb_register_list(reg, NULL, true, &list, NULL), KB_OK);
        for (size_t i = 0; i < list.count; i++) {
            assert_int_equal(list.entry[i].figures, 1); /* no result without its figures */
        }
        kb_register_list_release(&list);
        kb_register_close(reg);
    }
}

static void a_full_disk_leaves_the_register_as_it_was(void **state) {
    (void)state;
    struct kb_register *reg = open_register(true);
    (void)added_well(reg, &usual);
    kb_register_close(reg);
    struct stat before;
    assert_int_equal(stat(path, &before), 0);
    pid_t child = fork();
    assert_true(child >= 0);
    if (child == 0) {
        const struct rlimit limit = {(rlim_t)before.st_size, (rlim_t)before.st_size};
        (void)signal(SIGXFSZ, SIG_IGN);
        (void)setrlimit(RLIMIT_FSIZE, &limit);
        _exit(add_many(1, 200)); /* must fail: no room for so many */
    }
    int how = 0;
    assert_int_equal(waitpid(child, &how, 0), child);
    assert_true(WIFEXITED(how) && WEXITSTATUS(how) == 1);
    reg = open_register(true);
    assert_true(count(reg, true) >= 1);
    struct made more = usual;
    more.picture = 9999;
    (void)added_well(reg, &more);
    kb_register_close(reg);
}

/* ---- files that are not its own ---- */

static void write_bytes(const char *bytes, size_t size) {
    FILE *stream = fopen(path, "wb");
    assert_non_null(stream);
    assert_int_equal(fwrite(bytes, 1, size, stream), size);
    assert_int_equal(fclose(stream), 0);
}

static size_t read_bytes(char *bytes, size_t size) {
    FILE *stream = fopen(path, "rb");
    assert_non_null(stream);
    const size_t got = fread(bytes, 1, size, stream);
    (void)fclose(stream);
    return got;
}

/* Refused for reading and for writing, with not a byte changed. */
static void expect_left_alone(const char *says) {
    enum { LARGEST = 1 << 20 };
    char *before = calloc(2, LARGEST), *after = before + LARGEST;
    assert_non_null(before);
    const size_t size = read_bytes(before, LARGEST);
    for (int write = 0; write < 2; write++) {
        struct kb_register *reg = NULL;
        struct kb_err err = {.text = ""};
        assert_int_equal(kb_register_open(path, write == 1, &reg, &err), KB_E_INPUT);
        assert_null(reg);
        if (strstr(err.text, says) == NULL) {
            fail_msg("'%s' does not say '%s'", err.text, says);
        }
        assert_int_equal(read_bytes(after, LARGEST), size);
        assert_memory_equal(before, after, size);
    }
    free(before);
}

static void run_sql(const char *sql) {
    sqlite3 *db = NULL;
    assert_int_equal(sqlite3_open(path, &db), SQLITE_OK);
    assert_int_equal(sqlite3_exec(db, sql, NULL, NULL, NULL), SQLITE_OK);
    (void)sqlite3_close(db);
}

static void files_of_other_programs_are_left_alone(void **state) {
    (void)state;
    char noise[5000];
    for (size_t i = 0; i < sizeof noise; i++) {
        noise[i] = (char)(i * i % 251);
    }
    write_bytes(noise, sizeof noise);
    expect_left_alone("no register");
    (void)remove_file(NULL);
    run_sql("CREATE TABLE guests(name TEXT); INSERT INTO guests VALUES('a')");
    expect_left_alone("another program");
    (void)remove_file(NULL);
    kb_register_close(open_register(true));
    run_sql("PRAGMA user_version = 99");
    expect_left_alone("later version");
}

static void a_damaged_register_is_said_and_left_alone(void **state) {
    (void)state;
    static char bytes[1 << 20];
    struct kb_register *reg = open_register(true);
    for (int i = 0; i < 60; i++) {
        struct made made = usual;
        made.picture = i;
        (void)added_well(reg, &made);
    }
    kb_register_close(reg);
    const size_t size = read_bytes(bytes, sizeof bytes);
    assert_true(size > 16384 && size < sizeof bytes);
    write_bytes(bytes, size / 2);
    expect_left_alone("damaged");
    memset(bytes + 8192, 0x5a, 4096); /* some page within */
    write_bytes(bytes, size);
    expect_left_alone("damaged");
}

static void a_register_that_is_not_there_is_made_only_for_writing(void **state) {
    (void)state;
    struct kb_register *reg = NULL;
    assert_int_equal(kb_register_open(path, false, &reg, NULL), KB_E_INPUT);
    assert_int_equal(access(path, F_OK), -1);
    assert_int_equal(kb_register_open("", true, &reg, NULL), KB_E_USAGE);
    assert_int_equal(kb_register_open(":memory:", true, &reg, NULL), KB_E_USAGE);
    assert_int_equal(kb_register_open(folder, true, &reg, NULL), KB_E_USAGE);
    assert_int_equal(kb_register_open("/nonexistent/house.db", true, &reg, NULL), KB_E_SYSTEM);
    write_bytes("", 0);
    assert_int_equal(kb_register_open(path, false, &reg, NULL), KB_E_INPUT);
    kb_register_close(open_register(true));
}

static void nothing_is_added_when_memory_runs_out(void **state) {
    (void)state;
    struct kb_text text = KB_TEXT_INIT;
    struct kb_register_list list;
    struct kb_register_added added;
    enum kb_status status = KB_E_MEMORY;
    write_result(&usual, &text);
    for (size_t n = 1; status != KB_OK && n < 200; n++) {
        struct kb_register *reg = NULL;
        fail_alloc_at(n);
        status = kb_register_open(path, true, &reg, NULL);
        if (status == KB_OK) {
            status = kb_register_add(reg, text.data, text.length, "made", NULL, NULL, &added, NULL);
        }
        if (status == KB_OK) {
            status = kb_register_list(reg, NULL, true, &list, NULL);
        }
        if (status == KB_OK) {
            kb_register_list_release(&list);
        }
        kb_register_close(reg);
        assert_true(status == KB_OK || status == KB_E_MEMORY);
        assert_int_equal(fail_alloc_open_blocks(), 0);
        fail_alloc_at(0);
    }
    assert_int_equal(status, KB_OK);
    kb_text_release(&text);
}

static void days_and_times_are_read_strictly(void **state) {
    (void)state;
    int64_t seconds = 0;
    assert_true(kb_register_date("1970-01-02", &seconds) && seconds == 86400);
    assert_true(kb_register_date("1970-01-01T01:00:30+01:00", &seconds) && seconds == 30);
    assert_true(kb_register_date("2024-02-29T12:00", &seconds));
    static const char *const bad[] = {
        "",           "2026",        "2026-2-3", "2026-02-29",      "2026-13-01", "2026-01-01T",
        "04.03.2026", "2026-01-01x", "20260304", "2026-01-01T25:00"};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        assert_false(kb_register_date(bad[i], &seconds));
    }
}

#define CLEAN(test) cmocka_unit_test_teardown(test, remove_file)

int main(void) {
    const struct CMUnitTest tests[] = {
        CLEAN(a_result_comes_back_as_it_was_given),
        CLEAN(the_same_result_twice_changes_nothing),
        CLEAN(a_corrected_result_supersedes_and_keeps_the_old_one),
        CLEAN(what_was_measured_earlier_never_supersedes),
        CLEAN(an_altered_result_is_refused),
        CLEAN(the_same_pictures_under_another_name_are_said),
        CLEAN(additions_of_one_run_are_all_or_none),
        CLEAN(results_that_are_none_are_refused),
        CLEAN(castings_are_charted_in_the_order_of_casting),
        CLEAN(a_superseded_result_is_not_charted),
        CLEAN(two_programs_add_to_one_register_at_once),
        CLEAN(a_program_that_is_killed_harms_nothing),
        CLEAN(a_full_disk_leaves_the_register_as_it_was),
        CLEAN(files_of_other_programs_are_left_alone),
        CLEAN(a_damaged_register_is_said_and_left_alone),
        CLEAN(a_register_that_is_not_there_is_made_only_for_writing),
        CLEAN(nothing_is_added_when_memory_runs_out),
        CLEAN(days_and_times_are_read_strictly),
    };
    return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
