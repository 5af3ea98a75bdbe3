/* advice.c - what to do at the bench or the camera about a check that is not fit.
 *
 * One sentence or two, at most 239 bytes. Where it says to grind or to etch again it points to the
 * usual cautions; local rules and trained staff decide. Sequence of abrasives: common practice, no
 * published source.
 */
#include "quality_priv.h"

#define GRIND " Gloves, eye protection, dust kept wet; local rules decide."
#define ETCH " Gloves, eye protection, fume cupboard; local rules and trained staff decide."

static const char *scratches(const struct kb_look *look) {
    if (look->out->crossed) {
        return "Two directions cross: the step before the last was left unfinished. Go back to it, "
               "grind across until the older set is gone, then polish." GRIND;
    }
    return look->out->check[KB_CHECK_SCRATCHES].fitness == KB_NOT_FIT
               ? "Go back to the last grinding step, across the scratches, until they are gone, "
                 "then 9, 3 and 1 um diamond." GRIND
               : "Polish longer with the last diamond, on a clean cloth." GRIND;
}

const char *kb_quality_advice_on_touching(enum kb_fitness fitness) {
    return fitness == KB_NOT_FIT
               ? "Nodules and nodularity of this field are left out, unless --accept-unfit; its "
                 "phases are measured. Look at the cuts in the overlay; use a higher "
                 "magnification, and see whether graphite floated."
               : "Look at the cuts in the overlay; take more fields, or a higher magnification.";
}

const char *kb_quality_advice(const struct kb_look *look, enum kb_check which) {
    static const char *const advice[KB_CHECKS] = {
        [KB_CHECK_FOCUS] = "Focus again, level the section under the press, and check the "
                           "aperture diaphragm; avoid deep relief from a long final polish.",
        [KB_CHECK_LIGHT] = "Centre the lamp and open the field diaphragm, or take a blank-field "
                           "picture with the same settings and give it along.",
        [KB_CHECK_SATURATION] = "Shorten the exposure until the brightest phase stays below the "
                                "top of the scale.",
        [KB_CHECK_SHADOWS] = "Lengthen the exposure, or lower the camera's contrast, until "
                             "graphite is not black.",
        [KB_CHECK_GREY_LEVELS] = "Take the picture again with the full range of the camera; save "
                                 "the original, not a stretched or reduced copy.",
        [KB_CHECK_BLOCKS] = "Save as TIFF or PNG, or as JPEG of the highest quality, from the "
                            "camera itself.",
        [KB_CHECK_NOISE] = "Use more light, lower gain or a longer exposure; average frames (in "
                           "the SEM: scan slower).",
        [KB_CHECK_PULL_OUT] = "Polish anew with a low-nap cloth, little pressure, a short final "
                              "step and changing direction; oil or alcohol based lubricant keeps "
                              "graphite in." GRIND,
        [KB_CHECK_ETCH_WEAK] = "Etch longer, in short steps with a look between, after a light "
                               "re-polish if the surface is old." ETCH,
        [KB_CHECK_ETCH_STRONG] = "Re-polish and etch shorter; measure graphite on the unetched "
                                 "section." ETCH,
        [KB_CHECK_ETCH_FERRITE] = "Ferrite is attacked: re-polish with the last diamond and etch "
                                  "shorter, or with a weaker solution." ETCH,
        [KB_CHECK_BOUNDARIES] = "Boundaries are dug wide: re-polish with the last diamond and etch "
                                "shorter; check the focus too." ETCH,
        [KB_CHECK_STAINS] = "Rinse with alcohol and dry at once in warm air; re-polish and etch "
                            "again if the stain stays." ETCH,
        [KB_CHECK_RESOLUTION] = "Use a higher magnification, or a camera with smaller pixels, and "
                                "take more fields.",
    };
    if (which == KB_CHECK_TOUCHING) {
        return kb_quality_advice_on_touching(look->out->check[which].fitness);
    }
    if (which == KB_CHECK_ETCH_WEAK && look->contrast == KB_SEM) {
        return "Secondary electrons show these in one grey. Photograph the etched section under "
               "the light microscope, or etch longer if it is faint there too." ETCH;
    }
    return which == KB_CHECK_SCRATCHES ? scratches(look) : advice[which];
}
