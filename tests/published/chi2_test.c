/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Confidence intervals and degrees of freedom against published numbers:
 *   chi-square and F quantiles: M. Abramowitz, I. A. Stegun, Handbook of Mathematical
 *   Functions, 1964, tables 26.8 and 26.9;
 *   Hann window at half overlap, nu = 36 K^2 / (19 K - 1): D. B. Percival, A. T. Walden,
 *   Spectral Analysis for Physical Applications, 1993, section 6.17;
 *   overlap correlations: F. J. Harris, Proc. IEEE 66(1), 51-83, 1978, Table I;
 * (the tables' and Harris' values written down from memory);
 * and a Monte Carlo run that knows nothing of any formula.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>

#include "sim/flight.h"
#include "spectrum/quantile.h"
#include "stillrow/spectrum.h"
#include "support/near.h"

/* Values that chi-square stays below with probability 0.025, 0.05, 0.95, 0.975. */
static const struct {
    double dof, p025, p05, p95, p975;
} chi2_table[] = {
    {1, 0.000982069, 0.00393214, 3.84146, 5.02389}, {2, 0.0506356, 0.102587, 5.99146, 7.37776},
    {3, 0.215795, 0.351846, 7.81473, 9.34840},      {4, 0.484419, 0.710721, 9.48773, 11.1433},
    {5, 0.831211, 1.145476, 11.0705, 12.8325},      {6, 1.237347, 1.63539, 12.5916, 14.4494},
    {10, 3.24697, 3.94030, 18.3070, 20.4831},       {20, 9.59083, 10.8508, 31.4104, 34.1696},
    {30, 16.7908, 18.4926, 43.7729, 46.9792},       {60, 40.4817, 43.1879, 79.0819, 83.2976},
    {100, 74.2219, 77.9295, 124.342, 129.561},
};

static void intervals_follow_the_chi_square_table(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof chi2_table / sizeof *chi2_table; i++) {
        double dof = chi2_table[i].dof, low = 0, high = 0;

        /* The tables of 1964 are good to some units in their sixth digit. */
        assert_int_equal(sr_chi2_interval(dof, 0.95, &low, &high, NULL), SR_OK);
        assert_ratio_near(dof / low, chi2_table[i].p975, 1e-5);
        assert_ratio_near(dof / high, chi2_table[i].p025, 1e-5);
        assert_int_equal(sr_chi2_interval(dof, 0.90, &low, &high, NULL), SR_OK);
        assert_ratio_near(dof / low, chi2_table[i].p95, 1e-5);
        assert_ratio_near(dof / high, chi2_table[i].p05, 1e-5);
    }
}

/* Upper tail of chi-square for even dof: a sum of Poisson probabilities, e^-h sum h^i / i!, h = x / 2, i <
 * dof / 2. */
static double even_upper_tail(double x, size_t dof)
{
    double log_term = -0.5 * x, sum = 0;

    for (size_t i = 0; i < dof / 2; i++) {
        sum += exp(log_term);
        log_term += log(0.5 * x) - log((double)(i + 1));
    }
    return sum;
}

/* Many degrees of freedom, as a mean over a long flight has them, and very small tails, as the line finder
 * asks for. */
static void even_degrees_of_freedom_have_a_closed_form(void **state)
{
    static const size_t dofs[] = {2, 6, 38, 400, 5000, 49050, 300000};
    static const double tails[] = {0.3, 0.025, 1e-3, 1e-5, 1e-8};

    (void)state;
    for (size_t i = 0; i < sizeof dofs / sizeof *dofs; i++) {
        double dof = (double)dofs[i];

        for (size_t j = 0; j < sizeof tails / sizeof *tails; j++) {
            double upper = dof * sr_chi2_ratio_upper(tails[j], dof);
            double lower = dof * sr_chi2_ratio_lower(tails[j], dof);

            assert_ratio_near(even_upper_tail(upper, dofs[i]), tails[j], 1e-7);
            assert_near(1 - even_upper_tail(lower, dofs[i]), tails[j], 1e-8);
        }
    }
    /* Across the change of method at 1e6 the quantile goes on smoothly. */
    assert_ratio_near(sr_chi2_ratio_upper(1e-5, 1.000001e6), sr_chi2_ratio_upper(1e-5, 1e6), 1e-8);
    assert_ratio_near(sr_chi2_ratio_lower(1e-5, 1.000001e6), sr_chi2_ratio_lower(1e-5, 1e6), 1e-8);
}

static void f_quantiles_follow_the_table(void **state)
{
    static const struct {
        double tail, dof1, dof2, f;
    } table[] = {
        {0.05, 2, 2, 19.00}, {0.05, 4, 4, 6.39},    {0.05, 10, 10, 2.98},   {0.05, 20, 20, 2.12},
        {0.025, 4, 4, 9.60}, {0.025, 10, 10, 3.72}, {0.025, 20, 20, 2.46},  {0.05, 5, 60, 2.37},
        {0.01, 6, 60, 3.12}, {0.01, 10, 120, 2.47}, {0.01, 120, 120, 1.53},
    };

    (void)state;
    for (size_t i = 0; i < sizeof table / sizeof *table; i++)
        assert_near(sr_f_ratio_upper(table[i].tail, table[i].dof1, table[i].dof2), table[i].f, 0.0051);
    /* Two degrees of freedom above: tail = (1 + 2 F / dof2)^(-dof2 / 2), exactly. */
    assert_ratio_near(sr_f_ratio_upper(1e-5, 2, 76), 38 * (pow(1e-5, -1.0 / 38) - 1), 1e-9);
    assert_ratio_near(sr_f_ratio_upper(1e-7, 2, 5e5), 2.5e5 * (pow(1e-7, -1 / 2.5e5) - 1), 1e-7);
    /* And beyond a million below it is chi-square / dof1, here an exponential. */
    assert_ratio_near(sr_f_ratio_upper(1e-5, 2, 1e9), log(1e5), 1e-9);
}

static void interval_refuses_what_it_cannot_answer(void **state)
{
    const double bad_dofs[] = {0, -1, NAN, INFINITY};
    const double bad_levels[] = {0, 1, -0.1, 1.1, NAN};
    double low = 7, high = 8;
    struct sr_error err;

    (void)state;
    for (size_t i = 0; i < sizeof bad_dofs / sizeof *bad_dofs; i++)
        assert_int_equal(sr_chi2_interval(bad_dofs[i], 0.95, &low, &high, &err), SR_ERR_ARGUMENT);
    for (size_t i = 0; i < sizeof bad_levels / sizeof *bad_levels; i++)
        assert_int_equal(sr_chi2_interval(10, bad_levels[i], &low, &high, &err), SR_ERR_ARGUMENT);
    assert_true(low == 7 && high == 8);
}

static void hann_at_half_overlap_follows_percival_and_walden(void **state)
{
    double w[512];

    (void)state;
    sr_window_fill(SR_WINDOW_HANN, w, 512);
    for (size_t k = 1; k <= 200; k++) {
        double segments = (double)k;

        assert_ratio_near(sr_welch_dof(w, 512, 256, k), 36 * segments * segments / (19 * segments - 1),
                          1e-12);
    }
    assert_near(sr_welch_dof(w, 512, 512, 10), 20, 1e-12); /* no overlap: 2 a segment */
    assert_true(sr_welch_dof(w, 512, 256, 0) == 0 && sr_welch_dof(w, 512, 0, 3) == 0 &&
                sr_welch_dof(w, 0, 1, 3) == 0);
}

/* Two segments: nu = 4 / (1 + rho^2), so nu gives back Harris' overlap correlation. */
static void overlap_correlations_follow_harris(void **state)
{
    /* In per cent, at 75 and 50 % overlap. Hamming's is left out: the table has the exact coefficients' in
     * part. */
    static const struct {
        enum sr_window window;
        double at75, at50;
    } table[] = {
        {SR_WINDOW_RECTANGULAR, 75.0, 50.0},
        {SR_WINDOW_HANN, 65.9, 16.7},
        {SR_WINDOW_BLACKMAN, 56.7, 9.0},
        {SR_WINDOW_BLACKMAN_HARRIS, 46.0, 3.8},
    };
    static double w[4096];

    (void)state;
    for (size_t i = 0; i < sizeof table / sizeof *table; i++) {
        sr_window_fill(table[i].window, w, 4096);
        assert_near(100 * sqrt(4 / sr_welch_dof(w, 4096, 1024, 2) - 1), table[i].at75, 0.0501);
        assert_near(100 * sqrt(4 / sr_welch_dof(w, 4096, 2048, 2) - 1), table[i].at50, 0.0501);
    }
}

/*
 * White noise, records of ten segments' length: nu from the spread of the estimates, and
 * how often the 95 % interval holds the truth. 1500 records of 113 bins, about 1.5 of which
 * are independent of each other, give the variance to 0.8 % and the coverage to 0.07 %.
 */
static void monte_carlo(enum sr_window window, size_t hop)
{
    enum { RECORDS = 1500, SEGMENT = 256, LENGTH = 10 * SEGMENT, FIRST = 8, LAST = 120 };
    static double x[LENGTH], psd[SEGMENT / 2 + 1];
    double sum = 0, squares = 0, low = 0, high = 0, n = 0, held = 0, dof;
    struct sr_welch *welch = NULL;
    uint64_t seed = 11;

    assert_int_equal(sr_welch_new(&welch, window, SR_DETREND_NONE, SEGMENT, hop, NULL), SR_OK);
    dof = sr_welch_own_dof(welch, sr_welch_segments(welch, LENGTH));
    assert_int_equal(sr_chi2_interval(dof, 0.95, &low, &high, NULL), SR_OK);
    for (size_t r = 0; r < RECORDS; r++) {
        for (size_t i = 0; i < LENGTH; i++)
            x[i] = sim_normal(&seed);
        assert_int_equal(sr_welch_psd(welch, x, LENGTH, 2.0, psd, NULL), SR_OK);
        for (size_t k = FIRST; k <= LAST; k++) {
            /* Variance 1 over 0 to 1 Hz: the density is 1. */
            sum += psd[k];
            squares += psd[k] * psd[k];
            held += psd[k] * low <= 1 && 1 <= psd[k] * high;
            n++;
        }
    }
    sr_welch_free(welch);
    sum /= n;
    print_message("  %s, hop %zu: mean %.4f, nu %.3f (formula %.3f), coverage %.4f\n", sr_window_name(window),
                  hop, sum, 2 * sum * sum / (squares / n - sum * sum), dof, held / n);
    assert_near(sum, 1, 0.003);
    assert_ratio_near(2 * sum * sum / (squares / n - sum * sum), dof, 0.025);
    assert_near(held / n, 0.95, 0.004);
}

static void monte_carlo_agrees(void **state)
{
    (void)state;
    monte_carlo(SR_WINDOW_HANN, 128);
    monte_carlo(SR_WINDOW_HANN, 64);
    monte_carlo(SR_WINDOW_RECTANGULAR, 128);
    monte_carlo(SR_WINDOW_BLACKMAN_HARRIS, 64);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(intervals_follow_the_chi_square_table),
        cmocka_unit_test(even_degrees_of_freedom_have_a_closed_form),
        cmocka_unit_test(f_quantiles_follow_the_table),
        cmocka_unit_test(interval_refuses_what_it_cannot_answer),
        cmocka_unit_test(hann_at_half_overlap_follows_percival_and_walden),
        cmocka_unit_test(overlap_correlations_follow_harris),
        cmocka_unit_test(monte_carlo_agrees),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
