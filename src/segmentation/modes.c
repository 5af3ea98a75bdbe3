/* modes.c - the hills of a histogram that stand out.
 *
 * The histogram is smoothed by three box passes whose width follows the range of greys, so that a
 * stretched picture with empty levels and a flat one are treated alike. A hill counts when the
 * saddle that parts it from a higher neighbour is clearly lower than its top, and when it holds
 * enough pixels. Hills that do not are merged into the neighbour across the higher saddle, the
 * least distinct first (persistence, as in Edelsbrunner, Letscher & Zomorodian 2002, on a line).
 */
#include "segmentation_priv.h"

#include <math.h>
#include <string.h>

/* A saddle above this share of the hill's top is a ripple. */
#define SADDLE_MOST 0.85
/* A hill with less than this share of the pixels is rims, dirt or saturated glints. */
#define SHARE_LEAST 0.005
#define HILLS 128 /* 256 levels have at most 128 strict maxima */

static int level_at_share(const uint64_t bins[256], double share) {
    double total = 0.0;
    for (int i = 0; i < 256; i++) {
        total += (double)bins[i];
    }
    double seen = 0.0;
    int level = 0;
    while (level < 255 && seen + (double)bins[level] <= share * total) {
        seen += (double)bins[level++];
    }
    return level;
}

static void box(const double from[256], int radius, double to[256]) {
    for (int i = 0; i < 256; i++) {
        double sum = 0.0;
        for (int k = i - radius; k <= i + radius; k++) {
            sum += from[k < 0 ? 0 : k > 255 ? 255 : k];
        }
        to[i] = sum / (double)(2 * radius + 1);
    }
}

void kb_modes_smooth(const uint64_t bins[256], double smooth[256]) {
    int range = level_at_share(bins, 0.995) - level_at_share(bins, 0.005);
    int radius = range / 80 < 1 ? 1 : range / 80; /* sigma about 1.5 % of the range */
    double raw[256];
    double other[256];
    for (int i = 0; i < 256; i++) {
        raw[i] = (double)bins[i];
    }
    box(raw, radius, smooth);
    box(smooth, radius, other);
    box(other, radius, smooth);
}

/* Tops of plateaus and peaks, with the lowest level between each and the next. */
static int hills_list(const double smooth[256], struct kb_mode hill[HILLS]) {
    int count = 0;
    bool rising = true;
    for (int i = 0; i < 256; i++) {
        double next = i < 255 ? smooth[i + 1] : -1.0;
        if (next > smooth[i]) {
            rising = true;
        } else if (next < smooth[i] && rising) {
            if (smooth[i] > 0.0 && count < HILLS) {
                hill[count++] = (struct kb_mode){.level = i, .height = smooth[i]};
            }
            rising = false;
        }
    }
    for (int h = 0; h < count; h++) {
        int low = h > 0 ? hill[h - 1].level : 0;
        for (int i = low; h > 0 && i <= hill[h].level; i++) {
            low = smooth[i] < smooth[low] ? i : low;
        }
        hill[h].left = low;
        if (h > 0) {
            hill[h - 1].right = low;
        }
    }
    if (count > 0) {
        hill[count - 1].right = 255;
    }
    return count;
}

/* Saddle over top; 0 for the only hill. */
static double indistinct(const struct kb_mode *hill, int count, int h, const double smooth[256]) {
    double left = h > 0 ? smooth[hill[h].left] : 0.0;
    double right = h < count - 1 ? smooth[hill[h].right] : 0.0;
    return fmax(left, right) / hill[h].height;
}

/* Merge hill h into the neighbour across the higher saddle. */
static void hill_merge(struct kb_mode *hill, int *count, int h, const double smooth[256]) {
    bool left = h == *count - 1 || (h > 0 && smooth[hill[h].left] >= smooth[hill[h].right]);
    int into = left ? h - 1 : h + 1;
    if (left) {
        hill[into].right = hill[h].right;
    } else {
        hill[into].left = hill[h].left;
    }
    hill[into].share += hill[h].share;
    memmove(&hill[h], &hill[h + 1], (size_t)(*count - h - 1) * sizeof *hill);
    (*count)--;
}

static void hills_weigh(const uint64_t bins[256], struct kb_mode *hill, int count) {
    double total = 0.0;
    for (int i = 0; i < 256; i++) {
        total += (double)bins[i];
    }
    for (int h = 0; h < count; h++) {
        double sum = 0.0;
        for (int i = h > 0 ? hill[h].left + 1 : 0; i <= hill[h].right; i++) {
            sum += (double)bins[i];
        }
        hill[h].share = sum / total;
    }
}

int kb_modes_find(const uint64_t bins[256], double smooth[256], struct kb_mode mode[KB_MODES_MAX]) {
    struct kb_mode hill[HILLS];
    kb_modes_smooth(bins, smooth);
    int count = hills_list(smooth, hill);
    hills_weigh(bins, hill, count);
    while (count > 1) {
        int worst = 0;
        double most = -1.0;
        for (int h = 0; h < count; h++) {
            double bad = indistinct(hill, count, h, smooth);
            if (hill[h].share < SHARE_LEAST) {
                bad = fmax(bad, SADDLE_MOST + 1.0 - hill[h].share);
            }
            if (bad > most) {
                most = bad;
                worst = h;
            }
        }
        if (most <= SADDLE_MOST && count <= KB_MODES_MAX) {
            break;
        }
        hill_merge(hill, &count, worst, smooth);
    }
    memcpy(mode, hill, (size_t)count * sizeof *mode);
    return count;
}
