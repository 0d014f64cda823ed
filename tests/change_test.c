/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * When something changes in a flight. Oracles: made-up series, whose law and whose step are known, counted
 * against the rates that are promised; closed forms.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "sim/flight.h"
#include "stillrow/explain.h"
#include "support/near.h"

/* A score with made-up slices: log wobble an AR(1) of coefficient rho, 3 dB, and a step at slice `at`. */
static void make_series(struct sr_score *score, struct sr_slices *slices, size_t n, double rho, size_t at,
                        double step_db, uint64_t *seed)
{
    double z = sim_normal(seed);
    memset(score, 0, sizeof *score);
    memset(slices, 0, sizeof *slices);
    score->slices = slices->count = n;
    score->slice_px = calloc(n, sizeof *score->slice_px);
    slices->slice = calloc(n, sizeof *slices->slice);
    for (size_t i = 0; i < n; i++) {
        z = rho * z + sqrt(1 - rho * rho) * sim_normal(seed);
        score->slice_px[i] = pow(10, (3 * z + (i >= at ? step_db : 0)) / 20);
        slices->slice[i].from_s = 5 + (double)i;
        slices->slice[i].to_s = 6 + (double)i;
        slices->slice[i].throttle = NAN;
    }
}

/*
 * False alarms in unchanged flights, neighbours alike as 0, 0.3 and 0.6: 1 in 100 is promised, and two
 * standard errors of a count of 500 are allowed (sqrt(500 x 0.01 x 0.99) = 2.2), so 9; of all 1500, 15
 * and 7.7. Steps of 12 dB at a known second: found and timed to within a slice in 95 of 100, less two
 * standard errors of a count of 200 (3.1), so 184.
 */
static void test_change_rates(void **state)
{
    (void)state;
    const double rhos[] = {0, 0.3, 0.6};
    uint64_t seed = 77;
    size_t all = 0;
    for (int r = 0; r < 3; r++) {
        size_t alarms = 0, timed = 0;
        for (int run = 0; run < 700; run++) {
            bool steps = run >= 500;
            struct sr_score score;
            struct sr_slices slices;
            struct sr_change change;
            make_series(&score, &slices, 50, rhos[r], steps ? 20 : 50, 12, &seed);
            assert_int_equal(sr_change_find(&change, &score, &slices, NULL, NULL, NULL), SR_OK);
            alarms += !steps && change.found;
            timed += steps && change.found && fabs(change.at_s - 25) <= 1;
            free(score.slice_px);
            free(slices.slice);
        }
        print_message("change: rho %.1f: %.1f %% false alarms, %.1f %% found and timed\n", rhos[r],
                      (double)alarms / 5, (double)timed / 2);
        assert_in_range(alarms, 0, 9);
        assert_in_range(timed, 184, 200);
        all += alarms;
    }
    assert_in_range(all, 0, 22);
}

/* A clean step: 6.02 dB is twice the wobble. */
static void test_change_figures(void **state)
{
    (void)state;
    uint64_t seed = 5;
    struct sr_score score;
    struct sr_slices slices;
    struct sr_change change;
    make_series(&score, &slices, 40, 0, 40, 0, &seed);
    for (size_t i = 0; i < 40; i++)
        score.slice_px[i] = (i < 15 ? 0.5 : 1) * (i % 2 == 0 ? 1.01 : 0.99);
    assert_int_equal(sr_change_find(&change, &score, &slices, NULL, NULL, NULL), SR_OK);
    assert_true(change.found);
    assert_near(change.at_s, 20, 1e-9);
    assert_ratio_near(change.before_px, 0.5, 1e-3);
    assert_ratio_near(change.after_px, 1, 1e-3);
    assert_near(change.ratio_db, 6.02, 0.02);
    assert_true(change.p_value <= 0.01);
    free(score.slice_px);
    free(slices.slice);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_change_rates),
        cmocka_unit_test(test_change_figures),
    };
    return cmocka_run_group_tests_name("change", tests, NULL, NULL);
}
