/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Memory that runs out when a test says so. Include in one file of a test program, of which the first line is
 * #define _GNU_SOURCE.
 *
 * Plain build on glibc: the program brings its own malloc() and the rest, over glibc's own entry points, so
 * that what the C library, GSL, jansson, libcsv and inih ask for fails, too. What FFTW asks for is left
 * alone after failing_start(): its planner ends the program where memory runs out, and does not let itself be
 * told otherwise. It is known by the address it calls from.
 *
 * Sanitizer build (FAILING_WRAPPED): those have an allocator of their own, so that the linker's --wrap brings
 * the library's own calls here, and those only; the sanitizer sees what they leak.
 *
 * FAILING is defined where one of the two is at hand; elsewhere a test says what it did not check.
 */
#ifndef SUPPORT_FAILING_H
#define SUPPORT_FAILING_H

#include <errno.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#if defined(__has_feature)
#if __has_feature(address_sanitizer) || __has_feature(memory_sanitizer) || __has_feature(thread_sanitizer)
#define FAILING_SANITIZED 1
#endif
#endif
#if defined(__SANITIZE_ADDRESS__) || defined(__SANITIZE_THREAD__)
#define FAILING_SANITIZED 1
#endif

static bool failing_on;
static size_t failing_left; /* allocations that still succeed */
static bool failing_done;   /* one was refused */
static long failing_live;   /* blocks taken and not given back while on; counted in the plain build only */

/* Whether this one fails. Only one does: what the clean-up asks for is given. */
static inline bool failing_now(void)
{
    if (!failing_on || failing_left-- > 0)
        return false;
    failing_left = SIZE_MAX;
    failing_done = true;
    errno = ENOMEM;
    return true;
}

/* From here on, `allocations` succeed and the next one fails. */
static inline void failing_after(size_t allocations)
{
    failing_left = allocations;
    failing_done = false;
    failing_live = 0;
    failing_on = true;
}

/* Plenty again. Whether an allocation failed. */
static inline bool failing_end(void)
{
    failing_on = false;
    return failing_done;
}

#if defined(FAILING_WRAPPED)
#define FAILING 1

void *__real_malloc(size_t size);
void *__real_calloc(size_t count, size_t size);
void *__real_realloc(void *block, size_t size);
char *__real_strdup(const char *text);
void *__wrap_malloc(size_t size);
void *__wrap_calloc(size_t count, size_t size);
void *__wrap_realloc(void *block, size_t size);
char *__wrap_strdup(const char *text);

void *__wrap_malloc(size_t size)
{
    return failing_now() ? NULL : __real_malloc(size);
}

void *__wrap_calloc(size_t count, size_t size)
{
    return failing_now() ? NULL : __real_calloc(count, size);
}

void *__wrap_realloc(void *block, size_t size)
{
    return failing_now() ? NULL : __real_realloc(block, size);
}

char *__wrap_strdup(const char *text)
{
    return failing_now() ? NULL : __real_strdup(text);
}

static inline void failing_start(void)
{
}

#elif defined(__GLIBC__) && !defined(FAILING_SANITIZED)
#define FAILING         1
#define FAILING_COUNTED 1 /* failing_live is true */

#include <link.h>

void *__libc_malloc(size_t size);
void *__libc_calloc(size_t count, size_t size);
void *__libc_realloc(void *block, size_t size);
void *__libc_memalign(size_t alignment, size_t size);
void __libc_free(void *block);
void *memalign(size_t alignment, size_t size);

/* Where FFTW's code lies. */
static struct {
    uintptr_t from, to;
} failing_fftw[8];
static size_t failing_n_fftw;

static inline int failing_look(struct dl_phdr_info *info, size_t size, void *context)
{
    (void)size;
    (void)context;
    if (strstr(info->dlpi_name, "fftw") == NULL)
        return 0;
    for (size_t i = 0; i < info->dlpi_phnum && failing_n_fftw < 8; i++) {
        const uintptr_t from = (uintptr_t)info->dlpi_addr + info->dlpi_phdr[i].p_vaddr;
        if (info->dlpi_phdr[i].p_type == PT_LOAD && (info->dlpi_phdr[i].p_flags & PF_X) != 0) {
            failing_fftw[failing_n_fftw].from = from;
            failing_fftw[failing_n_fftw++].to = from + info->dlpi_phdr[i].p_memsz;
        }
    }
    return 0;
}

/* Once, before anything fails, by a program that lets FFTW plan while allocations fail. */
static inline void failing_start(void)
{
    dl_iterate_phdr(failing_look, NULL);
}

static inline bool failing_is_fftw(const void *caller)
{
    for (size_t i = 0; i < failing_n_fftw; i++)
        if ((uintptr_t)caller >= failing_fftw[i].from && (uintptr_t)caller < failing_fftw[i].to)
            return true;
    return false;
}

#define FAILING_CALLER __builtin_extract_return_addr(__builtin_return_address(0))

/* A block that counts, if its taker does. */
static inline void *failing_count(void *block, bool counts)
{
    failing_live += failing_on && counts && block != NULL;
    return block;
}

void *malloc(size_t size)
{
    const bool counts = !failing_is_fftw(FAILING_CALLER);
    return counts && failing_now() ? NULL : failing_count(__libc_malloc(size), counts);
}

void *calloc(size_t count, size_t size)
{
    const bool counts = !failing_is_fftw(FAILING_CALLER);
    return counts && failing_now() ? NULL : failing_count(__libc_calloc(count, size), counts);
}

void *realloc(void *block, size_t size)
{
    const bool counts = !failing_is_fftw(FAILING_CALLER);
    void *grown = counts && failing_now() ? NULL : __libc_realloc(block, size);
    return block == NULL ? failing_count(grown, counts) : grown;
}

void *memalign(size_t alignment, size_t size)
{
    const bool counts = !failing_is_fftw(FAILING_CALLER);
    return counts && failing_now() ? NULL : failing_count(__libc_memalign(alignment, size), counts);
}

int posix_memalign(void **block, size_t alignment, size_t size)
{
    const bool counts = !failing_is_fftw(FAILING_CALLER);
    void *made = counts && failing_now() ? NULL : failing_count(__libc_memalign(alignment, size), counts);

    if (made == NULL)
        return ENOMEM;
    *block = made;
    return 0;
}

void free(void *block)
{
    failing_live -= failing_on && block != NULL && !failing_is_fftw(FAILING_CALLER);
    __libc_free(block);
}
#endif

#endif
