/* names.c - quantities and outcomes: the word in a job file, the words for a reader, the unit. */
#include "judge_priv.h"

#include <string.h>

struct quantity {
    const char *name, *words, *unit;
    enum kb_quantity_kind kind;
};

static const struct quantity quantities[KB_QUANTITIES] = {
    [KB_Q_NODULARITY] = {"nodularity", "nodularity by area, ISO 945-4", "%", KB_KIND_PERCENT},
    [KB_Q_NODULARITY_E2567] = {"nodularity_e2567", "nodularity by area, ASTM E2567", "%",
                               KB_KIND_PERCENT},
    [KB_Q_NODULARITY_ISO16112] = {"nodularity_iso16112", "nodularity by area, ISO 16112", "%",
                                  KB_KIND_PERCENT},
    [KB_Q_NODULARITY_BY_COUNT] = {"nodularity_by_count", "nodularity by number of particles", "%",
                                  KB_KIND_PERCENT},
    [KB_Q_NODULES_PER_MM2] = {"nodules_per_mm2", "nodule count", "1/mm2", KB_KIND_COUNT},
    [KB_Q_GRAPHITE] = {"graphite", "graphite, of the whole field", "%", KB_KIND_PERCENT},
    [KB_Q_FERRITE] = {"ferrite", "ferrite, of the whole field", "%", KB_KIND_PERCENT},
    [KB_Q_PEARLITE] = {"pearlite", "pearlite, of the whole field", "%", KB_KIND_PERCENT},
    [KB_Q_PEARLITE_OF_MATRIX] = {"pearlite_of_matrix", "pearlite, of the matrix without graphite",
                                 "%", KB_KIND_PERCENT},
    [KB_Q_OTHER_OF_MATRIX] = {"other_of_matrix",
                              "other than ferrite and pearlite, of the matrix without graphite",
                              "%", KB_KIND_PERCENT},
    [KB_Q_CEMENTITE] = {"cementite", "free cementite, of the whole field", "%", KB_KIND_PERCENT},
    [KB_Q_FORM_I] = {"form_I", "form I (flake), of the graphite area", "%", KB_KIND_PERCENT},
    [KB_Q_FORM_II] = {"form_II", "form II (crab, spiky), of the graphite area", "%",
                      KB_KIND_PERCENT},
    [KB_Q_FORM_III] = {"form_III", "form III (compacted), of the graphite area", "%",
                       KB_KIND_PERCENT},
    [KB_Q_FORM_IV] = {"form_IV", "form IV (irregular), of the graphite area", "%", KB_KIND_PERCENT},
    [KB_Q_FORM_V] = {"form_V", "form V (slightly irregular nodules), of the graphite area", "%",
                     KB_KIND_PERCENT},
    [KB_Q_FORM_VI] = {"form_VI", "form VI (regular nodules), of the graphite area", "%",
                      KB_KIND_PERCENT},
    [KB_Q_MEAN_FERET_UM] = {"mean_feret_um", "mean of the particles' maximum Feret diameter", "um",
                            KB_KIND_LENGTH},
    [KB_Q_LARGEST_FERET_UM] = {"largest_feret_um", "Feret diameter of the largest particle seen",
                               "um", KB_KIND_LENGTH},
    [KB_Q_CARBON] = {"carbon", "carbon that the structure implies, by mass", "%", KB_KIND_PERCENT},
    [KB_Q_HARDNESS_HBW] = {"hardness_hbw", "Brinell hardness, measured elsewhere", "HBW",
                           KB_KIND_HBW},
    [KB_Q_HARDNESS_HV] = {"hardness_hv", "Vickers hardness, measured elsewhere", "HV", KB_KIND_HV},
    [KB_Q_TENSILE_STRENGTH] = {"tensile_strength", "tensile strength, measured elsewhere", "MPa",
                               KB_KIND_STRESS},
    [KB_Q_PROOF_STRENGTH] = {"proof_strength", "0.2 % proof strength, measured elsewhere", "MPa",
                             KB_KIND_STRESS},
    [KB_Q_ELONGATION] = {"elongation", "elongation after fracture, measured elsewhere", "%",
                         KB_KIND_PERCENT},
    [KB_Q_IMPACT_ENERGY] = {"impact_energy", "impact energy, measured elsewhere", "J",
                            KB_KIND_ENERGY},
};

static const struct quantity unknown = {"unknown", "unknown quantity", "", KB_KIND_PERCENT};

static const struct quantity *lookup(enum kb_quantity quantity) {
    return (unsigned)quantity < KB_QUANTITIES ? &quantities[quantity] : &unknown;
}

const char *kb_quantity_name(enum kb_quantity quantity) {
    return lookup(quantity)->name;
}

const char *kb_quantity_words(enum kb_quantity quantity) {
    return lookup(quantity)->words;
}

const char *kb_quantity_unit(enum kb_quantity quantity) {
    return lookup(quantity)->unit;
}

enum kb_quantity_kind kb_quantity_kind_of(enum kb_quantity quantity) {
    return lookup(quantity)->kind;
}

bool kb_quantity_parse(const char *name, enum kb_quantity *quantity) {
    for (int i = 0; i < KB_QUANTITIES; i++) {
        if (strcmp(name, quantities[i].name) == 0) {
            *quantity = (enum kb_quantity)i;
            return true;
        }
    }
    return false;
}

const char *kb_quantity_nearest(const char *name) {
    const char *known[KB_QUANTITIES];
    for (int i = 0; i < KB_QUANTITIES; i++) {
        known[i] = quantities[i].name;
    }
    return kb_nearest_name(name, known, KB_QUANTITIES);
}

const char *kb_outcome_name(enum kb_outcome outcome) {
    static const char *const name[] = {
        [KB_OUTCOME_NONE] = "none",
        [KB_ACCEPT] = "accept",
        [KB_REJECT] = "reject",
        [KB_UNDECIDED] = "undecided",
    };
    return (unsigned)outcome <= KB_UNDECIDED ? name[outcome] : "none";
}
