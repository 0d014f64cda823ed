/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Every allocation of the spectrum room fails in turn: SR_ERR_MEMORY, outputs untouched,
 * nothing leaked. The allocator is replaced in this program, by way of glibc's own entry
 * points; other C libraries and the sanitizers, which have allocators of their own, skip it.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <errno.h>
#include <stdbool.h>
#include <stdlib.h>

#include "stillrow/spectrum.h"

#if defined(__has_feature)
#if __has_feature(address_sanitizer) || __has_feature(memory_sanitizer)
#define OWN_ALLOCATOR 1
#endif
#endif
#if defined(__SANITIZE_ADDRESS__) || !defined(__GLIBC__)
#define OWN_ALLOCATOR 1
#endif

#ifdef OWN_ALLOCATOR
static void skipped(void **state)
{
    (void)state;
    print_message("SKIPPED: this build has an allocator of its own; NOT CHECKED: failing allocations of "
                  "sr_welch_new, sr_floor, sr_lines_find\n");
    skip();
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(skipped)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
#else

void *__libc_malloc(size_t size);
void *__libc_calloc(size_t count, size_t size);
void *__libc_memalign(size_t alignment, size_t size);
void __libc_free(void *block);
void *memalign(size_t alignment, size_t size);

static bool counting;
static size_t until_failure; /* allocations that still succeed */
static bool failed;
static long live; /* blocks taken and not given back while counting */

static bool refuse(void)
{
    if (!counting || until_failure-- > 0)
        return false;
    /* Only one fails: what the clean-up asks for is given. */
    until_failure = SIZE_MAX;
    failed = true;
    return true;
}

static void *counted(void *block)
{
    live += counting && block != NULL;
    return block;
}

void *malloc(size_t size)
{
    return refuse() ? NULL : counted(__libc_malloc(size));
}

void *calloc(size_t count, size_t size)
{
    return refuse() ? NULL : counted(__libc_calloc(count, size));
}

void *memalign(size_t alignment, size_t size)
{
    return refuse() ? NULL : counted(__libc_memalign(alignment, size));
}

int posix_memalign(void **block, size_t alignment, size_t size)
{
    void *made = memalign(alignment, size);

    if (!made)
        return ENOMEM;
    *block = made;
    return 0;
}

void free(void *block)
{
    live -= counting && block != NULL;
    __libc_free(block);
}

static void fail_after(size_t allocations)
{
    until_failure = allocations;
    failed = false;
    live = 0;
    counting = true;
}

static void stop(void)
{
    counting = false;
}

/* Four allocations are the estimator's; those after them FFTW's planner's, which does not survive a failure.
 */
static void estimator(void **state)
{
    (void)state;
    for (size_t n = 0; n < 4; n++) {
        struct sr_welch *welch = NULL;
        struct sr_error err = {.status = SR_OK};
        enum sr_status status;

        fail_after(n);
        status = sr_welch_new(&welch, SR_WINDOW_HANN, SR_DETREND_LINEAR, 100, 50, &err);
        stop();
        assert_true(failed);
        assert_int_equal(status, SR_ERR_MEMORY);
        assert_int_equal(err.status, SR_ERR_MEMORY);
        assert_null(welch);
        assert_int_equal(live, 0);
    }
}

static double psd[201];

static void floor_under_lines(void **state)
{
    double floor[201] = {42};
    size_t n = 0;

    (void)state;
    do {
        enum sr_status status;

        fail_after(n++);
        status = sr_floor(psd, 201, 2, 120, 6, floor, NULL);
        stop();
        assert_int_equal(status, failed ? SR_ERR_MEMORY : SR_OK);
        assert_true(!failed || floor[0] == 42);
        assert_int_equal(live, 0);
    } while (failed);
    assert_int_equal(n, 3); /* two failed, the third had all it wanted */
}

static void lines(void **state)
{
    struct sr_line found[24];
    struct sr_line_options options;
    size_t n = 0;

    (void)state;
    sr_line_options_init(&options);
    do {
        size_t count = 999;
        enum sr_status status;

        fail_after(n++);
        status = sr_lines_find(psd, 201, 2, SR_WINDOW_HANN, 6, &options, found, &count, NULL);
        stop();
        assert_int_equal(status, failed ? SR_ERR_MEMORY : SR_OK);
        assert_int_equal(count, failed ? 999 : 1);
        assert_int_equal(live, 0);
    } while (failed);
    assert_true(n > 4);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(estimator),
        cmocka_unit_test(floor_under_lines),
        cmocka_unit_test(lines),
    };

    for (size_t k = 0; k < 201; k++)
        psd[k] = 1;
    psd[99] = psd[101] = 1000;
    psd[100] = 4000;
    return cmocka_run_group_tests(tests, NULL, NULL);
}
#endif
