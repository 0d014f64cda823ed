/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Every allocation of a picture fails in turn: SR_ERR_MEMORY, no file, nothing leaked. */
#define _GNU_SOURCE /* dl_iterate_phdr() */

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "stillrow/plot.h"
#include "support/failing.h"
#include "support/plot_cases.h"
#include "support/room.h"

#ifndef FAILING
static void skipped(void **state)
{
    (void)state;
    print_message("SKIPPED: this build has an allocator of its own; NOT CHECKED: failing allocations of "
                  "sr_plot_flight\n");
    skip();
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(skipped)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
#else

/* Stands in for gnuplot: takes the script, gives a picture that a test has kept. */
static void write_fake(void)
{
    FILE *out = fopen("fake", "w");

    assert_non_null(out);
    fputs("#!/bin/sh\ncat >/dev/null; exec cat kept\n", out);
    assert_int_equal(fclose(out) + chmod("fake", 0755), 0);
}

static void exhaust(const struct plot_case *c, struct sr_plot_options options)
{
    size_t allocations = 0;
    bool failed = true;

    options.output = "kept";
    assert_int_equal(sr_plot_flight(&c->flight, &options, NULL), SR_OK);
    options.gnuplot = "./fake";
    options.output = "out";
    options.script = NULL;
    for (; failed; allocations++) {
        struct sr_error err = {0};
        failing_after(allocations);
        enum sr_status status = sr_plot_flight(&c->flight, &options, &err);
        failed = failing_end();
        assert_int_equal(status, failed ? SR_ERR_MEMORY : SR_OK);
        assert_int_equal(err.status, status);
        assert_int_equal(failing_live, 0);
        assert_int_equal(access("out", F_OK) == 0, !failed);
    }
    /* At least the script, the curves and the picture itself. */
    assert_true(allocations > 4);
    assert_int_equal(room_count(), 3);
    assert_int_equal(unlink("out"), 0);
}

static void every_allocation_may_fail(void **state)
{
    struct plot_case c;

    (void)state;
    plot_case_make(&c, 12);
    write_fake();
    for (int k = 0; k < SR_PLOT_KINDS; k++)
        for (int f = SR_PLOT_PNG; f <= SR_PLOT_TEXT; f += SR_PLOT_TEXT) {
            struct sr_plot_options options;
            sr_plot_options_init(&options);
            options.kind = (enum sr_plot_kind)k;
            options.format = (enum sr_plot_format)f;
            exhaust(&c, options);
        }
    plot_case_release(&c);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(every_allocation_may_fail)};
    return cmocka_run_group_tests(tests, room_enter, room_leave);
}
#endif
