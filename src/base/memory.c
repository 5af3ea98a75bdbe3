/* memory.c - the one door to the allocator, with checked sizes and a hook for tests. */
#include "keelblock/base.h"

#include <stdlib.h>
#include <string.h>

static void *c_resize(void *context, void *block, size_t size) {
    (void)context;
    return realloc(block, size);
}

static void c_release(void *context, void *block) {
    (void)context;
    free(block);
}

static const struct kb_memory_hook c_library = {c_resize, c_release, NULL};
static struct kb_memory_hook hook = {c_resize, c_release, NULL};

void kb_memory_hook_set(const struct kb_memory_hook *replacement) {
    hook = replacement != NULL ? *replacement : c_library;
}

bool kb_size_multiply(size_t a, size_t b, size_t *product) {
    if (b != 0 && a > SIZE_MAX / b) {
        return false;
    }
    *product = a * b;
    return true;
}

void *kb_resize(void *block, size_t count, size_t size) {
    size_t bytes = 0;
    if (!kb_size_multiply(count, size, &bytes)) {
        return NULL;
    }
    /* realloc(block, 0) may free: ask for one byte, so that NULL always means failure */
    return hook.resize(hook.context, block, bytes > 0 ? bytes : 1);
}

void *kb_alloc(size_t count, size_t size) {
    return kb_resize(NULL, count, size);
}

void *kb_alloc_zero(size_t count, size_t size) {
    void *block = kb_alloc(count, size);
    if (block != NULL) {
        memset(block, 0, count * size);
    }
    return block;
}

char *kb_copy_string(const char *string) {
    if (string == NULL) {
        return NULL;
    }
    size_t size = strlen(string) + 1;
    char *copy = kb_alloc(size, 1);
    if (copy != NULL) {
        memcpy(copy, string, size);
    }
    return copy;
}

void kb_free(void *block) {
    hook.release(hook.context, block);
}

bool kb_grow(void **items, size_t count, size_t *capacity, size_t size) {
    if (count < *capacity) {
        return true;
    }
    size_t wanted = *capacity < 8 ? 8 : *capacity + *capacity / 2;
    void *grown = kb_resize(*items, wanted, size);
    if (grown == NULL) {
        return false;
    }
    *items = grown;
    *capacity = wanted;
    return true;
}
