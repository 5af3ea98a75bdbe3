/* main.c - the command word, the help, the exit code. */
#include "request.h"

#include <string.h>

static int run(enum kb_command command, int argc, char *const *argv) {
    struct kb_request request;
    struct kb_err err = {.code = KB_OK};
    kb_request_init(&request, command);
    enum kb_status status = kb_request_line(&request, argc, argv, &err);
    /* help is owed even where the rest of the line is wrong */
    for (size_t i = 0; i < request.assignments; i++) {
        request.help = request.help || strcmp(request.assignment[i].option->name, "help") == 0;
        request.version =
            request.version || strcmp(request.assignment[i].option->name, "version") == 0;
    }
    int code = 0;
    if (request.help) {
        code = kb_print_help(command) ? 0 : 4;
    } else if (request.version) {
        code = printf("keelblock %s\n", KB_VERSION) > 0 && fflush(stdout) == 0 ? 0 : 4;
    } else {
        if (status == KB_OK) {
            status = kb_request_resolve(&request, &err);
        }
        if (status != KB_OK) {
            code = kb_complain(&err);
        } else if (command == KB_MEASURE) {
            code = kb_command_measure(&request);
        } else if (command == KB_CARBON_RULE) {
            code = kb_command_carbon(&request);
        } else if (command == KB_SURVEY) {
            code = kb_command_survey(&request);
        } else if (command == KB_PROVE) {
            code = kb_command_prove(&request);
        } else if (command == KB_BATCH) {
            code = kb_command_batch(&request);
        } else if (command == KB_HISTORY) {
            code = kb_command_history(&request);
        } else if (command == KB_PREPARE) {
            code = kb_command_prepare(&request);
        } else if (command == KB_REVIEW) {
            code = kb_command_review(&request);
        } else {
            code = kb_command_render(&request);
        }
    }
    kb_request_release(&request);
    return code;
}

int main(int argc, char **argv) {
    if (argc < 2) {
        (void)kb_print_overview();
        return 2;
    }
    if (strcmp(argv[1], "--version") == 0) {
        printf("keelblock %s\n", KB_VERSION);
        return fflush(stdout) == 0 ? 0 : 4;
    }
    if (strcmp(argv[1], "--help") == 0 || strcmp(argv[1], "-h") == 0 ||
        strcmp(argv[1], "help") == 0) {
        return kb_print_overview() ? 0 : 4;
    }
    const char *names[16];
    for (size_t i = 0; i < kb_command_count; i++) {
        names[i] = kb_commands[i].name;
        if (strcmp(argv[1], kb_commands[i].name) == 0) {
            return run(kb_commands[i].command, argc - 2, argv + 2);
        }
    }
    struct kb_err err;
    const char *near = kb_nearest_name(argv[1], names, kb_command_count);
    (void)kb_fail(&err, KB_E_USAGE, "app", NULL, "there is no command '%.60s' (%s%s)", argv[1],
                  near != NULL ? "did you mean " : "see keelblock --help",
                  near != NULL ? near : "");
    return kb_complain(&err);
}
