/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The sample ledger is the one that generate_ledger.c makes, and the truth put into it is found. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#define main generate_ledger_main
int generate_ledger_main(int argc, char **argv);
#include "../sample-logs/generate_ledger.c"
#undef main

#include "stillrow/kappa.h"
#include "stillrow/rank.h"
#include "stillrow/threshold.h"
#include "stillrow/trend.h"
#include "support/ledger_file.h"
#include "support/near.h"

static char sample[4096]; /* path of the committed file */
static struct sr_ledger ledger;

/* From the top of the project, where tests are started, into the folder for tests. */
static int prepare(void **state)
{
    char program[] = "generate_ledger", file[] = "made.csv";
    char *argv[] = {program, file, NULL}, here[3900];
    if (getcwd(here, sizeof here) == NULL)
        return -1;
    snprintf(sample, sizeof sample, "%s/sample-logs/ledger/club-ledger.csv", here);
    return enter_ledger_folder(state) == 0 && generate_ledger_main(2, argv) == 0 &&
                   sr_ledger_read(&ledger, "made.csv", NULL) == SR_OK
               ? 0
               : -1;
}

static int finish(void **state)
{
    sr_ledger_release(&ledger);
    return leave_ledger_folder(state);
}

static void test_it_is_what_the_program_writes(void **state)
{
    (void)state;
    char *made = get_text("made.csv"), *kept = get_text(sample);
    if (strcmp(made, kept) != 0)
        fail_msg("%s is not what sample-logs/generate_ledger.c writes", sample);
    free(made);
    free(kept);
    assert_int_equal(ledger.n_rows, 64);
    assert_int_equal(ledger.n_unreadable, 0);
}

static double truth_db(const struct setup *setup, double shore_a)
{
    double off = shore_a - setup->wants_a;
    return setup->floor_db + off * off / PENALTY_A2;
}

/* Setups of the truth that one of two hardnesses keeps under the threshold. */
static size_t truly_under(double a, double b)
{
    size_t under = 0;
    for (size_t s = 0; s < 6; s++) {
        const struct setup *setup = &seasons[s / 2].setups[s % 2];
        under += truth_db(setup, a) < 0 || truth_db(setup, b) < 0;
    }
    return under;
}

static void test_rank_finds_the_truth(void **state)
{
    struct sr_rank rank;
    (void)state;
    assert_int_equal(sr_rank_make(&rank, &ledger, NULL), SR_OK);
    assert_int_equal(rank.n_setups, 7);
    /* The truth, from its own numbers. */
    assert_int_equal(truly_under(50, 50), 4);
    assert_true(truly_under(40, 40) < 4 && truly_under(60, 60) < 4);
    assert_int_equal(truly_under(40, 60), 6);
    assert_true(truly_under(40, 50) < 6 && truly_under(50, 60) < 6);
    /* And what is found. */
    assert_near(rank.single[0].shore_a[0], 50, 0);
    assert_int_equal(rank.single[0].under, 4);
    assert_near(rank.pair[0].shore_a[0], 40, 0);
    assert_near(rank.pair[0].shore_a[1], 60, 0);
    assert_int_equal(rank.pair[0].under, 6);
    for (size_t s = 0; s < rank.n_setups; s++) {
        const struct sr_rank_setup *setup = &rank.setups[s];
        if (strcmp(setup->motor, grebe.motor) == 0)
            continue;
        const struct setup *truth =
            &seasons[(size_t)(setup->from_c / 10)].setups[strcmp(setup->motor, heron.motor) == 0 ? 0 : 1];
        /* Best, or close: nothing is more than 1.5 dB better in truth. */
        double best_db = INFINITY, found_db = truth_db(truth, setup->cells[setup->best].shore_a);
        for (double shore_a = 40; shore_a < 65; shore_a += 10)
            best_db = fmin(best_db, truth_db(truth, shore_a));
        assert_true(found_db - best_db < 1.5);
    }
    sr_rank_release(&rank);
}

static void test_threshold_kappa_and_trend_are_found(void **state)
{
    struct sr_threshold threshold;
    struct sr_kappa kappa;
    struct sr_trend trend;
    struct sr_error err;
    (void)state;
    assert_int_equal(sr_threshold_find(&threshold, &ledger, &err), SR_OK);
    assert_int_equal(threshold.kind, SR_THRESHOLD_FITTED);
    assert_true(threshold.px.low < SHOWS_PX && SHOWS_PX < threshold.px.high);
    assert_int_equal(sr_ledger_kappa(&kappa, &ledger, SR_MATERIAL_TPU, &err), SR_OK);
    assert_true(kappa.kappa.low < KAPPA && KAPPA < kappa.kappa.high);
    assert_near(kappa.kappa.value, KAPPA, 0.003);
    assert_int_equal(sr_ledger_kappa(&kappa, &ledger, SR_MATERIAL_NATURAL_RUBBER, &err), SR_ERR_DATA);
    assert_int_equal(sr_trend_find(&trend, &ledger, &ledger.rows[ledger.n_rows - 1], NULL), SR_OK);
    assert_true(trend.grown);
    assert_near(trend.slope_db, 1.2, 0.4);
    assert_int_equal(sr_trend_find(&trend, &ledger, &ledger.rows[0], NULL), SR_OK);
    assert_false(trend.grown);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_it_is_what_the_program_writes),
        cmocka_unit_test(test_rank_finds_the_truth),
        cmocka_unit_test(test_threshold_kappa_and_trend_are_found),
    };
    return cmocka_run_group_tests(tests, prepare, finish);
}
