/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Windows and Welch densities: an O(N^2) transform, Parseval, known levels, every refusal. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <string.h>

#include "sim/flight.h"
#include "stillrow/spectrum.h"
#include "support/near.h"

#define PI 3.14159265358979323846

enum { LENGTH_MAX = 40000 };

static double x[LENGTH_MAX];
static double psd[LENGTH_MAX / 2 + 1];

static void fill_noise(size_t n, double sigma, uint64_t seed)
{
    for (size_t i = 0; i < n; i++)
        x[i] = sigma * sim_normal(&seed);
}

static size_t estimate(enum sr_window window, enum sr_detrend detrend, size_t segment, size_t hop,
                       size_t count, double rate_hz)
{
    struct sr_welch *welch = NULL;
    size_t bins;

    assert_int_equal(sr_welch_new(&welch, window, detrend, segment, hop, NULL), SR_OK);
    assert_int_equal(sr_welch_psd(welch, x, count, rate_hz, psd, NULL), SR_OK);
    bins = sr_welch_bins(welch);
    sr_welch_free(welch);
    return bins;
}

static void names_go_there_and_back(void **state)
{
    static const char *const names[SR_WINDOW_COUNT] = {"hann",     "rectangular",     "hamming",
                                                       "blackman", "blackman-harris", "hft95"};

    (void)state;
    for (size_t i = 0; i < SR_WINDOW_COUNT; i++) {
        enum sr_window window = SR_WINDOW_COUNT;

        assert_string_equal(sr_window_name((enum sr_window)i), names[i]);
        assert_true(sr_window_find(names[i], &window));
        assert_int_equal(window, i);
    }
}

static void unknown_names_are_refused(void **state)
{
    static const char *const wrong[] = {"", "Hann", "hann ", "hanning", "kaiser", NULL};
    enum sr_window window = SR_WINDOW_BLACKMAN;

    (void)state;
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++)
        assert_false(sr_window_find(wrong[i], &window));
    assert_int_equal(window, SR_WINDOW_BLACKMAN);
    assert_non_null(sr_window_name(SR_WINDOW_COUNT));
    assert_non_null(sr_window_name((enum sr_window)99));
}

/* Periodic: w[i] = w[n - i], so that n copies of it side by side have no doubled sample. */
static void windows_are_periodic(void **state)
{
    double w[65];

    (void)state;
    for (size_t i = 0; i < SR_WINDOW_COUNT; i++) {
        for (size_t n = 64; n <= 65; n++) {
            sr_window_fill((enum sr_window)i, w, n);
            for (size_t j = 1; j < n; j++)
                assert_true(w[j] == w[n - j]);
        }
        sr_window_fill((enum sr_window)i, w, 1);
        assert_true(w[0] == 1);
    }
    sr_window_fill(SR_WINDOW_HANN, w, 8);
    assert_near(w[0], 0, 0);
    assert_near(w[2], 0.5, 1e-16);
    assert_near(w[4], 1, 1e-16);
    sr_window_fill(SR_WINDOW_COUNT, w, 8);
    for (size_t j = 0; j < 8; j++)
        assert_true(w[j] == 0);
}

/* Least-squares line by the normal equations in i itself, unlike the library's centred sums. */
static void oracle_detrend(double *y, size_t n, enum sr_detrend detrend)
{
    long double s0 = n, s1 = 0, s2 = 0, sy = 0, sty = 0, slope = 0, level;

    for (size_t i = 0; i < n; i++) {
        s1 += i;
        s2 += (long double)i * i;
        sy += y[i];
        sty += (long double)i * y[i];
    }
    if (detrend == SR_DETREND_LINEAR)
        slope = (s0 * sty - s1 * sy) / (s0 * s2 - s1 * s1);
    level = (sy - slope * s1) / s0;
    for (size_t i = 0; i < n && detrend != SR_DETREND_NONE; i++)
        y[i] -= (double)(level + slope * i);
}

/* One bin of the averaged density, from the defining sums. */
static double oracle_bin(const double *w, enum sr_detrend detrend, size_t segment, size_t hop, size_t count,
                         double rate_hz, size_t k)
{
    static double y[128];
    double sum = 0, energy = 0;
    size_t segments = 0;

    for (size_t i = 0; i < segment; i++)
        energy += w[i] * w[i];
    for (size_t start = 0; start + segment <= count; start += hop, segments++) {
        double re = 0, im = 0;

        memcpy(y, x + start, segment * sizeof *y);
        oracle_detrend(y, segment, detrend);
        for (size_t i = 0; i < segment; i++) {
            double angle = 2 * PI * (double)(k * i % segment) / (double)segment;

            re += w[i] * y[i] * cos(angle);
            im -= w[i] * y[i] * sin(angle);
        }
        sum += re * re + im * im;
    }
    return (k == 0 || 2 * k == segment ? 1 : 2) * sum / (rate_hz * energy * (double)segments);
}

static void density_is_that_of_the_slow_transform(void **state)
{
    static const size_t cuts[][3] = {{128, 64, 400}, {125, 40, 400}, {8, 8, 30}, {9, 1, 20}, {100, 100, 100}};
    static const double rate_hz = 777;

    (void)state;
    fill_noise(400, 1.3, 5);
    for (size_t i = 0; i < 400; i++)
        x[i] += 2 * sin(0.3 * (double)i) + 4 - 0.02 * (double)i;
    for (size_t window = 0; window < SR_WINDOW_COUNT; window++) {
        for (int detrend = SR_DETREND_NONE; detrend <= SR_DETREND_LINEAR; detrend++) {
            for (size_t c = 0; c < sizeof cuts / sizeof *cuts; c++) {
                double w[128], highest = 0;
                size_t bins = estimate((enum sr_window)window, (enum sr_detrend)detrend, cuts[c][0],
                                       cuts[c][1], cuts[c][2], rate_hz);

                assert_int_equal(bins, cuts[c][0] / 2 + 1);
                sr_window_fill((enum sr_window)window, w, cuts[c][0]);
                for (size_t k = 0; k < bins; k++)
                    highest = fmax(highest, psd[k]);
                for (size_t k = 0; k < bins; k++)
                    assert_near(psd[k],
                                oracle_bin(w, (enum sr_detrend)detrend, cuts[c][0], cuts[c][1], cuts[c][2],
                                           rate_hz, k),
                                1e-13 * highest);
            }
        }
    }
}

/* Exactly: sum psd df = mean over segments of sum (w x)^2 / sum w^2. */
static void parseval_holds_for_every_window(void **state)
{
    static const size_t segments[] = {500, 501};

    (void)state;
    fill_noise(2000, 2.5, 6);
    for (size_t window = 0; window < SR_WINDOW_COUNT; window++) {
        for (size_t s = 0; s < 2; s++) {
            size_t n = segments[s], hop = 250, count = 0;
            double w[501], energy = 0, expected = 0, sum = 0;
            size_t bins = estimate((enum sr_window)window, SR_DETREND_NONE, n, hop, 2000, 1000);

            sr_window_fill((enum sr_window)window, w, n);
            for (size_t i = 0; i < n; i++)
                energy += w[i] * w[i];
            for (size_t start = 0; start + n <= 2000; start += hop, count++) {
                for (size_t i = 0; i < n; i++)
                    expected += pow(w[i] * x[start + i], 2) / energy;
            }
            for (size_t k = 0; k < bins; k++)
                sum += psd[k] * 1000 / (double)n;
            assert_ratio_near(sum, expected / (double)count, 1e-12);
        }
    }
}

/* White noise of variance s^2 at rate r has the one-sided density 2 s^2 / r; half of it at DC and Nyquist. */
static void white_noise_has_its_level(void **state)
{
    const double rate_hz = 2000, sigma = 3;

    (void)state;
    fill_noise(LENGTH_MAX, sigma, 7);
    for (size_t window = 0; window < SR_WINDOW_COUNT; window++) {
        double sum = 0;
        size_t bins = estimate((enum sr_window)window, SR_DETREND_NONE, 100, 50, LENGTH_MAX, rate_hz);

        for (size_t k = 1; k + 1 < bins; k++)
            sum += psd[k] / (double)(bins - 2);
        /* 40000 samples know their own variance to 0.7 %; DC and Nyquist, of 800 dof, their density to 5 %.
         */
        assert_ratio_near(sum, 2 * sigma * sigma / rate_hz, 0.015);
        assert_ratio_near(psd[0], sigma * sigma / rate_hz, 0.2);
        assert_ratio_near(psd[bins - 1], sigma * sigma / rate_hz, 0.2);
    }
}

/* An odd segment has no Nyquist bin: its last bin is folded like any other. */
static void odd_segment_has_no_nyquist(void **state)
{
    size_t bins;

    (void)state;
    fill_noise(LENGTH_MAX, 1, 8);
    bins = estimate(SR_WINDOW_RECTANGULAR, SR_DETREND_NONE, 101, 101, LENGTH_MAX, 2.0);
    assert_int_equal(bins, 51);
    assert_ratio_near(psd[bins - 1], 1, 0.2);
}

/* A sine of amplitude a at a bin: the energy a^2/2, wherever the window spreads it, and top = a^2/2 / (ENBW
 * df). */
static void tone_has_its_energy_and_height(void **state)
{
    const double rate_hz = 1000, amplitude = 3;

    (void)state;
    for (size_t i = 0; i < 2000; i++)
        x[i] = amplitude * sin(2 * PI * 150 * (double)i / rate_hz + 0.4);
    for (size_t window = 0; window < SR_WINDOW_COUNT; window++) {
        double w[500], sum = 0;
        size_t bins = estimate((enum sr_window)window, SR_DETREND_MEAN, 500, 250, 2000, rate_hz);

        sr_window_fill((enum sr_window)window, w, 500);
        for (size_t k = 0; k < bins; k++)
            sum += psd[k] * 2;
        assert_ratio_near(sum, amplitude * amplitude / 2, 1e-9);
        assert_ratio_near(psd[75] * sr_window_enbw_bins(w, 500) * 2, amplitude * amplitude / 2, 1e-9);
    }
}

static void detrending_takes_out_what_it_says(void **state)
{
    size_t bins;

    (void)state;
    for (size_t i = 0; i < 1000; i++)
        x[i] = 1e3 - 7 * (double)i;
    bins = estimate(SR_WINDOW_HANN, SR_DETREND_LINEAR, 200, 100, 1000, 100);
    for (size_t k = 0; k < bins; k++)
        assert_near(psd[k], 0, 1e-20);
    bins = estimate(SR_WINDOW_HANN, SR_DETREND_MEAN, 200, 100, 1000, 100);
    assert_true(psd[1] > 1);
    for (size_t i = 0; i < 1000; i++)
        x[i] = 1e3;
    bins = estimate(SR_WINDOW_HANN, SR_DETREND_MEAN, 200, 100, 1000, 100);
    for (size_t k = 0; k < bins; k++)
        assert_near(psd[k], 0, 1e-20);
    /* A mean of 1000 left in: 1000^2 in DC and, by the Hann window, half of it in bin 1. */
    bins = estimate(SR_WINDOW_HANN, SR_DETREND_NONE, 200, 100, 1000, 100);
    assert_ratio_near(psd[0], 1e6 / 0.75, 1e-12);
    assert_ratio_near(psd[1] / psd[0], 0.5, 1e-12);
    (void)bins;
}

static void estimator_counts_bins_and_segments(void **state)
{
    struct sr_welch *welch = NULL;
    double w[300];

    (void)state;
    assert_int_equal(sr_welch_new(&welch, SR_WINDOW_HAMMING, SR_DETREND_LINEAR, 300, 100, NULL), SR_OK);
    assert_int_equal(sr_welch_bins(welch), 151);
    assert_int_equal(sr_welch_segments(welch, 0), 0);
    assert_int_equal(sr_welch_segments(welch, 299), 0);
    assert_int_equal(sr_welch_segments(welch, 300), 1);
    assert_int_equal(sr_welch_segments(welch, 399), 1);
    assert_int_equal(sr_welch_segments(welch, 400), 2);
    assert_int_equal(sr_welch_segments(welch, 1000), 8);
    sr_window_fill(SR_WINDOW_HAMMING, w, 300);
    assert_near(sr_welch_enbw_bins(welch), sr_window_enbw_bins(w, 300), 0);
    assert_near(sr_welch_own_dof(welch, 8), sr_welch_dof(w, 300, 100, 8), 0);
    sr_welch_free(welch);
    sr_welch_free(NULL);
}

/* Samples behind the last whole segment, and the estimator's past, have no influence. */
static void density_depends_on_nothing_else(void **state)
{
    struct sr_welch *welch = NULL;
    double first[101], second[101];

    (void)state;
    fill_noise(700, 1, 9);
    assert_int_equal(sr_welch_new(&welch, SR_WINDOW_HANN, SR_DETREND_LINEAR, 200, 100, NULL), SR_OK);
    assert_int_equal(sr_welch_psd(welch, x, 650, 1000, first, NULL), SR_OK);
    assert_int_equal(sr_welch_psd(welch, x + 300, 400, 1000, second, NULL), SR_OK);
    for (size_t i = 600; i < 650; i++)
        x[i] = 1e9;
    assert_int_equal(sr_welch_psd(welch, x, 650, 1000, second, NULL), SR_OK);
    assert_memory_equal(first, second, sizeof first);
    sr_welch_free(welch);
}

static void estimator_refuses_bad_arguments(void **state)
{
    static const struct {
        int window, detrend;
        size_t segment, hop;
    } bad[] = {
        {SR_WINDOW_COUNT, SR_DETREND_MEAN, 100, 50},
        {-1, SR_DETREND_MEAN, 100, 50},
        {SR_WINDOW_HANN, 3, 100, 50},
        {SR_WINDOW_HANN, -1, 100, 50},
        {SR_WINDOW_HANN, SR_DETREND_MEAN, 7, 3},
        {SR_WINDOW_HANN, SR_DETREND_MEAN, 0, 0},
        {SR_WINDOW_HANN, SR_DETREND_MEAN, 100, 0},
        {SR_WINDOW_HANN, SR_DETREND_MEAN, 100, 101},
        {SR_WINDOW_HANN, SR_DETREND_MEAN, SIZE_MAX, 1},
    };
    struct sr_welch *welch = NULL;

    (void)state;
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        struct sr_error err = {.status = SR_OK};

        assert_int_equal(sr_welch_new(&welch, (enum sr_window)bad[i].window, (enum sr_detrend)bad[i].detrend,
                                      bad[i].segment, bad[i].hop, &err),
                         SR_ERR_ARGUMENT);
        assert_int_equal(err.status, SR_ERR_ARGUMENT);
        assert_true(strlen(err.text) > 0);
        assert_null(welch);
    }
}

static void density_refuses_bad_arguments(void **state)
{
    static const double bad_rates[] = {0, -1000, NAN, INFINITY};
    struct sr_welch *welch = NULL;
    struct sr_error err;

    (void)state;
    assert_int_equal(sr_welch_new(&welch, SR_WINDOW_HANN, SR_DETREND_MEAN, 100, 50, NULL), SR_OK);
    psd[0] = 42;
    for (size_t i = 0; i < sizeof bad_rates / sizeof *bad_rates; i++)
        assert_int_equal(sr_welch_psd(welch, x, 200, bad_rates[i], psd, &err), SR_ERR_ARGUMENT);
    assert_int_equal(sr_welch_psd(welch, x, 99, 1000, psd, &err), SR_ERR_SHORT);
    assert_int_equal(sr_welch_psd(welch, x, 0, 1000, psd, NULL), SR_ERR_SHORT);
    assert_true(psd[0] == 42);
    sr_welch_free(welch);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(names_go_there_and_back),
        cmocka_unit_test(unknown_names_are_refused),
        cmocka_unit_test(windows_are_periodic),
        cmocka_unit_test(density_is_that_of_the_slow_transform),
        cmocka_unit_test(parseval_holds_for_every_window),
        cmocka_unit_test(white_noise_has_its_level),
        cmocka_unit_test(odd_segment_has_no_nyquist),
        cmocka_unit_test(tone_has_its_energy_and_height),
        cmocka_unit_test(detrending_takes_out_what_it_says),
        cmocka_unit_test(estimator_counts_bins_and_segments),
        cmocka_unit_test(density_depends_on_nothing_else),
        cmocka_unit_test(estimator_refuses_bad_arguments),
        cmocka_unit_test(density_refuses_bad_arguments),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
