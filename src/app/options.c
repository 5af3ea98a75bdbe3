/* options.c - the one table behind the command line, --help, the manual page, the shell completion
 * and the job file. A job-file key is the option's name with '_' for '-', in the section given
 * here.
 */
#include "request.h"

#include <string.h>

#define AT(member) offsetof(struct kb_request, member)
#define M (KB_MEASURE | KB_REVIEW) /* a review measures what it shows */
#define O KB_MEASURE
#define V KB_REVIEW
#define C KB_CARBON_RULE
#define R KB_RENDER
#define S KB_SURVEY
#define P KB_PROVE
#define B KB_BATCH
#define H KB_HISTORY
#define Q KB_PREPARE
#define ANY (M | C | R | S | P | B | H | Q)

/* Ranges are what is physically possible or what the arithmetic stands; they catch slips of the
 * decimal point, not opinions. */
const struct kb_option kb_options[] = {
    /* the specimen */
    {"specimen", 0, "specimen", "NAME", "Name of the specimen, printed on the report.", M | Q,
     KB_OPT_TEXT, AT(settings.specimen_id), 0, 0, NULL, false},
    {"material", 0, "specimen", "MATERIAL",
     "What was cast or rolled: ductile-iron, grey-iron, compacted-iron or carbon-steel.",
     M | B | C | Q, KB_OPT_OWN, 0, 0, 0, kb_own_material, false},
    {"contrast", 0, "specimen", "CONTRAST",
     "How the fields named after it were seen: light (etched), light-unetched or sem (secondary "
     "electrons); auto finds it by evidence and asks when not sure [auto]. May be said again for "
     "further fields.",
     M | B, KB_OPT_OWN, 0, 0, 0, kb_own_contrast, false},
    {"proeutectoid", 0, "specimen", "PHASE",
     "What stands beside pearlite in steel: ferrite (up to the eutectoid) or cementite (above it).",
     M | B | C, KB_OPT_OWN, 0, 0, 0, kb_own_proeutectoid, false},
    {"grade", 0, "specimen", "NAME", "Grade of the casting, where limits hang on it.", M | B,
     KB_OPT_TEXT, AT(grade), 0, 0, NULL, false},
    {"section-thickness", 0, "specimen", "LENGTH",
     "Section thickness of the casting, where limits hang on it, for example 25mm.", M | B,
     KB_OPT_LENGTH, AT(section_um), 1, 1e7, NULL, false},
    {"batch", 0, "specimen", "NAME", "Batch that the specimen is of, for the register.", M | H,
     KB_OPT_TEXT, AT(settings.batch_name), 0, 0, NULL, false},
    {"casting", 0, "specimen", "NAME",
     "Type of casting, as its drawing names it: whose figures make one control chart.", M | B | H,
     KB_OPT_TEXT, AT(settings.casting), 0, 0, NULL, false},
    {"cast-on", 0, "specimen", "DATE",
     "Day or time of casting, for the order of the chart: 2026-03-04. Without it the time of "
     "measurement counts.",
     M | B, KB_OPT_OWN, 0, 0, 0, kb_own_cast_on, false},
    {"laboratory", 0, "specimen", "TEXT", "Name of the laboratory, printed on the report.",
     M | B | Q, KB_OPT_TEXT, AT(settings.laboratory), 0, 0, NULL, false},
    {"laboratory-picture", 0, "specimen", "FILE",
     "The laboratory's own picture for the head of the report, PNG or JPEG.", M | B, KB_OPT_TEXT,
     AT(settings.laboratory_picture), 0, 0, NULL, false},
    {"operator", 0, "specimen", "TEXT", "Who measured, printed on the report.", M | B, KB_OPT_TEXT,
     AT(settings.operator_name), 0, 0, NULL, false},
    {"customer", 0, "specimen", "TEXT", "For whom, printed on the report.", M | B, KB_OPT_TEXT,
     AT(settings.customer), 0, 0, NULL, false},
    {"remark", 0, "specimen", "TEXT", "A remark, printed on the report.", M | B, KB_OPT_TEXT,
     AT(settings.remark), 0, 0, NULL, false},

    /* calibration */
    {"pixel-size", 0, "calibration", "LENGTH",
     "Side of a pixel in the specimen, for example 0.5um; overrides what the file says. With its "
     "uncertainty: 0.5um±0.002um (or +-), which is taken as expanded with the coverage factor 2 "
     "unless (k=1) stands behind it.",
     M | B, KB_OPT_OWN, 0, 1e-4, 1e3, kb_own_pixel_size, false},
    {"scale-bar", 0, "calibration", "PX=LENGTH",
     "A scale bar of so many pixels is so long, for example 200px=100um; with the uncertainty of "
     "either side, taken as above: 200px±1px=100um±0.5um.",
     M | B, KB_OPT_OWN, 0, 0, 0, kb_own_scale_bar, false},
    {"scale-uncertainty", 0, "calibration", "SHARE",
     "Uncertainty of a scale that states none of its own, the file's for example, as a share of "
     "it: 0.5%, taken as above.",
     M | B, KB_OPT_OWN, 0, 0, 0, kb_own_scale_uncertainty, false},
    {"page", 0, "calibration", "N", "Page of a TIFF with several pages, from 1.", M | B,
     KB_OPT_INTEGER, AT(page), 1, 1e6, NULL, false},
    {"blank-field", 0, "calibration", "FILE",
     "Picture of an empty field under the same light; evens the illumination.", M | B, KB_OPT_TEXT,
     AT(settings.blank_path), 0, 0, NULL, false},

    /* before segmentation */
    {"whole-frame", 0, "segmentation", NULL,
     "Do not look for data bars, scale bars, lettering, margins and resin to leave out.", M | B,
     KB_OPT_FLAG, AT(whole_frame), 0, 0, NULL, false},
    {"accept-unfit", 0, "segmentation", NULL,
     "Measure fields that are not fit to measure all the same; the report says so.", M | B,
     KB_OPT_FLAG, AT(settings.accept_unfit), 0, 0, NULL, false},

    /* segmentation */
    {"dark-threshold", 0, "segmentation", "GREY",
     "Grey level up to which a pixel is of the darkest class; fixed by hand.", M | B, KB_OPT_NUMBER,
     AT(settings.segmentation.dark_threshold), 0, 65535, NULL, false},
    {"bright-threshold", 0, "segmentation", "GREY",
     "Grey level from which a pixel is of the brightest of three classes; fixed by hand.", M | B,
     KB_OPT_NUMBER, AT(settings.segmentation.bright_threshold), 0, 65535, NULL, false},
    {"keep-light", 0, "segmentation", NULL, "Do not even the illumination.", M | B, KB_OPT_FLAG,
     AT(keep_light), 0, 0, NULL, false},
    {"clean", 0, "segmentation", "LENGTH",
     "Specks and holes of smaller equivalent diameter are not structure.", M | B, KB_OPT_LENGTH,
     AT(settings.segmentation.clean_um), 0, 1e3, NULL, false},
    {"colony", 0, "segmentation", "LENGTH",
     "Side of the window whose mean grey decides on pearlite where lamellae are resolved.", M | B,
     KB_OPT_LENGTH, AT(settings.segmentation.colony_um), 1e-3, 1e3, NULL, false},
    {"line", 0, "segmentation", "LENGTH",
     "Dark lines narrower than this are boundaries or scratches, not a phase.", M | B,
     KB_OPT_LENGTH, AT(settings.segmentation.line_um), 0, 1e3, NULL, false},
    {"threshold-reason", 0, "segmentation", "TEXT",
     "Why thresholds are fixed by hand; printed on the report.", M | B, KB_OPT_TEXT,
     AT(threshold_reason), 0, 0, NULL, false},
    {"exclude", 0, "segmentation", "[FIELD ]X,Y,W,H[: REASON]",
     "Leave a rectangle out, in pixels from the upper left corner, of every field or of one; or "
     "the inside of an outline, X,Y X,Y X,Y with as many corners as it takes. May stand in "
     "[by_hand] too.",
     M | B, KB_OPT_OWN, 0, 0, 0, kb_own_exclude, true},

    /* corrections by hand */
    {"set-phase", 0, "by_hand", "FIELD X,Y PHASE: REASON",
     "The region of FIELD that holds the pixel X,Y is PHASE: graphite, ferrite, pearlite, "
     "cementite, matrix, other or excluded. FIELD is a path or its end, a file name for example.",
     M, KB_OPT_OWN, 0, 0, 0, kb_own_set_phase, true},
    {"set-form", 0, "by_hand", "FIELD X,Y FORM: REASON",
     "The graphite particle of FIELD that holds the pixel X,Y is of FORM I to VI of ISO 945-1; V "
     "and VI count as nodules in every method, I to IV do not.",
     M, KB_OPT_OWN, 0, 0, 0, kb_own_set_form, true},

    {"cut", 0, "by_hand", "FIELD X,Y X,Y...: REASON",
     "Part the graphite of FIELD along a stroke through these pixels, two or more. What it does "
     "not cut through stays whole.",
     M, KB_OPT_OWN, 0, 0, 0, kb_own_stroke, true},
    {"join", 0, "by_hand", "FIELD X,Y X,Y: REASON",
     "The graphite particles of FIELD that hold these two pixels are one, whether they touch or "
     "not. Cuts and joins are done in the order in which they are said.",
     M, KB_OPT_OWN, 0, 0, 0, kb_own_join, true},
    {"scale-line", 0, "by_hand", "[FIELD ]X,Y X,Y LENGTH: REASON",
     "The line between these two pixels is LENGTH long in the specimen, 100um for example: the "
     "pixel size of FIELD, or of every field. With its uncertainty 100um±0.5um, taken as for "
     "--pixel-size; else each end is taken as half a pixel uncertain. Overrides every other scale.",
     M, KB_OPT_OWN, 0, 0, 0, kb_own_scale_line, true},
    {"field-threshold", 0, "by_hand", "FIELD DARK[,BRIGHT]: REASON",
     "Thresholds of one field, in grey levels as --dark-threshold and --bright-threshold; '-' "
     "leaves one of them as it is.",
     M, KB_OPT_OWN, 0, 0, 0, kb_own_field_threshold, true},
    {"record", 0, "by_hand", "FILE",
     "Apply the changes in force on the record of a review, review.jsonl.", M, KB_OPT_OWN, 0, 0, 0,
     kb_own_record, false},

    /* particles */
    {"min-feret", 0, "particles", "LENGTH",
     "Graphite particles of smaller maximum Feret diameter do not count.", M | B, KB_OPT_LENGTH,
     AT(settings.morphology.min_feret_um), 0, 1e4, NULL, false},
    {"keep-touching", 0, "particles", NULL, "Do not part nodules that touch.", M | B, KB_OPT_FLAG,
     AT(keep_touching), 0, 0, NULL, false},
    {"part-depth", 0, "particles", "LENGTH",
     "How much a neck must narrow before touching nodules are parted there.", M | B, KB_OPT_LENGTH,
     AT(settings.morphology.part_depth_um), 0, 1e3, NULL, false},

    /* precision */
    {"want-phase", 0, "precision", "POINTS",
     "Wanted half-width of the 95 % interval of a phase fraction, percentage points of the field.",
     M | B, KB_OPT_FRACTION, AT(settings.specimen.want_points), 1e-4, 1, NULL, false},
    {"want-nodularity", 0, "precision", "POINTS",
     "The same of nodularity, percentage points of the graphite area.", M | B, KB_OPT_POINTS,
     AT(settings.specimen.want_nodularity_points), 0.01, 100, NULL, false},
    {"want-count", 0, "precision", "SHARE", "The same of the nodule count, as a share of it.",
     M | B, KB_OPT_FRACTION, AT(settings.specimen.want_count_share), 1e-3, 1, NULL, false},
    {"threshold-step", 0, "precision", "LEVELS",
     "Measure again with all thresholds moved down and up by so many grey levels of the file, and "
     "take what changes into the uncertainty; takes up to three times as long. 0: not.",
     M | B, KB_OPT_NUMBER, AT(settings.specimen.threshold_step), 0, 65535, NULL, false},
    {"min-fields", 0, "precision", "N", "Fewer fields than this are reported as a finding.", M | B,
     KB_OPT_INTEGER, AT(min_fields), 1, 1e6, NULL, false},
    {"min-particles", 0, "precision", "N",
     "Fewer counting particles than this are reported as a finding.", M | B, KB_OPT_INTEGER,
     AT(min_particles), 1, 1e9, NULL, false},
    {"min-area", 0, "precision", "MM2",
     "Less area of the graphite fields of a nodular or compacted iron, mm2, is reported as a "
     "finding.",
     M, KB_OPT_NUMBER, AT(settings.specimen.min_area_mm2), 0, 1e6, NULL, false},
    {"rule", 0, "precision", "RULE",
     "How limits decide: guarded (the whole interval must lie inside) or simple (the value alone) "
     "[guarded].",
     M | B, KB_OPT_OWN, 0, 0, 0, kb_own_rule, false},

    /* carbon */
    {"chemistry", 0, "chemistry", "ELEMENT=PERCENT",
     "Known chemistry in mass %, for example C=3.62% or Si=2.4%; elements C Si Mn P S Cu Sn Mg.", M,
     KB_OPT_OWN, 0, 0, 0, kb_own_chemistry, true},
    {"constants", 0, "carbon", "SET",
     "Carbon of ferrite, eutectoid and cementite, as a set that stands in a book. Single values "
     "below stand above the set.",
     M | B | C, KB_OPT_OWN, 0, 0, 0, kb_own_constants, false},
    {"ferrite-carbon", 0, "carbon", "PERCENT", "Carbon in ferrite at the eutectoid, mass %.",
     M | B | C, KB_OPT_PERCENT, AT(settings.carbon.constants.ferrite_c), 0, 0.1, NULL, false},
    {"eutectoid-carbon", 0, "carbon", "PERCENT", "Carbon of the eutectoid, mass %.", M | B | C,
     KB_OPT_PERCENT, AT(settings.carbon.constants.eutectoid_c), 0.2, 1.2, NULL, false},
    {"cementite-carbon", 0, "carbon", "PERCENT", "Carbon of cementite, mass %.", M | B | C,
     KB_OPT_PERCENT, AT(settings.carbon.constants.cementite_c), 6, 7, NULL, false},
    {"silicon-shift", 0, "carbon", "PERCENT",
     "Change of the eutectoid carbon with each mass % of silicon.", M | B | C, KB_OPT_PERCENT,
     AT(settings.carbon.constants.si_shift), -0.2, 0.2, NULL, false},
    {"silicon", 0, NULL, "PERCENT", "Silicon in mass %, shifts the eutectoid.", C, KB_OPT_PERCENT,
     AT(settings.chemistry.si), 0, 10, NULL, false},
    {"carbon-tolerance", 0, "carbon", "PERCENT",
     "Difference from the known carbon, mass %, that is still agreement.", M | B, KB_OPT_PERCENT,
     AT(settings.carbon.tolerance_percent), 0, 5, NULL, false},
    {"pearlite", 0, NULL, "FRACTION",
     "Pearlite as a fraction of the matrix area: gives the carbon.", C, KB_OPT_FRACTION,
     AT(question.pearlite), 0, 1, NULL, false},
    {"graphite", 0, NULL, "FRACTION",
     "Graphite as a fraction of the whole area, for an iron; with --pearlite.", C, KB_OPT_FRACTION,
     AT(question.graphite), 0, 0.5, NULL, false},
    {"carbon", 0, NULL, "PERCENT", "Carbon in mass %: gives the phases.", C, KB_OPT_PERCENT,
     AT(question.carbon), 0, 7, NULL, false},

    /* measured elsewhere */
    {"given", 0, "given", "QUANTITY=VALUE",
     "A value measured elsewhere, to be judged by limits too: hardness_hbw, hardness_hv, "
     "tensile_strength, proof_strength, elongation or impact_energy, for example "
     "hardness_hbw=187, or tensile_strength='512±8 MPa' with its uncertainty (coverage factor 2 "
     "unless (k=1) stands behind it).",
     M, KB_OPT_OWN, 0, 0, 0, kb_own_given, true},

    /* limits */
    {"batch-rule", 0, "limits", "every|mean|share PERCENT",
     "When a batch passes: when every specimen does (the default), when their mean does, or when "
     "that share of them does, for example 'share 90 %'.",
     B, KB_OPT_OWN, 0, 0, 0, kb_own_batch_rule, false},
    {"limit", 0, "limits", "LIMIT",
     "A limit, for example 'nodularity >= 85 %' or 'pearlite_of_matrix = 20..45 %'.", M | B,
     KB_OPT_OWN, 0, 0, 0, kb_own_limit, true},
    {"limits", 0, NULL, "FILE", "Take the [limits] of this job file.", M | B, KB_OPT_TEXT,
     AT(limits_path), 0, 0, NULL, false},

    /* rendered micrographs */
    {"seed", 0, NULL, "N", "Which picture: the same number draws the same one.", R, KB_OPT_INTEGER,
     AT(seed), 0, 9e15, NULL, false},
    {"fields", 0, NULL, "N", "How many fields, with seeds from --seed upwards.", R, KB_OPT_INTEGER,
     AT(render_fields), 1, 1e5, NULL, false},
    {"size", 0, NULL, "WxH", "Pixels across and down.", R, KB_OPT_OWN, 0, 0, 0, kb_own_size, false},
    {"pixel-size", 0, NULL, "LENGTH", "Side of a pixel in the specimen.", R, KB_OPT_LENGTH,
     AT(render.px_um), 1e-3, 1e2, NULL, false},
    {"look", 0, NULL, "CONTRAST", "light (etched), light-unetched or sem.", R, KB_OPT_OWN, 0, 0, 0,
     kb_own_look, false},
    {"graphite", 0, NULL, "KIND", "none, nodules, compacted or flakes.", R, KB_OPT_OWN, 0, 0, 0,
     kb_own_graphite, false},
    {"distribution", 0, NULL, "LETTER",
     "How flakes lie, A to E as in ISO 945-1: A random, B rosettes, C kish, D between dendrites, E "
     "the same in one direction.",
     R, KB_OPT_OWN, 0, 0, 0, kb_own_distribution, false},
    {"nodules", 0, NULL, "N", "Graphite particles per mm2.", R, KB_OPT_NUMBER,
     AT(render.nodules_per_mm2), 0, 1e5, NULL, false},
    {"nodule-size", 0, NULL, "LENGTH", "Median equivalent diameter of the particles.", R,
     KB_OPT_LENGTH, AT(render.nodule_um), 0.1, 1e3, NULL, false},
    {"nodule-spread", 0, NULL, "RATIO", "Geometric standard deviation of the diameter.", R,
     KB_OPT_NUMBER, AT(render.nodule_spread), 1, 3, NULL, false},
    {"nodularity", 0, NULL, "FRACTION", "Share of the particles that are drawn round.", R,
     KB_OPT_FRACTION, AT(render.nodularity), 0, 1, NULL, false},
    {"clusters", 0, NULL, "FRACTION", "Share of the nodules that touch another.", R,
     KB_OPT_FRACTION, AT(render.clusters), 0, 1, NULL, false},
    {"graphite-fraction", 0, NULL, "FRACTION",
     "Graphite aimed at for flakes and compacted graphite, of the field.", R, KB_OPT_FRACTION,
     AT(render.graphite_fraction), 0, 0.4, NULL, false},
    {"pearlite-of-matrix", 0, NULL, "FRACTION", "Pearlite aimed at, of the matrix.", R,
     KB_OPT_FRACTION, AT(render.pearlite_of_matrix), 0, 1, NULL, false},
    {"bainite", 0, NULL, "FRACTION", "Bainite aimed at, of the matrix, in place of pearlite.", R,
     KB_OPT_FRACTION, AT(render.bainite_of_matrix), 0, 1, NULL, false},
    {"carbide", 0, NULL, "FRACTION", "Free carbide aimed at, of the matrix, in place of pearlite.",
     R, KB_OPT_FRACTION, AT(render.carbide_of_matrix), 0, 1, NULL, false},
    {"grain", 0, NULL, "LENGTH", "Ferrite grain size; 0um draws no boundaries.", R, KB_OPT_LENGTH,
     AT(render.grain_um), 0, 1e3, NULL, false},
    {"lamella", 0, NULL, "LENGTH", "Interlamellar spacing of pearlite.", R, KB_OPT_LENGTH,
     AT(render.lamella_um), 0, 1e2, NULL, false},
    {"fall-off", 0, NULL, "FRACTION", "Light lost towards the corners.", R, KB_OPT_FRACTION,
     AT(render.fall_off), 0, 0.9, NULL, false},
    {"blur", 0, NULL, "LENGTH", "Standard deviation of the blur.", R, KB_OPT_LENGTH,
     AT(render.blur_um), 0, 1e2, NULL, false},
    {"noise", 0, NULL, "LEVELS", "Standard deviation of the noise, grey levels of 255.", R,
     KB_OPT_NUMBER, AT(render.noise), 0, 100, NULL, false},
    {"beam-noise", 0, NULL, "LEVELS",
     "Standard deviation of the noise of a scanned beam at grey 200, as of a fast scan in the SEM.",
     R, KB_OPT_NUMBER, AT(render.beam_noise), 0, 100, NULL, false},
    {"charging", 0, NULL, "LEVELS", "Glow of a charged place on the border, grey levels of 255.", R,
     KB_OPT_NUMBER, AT(render.charging), 0, 255, NULL, false},
    {"over-etch", 0, NULL, "FRACTION",
     "Etched too long, from 0 to 1: ferrite dark and mottled, boundaries wide, pearlite black.", R,
     KB_OPT_FRACTION, AT(render.over_etch), 0, 1, NULL, false},
    {"scratches", 0, NULL, "N", "Scratches per mm2.", R, KB_OPT_NUMBER,
     AT(render.scratches_per_mm2), 0, 1e5, NULL, false},

    /* survey and proof */
    {"want", 0, NULL, "QUANTITY=HALF-WIDTH",
     "Wanted half-width of a 95 % interval, for example nodularity=±3% (points) or "
     "nodules_per_mm2=±10% (of the value); may be said for several quantities.",
     S, KB_OPT_OWN, 0, 0, 0, kb_own_want, true},
    {"quick", 0, NULL, NULL, "Fewer specimens and fields: half a minute instead of some minutes.",
     P, KB_OPT_FLAG, AT(quick), 0, 0, NULL, false},

    /* batches */
    {"dry-run", 0, NULL, NULL,
     "Show specimens, fields and settings, and what could not be measured; measure nothing.", B,
     KB_OPT_FLAG, AT(dry_run), 0, 0, NULL, false},
    {"part", 0, NULL, "I/N",
     "Measure the I-th of N parts of the fields and write nothing but its shares; several machines "
     "may share one folder.",
     B, KB_OPT_OWN, 0, 0, 0, kb_own_part, false},
    {"merge", 0, NULL, NULL,
     "Judge and write what all parts have measured; opens no picture. Also judges anew, after a "
     "change of limits.",
     B, KB_OPT_FLAG, AT(merge), 0, 0, NULL, false},

    /* certificate of a batch */
    {"title", 0, "certificate", "TEXT",
     "Title of the certificate, in place of 'Certificate of conformity'.", B, KB_OPT_OWN,
     AT(settings.certificate.title), 1, 80, kb_own_wording, false},
    {"statement", 0, "certificate", "TEXT",
     "The customer's wording, printed on the certificate when the batch conforms. May be said "
     "several times, in a job file too, where a line takes 197 bytes: the pieces make one text.",
     B, KB_OPT_OWN, AT(settings.certificate.statement), 1, KB_STATEMENT_MOST, kb_own_wording, true},
    {"specification", 0, "certificate", "TEXT",
     "The specification that the limits come from, with its clause.", B, KB_OPT_OWN,
     AT(settings.certificate.specification), 1, 160, kb_own_wording, false},
    {"part-name", 0, "certificate", "TEXT", "What was cast: its name or number of drawing.", B,
     KB_OPT_OWN, AT(settings.certificate.part), 1, 160, kb_own_wording, false},
    {"order", 0, "certificate", "TEXT", "The customer's order.", B, KB_OPT_OWN,
     AT(settings.certificate.order), 1, 160, kb_own_wording, false},
    {"number", 0, "certificate", "TEXT",
     "Number of the certificate; without it one is made of the digest of batch.json.", B,
     KB_OPT_OWN, AT(settings.certificate.number), 1, 80, kb_own_wording, false},
    {"approved-by", 0, "certificate", "TEXT", "Who approves the certificate.", B, KB_OPT_OWN,
     AT(settings.certificate.approved_by), 1, 80, kb_own_wording, false},

    /* the register */
    {"quantity", 0, NULL, "QUANTITY",
     "What to chart, named as in limits; may be said again. Without it, what has limits.", H,
     KB_OPT_OWN, 0, 0, 0, kb_own_quantity, true},
    {"rules", 0, NULL, "RULES",
     "What breaks the run of a chart: numbers of Nelson's tests (1 beyond three sigma, 2 nine on "
     "one "
     "side, 3 six rising or falling, 4 fourteen alternating, 5 two of three beyond two sigma, 6 "
     "four "
     "of five beyond one sigma, 7 fifteen within one sigma, 8 eight beyond one sigma), or "
     "western-electric [1,2]. More rules find more and give more false alarms.",
     H, KB_OPT_OWN, 0, 0, 0, kb_own_rules, false},
    {"baseline", 0, NULL, "N|DATE..DATE",
     "Castings that the control limits come from: the first N, or those of the days named [25].", H,
     KB_OPT_OWN, 0, 0, 0, kb_own_baseline, false},
    {"from", 0, NULL, "DATE", "Day from which a stretch runs.", H, KB_OPT_OWN, 0, 0, 0,
     kb_own_stretch_from, false},
    {"reason", 0, NULL, "TEXT", "What changed with it, shown on the chart.", H, KB_OPT_TEXT,
     AT(chart.reason), 0, 0, NULL, false},
    {"superseded", 0, NULL, NULL, "List and export superseded results too.", H, KB_OPT_FLAG,
     AT(chart.superseded), 0, 0, NULL, false},

    /* preparation */
    {"hardness", 0, NULL, "HARDNESS",
     "soft, medium or hard, or a value with its scale, as 187HBW or 210HV: soft up to 150 HBW, "
     "hard "
     "above 300 HBW [medium, or what the result holds].",
     Q, KB_OPT_OWN, 0, 0, 0, kb_own_hardness, false},
    {"cut", 0, NULL, "CUT",
     "How the face was cut: precision, abrasive-wheel, saw, as-broken or flame [abrasive-wheel].",
     Q, KB_OPT_OWN, 0, 0, 0, kb_own_cut, false},
    {"mount", 0, NULL, "MOUNT", "hot, cold (cast resin) or none [hot].", Q, KB_OPT_OWN, 0, 0, 0,
     kb_own_mount, false},
    {"etchant", 0, NULL, "ETCHANT", "nital or picral [nital].", Q, KB_OPT_OWN, 0, 0, 0,
     kb_own_etchant, false},
    {"after", 0, NULL, "RESULT",
     "A result.json, or its folder: begin with the step that its faults send back to. Say hardness "
     "and cut as before: steps then have the same numbers.",
     Q, KB_OPT_TEXT, AT(after_path), 0, 0, NULL, false},
    {"fault", 0, NULL, "CHECK",
     "A check that a measurement refused, by its name, as scratches, pull-out or etch-weak; may be "
     "said for several.",
     Q, KB_OPT_OWN, 0, 0, 0, kb_own_fault, true},

    /* in and out */
    {"job", 0, NULL, "FILE", "Read settings from a job file; the command line overrides it.", M | B,
     KB_OPT_TEXT, AT(job_path), 0, 0, NULL, false},
    {"out", 'o', "output", "DIR", "Folder for the report and its files; made if missing.",
     M | B | R | P | H | Q, KB_OPT_TEXT, AT(settings.out_folder), 0, 0, NULL, false},
    {"history", 0, "output", "FILE",
     "Register of results, made if missing: what is measured is added to it.", O | B | H,
     KB_OPT_TEXT, AT(history_path), 0, 0, NULL, false},
    {"why", 0, "output", "[FIELD ]X,Y",
     "Tell step by step why the pixel X,Y of FIELD has its phase and what became of its particle.",
     M, KB_OPT_OWN, 0, 0, 0, kb_own_why, true},
    {"paper", 0, "output", "a4|letter",
     "Also write the report as PDF, report.pdf, on this paper; none: do not. Of a batch its "
     "certificate too, and its report holds that of each specimen.",
     M | B, KB_OPT_OWN, 0, 0, 0, kb_own_paper, false},
    {"paper", 0, NULL, "a4|letter", "Also write the sheet as PDF, prepare.pdf, on this paper.", Q,
     KB_OPT_OWN, 0, 0, 0, kb_own_paper, false},
    {"locale", 0, "output", "LANGUAGE",
     "Language of the pages and their PDFs, with its decimal sign: en or de [en]. Files for "
     "programs (JSON, CSV) and the terminal stay English.",
     M | B | P | Q, KB_OPT_OWN, 0, 0, 0, kb_own_locale, false},
    {"no-pictures", 0, "output", NULL, "No overlays and no pictures in the report.", M | B,
     KB_OPT_FLAG, AT(no_pictures), 0, 0, NULL, false},
    {"threads", 0, "output", "N", "Fields measured at once; results do not depend on it.",
     M | B | P, KB_OPT_INTEGER, AT(threads), 1, 1024, NULL, false},
    {"json", 0, "output", NULL, "Write the result as JSON to standard output, and nothing else.",
     O | B | C | S | P | H | Q, KB_OPT_FLAG, AT(json), 0, 0, NULL, false},
    {"timing", 0, "output", NULL, "Show the time that each stage took.", O, KB_OPT_FLAG, AT(timing),
     0, 0, NULL, false},
    {"quiet", 0, "output", NULL, "No table and no progress; errors and the exit code only.", ANY,
     KB_OPT_FLAG, AT(quiet), 0, 0, NULL, false},
    {"no-browser", 0, NULL, NULL, "Print the address of the page, and open no browser.", V,
     KB_OPT_FLAG, AT(no_browser), 0, 0, NULL, false},
    {"verify", 0, NULL, NULL,
     "Open nothing: say whether the result is still what was signed; exit status 0 when it is.", V,
     KB_OPT_FLAG, AT(verify), 0, 0, NULL, false},
    {"help", 'h', NULL, NULL, "Show this help.", ANY, KB_OPT_FLAG, AT(help), 0, 0, NULL, false},
    {"version", 0, NULL, NULL, "Show the version.", ANY, KB_OPT_FLAG, AT(version), 0, 0, NULL,
     false},
};
const size_t kb_option_count = sizeof kb_options / sizeof kb_options[0];

const struct kb_option *kb_option_by_name(const char *name, enum kb_command command) {
    for (size_t i = 0; i < kb_option_count; i++) {
        if ((kb_options[i].commands & command) != 0 && strcmp(kb_options[i].name, name) == 0) {
            return &kb_options[i];
        }
    }
    return NULL;
}

const struct kb_option *kb_option_by_letter(char letter, enum kb_command command) {
    for (size_t i = 0; i < kb_option_count; i++) {
        if ((kb_options[i].commands & command) != 0 && kb_options[i].letter == letter) {
            return &kb_options[i];
        }
    }
    return NULL;
}

void kb_option_key(const char *name, char *to, size_t size) {
    (void)snprintf(to, size, "%s", name);
    for (char *c = to; *c != '\0'; c++) {
        *c = *c == '-' ? '_' : *c;
    }
}

const struct kb_option *kb_option_by_key(const char *section, const char *key) {
    for (size_t i = 0; i < kb_option_count; i++) {
        const struct kb_option *option = &kb_options[i];
        if (option->section == NULL || strcmp(option->section, section) != 0) {
            continue;
        }
        char own_key[40];
        kb_option_key(option->name, own_key, sizeof own_key);
        bool any_key =
            option->repeats && (strcmp(section, "chemistry") == 0 ||
                                strcmp(section, "limits") == 0 || strcmp(section, "given") == 0);
        if (any_key || strcmp(own_key, key) == 0) {
            return option;
        }
    }
    return NULL;
}

static const void *target(const struct kb_option *option, const struct kb_request *request) {
    return (const char *)request + option->offset;
}

void kb_option_default(const struct kb_option *option, char *text, size_t size) {
    struct kb_request request;
    kb_request_init(&request, KB_MEASURE);
    text[0] = '\0';
    double number = NAN;
    if (option->kind == KB_OPT_INTEGER) {
        int64_t value = *(const int64_t *)target(option, &request);
        if (value > 0) {
            (void)snprintf(text, size, "%lld", (long long)value);
        }
    } else if (option->kind != KB_OPT_FLAG && option->kind != KB_OPT_TEXT &&
               option->kind != KB_OPT_OWN) {
        number = *(const double *)target(option, &request);
    }
    /* a pixel size of 0 means unknown, not zero: nothing to show */
    if (!isnan(number) && (number >= option->low || option->low < 0)) {
        const char *unit = option->kind == KB_OPT_LENGTH ? "um"
                           : option->kind == KB_OPT_FRACTION || option->kind == KB_OPT_POINTS ||
                                   option->kind == KB_OPT_PERCENT
                               ? " %"
                               : "";
        double shown = option->kind == KB_OPT_FRACTION ? 100.0 * number : number;
        (void)snprintf(text, size, "%g%s", shown, unit);
    }
    kb_request_release(&request);
}
