/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Every allocation of the spectrum room fails in turn: SR_ERR_MEMORY, outputs untouched,
 * nothing leaked. See support/failing.h for what is not failed.
 */
#define _GNU_SOURCE /* dl_iterate_phdr() */

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "stillrow/spectrum.h"
#include "support/failing.h"

#ifndef FAILING
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

/* Four allocations are the estimator's; those after them FFTW's planner's, which does not survive a failure.
 */
static void estimator(void **state)
{
    (void)state;
    for (size_t n = 0; n < 4; n++) {
        struct sr_welch *welch = NULL;
        struct sr_error err = {.status = SR_OK};
        enum sr_status status;

        failing_after(n);
        status = sr_welch_new(&welch, SR_WINDOW_HANN, SR_DETREND_LINEAR, 100, 50, &err);
        assert_true(failing_end());
        assert_int_equal(status, SR_ERR_MEMORY);
        assert_int_equal(err.status, SR_ERR_MEMORY);
        assert_null(welch);
        assert_int_equal(failing_live, 0);
    }
}

static double psd[201];

static void floor_under_lines(void **state)
{
    double floor[201] = {42};
    size_t n = 0;
    bool failed;

    (void)state;
    do {
        enum sr_status status;

        failing_after(n++);
        status = sr_floor(psd, 201, 2, 120, 6, floor, NULL);
        failed = failing_end();
        assert_int_equal(status, failed ? SR_ERR_MEMORY : SR_OK);
        assert_true(!failed || floor[0] == 42);
        assert_int_equal(failing_live, 0);
    } while (failed);
    assert_int_equal(n, 3); /* two failed, the third had all it wanted */
}

static void lines(void **state)
{
    struct sr_line found[24];
    struct sr_line_options options;
    size_t n = 0;
    bool failed;

    (void)state;
    sr_line_options_init(&options);
    do {
        size_t count = 999;
        enum sr_status status;

        failing_after(n++);
        status = sr_lines_find(psd, 201, 2, SR_WINDOW_HANN, 6, &options, found, &count, NULL);
        failed = failing_end();
        assert_int_equal(status, failed ? SR_ERR_MEMORY : SR_OK);
        assert_int_equal(count, failed ? 999 : 1);
        assert_int_equal(failing_live, 0);
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
