/* sample_result.h - a plausible result made up for the tests of this stage: nothing in it was
 * measured by the other stages, so that their changes do not move these tests. */
#ifndef KB_TEST_SAMPLE_RESULT_H
#define KB_TEST_SAMPLE_RESULT_H

#include "keelblock/report.h"

struct sample_options {
    size_t fields;
    bool steel;
    bool no_scale; /* pixel size unknown: sizes, counts and nodularity not measured */
    bool hostile;  /* names that try to break out of every format */
    bool no_limits;
    bool pictures; /* JPEG photo and overlay in the fields */
    bool by_hand;  /* one decision of each kind; the first counting particle is form II by hand */
};

/* Text that breaks naive writers: markup, quotes, separators, bytes that are not UTF-8, control
 * characters. */
extern const char sample_hostile[];

/* Aborts the test when memory is out. Release with kb_result_release(). */
void sample_result_make(const struct sample_options *options, struct kb_result *result);

/* One drawn field with labels and, for irons, particles with runs. */
struct sample_field {
    struct kb_field field;
    struct kb_phase_map map;
    struct kb_particles particles;
};
void sample_field_make(uint32_t seed, int32_t width, int32_t height, double px_um, bool steel,
                       struct sample_field *sample);
void sample_field_release(struct sample_field *sample);

#endif
