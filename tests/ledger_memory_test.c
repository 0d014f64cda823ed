/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Every allocation of the ledger room fails in turn: said, nothing leaked, the file as it was. */
#define _GNU_SOURCE /* dl_iterate_phdr() */

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "stillrow/kappa.h"
#include "stillrow/rank.h"
#include "stillrow/threshold.h"
#include "stillrow/trend.h"
#include "support/failing.h"
#include "support/ledger_file.h"

#ifndef FAILING
static void skipped(void **state)
{
    (void)state;
    print_message("SKIPPED: this build has an allocator of its own; NOT CHECKED: failing allocations of the "
                  "ledger room\n");
    skip();
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(skipped)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
#else

/* A ledger that lacks columns, with a row that is too long, so that adding takes every way. */
static const char old[] = "fingerprint,wobble_px,mine\n00000000000000aa,1,m\n00000000000000ab,2,m,long\n";
static const char other[] = "wobble_px,theirs,fingerprint\n1,t,00000000000000ac\nbad,t\n";

static enum sr_status do_read(struct sr_error *err)
{
    struct sr_ledger ledger;
    enum sr_status status = sr_ledger_read(&ledger, "l.csv", err);
    if (status == SR_OK)
        sr_ledger_release(&ledger);
    return status;
}

static enum sr_status do_add(struct sr_error *err)
{
    enum sr_added added;
    struct sr_ledger_row row = bare_row("00000000000000ad", 3);
    return sr_ledger_add("l.csv", &row, &added, err);
}

static enum sr_status do_merge(struct sr_error *err)
{
    struct sr_merge_count count;
    return sr_ledger_merge("l.csv", "other.csv", &count, err);
}

static enum sr_status do_rate(struct sr_error *err)
{
    return sr_ledger_rate("l.csv", "00000000000000aa", SR_RATED_BAD, err);
}

/* Fail allocation 0, 1, 2… of the job until it succeeds with none failing. Fewer than `least` would be no
 * test. */
static void fail_each(enum sr_status (*job)(struct sr_error *err), size_t least)
{
    size_t refused = 0;
    bool failed = true;

    put_text("l.csv", old);
    put_text("other.csv", other);
    assert_int_equal(job(NULL), SR_OK);
    char *wanted = get_text("l.csv");
    for (size_t n = 0; failed; n++) {
        struct sr_error err = {.status = SR_OK};
        put_text("l.csv", old);
        failing_after(n);
        enum sr_status status = job(&err);
        failed = failing_end();
        assert_int_equal(failing_live, 0);
        assert_int_not_equal(access("l.csv.stillrow-new", F_OK), 0);
        if (status == SR_OK) {
            /* Nothing failed, or nothing that matters: a stream's buffer, the folder's flush. */
            assert_file_is("l.csv", wanted);
            continue;
        }
        assert_true(failed);
        assert_int_equal(status, SR_ERR_MEMORY);
        assert_int_equal(err.status, SR_ERR_MEMORY);
        assert_file_is("l.csv", old);
        refused++;
    }
    free(wanted);
    assert_true(refused >= least);
}

static void test_reading(void **state)
{
    (void)state;
    fail_each(do_read, 8);
}

static void test_adding(void **state)
{
    (void)state;
    fail_each(do_add, 25);
}

static void test_merging(void **state)
{
    (void)state;
    fail_each(do_merge, 35);
}

static void test_rating(void **state)
{
    (void)state;
    fail_each(do_rate, 20);
}

/* ---- What is worked out from a ledger: it is read before, outputs stay untouched ---- */

static struct sr_ledger ledger;

static enum sr_status do_rank(struct sr_error *err)
{
    struct sr_rank rank = {.flights = 99};
    enum sr_status status = sr_rank_make(&rank, &ledger, err);
    assert_int_equal(rank.flights, status == SR_OK ? 12 : 99);
    if (status == SR_OK)
        sr_rank_release(&rank);
    return status;
}

static enum sr_status do_threshold(struct sr_error *err)
{
    struct sr_threshold threshold = {.clean = 99};
    enum sr_status status = sr_threshold_find(&threshold, &ledger, err);
    assert_int_equal(threshold.clean, status == SR_OK ? 6 : 99);
    return status;
}

static enum sr_status do_kappa(struct sr_error *err)
{
    struct sr_kappa kappa = {.measured = 99};
    enum sr_status status = sr_ledger_kappa(&kappa, &ledger, SR_MATERIAL_UNKNOWN, err);
    assert_int_equal(kappa.measured, status == SR_OK ? 12 : 99);
    return status;
}

static enum sr_status do_trend(struct sr_error *err)
{
    struct sr_trend trend = {.flights = 99};
    enum sr_status status = sr_trend_find(&trend, &ledger, &ledger.rows[0], err);
    assert_int_equal(trend.flights, status == SR_OK ? 3 : 99); /* within 5 C of the first */
    return status;
}

static void test_working_things_out(void **state)
{
    static const struct {
        enum sr_status (*job)(struct sr_error *err);
        size_t allocations;
    } jobs[] = {{do_rank, 9}, {do_threshold, 2}, {do_kappa, 1}, {do_trend, 1}};
    (void)state;
    FILE *file = fopen("l.csv", "w");
    assert_non_null(file);
    fputs("fingerprint,build,motor,shore_a,width_px,temperature_c,resonance_hz,wobble_px,rating\n", file);
    for (int i = 0; i < 12; i++)
        fprintf(file, "%016x,heron,A,%d,1920,%d,%d,%g,%s\n", i, 40 + 10 * (i / 6), 10 + 2 * (i % 6),
                60 - i % 6, 0.5 + 0.1 * i, i < 5 || i == 6 ? "clean" : "bad");
    assert_int_equal(fclose(file), 0);
    read_ledger(&ledger, "l.csv");
    for (size_t k = 0; k < sizeof jobs / sizeof *jobs; k++) {
        size_t n = 0;
        for (bool failed = true; failed; n += failed) {
            struct sr_error err = {.status = SR_OK};
            failing_after(n);
            enum sr_status status = jobs[k].job(&err);
            failed = failing_end();
            assert_int_equal(failing_live, 0);
            assert_int_equal(status, failed ? SR_ERR_MEMORY : SR_OK);
            assert_int_equal(err.status, status);
        }
        assert_true(n >= jobs[k].allocations);
    }
    sr_ledger_release(&ledger);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_reading),
        cmocka_unit_test(test_adding),
        cmocka_unit_test(test_merging),
        cmocka_unit_test(test_rating),
        cmocka_unit_test(test_working_things_out),
    };
    return cmocka_run_group_tests(tests, enter_ledger_folder, leave_ledger_folder);
}
#endif
