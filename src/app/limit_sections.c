/* limit_sections.c - limits that hang on the grade of a casting or on its section thickness.
 *
 *   [limits]                          of every specimen
 *   [limits <= 30 mm]                 of sections up to 30 mm
 *   [limits GJS-500]                  of one grade
 *   [limits GJS-500, 30..60 mm]       of sections above 30 up to 60 mm in that grade
 *
 * All sections that fit are taken, in this order, so that the more particular limit of a quantity
 * replaces the more general one. A file that tells grades apart must have one for the specimen's:
 * judging by a part of the limits would be worse than not judging.
 */
#include "limit_sections.h"

#include <ctype.h>
#include <string.h>

static const char limits[] = "limits";
static const double um_per_mm = 1000.0;

bool kb_is_limit_section(const char *section) {
    const size_t length = sizeof limits - 1;
    return strncmp(section, limits, length) == 0 &&
           (section[length] == '\0' || section[length] == ' ' || section[length] == '\t');
}

static bool length_mm(char *text, double *mm) {
    double um = 0.0;
    if (!kb_parse_length_um(kb_trim(text), &um) || !(um > 0.0)) {
        return false;
    }
    *mm = um / um_per_mm;
    return true;
}

/* "<= 30 mm", "> 60 mm", "30..60 mm"; false for what is no thickness. */
static bool parse_thickness(char *text, struct kb_limit_place *place) {
    char *dots = strstr(text, "..");
    if (strncmp(text, "<=", 2) == 0) {
        return length_mm(text + 2, &place->upto_mm);
    }
    if (text[0] == '>' && text[1] != '=') {
        return length_mm(text + 1, &place->above_mm);
    }
    if (dots == NULL) {
        return false;
    }
    /* the unit stands once, behind the second number */
    char low[32];
    size_t unit = strcspn(dots + 2, "mucn");
    (void)snprintf(low, sizeof low, "%.*s%s", (int)(dots - text), text, dots + 2 + unit);
    return length_mm(low, &place->above_mm) && length_mm(dots + 2, &place->upto_mm) &&
           place->above_mm < place->upto_mm;
}

static bool looks_like_thickness(const char *text) {
    return text[0] == '<' || text[0] == '>' || strstr(text, "..") != NULL;
}

enum kb_status kb_limit_place_parse(const char *section, const char *where,
                                    struct kb_limit_place *place, struct kb_err *err) {
    char text[256];
    *place = (struct kb_limit_place){.above_mm = 0.0, .upto_mm = (double)INFINITY};
    if ((size_t)snprintf(text, sizeof text, "%s", section + sizeof limits - 1) >= sizeof text) {
        return kb_fail(err, KB_E_USAGE, "app", where,
                       "[%.48s ...] is too long a name for a section (shorten the grade)", section);
    }
    char *rest = text;
    while (rest != NULL) {
        char *comma = strchr(rest, ',');
        if (comma != NULL) {
            *comma = '\0';
        }
        char *part = kb_trim(rest);
        rest = comma != NULL ? comma + 1 : NULL;
        if (looks_like_thickness(part)) {
            place->by_thickness = true;
            if (!parse_thickness(part, place)) {
                return kb_fail(err, KB_E_USAGE, "app", where,
                               "[%.48s]: '%.30s' is no section thickness (write <= 30 mm, "
                               "30..60 mm or > 60 mm)",
                               section, part);
            }
        } else if (part[0] != '\0') {
            if (place->by_grade) {
                return kb_fail(err, KB_E_USAGE, "app", where, "[%.48s] names two grades (keep one)",
                               section);
            }
            place->by_grade = true;
            if ((size_t)snprintf(place->grade, sizeof place->grade, "%s", part) >=
                sizeof place->grade) {
                return kb_fail(err, KB_E_USAGE, "app", where,
                               "the grade '%.20s...' is too long (at most %zu bytes)", part,
                               sizeof place->grade - 1);
            }
        }
    }
    return KB_OK;
}

/* The next letter, blanks passed over; 0 at the end. */
static int next_letter(const char **at) {
    *at += strspn(*at, " ");
    return **at != '\0' ? toupper((unsigned char)*(*at)++) : 0;
}

/* Capitals and blanks do not tell grades apart. */
static bool same_grade(const char *a, const char *b) {
    int letter = 0;
    do {
        letter = next_letter(&a);
        if (letter != next_letter(&b)) {
            return false;
        }
    } while (letter != 0);
    return true;
}

bool kb_limit_place_fits(const struct kb_limit_place *place, const char *grade, double section_mm) {
    bool fits_grade = !place->by_grade || (grade != NULL && same_grade(place->grade, grade));
    bool fits_thickness =
        !place->by_thickness || (section_mm > place->above_mm && section_mm <= place->upto_mm);
    return fits_grade && fits_thickness;
}

int kb_limit_place_rank(const struct kb_limit_place *place) {
    return (place->by_thickness ? 1 : 0) + (place->by_grade ? 2 : 0);
}

/* Grades that the file names, for the message; whether one is the specimen's. */
struct tally {
    bool grades, fits;
    char named[160];
};

/* Whether "A, B" has `name` among its names. */
static bool is_named(const char *names, const char *name) {
    const size_t length = strlen(name);
    for (const char *at = strstr(names, name); at != NULL; at = strstr(at + 1, name)) {
        if ((at == names || at[-1] == ' ') && (at[length] == '\0' || at[length] == ',')) {
            return true;
        }
    }
    return false;
}

static void count(struct tally *tally, const struct kb_limit_place *place, const char *grade) {
    if (!place->by_grade) {
        return;
    }
    tally->grades = true;
    tally->fits = tally->fits || (grade != NULL && same_grade(place->grade, grade));
    size_t used = strlen(tally->named);
    if (!is_named(tally->named, place->grade)) {
        (void)snprintf(tally->named + used, sizeof tally->named - used, "%s%s",
                       used > 0 ? ", " : "", place->grade);
    }
}

static enum kb_status check_grades(const struct kb_job *job, const char *grade,
                                   struct kb_err *err) {
    struct tally tally = {.grades = false};
    for (size_t i = 0; i < job->count; i++) {
        struct kb_limit_place place;
        if (kb_is_limit_section(job->entry[i].section)) {
            enum kb_status status =
                kb_limit_place_parse(job->entry[i].section, job->path, &place, err);
            if (status != KB_OK) {
                return status;
            }
            count(&tally, &place, grade);
        }
    }
    if (!tally.grades || tally.fits) {
        return KB_OK;
    }
    if (grade == NULL) {
        return kb_fail(err, KB_E_USAGE, "app", job->path,
                       "its limits hang on the grade, which is not stated (state one of %.120s)",
                       tally.named);
    }
    return kb_fail(err, KB_E_USAGE, "app", job->path,
                   "it has no limits for grade '%.40s' (it has %.120s)", grade, tally.named);
}

/* Whether some section that fits limits `key`, or some section for other thicknesses only. */
static bool given_for(const struct kb_job *job, const char *key, const char *grade,
                      double section_mm, bool any_thickness) {
    for (size_t i = 0; i < job->count; i++) {
        struct kb_limit_place place;
        if (!kb_is_limit_section(job->entry[i].section) || strcmp(job->entry[i].key, key) != 0 ||
            kb_limit_place_parse(job->entry[i].section, "", &place, NULL) != KB_OK) {
            continue;
        }
        place.by_thickness = place.by_thickness && !any_thickness;
        if (kb_limit_place_fits(&place, grade, section_mm)) {
            return true;
        }
    }
    return false;
}

enum kb_status kb_limit_places_check(const struct kb_job *job, const char *grade, double section_mm,
                                     struct kb_err *err) {
    enum kb_status status = check_grades(job, grade, err);
    for (size_t i = 0; i < job->count && status == KB_OK; i++) {
        const char *key = job->entry[i].key;
        if (!kb_is_limit_section(job->entry[i].section) ||
            given_for(job, key, grade, section_mm, false) ||
            !given_for(job, key, grade, section_mm, true)) {
            continue;
        }
        if (!isfinite(section_mm)) {
            return kb_fail(err, KB_E_USAGE, "app", job->path,
                           "its limit on %.40s hangs on the section thickness, which is not stated "
                           "(state it, say 25mm)",
                           key);
        }
        return kb_fail(err, KB_E_USAGE, "app", job->path,
                       "it has no limit on %.40s for sections of %g mm (add a section for them)",
                       key, section_mm);
    }
    return status;
}
