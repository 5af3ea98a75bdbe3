/* pictures.h - pictures for the tests of the raster stage: ordinary, empty, full, one pixel wide,
 * with rows further apart than they are long, turned and mirrored. */
#ifndef KB_TEST_PICTURES_H
#define KB_TEST_PICTURES_H

#include "keelblock/raster.h"

enum picture_kind {
    PICTURE_CLEAR,
    PICTURE_FULL,
    PICTURE_CHECKER,
    PICTURE_SPARSE, /* one pixel in twenty is set */
    PICTURE_EVEN,   /* one in two */
    PICTURE_DENSE,  /* nineteen in twenty */
    PICTURE_BLOBS,  /* uniform patches of some pixels */
    PICTURE_CORNER, /* the first pixel alone */
    PICTURE_NOTCH,  /* all but the first pixel */
    PICTURE_KINDS
};

struct picture_size {
    int32_t width, height;
};
/* Sizes about 1 and about the 64 pixels of a word. */
extern const struct picture_size picture_sizes[];
extern const int picture_size_count;

/* Repeatable random numbers (xorshift, Marsaglia 2003). */
uint32_t picture_random(void);
void picture_seed(uint32_t seed);

/* Bytes between rows are filled with a watch value. Release with picture_release(). */
struct kb_image picture_make(int32_t width, int32_t height);
void picture_release(struct kb_image *picture);
/* Fails the test when a byte between rows was written. */
void picture_check_gaps(const struct kb_image *picture);

/* Values 0 and `set`. */
struct kb_image picture_mask(enum picture_kind kind, int32_t width, int32_t height, uint8_t set);
/* Random greys, with flat patches at 0 and 255. */
struct kb_image picture_grey(int32_t width, int32_t height);
/* Labels 0..4 in patches. */
struct kb_image picture_labels(int32_t width, int32_t height);

struct kb_image picture_turned(const struct kb_image *from);   /* by 90 degrees */
struct kb_image picture_mirrored(const struct kb_image *from); /* left to right */
bool picture_same(const struct kb_image *a, const struct kb_image *b);

#endif
