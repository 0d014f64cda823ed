/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Large arrays in large pages: memory comes from the system page by page when it is
 * first written to, and with small pages that takes longer than filling them.
 */
#ifndef SR_SUPPORT_PAGES_H
#define SR_SUPPORT_PAGES_H

#include <stddef.h>

/*
 * As malloc(size), to be given to free() or realloc(): but where the system has large
 * pages to give on request, the whole ones in a large array are made of them.
 */
void *sr_pages_alloc(size_t size);

#endif
