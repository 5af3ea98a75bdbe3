/* base.h - what every stage stands on: error value, memory hook, checked sizes, text buffer, strict
 * numbers with units, findings, estimates, files that appear whole or not at all.
 *
 *   BASE > raster > intake > segmentation > morphology > specimen > judge > report > app
 *
 * Knows nothing of pictures. Nothing here prints, exits or aborts.
 */
#ifndef KEELBLOCK_BASE_H
#define KEELBLOCK_BASE_H

#include <math.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#ifdef __cplusplus
extern "C" {
#endif

#if defined(__GNUC__)
#define KB_API __attribute__((visibility("default")))
#define KB_NODISCARD __attribute__((warn_unused_result))
#define KB_PRINTF(fmt, args) __attribute__((format(printf, fmt, args)))
#else
#define KB_API
#define KB_NODISCARD
#define KB_PRINTF(fmt, args)
#endif

/* Before a function that works along a row of pixels: it is compiled twice, for every x86-64
 * processor and for those with 256-bit integers (AVX2), and the loader takes what the machine can
 * run. Both must give the same bytes, so: integers, or floating point a pixel at a time; the
 * compiler neither fuses nor reorders (-ffp-contract=off, no -ffast-math). tests/plain compares a
 * build without it (KB_PLAIN). Sanitizers cannot start under such functions. */
#if defined(__GNUC__) && !defined(__clang__) && defined(__x86_64__) && defined(__linux__) &&       \
    !defined(__SANITIZE_ADDRESS__) && !defined(KB_PLAIN)
#define KB_WIDE __attribute__((target_clones("avx2", "default")))
#else
#define KB_WIDE
#endif

/* ---- errors ------------------------------------------------------------------------------------
 * The function that detects a failure fills the caller's `struct kb_err`; everyone above passes the
 * status on untouched. On success `err` is left as it was. `err` may be NULL when only the status
 * matters. */

enum kb_status {
    KB_OK = 0,
    KB_E_USAGE,  /* an option, a job-file key or a parameter is wrong */
    KB_E_INPUT,  /* a file cannot be read, or holds nothing that can be measured */
    KB_E_UNFIT,  /* the picture was read but must not be measured */
    KB_E_SYSTEM, /* disk, permission, anything the operating system refused */
    KB_E_MEMORY, /* an allocation failed */
};

struct kb_err {
    enum kb_status code;
    char stage[16];    /* "intake", "segmentation", ... */
    char subject[256]; /* file, option or key that the failure is about; "" when none */
    char text[512];    /* one line: what failed, then what to do; lower case, no full stop */
};

/* Fill `err` (when not NULL) and return `code`. `subject` may be NULL. */
KB_API enum kb_status kb_fail(struct kb_err *err, enum kb_status code, const char *stage,
                              const char *subject, const char *format, ...) KB_PRINTF(5, 6);
/* The same for a failed allocation of `size` bytes. */
KB_API enum kb_status kb_fail_memory(struct kb_err *err, const char *stage, size_t size);
/* "intake: 'a.tif': 12-bit samples are not supported (convert to 8 or 16 bit)" into `line`. */
KB_API void kb_err_line(const struct kb_err *err, char *line, size_t size);

/* ---- memory ------------------------------------------------------------------------------------
 * Every allocation of the library goes through these, so that a test can fail the n-th one. */

struct kb_memory_hook {
    void *(*resize)(void *context, void *block, size_t size); /* block NULL: allocate */
    void (*release)(void *context, void *block);
    void *context;
};

/* Replace the allocator for the whole process; NULL restores the C library's. Not thread-safe: call
 * before anything else runs. */
KB_API void kb_memory_hook_set(const struct kb_memory_hook *hook);

/* NULL when out of memory or when count * size overflows. Release with kb_free(). */
KB_API KB_NODISCARD void *kb_alloc(size_t count, size_t size);
KB_API KB_NODISCARD void *kb_alloc_zero(size_t count, size_t size);
/* As realloc(3), for count elements of size; on failure NULL and `block` is still valid. */
KB_API KB_NODISCARD void *kb_resize(void *block, size_t count, size_t size);
KB_API KB_NODISCARD char *kb_copy_string(const char *string); /* NULL in gives NULL out */
KB_API void kb_free(void *block);                             /* NULL is fine */

/* False when a * b does not fit; *product is then untouched. */
KB_API KB_NODISCARD bool kb_size_multiply(size_t a, size_t b, size_t *product);

/* Make room for one more element in a growing array: *items holds `count` elements of `size` bytes
 * with space for *capacity. Returns false when memory runs out; *items is then unchanged. */
KB_API KB_NODISCARD bool kb_grow(void **items, size_t count, size_t *capacity, size_t size);

/* ---- text buffer -------------------------------------------------------------------------------
 * Grows as needed. A failed growth sets `failed` and later calls do nothing, so that a writer
 * checks once at its end. Start with KB_TEXT_INIT; release with kb_text_release(). */

struct kb_text {
    char *data; /* always NUL-terminated when not NULL */
    size_t length;
    size_t capacity;
    bool failed;
};
#define KB_TEXT_INIT                                                                               \
    { NULL, 0, 0, false }

KB_API void kb_text_add(struct kb_text *text, const char *string);
KB_API void kb_text_add_bytes(struct kb_text *text, const char *bytes, size_t length);
KB_API void kb_text_format(struct kb_text *text, const char *format, ...) KB_PRINTF(2, 3);
KB_API void kb_text_release(struct kb_text *text);

/* Numbers are read and written with a decimal point whatever the locale of the host program. A
 * public entry point that parses or prints brackets its work with these two. */
struct kb_locale {
    void *previous;
    void *own;
};
KB_API struct kb_locale kb_locale_enter(void);
KB_API void kb_locale_leave(struct kb_locale locale);

/* ---- strict numbers and quantities -------------------------------------------------------------
 * The whole string must be the number; no NaN, no infinity, no hexadecimal. */

KB_API KB_NODISCARD bool kb_parse_number(const char *string, double *value);
KB_API KB_NODISCARD bool kb_parse_integer(const char *string, int64_t low, int64_t high,
                                          int64_t *value);
/* "0.5um", "0.5 µm", "500 nm", "0.0005mm" to micrometres. A bare number is refused: the unit must
 * be said. */
KB_API KB_NODISCARD bool kb_parse_length_um(const char *string, double *um);
/* "200px" or "200 px" to pixels. */
KB_API KB_NODISCARD bool kb_parse_pixels(const char *string, double *px);
/* "41 %" or "41%" to 0.41; "0.41" to 0.41. A bare number above 1 is refused (it is a percentage
 * that lost its sign). */
KB_API KB_NODISCARD bool kb_parse_fraction(const char *string, double *fraction);
/* Skip leading and cut trailing blanks in place; returns the first kept character. */
KB_API char *kb_trim(char *string);

/* The one of `count` names that `said` most likely meant (edit distance, at most a third of its
 * length); NULL when none comes near. A view into `names`. */
KB_API const char *kb_nearest_name(const char *said, const char *const *names, size_t count);

/* ---- findings ----------------------------------------------------------------------------------
 * Things a reader of the result must know. A finding never replaces an error. */

enum kb_severity { KB_NOTE, KB_WARNING, KB_SERIOUS };

struct kb_finding {
    char code[40]; /* stable word, kebab-case: "scale-unknown" */
    enum kb_severity severity;
    char text[560]; /* a sentence: what is the matter, then what to do about it */
};

struct kb_findings {
    struct kb_finding *item;
    size_t count;
    size_t capacity;
};
#define KB_FINDINGS_INIT                                                                           \
    { NULL, 0, 0 }

KB_API KB_NODISCARD enum kb_status kb_findings_add(struct kb_findings *findings, struct kb_err *err,
                                                   enum kb_severity severity, const char *code,
                                                   const char *format, ...) KB_PRINTF(5, 6);
KB_API bool kb_findings_has(const struct kb_findings *findings, const char *code);
KB_API void kb_findings_release(struct kb_findings *findings);
KB_API const char *kb_severity_name(enum kb_severity severity); /* "note", "warning", "serious" */

/* ---- estimates ---------------------------------------------------------------------------------
 * A measured figure is never bare. */

struct kb_estimate {
    bool measured;     /* false: `why` says why not, every number is NaN */
    bool has_interval; /* false: lo, hi and s are NaN (one field, say) */
    double value;
    double lo, hi;      /* two-sided 95 % confidence interval */
    double s;           /* standard deviation between the sampling units */
    double u_other;     /* standard uncertainty in lo..hi that more units do not lessen; 0: none */
    double freedom;     /* degrees of freedom behind lo..hi; 0: n - 1 */
    size_t n;           /* number of sampling units (fields) */
    const char *unit;   /* static text: "1" for a fraction, "%", "um", "1/mm2" */
    const char *method; /* static text: how value and interval were found */
    const char *why;    /* static text when not measured, else NULL */
};

KB_API struct kb_estimate kb_estimate_missing(const char *unit, const char *why);
/* A value without interval, from n sampling units. */
KB_API struct kb_estimate kb_estimate_point(double value, size_t n, const char *unit,
                                            const char *method);

/* ---- files that appear whole or not at all -----------------------------------------------------
 * Written aside in the target's folder, flushed to disk, then renamed over the target. */

struct kb_outfile {
    FILE *stream; /* write here */
    char *path;
    char *aside;
};

KB_API KB_NODISCARD enum kb_status kb_outfile_open(const char *path, struct kb_outfile *out,
                                                   struct kb_err *err);
/* Flush, fsync, rename. On failure nothing is left behind. `out` is released either way. */
KB_API KB_NODISCARD enum kb_status kb_outfile_commit(struct kb_outfile *out, struct kb_err *err);
/* Drop what was written. Does nothing on an `out` that is not open. */
KB_API void kb_outfile_abandon(struct kb_outfile *out);
/* Remove what killed programs left unfinished in `folder`: files of ours that are written aside and
 * have not been touched for so many seconds. 0: all; only where nobody else can be writing. */
KB_API void kb_outfile_tidy(const char *folder, double left_after_s);
/* Whole buffer to a file in one call. */
KB_API KB_NODISCARD enum kb_status kb_write_file(const char *path, const void *data, size_t size,
                                                 struct kb_err *err);
/* Make a folder and its parents; fine when it exists. */
KB_API KB_NODISCARD enum kb_status kb_make_folder(const char *path, struct kb_err *err);
/* "folder/name" in new memory; NULL when out of memory. */
KB_API KB_NODISCARD char *kb_join_path(const char *folder, const char *name);
KB_API const char *kb_base_name(const char *path); /* view into path */

/* ---- progress and time -------------------------------------------------------------------------
 */

/* Owned by the caller; a stage only calls it. May be called from any thread, one at a time. */
struct kb_progress {
    void (*step)(void *context, size_t done, size_t total);
    void *context;
};
KB_API void kb_progress_step(const struct kb_progress *progress, size_t done, size_t total);
KB_API double kb_clock_s(void); /* monotonic seconds */

#ifdef __cplusplus
}
#endif
#endif
