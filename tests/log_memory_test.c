/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Every allocation of the reader fails in turn: said, nothing leaked, the caller's log
 * as it was. qsort() and libcsv have a second try of their own; then the log must be
 * the same as ever.
 */
#define _GNU_SOURCE /* dl_iterate_phdr() */

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "stillrow/log.h"
#include "support/failing.h"
#include "support/same_log.h"
#include "support/text_log.h"

#ifndef FAILING
static void skipped(void **state)
{
    (void)state;
    print_message(
        "SKIPPED: this build has an allocator of its own; NOT CHECKED: failing allocations of the reader\n");
    skip();
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(skipped)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
#else

/* Flights that take every way through the reader between them. */
static void write_flight(struct text *text, int kind)
{
    static const char *const heads[] = {
        "time (us),gyro_raw_x,gyro_raw_y,gyro_raw_z,gyro_x,gyro_y,gyro_z,motor[0],motor[1],rpm 1,rpm 2\n",
        "pre\ntime;gps time;gyro x;gyro y;gyro z;throttle;eRPM[0]\n;us;;;;;\n",
        "time (ms),gyro x,gyro y,gyro z\n",
    };

    text_add(text, "%s", heads[kind]);
    const int rows = kind == 2 ? 20000 : 6000; /* over where the arrays grow, once */
    for (int i = 0; i < rows; i++) {
        const int x = i % 97, y = (i * 7) % 89, z = (i * 3) % 83;
        if (i == 2005)
            text_add(text, "bad,\"row\n");
        if (kind == 0) /* uneven steps, gaps, quotes, outputs for throttle */
            text_add(text, "%d,%d,%d,%d,1,2,3,\"%d\",1400,%d,9000\n",
                     i * 500 + 40 * (i % 3) + (i > 3000 ? 9000 : 0), x, y, z, 1000 + i % 700, 9000 + x);
        else if (kind == 1) /* the second time column is the one that moves */
            text_add(text, "never;%d;%d,5;%d,5;%d,5;%d;%d\n", i * 500, x, y, z, i % 100, 300 + x);
        else /* a coarse clock */
            text_add(text, "%d,%d,%d,%d\n", i / 4, x, y, z);
    }
}

static void every_allocation(void **state)
{
    (void)state;
    for (int kind = 0; kind < 3; kind++) {
        struct text text = {0};
        size_t failures = 0;
        struct sr_log whole;
        struct sr_error none;
        write_flight(&text, kind);
        assert_int_equal(text_read(&text, NULL, &whole, &none), SR_OK);
        for (bool failed = true; failed; failures += failed) {
            struct sr_log log;
            struct sr_error err;
            FILE *stream = fmemopen(text.bytes, text.size, "rb");
            assert_non_null(stream);
            setvbuf(stream, NULL, _IONBF, 0); /* the stream's own buffer is not the reader's */
            memset(&log, 0x5A, sizeof log);
            const struct sr_log before = log;
            failing_after(failures);
            const enum sr_status status = sr_log_read_stream(&log, stream, "flight.csv", NULL, &err);
            failed = failing_end();
            if (status == SR_OK) {
                if (log_difference(&log, &whole) != NULL)
                    fail_msg("kind %d: allocation %zu failed and nobody noticed", kind, failures);
                sr_log_release(&log);
            } else {
                assert_int_equal(status, SR_ERR_MEMORY);
                assert_int_equal(err.status, SR_ERR_MEMORY);
                assert_memory_equal(&log, &before, sizeof log);
                assert_int_equal(failing_live, 0);
            }
            fclose(stream);
        }
        assert_true(failures > 30);
        sr_log_release(&whole);
        text_free(&text);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(every_allocation)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
#endif
