/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a ledger tells of rubber in the cold, and of a build that wears. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "sim/flight.h"
#include "stillrow/kappa.h"
#include "stillrow/trend.h"
#include "support/ledger_file.h"
#include "support/near.h"

/* ---- kappa ---------------------------------------------------------------- */

#define KAPPA_HEADER "fingerprint,build,shore_a,material,camera,temperature_c,resonance_hz,wobble_px\n"

static FILE *begin(const char *header)
{
    FILE *file = fopen("l.csv", "w");
    assert_non_null(file);
    fputs(header, file);
    return file;
}

static void measure(FILE *file, const char *build, const char *material, double temperature_c, double hz)
{
    static unsigned flights;
    fprintf(file, "%016x,%s,50,%s,front,%.17g,%.17g,1\n", ++flights, build, material, temperature_c, hz);
}

static enum sr_status fit(FILE *file, enum sr_material material, struct sr_kappa *kappa, struct sr_error *err)
{
    struct sr_ledger ledger;
    assert_int_equal(fclose(file), 0);
    read_ledger(&ledger, "l.csv");
    enum sr_status status = sr_ledger_kappa(kappa, &ledger, material, err);
    sr_ledger_release(&ledger);
    return status;
}

/* Exact exponentials of three mounts of other masses: kappa to rounding, and no width. */
static void test_exact_exponentials(void **state)
{
    struct sr_kappa k;
    struct sr_error err;
    (void)state;
    FILE *file = begin(KAPPA_HEADER);
    for (int mount = 0; mount < 3; mount++) {
        char build[8];
        snprintf(build, sizeof build, "b%d", mount);
        for (int i = 0; i < 4; i++) {
            double t = -5 + 12 * i + 2 * mount, modulus = exp(-0.013 * t);
            measure(file, build, "silicone", t, (50 + 20 * mount) * sqrt(modulus));
            measure(file, build, "silicone", t, (50 + 20 * mount) * sqrt(modulus)); /* another flight of it */
        }
    }
    measure(file, "lone", "silicone", 20, 300); /* one temperature only: says nothing */
    measure(file, "b0", "tpu", 20, 999);
    assert_int_equal(fit(file, SR_MATERIAL_SILICONE, &k, &err), SR_OK);
    /* Six digits are kept of what a ledger writes, but these were written here. */
    assert_near(k.kappa.value, 0.013, 1e-12);
    assert_near(k.kappa.low, 0.013, 1e-8);
    assert_near(k.kappa.high, 0.013, 1e-8);
    assert_int_equal(k.measured, 12);
    assert_int_equal(k.mounts, 3);
    assert_near(k.from_c, -5, 0);
    assert_near(k.to_c, 35, 0);
    assert_near(k.scatter, 0, 1e-8);
}

/*
 * By hand: two mounts, at 0, 10, 20 C and at 5, 25 C. About their means t is -10, 0, 10 and -10, 10, so
 * Stt = 400. ln fn about its means: 0.10, 0.01, -0.11 and 0.08, -0.08: Sty = -2.1 - 1.6 = -3.7, Syy = 0.035.
 * Slope -0.00925, kappa 0.0185; rest (0.035 - 3.7^2 / 400) / 2 = 0.0003875; t(0.975, 2) = 4.302653.
 */
static void test_by_hand(void **state)
{
    struct sr_kappa k;
    struct sr_error err;
    (void)state;
    FILE *file = begin(KAPPA_HEADER);
    measure(file, "a", "tpu", 0, 60 * exp(0.10));
    measure(file, "a", "tpu", 10, 60 * exp(0.01));
    measure(file, "a", "tpu", 20, 60 * exp(-0.11));
    measure(file, "b", "tpu", 5, 45 * exp(0.08));
    measure(file, "b", "tpu", 25, 45 * exp(-0.08));
    assert_int_equal(fit(file, SR_MATERIAL_UNKNOWN, &k, &err), SR_OK);
    double reach = 2 * 4.302653 * sqrt(0.0003875 / 400);
    assert_near(k.kappa.value, 0.0185, 1e-10);
    assert_near(k.kappa.low, 0.0185 - reach, 1e-8);
    assert_near(k.kappa.high, 0.0185 + reach, 1e-8);
    assert_near(k.scatter, sqrt(0.0003875), 1e-10);
}

static void test_kappa_says_what_it_takes(void **state)
{
    struct sr_kappa k = {.measured = 99};
    struct sr_error err;
    (void)state;
    FILE *file = begin(KAPPA_HEADER);
    assert_int_equal(fit(file, SR_MATERIAL_UNKNOWN, &k, &err), SR_ERR_DATA);
    assert_non_null(strstr(err.text, "too few measured resonances"));

    file = begin(KAPPA_HEADER);
    for (int i = 0; i < 4; i++)
        measure(file, "a", "tpu", 10 * i, 60 - i);
    measure(file, "b", "tpu", 10, 60);
    assert_int_equal(fit(file, SR_MATERIAL_TPU, &k, &err), SR_ERR_DATA);
    assert_non_null(
        strstr(err.text, "5, of which 4 on mounts measured at two temperatures or more; it takes 5"));

    file = begin(KAPPA_HEADER);
    for (int i = 0; i < 6; i++)
        measure(file, i < 3 ? "a" : "b", "tpu", i < 3 ? 3 * i : 20 + 3 * i, 60 - i);
    assert_int_equal(fit(file, SR_MATERIAL_TPU, &k, &err), SR_ERR_DATA);
    assert_non_null(strstr(err.text, "within 6 C at most; it takes 10 C"));

    file = begin(KAPPA_HEADER);
    for (int i = 0; i < 12; i++)
        measure(file, "a", i < 6 ? "tpu" : "silicone", 5 * i, 60 - i);
    assert_int_equal(fit(file, SR_MATERIAL_UNKNOWN, &k, &err), SR_ERR_DATA);
    assert_non_null(strstr(err.text, "several materials"));
    assert_int_equal(k.measured, 99);
}

/* 95 % intervals hold the truth in 95 % of ledgers, with 2 % of scatter in each measured resonance. */
static void test_kappa_interval_holds_the_truth(void **state)
{
    enum { RUNS = 600 };
    uint64_t seed = 31;
    int held = 0;
    (void)state;
    for (int run = 0; run < RUNS; run++) {
        struct sr_kappa k;
        FILE *file = begin(KAPPA_HEADER);
        for (int i = 0; i < 9; i++) {
            static const char *const builds[] = {"a", "b", "c"};
            double t = -5 + 4 * i + 3 * sim_uniform(&seed);
            measure(file, builds[i % 3], "silicone", t,
                    (40 + 25 * (i % 3)) * exp(-0.005 * t + 0.02 * sim_normal(&seed)));
        }
        assert_int_equal(fit(file, SR_MATERIAL_SILICONE, &k, NULL), SR_OK);
        held += k.kappa.low <= 0.01 && 0.01 <= k.kappa.high;
    }
    print_message("  held in %.1f %% of %d ledgers\n", 100.0 * held / RUNS, RUNS);
    double slack = 2.6 * sqrt(0.05 * 0.95 / RUNS);
    assert_true(held / (double)RUNS > 0.95 - slack && held / (double)RUNS < 0.95 + slack);
}

/* ---- Trend ---------------------------------------------------------------- */

#define TREND_HEADER "fingerprint,build,motor,prop,shore_a,camera,date,temperature_c,verdict,wobble_px\n"

static void fly(FILE *file, const char *build, const char *date, double level_db)
{
    static unsigned flights;
    fprintf(file, "%016x,%s,A,4x3,50,front,%s,15,steady,%.9g\n", ++flights, build, date,
            pow(10, level_db / 20));
}

static struct sr_trend look(FILE *file, const char *build)
{
    struct sr_ledger ledger;
    struct sr_trend trend;
    struct sr_ledger_row like = bare_row("", 1);
    like.width_px = NAN;
    like.build = build;
    like.motor = "a";
    like.prop = "4x3";
    like.camera = "front";
    like.shore_a = 50;
    assert_int_equal(fclose(file), 0);
    read_ledger(&ledger, "l.csv");
    assert_int_equal(sr_trend_find(&trend, &ledger, &like, NULL), SR_OK);
    sr_ledger_release(&ledger);
    return trend;
}

/* Mann and Kendall's tables, as Gilbert 1987 (table A18) prints them. From memory. */
static void test_kendalls_table(void **state)
{
    static const struct {
        size_t n;
        long s;
        double p;
    } rows[] = {{4, 6, 0.042},   {4, 4, 0.167},   {5, 8, 0.042},   {5, 10, 0.0083}, {6, 11, 0.028},
                {7, 13, 0.035},  {8, 16, 0.031},  {8, 18, 0.016},  {9, 18, 0.038},  {9, 20, 0.022},
                {10, 19, 0.054}, {10, 21, 0.036}, {10, 23, 0.023}, {10, 45, 2.8e-7}};
    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
        assert_near(sr_kendall_p(rows[i].n, rows[i].s), rows[i].p,
                    rows[i].p < 0.01 ? rows[i].p / 50 : 5.1e-4);
    assert_near(sr_kendall_p(10, -45), 1, 1e-12);
    assert_near(sr_kendall_p(20, 190), exp(-lgamma(21)), 1e-30); /* one order of 20! */
}

/* All orders of six values, one by one. */
static void test_kendall_by_counting(void **state)
{
    int counts[31] = {0}, orders = 0;
    (void)state;
    for (int code = 0; code < 46656; code++) {
        int v[6], used = 0;
        for (int i = 0, rest = code; i < 6; i++, rest /= 6) {
            v[i] = rest % 6;
            used |= 1 << v[i];
        }
        if (used != 63)
            continue;
        int s = 0;
        for (int i = 0; i < 6; i++)
            for (int j = i + 1; j < 6; j++)
                s += v[j] > v[i] ? 1 : -1;
        counts[s + 15]++;
        orders++;
    }
    assert_int_equal(orders, 720);
    for (int s = 15, at_least = 0; s >= -15; s--) {
        at_least += counts[s + 15];
        assert_near(sr_kendall_p(6, s), at_least / 720.0, 1e-12);
    }
}

static void test_a_wearing_build_is_seen(void **state)
{
    static const double db[] = {9, 9,   0,   0.5, 2, 1.5,
                                3, 3.5, 4.5, 4,   6, 6.5}; /* the first two are long ago */
    (void)state;
    FILE *file = begin(TREND_HEADER);
    for (int i = 11; i >= 0; i--) { /* written newest first: dates tell the order */
        char date[16];
        snprintf(date, sizeof date, "2026-06-%02d", i + 1);
        fly(file, "Heron", date, db[i]);
        fly(file, "grebe", date, -db[i]);
    }
    struct sr_trend t = look(file, "heron");
    assert_int_equal(t.flights, 10);
    assert_true(t.by_date);
    assert_true(t.grown);
    /* Pairs of the last ten: all 45 rise but (2, 1.5) and (4.5, 4), so S is 41. */
    assert_near(t.p_value, sr_kendall_p(10, 41), 1e-15);
    assert_near(t.slope_db, 0.7, 0.1);
    assert_near(t.growth_db, 9 * t.slope_db, 1e-12);
    assert_near(t.from_c, 15, 0);
    assert_non_null(strstr(t.text, "the wobble of heron has grown over its last 10 flights"));
    assert_non_null(strstr(t.text, "bearing"));
    assert_non_null(strstr(t.text, "props off"));

    file = begin(TREND_HEADER);
    for (int i = 2; i < 12; i++)
        fly(file, "heron", "", -db[i]);
    t = look(file, "heron");
    assert_false(t.by_date);
    assert_false(t.grown);
    assert_string_equal(t.text, "");
    assert_true(t.p_value > 0.99 && t.slope_db < 0);
}

/* Three flights that someone put in twice are three, too few to say anything. */
static void test_a_flight_that_is_there_twice_is_no_trend(void **state)
{
    (void)state;
    FILE *file = begin(TREND_HEADER);
    for (int i = 0; i < 6; i++)
        fprintf(file, "%016x,heron,A,4x3,50,front,,15,steady,%d\n", 0xa0 + i % 3, 1 + i % 3);
    struct sr_trend t = look(file, "heron");
    assert_int_equal(t.flights, 3);
    assert_true(isnan(t.slope_db));
}

/* From the frame's side first, then behind the mount: that rise is no wear. What does not say counts. */
static void test_a_mount_that_came_in_is_no_trend(void **state)
{
    static const char *const in[] = {"no", "no", "no", "no", "", "logged", "logged", "modelled", "logged"};
    struct sr_ledger ledger;
    struct sr_trend trend;
    (void)state;
    FILE *file = begin("fingerprint,build,mount_in,wobble_px\n");
    for (int i = 0; i < 9; i++)
        fprintf(file, "%016x,heron,%s,%d\n", 0xa0 + i, in[i], 1 + i);
    assert_int_equal(fclose(file), 0);
    read_ledger(&ledger, "l.csv");
    assert_int_equal(sr_trend_find(&trend, &ledger, &ledger.rows[8], NULL), SR_OK);
    assert_int_equal(trend.flights, 4);
    assert_false(trend.grown);
    assert_int_equal(sr_trend_find(&trend, &ledger, &ledger.rows[4], NULL), SR_OK);
    assert_int_equal(trend.flights, 9);
    assert_true(trend.grown);
    assert_int_equal(sr_trend_find(&trend, &ledger, &ledger.rows[0], NULL), SR_OK);
    assert_int_equal(trend.flights, 5);
    sr_ledger_release(&ledger);
}

static void test_trends_are_not_seen_where_there_is_none(void **state)
{
    (void)state;
    /* Too few flights. */
    FILE *file = begin(TREND_HEADER);
    for (int i = 0; i < 4; i++)
        fly(file, "heron", "", 3.0 * i);
    struct sr_trend t = look(file, "heron");
    assert_int_equal(t.flights, 4);
    assert_true(!t.grown && isnan(t.p_value) && isnan(t.slope_db));

    /* Steady growth of less than 1 dB in all; flights of others, and of no build. */
    file = begin(TREND_HEADER);
    for (int i = 0; i < 8; i++) {
        fly(file, "heron", "", 0.1 * i);
        fly(file, "", "", 3.0 * i);
        fprintf(file, "%016x,heron,A,4x3,60,front,,15,steady,%d\n", i, i + 1);
        fprintf(file, "%016x,heron,A,4x3,50,rear,,15,steady,%d\n", i, i + 1);
        fprintf(file, "%016x,heron,B,4x3,50,front,,15,steady,%d\n", i, i + 1);
        fprintf(file, "%016x,heron,A,5x3,50,front,,15,steady,%d\n", i, i + 1);
        fprintf(file, "%016x,heron,A,4x3,50,front,,15,unproven,%d\n", i, i + 1);
        fprintf(file, "%016x,heron,A,4x3,50,front,,15,steady,0\n", i);
        fprintf(file, "%016x,heron,A,4x3,50,front,,15,steady,\n", i);
    }
    t = look(file, "heron");
    assert_int_equal(t.flights, 8);
    assert_true(t.p_value < 0.001 && !t.grown);
    file = begin(TREND_HEADER);
    for (int i = 0; i < 8; i++)
        fly(file, "", "", 3.0 * i);
    t = look(file, "");
    assert_int_equal(t.flights, 0);
    t = look(begin(TREND_HEADER), NULL);
    assert_int_equal(t.flights, 0);
}

static void test_the_weather_is_named(void **state)
{
    (void)state;
    FILE *file = begin(TREND_HEADER);
    for (int i = 0; i < 6; i++)
        fprintf(file, "%016x,heron,A,4x3,50,front,,%d,steady,%d\n", i, 20 - 3 * i, i + 1);
    struct sr_trend t = look(file, "heron");
    assert_true(t.grown);
    assert_non_null(strstr(t.text, "these flights were at 5 to 20 C"));

    /* Where the flight has a temperature, only those as warm count: 8, 11, 14 and 17 C for 13 C. */
    struct sr_ledger ledger;
    read_ledger(&ledger, "l.csv");
    struct sr_ledger_row like = ledger.rows[0];
    like.temperature_c = 13;
    assert_int_equal(sr_trend_find(&t, &ledger, &like, NULL), SR_OK);
    assert_int_equal(t.flights, 4);
    sr_ledger_release(&ledger);
}

/* Flights without a trend, of ugly scatter: at most 1 look in 20 alarms. A wearing build is seen. */
static void test_false_alarms(void **state)
{
    enum { RUNS = 1000 };
    uint64_t seed = 77;
    (void)state;
    for (int n = 5; n <= 10; n += 5) {
        int alarms = 0, seen = 0;
        for (int run = 0; run < RUNS; run++) {
            FILE *file = begin(TREND_HEADER);
            for (int i = 0; i < n; i++) {
                double z = sim_normal(&seed), odd = sim_uniform(&seed) < 0.2 ? 8 : 1.5;
                fly(file, "still", "", odd * z);
                fly(file, "wears", "", 1.5 * z + 1.0 * i);
            }
            fflush(file);
            struct sr_trend t = look(file, "still");
            alarms += t.grown;
            file = fopen("l.csv", "a");
            t = look(file, "wears");
            seen += t.grown;
        }
        print_message("  %d flights: %.1f %% false alarms; 1 dB a flight seen in %.0f %%\n", n,
                      100.0 * alarms / RUNS, 100.0 * seen / RUNS);
        assert_true(alarms / (double)RUNS <= 0.05 + 2.6 * sqrt(0.05 * 0.95 / RUNS));
        assert_true(n == 5 || seen > RUNS * 9 / 10);
    }
}

int main(void)
{
#define TEST(function) cmocka_unit_test_setup(function, fresh_ledger_folder)
    const struct CMUnitTest tests[] = {
        TEST(test_exact_exponentials),
        TEST(test_by_hand),
        TEST(test_kappa_says_what_it_takes),
        TEST(test_kappa_interval_holds_the_truth),
        TEST(test_kendalls_table),
        TEST(test_kendall_by_counting),
        TEST(test_a_wearing_build_is_seen),
        TEST(test_a_flight_that_is_there_twice_is_no_trend),
        TEST(test_a_mount_that_came_in_is_no_trend),
        TEST(test_trends_are_not_seen_where_there_is_none),
        TEST(test_the_weather_is_named),
        TEST(test_false_alarms),
    };
    return cmocka_run_group_tests(tests, enter_ledger_folder, leave_ledger_folder);
}
