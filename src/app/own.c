/* own.c - options that are more than one value: material, contrast,
 * chemistry, limits, decision rule, and the words of `render`. */
#include "request.h"

#include <string.h>

enum kb_status kb_own_material(struct kb_request *request, const struct kb_assignment *from,
                               struct kb_err *err) {
    enum kb_material material = KB_DUCTILE_IRON;
    if (!kb_material_parse(from->value, &material)) {
        return kb_refuse(from, err,
                         "is no material known here (ductile-iron, grey-iron, compacted-iron or "
                         "carbon-steel)");
    }
    request->settings.material = material;
    request->material_said = true;
    return KB_OK;
}

bool kb_said_contrast_parse(const char *word, struct kb_said_contrast *contrast) {
    struct kb_said_contrast said = {true, strcmp(word, "auto") == 0, KB_LIGHT};
    if (!said.find && !kb_contrast_parse(word, &said.contrast)) {
        return false;
    }
    *contrast = said;
    return true;
}

enum kb_status kb_own_contrast(struct kb_request *request, const struct kb_assignment *from,
                               struct kb_err *err) {
    if (!kb_said_contrast_parse(from->value, &request->contrast)) {
        return kb_refuse(from, err, "is no contrast (auto, light, light-unetched or sem)");
    }
    return KB_OK;
}

enum kb_status kb_own_proeutectoid(struct kb_request *request, const struct kb_assignment *from,
                                   struct kb_err *err) {
    if (!kb_proeutectoid_parse(from->value, &request->settings.segmentation.proeutectoid)) {
        return kb_refuse(from, err, "does not stand beside pearlite (ferrite or cementite)");
    }
    return KB_OK;
}

enum kb_status kb_own_constants(struct kb_request *request, const struct kb_assignment *from,
                                struct kb_err *err) {
    const struct kb_carbon_set *found = kb_carbon_set_named(from->value);
    if (found == NULL) {
        char right[200] = "is no set of carbon constants (";
        size_t count = 0;
        const struct kb_carbon_set *set = kb_carbon_sets(&count);
        for (size_t i = 0; i < count; i++) {
            size_t used = strlen(right);
            (void)snprintf(right + used, sizeof right - used, "%s%s", set[i].name,
                           i + 1 < count ? ", " : ")");
        }
        return kb_refuse(from, err, right);
    }
    kb_carbon_use_set(&request->settings.carbon.constants, found);
    return KB_OK;
}

enum kb_status kb_own_rule(struct kb_request *request, const struct kb_assignment *from,
                           struct kb_err *err) {
    if (!kb_decision_rule_parse(from->value, &request->settings.rule)) {
        return kb_refuse(from, err, "is no decision rule (guarded or simple)");
    }
    return KB_OK;
}

enum kb_status kb_own_batch_rule(struct kb_request *request, const struct kb_assignment *from,
                                 struct kb_err *err) {
    if (kb_batch_rule_parse(from->value, &request->settings.batch, NULL) != KB_OK) {
        return kb_refuse(from, err, "is no rule for a batch (every, mean, or share 90 %)");
    }
    return KB_OK;
}

enum kb_status kb_own_paper(struct kb_request *request, const struct kb_assignment *from,
                            struct kb_err *err) {
    if (!kb_paper_by_name(from->value, &request->settings.paper)) {
        return kb_refuse(from, err, "is no paper (a4, letter or none)");
    }
    return KB_OK;
}

enum kb_status kb_own_locale(struct kb_request *request, const struct kb_assignment *from,
                             struct kb_err *err) {
    if (!kb_language_parse(from->value, &request->settings.language)) {
        return kb_refuse(from, err, "is no language of the pages (en or de)");
    }
    return KB_OK;
}

/* UTF-8: each has one first byte. */
static size_t characters(const char *text) {
    size_t count = 0;
    for (const char *c = text; *c != '\0'; c++) {
        count += ((unsigned char)*c & 0xc0) != 0x80 ? 1 : 0;
    }
    return count;
}

/* Pieces of one text; what is said in a stronger place takes the place of the whole. */
static char *statement_with(struct kb_request *request, const struct kb_assignment *from,
                            const char *before) {
    struct kb_text whole = KB_TEXT_INIT;
    if (before != NULL && request->statement_from == from->origin) {
        kb_text_add(&whole, before);
        kb_text_add(&whole, " ");
    }
    kb_text_add(&whole, from->value);
    request->statement_from = from->origin;
    char *kept = whole.failed ? NULL : kb_request_keep(request, whole.data);
    kb_text_release(&whole);
    return kept;
}

/* Words for a sheet that has room for so many characters. */
enum kb_status kb_own_wording(struct kb_request *request, const struct kb_assignment *from,
                              struct kb_err *err) {
    const char **target = (const char **)(void *)((char *)request + from->option->offset);
    if (from->value[0] == '\0') {
        return kb_refuse(from, err, "is empty (leave the option out instead)");
    }
    const char *text = from->option->repeats ? statement_with(request, from, *target) : from->value;
    if (text == NULL) {
        return kb_fail_memory(err, "app", strlen(from->value));
    }
    if ((double)characters(text) > from->option->high) {
        char right[120];
        (void)snprintf(right, sizeof right,
                       "is too long for the one sheet of a certificate (at most %d characters)",
                       (int)from->option->high);
        return kb_refuse(from, err, right);
    }
    *target = text; /* assignments live as long as the request */
    return KB_OK;
}

static double *element(struct kb_chemistry *chemistry, const char *name) {
    const struct {
        const char *name;
        double *value;
    } known[] = {{"C", &chemistry->c},   {"Si", &chemistry->si}, {"Mn", &chemistry->mn},
                 {"P", &chemistry->p},   {"S", &chemistry->s},   {"Cu", &chemistry->cu},
                 {"Sn", &chemistry->sn}, {"Mg", &chemistry->mg}};
    for (size_t i = 0; i < sizeof known / sizeof known[0]; i++) {
        if (strcmp(known[i].name, name) == 0) {
            return known[i].value;
        }
    }
    return NULL;
}

/* Split "left OP right" of the command line, or take key and value of the job file. */
static void split(const struct kb_assignment *from, const char *at_any_of, char *left, size_t size,
                  const char **right) {
    if (from->key[0] != '\0') {
        (void)snprintf(left, size, "%s", from->key);
        *right = from->value;
        return;
    }
    size_t length = strcspn(from->value, at_any_of);
    (void)snprintf(left, size, "%.*s", (int)(length < size ? length : size - 1), from->value);
    *right = from->value + length;
}

enum kb_status kb_own_chemistry(struct kb_request *request, const struct kb_assignment *from,
                                struct kb_err *err) {
    char name[40];
    const char *rest = NULL;
    split(from, "=", name, sizeof name, &rest);
    rest += *rest == '=' ? 1 : 0;
    double *target = element(&request->settings.chemistry, kb_trim(name));
    if (target == NULL) {
        return kb_fail(err, KB_E_USAGE, "app", from->where,
                       "'%s' is no element known here (C Si Mn P S Cu Sn Mg, with capitals)", name);
    }
    double percent = 0;
    char text[64];
    (void)snprintf(text, sizeof text, "%s", rest);
    char *end = strchr(text, '%');
    if (end != NULL && end[1] == '\0') {
        *end = '\0';
    }
    if (!kb_parse_number(kb_trim(text), &percent) || percent < 0 || percent > 100) {
        return kb_refuse(from, err, "is no mass percentage (write C = 3.62 %)");
    }
    *target = percent;
    return KB_OK;
}

enum kb_status kb_own_limit(struct kb_request *request, const struct kb_assignment *from,
                            struct kb_err *err) {
    char name[64];
    const char *rest = NULL;
    split(from, " \t=<>\xe2", name, sizeof name, &rest); /* 0xe2 begins the signs for >= and <= */
    while (*rest == ' ' || *rest == '\t') {
        rest++;
    }
    /* "pearlite = 20..45 %" as typed on the command line: the equals sign only joins */
    if (from->key[0] == '\0' && rest[0] == '=' && rest[1] != '=') {
        rest++;
    }
    struct kb_limit limit;
    enum kb_status status = kb_limit_parse(kb_trim(name), rest, &limit, err);
    if (status != KB_OK) {
        if (err != NULL) {
            (void)snprintf(err->subject, sizeof err->subject, "%s", from->where);
        }
        return status;
    }
    for (size_t i = 0; i < request->limits; i++) {
        if (request->limit[i].quantity == limit.quantity) { /* the one said later wins */
            request->limit[i] = limit;
            return KB_OK;
        }
    }
    void *items = request->limit;
    if (!kb_grow(&items, request->limits, &request->limits_capacity, sizeof limit)) {
        return kb_fail_memory(err, "app", sizeof limit);
    }
    request->limit = items;
    request->limit[request->limits++] = limit;
    return KB_OK;
}

enum kb_status kb_own_part(struct kb_request *request, const struct kb_assignment *from,
                           struct kb_err *err) {
    const int64_t most = 100000; /* parts: more machines than anybody has */
    char text[32];
    (void)snprintf(text, sizeof text, "%s", from->value);
    char *slash = strchr(text, '/');
    int64_t part = 0, parts = 0;
    if (slash != NULL) {
        *slash = '\0';
    }
    if (slash == NULL || !kb_parse_integer(kb_trim(text), 1, most, &part) ||
        !kb_parse_integer(kb_trim(slash + 1), 1, most, &parts) || part > parts) {
        return kb_refuse(from, err, "is no part (write 3/8 for the third of eight)");
    }
    request->part = (int)part;
    request->parts = (int)parts;
    return KB_OK;
}

enum kb_status kb_own_look(struct kb_request *request, const struct kb_assignment *from,
                           struct kb_err *err) {
    static const enum kb_render_look look_of[] = {
        [KB_LIGHT] = KB_RENDER_LIGHT,
        [KB_LIGHT_UNETCHED] = KB_RENDER_UNETCHED,
        [KB_SEM] = KB_RENDER_SEM,
    };
    enum kb_contrast contrast = KB_LIGHT;
    if (!kb_contrast_parse(from->value, &contrast)) {
        return kb_refuse(from, err, "is no contrast (light, light-unetched or sem)");
    }
    request->render.look = look_of[contrast];
    return KB_OK;
}

enum kb_status kb_own_graphite(struct kb_request *request, const struct kb_assignment *from,
                               struct kb_err *err) {
    static const struct {
        const char *name;
        enum kb_render_graphite graphite;
    } kind[] = {{"none", KB_RENDER_NONE},
                {"nodules", KB_RENDER_NODULES},
                {"compacted", KB_RENDER_COMPACTED},
                {"flakes", KB_RENDER_FLAKES}};
    for (size_t i = 0; i < sizeof kind / sizeof kind[0]; i++) {
        if (strcmp(kind[i].name, from->value) == 0) {
            request->render.graphite = kind[i].graphite;
            return KB_OK;
        }
    }
    return kb_refuse(from, err, "is no kind of graphite (none, nodules, compacted or flakes)");
}

enum kb_status kb_own_distribution(struct kb_request *request, const struct kb_assignment *from,
                                   struct kb_err *err) {
    const char letter = from->value[0];
    if (letter < 'A' || letter > 'E' || from->value[1] != '\0') {
        return kb_refuse(from, err, "is no distribution of flakes (A, B, C, D or E)");
    }
    request->render.distribution = (enum kb_render_distribution)(letter - 'A');
    return KB_OK;
}

enum kb_status kb_own_size(struct kb_request *request, const struct kb_assignment *from,
                           struct kb_err *err) {
    char text[32];
    (void)snprintf(text, sizeof text, "%s", from->value);
    char *cross = strchr(text, 'x');
    int64_t width = 0, height = 0;
    if (cross != NULL) {
        *cross = '\0';
    }
    if (cross == NULL || !kb_parse_integer(text, 1, KB_SIDE_MAX, &width) ||
        !kb_parse_integer(cross + 1, 1, KB_SIDE_MAX, &height)) {
        return kb_refuse(from, err, "is no size (write 1280x960, in pixels)");
    }
    request->render.width = (int32_t)width;
    request->render.height = (int32_t)height;
    return KB_OK;
}
