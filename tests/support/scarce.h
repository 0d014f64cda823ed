/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Memory that runs out when a test says so. Include in one file of a test program, which then has this
 * allocator, by way of glibc's own entry points; SCARCE is defined where that works: other C libraries and
 * the sanitizers have allocators of their own, and a test says then what it did not check.
 */
#ifndef SUPPORT_SCARCE_H
#define SUPPORT_SCARCE_H

#include <errno.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>

#if defined(__has_feature)
#if __has_feature(address_sanitizer) || __has_feature(memory_sanitizer) || __has_feature(thread_sanitizer)
#define SCARCE_NOT 1
#endif
#endif
#if defined(__GLIBC__) && !defined(__SANITIZE_ADDRESS__) && !defined(SCARCE_NOT)
#define SCARCE 1

void *__libc_malloc(size_t size);
void *__libc_calloc(size_t count, size_t size);
void *__libc_realloc(void *block, size_t size);
void __libc_free(void *block);

static bool scarce_counting;
static size_t scarce_left; /* allocations that still succeed */
static bool scarce_failed;
static long scarce_live; /* blocks taken and not given back while counting */

static inline bool scarce_refuses(void)
{
    if (!scarce_counting || scarce_left-- > 0)
        return false;
    /* Only one fails: what the clean-up asks for is given. */
    scarce_left = SIZE_MAX;
    scarce_failed = true;
    errno = ENOMEM;
    return true;
}

void *malloc(size_t size)
{
    void *block = scarce_refuses() ? NULL : __libc_malloc(size);
    scarce_live += scarce_counting && block != NULL;
    return block;
}

void *calloc(size_t count, size_t size)
{
    void *block = scarce_refuses() ? NULL : __libc_calloc(count, size);
    scarce_live += scarce_counting && block != NULL;
    return block;
}

void *realloc(void *block, size_t size)
{
    void *grown = scarce_refuses() ? NULL : __libc_realloc(block, size);
    scarce_live += scarce_counting && block == NULL && grown != NULL;
    return grown;
}

void free(void *block)
{
    scarce_live -= scarce_counting && block != NULL;
    __libc_free(block);
}

/* From here on, `allocations` succeed and the next one fails. */
static inline void scarce_after(size_t allocations)
{
    scarce_left = allocations;
    scarce_failed = false;
    scarce_live = 0;
    scarce_counting = true;
}

/* Plenty again. Whether an allocation failed. */
static inline bool scarce_end(void)
{
    scarce_counting = false;
    return scarce_failed;
}
#endif

#endif
