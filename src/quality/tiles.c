/* tiles.c - grey by phase and place: how far phases are apart where they lie side by side, and
 * whether light or stain lies in patches over the field.
 *
 * The field is cut into square tiles, 16 across its shorter side, but no
 * smaller than a colony of pearlite. Each keeps count, sum and sum of
 * squares of the grey of graphite, pearlite and the plain constituent (ferrite, cementite, or the
 * unetched matrix), from pixels that lie inside their phase. Differences are taken tile by tile, so
 * that uneven light drops out.
 *   patches  grey of each matrix phase over its own mean, joined to one figure a tile; a quadratic
 *            surface, which is light, is fitted robustly and divided out; a tile that stays off by
 *            more than PATCH, and by more than tiles of this field scatter, belongs to a patch when
 *            two of its neighbours are off to the same side. Single colonies and grains are smaller
 *            than that, but colonies differ in grey, and three dark ones lie together by chance.
 */
#include "quality_priv.h"

#include <string.h>

#define ACROSS 16      /* tiles on the shorter side */
#define TILE_LEAST 24  /* pixels */
#define TILE_UM 25.0   /* at least: the size of a colony */
#define FEWEST 6       /* tiles each way that show a patch */
#define INSIDE 3       /* pixels to either side that must be of the same phase */
#define COUNT_LEAST 40 /* pixels of a phase that make a mean */
#define PATCH                                                                                      \
    0.06 /* relative grey by which a patch is off: an eye sees 2 to 3 % in large areas             \
          */
/* ... in deviations of the tiles of a field. Four tiles in a square make all four count. With n
 * tiles, each off to a given side with probability p, some square is with about 2 n p^4: at 2.5
 * (p = 0.0062) that is below 1 in 1000 for the 100 to 500 tiles there are. */
#define PATCH_SIGMAS 2.5
/* ... but no more than this: colonies differ by 8 % of their grey and some four lie in a tile, so
 * that tiles of a clean field scatter by 4 %. What scatters more is stained throughout. */
#define PATCH_MOST 0.1
#define MAD_PER_SIGMA 0.6745 /* median of the magnitude of a normal deviate */
#define TERMS 6
#define ROUNDS 6
#define ROWS_READ 700

enum slot { GRAPHITE, PEARLITE, PLAIN, SLOTS };

struct tally {
    double count, sum, squares;
};

struct kb_tiles {
    int32_t across, down, side;
    struct tally (*tile)[SLOTS]; /* across * down */
};

static int slot_of(uint8_t label) {
    switch (label) {
    case KB_GRAPHITE:
        return GRAPHITE;
    case KB_PEARLITE:
        return PEARLITE;
    case KB_FERRITE:
    case KB_CEMENTITE:
    case KB_MATRIX:
        return PLAIN;
    default:
        return -1;
    }
}

/* Pixels x0 .. x1 - 1, every other one; of one tile. Whole numbers until the end. */
static void read_stretch(const uint8_t *grey, const uint8_t *label, int32_t x0, int32_t x1,
                         const uint8_t slot[256], struct tally tile[SLOTS]) {
    struct {
        uint32_t count, sum;
        uint64_t squares;
    } seen[SLOTS + 1] = {{0}}; /* the last: of no slot */
    for (int32_t x = x0; x < x1; x += 2) {
        bool inside = (label[x - INSIDE] == label[x]) & (label[x + INSIDE] == label[x]);
        uint8_t to = inside ? slot[label[x]] : SLOTS;
        seen[to].count++;
        seen[to].sum += grey[x];
        seen[to].squares += (uint32_t)(grey[x] * grey[x]);
    }
    for (int i = 0; i < SLOTS; i++) {
        tile[i].count += seen[i].count;
        tile[i].sum += seen[i].sum;
        tile[i].squares += (double)seen[i].squares;
    }
}

static void read_row(const struct kb_look *look, const uint8_t slot[256], struct kb_tiles *tiles,
                     int32_t y) {
    const uint8_t *grey = kb_row(&look->field->grey, y), *label = kb_row(&look->map->label, y);
    int32_t past = look->field->grey.width - INSIDE;
    struct tally(*row)[SLOTS] = tiles->tile + (size_t)(y / tiles->side) * (size_t)tiles->across;
    int32_t x = INSIDE;
    for (int32_t i = 0; x < past; i++) {
        int32_t end = (i + 1) * tiles->side < past ? (i + 1) * tiles->side : past;
        read_stretch(grey, label, x, end, slot, row[i]);
        x += (end - x + 1) / 2 * 2; /* every other pixel of the row */
    }
}

enum kb_status kb_quality_tiles(const struct kb_look *look, struct kb_tiles **made,
                                struct kb_err *err) {
    const struct kb_image *grey = &look->field->grey;
    int32_t shorter = grey->width < grey->height ? grey->width : grey->height;
    double colony = look->px_um > 0.0 ? fmin(TILE_UM / look->px_um, shorter) : 0.0;
    int32_t side = (int32_t)fmax(fmax((double)shorter / ACROSS, TILE_LEAST), colony);
    struct kb_tiles *tiles = kb_alloc_zero(1, sizeof *tiles);
    *made = tiles;
    if (tiles == NULL) {
        return kb_fail_memory(err, KB_QUALITY_STAGE, sizeof *tiles);
    }
    tiles->side = side;
    tiles->across = (grey->width + side - 1) / side;
    tiles->down = (grey->height + side - 1) / side;
    size_t count = (size_t)tiles->across * (size_t)tiles->down;
    tiles->tile = kb_alloc_zero(count, sizeof *tiles->tile);
    if (tiles->tile == NULL) {
        kb_quality_tiles_free(made);
        return kb_fail_memory(err, KB_QUALITY_STAGE, count * sizeof *tiles->tile);
    }
    uint8_t slot[256];
    for (int i = 0; i < 256; i++) {
        int known = slot_of((uint8_t)i);
        slot[i] = known >= 0 ? (uint8_t)known : SLOTS;
    }
    int32_t every = grey->height / ROWS_READ + 1;
    for (int32_t y = every / 2; y < grey->height; y += every) {
        read_row(look, slot, tiles, y);
    }
    return KB_OK;
}

void kb_quality_tiles_free(struct kb_tiles **tiles) {
    if (*tiles != NULL) {
        kb_free((*tiles)->tile);
    }
    kb_free(*tiles);
    *tiles = NULL;
}

/* ---- how far apart ------------------------------------------------------------------------------
 */

/* Sum of squares about the tile's own mean. */
static double about_mean(const struct tally *t) {
    return fmax(0.0, t->squares - t->sum * t->sum / t->count);
}

struct kb_apart kb_quality_apart(const struct kb_tiles *tiles, enum kb_phase a, enum kb_phase b) {
    struct kb_apart apart = {NAN, NAN, 0};
    double weight = 0.0, step = 0.0, squares = 0.0, count = 0.0;
    int sa = slot_of((uint8_t)a), sb = slot_of((uint8_t)b);
    for (int32_t i = 0; i < tiles->across * tiles->down; i++) {
        const struct tally *ta = &tiles->tile[i][sa], *tb = &tiles->tile[i][sb];
        if (ta->count < COUNT_LEAST || tb->count < COUNT_LEAST) {
            continue;
        }
        double w = ta->count * tb->count / (ta->count + tb->count);
        step += w * (tb->sum / tb->count - ta->sum / ta->count);
        weight += w;
        squares += about_mean(ta) + about_mean(tb);
        count += ta->count + tb->count;
        apart.tiles++;
    }
    if (apart.tiles > 0) {
        apart.step = step / weight;
        apart.spread = sqrt(squares / count);
    }
    return apart;
}

double kb_quality_spread(const struct kb_tiles *tiles, enum kb_phase phase) {
    double squares = 0.0, count = 0.0;
    for (int32_t i = 0; i < tiles->across * tiles->down; i++) {
        const struct tally *t = &tiles->tile[i][slot_of((uint8_t)phase)];
        if (t->count >= COUNT_LEAST) {
            squares += about_mean(t);
            count += t->count;
        }
    }
    return count > 0.0 ? sqrt(squares / count) : (double)NAN;
}

/* ---- patches ------------------------------------------------------------------------------------
 */

struct patch_map {
    int32_t across, down;
    double *level;  /* relative grey of each tile; 0 where nothing is known */
    double *weight; /* pixels */
    double limit;   /* beyond which a tile is off */
};

static void relative_levels(const struct kb_tiles *tiles, struct patch_map *map) {
    double mean[SLOTS] = {0};
    for (int s = PEARLITE; s < SLOTS; s++) {
        double sum = 0.0, count = 0.0;
        for (int32_t i = 0; i < map->across * map->down; i++) {
            sum += tiles->tile[i][s].sum;
            count += tiles->tile[i][s].count;
        }
        mean[s] = count > 0.0 ? sum / count : 0.0;
    }
    for (int32_t i = 0; i < map->across * map->down; i++) {
        double sum = 0.0, count = 0.0;
        for (int s = PEARLITE; s < SLOTS; s++) {
            const struct tally *t = &tiles->tile[i][s];
            if (t->count >= COUNT_LEAST && mean[s] > 1.0) {
                sum += t->sum / mean[s];
                count += t->count;
            }
        }
        map->level[i] = count > 0.0 ? sum / count : 0.0;
        map->weight[i] = count;
    }
}

/* Solve TERMS equations by elimination with pivots; false when they are not independent. */
static bool solve(double m[TERMS][TERMS + 1], double x[TERMS]) {
    for (int c = 0; c < TERMS; c++) {
        int best = c;
        for (int r = c + 1; r < TERMS; r++) {
            best = fabs(m[r][c]) > fabs(m[best][c]) ? r : best;
        }
        if (fabs(m[best][c]) < 1e-9) {
            return false;
        }
        for (int k = 0; k <= TERMS; k++) {
            double kept = m[c][k];
            m[c][k] = m[best][k];
            m[best][k] = kept;
        }
        for (int r = 0; r < TERMS; r++) {
            double f = r == c ? 0.0 : m[r][c] / m[c][c];
            for (int k = c; k <= TERMS; k++) {
                m[r][k] -= f * m[c][k];
            }
        }
    }
    for (int c = 0; c < TERMS; c++) {
        x[c] = m[c][TERMS] / m[c][c];
    }
    return true;
}

static void terms_at(const struct patch_map *map, int32_t i, double t[TERMS]) {
    double u = 2.0 * (i % map->across + 0.5) / map->across - 1.0;
    int32_t row = i / map->across;
    double v = 2.0 * (row + 0.5) / map->down - 1.0;
    const double all[TERMS] = {1.0, u, v, u * u, u * v, v * v};
    memcpy(t, all, sizeof all);
}

static double surface_at(const struct patch_map *map, int32_t i, const double term[TERMS]) {
    double t[TERMS], sum = 0.0;
    terms_at(map, i, t);
    for (int k = 0; k < TERMS; k++) {
        sum += term[k] * t[k];
    }
    return sum;
}

/* Least squares, reweighted so that tiles off the surface by more than PATCH lose their say
 * (Cauchy's weights). */
static bool fit_light(const struct patch_map *map, double term[TERMS]) {
    memset(term, 0, TERMS * sizeof *term);
    for (int round = 0; round < ROUNDS; round++) {
        double m[TERMS][TERMS + 1] = {{0}};
        for (int32_t i = 0; i < map->across * map->down; i++) {
            double t[TERMS];
            terms_at(map, i, t);
            double off = (map->level[i] - surface_at(map, i, term)) / (0.5 * PATCH);
            double w = map->weight[i] / (round == 0 ? 1.0 : 1.0 + off * off);
            for (int r = 0; r < TERMS; r++) {
                for (int c = 0; c < TERMS; c++) {
                    m[r][c] += w * t[r] * t[c];
                }
                m[r][TERMS] += w * t[r] * map->level[i];
            }
        }
        if (!solve(m, term)) {
            return false;
        }
    }
    return true;
}

static int sign_off(const struct patch_map *map, int32_t x, int32_t y) {
    if (x < 0 || y < 0 || x >= map->across || y >= map->down) {
        return 0;
    }
    int32_t i = y * map->across + x;
    double off = map->weight[i] > 0.0 ? map->level[i] : 0.0;
    return off > map->limit ? 1 : off < -map->limit ? -1 : 0;
}

static double share_in_patches(const struct patch_map *map) {
    double in = 0.0, all = 0.0;
    for (int32_t y = 0; y < map->down; y++) {
        for (int32_t x = 0; x < map->across; x++) {
            int32_t i = y * map->across + x;
            int sign = sign_off(map, x, y);
            int alike = (sign_off(map, x - 1, y) == sign) + (sign_off(map, x + 1, y) == sign) +
                        (sign_off(map, x, y - 1) == sign) + (sign_off(map, x, y + 1) == sign);
            in += sign != 0 && alike >= 2 ? map->weight[i] : 0.0;
            all += map->weight[i];
        }
    }
    return all > 0.0 ? in / all : 0.0;
}

/* With the light taken out: the limit from the median magnitude, which a stain on a few tiles moves
 * little. `off` has room for all tiles. */
static void settle_limit(struct patch_map *map, double *off) {
    size_t count = 0;
    for (int32_t i = 0; i < map->across * map->down; i++) {
        if (map->weight[i] > 0.0) {
            off[count++] = fabs(map->level[i]);
        }
    }
    double sigma = kb_quality_quantile(off, count, 0.5) / MAD_PER_SIGMA;
    map->limit = fmin(fmax(PATCH, PATCH_SIGMAS * sigma), PATCH_MOST); /* NaN of no tile loses */
}

/* Take the light out of the levels; (largest - smallest) / mean of it where phases were seen. */
static void divide_light(const struct patch_map *map, const double term[TERMS],
                         double *unevenness) {
    double low = INFINITY, high = 0.0;
    for (int32_t i = 0; i < map->across * map->down; i++) {
        double light = fmax(0.1, surface_at(map, i, term));
        if (map->weight[i] > 0.0) {
            low = fmin(low, light);
            high = fmax(high, light);
        }
        map->level[i] = map->level[i] / light - 1.0;
    }
    *unevenness = high > 0.0 ? (high - low) / (0.5 * (high + low)) : 0.0;
}

enum kb_status kb_quality_patches(const struct kb_tiles *tiles, struct kb_patches *patches,
                                  struct kb_err *err) {
    size_t count = (size_t)tiles->across * (size_t)tiles->down;
    struct patch_map map = {tiles->across, tiles->down, kb_alloc_zero(count, sizeof(double)),
                            kb_alloc_zero(count, sizeof(double)), PATCH};
    double *off = kb_alloc(count, sizeof *off);
    enum kb_status status = KB_OK;
    double term[TERMS];
    *patches = (struct kb_patches){0.0, false, 0.0};
    if (map.level == NULL || map.weight == NULL || off == NULL) {
        status = kb_fail_memory(err, KB_QUALITY_STAGE, count * sizeof(double));
    } else {
        relative_levels(tiles, &map);
        if (fit_light(&map, term)) {
            divide_light(&map, term, &patches->unevenness);
            settle_limit(&map, off);
            patches->looked = tiles->across >= FEWEST && tiles->down >= FEWEST;
            patches->share = share_in_patches(&map);
        }
    }
    kb_free(map.level);
    kb_free(map.weight);
    kb_free(off);
    return status;
}
