/* fail_alloc.h - make the n-th allocation of the library fail. */
#ifndef KB_TEST_FAIL_ALLOC_H
#define KB_TEST_FAIL_ALLOC_H

#include <stddef.h>

/* From now on the n-th allocation (1-based) and all later ones fail; 0 switches the hook off. */
void fail_alloc_at(size_t n);
/* No allocation fails any more; the count of open blocks goes on. */
void fail_alloc_no_more(void);
/* Whether an allocation has failed since fail_alloc_at(). */
int fail_alloc_happened(void);
/* Blocks allocated and not yet released since fail_alloc_at(). */
long fail_alloc_open_blocks(void);

#endif
