/* ome.c - the pixel size out of OME-XML, the open microscopy metadata kept in a TIFF's description.
 *
 * Source: the OME data model, schema of June 2016: Image/Pixels has PhysicalSizeX and
 * PhysicalSizeY, with PhysicalSizeXUnit and PhysicalSizeYUnit (default: micrometre). Read with
 * expat. A document type declaration ends the reading, so that no entity is ever expanded; very
 * long descriptions are not read. Where several images disagree about the size, none is believed.
 */
#include "intake_priv.h"

#include <expat.h>
#include <string.h>

/* Longest description that is read, bytes: room for tens of thousands of planes. */
#define TEXT_MAX ((size_t)32 << 20)

/* Handed to the parser at once, bytes. */
#define PIECE ((size_t)1 << 16)

/* Images that differ by less than this have the same pixel size. */
#define SAME 0.001

struct ome {
    XML_Parser parser;
    double x_um, y_um;
    bool disagree;
    bool bad_value;
};

bool kb_ome_is(const char *description) {
    while (*description == ' ' || *description == '\n' || *description == '\r' ||
           *description == '\t' || strncmp(description, "\xef\xbb\xbf", 3) == 0) {
        description += *description == '\xef' ? 3 : 1;
    }
    return *description == '<' && strstr(description, "OME") != NULL;
}

/* Length of an OME unit in um; 0 for what is no length, such as "pixel" or "reference frame". */
static double unit_um(const char *name) {
    static const struct {
        const char *name;
        double um;
    } unit[] = {
        {"\xc2\xb5m", 1.0},                                                 /* micro sign */
        {"\xce\xbcm", 1.0},                                                 /* Greek mu */
        {"um", 1.0},        {"nm", 1e-3}, {"pm", 1e-6}, {"\xc3\x85", 1e-4}, /* angstrom */
        {"mm", 1e3},        {"cm", 1e4},  {"m", 1e6},   {"in", 25400.0},
    };
    for (size_t i = 0; i < sizeof unit / sizeof unit[0]; i++) {
        if (strcmp(name, unit[i].name) == 0) {
            return unit[i].um;
        }
    }
    return 0.0;
}

static const char *attribute(const XML_Char **pairs, const char *name) {
    for (; pairs[0] != NULL; pairs += 2) {
        if (strcmp(pairs[0], name) == 0) {
            return pairs[1];
        }
    }
    return NULL;
}

/* False when stated but unusable. */
static bool length_um(const XML_Char **pairs, const char *name, const char *unit_name, double *um) {
    const char *value = attribute(pairs, name);
    const char *unit = attribute(pairs, unit_name);
    *um = 0.0;
    if (value == NULL) {
        return true;
    }
    double number = 0.0;
    const double scale = unit == NULL ? 1.0 : unit_um(unit);
    if (!kb_parse_number(value, &number) || !(number > 0.0) || !(scale > 0.0)) {
        return false;
    }
    *um = number * scale;
    return true;
}

static void on_element(void *user, const XML_Char *name, const XML_Char **pairs) {
    struct ome *ome = user;
    const char *colon = strrchr(name, ':');
    double x = 0.0;
    double y = 0.0;
    if (strcmp(colon != NULL ? colon + 1 : name, "Pixels") != 0) {
        return;
    }
    if (!length_um(pairs, "PhysicalSizeX", "PhysicalSizeXUnit", &x) ||
        !length_um(pairs, "PhysicalSizeY", "PhysicalSizeYUnit", &y)) {
        ome->bad_value = true;
        return;
    }
    if (!(x > 0.0) || !(y > 0.0)) {
        return;
    }
    if (ome->x_um > 0.0) {
        ome->disagree |= fabs(ome->x_um - x) > SAME * x || fabs(ome->y_um - y) > SAME * y;
        return;
    }
    ome->x_um = x;
    ome->y_um = y;
}

static void on_doctype(void *user, const XML_Char *name, const XML_Char *system,
                       const XML_Char *public, int has_internal_subset) {
    struct ome *ome = user;
    (void)name;
    (void)system;
    (void)public;
    (void)has_internal_subset;
    (void)XML_StopParser(ome->parser, XML_FALSE);
}

static void *on_malloc(size_t size) {
    return kb_alloc(size, 1);
}

static void *on_realloc(void *block, size_t size) {
    return kb_resize(block, size, 1);
}

static bool parse(struct ome *ome, const char *text, size_t length) {
    for (size_t at = 0; at < length; at += PIECE) {
        const size_t piece = length - at < PIECE ? length - at : PIECE;
        const int is_last = at + piece == length;
        if (XML_Parse(ome->parser, text + at, (int)piece, is_last) != XML_STATUS_OK) {
            return false;
        }
    }
    return true;
}

static const char *trouble_with(const struct ome *ome, bool parsed) {
    if (!parsed) {
        return "The OME-XML in the file is damaged and its pixel size was not used. Give the pixel "
               "size.";
    }
    if (ome->disagree) {
        return "The OME-XML in the file states several pixel sizes and none was used. Give the "
               "pixel "
               "size.";
    }
    if (ome->bad_value) {
        return "The pixel size in the file's OME-XML is no length above zero and was not used. "
               "Give "
               "the pixel size.";
    }
    return NULL;
}

enum kb_status kb_ome_read(const char *description, struct kb_pitch *pitch, const char **trouble,
                           struct kb_err *err) {
    static const XML_Memory_Handling_Suite memory = {on_malloc, on_realloc, kb_free};
    const size_t length = strlen(description);
    if (length > TEXT_MAX) {
        *trouble =
            "The OME-XML in the file is too long to be read and its pixel size was not used. "
            "Give the pixel size.";
        return KB_OK;
    }
    struct ome ome = {.parser = XML_ParserCreate_MM(NULL, &memory, NULL)};
    if (ome.parser == NULL) {
        return kb_fail_memory(err, KB_INTAKE, length);
    }
    XML_SetUserData(ome.parser, &ome);
    XML_SetStartElementHandler(ome.parser, on_element);
    XML_SetStartDoctypeDeclHandler(ome.parser, on_doctype);
    const bool parsed = parse(&ome, description, length);
    const bool no_memory = !parsed && XML_GetErrorCode(ome.parser) == XML_ERROR_NO_MEMORY;
    XML_ParserFree(ome.parser);
    if (no_memory) {
        return kb_fail_memory(err, KB_INTAKE, length);
    }
    *trouble = trouble_with(&ome, parsed);
    if (*trouble == NULL) {
        pitch->x_um = ome.x_um;
        pitch->y_um = ome.y_um;
    }
    return KB_OK;
}
