/* describe.c - build-time helper: the manual page and the shell completion, from the option table.
 *
 *     kb_describe man | bash-completion
 */
#include "request.h"

#include <string.h>

/* Text for roff: a leading point or quote, and every minus and backslash, must not be taken for a
 * command. */
static void roff(const char *text) {
    for (const char *c = text; *c != '\0'; c++) {
        if (*c == '-') {
            fputs("\\-", stdout);
        } else if (*c == '\\') {
            fputs("\\e", stdout);
        } else if ((*c == '.' || *c == '\'') && c == text) {
            printf("\\&%c", *c);
        } else {
            putchar(*c);
        }
    }
}

static void man_set(const char *name, const char *text) {
    printf("\n.br\n\\fB%s\\fR: ", name);
    roff(text);
    printf(".");
}

static void man_option(const struct kb_option *option) {
    char text[48];
    printf(".TP\n.B ");
    if (option->letter != 0) {
        printf("\\-%c\\fR, \\fB", option->letter);
    }
    roff("--");
    roff(option->name);
    if (option->value != NULL) {
        printf(" \\fI%s", option->value);
    }
    printf("\\fR\n");
    roff(option->help);
    kb_option_default(option, text, sizeof text);
    if (text[0] != '\0') {
        printf("\nDefault: %s.", text);
    }
    if (option->section != NULL && (option->commands & KB_MEASURE) != 0) {
        char key[40];
        kb_option_key(option->name, key, sizeof key);
        bool own = strcmp(option->section, "chemistry") == 0 ||
                   strcmp(option->section, "given") == 0 ||
                   strcmp(option->section, "limits") == 0 || strcmp(option->name, "specimen") == 0;
        const char *shown = strcmp(option->name, "specimen") == 0 ? "id"
                            : strcmp(option->name, "limit") == 0  ? "nodularity = >= 85 %"
                            : strcmp(option->name, "given") == 0  ? "hardness_hbw = 187"
                                                                  : "C = 3.62 %";
        printf("\nIn a job file: [%s] %s.", option->section, own ? shown : key);
    }
    if (option->own == kb_own_constants) {
        kb_tell_carbon_sets(man_set);
    }
    printf("\n");
}

static void man_commands(void) {
    printf(".SH COMMANDS\n");
    for (size_t i = 0; i < kb_command_count; i++) {
        printf(".SS keelblock ");
        roff(kb_commands[i].usage);
        printf("\n");
        roff(kb_commands[i].more);
        printf("\n");
        for (size_t k = 0; k < kb_option_count; k++) {
            if ((kb_options[k].commands & (unsigned)kb_commands[i].command) != 0) {
                man_option(&kb_options[k]);
            }
        }
    }
}

static void man_job_file(void) {
    printf(
        ".SH JOB FILE\n"
        "An INI file that a laboratory keeps for each type of casting. Fields stand in the section "
        "[fields] behind their contrast, several patterns apart by a bar; paths are meant from the "
        "folder of the job file.\n.PP\n.nf\n"
        "[specimen]\nid = bracket 17\nmaterial = ductile\\-iron\n\n"
        "[fields]\nlight\\-unetched = polished/*.tif\nlight = etched/*.tif\n\n"
        "[calibration]\npixel_size = 0.5um\n\n"
        "[chemistry]\nC = 3.62 %%\nSi = 2.45 %%\n\n"
        "[limits]\nnodularity = >= 85 %%\npearlite_of_matrix = 20..45 %%\n"
        "nodules_per_mm2 = >= 100\n\n"
        "[by_hand]\nset_phase = field\\-03.tif 412,97 other: slag, seen at 500x\n"
        "set_form = field\\-07.tif 120,88 VI: a pull\\-out spoilt its outline\n"
        "exclude = field\\-07.tif 0,0,640,40: stain\n"
        "cut = field\\-07.tif 300,180 322,240: two nodules\n"
        "scale_line = 20,940 220,940 100um: the scale bar\n.fi\n"
        ".PP\nIn [by_hand] each line is a decision of its own and a key may be said again. A field "
        "is named by its path or the end of it, a place by its pixels from the upper left corner "
        "of the upright picture. A line that ends in a backslash goes on in the next one.\n");
    printf(".PP\nQuantities that limits may name: ");
    for (int q = 0; q < KB_QUANTITIES; q++) {
        printf("%s%s (%s)", q > 0 ? ", " : "", kb_quantity_name((enum kb_quantity)q),
               kb_quantity_unit((enum kb_quantity)q));
    }
    printf(
        ".\n.PP\nLimits may hang on grade and section thickness: beside [limits], which holds for "
        "all, a file may have [limits EN\\-GJS\\-500\\-7], [limits <= 30 mm], [limits 30..60 mm], "
        "[limits > 60 mm], or both, [limits EN\\-GJS\\-500\\-7, 30..60 mm]. Of those that fit the "
        "more particular replaces the more general. batch_rule in [limits] says when a batch "
        "passes. Templates for usual grades stand in /usr/share/keelblock/limits.\n");
}

static void man(void) {
    printf(".TH KEELBLOCK 1 \"\" \"keelblock %s\" \"User commands\"\n.SH NAME\n"
           "keelblock \\- phase fractions and graphite of cast irons and steels from micrographs\n"
           ".SH SYNOPSIS\n",
           KB_VERSION);
    for (size_t i = 0; i < kb_command_count; i++) {
        printf("%s.B keelblock ", i > 0 ? ".br\n" : "");
        roff(kb_commands[i].usage);
        printf("\n");
    }
    man_commands();
    man_job_file();
    printf(".SH EXIT STATUS\n0 measured, and accepted where limits are set; 1 rejected or "
           "undecided; 2 "
           "usage; 3 a picture cannot be used; 4 disk or memory failed.\n"
           ".SH CAUTIONS\nEtchants and grinding can hurt: nital and picral belong under a fume "
           "hood, with "
           "gloves and eye protection; acid goes into alcohol, never the other way; strong nital "
           "is never "
           "kept closed. Local rules and trained staff decide.\n");
}

static void completion(void) {
    printf("# bash completion for keelblock, made from its option table\n"
           "_keelblock() {\n"
           "    local word=${COMP_WORDS[COMP_CWORD]} before=${COMP_WORDS[COMP_CWORD-1]} options=\n"
           "    case $before in\n"
           "    --material) COMPREPLY=($(compgen -W 'ductile-iron grey-iron compacted-iron "
           "carbon-steel' "
           "-- \"$word\")); return ;;\n"
           "    --contrast|--look) COMPREPLY=($(compgen -W 'auto light light-unetched sem' -- "
           "\"$word\")); return "
           ";;\n"
           "    --hardness) COMPREPLY=($(compgen -W 'soft medium hard' -- \"$word\")); return ;;\n"
           "    --cut) COMPREPLY=($(compgen -W 'precision abrasive-wheel saw as-broken flame' -- "
           "\"$word\")); return ;;\n"
           "    --mount) COMPREPLY=($(compgen -W 'hot cold none' -- \"$word\")); return ;;\n"
           "    --etchant) COMPREPLY=($(compgen -W 'nital picral' -- \"$word\")); return ;;\n"
           "    --rule) COMPREPLY=($(compgen -W 'guarded simple' -- \"$word\")); return ;;\n"
           "    --proeutectoid) COMPREPLY=($(compgen -W 'ferrite cementite' -- \"$word\")); return "
           ";;\n"
           "    --graphite) COMPREPLY=($(compgen -W 'none nodules compacted flakes' -- "
           "\"$word\")); return "
           ";;\n"
           "    --constants) COMPREPLY=($(compgen -W '");
    size_t sets = 0;
    const struct kb_carbon_set *set = kb_carbon_sets(&sets);
    for (size_t i = 0; i < sets; i++) {
        printf("%s ", set[i].name);
    }
    printf("' -- \"$word\")); return ;;\n"
           "    esac\n"
           "    case ${COMP_WORDS[1]} in\n");
    for (size_t i = 0; i < kb_command_count; i++) {
        printf("    %s) options='", kb_commands[i].name);
        for (size_t k = 0; k < kb_option_count; k++) {
            if ((kb_options[k].commands & (unsigned)kb_commands[i].command) != 0) {
                printf("--%s ", kb_options[k].name);
            }
        }
        printf("' ;;\n");
    }
    printf("    *) COMPREPLY=($(compgen -W '");
    for (size_t i = 0; i < kb_command_count; i++) {
        printf("%s ", kb_commands[i].name);
    }
    printf("--help --version' -- \"$word\")); return ;;\n"
           "    esac\n"
           "    if [[ $word == -* ]]; then\n"
           "        COMPREPLY=($(compgen -W \"$options\" -- \"$word\"))\n"
           "    else\n"
           "        COMPREPLY=($(compgen -f -- \"$word\"))\n"
           "    fi\n"
           "}\n"
           "complete -o filenames -F _keelblock keelblock\n");
}

int main(int argc, char **argv) {
    if (argc == 2 && strcmp(argv[1], "man") == 0) {
        man();
    } else if (argc == 2 && strcmp(argv[1], "bash-completion") == 0) {
        completion();
    } else {
        (void)fputs("usage: kb_describe man | bash-completion\n", stderr);
        return 2;
    }
    return fflush(stdout) == 0 ? 0 : 4;
}
