/* single.c - does the matrix show one constituent only, and which?
 *
 * A histogram with one hill for the matrix does not say which constituent that is: exposure is
 * free. Texture says more. Pearlite is lamellar, and even where its lamellae are not resolved its
 * grey wanders over one or two micrometres; ferrite is smoother, and crossed by a network of
 * boundaries, dark in the light microscope and bright in the SEM. Two figures, from the field as
 * it was taken:
 *
 *   roughness   typical difference between places half a colony window apart (from the lower
 *               quartile of all such pairs, so that boundaries and scratches hardly count), freed
 *               of the noise, as a share of the grey;
 *   line share  places darker than both places half a window to either side, less those brighter
 *               than both (in the SEM the other way round): 0 for texture, which goes up as often
 *               as down.
 *
 * Many lines mean ferrite, roughness without lines means pearlite; anything else is called
 * "matrix", with a serious finding. Nothing is guessed. Common practice, no published source; the
 * limits lie between what drawn fields and the few real ones at hand show.
 */
#include "segmentation_priv.h"

#include <math.h>
#include <stdlib.h>

#define ROW_STEP 4    /* at least */
#define LENGTH_MOST 4 /* pixels added up at a place */
#define SUM_MOST (LENGTH_MOST * 255)
/* Scatter of less than this many times the noise is not told from noise. */
#define SURE_OF_NOISE 1.4
#define PAIRS_LEAST 500           /* fewer pairs make no quartile */
#define QUARTILE_PER_SIGMA 0.3186 /* of the magnitude of a normal deviate */

/* Roughness at or above which a constituent is lamellar. */
#define ROUGH 0.03
/* Share of the matrix in fine lines from which on they are a network of boundaries: in the light
 * microscope dirt and pits are dark too and make up to 2 %; in the SEM they are not bright. */
#define LINES_LIGHT 0.03
#define LINES_SEM 0.01
/* Share of bright lines, less dark ones, from which on a matrix of pearlite holds films of ferrite
 * that its pixels do not resolve: lamellae and colonies go up as often as down, to 0.1 %. */
#define FILMS 0.02

/* Bright edges and particles of an SEM picture are not proeutectoid cementite: a network that
 * stands apart in grey carries at least this share of the grey variance. Bright edges carry 0.15 to
 * 0.25 of it, drawn constituents that stand apart 0.5 and more. */
#define CEMENTITE_APART 0.35
/* A second constituent of less than this share of the matrix is none. */
#define SECOND_LEAST 0.005
/* ... and of less than this is not to be told from dirt when the first is not known either. */
#define SECOND_SURE 0.03
/* Roughness of two constituents is alike when the lesser is more than this share of the other. */
#define ALIKE 0.7
/* Rings and films are rough from their edges alone: only a larger share is asked for its texture.
 */
#define SHADE_LEAST 0.1
/* Proeutectoid cementite at the most: 2.11 % carbon by the lever rule, (2.11 - 0.77) / (6.67 -
 * 0.77) = 0.227, and some more for a section and a blurred edge. */
#define CEMENTITE_MOST 0.3
/* Hills part where the histogram between them falls below this share of the lower one. */
#define VALLEY_PARTS 0.7

/* Texture is asked at the distance of a pair; a region must be as wide to have any. */
#define BORDER_PER_LAG 0.5
#define BORDER_LEAST 2 /* pixels: a blurred border is as broad */

struct sampler {
    int32_t lag;    /* from pixel to pixel of a pair */
    int32_t border; /* pixels beside the other constituent that tell nothing of `lesser` */
    uint8_t lesser; /* label of the constituent of which there is less; KB_EXCLUDED: of neither */
    int32_t length; /* pixels added up at each place, against noise */
    int margin;     /* a line differs from both sides by this much, sums of `length` pixels */
};

struct tally {
    uint32_t seen[KB_PHASES][SUM_MOST + 1]; /* pairs by the difference of their sums */
    uint64_t pairs[KB_PHASES];
    double grey[KB_PHASES];                     /* sum */
    uint64_t triples, dark_lines, bright_lines; /* matrix only */
};

static int sum_at(const uint8_t *grey, int32_t length) {
    int sum = 0;
    for (int32_t i = 0; i < length; i++) {
        sum += grey[i];
    }
    return sum;
}

static bool is_matrix(const struct kb_seg *seg, uint8_t label) {
    return label == KB_PEARLITE || label == seg->scheme.plain;
}

/* Whether the pixel lies inside its region, clear of its border. */
static bool is_inside(const struct kb_image *label, int32_t x, int32_t y, int32_t border) {
    if (x < border || y < border || x >= label->width - border || y >= label->height - border) {
        return false;
    }
    uint8_t here = kb_row(label, y)[x];
    return kb_row(label, y - border)[x] == here && kb_row(label, y + border)[x] == here &&
           kb_row(label, y)[x - border] == here && kb_row(label, y)[x + border] == here;
}

/* A film of the lesser constituent is rough from its borders alone: of it only what lies inside is
 * asked. Of the other all is, so that specks left in it are not the less rough for it. */
static bool is_asked(const struct kb_seg *seg, const struct sampler *s, int32_t x, int32_t y) {
    const struct kb_image *label = &seg->map->label;
    return kb_row(label, y)[x] != s->lesser ||
           (is_inside(label, x, y, s->border) && is_inside(label, x + s->lag, y, s->border));
}

static void tally_row(const struct kb_seg *seg, const struct sampler *s, int32_t y,
                      struct tally *tally) {
    const uint8_t *grey = kb_row(&seg->field->grey, y);
    const uint8_t *label = kb_row(&seg->map->label, y);
    int32_t end = seg->map->label.width - 2 * s->lag - s->length;
    for (int32_t x = 0; x < end; x += s->length) {
        uint8_t here = label[x];
        if (!is_matrix(seg, here) || label[x + s->lag] != here) {
            continue;
        }
        int left = sum_at(grey + x, s->length);
        int middle = sum_at(grey + x + s->lag, s->length);
        if (is_asked(seg, s, x, y)) {
            tally->seen[here][abs(left - middle)]++;
            tally->grey[here] += grey[x];
            tally->pairs[here]++;
        }
        if (label[x + 2 * s->lag] == here) {
            int right = sum_at(grey + x + 2 * s->lag, s->length);
            tally->triples++;
            tally->dark_lines += left - middle > s->margin && right - middle > s->margin;
            tally->bright_lines += middle - left > s->margin && middle - right > s->margin;
        }
    }
}

static double quartile_difference(const uint32_t seen[SUM_MOST + 1], uint64_t count) {
    double wanted = 0.25 * (double)count;
    double below = 0.0;
    int i = 0;
    while (i < SUM_MOST && below + (double)seen[i] < wanted) {
        below += (double)seen[i++];
    }
    double part = seen[i] > 0 ? (wanted - below) / (double)seen[i] : 0.0;
    return i == 0 ? 0.5 * part : (double)i - 0.5 + part; /* bin 0 is half as wide */
}

/* Roughness is a share of the light, which begins at the camera's black: graphite is near to it. */
static double black_level(const struct kb_seg *seg) {
    return seg->scheme.graphite ? 0.7 * seg->class_level[0] : 0.0; /* it reflects a little itself */
}

/* Roughness of each phase and the share of lines, from the field as it was taken. */
static void measure_texture(struct kb_seg *seg, enum kb_phase lesser) {
    struct tally tally = {0};
    struct sampler s;
    s.lag = (int32_t)fmax(
        2.0, fmin(0.5 * seg->params->colony_um / seg->px_um, 0.25 * (double)seg->map->label.width));
    s.border = (int32_t)fmax(BORDER_PER_LAG * s.lag, BORDER_LEAST);
    s.lesser = (uint8_t)lesser;
    s.length = s.lag / 2 < 1 ? 1 : s.lag / 2 > LENGTH_MOST ? LENGTH_MOST : s.lag / 2;
    /* four standard deviations of a mean, and 2 % of full scale: lines that an eye would see */
    s.margin = (int)(fmax(4.0 * seg->noise / sqrt((double)s.length), 5.0) * (double)s.length);
    const int32_t step = kb_seg_row_step(&seg->map->label, KB_SEG_PLACES, ROW_STEP);
    for (int32_t y = 0; y < seg->map->label.height; y += step) {
        tally_row(seg, &s, y, &tally);
    }
    double noises[KB_PHASES]; /* bright phases carry more of it */
    kb_seg_noise(&seg->field->grey, &seg->map->label, noises);
    for (int i = 0; i < KB_PHASES; i++) {
        if (tally.pairs[i] < PAIRS_LEAST) {
            seg->roughness[i] = -1.0;
            continue;
        }
        /* a difference of two pixels scatters sqrt(2) times as much as one */
        double noise = noises[i] / sqrt((double)s.length);
        double quartile = quartile_difference(tally.seen[i], tally.pairs[i]);
        double sigma = quartile / (double)s.length / QUARTILE_PER_SIGMA / sqrt(2.0);
        /* what is left must be more than the noise itself is uncertain by */
        double left = sigma > SURE_OF_NOISE * noise ? sqrt(sigma * sigma - noise * noise) : 0.0;
        double grey = tally.grey[i] / (double)tally.pairs[i] - black_level(seg);
        seg->roughness[i] = left / fmax(grey, 1.0);
    }
    bool light = seg->params->contrast == KB_LIGHT;
    double lines = light ? (double)tally.dark_lines - (double)tally.bright_lines
                         : (double)tally.bright_lines - (double)tally.dark_lines;
    seg->line_share = tally.triples > 0 ? lines / (double)tally.triples : 0.0;
}

static void relabel(struct kb_seg *seg, enum kb_phase to) {
    for (int32_t y = 0; y < seg->map->label.height; y++) {
        uint8_t *label = kb_row(&seg->map->label, y);
        for (int32_t x = 0; x < seg->map->label.width; x++) {
            label[x] = is_matrix(seg, label[x]) ? (uint8_t)to : label[x];
        }
    }
    uint64_t *pixels = seg->map->figures.pixels;
    uint64_t matrix = pixels[KB_PEARLITE] + pixels[seg->scheme.plain];
    pixels[KB_PEARLITE] = pixels[seg->scheme.plain] = 0;
    pixels[to] += matrix;
}

static bool has_boundaries(const struct kb_seg *seg) {
    double least = seg->params->contrast == KB_SEM ? LINES_SEM : LINES_LIGHT;
    return seg->line_share >= least;
}

/* Which constituent a matrix of this texture is; KB_MATRIX when the evidence is thin. Boundaries
 * speak for ferrite; proeutectoid cementite is never the whole of a steel. */
static enum kb_phase phase_of_texture(const struct kb_seg *seg, double roughness) {
    bool ferrite = seg->scheme.plain == KB_FERRITE;
    if (has_boundaries(seg)) {
        return ferrite ? KB_FERRITE : KB_MATRIX;
    }
    return roughness >= ROUGH ? KB_PEARLITE : KB_MATRIX;
}

/* Two constituents alike in roughness, without boundaries in either: two shades of pearlite. */
static bool both_rough(const struct kb_seg *seg) {
    double pearlite = seg->roughness[KB_PEARLITE];
    double plain = seg->roughness[seg->scheme.plain];
    return plain >= ROUGH && plain > ALIKE * pearlite && !has_boundaries(seg);
}

/* Under secondary electrons texture names nothing: spheroidite and martensite are as rough as
 * pearlite, bright carbides and rims make a network as boundaries do, and smooth networks of the
 * same grey go unseen. */
static void set_single(struct kb_seg *seg, enum kb_phase phase) {
    seg->single = true;
    seg->films = phase == KB_PEARLITE && seg->line_share <= -FILMS;
    phase = seg->films ? KB_MATRIX : phase;
    seg->single_phase = seg->params->contrast == KB_SEM ? KB_MATRIX : phase;
}

/* The hills do not part, but solid regions were found beyond the one: do they stand? */
static bool second_stands(const struct kb_seg *seg, double second, bool pearlite_most,
                          enum kb_phase name) {
    if (seg->scheme.plain == KB_CEMENTITE && seg->params->contrast == KB_SEM) {
        return false; /* bright particles and edges of the SEM are solid too */
    }
    if (pearlite_most) { /* rings and films are rough from their edges */
        return second <= SHADE_LEAST || !both_rough(seg);
    }
    return name == seg->scheme.plain || (name == KB_MATRIX && second >= SECOND_SURE);
}

static void decide(struct kb_seg *seg) {
    const struct kb_segmentation_figures *f = &seg->map->figures;
    double pearlite = (double)f->pixels[KB_PEARLITE];
    double plain = (double)f->pixels[seg->scheme.plain];
    double second = fmin(pearlite, plain) / fmax(pearlite + plain, 1.0);
    bool pearlite_most = pearlite > plain;
    bool glints = seg->scheme.plain == KB_CEMENTITE && seg->params->contrast == KB_SEM &&
                  f->separability < CEMENTITE_APART;
    if (glints ||
        (seg->scheme.plain == KB_CEMENTITE && plain > CEMENTITE_MOST * (pearlite + plain))) {
        set_single(seg, KB_MATRIX);
        return;
    }
    /* Under secondary electrons no texture stands by a hill of so few pixels. */
    bool steel_sem = seg->params->contrast == KB_SEM && !seg->scheme.graphite;
    bool alone = second < (steel_sem ? SECOND_SURE : SECOND_LEAST);
    bool hills_part = !seg->matrix_is_one && f->valley[seg->scheme.classes - 2] < VALLEY_PARTS;
    if (hills_part && !alone) {
        seg->shades = plain > SHADE_LEAST * (pearlite + plain) && both_rough(seg);
        return;
    }
    if (pearlite_most && seg->stripes_closed) { /* lamellae were seen */
        if (alone) {
            set_single(seg, KB_PEARLITE);
        }
        return;
    }
    double rough = seg->roughness[pearlite_most ? KB_PEARLITE : seg->scheme.plain];
    enum kb_phase name = phase_of_texture(seg, rough);
    if (alone || !second_stands(seg, second, pearlite_most, name)) {
        set_single(seg, name);
    }
}

static void tell_points(const struct kb_seg *seg) {
    const double roughness = fmax(seg->roughness[KB_PEARLITE], seg->roughness[seg->scheme.plain]);
    for (struct kb_why *why = NULL; (why = kb_seg_why_next(seg, why)) != NULL;) {
        struct kb_why_step step = kb_seg_why_step(why, "one constituent", seg->single_phase);
        if (!is_matrix(seg, (uint8_t)step.from)) {
            continue;
        }
        step.figure = roughness;
        step.limit = ROUGH;
        kb_why_add(why, &step,
                   "the matrix shows one constituent only: roughness %.2f %% of its grey (lamellar "
                   "from %.0f %% on), fine lines on %.1f %% of it: %s",
                   100.0 * fmax(roughness, 0.0), 100.0 * ROUGH, 100.0 * fmax(seg->line_share, 0.0),
                   seg->single_phase == KB_MATRIX ? "matrix, it cannot be said which"
                                                  : kb_phase_name(seg->single_phase));
    }
}

bool kb_seg_hill_is_pearlite(struct kb_seg *seg) {
    const struct kb_segmentation_figures *f = &seg->map->figures;
    bool by_hand = f->origin[seg->scheme.classes - 2] == KB_THRESHOLD_BY_HAND;
    if (!seg->scheme.matrix_pair || !seg->matrix_is_one || seg->main_is_pearlite || by_hand ||
        f->pixels[KB_PEARLITE] > f->pixels[seg->scheme.plain]) {
        return false;
    }
    measure_texture(seg, KB_EXCLUDED);
    return phase_of_texture(seg, seg->roughness[seg->scheme.plain]) == KB_PEARLITE;
}

enum kb_status kb_seg_single(struct kb_seg *seg, struct kb_err *err) {
    (void)err;
    seg->map->figures.lamellae_closed = seg->stripes_closed;
    if (!seg->scheme.matrix_pair ||
        seg->map->figures.origin[seg->scheme.classes - 2] == KB_THRESHOLD_BY_HAND) {
        return KB_OK;
    }
    const uint64_t *pixels = seg->map->figures.pixels;
    bool pearlite_most = pixels[KB_PEARLITE] > pixels[seg->scheme.plain];
    measure_texture(seg, pearlite_most ? seg->scheme.plain : KB_PEARLITE);
    decide(seg);
    if (seg->single) {
        seg->map->figures.one_constituent = true;
        tell_points(seg);
        relabel(seg, seg->single_phase);
    }
    return KB_OK;
}
