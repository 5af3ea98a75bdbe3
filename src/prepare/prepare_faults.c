/* prepare_faults.c - which step a fault of the measurement sends back to, and why.
 *
 * Scratches: to the step whose abrasive could have left them, by the grade that the look at
 * preparation names from their width; else as far as their number asks for. Graphite that is out
 * cannot be put back: the layer must go, from the last paper on. An etch that is too strong is
 * polished off, one that is too weak goes on. What the microscope did is no matter of preparation.
 * Common practice, no published source.
 */
#include "prepare_priv.h"

#include <string.h>

/* The index of the last step of a kind; every sheet has one of each. */
static size_t last_of(const struct kb_prepare_sheet *sheet, enum kb_prepare_kind kind) {
    size_t found = 0;
    for (size_t i = 0; i < sheet->steps; i++) {
        found = sheet->step[i].kind == kind ? i : found;
    }
    return found;
}

/* The step of the ladder whose grain is nearest, by ratio. */
static size_t nearest(const struct kb_prepare_sheet *sheet, double grain_um) {
    size_t best = last_of(sheet, KB_PREPARE_GRIND);
    for (size_t i = 0; i < sheet->steps; i++) {
        double grain = sheet->step[i].grain_um;
        if (isfinite(grain) &&
            fabs(log(grain / grain_um)) < fabs(log(sheet->step[best].grain_um / grain_um))) {
            best = i;
        }
    }
    return best;
}

/* The coarsest diamond that is finer than every paper of the series. */
static size_t first_fine(const struct kb_prepare_sheet *sheet) {
    size_t count = 0;
    const struct kb_abrasive *paper = kb_abrasives(&count);
    for (size_t i = 0; i < sheet->steps; i++) {
        if (sheet->step[i].kind == KB_PREPARE_POLISH &&
            sheet->step[i].grain_um < paper[count - 1].grain_um) {
            return i;
        }
    }
    return last_of(sheet, KB_PREPARE_POLISH);
}

static void scratches(const struct kb_prepare_sheet *sheet, struct kb_prepare_fault *fault) {
    const struct kb_prepare_seen *seen = &fault->seen;
    const char *crossed = seen->crossed ? "Two sets cross at a right angle: the coarser step was "
                                          "ended before the scratches across it were gone. "
                                        : "";
    size_t paper = last_of(sheet, KB_PREPARE_GRIND);
    if (seen->abrasive != NULL) {
        fault->step = nearest(sheet, seen->abrasive->grain_um);
        (void)snprintf(fault->why, sizeof fault->why,
                       "%sScratches as wide as these are left by about %s, and this step is the "
                       "nearest to it. From here on end no step before the scratches across it are "
                       "gone.",
                       crossed, seen->abrasive->name);
    } else if (seen->fine) {
        fault->step = first_fine(sheet);
        (void)snprintf(fault->why, sizeof fault->why,
                       "%sThey are finer than any paper leaves: they come from the polish itself. "
                       "Take a clean cloth; one stray grain scratches for ever.",
                       crossed);
    } else if (seen->crossed) {
        fault->step =
            paper > 0 && sheet->step[paper - 1].kind == KB_PREPARE_GRIND ? paper - 1 : paper;
        (void)snprintf(fault->why, sizeof fault->why, "%s", crossed);
    } else if (seen->fitness == KB_NOT_FIT) {
        fault->step = paper;
        (void)snprintf(fault->why, sizeof fault->why,
                       "They are too many for the polish to take out. Without a pixel size their "
                       "width does not tell the paper: go back further if they stay.");
    } else {
        fault->step = last_of(sheet, KB_PREPARE_POLISH);
        (void)snprintf(fault->why, sizeof fault->why,
                       "They are few: a clean cloth with the last diamond takes them out.");
    }
}

/* What sends back to a step that does not hang on figures. */
static const struct {
    enum kb_check check;
    enum kb_prepare_kind kind; /* its last step */
    const char *why;
} returns[] = {
    {KB_CHECK_PULL_OUT, KB_PREPARE_GRIND,
     "Graphite that is out does not come back: grind the torn layer off with the last paper, then "
     "polish shorter, on a lower nap, with less load and little lubricant, turning the specimen."},
    {KB_CHECK_ETCH_WEAK, KB_PREPARE_ETCH,
     "Etch on in short dips with a look between. Where the surface is some hours old, give it a "
     "light polish with the last diamond first."},
    {KB_CHECK_ETCH_STRONG, KB_PREPARE_POLISH,
     "An etch that went too far does not get lighter: take it off with the last diamond, then etch "
     "shorter or weaker. Measure graphite before etching."},
    {KB_CHECK_ETCH_FERRITE, KB_PREPARE_POLISH,
     "Ferrite itself is attacked: take the layer off with the last diamond, then etch shorter or "
     "weaker."},
    {KB_CHECK_BOUNDARIES, KB_PREPARE_POLISH,
     "Boundaries are dug wide: take the layer off with the last diamond, then etch shorter. Look "
     "at the focus too, which widens them in the picture."},
    {KB_CHECK_STAINS, KB_PREPARE_DRY,
     "Rinse and dry once more. A stain that stays is polished off with the last diamond, and the "
     "specimen etched again."},
};

/* Ferrite that is attacked comes near to pearlite too: then a look of too weak an etch must not be
 * answered by more of it. */
void kb_prepare_settle_etch(struct kb_prepare_sheet *sheet) {
    struct kb_prepare_fault *weak = NULL;
    bool strong = false;
    for (size_t i = 0; i < sheet->faults; i++) {
        struct kb_prepare_fault *fault = &sheet->fault[i];
        enum kb_check check = fault->seen.check;
        weak = check == KB_CHECK_ETCH_WEAK && fault->bench ? fault : weak;
        strong = strong || check == KB_CHECK_ETCH_STRONG || check == KB_CHECK_ETCH_FERRITE ||
                 check == KB_CHECK_BOUNDARIES;
    }
    if (weak != NULL && strong) {
        weak->step = last_of(sheet, KB_PREPARE_POLISH);
        (void)snprintf(
            weak->why, sizeof weak->why,
            "Do not etch on: there are signs of too strong an etch too, and ferrite that "
            "is attacked comes near to pearlite. Polish it off, then etch anew in short "
            "dips.");
    }
}

void kb_prepare_return(struct kb_prepare_sheet *sheet, const struct kb_prepare_seen *seen) {
    struct kb_prepare_fault *fault = &sheet->fault[sheet->faults++];
    *fault = (struct kb_prepare_fault){.seen = *seen};
    /* secondary electrons show ferrite and pearlite in one grey: more etching may not help */
    bool one_grey = seen->check == KB_CHECK_ETCH_WEAK && seen->electrons;
    if (seen->check == KB_CHECK_SCRATCHES) {
        fault->bench = true;
        scratches(sheet, fault);
    }
    for (size_t i = 0; i < sizeof returns / sizeof returns[0] && !one_grey; i++) {
        if (returns[i].check == seen->check) {
            fault->bench = true;
            fault->step = last_of(sheet, returns[i].kind);
            (void)snprintf(fault->why, sizeof fault->why, "%s", returns[i].why);
        }
    }
    if (!fault->bench) {
        (void)snprintf(fault->why, sizeof fault->why, "%s",
                       seen->advice[0] != '\0' ? seen->advice
                                               : "A matter of the microscope or the camera: set "
                                                 "it right and take the picture again.");
    }
    /* what is for the bench stands first */
    for (; fault > sheet->fault && fault->bench && !fault[-1].bench; fault--) {
        struct kb_prepare_fault before = fault[-1];
        fault[-1] = *fault;
        *fault = before;
    }
}
