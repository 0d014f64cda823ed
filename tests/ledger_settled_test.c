/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Whether a choice of hardness is settled: by hand, and against brute force. There every level that is
 * missing takes each of a row of values, all choices are judged anew by the definition, and the first place
 * is settled if it is the same choice each time.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "sim/flight.h"
#include "stillrow/rank.h"
#include "support/near.h"

enum { SETUPS_MAX = 5, KINDS_MAX = 4, GAPS_MAX = 4, FLIGHTS = 3 };

/* Levels [dB] of hardnesses 40, 50, 60, 70 in each setup; NAN: no flights. */
struct levels {
    size_t setups, kinds;
    double db[SETUPS_MAX][KINDS_MAX];
};

/* The ranking of three equal flights for each level. */
struct ranked {
    struct sr_ledger_row rows[SETUPS_MAX * KINDS_MAX * FLIGHTS];
    char prints[SETUPS_MAX * KINDS_MAX * FLIGHTS][SR_FINGERPRINT_SIZE];
    struct sr_ledger ledger;
    struct sr_rank rank;
};

static void rank_levels(struct ranked *r, const struct levels *levels)
{
    static const char *const motors[SETUPS_MAX] = {"m1", "m2", "m3", "m4", "m5"};
    struct sr_error err;

    r->ledger = (struct sr_ledger){.rows = r->rows};
    for (size_t s = 0; s < levels->setups; s++)
        for (size_t k = 0; k < levels->kinds; k++)
            for (int f = 0; f < FLIGHTS && !isnan(levels->db[s][k]); f++) {
                size_t n = r->ledger.n_rows++;
                snprintf(r->prints[n], sizeof r->prints[n], "%016zx", n + 1);
                r->rows[n] = (struct sr_ledger_row){.readable = true,
                                                    .fingerprint = r->prints[n],
                                                    .build = "heron",
                                                    .motor = motors[s],
                                                    .prop = "p",
                                                    .verdict = "steady",
                                                    .shore_a = 40 + 10 * (double)k,
                                                    .temperature_c = 15,
                                                    .width_px = 1920,
                                                    .threshold_px = 0.5,
                                                    .wobble_px = 0.5 * pow(10, levels->db[s][k] / 20)};
            }
    assert_int_equal(sr_rank_make(&r->rank, &r->ledger, &err), SR_OK);
}

#define NONE NAN

/*
 *        40    50            40    50    60
 *   m1   -5    -4       m1   -1    -1     3
 *   m2   -5    -5       m2   -1    -1     3
 *   m3    .     3
 *
 * Left: 40 has 2 under and 1 unknown, 50 has 2 under and 1 over. Bad flights of 40 in m3 leave both with two
 * and 50 with the lesser regret. Right: nothing is missing, the tie goes to the lesser hardness for good.
 */
static void test_what_the_first_lacks_counts(void **state)
{
    struct ranked r;
    (void)state;
    rank_levels(&r, &(struct levels){3, 2, {{-5, -4}, {-5, -5}, {NONE, 3}}});
    assert_near(r.rank.single[0].shore_a[0], 40, 0);
    assert_int_equal(r.rank.single[0].under, 2);
    assert_int_equal(r.rank.single[0].unknown, 1);
    assert_int_equal(r.rank.single[1].over, 1);
    assert_false(r.rank.single_settled);
    assert_true(r.rank.pair_settled); /* there is one pair */
    sr_rank_release(&r.rank);
    /* The three bad flights: first place has changed. */
    rank_levels(&r, &(struct levels){3, 2, {{-5, -4}, {-5, -5}, {6, 3}}});
    assert_near(r.rank.single[0].shore_a[0], 50, 0);
    assert_true(r.rank.single_settled);
    sr_rank_release(&r.rank);

    rank_levels(&r, &(struct levels){2, 3, {{-1, -1, 3}, {-1, -1, 3}}});
    assert_near(r.rank.single[0].shore_a[0], 40, 0);
    assert_true(r.rank.single_settled);
    assert_true(r.rank.pair_settled);
    sr_rank_release(&r.rank);
}

/*
 *        40    50    60
 *   m1   -5     3     3
 *   m2    3    -5    -4.5
 *   m3    .     2     1
 *
 * 40 and 60 comes first: two under, as with 40 and 50, and regrets of 0.5 dB in m2 and none in m3, against
 * none and 1 dB. Good flights of 40 in m3 take the regret there away, and 40 and 50 is first.
 */
static void test_pairs(void **state)
{
    struct ranked r;
    (void)state;
    rank_levels(&r, &(struct levels){3, 3, {{-5, 3, 3}, {3, -5, -4.5}, {NONE, 2, 1}}});
    assert_near(r.rank.pair[0].shore_a[0], 40, 0);
    assert_near(r.rank.pair[0].shore_a[1], 60, 0);
    assert_false(r.rank.pair_settled);
    sr_rank_release(&r.rank);
    rank_levels(&r, &(struct levels){3, 3, {{-5, 3, 3}, {3, -5, -4.5}, {-9, 2, 1}}});
    assert_near(r.rank.pair[0].shore_a[1], 50, 0);
    sr_rank_release(&r.rank);
    /* 60 over in m2: now 40 and 50 lead by a setup, and what 40 does in m3 it does for both. */
    rank_levels(&r, &(struct levels){3, 3, {{-5, 3, 3}, {3, -5, 1}, {NONE, 2, 1}}});
    assert_near(r.rank.pair[0].shore_a[1], 50, 0);
    assert_int_equal(r.rank.pair[0].under, 2);
    assert_int_equal(r.rank.pair[1].under, 1);
    assert_int_equal(r.rank.pair[1].unknown, 1);
    assert_true(r.rank.pair_settled);
    sr_rank_release(&r.rank);
}

/* Which choice is first, by its definition: most setups under, least worst regret, lesser hardness. */
static size_t first_choice(const struct levels *levels, size_t choices, size_t (*choice)[2])
{
    size_t first = 0, most = 0;
    double least_db = INFINITY;

    for (size_t c = 0; c < choices; c++) {
        size_t under = 0;
        double worst_db = 0;
        for (size_t s = 0; s < levels->setups; s++) {
            double best_db = INFINITY;
            for (size_t k = 0; k < levels->kinds; k++)
                best_db = fmin(best_db, levels->db[s][k]);
            double level_db = fmin(levels->db[s][choice[c][0]], levels->db[s][choice[c][1]]);
            under += level_db < 0;
            worst_db = fmax(worst_db, level_db - best_db);
        }
        if (c == 0 || under > most || (under == most && worst_db < least_db)) {
            first = c;
            most = under;
            least_db = worst_db;
        }
    }
    return first;
}

/* Every way to fill the gaps; whether `first` is first each time. */
static bool stays_first(struct levels *levels, double *const *gaps, size_t n, size_t first, size_t choices,
                        size_t (*choice)[2])
{
    static const double values_db[] = {1000, -1000, -999, -3, -2, -1, 0, 1, 2, 3};
    bool stays = true;

    if (n == 0)
        return first_choice(levels, choices, choice) == first;
    for (size_t v = 0; v < sizeof values_db / sizeof *values_db && stays; v++) {
        *gaps[0] = values_db[v];
        stays = stays_first(levels, gaps + 1, n - 1, first, choices, choice);
    }
    *gaps[0] = NAN;
    return stays;
}

/* Levels as the ranking has them: whole decibels, as a pixel count gives them back. */
static double level_of(double whole_db)
{
    const struct sr_ledger_row row = {
        .threshold_px = 0.5, .width_px = 1920, .wobble_px = 0.5 * pow(10, whole_db / 20)};
    return sr_ledger_level_db(&row);
}

/* A table with some gaps, every row and column of it known somewhere. */
static void make_levels(struct levels *levels, uint64_t *seed)
{
    size_t gaps, known;
    do {
        bool column[KINDS_MAX] = {false};
        *levels = (struct levels){.setups = 1 + (size_t)(4 * sim_uniform(seed)),
                                  .kinds = 2 + (size_t)(3 * sim_uniform(seed))};
        gaps = known = 0;
        for (size_t s = 0; s < levels->setups; s++) {
            bool any = false;
            for (size_t k = 0; k < levels->kinds; k++) {
                bool gap = sim_uniform(seed) < 0.25;
                levels->db[s][k] = gap ? NAN : level_of(floor(5 * sim_uniform(seed)) - 2);
                gaps += gap;
                any |= !gap;
                column[k] |= !gap;
            }
            known += any;
        }
        for (size_t k = 0; k < levels->kinds; k++)
            known += column[k];
    } while (gaps > GAPS_MAX || known < levels->setups + levels->kinds);
}

struct tally {
    size_t settled, open, closed_with_gaps;
};

/* One ranking of choices against brute force. */
static void compare(struct tally *tally, const struct levels *levels, const struct sr_rank_choice *ranked,
                    bool settled, size_t n, size_t count)
{
    struct levels filled = *levels;
    double *gaps[SETUPS_MAX * KINDS_MAX];
    size_t choice[KINDS_MAX * KINDS_MAX][2], choices = 0, n_gaps = 0, first = SIZE_MAX;

    for (size_t a = 0; a < levels->kinds; a++) {
        for (size_t b = count == 1 ? a : a + 1; b < (count == 1 ? a + 1 : levels->kinds); b++) {
            choice[choices][0] = a;
            choice[choices][1] = b;
            if (fabs(ranked[0].shore_a[0] - 40 - 10 * (double)a) < 1 &&
                fabs(ranked[0].shore_a[1] - 40 - 10 * (double)b) < 1)
                first = choices;
            choices++;
        }
    }
    assert_int_equal(n, choices);
    for (size_t s = 0; s < levels->setups; s++)
        for (size_t k = 0; k < levels->kinds; k++)
            if (isnan(levels->db[s][k]))
                gaps[n_gaps++] = &filled.db[s][k];
    bool stays = stays_first(&filled, gaps, n_gaps, first, choices, choice);
    if (stays != settled) {
        for (size_t s = 0; s < levels->setups; s++)
            for (size_t k = 0; k < levels->kinds; k++)
                print_message("%6.1f%s", levels->db[s][k], k + 1 == levels->kinds ? "\n" : "");
        fail_msg("of choices of %zu, choice %zu %s, but is called %s", count, first,
                 stays ? "stays first" : "may be overtaken", settled ? "settled" : "not settled");
    }
    tally->settled += stays;
    tally->open += !stays;
    tally->closed_with_gaps += stays && n_gaps > 0;
}

static void test_against_brute_force(void **state)
{
    struct tally single = {0, 0, 0}, pair = {0, 0, 0};
    uint64_t seed = 4050;
    (void)state;
    for (int i = 0; i < 1500; i++) {
        struct levels levels;
        struct ranked r;
        make_levels(&levels, &seed);
        rank_levels(&r, &levels);
        assert_int_equal(r.rank.n_counted, levels.setups);
        compare(&single, &levels, r.rank.single, r.rank.single_settled, r.rank.n_single, 1);
        compare(&pair, &levels, r.rank.pair, r.rank.pair_settled, r.rank.n_pair, 2);
        sr_rank_release(&r.rank);
    }
    print_message("  settled and not: %zu and %zu choices of one, %zu and %zu of two; with gaps all the same "
                  "settled: %zu and %zu\n",
                  single.settled, single.open, pair.settled, pair.open, single.closed_with_gaps,
                  pair.closed_with_gaps);
    /* Or it was no test of either answer. */
    assert_true(single.open > 300 && single.closed_with_gaps > 100);
    assert_true(pair.open > 300 && pair.closed_with_gaps > 100);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_what_the_first_lacks_counts),
        cmocka_unit_test(test_pairs),
        cmocka_unit_test(test_against_brute_force),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
