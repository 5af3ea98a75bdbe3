/* cmd_history.c - `keelblock history`: results into the register, and out of it as list, control
 * charts and table.
 */
#include "request.h"
#include "terminal.h"

#include <errno.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>

/* One call: the words behind the action, and what is told. */
struct call {
    const struct kb_request *request;
    struct kb_register *reg;
    struct kb_text text;
};

static enum kb_status usage(struct kb_err *err, const char *subject, const char *right) {
    return kb_fail(err, KB_E_USAGE, "app", subject, "%s", right);
}

/* ---- add ---- */

/* Of the file's last change, for results that bear no date. */
static void date_of(const struct stat *info, char text[32]) {
    struct tm utc;
    text[0] = '\0';
    if (gmtime_r(&info->st_mtime, &utc) != NULL) {
        (void)strftime(text, 32, "%Y-%m-%dT%H:%M:%SZ", &utc);
    }
}

static enum kb_status read_file(const char *path, struct kb_text *text, struct kb_err *err) {
    char block[8192];
    size_t got = 0;
    FILE *stream = fopen(path, "rb");
    if (stream == NULL) {
        return kb_fail(err, KB_E_INPUT, "app", path, "cannot be read: %s (check the name)",
                       strerror(errno));
    }
    while ((got = fread(block, 1, sizeof block, stream)) > 0) {
        kb_text_add_bytes(text, block, got);
    }
    const bool failed = ferror(stream) != 0;
    (void)fclose(stream);
    if (failed) {
        return kb_fail(err, KB_E_INPUT, "app", path, "cannot be read (check the disk)");
    }
    return text->failed ? kb_fail_memory(err, "app", text->length) : KB_OK;
}

static void tell_added(struct call *call, const char *path, const struct kb_register_added *added) {
    static const char *const news[KB_NEWS_KINDS] = {
        [KB_NEWS_ADDED] = "added",
        [KB_NEWS_KNOWN] = "known already",
        [KB_NEWS_SUPERSEDES] = "added, supersedes",
        [KB_NEWS_SUPERSEDED] = "added, superseded by",
    };
    if (call->request->quiet || call->request->json) {
        return;
    }
    kb_text_format(&call->text, "%5lld  %s: %s", (long long)added->id, path, news[added->news]);
    if (added->other != 0) {
        kb_text_format(&call->text, " %lld", (long long)added->other);
    }
    if (added->same_pictures[0] != '\0') {
        kb_text_format(&call->text, " (the same pictures as specimen %s)", added->same_pictures);
    }
    kb_text_add(&call->text, "\n");
}

static enum kb_status add_file(struct call *call, const char *path, struct kb_err *err) {
    struct stat info;
    char *file = NULL;
    if (stat(path, &info) != 0) {
        return kb_fail(err, KB_E_INPUT, "app", path, "cannot be read: %s (check the name)",
                       strerror(errno));
    }
    file = S_ISDIR(info.st_mode) ? kb_join_path(path, "result.json") : kb_copy_string(path);
    if (file == NULL) {
        return kb_fail_memory(err, "app", strlen(path));
    }
    struct kb_text json = KB_TEXT_INIT;
    struct kb_register_added added;
    char date[32];
    enum kb_status status = read_file(file, &json, err);
    date_of(&info, date);
    if (status == KB_OK && stat(file, &info) == 0) {
        date_of(&info, date);
    }
    if (status == KB_OK) {
        status = kb_register_add(call->reg, json.data != NULL ? json.data : "", json.length, file,
                                 call->request->settings.batch_name, date, &added, err);
    }
    if (status == KB_OK) {
        tell_added(call, path, &added);
    }
    kb_text_release(&json);
    kb_free(file);
    return status;
}

/* All or none: a list that was added in half leaves doubt. */
static enum kb_status add(struct call *call, struct kb_err *err) {
    const struct kb_request *request = call->request;
    if (request->fields < 2) {
        return usage(err, NULL, "no result to add (name folders of results, or result.json)");
    }
    enum kb_status status = kb_register_begin(call->reg, err);
    for (size_t i = 1; i < request->fields && status == KB_OK; i++) {
        status = add_file(call, request->field[i].path, err);
    }
    if (status == KB_OK) {
        status = kb_register_commit(call->reg, err);
    }
    kb_register_rollback(call->reg);
    return status;
}

/* ---- list and export ---- */

static enum kb_status show_list(struct call *call, bool csv, struct kb_err *err) {
    const struct kb_request *request = call->request;
    struct kb_register_list list;
    enum kb_status status = kb_register_list(call->reg, request->settings.casting,
                                             request->chart.superseded, &list, err);
    if (status != KB_OK) {
        return status;
    }
    status = csv             ? kb_report_history_csv(&list, &call->text, err)
             : request->json ? kb_report_history_json(&list, &call->text, err)
             : request->quiet
                 ? KB_OK
                 : kb_report_history_table(&list, kb_terminal_columns(), &call->text, err);
    kb_register_list_release(&list);
    return status;
}

static enum kb_status list(struct call *call, struct kb_err *err) {
    return show_list(call, false, err);
}

static enum kb_status export(struct call *call, struct kb_err *err) {
    return show_list(call, true, err);
}

/* ---- chart ---- */

struct charts {
    struct kb_chart *chart;
    size_t count, capacity;
};

static void charts_release(struct charts *charts) {
    for (size_t i = 0; i < charts->count; i++) {
        kb_chart_release(&charts->chart[i]);
    }
    kb_free(charts->chart);
}

static struct kb_chart_params chart_params(const struct kb_request *request,
                                           enum kb_quantity quantity) {
    const struct kb_chart_question *said = &request->chart;
    struct kb_chart_params params = kb_chart_params_default(quantity);
    params.rules = said->rules != 0 ? said->rules : params.rules;
    params.one_side = said->one_side != 0 ? said->one_side : params.one_side;
    if (said->baseline > 0) {
        params.baseline = (size_t)said->baseline;
        params.baseline_least =
            params.baseline < params.baseline_least ? params.baseline : params.baseline_least;
    }
    memcpy(params.from, said->from, sizeof params.from);
    memcpy(params.to, said->to, sizeof params.to);
    return params;
}

static enum kb_status take_chart(struct call *call, const char *casting, enum kb_quantity quantity,
                                 struct charts *charts, struct kb_err *err) {
    const struct kb_chart_params params = chart_params(call->request, quantity);
    void *items = charts->chart;
    if (!kb_grow(&items, charts->count, &charts->capacity, sizeof *charts->chart)) {
        return kb_fail_memory(err, "app", sizeof *charts->chart);
    }
    charts->chart = items;
    struct kb_chart *chart = &charts->chart[charts->count];
    enum kb_status status = kb_register_chart(call->reg, casting, quantity, &params, chart, err);
    if (status == KB_OK && chart->points == 0) {
        kb_chart_release(chart);
    } else if (status == KB_OK) {
        charts->count++;
    }
    return status;
}

/* What was asked for; else what has limits; else what a foundry asks for first. */
static bool is_wanted(const struct kb_request *request, const struct kb_register_casting *casting,
                      enum kb_quantity quantity) {
    bool limited = false;
    for (int i = 0; i < KB_QUANTITIES; i++) {
        limited = limited || casting->limited[i];
    }
    return request->chart.chosen ? request->chart.quantity[quantity]
           : limited             ? casting->limited[quantity]
                     : quantity == KB_Q_NODULARITY || quantity == KB_Q_NODULES_PER_MM2 ||
                           quantity == KB_Q_PEARLITE_OF_MATRIX;
}

static enum kb_status unknown_casting(const struct kb_register_castings *known, const char *said,
                                      struct kb_err *err) {
    struct kb_text names = KB_TEXT_INIT;
    for (size_t i = 0; i < known->count; i++) {
        if (known->item[i].name[0] != '\0') {
            kb_text_format(&names, "%s%s", names.length > 0 ? ", " : "", known->item[i].name);
        }
    }
    enum kb_status status =
        names.failed ? kb_fail_memory(err, "app", names.length)
        : names.length == 0
            ? kb_fail(err, KB_E_USAGE, "app", said,
                      "no result in the register says its casting (measure with --casting NAME)")
            : kb_fail(err, KB_E_USAGE, "app", said, "no such casting in the register (it has %s)",
                      names.data);
    kb_text_release(&names);
    return status;
}

static enum kb_status take_charts(struct call *call, const struct kb_register_castings *known,
                                  struct charts *charts, struct kb_err *err) {
    const char *said = call->request->settings.casting;
    enum kb_status status = KB_OK;
    bool found = false;
    for (size_t i = 0; i < known->count && status == KB_OK; i++) {
        const struct kb_register_casting *casting = &known->item[i];
        if (casting->name[0] == '\0' || (said != NULL && strcmp(said, casting->name) != 0)) {
            continue;
        }
        found = true;
        for (int q = 0; q < KB_QUANTITIES && status == KB_OK; q++) {
            if (is_wanted(call->request, casting, (enum kb_quantity)q)) {
                status = take_chart(call, casting->name, (enum kb_quantity)q, charts, err);
            }
        }
    }
    return status == KB_OK && !found ? unknown_casting(known, said, err) : status;
}

/* "bracket-17-nodularity.svg": what file systems dislike becomes '-'. */
static char *picture_name(const char *folder, const struct kb_chart *chart) {
    char name[200];
    (void)snprintf(name, sizeof name, "%.120s-%s.svg", chart->casting,
                   kb_quantity_name(chart->quantity));
    for (char *c = name; *c != '\0'; c++) {
        const bool bad = (unsigned char)*c < 0x20 || strchr("/\\:*?\"<>|", *c) != NULL;
        *c = bad || (*c == '.' && c == name) ? '-' : *c;
    }
    return kb_join_path(folder, name);
}

static enum kb_status draw(struct call *call, const char *folder, const struct kb_chart *chart,
                           struct kb_err *err) {
    struct kb_text svg = KB_TEXT_INIT;
    char *path = picture_name(folder, chart);
    enum kb_status status = path != NULL ? kb_report_chart_svg(chart, true, &svg, err)
                                         : kb_fail_memory(err, "app", strlen(folder));
    if (status == KB_OK) {
        status = kb_write_file(path, svg.data, svg.length, err);
    }
    if (status == KB_OK && !call->request->quiet && !call->request->json) {
        kb_text_format(&call->text, "\n    %s\n", path);
    }
    kb_text_release(&svg);
    kb_free(path);
    return status;
}

static enum kb_status show_charts(struct call *call, const struct charts *charts,
                                  struct kb_err *err) {
    const struct kb_request *request = call->request;
    const char *folder = request->settings.out_folder;
    enum kb_status status = folder != NULL ? kb_make_folder(folder, err) : KB_OK;
    if (status == KB_OK && charts->count == 0) {
        return usage(err, request->settings.casting,
                     "no result of it has such a figure (see history list --json)");
    }
    if (status == KB_OK && request->json) {
        status = kb_report_charts_json(charts->chart, charts->count, &call->text, err);
    }
    for (size_t i = 0; i < charts->count && status == KB_OK; i++) {
        if (!request->json && !request->quiet) {
            kb_text_add(&call->text, i > 0 ? "\n\n" : "");
            status =
                kb_report_chart_table(&charts->chart[i], kb_terminal_columns(), &call->text, err);
        }
        if (status == KB_OK && folder != NULL) {
            status = draw(call, folder, &charts->chart[i], err);
        }
    }
    return status;
}

static enum kb_status chart(struct call *call, struct kb_err *err) {
    struct kb_register_castings known;
    struct charts charts = {.count = 0};
    enum kb_status status = kb_register_castings(call->reg, &known, err);
    if (status != KB_OK) {
        return status;
    }
    status = take_charts(call, &known, &charts, err);
    if (status == KB_OK) {
        status = show_charts(call, &charts, err);
    }
    charts_release(&charts);
    kb_register_castings_release(&known);
    return status;
}

/* ---- stretch ---- */

static enum kb_status stretch(struct call *call, struct kb_err *err) {
    const struct kb_request *request = call->request;
    if (request->settings.casting == NULL || request->chart.since[0] == '\0' ||
        request->chart.reason == NULL) {
        return usage(err, NULL,
                     "a new stretch takes --casting NAME, --from DATE and --reason TEXT");
    }
    return kb_register_stretch(call->reg, request->settings.casting, request->chart.since,
                               request->chart.reason, err);
}

/* ---- the command ---- */

static const struct action {
    const char *name;
    bool writes, takes_words;
    enum kb_status (*run)(struct call *call, struct kb_err *err);
} actions[] = {
    {"add", true, true, add},          {"list", false, false, list},
    {"chart", false, false, chart},    {"export", false, false, export},
    {"stretch", true, false, stretch},
};
enum { ACTIONS = sizeof actions / sizeof actions[0] };

static enum kb_status find_action(const struct kb_request *request, const struct action **action,
                                  struct kb_err *err) {
    const char *said = request->fields > 0 ? request->field[0].path : NULL;
    *action = NULL;
    for (size_t i = 0; i < ACTIONS && said != NULL; i++) {
        *action = strcmp(said, actions[i].name) == 0 ? &actions[i] : *action;
    }
    if (*action == NULL) {
        return usage(err, said, "say what to do: history add, list, chart, export or stretch");
    }
    if (!(*action)->takes_words && request->fields > 1) {
        return usage(err, request->field[1].path, "is one word too many (choose by --casting)");
    }
    return request->history_path != NULL
               ? KB_OK
               : usage(err, NULL, "which register? (name its file: --history FILE)");
}

static enum kb_status put(const struct kb_text *text, struct kb_err *err) {
    const bool written =
        text->length == 0 || fwrite(text->data, 1, text->length, stdout) == text->length;
    return written && fflush(stdout) == 0
               ? KB_OK
               : kb_fail(err, KB_E_SYSTEM, "app", NULL,
                         "cannot write to standard output (is the disk full?)");
}

int kb_command_history(struct kb_request *request) {
    struct kb_err err = {.code = KB_OK};
    struct call call = {.request = request, .text = KB_TEXT_INIT};
    const struct action *action = NULL;
    enum kb_status status = find_action(request, &action, &err);
    if (status == KB_OK && action != NULL) {
        status = kb_register_open(request->history_path, action->writes, &call.reg, &err);
    }
    if (status == KB_OK && action != NULL) {
        status = action->run(&call, &err);
    }
    if (status == KB_OK) {
        status = call.text.failed ? kb_fail_memory(&err, "app", 0) : put(&call.text, &err);
    }
    kb_text_release(&call.text);
    kb_register_close(call.reg);
    return status == KB_OK ? 0 : kb_complain(&err);
}
