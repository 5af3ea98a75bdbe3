/* help.c - help and complaints, laid out from the option table. */
#include "request.h"

#include <string.h>

/* Break `text` to lines of at most `width` columns, each behind `indent` blanks. */
static void print_folded(const char *text, int indent, int width) {
    int column = 0;
    while (*text != '\0') {
        int length = (int)strcspn(text, " ");
        if (column > 0 && column + 1 + length > width) {
            printf("\n%*s", indent, "");
            column = 0;
        } else if (column > 0) {
            putchar(' ');
            column++;
        }
        printf("%.*s", length, text);
        column += length;
        text += length;
        text += *text == ' ' ? 1 : 0;
    }
    putchar('\n');
}

static void print_option(const struct kb_option *option) {
    char left[64], shown[32], text[600];
    kb_option_default(option, shown, sizeof shown);
    char letter[8] = "";
    if (option->letter != 0) {
        (void)snprintf(letter, sizeof letter, "-%c, ", option->letter);
    }
    (void)snprintf(left, sizeof left, "  %s--%s%s%s", letter, option->name,
                   option->value != NULL ? " " : "", option->value != NULL ? option->value : "");
    (void)snprintf(text, sizeof text, "%s%s%s%s", option->help, shown[0] != '\0' ? " [" : "", shown,
                   shown[0] != '\0' ? "]" : "");
    printf("%-30s", left);
    if (strlen(left) > 29) {
        printf("\n%30s", "");
    }
    print_folded(text, 30, 68);
}

static void print_set(const char *name, const char *text) {
    printf("%32s%-10s", "", name);
    print_folded(text, 42, 56);
}

bool kb_print_help(enum kb_command command) {
    for (size_t i = 0; i < kb_command_count; i++) {
        if (kb_commands[i].command == command) {
            printf("usage: keelblock %s\n\n", kb_commands[i].usage);
            print_folded(kb_commands[i].more, 0, 98);
            printf("\n");
        }
    }
    const char *section = NULL;
    for (size_t i = 0; i < kb_option_count; i++) {
        const struct kb_option *option = &kb_options[i];
        if ((option->commands & command) == 0) {
            continue;
        }
        const char *here = option->section != NULL ? option->section : "";
        if (command == KB_MEASURE && section != NULL && strcmp(here, section) != 0) {
            printf("\n");
        }
        section = here;
        print_option(option);
        if (option->own == kb_own_constants) {
            kb_tell_carbon_sets(print_set);
        }
    }
    return fflush(stdout) == 0;
}

bool kb_print_overview(void) {
    printf(
        "keelblock %s - phase fractions and graphite of cast irons and steels from micrographs\n\n",
        KB_VERSION);
    for (size_t i = 0; i < kb_command_count; i++) {
        printf("  keelblock %-10s %s\n", kb_commands[i].name, kb_commands[i].summary);
    }
    printf("\nkeelblock COMMAND --help tells the options of a command.\n");
    return fflush(stdout) == 0;
}

int kb_exit_code(enum kb_status status) {
    switch (status) {
    case KB_OK:
        return 0;
    case KB_E_USAGE:
        return 2;
    case KB_E_INPUT:
    case KB_E_UNFIT:
        return 3;
    case KB_E_SYSTEM:
    case KB_E_MEMORY:
        break;
    }
    return 4;
}

int kb_complain(const struct kb_err *err) {
    char line[900];
    kb_err_line(err, line, sizeof line);
    (void)fprintf(stderr, "keelblock: %s\n", line);
    return kb_exit_code(err->code);
}
