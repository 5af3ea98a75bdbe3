/* command_words.c - the commands and what the help and the manual say of them. */
#include "request.h"

#include <string.h>

const struct kb_command_words kb_commands[] = {
    {KB_MEASURE, "measure", "measure --material MATERIAL [--contrast CONTRAST] FIELD...",
     "measure the fields of one specimen",
     "A field is a picture (TIFF, PNG or JPEG), a folder of pictures, or a quoted shell pattern. "
     "Give "
     "every field of the section: intervals come from the spread between fields. Graphite is best "
     "measured unetched and the matrix etched; both kinds may be given, each behind its "
     "--contrast. "
     "Exit status: 0 measured, and accepted where limits are set; 1 rejected or undecided; 2 "
     "usage; 3 "
     "a picture cannot be used; 4 disk or memory failed."},
    {KB_REVIEW, "review", "review RESULT | --material MATERIAL FIELD... | --verify RESULT",
     "look at a result in the browser, correct it, sign it",
     "A RESULT is the folder of a result, or the result.json in it; its fields are measured again "
     "under the settings that it names. Or name fields, as for measure. Serves one page on this "
     "machine alone, under an address that cannot be guessed, and opens the browser. On the page: "
     "every particle with its measures and why it counts or not; thresholds, exclusions, cuts, "
     "joins, phases, forms and scale corrected by hand, with the figures following; undo and redo; "
     "signing, which writes the report anew and seals it. Every change goes on record in "
     "review.jsonl in the folder of the result (of fields: -o, or keelblock-result beside the "
     "first); measure --record gives the same figures from it. --verify says whether anything was "
     "changed since. Ends with Ctrl-C, or with q and Enter. Exit status: 0; 1 changed, or never "
     "signed; 2 usage; 3 a picture or a result cannot be used; 4 disk or memory failed."},
    {KB_BATCH, "batch", "batch [OPTION...] MANIFEST.csv",
     "measure many specimens, one verdict each and one a batch",
     "The manifest is a table saved as CSV by any spreadsheet, a row a field or a pattern of "
     "fields; columns: specimen, and as needed batch, field, contrast, material, pixel size, scale "
     "bar, page, blank field, job file, limits, grade, section thickness, casting, cast on, "
     "laboratory, operator, "
     "customer, remark, elements of the known chemistry (C, Si, ...), and values measured "
     "elsewhere "
     "(hardness HBW, tensile strength, ...). Paths are meant from its folder. A field that cannot "
     "be "
     "measured leaves its specimen unjudged, and the rest goes on. Stopped at any moment and "
     "started "
     "again it goes on where it was. Exit status: 0 measured, and all accepted where limits are "
     "set; 1 some batch rejected or undecided; 2 usage; 3 some field cannot be used; 4 disk or "
     "memory failed."},
    {KB_HISTORY, "history",
     "history add RESULT... | list | chart | export | stretch --history FILE [OPTION...]",
     "results over time: register, control charts, drift before the limit",
     "The register is one file that measure and batch add to with --history FILE. add: results "
     "that "
     "lie in folders, or result.json; the same result twice changes nothing, and one of the same "
     "pictures with other settings, decisions or version supersedes the one before, which is kept. "
     "list: the results in the order of casting. chart: individuals and moving range of the "
     "figures "
     "of one casting, with limits from its first 25 castings or a stated baseline, runs that break "
     "a rule, and the drift with the castings left until its limit; with -o DIR also as SVG. "
     "export: "
     "every figure as CSV on standard output. stretch: from a day on castings are made in another "
     "way, and get control limits of their own. Exit status: 0 done; 2 usage; 3 a result or the "
     "register cannot be used; 4 disk or memory failed."},
    {KB_CARBON_RULE, "carbon",
     "carbon --pearlite FRACTION [--graphite FRACTION] | --carbon PERCENT",
     "lever rule, both ways, with the working",
     "Near equilibrium, plain carbon steel. An estimate from structure, never a chemical "
     "analysis."},
    {KB_RENDER, "render", "render -o DIR [OPTION...]",
     "draw synthetic micrographs with known truth",
     "Writes field-NN.tif with its scale in the resolution tags, and field-NN.truth.json. The same "
     "seed draws the same picture on every machine."},
    {KB_SURVEY, "survey", "survey [--want QUANTITY=HALF-WIDTH]... RESULT...",
     "how many more fields for the wanted precision",
     "A RESULT is a result.json of keelblock, or the folder it lies in. All fields of all results "
     "are pooled; they should show one section, or at least one batch. Without --want: nodularity "
     "to 5 points, the nodule count to 10 % of it, phases to 2 points. The number of fields holds "
     "at the spread seen so far, which few fields know badly: survey again when they are "
     "measured."},
    {KB_PROVE, "prove", "prove [--quick] [-o DIR]",
     "measure rendered truth: bias, repeatability, coverage, with pass limits",
     "Software validation for a laboratory's file. Draws specimens whose truth is known, measures "
     "them in the way of measure, and holds bias, repeatability, change under turning and the "
     "coverage of the intervals against limits that were set beforehand. With -o writes prove.html "
     "and prove.json. Draws and measures the same everywhere. Rendered specimens are kinder than "
     "real ones: it proves the arithmetic and the stages, not the preparation. Exit status: 0 "
     "every row passed; 1 some row failed; 2 usage; 4 disk or memory failed."},
    {KB_PREPARE, "prepare",
     "prepare --material MATERIAL [--hardness HARDNESS] [--cut CUT] | --after RESULT",
     "how to grind, polish and etch the specimen at hand",
     "Prints a sheet for the bench: the abrasives from coarse to fine, times and loads as ranges, "
     "what keeps graphite in, what to look for before etching, the etchant and when it is enough, "
     "and the cautions where they matter. With --after it reads the result.json of a measurement, "
     "or its folder, and says which step its faults send back to; where measure refused the fields "
     "and wrote none, say --fault, or measure with --accept-unfit. With -o writes prepare.html, "
     "with --paper also prepare.pdf, to print and tick. Values are common practice, no published "
     "source; local rules and trained staff decide. Exit status: 0; 2 usage; 3 a result cannot be "
     "read; 4 disk or memory failed."},
};
const size_t kb_command_count = sizeof kb_commands / sizeof kb_commands[0];

void kb_tell_carbon_sets(void (*line)(const char *name, const char *text)) {
    size_t count = 0;
    const struct kb_carbon_set *set = kb_carbon_sets(&count);
    for (size_t i = 0; i < count; i++) {
        char text[400];
        (void)snprintf(
            text, sizeof text, "%sferrite %.4g, eutectoid %.2f, cementite %.2f mass %% C; %s (%s)",
            i == 0 ? "the default: " : "", set[i].ferrite_c, set[i].eutectoid_c, set[i].cementite_c,
            set[i].source, strcmp(set[i].status, "read") == 0 ? "read" : "from memory, unverified");
        line(set[i].name, text);
    }
}
