/* survey_read.c - result.json back to the sums of its fields.
 *
 * Only what the between-field statistics need is read. Every number is checked for its range, since
 * the file may have been edited or cut: what does not fit is refused with the name of the key,
 * never mended. Keys that an older result does not have leave their figures unmeasured. A field
 * that two results hold (the same digest of the file, the same page) counts once: twice the same
 * picture says nothing new about the spread.
 */
#include "result_file.h"
#include "survey.h"

#include <string.h>

#define STAGE "survey"

/* Physical room for areas and counts of one field: a square metre in um2, and its square. */
static const double area_most = 1e12, squared_most = 1e24, count_most = 1e12;

/* One file while it is read; the first fault stays. */
struct reading {
    const char *path;
    char fault[160];
};

static void fault(struct reading *reading, const char *key, const char *what) {
    if (reading->fault[0] == '\0') {
        (void)snprintf(reading->fault, sizeof reading->fault, "'%s' %s", key, what);
    }
}

/* A number within [low, high], NaN where it is null or missing. */
static double number(struct reading *reading, const json_t *object, const char *key, double low,
                     double high) {
    const json_t *value = json_object_get(object, key);
    if (value == NULL || json_is_null(value)) {
        return (double)NAN;
    }
    if (!json_is_number(value)) {
        fault(reading, key, "is not a number");
        return (double)NAN;
    }
    double read = json_number_value(value);
    if (!(read >= low && read <= high)) {
        fault(reading, key, "is out of range");
        return (double)NAN;
    }
    return read;
}

static size_t count(struct reading *reading, const json_t *object, const char *key) {
    double value = number(reading, object, key, 0.0, count_most);
    return isfinite(value) ? (size_t)value : 0;
}

static void read_phases(struct reading *reading, const json_t *json,
                        struct kb_field_figures *figures) {
    const json_t *phases = json_object_get(json, "phases");
    if (!json_is_object(phases)) {
        fault(reading, "phases", "is missing");
    }
    for (int phase = 0; phase < KB_PHASES; phase++) {
        figures->fraction[phase] =
            phase == KB_EXCLUDED
                ? (double)NAN
                : number(reading, phases, kb_phase_name((enum kb_phase)phase), 0.0, 1.0);
    }
    figures->pearlite_of_matrix = number(reading, json, "pearlite_of_matrix", 0.0, 1.0);
    figures->other_of_matrix = number(reading, json, "other_of_matrix", 0.0, 1.0);
}

static void read_sums(struct reading *reading, const json_t *json,
                      struct kb_field_figures *figures) {
    static const char *const key[KB_NOD_METHODS] = {
        [KB_NOD_ISO945_4] = "iso945_4",
        [KB_NOD_E2567] = "e2567",
        [KB_NOD_ISO16112] = "iso16112",
    };
    const json_t *sums = json_object_get(json, "sums");
    const json_t *nodular = json_object_get(sums, "nodular_area_um2");
    const json_t *rated = json_object_get(sums, "rated_area_um2");
    for (int method = 0; method < KB_NOD_METHODS; method++) {
        figures->nodular_um2[method] = number(reading, nodular, key[method], 0.0, area_most);
        figures->graphite_um2[method] = number(reading, rated, key[method], 0.0, area_most);
        if (figures->nodular_um2[method] > figures->graphite_um2[method]) {
            fault(reading, "nodular_area_um2", "is more than the rated area");
        }
    }
    for (int form = 0; form < KB_FORMS; form++) {
        figures->form_um2[form] = (double)NAN;
    }
    figures->nodular_framed_um2 = (double)NAN;
    figures->graphite_framed_um2 = (double)NAN;
    figures->rated_weighted = (double)NAN;
    figures->graphite_um4 = number(reading, sums, "squared_area_um4", 0.0, squared_most);
    figures->nodules = count(reading, sums, "nodules");
    figures->rated = count(reading, sums, "rated");
    figures->feret_sum_um = number(reading, sums, "feret_um", 0.0, area_most);
    figures->feret_largest_um = (double)NAN;
    figures->nodules_per_mm2 = number(reading, json, "nodules_per_mm2", 0.0, count_most);
    figures->graphite_measured = isfinite(figures->nodules_per_mm2) && isfinite(figures->area_mm2);
}

static void read_field(struct reading *reading, const json_t *json,
                       struct kb_field_figures *figures) {
    *figures = (struct kb_field_figures){0};
    const char *contrast = json_string_value(json_object_get(json, "contrast"));
    if (contrast == NULL || !kb_contrast_parse(contrast, &figures->contrast)) {
        fault(reading, "contrast", "is no contrast");
    }
    double px_um = number(reading, json, "pixel_size_um", 1e-4, 1e3);
    figures->px_um = isfinite(px_um) ? px_um : 0.0;
    figures->area_mm2 = number(reading, json, "area_mm2", 0.0, 1e6);
    read_phases(reading, json, figures);
    read_sums(reading, json, figures);
}

/* ---- the survey grows --------------------------------------------------------------------------
 */

/* Digest and page in one word; "" when the file has none. */
static void read_key(const json_t *json, char key[KB_SURVEY_KEY]) {
    const char *sha256 = json_string_value(json_object_get(json, "sha256"));
    json_int_t page = json_integer_value(json_object_get(json, "page"));
    key[0] = '\0';
    if (sha256 != NULL && strlen(sha256) == 64) {
        (void)snprintf(key, KB_SURVEY_KEY, "%s/%lld", sha256, (long long)page);
    }
}

static bool is_repeated(const struct kb_survey *survey, const char *key) {
    for (size_t i = 0; i < survey->fields && key[0] != '\0'; i++) {
        if (strcmp(survey->key[i], key) == 0) {
            return true;
        }
    }
    return false;
}

static enum kb_status add_field(struct kb_survey *survey, const struct kb_field_figures *figures,
                                const char *key, struct kb_err *err) {
    if (is_repeated(survey, key)) {
        survey->repeated++;
        return KB_OK;
    }
    void *fields = survey->field, *keys = survey->key;
    bool room = kb_grow(&fields, survey->fields, &survey->capacity, sizeof *survey->field);
    survey->field = room ? fields : survey->field;
    room = room && kb_grow(&keys, survey->fields, &survey->key_capacity, sizeof *survey->key);
    if (!room) {
        return kb_fail_memory(err, STAGE, sizeof *figures);
    }
    survey->key = keys;
    survey->field[survey->fields] = *figures;
    memcpy(survey->key[survey->fields], key, KB_SURVEY_KEY);
    survey->fields++;
    *(figures->contrast == KB_LIGHT_UNETCHED ? &survey->polished : &survey->etched) += 1;
    bool sums = isfinite(figures->graphite_um2[KB_NOD_ISO945_4]);
    survey->without_sums += figures->graphite_measured && !sums ? 1 : 0;
    return KB_OK;
}

static enum kb_status read_fields(struct reading *reading, const json_t *root,
                                  struct kb_survey *survey, struct kb_err *err) {
    const json_t *fields = json_object_get(root, "fields");
    if (!json_is_array(fields) || json_array_size(fields) == 0) {
        return kb_fail(err, KB_E_INPUT, STAGE, reading->path,
                       "holds no fields (give a result.json that keelblock measure wrote)");
    }
    enum kb_status status = KB_OK;
    for (size_t i = 0; i < json_array_size(fields) && status == KB_OK; i++) {
        const json_t *json = json_array_get(fields, i);
        struct kb_field_figures figures;
        char key[KB_SURVEY_KEY];
        read_field(reading, json, &figures);
        read_key(json, key);
        if (reading->fault[0] != '\0') {
            return kb_fail(err, KB_E_INPUT, STAGE, reading->path,
                           "field %zu cannot be used: %s (give the result.json as keelblock wrote "
                           "it)",
                           i + 1, reading->fault);
        }
        status = add_field(survey, &figures, key, err);
    }
    return status;
}

/* ---- the head of a result ----------------------------------------------------------------------
 */

static enum kb_status settle_material(const json_t *root, const char *path,
                                      struct kb_survey *survey, struct kb_err *err) {
    enum kb_material material = KB_DUCTILE_IRON;
    enum kb_status status = kb_result_material(root, path, STAGE, &material, err);
    if (status != KB_OK) {
        return status;
    }
    if (survey->results > 0 && material != survey->material) {
        return kb_fail(err, KB_E_INPUT, STAGE, path,
                       "is of %s, the results before it of %s (survey one material at a time)",
                       kb_material_name(material), kb_material_name(survey->material));
    }
    survey->material = material;
    return KB_OK;
}

/* The minimum size of particles as it was set, or NULL. */
static const char *find_min_feret(const json_t *root) {
    const json_t *settings = json_object_get(root, "settings");
    for (size_t i = 0; i < json_array_size(settings); i++) {
        const json_t *setting = json_array_get(settings, i);
        const char *name = json_string_value(json_object_get(setting, "name"));
        if (name != NULL && strcmp(name, "min-feret") == 0) {
            return json_string_value(json_object_get(setting, "value"));
        }
    }
    return NULL;
}

static bool differ(const char *a, const char *b) {
    return a == NULL || b == NULL ? a != b : strcmp(a, b) != 0;
}

static enum kb_status note_settings(const json_t *root, const json_t *specimen,
                                    struct kb_survey *survey, struct kb_err *err) {
    const char *name = json_string_value(json_object_get(specimen, "id"));
    const char *min_feret = find_min_feret(root);
    if (survey->results > 0) {
        survey->several_names = survey->several_names || differ(name, survey->name);
        survey->several_sizes = survey->several_sizes || differ(min_feret, survey->min_feret);
        return KB_OK;
    }
    survey->name = kb_copy_string(name);
    survey->min_feret = kb_copy_string(min_feret);
    bool failed =
        (name != NULL && survey->name == NULL) || (min_feret != NULL && survey->min_feret == NULL);
    return failed ? kb_fail_memory(err, STAGE, strlen(name != NULL ? name : "")) : KB_OK;
}

static enum kb_status take(const json_t *root, const char *path, struct kb_survey *survey,
                           struct kb_err *err) {
    struct reading reading = {.path = path};
    const json_t *specimen = json_object_get(root, "specimen");
    enum kb_status status = settle_material(root, path, survey, err);
    if (status == KB_OK) {
        status = note_settings(root, specimen, survey, err);
    }
    if (status == KB_OK) {
        status = read_fields(&reading, root, survey, err);
    }
    survey->results += status == KB_OK ? 1 : 0;
    return status;
}

enum kb_status kb_survey_read(const char *path, struct kb_survey *survey, struct kb_err *err) {
    char *file = NULL;
    json_t *root = NULL;
    enum kb_status status = kb_result_load(path, STAGE, &root, &file, err);
    if (status == KB_OK) {
        status = take(root, file, survey, err);
    }
    json_decref(root);
    kb_free(file);
    return status;
}

void kb_survey_release(struct kb_survey *survey) {
    kb_free(survey->field);
    kb_free(survey->key);
    kb_free(survey->name);
    kb_free(survey->min_feret);
    *survey = (struct kb_survey){.fields = 0};
}
