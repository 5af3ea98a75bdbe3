/* job_fixture.h - a scratch folder with a job file, and a request read and resolved as the program
 * does. For one suite a program: it holds state. */
#ifndef KB_TEST_JOB_FIXTURE_H
#define KB_TEST_JOB_FIXTURE_H

#include "kb_cmocka.h"
#include "request.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static char folder[] = "/tmp/kb-job-XXXXXX";
static char job_path[64];

static inline int make_folder(void **state) {
    (void)state;
    if (mkdtemp(folder) == NULL) {
        return 1;
    }
    (void)snprintf(job_path, sizeof job_path, "%s/part.ini", folder);
    return 0;
}

static inline int drop_folder(void **state) {
    (void)state;
    (void)unlink(job_path);
    return rmdir(folder);
}

static inline void write_job(const char *text) {
    assert_int_equal(kb_write_file(job_path, text, strlen(text), NULL), KB_OK);
}

static inline enum kb_status resolve(struct kb_request *request, int argc, char **argv,
                                     struct kb_err *err) {
    kb_request_init(request, KB_MEASURE);
    enum kb_status status = kb_request_line(request, argc, argv, err);
    return status == KB_OK ? kb_request_resolve(request, err) : status;
}

#endif
