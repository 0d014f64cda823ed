/* SPDX-License-Identifier: GPL-3.0-or-later */
/* From rated footage to the threshold: known truths, separable ratings, and what is refused. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "sim/flight.h"
#include "stillrow/threshold.h"
#include "support/ledger_file.h"
#include "support/near.h"

#define HEADER "fingerprint,width_px,verdict,wobble_px,rating\n"

/* A ledger of flights at these wobbles on a 1920 px picture; rating 'c', 's' or 'b' each. */
static enum sr_status find(struct sr_threshold *threshold, const double *px, const char *ratings,
                           struct sr_error *err)
{
    static const char *const names[] = {['c'] = "clean", ['s'] = "slight", ['b'] = "bad", ['.'] = ""};
    struct sr_ledger ledger;
    FILE *file = fopen("l.csv", "w");
    assert_non_null(file);
    fputs(HEADER, file);
    for (size_t i = 0; ratings[i] != '\0'; i++)
        fprintf(file, "%016zx,1920,steady,%.9g,%s\n", i, px[i], names[(unsigned char)ratings[i]]);
    assert_int_equal(fclose(file), 0);
    read_ledger(&ledger, "l.csv");
    enum sr_status status = sr_threshold_find(threshold, &ledger, err);
    sr_ledger_release(&ledger);
    return status;
}

static void test_overlapping_ratings_are_fitted(void **state)
{
    static const double px[] = {0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.1, 1.2, 1.5, 2.0};
    struct sr_threshold t;
    struct sr_error err;
    (void)state;
    assert_int_equal(find(&t, px, "ccccscsscbbb", &err), SR_OK);
    assert_int_equal(t.kind, SR_THRESHOLD_FITTED);
    assert_int_equal(t.clean, 6);
    assert_int_equal(t.slight, 3);
    assert_int_equal(t.bad, 3);
    assert_near(t.worst_clean_px, 1.1, 1e-9);
    assert_near(t.best_shown_px, 0.7, 1e-9);
    assert_true(t.px.low < t.px.value && t.px.value < t.px.high);
    /* The fit's own first-order condition: as many are expected to show as do. */
    double expected = 0, quarter = t.px.value * pow(10, -t.slope_db / 40), sum = 0;
    for (size_t i = 0; i < 12; i++) {
        double p = 1 / (1 + exp(-t.logistic.intercept - t.logistic.slope * log(px[i])));
        expected += p;
        sum +=
            (p - (double)(strchr("cs", "ccccscsscbbb"[i]) == NULL || "ccccscsscbbb"[i] == 's')) * log(px[i]);
    }
    assert_near(expected, 6, 1e-8);
    assert_near(sum, 0, 1e-8);
    assert_near(1 / (1 + exp(-t.logistic.intercept - t.logistic.slope * log(t.px.value))), 0.5, 1e-9);
    assert_near(1 / (1 + exp(-t.logistic.intercept - t.logistic.slope * log(quarter))), 0.25, 1e-9);
    assert_int_equal(t.misrated, 2); /* 0.7 shows, 1.1 is clean; the threshold lies between */
}

static void test_wobble_counts_on_a_picture_of_1920(void **state)
{
    struct sr_ledger ledger;
    struct sr_threshold t;
    struct sr_error err;
    (void)state;
    put_text("l.csv", HEADER "0000000000000001,1920,steady,0.5,clean\n"
                             "0000000000000002,3840,steady,1.2,clean\n"
                             "0000000000000003,960,steady,0.2,clean\n"
                             "0000000000000004,3840,wobbly,1.6,slight\n"
                             "0000000000000005,960,wobbly,0.5,bad\n"
                             "0000000000000006,1920,wobbly,0.9,bad\n"
                             "0000000000000007,1920,unproven,5,clean\n"
                             "0000000000000008,1920,wobbly,5,\n"
                             "0000000000000009,,steady,5,clean\n"
                             "000000000000000a,1920,steady,0,clean\n"
                             "000000000000000b,1920,steady,5,fine\n");
    read_ledger(&ledger, "l.csv");
    assert_int_equal(sr_threshold_find(&t, &ledger, &err), SR_OK);
    sr_ledger_release(&ledger);
    /* Clean up to 0.6, showing from 0.8: separable, so a bracket, and six flights are enough for it. */
    assert_int_equal(t.kind, SR_THRESHOLD_BRACKET);
    assert_near(t.px.low, 0.6, 1e-9);
    assert_near(t.px.high, 0.8, 1e-9);
    assert_near(t.px.value, sqrt(0.48), 1e-9);
    assert_int_equal(t.misrated, 0);
    assert_int_equal(t.unproven, 1);
    assert_int_equal(t.unrated, 1);
    assert_int_equal(t.no_width, 1);
    assert_int_equal(t.no_wobble, 1);
    assert_int_equal(t.unreadable, 1);
}

static void test_separable_ratings_give_a_bracket(void **state)
{
    static const double px[] = {0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.1, 1.2, 1.5, 2.0};
    static const double tied[] = {0.3, 0.4, 0.7, 0.7, 0.7, 0.8};
    struct sr_threshold t;
    (void)state;
    assert_int_equal(find(&t, px, "ccccccsssbbb", NULL), SR_OK);
    assert_int_equal(t.kind, SR_THRESHOLD_BRACKET);
    assert_near(t.px.low, 0.8, 1e-9);
    assert_near(t.px.high, 0.9, 1e-9);
    assert_int_equal(find(&t, tied, "cccssb", NULL), SR_OK);
    assert_int_equal(t.kind, SR_THRESHOLD_BRACKET);
    assert_near(t.px.low, 0.7, 1e-9);
    assert_near(t.px.high, 0.7, 1e-9);
}

static void test_refusals_say_what_is_missing(void **state)
{
    static const double px[] = {0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.1, 1.2, 1.5, 2.0};
    static const struct {
        const char *ratings, *says;
    } cases[] = {
        {"", "too few rated flights: 0 clean, 0 slight or bad; it takes 3 of each, and 10 in all"},
        {"cccccccccccc", "too few rated flights: 12 clean, 0 slight or bad"},
        {"cc........bb", "too few rated flights: 2 clean, 2 slight or bad"},
        {"ccscb.b", "too few rated flights: 3 clean, 3 slight or bad"}, /* overlaps, and is not 10 */
        {"bbbsssccccc", "footage rated clean wobbles more than"},
        {"bbbsbcsccccc", "footage rated clean wobbles more than"},
        {"cbcbcbcbcbcb", "no relation is shown between wobble and rating in 12 flights (p = 0."},
    };
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct sr_threshold t = {.clean = 99};
        struct sr_error err = {0};
        assert_int_equal(find(&t, px, cases[i].ratings, &err), SR_ERR_DATA);
        if (strstr(err.text, cases[i].says) == NULL)
            fail_msg("'%s' does not say '%s'", err.text, cases[i].says);
        assert_int_equal(t.clean, 99);
    }
}

/* With one and the same wobble everywhere, a bracket would claim to know what nothing shows. */
static void test_flights_that_wobble_alike_tell_nothing(void **state)
{
    static const double alike[] = {0.7, 0.7, 0.7, 0.7, 0.7, 0.7}, below[] = {0.7, 0.7, 0.7, 0.7, 0.7, 0.8};
    struct sr_threshold t;
    struct sr_error err = {0};
    (void)state;
    assert_int_equal(find(&t, alike, "cbcbcb", &err), SR_ERR_DATA);
    assert_non_null(strstr(err.text, "all rated flights wobble alike"));
    assert_int_equal(find(&t, below, "cbcbcb", NULL), SR_OK);
    assert_int_equal(t.kind, SR_THRESHOLD_BRACKET);
}

/* The first row of a flight that can be used counts, whatever others say of it. */
static void test_a_flight_that_is_there_twice_counts_once(void **state)
{
    struct sr_ledger ledger;
    struct sr_threshold t;
    (void)state;
    put_text("l.csv", HEADER "00000000000000aa,1920,,0.3,\n00000000000000aa,1920,,0.3,clean\n"
                             "00000000000000AA,1920,,0.3,bad\n00000000000000ab,1920,,0.4,clean\n"
                             "00000000000000ac,1920,,0.5,clean\n00000000000000ad,1920,,0.6,slight\n"
                             "00000000000000ae,1920,,0.7,bad\n00000000000000af,1920,,0.8,bad\n");
    read_ledger(&ledger, "l.csv");
    assert_int_equal(sr_threshold_find(&t, &ledger, NULL), SR_OK);
    assert_int_equal(t.kind, SR_THRESHOLD_BRACKET);
    assert_int_equal(t.clean, 3);
    assert_int_equal(t.slight + t.bad, 3);
    assert_int_equal(t.doubled, 1);
    assert_int_equal(t.unrated, 1);
    assert_near(t.px.low, 0.5, 1e-9);
    assert_near(t.px.high, 0.6, 1e-9);
    sr_ledger_release(&ledger);
}

/* A flight whose wobble has the mount in it, and one whose has not, are counted apart; an unknown one is
 * neither. */
static void test_wobble_with_and_without_the_mount_is_counted(void **state)
{
    struct sr_ledger ledger;
    struct sr_threshold t;
    (void)state;
    put_text("l.csv", "fingerprint,width_px,verdict,wobble_px,rating,mount_in\n"
                      "00000000000000aa,1920,,0.3,clean,no\n00000000000000ab,1920,,0.4,clean,modelled\n"
                      "00000000000000ac,1920,,0.5,clean,\n00000000000000ad,1920,,0.6,slight,no\n"
                      "00000000000000ae,1920,,0.7,bad,logged\n00000000000000af,1920,,0.8,bad,logged\n"
                      "00000000000000a0,1920,,0.9,,no\n");
    read_ledger(&ledger, "l.csv");
    assert_int_equal(sr_threshold_find(&t, &ledger, NULL), SR_OK);
    assert_int_equal(t.with_mount, 3);
    assert_int_equal(t.without_mount, 2);
    sr_ledger_release(&ledger);
}

static void test_fits_that_make_no_sense(void **state)
{
    static const double x[] = {1, 2, 3, 4, 5, 6}, flat[] = {2, 2, 2, 2, 2, 2}, odd[] = {1, 2, NAN, 4, 5, 6};
    static const bool y[] = {0, 1, 0, 1, 0, 1}, apart[] = {0, 0, 0, 1, 1, 1}, back[] = {1, 1, 0, 0, 0, 0};
    static const bool ones[] = {1, 1, 1, 1, 1, 1}, quasi[] = {0, 0, 0, 0, 1, 1};
    static const double ties[] = {1, 2, 3, 4, 4, 6};
    struct sr_logistic l = {.n = 99};
    struct sr_interval half = {9, 9, 9};
    struct sr_error err;
    (void)state;
    assert_int_equal(sr_logistic_fit(&l, x, y, 0, &err), SR_ERR_ARGUMENT);
    assert_int_equal(sr_logistic_fit(&l, odd, y, 6, &err), SR_ERR_ARGUMENT);
    assert_string_equal(err.text, "value 3 is not finite");
    assert_int_equal(sr_logistic_fit(&l, flat, y, 6, &err), SR_ERR_DATA);
    assert_int_equal(sr_logistic_fit(&l, x, ones, 6, &err), SR_ERR_DATA);
    assert_int_equal(sr_logistic_fit(&l, x, apart, 6, &err), SR_ERR_DATA);
    assert_int_equal(sr_logistic_fit(&l, x, back, 6, &err), SR_ERR_DATA);
    assert_int_equal(sr_logistic_fit(&l, ties, quasi, 6, &err), SR_ERR_DATA);
    assert_int_equal(l.n, 99);
    /* A fit that shows nothing has no half-way point. */
    assert_int_equal(sr_logistic_fit(&l, x, y, 6, &err), SR_OK);
    assert_true(l.p_value > 0.05);
    assert_int_equal(sr_logistic_half(&l, x, y, 6, 0.95, &half, &err), SR_ERR_DATA);
    assert_near(half.value, 9, 0);
}

/*
 * Footage that shows at 0.8 px in half of the cases: how often the interval holds 0.8. A profile likelihood
 * promises 95 % for many flights only, so this says how it keeps that for the numbers that crews rate.
 */
static void test_the_interval_holds_the_truth(void **state)
{
    static const size_t sizes[] = {20, 60};
    uint64_t seed = 99;
    (void)state;
    for (size_t k = 0; k < 2; k++) {
        enum { RUNS = 1000 };
        size_t done = 0, held = 0;
        for (int run = 0; run < RUNS; run++) {
            double x[80];
            bool y[80];
            struct sr_logistic l;
            struct sr_interval half;
            for (size_t i = 0; i < sizes[k]; i++) {
                x[i] = log(0.8) + 0.7 * sim_normal(&seed);
                y[i] = sim_uniform(&seed) < 1 / (1 + exp(-4 * (x[i] - log(0.8))));
            }
            if (sr_logistic_fit(&l, x, y, sizes[k], NULL) != SR_OK || !(l.p_value < 0.05))
                continue;
            assert_int_equal(sr_logistic_half(&l, x, y, sizes[k], 0.95, &half, NULL), SR_OK);
            assert_true(half.low < half.value && half.value < half.high);
            done++;
            held += half.low <= log(0.8) && log(0.8) <= half.high;
        }
        double share = (double)held / (double)done, slack = 2.6 * sqrt(0.05 * 0.95 / (double)done);
        print_message("  %zu flights: fitted in %.1f %%, and the interval held the truth in %.1f %%\n",
                      sizes[k], 100.0 * (double)done / RUNS, 100 * share);
        assert_true(done > RUNS * 8 / 10);
        assert_true(share >= 0.93 - slack && share <= 0.97 + slack);
    }
}

int main(void)
{
#define TEST(function) cmocka_unit_test_setup(function, fresh_ledger_folder)
    const struct CMUnitTest tests[] = {
        TEST(test_overlapping_ratings_are_fitted),
        TEST(test_wobble_counts_on_a_picture_of_1920),
        TEST(test_separable_ratings_give_a_bracket),
        TEST(test_refusals_say_what_is_missing),
        TEST(test_flights_that_wobble_alike_tell_nothing),
        TEST(test_a_flight_that_is_there_twice_counts_once),
        TEST(test_wobble_with_and_without_the_mount_is_counted),
        TEST(test_fits_that_make_no_sense),
        TEST(test_the_interval_holds_the_truth),
    };
    return cmocka_run_group_tests(tests, enter_ledger_folder, leave_ledger_folder);
}
