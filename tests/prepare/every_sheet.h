/* every_sheet.h - walk all specimens that a preparation sheet can be made for. */
#ifndef KB_TEST_EVERY_SHEET_H
#define KB_TEST_EVERY_SHEET_H

#include "keelblock/prepare.h"

/* Plan the sheet of every material, hardness, cut, mount and etchant and hand it to `look`. */
void every_sheet(void (*look)(const struct kb_prepare_sheet *sheet));
/* Whether some caution of the part holds the words. */
bool cautions(const struct kb_prepare_part *part, const char *words);
const struct kb_prepare_part *part_of_kind(const struct kb_prepare_sheet *sheet,
                                           enum kb_prepare_kind kind);

#endif
