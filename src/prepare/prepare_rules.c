/* prepare_rules.c - what is to be done and minded in each part of a sheet, in the order of the
 * bench.
 *
 * One table: a line belongs to a sheet when material, hardness, cut, mount and etchant all fit.
 * Cautions stand before what they are about. They are the usual ones, from common practice: no acid
 * but into alcohol, no strong nital in a closed bottle, picric acid kept damp. The sheet tells
 * ranges and gives no recipe; local rules and trained staff decide.
 */
#include "prepare_priv.h"

#include <string.h>

/* Sets of each enumeration's values; 0: any. */
#define BIT(value) (1U << (value))
#define IRON (BIT(KB_DUCTILE_IRON) | BIT(KB_GREY_IRON) | BIT(KB_COMPACTED_IRON))
#define STEEL BIT(KB_CARBON_STEEL)

struct line {
    enum kb_prepare_kind kind;
    bool caution;
    unsigned material, hardness, cut, mount, etchant;
    const char *text;
};

static const struct line lines[] = {
    /* cut */
    {.kind = KB_PREPARE_CUT,
     .caution = true,
     .text = "A wheel can burst and a piece can be torn away: clamp it, close the guard, wear eye "
             "protection. Never hold it by hand."},
    {.kind = KB_PREPARE_CUT,
     .cut = BIT(KB_CUT_AS_BROKEN),
     .text = "Unless the break itself is wanted, cut behind it: that spares the coarsest papers."},
    {.kind = KB_PREPARE_CUT,
     .text =
         "Much coolant, little force. A face gone blue or brown is burnt: cut it again, deeper."},
    {.kind = KB_PREPARE_CUT,
     .text =
         "Mark the face to be looked at and where it lay in the part; degrease with alcohol, dry."},

    /* mount */
    {.kind = KB_PREPARE_MOUNT,
     .caution = true,
     .mount = BIT(KB_MOUNT_HOT),
     .text = "The mould is hot and under pressure: gloves against heat; let it cool before it is "
             "opened."},
    {.kind = KB_PREPARE_MOUNT,
     .caution = true,
     .mount = BIT(KB_MOUNT_COLD),
     .text = "Resin and hardener harm skin, eyes and lungs: gloves, eye protection, fume hood; "
             "read their safety sheets."},
    {.kind = KB_PREPARE_MOUNT,
     .caution = true,
     .mount = BIT(KB_MOUNT_NONE),
     .text = "The disc catches a bare piece: hold it in a holder, never with finger tips."},
    {.kind = KB_PREPARE_MOUNT,
     .mount = BIT(KB_MOUNT_HOT),
     .text = "Press the clean, dry piece face down; a gap at its edge would hold etchant."},
    {.kind = KB_PREPARE_MOUNT,
     .hardness = BIT(KB_HARD),
     .mount = BIT(KB_MOUNT_HOT),
     .text = "The heat of the press may change a hardened structure: then mount cold."},
    {.kind = KB_PREPARE_MOUNT,
     .mount = BIT(KB_MOUNT_COLD),
     .text = "Pour over the clean, dry piece, face down; let it harden fully, or edges get round."},
    {.kind = KB_PREPARE_MOUNT,
     .mount = BIT(KB_MOUNT_NONE),
     .text =
         "Break every edge by 0.5 mm, or it tears paper and cloth; measure no field near the rim."},

    /* grind */
    {.kind = KB_PREPARE_GRIND,
     .caution = true,
     .text = "Turning disc: sleeves and hair tied back, nothing loose at the hands; hold the piece "
             "where the disc runs away from you. Eye protection. Keep the dust wet."},
    {.kind = KB_PREPARE_GRIND,
     .text =
         "From paper to paper turn by a right angle: you see when the former scratches are gone."},
    {.kind = KB_PREPARE_GRIND,
     .text = "Then as long again: the metal is disturbed deeper than a scratch is seen."},
    {.kind = KB_PREPARE_GRIND,
     .text = "Much water; a paper that cuts no more only smears: change it."},
    {.kind = KB_PREPARE_GRIND,
     .text = "Rinse piece, holder and hands before each finer paper: one coarse grain spoils it."},
    {.kind = KB_PREPARE_GRIND,
     .hardness = BIT(KB_SOFT),
     .text =
         "Soft metal smears and takes up grains: light load, fresh papers, P2500 before diamond."},

    /* polish */
    {.kind = KB_PREPARE_POLISH,
     .caution = true,
     .text = "Alcohol burns: no flame and no spark near the lubricant. The disc turns: as for "
             "grinding."},
    {.kind = KB_PREPARE_POLISH,
     .material = IRON,
     .text = "What keeps graphite in: short steps, little or no nap, a cloth just moist, moderate "
             "load."},
    {.kind = KB_PREPARE_POLISH,
     .material = IRON,
     .text = "No long last step with oxides: it hollows graphite and leaves relief."},
    {.kind = KB_PREPARE_POLISH,
     .text = "Each step until the former scratches are gone, no longer; turn the piece against the "
             "disc."},
    {.kind = KB_PREPARE_POLISH,
     .material = IRON,
     .text =
         "A cloth for each size. Between: soap, alcohol, dry; ultrasonic bath for seconds only."},
    {.kind = KB_PREPARE_POLISH,
     .material = STEEL,
     .text = "A cloth for each size. Between: soap, alcohol, ultrasonic bath, dry."},

    /* look */
    {.kind = KB_PREPARE_LOOK,
     .text = "At 100x: no stain, no scratch; else back to the step whose grain is thrice as wide."},
    {.kind = KB_PREPARE_LOOK,
     .material = BIT(KB_DUCTILE_IRON),
     .text = "Sound nodule: grey, sharp edge. Black and hollow: torn out. Tail or bright smear: "
             "dragged."},
    {.kind = KB_PREPARE_LOOK,
     .material = BIT(KB_GREY_IRON),
     .text = "Sound flake: grey, sharp edges. Black ditch: torn out. Broken line: smeared over."},
    {.kind = KB_PREPARE_LOOK,
     .material = BIT(KB_COMPACTED_IRON),
     .text = "Sound worm: grey, blunt ends, sharp edge. Black, hollow: torn out. In pieces: "
             "smeared over."},
    {.kind = KB_PREPARE_LOOK,
     .material = IRON,
     .text = "Judge graphite now: etching eats at its edges. Take its fields: --contrast "
             "light-unetched."},
    {.kind = KB_PREPARE_LOOK,
     .material = STEEL,
     .text =
         "Inclusions stand sharp, without tails. Take their pictures now: etching widens them."},

    /* etch */
    {.kind = KB_PREPARE_ETCH,
     .caution = true,
     .etchant = BIT(KB_NITAL),
     .text = "Nitric acid burns skin and eyes, its fumes the lungs; alcohol burns: fume hood, "
             "gloves, eye protection, no flame."},
    {.kind = KB_PREPARE_ETCH,
     .caution = true,
     .etchant = BIT(KB_NITAL),
     .text = "Mixing is for trained staff: acid into alcohol, slowly and cold, never the other "
             "way, never strong acid with alcohol."},
    {.kind = KB_PREPARE_ETCH,
     .caution = true,
     .etchant = BIT(KB_NITAL),
     .text = "Above 3 % in ethanol it is never kept in a closed bottle: the bottle can burst."},
    {.kind = KB_PREPARE_ETCH,
     .caution = true,
     .etchant = BIT(KB_PICRAL),
     .text = "Dry picric acid explodes: it stays damp, no crystals on cap or thread, no metal "
             "vessel. Take it ready mixed; the solid is for trained staff."},
    {.kind = KB_PREPARE_ETCH,
     .caution = true,
     .etchant = BIT(KB_PICRAL),
     .text = "Picric acid is poisonous, through the skin too; alcohol burns: fume hood, gloves, "
             "eye protection, no flame."},
    {.kind = KB_PREPARE_ETCH,
     .caution = true,
     .text = "On skin or in the eye: much water at once, and help. Used etchant goes into its own "
             "labelled waste."},
    {.kind = KB_PREPARE_ETCH,
     .text =
         "Fresh from the polish, dry. Shortest time first; stop with alcohol, look, dip again."},
    {.kind = KB_PREPARE_ETCH, .text = "Two short etches add up; one too long is not undone."},
    {.kind = KB_PREPARE_ETCH,
     .etchant = BIT(KB_NITAL),
     .text = "Enough: faintly dull; ferrite white, its boundaries thin and dark, pearlite grey or "
             "brown."},
    {.kind = KB_PREPARE_ETCH,
     .etchant = BIT(KB_PICRAL),
     .text = "Enough: pearlite evenly grey, its lamellae sharp; ferrite white, boundaries hardly "
             "seen."},
    {.kind = KB_PREPARE_ETCH,
     .material = IRON,
     .text = "Stop early: pearlite must stay clearly lighter than graphite."},
    {.kind = KB_PREPARE_ETCH,
     .text =
         "Too far: ferrite mottled, boundaries wide, pearlite black. Polish again, etch shorter."},

    /* dry */
    {.kind = KB_PREPARE_DRY,
     .caution = true,
     .text =
         "Alcohol vapour burns: under the hood, no flame, no glowing heater; a dryer made for it."},
    {.kind = KB_PREPARE_DRY,
     .text = "Alcohol at once, then warm air, the face slanting so nothing dries on it. Never wipe "
             "it."},
    {.kind = KB_PREPARE_DRY,
     .material = IRON,
     .text =
         "Graphite and gaps bleed etchant: seconds in fresh alcohol, ultrasonic bath, dry again."},
    {.kind = KB_PREPARE_DRY,
     .text =
         "Water rusts it within minutes. Pictures the same day: --contrast light. Keep it dry."},
};

static bool fits(const struct line *line, const struct kb_prepare_params *params) {
    const struct {
        unsigned set, value;
    } said[] = {
        {line->material, (unsigned)params->material}, {line->hardness, (unsigned)params->hardness},
        {line->cut, (unsigned)params->cut},           {line->mount, (unsigned)params->mount},
        {line->etchant, (unsigned)params->etchant},
    };
    for (size_t i = 0; i < sizeof said / sizeof said[0]; i++) {
        if (said[i].set != 0U && (said[i].set & BIT(said[i].value)) == 0U) {
            return false;
        }
    }
    return true;
}

static void put(char (*to)[320], size_t *count, const char *text) {
    if (*count < KB_PREPARE_LINES) {
        (void)snprintf(to[(*count)++], sizeof *to, "%s", text);
    }
}

/* The line that hangs on the depth which the cut has disturbed. */
static void say_damage(const struct kb_prepare_sheet *sheet, struct kb_prepare_part *part) {
    static const char *const by[KB_CUTS] = {
        [KB_CUT_PRECISION] = "A slow, thin wheel",
        [KB_CUT_ABRASIVE_WHEEL] = "A cut-off wheel",
        [KB_CUT_SAW] = "A saw",
        [KB_CUT_AS_BROKEN] = "Breaking",
        [KB_CUT_FLAME] = "A flame",
    };
    const double um_per_mm = 1000.0, shown_in_mm_um = 100.0;
    const bool in_mm = sheet->damage_high_um > shown_in_mm_um;
    const double low = sheet->damage_low_um / (in_mm ? um_per_mm : 1.0);
    const double high = sheet->damage_high_um / (in_mm ? um_per_mm : 1.0);
    const char *unit = in_mm ? "mm" : "µm";
    bool flame = sheet->params.cut == KB_CUT_FLAME;
    char text[320];
    if (part->kind == KB_PREPARE_CUT && flame) {
        (void)snprintf(text, sizeof text,
                       "A flame changes the structure %g to %g %s deep: saw all of that off before "
                       "anything else.",
                       low, high, unit);
    } else if (part->kind == KB_PREPARE_CUT) {
        (void)snprintf(text, sizeof text,
                       "%s disturbs the metal about %g to %g %s deep; grinding must go below that.",
                       by[sheet->params.cut], low, high, unit);
    } else if (flame) {
        (void)snprintf(text, sizeof text,
                       "First paper: until the face is plane and the marks of the saw are gone.");
    } else {
        (void)snprintf(text, sizeof text,
                       "First paper: until the face is plane and %g to %g %s are gone; measure the "
                       "height.",
                       low, high, unit);
    }
    put(part->rule, &part->rules, text);
}

void kb_prepare_say(const struct kb_prepare_sheet *sheet, struct kb_prepare_part *part) {
    static const char *const title[KB_PREPARE_KINDS] = {
        [KB_PREPARE_CUT] = "Cut",
        [KB_PREPARE_MOUNT] = "Mount",
        [KB_PREPARE_GRIND] = "Grind",
        [KB_PREPARE_POLISH] = "Polish",
        [KB_PREPARE_LOOK] = "Look before etching",
        [KB_PREPARE_ETCH] = "Etch",
        [KB_PREPARE_DRY] = "Clean and dry",
    };
    part->title = part->kind == KB_PREPARE_MOUNT && sheet->params.mount == KB_MOUNT_NONE
                      ? "No mount"
                      : title[part->kind];
    bool whole = sheet->begin <= part->first; /* else the face is plane already */
    if ((part->kind == KB_PREPARE_CUT || part->kind == KB_PREPARE_GRIND) && whole) {
        say_damage(sheet, part);
    }
    for (size_t i = 0; i < sizeof lines / sizeof lines[0]; i++) {
        if (lines[i].kind == part->kind && fits(&lines[i], &sheet->params)) {
            if (lines[i].caution) {
                put(part->caution, &part->cautions, lines[i].text);
            } else {
                put(part->rule, &part->rules, lines[i].text);
            }
        }
    }
}
