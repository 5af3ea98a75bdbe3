/* cmd_render.c - `keelblock render`: synthetic fields and their truth into a folder. */
#include "request.h"

static enum kb_status render_one(const struct kb_request *request, int64_t index,
                                 struct kb_err *err) {
    struct kb_render_params params = request->render;
    params.seed += (uint64_t)index;
    struct kb_render render;
    enum kb_status status = kb_render_draw(&params, &render, err);
    if (status != KB_OK) {
        return status;
    }
    char name[48];
    (void)snprintf(name, sizeof name, "field-%02lld.tif", (long long)index + 1);
    char *picture = kb_join_path(request->settings.out_folder, name);
    (void)snprintf(name, sizeof name, "field-%02lld.truth.json", (long long)index + 1);
    char *truth = kb_join_path(request->settings.out_folder, name);
    if (picture == NULL || truth == NULL) {
        status = kb_fail_memory(err, "app", sizeof name);
    }
    if (status == KB_OK) {
        status = kb_write_tiff(picture, &render.grey, params.px_um, true, err);
    }
    if (status == KB_OK) {
        status = kb_write_truth(truth, &params, &render.truth, err);
    }
    if (status == KB_OK && !request->quiet) {
        printf("%s  graphite %.2f %%, pearlite of matrix %.1f %%\n", picture,
               100.0 * render.truth.graphite, 100.0 * render.truth.pearlite_of_matrix);
    }
    kb_free(picture);
    kb_free(truth);
    kb_render_release(&render);
    return status;
}

int kb_command_render(struct kb_request *request) {
    struct kb_err err = {.code = KB_OK};
    enum kb_status status = KB_OK;
    if (request->settings.out_folder == NULL) {
        status = kb_fail(&err, KB_E_USAGE, "app", NULL, "say where to draw to: -o DIR");
    }
    if (status == KB_OK) {
        status = kb_render_params_check(&request->render, &err);
    }
    if (status == KB_OK) {
        status = kb_make_folder(request->settings.out_folder, &err);
    }
    for (int64_t i = 0; i < request->render_fields && status == KB_OK; i++) {
        status = render_one(request, i, &err);
    }
    if (status == KB_OK && fflush(stdout) != 0) {
        status = kb_fail(&err, KB_E_SYSTEM, "app", NULL, "cannot write to standard output");
    }
    return status == KB_OK ? 0 : kb_complain(&err);
}
