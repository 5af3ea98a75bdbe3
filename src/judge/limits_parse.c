/* limits_parse.c - a limit as a laboratory writes it, read strictly.
 *
 *   >= 85 %     <= 5 %     20..45 %     >= 100 /mm2     <= 60 um
 *
 * A limit that is misread accepts bad castings, so nothing is guessed: a percentage and a length
 * must say their unit (85 or 0.85 could both be meant), only a count per mm2 may go without. Typed
 * signs for "not less", "not more" and the dash of a range are taken too. An exact value is
 * refused: no measurement with an interval can meet it.
 */
#include "judge_priv.h"

#include <string.h>

/* Longest text of a limit; a longer one is not a limit. */
#define LIMIT_TEXT 96

/* Signs outside ASCII that mean the same as what we read. */
static const struct {
    const char *sign, *plain;
} spellings[] = {
    {"\xe2\x89\xa5", ">="}, /* greater or equal */
    {"\xe2\x89\xa4", "<="}, /* less or equal */
    {"\xe2\x80\x93", ".."}, /* en dash */
    {"\xe2\x80\xa6", ".."}, /* ellipsis */
    {"\xc2\xa0", " "},      /* no-break space */
    {"\xe2\x80\xaf", " "},  /* narrow no-break space */
    {"\xc2\xb2", "2"},      /* superscript two */
};

/* `text` with the spellings above replaced; false when it does not fit. */
static bool simplify(const char *text, char plain[LIMIT_TEXT]) {
    size_t length = 0;
    while (*text != '\0') {
        const char *put = NULL;
        size_t taken = 1;
        for (size_t i = 0; i < sizeof spellings / sizeof spellings[0] && put == NULL; i++) {
            size_t n = strlen(spellings[i].sign);
            if (strncmp(text, spellings[i].sign, n) == 0) {
                put = spellings[i].plain;
                taken = n;
            }
        }
        size_t given = put != NULL ? strlen(put) : 1;
        if (length + given >= LIMIT_TEXT) {
            return false;
        }
        memcpy(plain + length, put != NULL ? put : text, given);
        length += given;
        text += taken;
    }
    plain[length] = '\0';
    return true;
}

static const char *example_of(enum kb_quantity_kind kind) {
    switch (kind) {
    case KB_KIND_COUNT:
        return "'>= 100', '<= 400 /mm2' or '100..400'";
    case KB_KIND_LENGTH:
        return "'<= 60 um', '>= 0.02 mm' or '20..60 um'";
    case KB_KIND_HBW:
        return "'160..210 HBW' or '<= 210 HBW'";
    case KB_KIND_HV:
        return "'160..220 HV' or '<= 220 HV'";
    case KB_KIND_STRESS:
        return "'>= 500 MPa' or '500..650 MPa'";
    case KB_KIND_ENERGY:
        return "'>= 12 J'";
    case KB_KIND_PERCENT:
        break;
    }
    return "'>= 85 %', '<= 5 %' or '20..45 %'";
}

static enum kb_status refuse(const struct kb_limit *limit, const char *what, struct kb_err *err) {
    return kb_fail(err, KB_E_USAGE, "judge", kb_quantity_name(limit->quantity), "%s (write %s)",
                   what, example_of(kb_quantity_kind_of(limit->quantity)));
}

/* Split "85 %" into number and unit, in place; false when no number stands in front. */
static bool split_unit(char *text, double *number, char **unit) {
    char digits[LIMIT_TEXT];
    text = kb_trim(text);
    size_t length = strspn(text, "+-.0123456789");
    memcpy(digits, text, length);
    digits[length] = '\0';
    *unit = kb_trim(text + length);
    return kb_parse_number(digits, number);
}

static bool is_count_unit(const char *unit) {
    static const char *const known[] = {"", "/mm2", "1/mm2", "per mm2", "/mm^2", "mm-2"};
    for (size_t i = 0; i < sizeof known / sizeof known[0]; i++) {
        if (strcmp(unit, known[i]) == 0) {
            return true;
        }
    }
    return false;
}

/* Quantities whose unit has one name, or two. */
static const char *check_plain_unit(const char *says, enum kb_quantity_kind kind) {
    switch (kind) {
    case KB_KIND_HBW: /* hardness has its scale in its name already */
        return says[0] == '\0' || strcmp(says, "HBW") == 0 ? NULL : "the scale is HBW";
    case KB_KIND_HV:
        return says[0] == '\0' || strcmp(says, "HV") == 0 ? NULL : "the scale is HV";
    case KB_KIND_STRESS:
        return strcmp(says, "MPa") == 0 || strcmp(says, "N/mm2") == 0 ? NULL : "the unit is MPa";
    case KB_KIND_ENERGY:
        return strcmp(says, "J") == 0 ? NULL : "the unit is J";
    default:
        return NULL;
    }
}

static bool has_plain_unit(enum kb_quantity_kind kind) {
    return kind == KB_KIND_HBW || kind == KB_KIND_HV || kind == KB_KIND_STRESS ||
           kind == KB_KIND_ENERGY;
}

/* One bound: number and unit to the unit shown to readers; NULL, or what is wrong. */
static const char *read_bound(char *text, const char *unit_beside, enum kb_quantity_kind kind,
                              double *bound) {
    double number = 0.0;
    char *unit = NULL;
    if (!split_unit(text, &number, &unit)) {
        return "not a number (decimals take a point)";
    }
    const char *says = unit[0] != '\0' ? unit : unit_beside;
    if (says[0] == ',') {
        return "decimals take a point, not a comma";
    }
    if (kind == KB_KIND_COUNT) {
        if (!is_count_unit(says)) {
            return "a count is per mm2";
        }
    } else if (has_plain_unit(kind)) {
        const char *wrong = check_plain_unit(says, kind);
        if (wrong != NULL) {
            return wrong;
        }
    } else if (says[0] == '\0') {
        return "the unit is missing";
    } else if (kind == KB_KIND_PERCENT) {
        if (strcmp(says, "%") != 0) {
            return "the unit is per cent";
        }
        if (number > 100.0) {
            return "more than 100 %";
        }
    } else {
        char length[2 * LIMIT_TEXT];
        (void)snprintf(length, sizeof length, "1 %s", says);
        double um = 0.0;
        if (!kb_parse_length_um(length, &um)) {
            return "the unit is a length: um, nm or mm";
        }
        number *= um;
    }
    if (number < 0.0) {
        return "below 0";
    }
    *bound = number;
    return NULL;
}

/* Where a range is parted: at "..", or at a hyphen behind a number or unit. NULL: no range.
 * *length: of the sign. */
static char *find_range(char *text, size_t *length) {
    char *at = strstr(text, "..");
    if (at != NULL) {
        *length = 2;
        return at;
    }
    for (char *c = text + 1; text[0] != '\0' && *c != '\0'; c++) {
        const char *before = c - 1;
        while (before > text && *before == ' ') {
            before--;
        }
        bool behind = *before == '%' || (*before >= '0' && *before <= '9');
        if (*c == '-' && behind) {
            *length = 1;
            return c;
        }
    }
    return NULL;
}

/* The unit that the second bound of a range states, for a first one without. */
static void unit_of(const char *text, char unit[LIMIT_TEXT]) {
    char copy[LIMIT_TEXT];
    double number = 0.0;
    char *found = NULL;
    (void)snprintf(copy, sizeof copy, "%s", text);
    (void)snprintf(unit, LIMIT_TEXT, "%s", split_unit(copy, &number, &found) ? found : "");
}

static enum kb_status read_range(char *text, char *at, size_t length, struct kb_limit *limit,
                                 struct kb_err *err) {
    enum kb_quantity_kind kind = kb_quantity_kind_of(limit->quantity);
    char *second = at + length;
    char unit[LIMIT_TEXT];
    if (*second == '.') {
        return refuse(limit, "a range has two points between its numbers", err);
    }
    *at = '\0';
    unit_of(second, unit);
    const char *wrong = read_bound(second, "", kind, &limit->high);
    if (wrong == NULL) {
        wrong = read_bound(text, unit, kind, &limit->low);
    }
    if (wrong != NULL) {
        return refuse(limit, wrong, err);
    }
    if (!(limit->low < limit->high)) {
        return refuse(limit, "the lower end of a range is not below the upper one", err);
    }
    return KB_OK;
}

static enum kb_status read_limit(char *text, struct kb_limit *limit, struct kb_err *err) {
    text = kb_trim(text);
    bool least = text[0] == '>';
    if (least || text[0] == '<') {
        text += text[1] == '=' ? 2 : 1;
        const char *wrong = read_bound(text, "", kb_quantity_kind_of(limit->quantity),
                                       least ? &limit->low : &limit->high);
        return wrong == NULL ? KB_OK : refuse(limit, wrong, err);
    }
    if (strncmp(text, "=>", 2) == 0 || strncmp(text, "=<", 2) == 0) {
        return refuse(limit, "the sign is the wrong way round: >= or <=", err);
    }
    if (text[0] == '=') {
        return refuse(limit, "no measurement meets an exact value: give a bound or a range", err);
    }
    size_t length = 0;
    char *at = find_range(text, &length);
    if (at == NULL) {
        return refuse(limit, text[0] == '\0' ? "no limit given" : "neither a bound nor a range",
                      err);
    }
    return read_range(text, at, length, limit, err);
}

static enum kb_status refuse_name(const char *quantity, struct kb_err *err) {
    const char *name = kb_quantity_nearest(quantity);
    if (name != NULL) {
        return kb_fail(err, KB_E_USAGE, "judge", quantity,
                       "there is no such quantity (did you mean '%s'?)", name);
    }
    struct kb_text all = KB_TEXT_INIT;
    for (int i = 0; i < KB_QUANTITIES; i++) {
        kb_text_format(&all, "%s%s", i == 0 ? "" : ", ", kb_quantity_name((enum kb_quantity)i));
    }
    enum kb_status status = all.failed
                                ? kb_fail_memory(err, "judge", LIMIT_TEXT)
                                : kb_fail(err, KB_E_USAGE, "judge", quantity,
                                          "there is no such quantity (known are %s)", all.data);
    kb_text_release(&all);
    return status;
}

enum kb_status kb_limit_parse(const char *quantity, const char *text, struct kb_limit *limit,
                              struct kb_err *err) {
    struct kb_limit found = {KB_Q_NODULARITY, KB_NAN, KB_NAN};
    if (!kb_quantity_parse(quantity, &found.quantity)) {
        return refuse_name(quantity, err);
    }
    char plain[LIMIT_TEXT];
    if (!simplify(text, plain)) {
        return refuse(&found, "too long for a limit", err);
    }
    enum kb_status status = read_limit(plain, &found, err);
    if (status == KB_OK) {
        *limit = found;
    }
    return status;
}
