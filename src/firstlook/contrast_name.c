/* contrast_name.c - the words for how a field was seen.
 *
 * "light" is an etched section under the light microscope, "light-unetched" the same as polished,
 * "sem" an etched section in secondary electrons. The words are those of the option --contrast.
 */
#include "keelblock/firstlook.h"

#include <string.h>

static const char *const contrast_name[] = {"light", "light-unetched", "sem"};

#define COUNT (sizeof contrast_name / sizeof *contrast_name)

const char *kb_contrast_name(enum kb_contrast contrast) {
    return (size_t)contrast < COUNT ? contrast_name[contrast] : "unknown";
}

bool kb_contrast_parse(const char *name, enum kb_contrast *contrast) {
    for (size_t i = 0; i < COUNT; i++) {
        if (strcmp(contrast_name[i], name) == 0) {
            *contrast = (enum kb_contrast)i;
            return true;
        }
    }
    return false;
}
