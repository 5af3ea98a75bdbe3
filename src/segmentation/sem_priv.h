/* sem_priv.h - what the files that find cementite under secondary electrons share.
 *
 *   sem_rough.c    how rough the picture is in the smoothest window about each pixel
 *   sem_flood.c    regions grow from their seeds until they meet, on the strongest edge
 *   sem_plates.c   thin straight bright plates
 *   sem_network.c  seeds, regions, rim, evidence: the order of it all
 */
#ifndef KB_SEM_PRIV_H
#define KB_SEM_PRIV_H

#include "segmentation_priv.h"

/* Roughness in 1/256 of a grey level. */
#define KB_SEM_UNIT 256.0

struct kb_sem_rough {
    int32_t width, height;
    uint16_t *px; /* smoothest window about the pixel; UINT16_MAX on excluded pixels */
};

/* Fine roughness of each pixel, 1/8 of a grey level, at most 255. Makes `fine`. */
KB_NODISCARD enum kb_status kb_sem_fine(const struct kb_image *grey, struct kb_image *fine,
                                        struct kb_err *err);
/* Mean of `fine`, each at most `cap`, over square windows of odd side `window`; of all windows that
 * hold the pixel the least. Windows are clipped at the frame, and pixels labelled KB_EXCLUDED are
 * left out of the mean. Initialises `rough`; release its px with kb_free(). */
KB_NODISCARD enum kb_status kb_sem_rough_make(const struct kb_image *fine,
                                              const struct kb_image *label, int32_t window, int cap,
                                              struct kb_sem_rough *rough, struct kb_err *err);
/* Roughness that a share of the measured pixels does not reach. */
double kb_sem_rough_share(const struct kb_sem_rough *rough, double share);

/* Steepness of the smoothed picture, half the length of the answer of the Sobel masks, at most 255.
 * Makes `steep`. */
KB_NODISCARD enum kb_status kb_sem_steep(const struct kb_image *grey, struct kb_image *steep,
                                         struct kb_err *err);
/* Pixels of `region` that are 0 take the value, 1 or 2, of the seed that reaches them first, over
 * the lowest pass of `height`, 4-connected. Other values stay and spread nowhere. Less than
 * UINT32_MAX pixels. */
KB_NODISCARD enum kb_status kb_sem_flood(const struct kb_image *height, struct kb_image *region,
                                         struct kb_err *err);

#define KB_SEM_NETWORK 1 /* values of a region */
#define KB_SEM_REST 2
#define KB_SEM_OUT 3

/* Thin straight plates outside the network of `region`, as 0 / 1. Makes `plate`. */
KB_NODISCARD enum kb_status kb_sem_plates(const struct kb_seg *seg, const struct kb_image *region,
                                          struct kb_image *plate, struct kb_err *err);

#endif
