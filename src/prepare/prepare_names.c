/* prepare_names.c - the words of the specimen at hand: hardness, cut, mount, etchant.
 *
 * Hardness classes end where refs/preparation_hardness.csv says; common practice, no published
 * source. A Rockwell value is not taken: its scales do not reach over all three classes.
 */
#include "prepare_priv.h"

#include <string.h>

static const char *const hardness_names[KB_HARDNESSES] = {"soft", "medium", "hard"};
static const char *const cut_names[KB_CUTS] = {
    [KB_CUT_PRECISION] = "precision",
    [KB_CUT_ABRASIVE_WHEEL] = "abrasive-wheel",
    [KB_CUT_SAW] = "saw",
    [KB_CUT_AS_BROKEN] = "as-broken",
    [KB_CUT_FLAME] = "flame",
};
static const char *const mount_names[KB_MOUNTS] = {"hot", "cold", "none"};
static const char *const etchant_names[KB_ETCHANTS] = {"nital", "picral"};
static const char *const kind_names[KB_PREPARE_KINDS] = {"cut",  "mount", "grind", "polish",
                                                         "look", "etch",  "dry"};

static int find(const char *const *name, int count, const char *said) {
    for (int i = 0; i < count; i++) {
        if (strcmp(name[i], said) == 0) {
            return i;
        }
    }
    return -1;
}

const char *kb_hardness_name(enum kb_hardness hardness) {
    return (unsigned)hardness < KB_HARDNESSES ? hardness_names[hardness] : "unknown";
}
const char *kb_cut_name(enum kb_cut cut) {
    return (unsigned)cut < KB_CUTS ? cut_names[cut] : "unknown";
}
const char *kb_mount_name(enum kb_mount mount) {
    return (unsigned)mount < KB_MOUNTS ? mount_names[mount] : "unknown";
}
const char *kb_etchant_name(enum kb_etchant etchant) {
    return (unsigned)etchant < KB_ETCHANTS ? etchant_names[etchant] : "unknown";
}
const char *kb_prepare_kind_name(enum kb_prepare_kind kind) {
    return (unsigned)kind < KB_PREPARE_KINDS ? kind_names[kind] : "unknown";
}

bool kb_cut_parse(const char *name, enum kb_cut *cut) {
    int found = find(cut_names, KB_CUTS, name);
    *cut = found >= 0 ? (enum kb_cut)found : *cut;
    return found >= 0;
}
bool kb_mount_parse(const char *name, enum kb_mount *mount) {
    int found = find(mount_names, KB_MOUNTS, name);
    *mount = found >= 0 ? (enum kb_mount)found : *mount;
    return found >= 0;
}
bool kb_etchant_parse(const char *name, enum kb_etchant *etchant) {
    int found = find(etchant_names, KB_ETCHANTS, name);
    *etchant = found >= 0 ? (enum kb_etchant)found : *etchant;
    return found >= 0;
}
bool kb_check_parse(const char *name, enum kb_check *check) {
    for (int i = 0; i < KB_CHECKS; i++) {
        if (strcmp(kb_check_name((enum kb_check)i), name) == 0) {
            *check = (enum kb_check)i;
            return true;
        }
    }
    return false;
}

/* "HBW", "HB" or "HV" with what says ball and load behind it ("HBW 5/750", "HV10"). */
static const char *unit_of(const char *word) {
    const char *by = strncmp(word, "HV", 2) == 0   ? "HV"
                     : strncmp(word, "HB", 2) == 0 ? "HBW"
                                                   : NULL;
    const char *rest = word + (strncmp(word, "HBW", 3) == 0 ? 3 : 2);
    return by != NULL && strspn(rest, "0123456789./ ") == strlen(rest) ? by : NULL;
}

/* Hardness numbers below and above are slips: lead has 5 HBW, and cast iron ends below 900 HV. */
static const double least = 20.0, most = 1500.0;

bool kb_hardness_parse(const char *said, enum kb_hardness *hardness, double *value,
                       const char **by) {
    int found = find(hardness_names, KB_HARDNESSES, said);
    if (found >= 0) {
        *hardness = (enum kb_hardness)found;
        *value = (double)NAN;
        *by = NULL;
        return true;
    }
    char text[32];
    size_t length = strcspn(said, "H");
    if (length >= sizeof text || said[length] == '\0') {
        return false;
    }
    (void)snprintf(text, sizeof text, "%.*s", (int)length, said);
    const char *unit = unit_of(said + length);
    double number = 0.0;
    if (unit == NULL || !kb_parse_number(kb_trim(text), &number) ||
        !(number >= least && number <= most)) {
        return false;
    }
    for (size_t i = 0; i < kb_prepare_class_count; i++) {
        const struct kb_prepare_class *row = &kb_prepare_classes[i];
        double to = strcmp(unit, "HV") == 0 ? row->to_hv : row->to_hbw;
        if (to <= 0.0 || number <= to) {
            *hardness = (enum kb_hardness)find(hardness_names, KB_HARDNESSES, row->hardness);
            break;
        }
    }
    *value = number;
    *by = unit;
    return true;
}
