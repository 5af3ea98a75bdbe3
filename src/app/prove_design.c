/* prove_design.c - which specimens are drawn, and why.
 *
 * Series over one quantity each (phase fractions from 2 to 98 %, nodularity from 20 to 98 %,
 * counts, particles from 3 to 60 pixels across), then series over what a microscope does to a
 * picture (blur, noise, fall-off of light) on one ductile iron, then the same sections exposed
 * again and turned, then many small specimens of few fields for the coverage of the intervals.
 *
 * Graphite is drawn as polished and the matrix as etched, as the trade measures them. Seeds follow
 * from the place in the list: nobody chose them. Fields are as many as keep the standard error of
 * the sampling well below the limit.
 */
#include "prove.h"

#include <stdarg.h>

#define GRAPHITE_BITS                                                                              \
    (KB_PROVE_BIT(KB_PROVE_GRAPHITE) | KB_PROVE_BIT(KB_PROVE_NODULARITY) |                         \
     KB_PROVE_BIT(KB_PROVE_COMPLETE))
#define MATRIX_BITS KB_PROVE_BIT(KB_PROVE_MATRIX)

struct design {
    struct kb_prove_plan *plan;
    bool quick;
    enum kb_status status; /* the first failure; nothing is added after it */
    struct kb_err *err;
};

static bool add(struct design *design, struct kb_prove_task task) {
    struct kb_prove_plan *plan = design->plan;
    void *tasks = plan->task;
    if (design->status != KB_OK) {
        return false;
    }
    if (!kb_grow(&tasks, plan->count, &plan->capacity, sizeof task)) {
        design->status = kb_fail_memory(design->err, "app", sizeof task);
        return false;
    }
    plan->task = tasks;
    task.variants = task.variants > 0 ? task.variants : 1;
    task.params.seed = 1000 * (plan->count + 1); /* no specimen has a thousand fields */
    plan->task[plan->count++] = task;
    return true;
}

static void KB_PRINTF(2, 3) say(struct kb_prove_task *task, const char *format, ...) {
    va_list arguments;
    va_start(arguments, format);
    (void)vsnprintf(task->subject, sizeof task->subject, format, arguments);
    va_end(arguments);
}

/* An iron with nodules, 400 x 300 um a field, sharp, lit and clean as a good microscope gives. */
static struct kb_prove_task iron(const char *group, enum kb_contrast contrast) {
    struct kb_prove_task task = {
        .kind = KB_PROOF_BIAS,
        .group = group,
        .material = KB_DUCTILE_IRON,
        .contrast = contrast,
        .params = kb_render_params_default(),
        .figures = contrast == KB_LIGHT_UNETCHED ? GRAPHITE_BITS : MATRIX_BITS,
    };
    task.params.width = 800;
    task.params.height = 600;
    task.params.px_um = 0.5;
    task.params.look = contrast == KB_LIGHT_UNETCHED ? KB_RENDER_UNETCHED : KB_RENDER_LIGHT;
    return task;
}

static struct kb_prove_task steel(const char *group) {
    struct kb_prove_task task = iron(group, KB_LIGHT);
    task.material = KB_CARBON_STEEL;
    task.params.graphite = KB_RENDER_NONE;
    task.params.bulls_eye = false;
    task.figures = KB_PROVE_BIT(KB_PROVE_PEARLITE);
    return task;
}

/* ---- series over a quantity --------------------------------------------------------------------
 */

static void add_pearlite(struct design *design) {
    static const double full[] = {0.02, 0.05, 0.10, 0.20, 0.35, 0.50, 0.65, 0.80, 0.90, 0.95, 0.98};
    static const double quick[] = {0.02, 0.20, 0.50, 0.80, 0.98};
    const double *share = design->quick ? quick : full;
    const size_t count = design->quick ? 5 : 11;
    for (size_t i = 0; i < count; i++) {
        struct kb_prove_task task = steel("Pearlite in steel");
        task.fields = design->quick ? 3 : 10;
        task.params.pearlite_of_matrix = share[i];
        say(&task, "%.0f %% pearlite", 100.0 * share[i]);
        add(design, task);
    }
    for (size_t i = 0; i < count; i += 2) {
        struct kb_prove_task task = iron("Pearlite in the matrix of ductile iron", KB_LIGHT);
        task.fields = design->quick ? 3 : 10;
        task.params.pearlite_of_matrix = share[i];
        say(&task, "%.0f %% pearlite", 100.0 * share[i]);
        add(design, task);
    }
}

/* Nodules per mm2 of the default size that fill `share` of the field: mean area of the log-normal
 * sizes is 596 um2. */
static double density_for(double share) {
    return share * 1e6 / 596.0;
}

static void add_graphite(struct design *design) {
    static const double nodules[] = {0.02, 0.05, 0.10, 0.15, 0.20};
    static const struct {
        enum kb_render_graphite kind;
        enum kb_material material;
        double share;
        const char *words;
    } other[] = {
        {KB_RENDER_COMPACTED, KB_COMPACTED_IRON, 0.10, "compacted graphite"},
        {KB_RENDER_FLAKES, KB_GREY_IRON, 0.10, "flakes"},
        {KB_RENDER_COMPACTED, KB_COMPACTED_IRON, 0.05, "compacted graphite"},
        {KB_RENDER_FLAKES, KB_GREY_IRON, 0.05, "flakes"},
    };
    for (size_t i = 0; i < 5; i += design->quick ? 2 : 1) {
        struct kb_prove_task task = iron("Graphite", KB_LIGHT_UNETCHED);
        task.figures = KB_PROVE_BIT(KB_PROVE_GRAPHITE);
        task.fields = design->quick ? 3 : 10;
        task.params.nodules_per_mm2 = density_for(nodules[i]);
        say(&task, "nodules, %.0f %% of the field", 100.0 * nodules[i]);
        add(design, task);
    }
    for (size_t i = 0; i < (design->quick ? 2U : 4U); i++) {
        struct kb_prove_task task = iron("Graphite", KB_LIGHT_UNETCHED);
        task.material = other[i].material;
        task.figures = KB_PROVE_BIT(KB_PROVE_GRAPHITE);
        task.fields = design->quick ? 3 : 10;
        task.params.graphite = other[i].kind;
        task.params.graphite_fraction = other[i].share;
        say(&task, "%s, %.0f %% of the field", other[i].words, 100.0 * other[i].share);
        add(design, task);
    }
}

static void add_nodularity(struct design *design) {
    static const double full[] = {0.20, 0.35, 0.50, 0.65, 0.80, 0.90, 0.98};
    static const double quick[] = {0.20, 0.50, 0.80, 0.98};
    for (size_t i = 0; i < (design->quick ? 4U : 7U); i++) {
        struct kb_prove_task task = iron("Nodularity", KB_LIGHT_UNETCHED);
        task.figures = KB_PROVE_BIT(KB_PROVE_NODULARITY);
        task.fields = design->quick ? 3 : 12;
        task.params.width = 1280;
        task.params.height = 960;
        task.params.nodularity = design->quick ? quick[i] : full[i];
        say(&task, "%.0f %% of the particles drawn round", 100.0 * task.params.nodularity);
        add(design, task);
    }
}

/* Large fields: whether a particle on the edge has its centre within is chance, and the larger the
 * field the less of it. */
static void add_count(struct design *design) {
    static const double full[] = {50.0, 100.0, 180.0, 400.0, 800.0};
    static const double quick[] = {180.0};
    const double *density = design->quick ? quick : full;
    for (size_t i = 0; i < (design->quick ? 1U : 5U); i++) {
        struct kb_prove_task task = iron("Nodule count", KB_LIGHT_UNETCHED);
        task.figures = KB_PROVE_BIT(KB_PROVE_COUNT) | KB_PROVE_BIT(KB_PROVE_COMPLETE);
        task.fields = design->quick ? 8 : 24;
        task.params.width = 1200;
        task.params.height = 900;
        task.params.px_um = 0.8;
        task.params.nodules_per_mm2 = density[i];
        task.params.nodule_um =
            density[i] > 200.0 ? 14.0 : 24.0; /* so many large ones do not fit */
        say(&task, "%.0f particles/mm² of %.0f µm", density[i], task.params.nodule_um);
        add(design, task);
    }
}

/* Ever larger pixels. Those of several um are not fit for particles from 10 um on, and `measure`
 * says so; here they are measured all the same, to show what a particle of few pixels gives. */
static struct kb_prove_task at_size(const char *group, int across, int width, int height) {
    const double um = 24.0;
    struct kb_prove_task task = iron(group, KB_LIGHT_UNETCHED);
    task.across_px = across;
    task.accept_unfit = true;
    task.params.width = width;
    task.params.height = height;
    task.params.px_um = um / across;
    task.params.blur_um = 0.7 * task.params.px_um; /* standard deviation, pixels */
    task.params.nodule_um = um;
    task.params.scratches_per_mm2 = 0.0;
    task.params.grain_um = 0.0; /* not seen as polished, and too small for large pixels */
    return task;
}

static void add_sizes(struct design *design) {
    static const struct {
        int across, width, height;
        bool quick;
    } size[] = {
        {3, 320, 240, true},   {5, 480, 360, false}, {8, 640, 480, true},    {10, 640, 480, false},
        {15, 960, 720, false}, {20, 960, 720, true}, {30, 1280, 960, false}, {60, 1280, 960, true},
    };
    const size_t count = sizeof size / sizeof size[0];
    for (size_t i = 0; i < count; i++) {
        if (design->quick && !size[i].quick) {
            continue;
        }
        struct kb_prove_task task = at_size("Discs and ellipses, major diameter", size[i].across,
                                            size[i].width, size[i].height);
        task.ellipses = true;
        task.fields = design->quick ? 2 : 4;
        task.params.width = size[i].across < 60 ? 960 : 1280;
        task.params.height = size[i].across < 60 ? 720 : 960;
        task.figures = KB_PROVE_BIT(KB_PROVE_AREA) | KB_PROVE_BIT(KB_PROVE_FERET) |
                       KB_PROVE_BIT(KB_PROVE_PERIMETER) | KB_PROVE_BIT(KB_PROVE_SHAPE);
        say(&task, "%d px across", size[i].across);
        add(design, task);
    }
    for (size_t i = 0; i < count; i++) {
        if (design->quick && !size[i].quick) {
            continue;
        }
        struct kb_prove_task task = at_size("Rough nodules among other shapes, size in pixels",
                                            size[i].across, size[i].width, size[i].height);
        task.fields = design->quick ? 2 : 6;
        task.figures = GRAPHITE_BITS;
        task.params.nodularity = 0.7;
        say(&task, "%d px across", size[i].across);
        add(design, task);
    }
}

/* ---- series over the microscope ----------------------------------------------------------------
 */

enum condition { BLUR, NOISE, FALL_OFF };

static void add_condition(struct design *design, const char *group, enum condition which,
                          double value) {
    for (int look = 0; look < 2; look++) {
        struct kb_prove_task task = iron(group, look == 0 ? KB_LIGHT_UNETCHED : KB_LIGHT);
        task.fields = design->quick ? 2 : 8;
        if (which == BLUR) {
            task.params.blur_um = value * task.params.px_um;
            say(&task, "%.1f px, %s", value, look == 0 ? "as polished" : "etched");
        } else if (which == NOISE) {
            task.params.noise = value;
            say(&task, "%.1f grey levels, %s", value, look == 0 ? "as polished" : "etched");
        } else {
            task.params.fall_off = value;
            say(&task, "%.0f %% to the corners, %s", 100.0 * value,
                look == 0 ? "as polished" : "etched");
        }
        add(design, task);
    }
}

static void add_conditions(struct design *design) {
    static const struct {
        const char *group;
        enum condition which;
        double value[4]; /* the last is the hardest, and all that a quick proof takes */
        size_t count;
    } ladder[] = {
        {"Blur (standard deviation)", BLUR, {0.0, 0.7, 1.5, 2.5}, 4},
        {"Noise (standard deviation)", NOISE, {0.0, 2.5, 5.0, 10.0}, 4},
        {"Fall-off of the light", FALL_OFF, {0.0, 0.1, 0.2, 0.4}, 4},
    };
    for (size_t i = 0; i < sizeof ladder / sizeof ladder[0]; i++) {
        for (size_t k = design->quick ? ladder[i].count - 1 : 0; k < ladder[i].count; k++) {
            add_condition(design, ladder[i].group, ladder[i].which, ladder[i].value[k]);
        }
    }
}

/* ---- the same section again, and coverage ------------------------------------------------------
 */

/* The three kinds of fields that are looked at again. */
static struct kb_prove_task kind_of_field(int what, const char *group) {
    static const char *const words[] = {"ductile iron, as polished", "ductile iron, etched",
                                        "steel, etched"};
    struct kb_prove_task task =
        what == 2 ? steel(group) : iron(group, what == 0 ? KB_LIGHT_UNETCHED : KB_LIGHT);
    if (what == 0) {
        task.figures |= KB_PROVE_BIT(KB_PROVE_COUNT);
    }
    if (what == 2) {
        task.params.pearlite_of_matrix = 0.5;
    }
    say(&task, "%s", words[what]);
    return task;
}

static void add_again(struct design *design, enum kb_proof_kind kind, const char *group) {
    const size_t sections = design->quick ? 1 : 4;
    const size_t exposures = design->quick ? 3 : 6;
    const size_t turns = 3; /* as it is, a quarter turn, mirrored */
    for (int what = 0; what < 3; what++) {
        for (size_t s = 0; s < sections; s++) {
            struct kb_prove_task task = kind_of_field(what, group);
            task.kind = kind;
            task.fields = design->quick ? 2 : 5;
            task.variants = kind == KB_PROOF_TURNING ? turns : exposures;
            add(design, task);
        }
    }
}

/* Nodules set against each other: what parting loses. Last in the list, so that the seeds of the
 * others stay what they were. */
static void add_touching(struct design *design) {
    static const double share[] = {0.1, 0.2, 0.3};
    for (size_t i = design->quick ? 1 : 0; i < (design->quick ? 2U : 3U); i++) {
        struct kb_prove_task task = iron("Touching nodules", KB_LIGHT_UNETCHED);
        task.figures = KB_PROVE_BIT(KB_PROVE_NODULARITY) | KB_PROVE_BIT(KB_PROVE_COMPLETE);
        task.fields = design->quick ? 4 : 16;
        task.params.width = 1280;
        task.params.height = 960;
        task.params.clusters = share[i];
        say(&task, "%.0f %% set against another", 100.0 * share[i]);
        add(design, task);
    }
}

static void add_coverage(struct design *design) {
    const size_t specimens = design->quick ? 24 : 240;
    for (int what = 0; what < 2; what++) {
        for (size_t s = 0; s < specimens; s++) {
            struct kb_prove_task task =
                iron("Coverage of the 95 % interval", what == 0 ? KB_LIGHT_UNETCHED : KB_LIGHT);
            task.kind = KB_PROOF_COVERAGE;
            task.vary_pearlite = 0.05;
            task.vary_nodularity = 0.06;
            task.vary_count = 0.12;
            task.params.nodularity = 0.8;
            task.fields = design->quick ? 3 : 8;
            task.params.width = 480;
            task.params.height = 360;
            task.params.px_um = 1.0;
            if (what == 0) {
                task.figures = KB_PROVE_BIT(KB_PROVE_GRAPHITE) | KB_PROVE_BIT(KB_PROVE_NODULARITY) |
                               KB_PROVE_BIT(KB_PROVE_COUNT);
            }
            say(&task, "%s", what == 0 ? "as polished" : "etched");
            add(design, task);
        }
    }
}

enum kb_status kb_prove_design(bool quick, struct kb_prove_plan *plan, struct kb_err *err) {
    *plan = (struct kb_prove_plan){.count = 0};
    struct design design = {plan, quick, KB_OK, err};
    add_pearlite(&design);
    add_graphite(&design);
    add_nodularity(&design);
    add_count(&design);
    add_sizes(&design);
    add_conditions(&design);
    add_again(&design, KB_PROOF_REPEATABILITY, "The same section, other noise");
    add_again(&design, KB_PROOF_TURNING, "The same picture, turned by 90° and mirrored");
    add_coverage(&design);
    add_touching(&design);
    if (design.status != KB_OK) {
        kb_prove_plan_release(plan);
    }
    return design.status;
}

void kb_prove_plan_release(struct kb_prove_plan *plan) {
    kb_free(plan->task);
    *plan = (struct kb_prove_plan){.count = 0};
}
