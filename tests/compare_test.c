/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The compare room, on flights whose difference is known. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "stillrow/compare.h"
#include "support/fake_flights.h"
#include "support/near.h"

#define FLIGHTS_MAX 8

struct pair {
    struct fake fake[2][FLIGHTS_MAX];
    struct sr_compare_flight flight[2][FLIGHTS_MAX];
    struct sr_compare_group group[2];
};

static const struct fake_flight typical = {.seconds = 40,
                                           .scatter_db = 2,
                                           .correlation = 0.4,
                                           .throttle_low = 0.3,
                                           .throttle_high = 0.5,
                                           .throttle_db = 3};

static void fly(struct pair *p, int group, size_t count, const struct fake_flight *flight, uint64_t *seed)
{
    for (size_t i = 0; i < count; i++) {
        struct fake *fake = &p->fake[group][i];
        assert_int_equal(fake_fly(fake, flight, seed), 0);
        p->flight[group][i] = (struct sr_compare_flight){group == 0 ? "a.csv" : "b.csv", &fake->slices,
                                                         &fake->view, &fake->score, NULL};
    }
    p->group[group] = (struct sr_compare_group){group == 0 ? "A" : "B", p->flight[group], count};
}

static void land(struct pair *p)
{
    for (int g = 0; g < 2; g++)
        for (size_t i = 0; i < p->group[g].count; i++)
            fake_release(&p->fake[g][i]);
}

static struct sr_comparison compare(const struct pair *p)
{
    struct sr_comparison c;
    struct sr_error err = {0};
    enum sr_status status = sr_compare(&c, &p->group[0], &p->group[1], &err);
    if (status != SR_OK)
        print_error("%s\n", err.text);
    assert_int_equal(status, SR_OK);
    return c;
}

static void test_a_true_difference_is_shown(void **state)
{
    (void)state;
    uint64_t seed = 1;
    struct fake_flight louder = typical;
    struct pair p;
    louder.level_db = 6;
    fly(&p, 0, 4, &typical, &seed);
    fly(&p, 1, 4, &louder, &seed);
    struct sr_comparison c = compare(&p);
    assert_int_equal(c.match, SR_MATCH_THROTTLE);
    assert_int_equal(c.from, SR_FROM_FLIGHTS);
    assert_int_equal(c.winner, SR_A_QUIETER);
    assert_near(c.whole.db, 6, 1);
    assert_true(c.whole.low_db < 6 && 6 < c.whole.high_db);
    assert_true(c.band[0].shown && c.band[1].shown);
    assert_int_equal(c.n_notes, 0);
    land(&p);
}

/* B flies twice as briskly, on the same craft: unmatched it looks worse, matched it does not. */
static void test_matching_takes_flying_out(void **state)
{
    (void)state;
    uint64_t seed = 7;
    struct fake_flight brisk = typical, calm = typical;
    struct pair p;
    calm.throttle_high = 0.6;
    brisk.throttle_low = 0.45;
    brisk.throttle_high = 0.8;
    calm.seconds = brisk.seconds = 200;
    calm.throttle_db = brisk.throttle_db = 4;
    fly(&p, 0, 1, &calm, &seed);
    fly(&p, 1, 1, &brisk, &seed);
    struct sr_comparison c = compare(&p);
    assert_int_equal(c.match_bins, 3); /* 0.45 to 0.60 */
    assert_near(c.match_centre[0], 0.475, 1e-9);
    assert_true(c.whole.low_db < 0 && 0 < c.whole.high_db);
    assert_true(c.left_out_a > 0 && c.left_out_b > 0);
    assert_int_equal(c.slices_a + c.left_out_a, 200);

    /* The same flights without their throttle: the difference in flying shows, and it is said. */
    for (int g = 0; g < 2; g++)
        p.fake[g][0].slices.has_throttle = false;
    c = compare(&p);
    assert_int_equal(c.match, SR_MATCH_NONE);
    assert_true(c.whole.low_db > 0);
    assert_non_null(strstr(c.notes[0], "as flown"));
    land(&p);
}

static void test_few_flights_are_labelled(void **state)
{
    (void)state;
    uint64_t seed = 3;
    struct pair p;
    fly(&p, 0, 2, &typical, &seed);
    fly(&p, 1, 5, &typical, &seed);
    struct sr_comparison c = compare(&p);
    assert_int_equal(c.from, SR_FROM_SLICES);
    assert_non_null(strstr(c.notes[c.n_notes - 1], "these flights only"));
    assert_true(c.smallest_db > 0);
    land(&p);
}

/* Two seconds of a flight show no scatter, and are no proof; nor is there one where no flight has more. */
static void test_a_few_seconds_prove_nothing(void **state)
{
    (void)state;
    uint64_t seed = 4;
    struct fake_flight brief = typical, usual = typical;
    int shown = 0;
    usual.throttle_high = brief.throttle_high = 0.349; /* one bin */
    brief.seconds = 2;
    for (int run = 0; run < 200; run++) {
        struct pair p;
        fly(&p, 0, 1, &usual, &seed);
        fly(&p, 1, 1, &brief, &seed);
        struct sr_comparison c = compare(&p);
        assert_int_equal(c.slices_b, 2);
        shown += c.whole.shown;
        land(&p);
    }
    assert_true(shown <= 16); /* of no difference: 5 % and two standard errors of 200 runs */

    struct pair p;
    struct sr_comparison c;
    struct sr_error err;
    fly(&p, 0, 1, &brief, &seed);
    fly(&p, 1, 1, &brief, &seed);
    assert_int_equal(sr_compare(&c, &p.group[0], &p.group[1], &err), SR_ERR_DATA);
    assert_non_null(strstr(err.text, "only 2 s"));
    land(&p);
}

static void test_motor_speed_stands_in_for_throttle(void **state)
{
    (void)state;
    uint64_t seed = 5;
    struct pair p;
    fly(&p, 0, 1, &typical, &seed);
    fly(&p, 1, 1, &typical, &seed);
    for (int g = 0; g < 2; g++) {
        struct sr_slices *slices = &p.fake[g][0].slices;
        slices->has_throttle = false;
        slices->n_motors = 4;
        for (size_t i = 0; i < slices->count; i++)
            for (size_t m = 0; m < 4; m++)
                slices->slice[i].motor_rpm[m] = 20000 * sqrt(slices->slice[i].throttle);
    }
    struct sr_comparison c = compare(&p);
    assert_int_equal(c.match, SR_MATCH_SPEED);
    assert_true(c.match_bins >= 3);
    assert_non_null(strstr(c.notes[0], "motor speed"));
    land(&p);
}

static void test_one_odd_flight_is_left_out(void **state)
{
    (void)state;
    uint64_t seed = 9;
    struct fake_flight odd = typical;
    struct pair p;
    odd.throttle_low = 0.8;
    odd.throttle_high = 0.95;
    fly(&p, 0, 3, &typical, &seed);
    fly(&p, 1, 3, &typical, &seed);
    fake_release(&p.fake[1][1]);
    assert_int_equal(fake_fly(&p.fake[1][1], &odd, &seed), 0);
    p.flight[1][1].name = "odd.csv";
    struct sr_comparison c = compare(&p);
    assert_non_null(strstr(c.notes[0], "'odd.csv' was left out"));
    assert_int_equal(c.from, SR_FROM_SLICES); /* only two are left */
    land(&p);
}

/* Two odd flights stand last in B: whoever is tried first must not stay out for what they did. */
static void test_only_odd_flights_are_left_out(void **state)
{
    (void)state;
    uint64_t seed = 10;
    struct fake_flight odd[2] = {typical, typical};
    struct pair p;
    odd[0].throttle_low = 0.8;
    odd[0].throttle_high = 0.95;
    odd[1].throttle_low = 0.05;
    odd[1].throttle_high = 0.15;
    odd[0].level_db = odd[1].level_db = 60;
    fly(&p, 0, 2, &typical, &seed);
    fly(&p, 1, 3, &typical, &seed);
    for (size_t i = 0; i < 2; i++) {
        fake_release(&p.fake[1][i + 1]);
        assert_int_equal(fake_fly(&p.fake[1][i + 1], &odd[i], &seed), 0);
        p.flight[1][i + 1].name = i == 0 ? "fast.csv" : "slow.csv";
    }
    struct sr_comparison c = compare(&p);
    assert_non_null(strstr(c.notes[0], "'fast.csv' was left out"));
    assert_non_null(strstr(c.notes[1], "'slow.csv' was left out"));
    assert_null(strstr(c.notes[2], "was left out: "));
    assert_int_equal(c.slices_a + c.left_out_a, 80);
    assert_true(c.slices_a > 40);

    /* The picture shows what was compared: nothing of those 60 dB. */
    struct sr_compare_spectra s;
    assert_int_equal(sr_compare_spectra(&s, &p.group[0], &p.group[1], &c, NULL), SR_OK);
    for (size_t k = p.fake[0][0].view.first_bin; k < s.bins; k++)
        assert_true(s.psd[1][k] < 10 * s.psd[0][k]);
    sr_compare_spectra_release(&s);
    land(&p);
}

/* Whatever the order of the logs: a flight is compared, or shares no bin with those that are. */
static void test_left_out_share_nothing(void **state)
{
    (void)state;
    const double range[2][3][2] = {{{0.40, 0.50}, {0.30, 0.40}, {0.55, 0.65}},
                                   {{0.40, 0.50}, {0.60, 0.70}, {0.45, 0.55}}};
    uint64_t seed = 12;
    for (int order = 0; order < 9; order++) {
        struct pair p;
        fly(&p, 0, 3, &typical, &seed);
        fly(&p, 1, 3, &typical, &seed);
        for (int g = 0; g < 2; g++) {
            for (size_t i = 0; i < 3; i++) {
                const double *r = range[g][(i + (size_t)(g == 0 ? order % 3 : order / 3)) % 3];
                struct fake_flight flight = typical;
                flight.throttle_low = r[0] + 0.001;
                flight.throttle_high = r[1] - 0.001;
                fake_release(&p.fake[g][i]);
                assert_int_equal(fake_fly(&p.fake[g][i], &flight, &seed), 0);
            }
        }
        struct sr_comparison c = compare(&p);
        size_t out = 0, kept = 0;
        for (size_t i = 0; i < c.n_notes; i++)
            out += strstr(c.notes[i], "' was left out: ") != NULL;
        for (int g = 0; g < 2; g++) {
            for (size_t i = 0; i < 3; i++) {
                bool shares = false;
                for (size_t s = 0; s < p.fake[g][i].slices.count; s++)
                    for (size_t b = 0; b < c.match_bins; b++)
                        shares =
                            shares || fabs(p.fake[g][i].slices.slice[s].throttle - c.match_centre[b]) < 0.025;
                kept += shares;
            }
        }
        assert_int_equal(kept + out, 6);
        land(&p);
    }
}

static void test_nothing_in_common_is_refused(void **state)
{
    (void)state;
    uint64_t seed = 11;
    struct fake_flight fast = typical;
    struct pair p;
    struct sr_comparison c = {.match_bins = 99};
    struct sr_error err;
    fast.throttle_low = 0.7;
    fast.throttle_high = 0.9;
    fly(&p, 0, 1, &typical, &seed);
    fly(&p, 1, 1, &fast, &seed);
    assert_int_equal(sr_compare(&c, &p.group[0], &p.group[1], &err), SR_ERR_DATA);
    assert_non_null(strstr(err.text, "same throttle"));
    assert_int_equal(c.match_bins, 99);

    p.fake[1][0].view.camera.readout_s = 0.010;
    assert_int_equal(sr_compare(&c, &p.group[0], &p.group[1], &err), SR_ERR_DATA);
    assert_non_null(strstr(err.text, "another camera"));
    assert_string_equal(err.file, "b.csv");

    struct sr_compare_group nobody = {"B", NULL, 0};
    assert_int_equal(sr_compare(&c, &p.group[0], &nobody, &err), SR_ERR_ARGUMENT);
    land(&p);
}

/* A log that sees less restricts all to what it sees. */
static void test_slow_log_restricts_all(void **state)
{
    (void)state;
    uint64_t seed = 13;
    struct pair p;
    fly(&p, 0, 1, &typical, &seed);
    fly(&p, 1, 1, &typical, &seed);
    p.fake[1][0].slices.sees_hz = 60;
    struct sr_comparison c = compare(&p);
    assert_near(c.limit_hz, 60, 0);
    assert_true(c.band[0].seen);
    assert_false(c.band[1].seen); /* wave begins at 62.5 Hz */
    assert_true(isnan(c.band[1].db));
    bool said = false;
    for (size_t i = 0; i < c.n_notes; i++)
        said = said || strstr(c.notes[i], "above 60 Hz") != NULL;
    assert_true(said);
    land(&p);
}

static void test_lines_account_for_it(void **state)
{
    (void)state;
    uint64_t seed = 17;
    struct fake_flight lined = typical;
    struct pair p;
    lined.line_hz = 120;
    lined.line_db = 6;
    lined.throttle_db = 0;
    fly(&p, 0, 3, &typical, &seed);
    fly(&p, 1, 3, &lined, &seed);
    struct sr_comparison c = compare(&p);
    assert_true(c.n_lines >= 1);
    assert_string_equal(c.lines[0].change, "new");
    assert_near(c.lines[0].hz_b, 120, 2);
    assert_true(isnan(c.lines[0].hz_a));
    assert_true(c.lines[0].share > 0.8);
    /* 6 dB on the broadband: four fifths of B's energy, at the conditions of all else. */
    assert_near(c.lines[0].px_b * c.lines[0].px_b / (c.whole.b_px * c.whole.b_px), 0.8, 0.03);

    /* The other way round the line is gone. */
    struct sr_comparison back;
    assert_int_equal(sr_compare(&back, &p.group[1], &p.group[0], NULL), SR_OK);
    assert_string_equal(back.lines[0].change, "gone");
    assert_near(back.whole.db, -c.whole.db, 1e-9);
    land(&p);
}

/*
 * Both combos have the same line from 45 % of throttle on; only B is flown there, and is louder all over.
 * At the conditions that both were flown at, the line accounts for nothing.
 */
static void test_lines_at_matched_conditions(void **state)
{
    (void)state;
    uint64_t seed = 18;
    struct fake_flight calm = typical, brisk = typical;
    struct pair p;
    calm.throttle_high = 0.449;
    calm.line_hz = brisk.line_hz = 120;
    calm.line_from = brisk.line_from = 0.45;
    calm.line_db = brisk.line_db = 6;
    brisk.throttle_high = 0.7;
    brisk.seconds = 120;
    brisk.level_db = 6;
    fly(&p, 0, 3, &calm, &seed);
    fly(&p, 1, 3, &brisk, &seed);
    assert_true(p.fake[1][0].score.n_peaks > 0);
    struct sr_comparison c = compare(&p);
    assert_int_equal(c.winner, SR_A_QUIETER);
    for (size_t i = 0; i < c.n_lines; i++)
        assert_true(fabs(c.lines[i].hz_b - 120) > 10);
    land(&p);
}

/* A line that is there in both, but too weak a part of A's flights as flown to be among their peaks. */
static void test_a_line_unseen_as_flown_is_not_new(void **state)
{
    (void)state;
    uint64_t seed = 22;
    struct fake_flight calm = typical, brisk = typical;
    struct pair p;
    calm.throttle_low = 0.1;
    calm.throttle_high = 0.46;
    brisk.throttle_low = 0.40;
    brisk.throttle_high = 0.6;
    calm.line_hz = brisk.line_hz = 120;
    calm.line_from = brisk.line_from = 0.4;
    calm.line_db = brisk.line_db = -3;
    calm.throttle_db = brisk.throttle_db = -3; /* most of A's energy is where the line is not */
    calm.seconds = brisk.seconds = 120;
    brisk.level_db = 6;
    fly(&p, 0, 3, &calm, &seed);
    fly(&p, 1, 3, &brisk, &seed);
    for (int i = 0; i < 3; i++)
        p.fake[0][i].score.n_peaks = 0;
    struct sr_comparison c = compare(&p);
    assert_int_equal(c.winner, SR_A_QUIETER);
    assert_int_equal(c.n_lines, 1);
    assert_string_equal(c.lines[0].change, "grown");
    assert_near(c.lines[0].hz_a, 120, 2);
    assert_near(20 * log10(c.lines[0].px_b / c.lines[0].px_a), 6, 1.5);
    land(&p);
}

static void test_no_lines_without_a_difference(void **state)
{
    (void)state;
    uint64_t seed = 24;
    struct fake_flight lined = typical;
    struct pair p;
    lined.line_hz = 120;
    lined.line_db = 6;
    fly(&p, 0, 3, &lined, &seed);
    fly(&p, 1, 3, &lined, &seed);
    struct sr_comparison c = compare(&p);
    assert_int_equal(c.winner, SR_NO_DIFFERENCE);
    for (int b = 0; b < SR_BAND_COUNT - 1; b++)
        assert_false(c.band[b].shown);
    assert_int_equal(c.n_lines, 0);
    land(&p);
}

/* Of many pairs, one that was barely shown no longer is, and with it go winner and lines. */
static void test_pairs_are_adjusted_as_a_whole(void **state)
{
    (void)state;
    struct sr_comparison one = {
        .whole = {.db = 3, .p_value = 0.03, .p_adjusted = 0.03, .shown = true, .seen = true},
        .winner = SR_A_QUIETER,
        .n_lines = 1,
        .lines = {{.hz_a = 120, .px_a = 1, .px_b = 2, .share = 1, .band = SR_BAND_WAVE}}};
    struct sr_comparison other = one, third = one;
    struct sr_comparison *all[3] = {&one, &other, &third};
    other.whole.p_value = 0.001;
    other.whole.db = -3;
    other.winner = SR_B_QUIETER;
    third.whole.p_value = 0.9;
    third.whole.shown = false;
    assert_int_equal(sr_compare_adjust(all, 3, NULL), SR_OK);
    assert_near(one.whole.p_adjusted, 0.045, 1e-12);
    assert_int_equal(one.winner, SR_A_QUIETER);
    assert_int_equal(one.n_lines, 1);
    one.whole.p_value = 0.04; /* 0.06 of three */
    assert_int_equal(sr_compare_adjust(all, 3, NULL), SR_OK);
    assert_near(one.whole.p_adjusted, 0.06, 1e-12);
    assert_false(one.whole.shown);
    assert_int_equal(one.winner, SR_NO_DIFFERENCE);
    assert_int_equal(one.n_lines, 0);
    assert_near(other.whole.p_adjusted, 0.003, 1e-12);
    assert_int_equal(other.winner, SR_B_QUIETER);
    assert_int_equal(third.n_lines, 0);
}

static void test_spectra_of_both_groups(void **state)
{
    (void)state;
    uint64_t seed = 19;
    struct pair p;
    struct sr_compare_spectra s;
    fly(&p, 0, 2, &typical, &seed);
    fly(&p, 1, 2, &typical, &seed);
    struct sr_comparison c = compare(&p);
    assert_int_equal(sr_compare_spectra(&s, &p.group[0], &p.group[1], &c, NULL), SR_OK);
    assert_int_equal(s.bins, 101);
    for (size_t k = p.fake[0][0].view.first_bin; k < s.bins; k++)
        for (int g = 0; g < 2; g++)
            assert_true(s.low[g][k] < s.psd[g][k] && s.psd[g][k] < s.high[g][k]);
    sr_compare_spectra_release(&s);
    assert_null(s.psd[0]);
    land(&p);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_a_true_difference_is_shown),
        cmocka_unit_test(test_matching_takes_flying_out),
        cmocka_unit_test(test_few_flights_are_labelled),
        cmocka_unit_test(test_a_few_seconds_prove_nothing),
        cmocka_unit_test(test_motor_speed_stands_in_for_throttle),
        cmocka_unit_test(test_one_odd_flight_is_left_out),
        cmocka_unit_test(test_only_odd_flights_are_left_out),
        cmocka_unit_test(test_left_out_share_nothing),
        cmocka_unit_test(test_nothing_in_common_is_refused),
        cmocka_unit_test(test_slow_log_restricts_all),
        cmocka_unit_test(test_lines_account_for_it),
        cmocka_unit_test(test_lines_at_matched_conditions),
        cmocka_unit_test(test_a_line_unseen_as_flown_is_not_new),
        cmocka_unit_test(test_no_lines_without_a_difference),
        cmocka_unit_test(test_pairs_are_adjusted_as_a_whole),
        cmocka_unit_test(test_spectra_of_both_groups),
    };
    return cmocka_run_group_tests_name("compare", tests, NULL, NULL);
}
