/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The test signal of G. Heinzel, A. Ruediger, R. Schilling, "Spectrum and spectral
 * density estimation by the DFT ...", MPI fuer Gravitationsphysik, 2002, section 13
 * ("Testing the algorithm"): at 10 kHz, 2 V rms at 1234 Hz plus 0.707 V rms at
 * 2500.2157 Hz, rounded to a step of 1 mV. Expected: these two peaks, and a floor of
 * step / sqrt(6 rate) = 4.0825e-6 V / sqrt(Hz) from the rounding.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <stdlib.h>

#include "stillrow/spectrum.h"
#include "support/near.h"

#define TWO_PI 6.28318530717959 /* to the digits of the paper */

enum { SAMPLES = 1000000, SEGMENT_MAX = 10000 };

static const double rate_hz = 10000;
static const double step = 1e-3;
static const double tone_hz[2] = {1234, 2500.2157};
static const double tone_rms[2] = {2, 0.70710678118654752};

static double *x;
static double psd[SEGMENT_MAX / 2 + 1];

static int make_signal(void **state)
{
    (void)state;
    x = malloc(SAMPLES * sizeof *x);
    if (!x)
        return -1;
    for (size_t i = 0; i < SAMPLES; i++) {
        double t = (double)i / rate_hz;
        double u = 2.82842712474619 * sin(TWO_PI * tone_hz[0] * t) + 1.0 * sin(TWO_PI * tone_hz[1] * t);

        x[i] = floor(u / step + 0.5) * step;
    }
    return 0;
}

static int free_signal(void **state)
{
    (void)state;
    free(x);
    return 0;
}

/* Density with the overlap that Heinzel et al. recommend for the window. Returns its ENBW [Hz]. */
static double estimate(enum sr_window window, size_t segment, double overlap)
{
    struct sr_welch *welch = NULL;
    size_t hop = (size_t)((1 - overlap) * (double)segment);
    double enbw_hz;

    assert_int_equal(sr_welch_new(&welch, window, SR_DETREND_MEAN, segment, hop, NULL), SR_OK);
    assert_int_equal(sr_welch_psd(welch, x, SAMPLES, rate_hz, psd, NULL), SR_OK);
    enbw_hz = sr_welch_enbw_bins(welch) * rate_hz / (double)segment;
    sr_welch_free(welch);
    return enbw_hz;
}

/* Their "linear spectrum" of a peak: root of its highest density times ENBW [V rms]. */
static double peak_rms(size_t segment, double hz, double enbw_hz)
{
    size_t centre = (size_t)(hz * (double)segment / rate_hz + 0.5);
    double highest = 0;

    for (size_t k = centre - 3; k <= centre + 3; k++)
        highest = fmax(highest, psd[k]);
    return sqrt(highest * enbw_hz);
}

static int ascending(const void *a, const void *b)
{
    double left = *(const double *)a, right = *(const double *)b;

    return (left > right) - (left < right);
}

static double median_root(size_t low, size_t high)
{
    static double sorted[SEGMENT_MAX / 2 + 1];
    size_t count = high - low;

    for (size_t k = 0; k < count; k++)
        sorted[k] = psd[low + k];
    qsort(sorted, count, sizeof *sorted, ascending);
    return sqrt(sorted[count / 2]);
}

/* Within the window's flatness of 0.0044 dB plus 0.0002 dB for the other tone and the rounding. */
static void flat_top_reads_both_amplitudes(void **state)
{
    static const size_t segments[] = {3328, 4096, 10000};

    (void)state;
    for (size_t i = 0; i < sizeof segments / sizeof *segments; i++) {
        double enbw_hz = estimate(SR_WINDOW_HFT95, segments[i], 0.756);

        for (size_t t = 0; t < 2; t++)
            assert_near(20 * log10(peak_rms(segments[i], tone_hz[t], enbw_hz) / tone_rms[t]), 0, 0.0046);
    }
}

/* 1234 Hz is a whole number of 1 Hz bins: there every window reads the amplitude exactly. */
static void centred_tone_is_exact_for_every_window(void **state)
{
    (void)state;
    for (size_t i = 0; i < SR_WINDOW_COUNT; i++) {
        double enbw_hz = estimate((enum sr_window)i, SEGMENT_MAX, 0.5);

        /* The rectangular window's slow side lobes bring 2500.2157 Hz in: 0.7 sin(0.2157 pi) / (1266 pi)
         * = 1.1e-4 V. */
        assert_near(peak_rms(SEGMENT_MAX, tone_hz[0], enbw_hz), 2.0,
                    i == SR_WINDOW_RECTANGULAR ? 1.1e-4 : 1e-6);
    }
}

/* Off a bin centre the Hann window reads low by its own response, sin(pi d) / (pi d (1 - d^2)): right, not a
 * defect. */
static void hann_reads_its_scalloping(void **state)
{
    const double pi = 3.14159265358979323846;
    static const size_t segments[] = {3328, 4096, 10000};

    (void)state;
    for (size_t i = 0; i < sizeof segments / sizeof *segments; i++) {
        double enbw_hz = estimate(SR_WINDOW_HANN, segments[i], 0.5);

        for (size_t t = 0; t < 2; t++) {
            double bins = tone_hz[t] * (double)segments[i] / rate_hz;
            double d = bins - floor(bins + 0.5);
            double expected = tone_rms[t] * (d == 0 ? 1 : sin(pi * d) / (pi * d * (1 - d * d)));

            assert_ratio_near(peak_rms(segments[i], tone_hz[t], enbw_hz), expected, 1e-5);
        }
    }
}

/*
 * The floor, away from the tones. The tolerance is what the estimate and the rounding
 * themselves do: rounding this signal is white only to about 0.1 % (its measured variance
 * is 1.0014 step^2 / 12), and the median of some thousand bins of 300 to 1200 segments
 * adds 0.3 %.
 */
static void floor_is_that_of_the_rounding(void **state)
{
    const double expected = step / sqrt(6 * rate_hz);

    (void)state;
    assert_near(expected, 4.0825e-6, 5e-11);
    estimate(SR_WINDOW_HANN, 4096, 0.5);
    assert_ratio_near(median_root(1300, 2000), expected, 0.005);
    estimate(SR_WINDOW_BLACKMAN_HARRIS, 3328, 0.661);
    assert_ratio_near(median_root(1100, 1600), expected, 0.005);
    estimate(SR_WINDOW_HFT95, 10000, 0.756);
    assert_ratio_near(median_root(3500, 4900), expected, 0.005);
}

/* Parseval: the integral of the density is the mean square of the signal, 4.5 V^2 and the rounding's 1e-7. */
static void integral_is_the_mean_square(void **state)
{
    double mean_square = 0;

    (void)state;
    for (size_t i = 0; i < SAMPLES; i++)
        mean_square += x[i] * x[i] / SAMPLES;
    assert_near(mean_square, 4.5, 1.1e-6); /* 100 s hold no whole number of periods of the second tone */
    for (size_t i = 0; i < SR_WINDOW_COUNT; i++) {
        double sum = 0;

        estimate((enum sr_window)i, 4096, 0.5);
        for (size_t k = 0; k <= 2048; k++)
            sum += psd[k] * rate_hz / 4096;
        /* A window weighs each segment's tones a little off their mean; the rectangular one by most. */
        assert_ratio_near(sum, mean_square, i == SR_WINDOW_RECTANGULAR ? 1e-4 : 1e-6);
    }
}

/* The line finder, on the same density, finds these two lines and no other, with amplitudes to 0.1 %. */
static void lines_are_the_two_tones(void **state)
{
    static const double bias_bins[SR_WINDOW_COUNT] = {
        [SR_WINDOW_HANN] = 1e-4,       [SR_WINDOW_RECTANGULAR] = 1e-2,       [SR_WINDOW_HAMMING] = 0.0161,
        [SR_WINDOW_BLACKMAN] = 0.0067, [SR_WINDOW_BLACKMAN_HARRIS] = 0.0033, [SR_WINDOW_HFT95] = 1e-3,
    };

    (void)state;
    for (size_t i = 0; i < SR_WINDOW_COUNT; i++) {
        struct sr_line lines[24];
        struct sr_line_options options;
        size_t count = 0;

        sr_line_options_init(&options);
        estimate((enum sr_window)i, 4096, 0.5);
        assert_int_equal(
            sr_lines_find(psd, 2049, rate_hz / 4096, (enum sr_window)i, 900, &options, lines, &count, NULL),
            SR_OK);
        print_message("  %s: %.4f Hz %.6f V, %.4f Hz %.6f V\n", sr_window_name((enum sr_window)i),
                      lines[0].hz, lines[0].amplitude, lines[1].hz, lines[1].amplitude);
        assert_int_equal(count, 2);
        for (size_t t = 0; t < 2; t++) {
            assert_near(lines[t].hz, tone_hz[t], bias_bins[i] * rate_hz / 4096);
            assert_ratio_near(lines[t].amplitude, tone_rms[t], i == SR_WINDOW_RECTANGULAR ? 0.005 : 0.001);
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(flat_top_reads_both_amplitudes),
        cmocka_unit_test(centred_tone_is_exact_for_every_window),
        cmocka_unit_test(hann_reads_its_scalloping),
        cmocka_unit_test(floor_is_that_of_the_rounding),
        cmocka_unit_test(integral_is_the_mean_square),
        cmocka_unit_test(lines_are_the_two_tones),
    };
    return cmocka_run_group_tests(tests, make_signal, free_signal);
}
