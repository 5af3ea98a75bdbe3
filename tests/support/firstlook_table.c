/* firstlook_table.c - how drawn fields are taken: right, unsure or wrong, as a table.
 *     kb_firstlook_table [SERIES]
 * A tool for developers.
 */
#include "varied.h"

#include <stdlib.h>

int main(int argc, char **argv) {
    uint64_t series = argc > 1 ? strtoull(argv[1], NULL, 10) : 0;
    int said[3][4] = {{0}}, traceless = 0; /* by truth; the last: unsure */
    for (int n = 0; n < VARIED_COUNT; n++) {
        struct varied v = varied_field(n, series);
        struct kb_first_look_params params = kb_first_look_params_default();
        struct kb_field field;
        struct kb_first_look look;
        params.iron = v.iron;
        if (!varied_draw(&v, &field) || kb_first_look_run(&field, &params, &look, NULL) != KB_OK) {
            return 1;
        }
        const struct kb_contrast_found *found = &look.contrast;
        bool is_right = found->contrast == v.truth;
        if (found->sure && !is_right && v.traceless) {
            traceless++;
        } else {
            said[v.truth][found->sure ? (int)found->contrast : 3]++;
        }
        (void)printf("%-48s %-15s %-6s %5.1f %5.1f %5.1f %s%s\n", v.name,
                     kb_contrast_name(found->contrast), found->sure ? "sure" : "unsure",
                     100.0 * found->belief[0], 100.0 * found->belief[1], 100.0 * found->belief[2],
                     look.marks > 0 ? " MARKS" : "",
                     !found->sure || is_right ? ""
                     : v.traceless            ? " (etching left no trace)"
                                              : " <<<");
        kb_first_look_release(&look);
        marked_release(&field);
    }
    (void)printf("%-15s %8s %15s %8s %8s\n", "true, said:", "light", "light-unetched", "sem",
                 "unsure");
    for (int c = 0; c < 3; c++) {
        (void)printf("%-15s %8d %15d %8d %8d\n", kb_contrast_name((enum kb_contrast)c), said[c][0],
                     said[c][1], said[c][2], said[c][3]);
    }
    (void)printf("taken for polished because etching left no trace: %d\n", traceless);
    return 0;
}
