/* SPDX-License-Identifier: GPL-3.0-or-later */
#define _DEFAULT_SOURCE /* madvise() is no part of POSIX */
#include "support/pages.h"

#include <stdlib.h>
#include <sys/mman.h>

#define LARGE                                                                                                \
    ((size_t)2 << 20) /* [bytes] a large page of most processors; elsewhere it is just an alignment */

void *sr_pages_alloc(size_t size)
{
#ifdef MADV_HUGEPAGE
    void *start;

    if (size < 2 * LARGE)
        return malloc(size);
    if (posix_memalign(&start, LARGE, size) != 0)
        return NULL;
    (void)madvise(start, size - size % LARGE, MADV_HUGEPAGE); /* a wish: small pages do as well */
    return start;
#else
    return malloc(size);
#endif
}
