/* share.c - shares on disk: one small file a field, named by what it was measured from.
 *
 * The name is the SHA-256 of the picture's digest, the blank field's, every setting that decides
 * what is measured in the field, and the version of the program. So a share is right by its name
 * alone: nothing has to be kept in step, several machines may write into one folder, and a changed
 * picture or setting simply has another name. The file closes with the SHA-256 of what stands
 * before it; one that is cut or damaged counts as not there and is measured again.
 */
#include "share.h"

#include <nettle/sha2.h>
#include <string.h>

/* First bytes of a share. The number rises with every change of the layout. */
static const char magic[] = "keelblock share 4\n";
enum { SEAL = SHA256_DIGEST_SIZE, SHARE_MOST = 1 << 26 };

static void seal_of(const void *bytes, size_t size, uint8_t seal[SEAL]) {
    struct sha256_ctx sha;
    sha256_init(&sha);
    sha256_update(&sha, size, bytes);
    sha256_digest(&sha, SEAL, seal);
}

void kb_share_digest(const void *bytes, size_t size, char hex[65]) {
    uint8_t seal[SEAL];
    seal_of(bytes, size, seal);
    for (size_t i = 0; i < SEAL; i++) {
        (void)snprintf(hex + 2 * i, 3, "%02x", seal[i]);
    }
}

enum kb_status kb_share_name(const struct kb_plan *plan, size_t index, const char *picture_sha256,
                             const char *blank_sha256, char name[KB_SHARE_NAME],
                             struct kb_err *err) {
    struct kb_text text = KB_TEXT_INIT;
    kb_text_format(&text, "%s%s\n%s\n%s\n", magic, KB_VERSION, picture_sha256, blank_sha256);
    struct kb_pack pack = kb_packing(&text);
    kb_share_pack_settings(&pack, plan, index);
    char hex[65];
    if (pack.failed || text.failed) {
        kb_text_release(&text);
        return kb_fail_memory(err, "app", 1);
    }
    kb_share_digest(text.data, text.length, hex);
    kb_text_release(&text);
    memcpy(name, hex, KB_SHARE_NAME);
    return KB_OK;
}

/* ---- writing ---- */

static char *file_path(const char *folder, const char *name, const char *ending) {
    char file[KB_SHARE_NAME + 16];
    (void)snprintf(file, sizeof file, "%s.%s", name, ending);
    return kb_join_path(folder, file);
}

/* What was packed behind the magic, with its seal; `text` is released. */
static enum kb_status write_sealed(const char *folder, const char *name, const char *ending,
                                   bool packed, struct kb_text *text, struct kb_err *err) {
    uint8_t seal[SEAL];
    char *path = file_path(folder, name, ending);
    if (packed && !text->failed) {
        seal_of(text->data, text->length, seal);
        kb_text_add_bytes(text, (const char *)seal, SEAL);
    }
    enum kb_status status = KB_OK;
    if (!packed || text->failed || path == NULL) {
        status = kb_fail_memory(err, "app", text->length);
    } else if (text->length > SHARE_MOST) { /* it could not be read back */
        status = kb_fail(err, KB_E_INPUT, "app", name,
                         "the field has too many particles for a batch (%zu bytes of figures; "
                         "exclude what is no specimen, or raise --min-feret)",
                         text->length);
    } else {
        status = kb_write_file(path, text->data, text->length, err);
    }
    kb_free(path);
    kb_text_release(text);
    return status;
}

static enum kb_status write_pictures(const char *folder, const char *name,
                                     struct kb_field_result *field, struct kb_err *err) {
    struct kb_text text = KB_TEXT_INIT;
    kb_text_add(&text, magic);
    struct kb_pack pack = kb_packing(&text);
    kb_share_pack_pictures(&pack, field);
    return write_sealed(folder, name, "pictures", !pack.failed, &text, err);
}

enum kb_status kb_share_write(const char *folder, const char *name, const struct kb_share *share,
                              struct kb_err *err) {
    struct kb_text text = KB_TEXT_INIT;
    enum kb_status status = KB_OK;
    if (share->field->photo_jpeg != NULL) {
        status = write_pictures(folder, name, share->field, err);
    }
    if (status != KB_OK) {
        return status;
    }
    kb_text_add(&text, magic);
    struct kb_pack pack = kb_packing(&text);
    kb_share_pack(&pack, share);
    return write_sealed(folder, name, "share", !pack.failed, &text, err);
}

/* ---- reading ---- */

/* The whole file, NULL when it is not there, is too large, or memory is out. */
static uint8_t *load(const char *path, size_t *size) {
    FILE *stream = fopen(path, "rbe");
    if (stream == NULL) {
        return NULL;
    }
    uint8_t *bytes = NULL;
    long length = fseek(stream, 0, SEEK_END) == 0 ? ftell(stream) : -1;
    if (length > 0 && length <= SHARE_MOST && fseek(stream, 0, SEEK_SET) == 0) {
        bytes = kb_alloc((size_t)length, 1);
    }
    if (bytes != NULL && fread(bytes, 1, (size_t)length, stream) != (size_t)length) {
        kb_free(bytes);
        bytes = NULL;
    }
    (void)fclose(stream);
    *size = bytes != NULL ? (size_t)length : 0;
    return bytes;
}

/* The bytes of a sound file; release with kb_free(). The body lies between *from and *to. */
static uint8_t *load_sound(const char *folder, const char *name, const char *ending,
                           const uint8_t **from, const uint8_t **to) {
    const size_t head = sizeof magic - 1;
    char *path = file_path(folder, name, ending);
    size_t size = 0;
    uint8_t *bytes = path != NULL ? load(path, &size) : NULL;
    kb_free(path);
    uint8_t seal[SEAL];
    bool sound = bytes != NULL && size > head + SEAL && memcmp(bytes, magic, head) == 0;
    if (sound) {
        seal_of(bytes, size - SEAL, seal);
        sound = memcmp(seal, bytes + size - SEAL, SEAL) == 0;
    }
    if (!sound) {
        kb_free(bytes);
        return NULL;
    }
    *from = bytes + head;
    *to = bytes + size - SEAL;
    return bytes;
}

bool kb_share_is_there(const char *folder, const char *name, bool pictures) {
    const uint8_t *from = NULL, *to = NULL;
    uint8_t *bytes = load_sound(folder, name, "share", &from, &to);
    bool there = bytes != NULL;
    kb_free(bytes);
    if (there && pictures) {
        bytes = load_sound(folder, name, "pictures", &from, &to);
        there = bytes != NULL;
        kb_free(bytes);
    }
    return there;
}

void kb_share_read_pictures(const char *folder, const char *name, struct kb_field_result *field) {
    const uint8_t *from = NULL, *to = NULL;
    uint8_t *bytes = load_sound(folder, name, "pictures", &from, &to);
    if (bytes == NULL) {
        return;
    }
    struct kb_pack pack = kb_unpacking(from, (size_t)(to - from), NULL);
    kb_share_pack_pictures(&pack, field);
    if (pack.failed) {
        kb_free(field->photo_jpeg);
        kb_free(field->overlay_jpeg);
        field->photo_jpeg = field->overlay_jpeg = NULL;
    }
    kb_free(bytes);
}

enum kb_status kb_share_read(const char *folder, const char *name, struct kb_words *words,
                             const struct kb_share *share, struct kb_err *err) {
    const uint8_t *from = NULL, *to = NULL;
    uint8_t *bytes = load_sound(folder, name, "share", &from, &to);
    if (bytes == NULL) {
        return kb_fail(err, KB_E_INPUT, "app", name,
                       "a share of this batch is missing or damaged (run the batch again: what is "
                       "missing is measured)");
    }
    struct kb_pack pack = kb_unpacking(from, (size_t)(to - from), words);
    kb_share_pack(&pack, share);
    const bool sound = !pack.failed && pack.at == pack.end;
    kb_free(bytes);
    if (!sound) {
        kb_field_result_release(share->field);
        return kb_fail(err, KB_E_INPUT, "app", name,
                       "a share of this batch makes no sense (delete it and run the batch again)");
    }
    struct kb_field_figures *figures = &share->field->figures;
    if (figures->graphite_measured) {
        figures->particle = share->field->particles.particle;
        figures->particle_count = share->field->particles.count;
    }
    return KB_OK;
}
