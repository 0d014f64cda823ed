/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The floor under spectral lines: on noise of known density, with and without lines, and on a power law. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "support/line_signal.h"
#include "support/near.h"

/* The floor of white noise is its density, whatever the degrees of freedom, and lines leave it there. */
static void floor_is_the_mean_level(void **state)
{
    (void)state;
    static const size_t seconds[] = {1, 30};
    static double floor[BINS];

    for (size_t s = 0; s < 2; s++) {
        double sum = 0, n = 0;

        for (uint64_t seed = 0; seed < 40; seed++) {
            signal_reset();
            length = seconds[s] * RATE;
            add_noise(1, 600 + seed);
            for (size_t i = 1; i < 8; i++)
                add_line(100 * (double)i, 5, 3, 2);
            estimate(SR_WINDOW_HANN, seconds[s]);
            assert_int_equal(sr_floor(psd, BINS, bin_hz, 120, dof, floor, NULL), SR_OK);
            for (size_t k = 40; k < BINS; k++, n++)
                sum += floor[k];
        }
        /* Where lines fill a fifth of the window, what is left of them below 6 dB lifts the median a little.
         */
        assert_ratio_near(sum / n / 1e-3, 1, 0.05);
    }
}

/* On a power law a symmetric median is exact; the lowest bins continue it. */
static void floor_follows_a_slope(void **state)
{
    (void)state;
    static double floor[BINS];

    signal_reset();
    for (size_t k = 0; k < BINS; k++)
        psd[k] = 5 / pow(k > 0 ? (double)k : 1, 2);
    assert_int_equal(sr_floor(psd, BINS, bin_hz, 120, 1e7, floor, NULL), SR_OK);
    for (size_t k = 1; k < BINS; k++)
        assert_ratio_near(floor[k], psd[k], k < 9 ? 0.4 : k < 19 ? 0.15 : k < BINS - 8 ? 0.01 : 0.03);
}

static void floor_refuses_bad_arguments(void **state)
{
    (void)state;
    static const double bad[] = {0, -1, NAN, INFINITY};
    double floor[4] = {42, 42, 42, 42};
    struct sr_error err;

    signal_reset();
    assert_int_equal(sr_floor(psd, 0, bin_hz, 120, 6, floor, &err), SR_ERR_ARGUMENT);
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        assert_int_equal(sr_floor(psd, 4, bad[i], 120, 6, floor, &err), SR_ERR_ARGUMENT);
        assert_int_equal(sr_floor(psd, 4, bin_hz, bad[i], 6, floor, &err), SR_ERR_ARGUMENT);
        assert_int_equal(sr_floor(psd, 4, bin_hz, 120, bad[i], floor, &err), SR_ERR_ARGUMENT);
    }
    assert_true(floor[0] == 42);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(floor_is_the_mean_level),
        cmocka_unit_test(floor_follows_a_slope),
        cmocka_unit_test(floor_refuses_bad_arguments),
    };
    return cmocka_run_group_tests_name("floor", tests, NULL, NULL);
}
