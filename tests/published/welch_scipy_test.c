/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * sr_welch_psd against scipy.signal.welch (BSD-licensed, https://scipy.org), which is
 * run here, by whatever python3 can import it, on the very same samples: six windows,
 * three ways of detrending, even and odd segments, several overlaps. Where there is no
 * such python3 the test is skipped, and says so.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "sim/flight.h"
#include "stillrow/spectrum.h"
#include "support/near.h"
#include "support/python.h"

enum { SAMPLES = 5003, SEGMENT_MAX = 1000 };

static const double rate_hz = 1873.5;

/* Reads float64 samples, then for each case on stdin "window detrend nperseg noverlap" prints the density. */
static const char script[] =
    "import sys, numpy, scipy.signal\n"
    "x = numpy.fromfile(sys.argv[1], dtype=numpy.float64)\n"
    "rate = float(sys.argv[2])\n"
    "hft95 = [1, 1.9383379, 1.3045202, 0.4028270, 0.0350665]\n"
    "for line in open(sys.argv[3]):\n"
    "    window, detrend, nperseg, noverlap = line.split()\n"
    "    nperseg, noverlap = int(nperseg), int(noverlap)\n"
    "    if window == 'hft95':\n"
    "        window = scipy.signal.windows.general_cosine(nperseg, hft95, sym=False)\n"
    "    f, p = scipy.signal.welch(x, fs=rate, window=window, nperseg=nperseg, noverlap=noverlap,\n"
    "                              detrend=False if detrend == 'none' else detrend)\n"
    "    for value in p:\n"
    "        print('%.17g' % value)\n";

static const char *const windows[SR_WINDOW_COUNT] = {
    [SR_WINDOW_HANN] = "hann",
    [SR_WINDOW_RECTANGULAR] = "boxcar",
    [SR_WINDOW_HAMMING] = "hamming",
    [SR_WINDOW_BLACKMAN] = "blackman",
    [SR_WINDOW_BLACKMAN_HARRIS] = "blackmanharris",
    [SR_WINDOW_HFT95] = "hft95",
};
static const char *const detrends[] = {
    [SR_DETREND_NONE] = "none", [SR_DETREND_MEAN] = "constant", [SR_DETREND_LINEAR] = "linear"};
static const struct {
    size_t segment, hop;
} cuts[] = {{1000, 500}, {777, 389}, {512, 128}, {64, 64}};

enum { DETRENDS = sizeof detrends / sizeof *detrends, CUTS = sizeof cuts / sizeof *cuts };

static double x[SAMPLES];

/* Noise, two lines 60 dB above it, an offset and a drift: something for every detrending to do. */
static void fill_signal(void)
{
    uint64_t seed = 20240611;

    for (size_t i = 0; i < SAMPLES; i++) {
        double t = (double)i / rate_hz;

        x[i] = 0.02 * sim_normal(&seed) + 3 * sin(2 * 3.14159265358979 * 211.7 * t) +
               cos(2 * 3.14159265358979 * 402.3 * t) - 5 + 1.7 * t;
    }
}

static void write_cases(void)
{
    char text[8192] = "";
    size_t used = 0;

    for (size_t w = 0; w < SR_WINDOW_COUNT; w++) {
        for (size_t d = 0; d < DETRENDS; d++) {
            for (size_t c = 0; c < CUTS; c++)
                used += (size_t)snprintf(text + used, sizeof text - used, "%s %s %zu %zu\n", windows[w],
                                         detrends[d], cuts[c].segment, cuts[c].segment - cuts[c].hop);
        }
    }
    assert_true(used < sizeof text);
    python_write("cases", text, used);
}

static int remove_files(void **state)
{
    static const char *const names[] = {"cases", "samples", "welch.py", NULL};

    (void)state;
    return remove_python_folder(names);
}

/* Compare one case with the next bins of scipy's output; the largest relative difference. */
static double compare(enum sr_window window, enum sr_detrend detrend, size_t segment, size_t hop, FILE *scipy)
{
    double psd[SEGMENT_MAX / 2 + 1];
    double expected[SEGMENT_MAX / 2 + 1];
    struct sr_welch *welch = NULL;
    double highest = 0, worst = 0;
    size_t bins;

    assert_int_equal(sr_welch_new(&welch, window, detrend, segment, hop, NULL), SR_OK);
    assert_int_equal(sr_welch_psd(welch, x, SAMPLES, rate_hz, psd, NULL), SR_OK);
    bins = sr_welch_bins(welch);
    sr_welch_free(welch);
    for (size_t k = 0; k < bins; k++) {
        assert_int_equal(fscanf(scipy, "%lf", &expected[k]), 1);
        highest = fmax(highest, expected[k]);
    }
    for (size_t k = 0; k < bins; k++) {
        /* A bin that detrending empties holds rounding only, some 1e-32 of the highest one. */
        double scale = fmax(expected[k], 1e-18 * highest);

        worst = fmax(worst, fabs(psd[k] - expected[k]) / scale);
    }
    return worst;
}

static void same_as_scipy(void **state)
{
    const char *python = find_python("numpy, scipy.signal");
    char command[1000];
    double worst = 0;
    FILE *scipy;

    (void)state;
    if (!python) {
        print_message("SKIPPED: no python3 here imports scipy.signal; NOT CHECKED: sr_welch_psd against "
                      "scipy.signal.welch, %d cases of window, detrending and segment\n",
                      SR_WINDOW_COUNT * DETRENDS * CUTS);
        skip();
    }
    fill_signal();
    python_write("samples", x, sizeof x);
    python_write("welch.py", script, sizeof script - 1);
    write_cases();
    snprintf(command, sizeof command, "%s %s/welch.py %s/samples %.17g %s/cases", python, python_folder,
             python_folder, rate_hz, python_folder);
    scipy = popen(command, "r");
    assert_non_null(scipy);
    for (size_t w = 0; w < SR_WINDOW_COUNT; w++) {
        for (size_t d = 0; d < DETRENDS; d++) {
            for (size_t c = 0; c < CUTS; c++) {
                double difference =
                    compare((enum sr_window)w, (enum sr_detrend)d, cuts[c].segment, cuts[c].hop, scipy);

                if (!(difference <= 1e-10))
                    fail_msg("%s, %s, %zu by %zu: %g off", windows[w], detrends[d], cuts[c].segment,
                             cuts[c].hop, difference);
                worst = fmax(worst, difference);
            }
        }
    }
    assert_int_equal(pclose(scipy), 0);
    print_message("  %s: largest relative difference %.2g over %d cases\n", python, worst,
                  SR_WINDOW_COUNT * DETRENDS * CUTS);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(same_as_scipy, make_python_folder, remove_files),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
