/* fail_alloc.c - an allocator that runs out on demand (see fail_alloc.h). Serial tests only: set
 * OMP_NUM_THREADS=1 or use code without threads. */
#include "fail_alloc.h"

#include "keelblock/base.h"

#include <stdint.h>
#include <stdlib.h>

static size_t fail_from, calls;
static int failed;
static long open_blocks;

static void *resize(void *context, void *block, size_t size) {
    (void)context;
    if (++calls >= fail_from) {
        failed = 1;
        return NULL;
    }
    void *fresh = realloc(block, size);
    if (fresh != NULL && block == NULL) {
        open_blocks++;
    }
    return fresh;
}

static void release(void *context, void *block) {
    (void)context;
    if (block != NULL) {
        open_blocks--;
    }
    free(block);
}

void fail_alloc_at(size_t n) {
    static const struct kb_memory_hook hook = {resize, release, NULL};
    fail_from = n;
    calls = 0;
    failed = 0;
    open_blocks = 0;
    kb_memory_hook_set(n == 0 ? NULL : &hook);
}

void fail_alloc_no_more(void) {
    fail_from = SIZE_MAX;
}

int fail_alloc_happened(void) {
    return failed;
}

long fail_alloc_open_blocks(void) {
    return open_blocks;
}
