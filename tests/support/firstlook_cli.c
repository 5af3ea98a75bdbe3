/* firstlook_cli.c - look at pictures:
 *     kb_firstlook_cli [--steel] [--brief] [--masks FOLDER] PICTURE ...
 *
 * Prints what was found as JSON, one object a picture, or one line each with --brief; with --masks
 * the picture with what is left out tinted goes to FOLDER/NAME.ppm. A tool for developers.
 */
#include "keelblock/firstlook.h"

#include <string.h>

static void write_tinted(const char *folder, const struct kb_field *field,
                         const struct kb_first_look *look) {
    char path[1024];
    (void)snprintf(path, sizeof path, "%s/%s.ppm", folder, kb_base_name(field->path));
    FILE *file = fopen(path, "wb");
    if (file == NULL) {
        return;
    }
    (void)fprintf(file, "P6\n%d %d\n255\n", field->grey.width, field->grey.height);
    for (int32_t y = 0; y < field->grey.height; y++) {
        for (int32_t x = 0; x < field->grey.width; x++) {
            int level = kb_row(&field->grey, y)[x];
            bool out = look->outside.px != NULL && kb_row(&look->outside, y)[x] != 0;
            (void)fputc(out ? (level + 255) / 2 : level, file);
            (void)fputc(out ? level / 2 : level, file);
            (void)fputc(out ? level / 2 : level, file);
        }
    }
    (void)fclose(file);
}

static void print_json(const struct kb_field *field, const struct kb_first_look *look,
                       double seconds) {
    const struct kb_contrast_found *found = &look->contrast;
    (void)printf("{\"file\": \"%s\", \"ms\": %.1f, \"contrast\": \"%s\", \"sure\": %s,\n"
                 " \"belief\": [%.4f, %.4f, %.4f], \"outside_px\": %llu,\n \"evidence\": [",
                 kb_base_name(field->path), 1e3 * seconds, kb_contrast_name(found->contrast),
                 found->sure ? "true" : "false", found->belief[0], found->belief[1],
                 found->belief[2], (unsigned long long)look->outside_px);
    for (int i = 0; i < found->count; i++) {
        const struct kb_evidence *e = &found->evidence[i];
        (void)printf("%s\n  [%.4g, \"%s\", [%.2f, %.2f, %.2f]]", i > 0 ? "," : "", e->value,
                     e->what, e->speaks[0], e->speaks[1], e->speaks[2]);
    }
    (void)printf("],\n \"marks\": [");
    for (size_t i = 0; i < look->marks; i++) {
        const struct kb_mark *m = &look->mark[i];
        (void)printf("%s\n  [\"%s\", %d, %d, %d, %d, %.1f]", i > 0 ? "," : "",
                     kb_mark_kind_name(m->kind), m->box.x, m->box.y, m->box.width, m->box.height,
                     m->bar_px);
    }
    (void)printf("],\n \"findings\": [");
    for (size_t i = 0; i < look->findings.count; i++) {
        const struct kb_finding *f = &look->findings.item[i];
        (void)printf("%s\n  [\"%s\", \"%s\"]", i > 0 ? "," : "", f->code, f->text);
    }
    (void)printf("]}\n");
}

static void print_brief(const struct kb_field *field, const struct kb_first_look *look,
                        double seconds) {
    const struct kb_contrast_found *found = &look->contrast;
    (void)printf("%-28s %5.1f ms %-14s %-4s %4.0f %4.0f %4.0f |", kb_base_name(field->path),
                 1e3 * seconds, kb_contrast_name(found->contrast), found->sure ? "sure" : "",
                 100.0 * found->belief[0], 100.0 * found->belief[1], 100.0 * found->belief[2]);
    for (int i = 0; i < found->count; i++) {
        (void)printf(" %.3g", found->evidence[i].value);
    }
    for (size_t i = 0; i < look->marks; i++) {
        const struct kb_mark *m = &look->mark[i];
        (void)printf(" %s[%d %d %d %d %.0f]", kb_mark_kind_name(m->kind), m->box.x, m->box.y,
                     m->box.width, m->box.height, m->bar_px);
    }
    (void)printf("\n");
}

int main(int argc, char **argv) {
    struct kb_first_look_params params = kb_first_look_params_default();
    struct kb_intake_params intake = kb_intake_params_default();
    const char *masks = NULL;
    bool brief = false;
    for (int i = 1; i < argc; i++) {
        struct kb_field field;
        struct kb_first_look look;
        struct kb_err err;
        if (strcmp(argv[i], "--steel") == 0) {
            params.iron = false;
            continue;
        }
        if (strcmp(argv[i], "--brief") == 0) {
            brief = true;
            continue;
        }
        if (strcmp(argv[i], "--masks") == 0 && i + 1 < argc) {
            masks = argv[++i];
            continue;
        }
        enum kb_status status = kb_field_read(argv[i], &intake, &field, &err);
        if (status == KB_OK) {
            double start = kb_clock_s();
            status = kb_first_look_run(&field, &params, &look, &err);
            double seconds = kb_clock_s() - start;
            if (status == KB_OK) {
                (brief ? print_brief : print_json)(&field, &look, seconds);
                if (masks != NULL) {
                    write_tinted(masks, &field, &look);
                }
                kb_first_look_release(&look);
            }
            kb_field_release(&field);
        }
        if (status != KB_OK) {
            char line[1024];
            kb_err_line(&err, line, sizeof line);
            (void)printf("%s\n", line);
        }
    }
    return 0;
}
