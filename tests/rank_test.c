/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Ranking hardnesses: by hand, against tables, and on generated ledgers whose truth is known. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <time.h>

#include "ledger/statistics.h"
#include "sim/flight.h"
#include "stillrow/compare.h"
#include "stillrow/rank.h"
#include "support/full_ledger.h"
#include "support/ledger_file.h"
#include "support/near.h"

#define HEADER "fingerprint,build,motor,prop,shore_a,temperature_c,width_px,threshold_px,verdict,wobble_px\n"

/* A ledger being written. */
struct pen {
    FILE *file;
    unsigned flights;
};

static void begin(struct pen *pen)
{
    *pen = (struct pen){fopen("l.csv", "w"), 0};
    assert_non_null(pen->file);
    fputs(HEADER, pen->file);
}

/* One flight at a level on a threshold of 0.5 px. */
static void fly(struct pen *pen, const char *build, const char *motor, const char *prop, double shore_a,
                double temperature_c, double level_db)
{
    fprintf(pen->file, "%016x,%s,%s,%s,%g,%g,1920,0.5,steady,%.9g\n", ++pen->flights, build, motor, prop,
            shore_a, temperature_c, 0.5 * pow(10, level_db / 20));
}

static void land(struct pen *pen, struct sr_ledger *ledger, struct sr_rank *rank)
{
    struct sr_error err;
    assert_int_equal(fclose(pen->file), 0);
    read_ledger(ledger, "l.csv");
    assert_int_equal(sr_rank_make(rank, ledger, &err), SR_OK);
}

static void let_go(struct sr_ledger *ledger, struct sr_rank *rank)
{
    sr_rank_release(rank);
    sr_ledger_release(ledger);
}

/* Rows that someone put in twice are one flight: neither enough of them nor a narrower interval. The first
 * that can be ranked counts; the same log on other pieces, or of another build, is a flight of its own. */
static void test_a_flight_that_is_there_twice_counts_once(void **state)
{
    static const char *const rows[] = {
        "00000000000000aa,heron,A,4x3,50,15,1920,0.5,unproven,0.1\n",
        "00000000000000aa,heron,A,4x3,50,15,1920,0.5,,0.5\n",
        "00000000000000AA,heron,A,4x3,50.0,15,1920,0.5,,0.9\n",
        "00000000000000ab,heron,A,4x3,50,15,1920,0.5,,0.5\n",
        "00000000000000aa,heron,A,4x3,50,15,1920,0.5,,0.9\n",
        "00000000000000ab,heron,A,4x3,60,15,1920,0.5,,0.5\n",
        "00000000000000ab,grebe,A,4x3,60,15,1920,0.5,,0.5\n",
    };
    struct sr_ledger ledger;
    struct sr_ledger_counts counts;
    struct sr_rank rank;
    FILE *file = fopen("l.csv", "w");
    (void)state;
    assert_non_null(file);
    fputs(HEADER, file);
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
        fputs(rows[i], file);
    assert_int_equal(fclose(file), 0);
    read_ledger(&ledger, "l.csv");
    assert_int_equal(sr_rank_make(&rank, &ledger, NULL), SR_OK);
    assert_int_equal(rank.flights, 4);
    assert_int_equal(rank.doubled, 2);
    assert_int_equal(rank.unproven, 1);
    assert_int_equal(rank.setups[0].cells[0].flights, 2);
    assert_false(rank.setups[0].cells[0].enough);
    assert_near(rank.setups[0].cells[0].level_db.value, 0, 1e-12);
    assert_int_equal(rank.setups[0].cells[1].flights, 2);
    assert_int_equal(sr_ledger_count(&counts, &ledger, NULL), SR_OK);
    assert_int_equal(counts.doubled, 3);
    assert_int_equal(counts.first_doubled_line, 3);
    assert_int_equal(counts.other_rigs, 2);
    let_go(&ledger, &rank);
}

/*
 * Three flights at -1, 0 and 4 dB: mean 1, standard deviation sqrt(7), and t(0.975, 2) = 4.303 of any table,
 * so the interval is 1 -+ 4.303 sqrt(7 / 3). The second setup has the same hardnesses at another temperature.
 */
static void test_setups_and_their_means(void **state)
{
    (void)state;
    struct pen pen;
    struct sr_ledger ledger;
    struct sr_rank rank;
    begin(&pen);
    fly(&pen, "heron", "A", "4x3", 50, 19.9, -1);
    fly(&pen, "grebe", " a", "4x3 ", 50.4, 10, 0);
    fly(&pen, "heron", "A", "4x3", 49.6, 15, 4);
    fly(&pen, "heron", "A", "4x3", 60, 15, -6);
    fly(&pen, "heron", "A", "4x3", 60, 12, -6);
    fly(&pen, "heron", "A", "4x3", 50, 20, 2);
    fly(&pen, "heron", "A", "4x3", 50, -0.1, 2);
    fly(&pen, "heron", "B", "4x3", 50, -0.0, 2);
    land(&pen, &ledger, &rank);

    assert_int_equal(rank.flights, 8);
    assert_int_equal(rank.n_setups, 4);
    const double from_c[] = {-10, 10, 20, 0};
    for (size_t i = 0; i < 4; i++) {
        assert_near(rank.setups[i].from_c, from_c[i], 0);
        assert_near(rank.setups[i].to_c, from_c[i] + 10, 0);
        assert_true(signbit(rank.setups[i].from_c) == signbit(from_c[i])); /* "-0 to 10 C" is no band */
    }
    const struct sr_rank_setup *setup = &rank.setups[1];
    assert_int_equal(setup->n_cells, 2);
    assert_int_equal(setup->flights, 5);
    assert_near(setup->cells[0].shore_a, 50, 0);
    assert_int_equal(setup->cells[0].flights, 3);
    assert_int_equal(setup->cells[0].builds, 2);
    assert_true(setup->cells[0].enough);
    assert_near(setup->cells[0].level_db.value, 1, 1e-7);
    assert_near(setup->cells[0].sd_db, sqrt(7), 1e-7);
    assert_near(setup->cells[0].level_db.low, 1 - 4.303 * sqrt(7.0 / 3), 1e-3);
    assert_near(setup->cells[0].level_db.high, 1 + 4.303 * sqrt(7.0 / 3), 1e-3);
    assert_false(setup->cells[1].enough);
    assert_int_equal(setup->best, 0); /* two flights of 60 are too few to be the best */
    assert_int_equal(setup->second, SR_RANK_NONE);
    assert_false(setup->clear);
    assert_int_equal(rank.setups[0].best, SR_RANK_NONE);
    assert_true(isnan(rank.setups[0].cells[0].level_db.low));
    assert_int_equal(rank.n_counted, 1);
    assert_int_equal(rank.n_compared, 0);
    assert_int_equal(rank.n_single, 1);
    assert_int_equal(rank.n_pair, 0);
    let_go(&ledger, &rank);
}

static void test_what_is_left_out_is_counted(void **state)
{
    (void)state;
    struct sr_ledger ledger;
    struct sr_rank rank;
    put_text("l.csv", HEADER "0000000000000001,b,m,p,50,15,1920,,steady,1\n"
                             "0000000000000002,b,m,p,50,15,1920,,unproven,1\n"
                             "0000000000000003,b,m,p,,15,1920,,steady,1\n"
                             "0000000000000004,b,m,p,50,15,1920,,steady,0\n"
                             "0000000000000005,b,m,p,50,15,,,steady,1\n"
                             "0000000000000006,b,m,p,50,warm,1920,,steady,1\n"
                             "0000000000000007,b,m,p,50,15,3840,0,steady,1\n"
                             "0000000000000008,b,m,p,50,,,2,steady,1\n");
    read_ledger(&ledger, "l.csv");
    assert_int_equal(sr_rank_make(&rank, &ledger, NULL), SR_OK);
    assert_int_equal(rank.flights, 3);
    assert_int_equal(rank.unproven, 1);
    assert_int_equal(rank.no_hardness, 1);
    assert_int_equal(rank.no_level, 2);
    assert_int_equal(rank.unreadable, 1);
    assert_int_equal(rank.n_setups, 2); /* the last has no temperature: a setup of its own */
    assert_true(isnan(rank.setups[1].from_c));
    /* Thresholds that are not given: the width / 1920. */
    assert_near(rank.setups[0].cells[0].level_db.value, (0 - 20 * log10(2)) / 2, 1e-9);
    assert_near(rank.setups[1].cells[0].level_db.value, -20 * log10(2), 1e-9);
    let_go(&ledger, &rank);

    put_text("l.csv", HEADER);
    read_ledger(&ledger, "l.csv");
    assert_int_equal(sr_rank_make(&rank, &ledger, NULL), SR_OK);
    assert_int_equal(rank.n_setups, 0);
    assert_int_equal(rank.n_single, 0);
    assert_false(rank.single_settled);
    let_go(&ledger, &rank);
}

/*
 * With the gyro on the frame and no mount in the wobble, every hardness shows what the craft does and nothing
 * of itself: here 40 A would come out 10 dB before 50 A, which is the craft's. Those rows choose nothing.
 */
static void test_wobble_without_the_mount_ranks_no_hardness(void **state)
{
    struct sr_ledger ledger;
    struct sr_ledger_counts counts;
    struct sr_rank rank;
    FILE *file = fopen("l.csv", "w");
    (void)state;
    assert_non_null(file);
    fputs("fingerprint,build,motor,prop,shore_a,temperature_c,width_px,wobble_px,mount_in\n", file);
    for (int i = 0; i < 9; i++) {
        static const char *const in[] = {"no", "logged", ""};
        fprintf(file, "%016x,b,m,p,40,15,1920,%.2f,no\n", i + 1, 0.2 + 0.01 * i);
        fprintf(file, "%016x,b,m,p,50,15,1920,%.2f,%s\n", i + 101, 0.6 + 0.01 * i, in[i % 3]);
        fprintf(file, "%016x,b,m,p,60,15,1920,%.2f,modelled\n", i + 201, 0.8 + 0.01 * i);
    }
    /* The same log once more, with the mount in: that one is ranked. */
    fprintf(file, "%016x,b,m,p,40,15,1920,0.7,modelled\n,,,,,,,,\n", 1);
    fprintf(file, "%016x,b,m,p,,15,1920,0.7,no\n", 301);
    assert_int_equal(fclose(file), 0);
    read_ledger(&ledger, "l.csv");
    assert_int_equal(sr_rank_make(&rank, &ledger, NULL), SR_OK);
    assert_int_equal(rank.no_mount, 12);
    assert_int_equal(rank.no_hardness, 1);
    assert_int_equal(rank.mount_unknown, 3);
    assert_int_equal(rank.flights, 16);
    assert_int_equal(rank.doubled, 0);
    assert_int_equal(rank.setups[0].n_cells, 3);
    assert_false(rank.setups[0].cells[0].enough);
    assert_int_equal(rank.setups[0].best, 1);
    assert_int_equal(rank.n_single, 2);
    assert_near(rank.single[0].shore_a[0], 50, 0);
    assert_int_equal(rank.n_pair, 1);
    assert_int_equal(sr_ledger_count(&counts, &ledger, NULL), SR_OK);
    assert_int_equal(counts.no_mount, 12);
    assert_int_equal(counts.mount_unknown, 3);
    let_go(&ledger, &rank);
}

/* Three flights about a mean, 1 dB apart. */
static void fly_three(struct pen *pen, const char *build, const char *motor, double shore_a, double level_db)
{
    for (int i = -1; i <= 1; i++)
        fly(pen, build, motor, "p", shore_a, 15, level_db + i);
}

static void test_the_best_of_a_setup(void **state)
{
    (void)state;
    struct pen pen;
    struct sr_ledger ledger;
    struct sr_rank rank;
    begin(&pen);
    fly_three(&pen, "heron", "clear", 40, -2);
    fly_three(&pen, "heron", "clear", 50, -6);
    fly_three(&pen, "heron", "clear", 60, -2.5);
    fly_three(&pen, "heron", "close", 50, -3);
    fly_three(&pen, "grebe", "close", 60, -2.5);
    fly_three(&pen, "heron", "equal", 50, -3);
    land(&pen, &ledger, &rank);
    assert_int_equal(rank.n_setups, 3);
    assert_int_equal(rank.n_compared, 2);
    const struct sr_rank_setup *clear = &rank.setups[0], *close = &rank.setups[1];
    assert_int_equal(clear->best, 1);
    assert_int_equal(clear->second, 2);
    assert_near(clear->margin_db, 3.5, 1e-7);
    assert_true(clear->clear);
    assert_false(clear->apart);
    /*
     * Equal variances of 1: t = 3.5 / sqrt(2/3) = 4.2866 on 4 degrees of freedom. The t distribution of 4
     * degrees has a closed form: two-sided p = 1 - u (3 - u^2) / 2 with u = t / sqrt(4 + t^2).
     */
    double t = 3.5 / sqrt(2.0 / 3), u = t / sqrt(4 + t * t);
    assert_near(clear->p_value, 1 - u * (3 - u * u) / 2, 1e-7);
    assert_int_equal(close->best, 0);
    assert_false(close->clear);
    assert_true(close->apart);
    let_go(&ledger, &rank);
}

/*
 * Levels of three hardnesses in four setups, by hand:
 *
 *            40    50    60   best
 *   m1       -5    -3     2    -5
 *   m2        3    -1    -4    -4
 *   m3        1     2     .     1
 *   m4        .     .    -6    -6
 */
static void test_choices_by_hand(void **state)
{
    (void)state;
    struct pen pen;
    struct sr_ledger ledger;
    struct sr_rank rank;
    begin(&pen);
    fly_three(&pen, "b", "m1", 40, -5);
    fly_three(&pen, "b", "m1", 50, -3);
    fly_three(&pen, "b", "m1", 60, 2);
    fly_three(&pen, "b", "m2", 40, 3);
    fly_three(&pen, "b", "m2", 50, -1);
    fly_three(&pen, "b", "m2", 60, -4);
    fly_three(&pen, "b", "m3", 40, 1);
    fly_three(&pen, "b", "m3", 50, 2);
    fly_three(&pen, "b", "m4", 60, -6);
    fly(&pen, "b", "m4", "p", 50, 15, -9); /* a single flight counts for nothing */
    land(&pen, &ledger, &rank);

    assert_int_equal(rank.n_counted, 4);
    assert_int_equal(rank.n_compared, 3);
    /* 50: under in m1, m2. 60: under in m2, m4, and 7 dB off in m1. 40: under in m1. */
    static const struct {
        double a, b;
        size_t under, over, unknown, worst;
        double regret_db, mean_db;
    } expected[2][3] = {
        {{50, 50, 2, 1, 1, 1, 3, 2}, {60, 60, 2, 1, 1, 0, 7, 7.0 / 3}, {40, 40, 1, 2, 1, 1, 7, 7.0 / 3}},
        {{40, 60, 3, 0, 1, 0, 0, 0}, {50, 60, 3, 0, 1, 0, 2, 0.75}, {40, 50, 2, 1, 1, 1, 3, 1}},
    };
    for (size_t k = 0; k < 2; k++) {
        const struct sr_rank_choice *choices = k == 0 ? rank.single : rank.pair;
        assert_int_equal(k == 0 ? rank.n_single : rank.n_pair, 3);
        for (size_t i = 0; i < 3; i++) {
            assert_near(choices[i].shore_a[0], expected[k][i].a, 0);
            assert_near(choices[i].shore_a[1], expected[k][i].b, 0);
            assert_int_equal(choices[i].count, k + 1);
            assert_int_equal(choices[i].under, expected[k][i].under);
            assert_int_equal(choices[i].over, expected[k][i].over);
            assert_int_equal(choices[i].unknown, expected[k][i].unknown);
            assert_near(choices[i].worst_regret_db, expected[k][i].regret_db, 1e-6);
            assert_near(choices[i].mean_regret_db, expected[k][i].mean_db, 1e-6);
            if (expected[k][i].regret_db > 0)
                assert_int_equal(choices[i].worst_setup, expected[k][i].worst);
        }
    }
    assert_false(rank.single_settled); /* 60 might be under in m3, too */
    /* 40 and 60 in m3: 40 is over, 60 was not flown. 40 and 50 might do well in m4. */
    assert_false(rank.pair_settled);
    let_go(&ledger, &rank);
}

static void test_a_settled_choice(void **state)
{
    (void)state;
    struct pen pen;
    struct sr_ledger ledger;
    struct sr_rank rank;
    begin(&pen);
    fly_three(&pen, "b", "m1", 40, -5);
    fly_three(&pen, "b", "m1", 50, 3);
    fly_three(&pen, "b", "m2", 40, -5);
    land(&pen, &ledger, &rank);
    assert_near(rank.single[0].shore_a[0], 40, 0);
    assert_true(rank.single_settled); /* 50 can get to one setup of the two */
    assert_true(rank.pair_settled);   /* there is no other pair */
    let_go(&ledger, &rank);
}

/* Clopper and Pearson's interval: 0 of n and n of n have closed forms; 5 of 10 is in every table (from
 * memory). */
static void test_shares(void **state)
{
    (void)state;
    for (size_t n = 1; n < 60; n += 7) {
        struct sr_interval none = share_interval(0, n, 0.95), all = share_interval(n, n, 0.95);
        assert_near(none.low, 0, 0);
        assert_near(none.high, 1 - pow(0.025, 1 / (double)n), 1e-10);
        assert_near(all.low, pow(0.025, 1 / (double)n), 1e-10);
        assert_near(all.high, 1, 0);
    }
    struct sr_interval half = share_interval(5, 10, 0.95);
    assert_near(half.value, 0.5, 1e-15);
    assert_near(half.low, 0.1871, 5e-5);
    assert_near(half.high, 0.8129, 5e-5);
    /* The definition itself: as likely as 2.5 % to see so many, or so few. */
    half = share_interval(3, 17, 0.95);
    double at_least = 0, at_most = 0, ways = 1;
    for (int k = 0; k <= 17; k++) {
        if (k >= 3)
            at_least += ways * pow(half.low, k) * pow(1 - half.low, 17 - k);
        if (k <= 3)
            at_most += ways * pow(half.high, k) * pow(1 - half.high, 17 - k);
        ways = ways * (17 - k) / (k + 1);
    }
    assert_near(at_least, 0.025, 1e-10);
    assert_near(at_most, 0.025, 1e-10);
    assert_true(isnan(share_interval(0, 0, 0.95).value));
}

/* Welch's t of a printed example would do; Student's own sleep data (1908, the table in Fisher 1925) has it:
 * the two drugs as independent samples give t = -1.8608, 17.776 degrees of freedom, p = 0.07939 (values as R
 * prints them for its data set `sleep`, from memory). */
static void test_welch_on_students_sleep(void **state)
{
    static const double first[] = {0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0};
    static const double second[] = {1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4};
    struct moments a = {0, 0, 0}, b = {0, 0, 0}, flat = {0, 0, 0};
    (void)state;
    for (int i = 0; i < 10; i++) {
        moments_add(&a, first[i]);
        moments_add(&b, second[i]);
        moments_add(&flat, 1);
    }
    assert_near(a.mean, 0.75, 1e-12);
    assert_near(moments_sd(&a), 1.78901, 1e-5);
    assert_near(welch_p(&a, &b), 0.07939, 1e-5);
    assert_near(welch_p(&b, &a), welch_p(&a, &b), 1e-15);
    assert_near(welch_p(&flat, &flat), 1, 0);
}

/*
 * No scatter at all: means that differ do so for certain, equal ones do not. The comparison of two groups
 * gives the same p for the same numbers, with scatter and without: one rule for both.
 */
static void test_no_scatter(void **state)
{
    struct pen pen;
    struct sr_ledger ledger;
    struct sr_rank rank;
    (void)state;
    begin(&pen);
    for (int i = 0; i < 3; i++) {
        fly(&pen, "heron", "apart", "p", 40, 15, -12);
        fly(&pen, "heron", "apart", "p", 50, 15, 0);
        fly(&pen, "heron", "equal", "p", 40, 15, -3);
        fly(&pen, "heron", "equal", "p", 50, 15, -3);
    }
    land(&pen, &ledger, &rank);
    assert_int_equal(rank.n_compared, 2);
    assert_near(rank.setups[0].margin_db, 12, 1e-6);
    assert_near(rank.setups[0].p_value, 0, 0);
    assert_true(rank.setups[0].clear);
    assert_near(rank.setups[1].p_value, 1, 0);
    assert_false(rank.setups[1].clear);
    let_go(&ledger, &rank);

    static const double groups[][3] = {{1, 1, 1}, {2, 2, 2}, {1, 1, 4}, {-7, 2, 2.5}, {1, 1, 1}};
    for (size_t g = 0; g + 1 < sizeof groups / sizeof *groups; g++) {
        struct moments a = {0, 0, 0}, b = {0, 0, 0};
        struct sr_difference d;
        for (int i = 0; i < 3; i++) {
            moments_add(&a, groups[g][i]);
            moments_add(&b, groups[g + 1][i]);
        }
        assert_int_equal(sr_welch_t(groups[g], 3, groups[g + 1], 3, &d, NULL), SR_OK);
        assert_near(welch_p(&a, &b), d.p_value, 1e-12);
    }
}

/* Of setups in which all hardnesses are alike, at most one in twenty is called clear. */
static void test_equals_are_seldom_called_clear(void **state)
{
    (void)state;
    uint64_t seed = 20260614;
    for (int kinds = 2; kinds <= 4; kinds += 2) {
        struct pen pen;
        struct sr_ledger ledger;
        struct sr_rank rank;
        size_t clear = 0;
        enum { SETUPS = 2000 };
        begin(&pen);
        for (int s = 0; s < SETUPS; s++) {
            char motor[16];
            snprintf(motor, sizeof motor, "m%d", s);
            for (int k = 0; k < kinds; k++)
                for (int f = 0; f < 3 + k % 2; f++)
                    fly(&pen, "b", motor, "p", 40 + 10 * k, 15, (1 + k) * sim_normal(&seed));
        }
        land(&pen, &ledger, &rank);
        assert_int_equal(rank.n_compared, SETUPS);
        for (size_t s = 0; s < rank.n_setups; s++)
            clear += rank.setups[s].clear;
        print_message("  %d alike: %.2f %% called clear\n", kinds, 100.0 * (double)clear / SETUPS);
        /* 0.05 and 2.6 standard errors of this simulation. */
        assert_true((double)clear / SETUPS < 0.05 + 2.6 * sqrt(0.05 * 0.95 / SETUPS));
        let_go(&ledger, &rank);
    }
}

/*
 * The truth: 12 setups want a hardness of their own, softer in the cold, and 1 dB is lost for every 5 A away
 * from it, on top of a level of the setup; flights scatter by 1.5 dB. The best single one and pair are worked
 * out here from the truth itself.
 */
struct truth {
    double wants[12], level_db[12];
};

static double true_level(const struct truth *truth, int setup, double shore_a)
{
    return truth->level_db[setup] + fabs(shore_a - truth->wants[setup]) / 5;
}

static int true_under(const struct truth *truth, double a, double b)
{
    int under = 0;
    for (int s = 0; s < 12; s++)
        under += fmin(true_level(truth, s, a), true_level(truth, s, b)) < 0;
    return under;
}

static void test_a_known_truth_is_found(void **state)
{
    (void)state;
    static const double kinds[] = {40, 50, 60, 70};
    struct truth truth;
    uint64_t seed = 7;
    struct pen pen;
    struct sr_ledger ledger;
    struct sr_rank rank;
    begin(&pen);
    for (int s = 0; s < 12; s++) {
        truth.wants[s] = s % 3 == 0 ? 40 : s % 3 == 1 ? 60 : 62;
        truth.level_db[s] = -1.4;
        char motor[16];
        snprintf(motor, sizeof motor, "m%d", s / 3);
        for (int k = 0; k < 4; k++)
            for (int f = 0; f < 24; f++)
                fly(&pen, f % 2 == 0 ? "heron" : "grebe", motor, "p", kinds[k], 5 + 10 * (s % 3),
                    true_level(&truth, s, kinds[k]) + 1.5 * sim_normal(&seed));
    }
    land(&pen, &ledger, &rank);
    assert_int_equal(rank.n_setups, 12);
    /* 60 is right in 8 setups of 12, and 40 and 60 in all; no other does as well. */
    for (int k = 0; k < 4; k++) {
        assert_true(kinds[k] == 60 || true_under(&truth, kinds[k], kinds[k]) < true_under(&truth, 60, 60));
        for (int m = 0; m < k; m++)
            assert_true((kinds[m] == 40 && kinds[k] == 60) ||
                        true_under(&truth, kinds[m], kinds[k]) < true_under(&truth, 40, 60));
    }
    assert_near(rank.single[0].shore_a[0], 60, 0);
    assert_int_equal(rank.single[0].under, true_under(&truth, 60, 60));
    assert_true(rank.single_settled);
    assert_near(rank.pair[0].shore_a[0], 40, 0);
    assert_near(rank.pair[0].shore_a[1], 60, 0);
    assert_int_equal(rank.pair[0].under, 12);
    assert_true(rank.pair_settled);
    for (size_t s = 0; s < 12; s++) {
        const struct sr_rank_setup *setup = &rank.setups[s];
        assert_near(setup->cells[setup->best].shore_a, s % 3 == 0 ? 40 : 60, 0);
    }
    let_go(&ledger, &rank);
}

static double now_s(void)
{
    struct timespec now;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

/* Read and rank a ledger with all its columns; processor time. */
static double time_of(int rows)
{
    struct sr_ledger ledger;
    struct sr_rank rank;
    assert_int_equal(full_ledger_write("big.csv", rows), 0);
    double start_s = now_s();
    read_ledger(&ledger, "big.csv");
    assert_int_equal(sr_rank_make(&rank, &ledger, NULL), SR_OK);
    double taken_s = now_s() - start_s;
    assert_int_equal(rank.flights, rows);
    assert_int_equal(rank.n_setups, 60); /* motors, props, bands of temperature */
    let_go(&ledger, &rank);
    return taken_s;
}

/* Four times the rows in about four times the time: a square law would take sixteen. `make bench` has the
 * clock. */
static void test_time_grows_with_the_rows(void **state)
{
    (void)state;
    double some_s = time_of(25000), all_s = time_of(100000);
    print_message(
        "  100,000 rows read and ranked in %.2f s of processor time, %.1f times as long as 25,000\n", all_s,
        all_s / some_s);
    assert_true(all_s < 8 * some_s);
}

int main(void)
{
#define TEST(function) cmocka_unit_test_setup(function, fresh_ledger_folder)
    const struct CMUnitTest tests[] = {
        TEST(test_a_flight_that_is_there_twice_counts_once),
        TEST(test_setups_and_their_means),
        TEST(test_what_is_left_out_is_counted),
        TEST(test_wobble_without_the_mount_ranks_no_hardness),
        TEST(test_the_best_of_a_setup),
        TEST(test_choices_by_hand),
        TEST(test_a_settled_choice),
        TEST(test_shares),
        TEST(test_welch_on_students_sleep),
        TEST(test_no_scatter),
        TEST(test_equals_are_seldom_called_clear),
        TEST(test_a_known_truth_is_found),
        TEST(test_time_grows_with_the_rows),
    };
    return cmocka_run_group_tests(tests, enter_ledger_folder, leave_ledger_folder);
}
