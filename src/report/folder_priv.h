/* folder_priv.h - names and moves in the output folder. */
#ifndef KB_FOLDER_PRIV_H
#define KB_FOLDER_PRIV_H

#include "report_priv.h"

#define KB_RESULT_NAME "result.json"
#define KB_PAPER_FILE "report.pdf" /* the only one of its files that a result may lack */

/* Names of the files in a folder, those that begin with a dot left out, sorted by bytes. */
struct kb_names {
    char **name;
    size_t count, capacity;
};
KB_NODISCARD enum kb_status kb_names_read(const char *folder, struct kb_names *names,
                                          struct kb_err *err);
KB_NODISCARD enum kb_status kb_names_add(struct kb_names *names, const char *name,
                                         struct kb_err *err);
void kb_names_release(struct kb_names *names);

/* Move every file of `aside` into `folder`, all or none; overlays in `folder` that are named like
 * ours and are not among them go. */
KB_NODISCARD enum kb_status kb_folder_move(const char *aside, const char *folder,
                                           struct kb_err *err);
/* Remove a folder with the files and one level of folders in it; never follows links. */
void kb_folder_remove(const char *folder);
enum kb_status kb_folder_failure(struct kb_err *err, const char *path, const char *what);

#endif
