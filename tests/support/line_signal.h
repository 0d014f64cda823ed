/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Signals made of noise and lines, and their densities: for tests of lines and of the floor under them.
 * Include after cmocka.h, in one file of a test program.
 */
#ifndef SUPPORT_LINE_SIGNAL_H
#define SUPPORT_LINE_SIGNAL_H

#include <math.h>
#include <string.h>

#include "sim/flight.h"
#include "stillrow/spectrum.h"

#define PI 3.14159265358979323846

/* Slices as the library cuts them: 1 s at 2 kHz, half-second segments, half overlap; bins of 2 Hz. */
enum { RATE = 2000, SEGMENT = 1000, HOP = 500, BINS = SEGMENT / 2 + 1, SECONDS_MAX = 30 };

static const double bin_hz = 2;

static double x[RATE * SECONDS_MAX];
static size_t length; /* samples of x that the signals are added to */
static double psd[BINS];
static double dof;

/* Silence, as long as there is room. */
static inline void signal_reset(void)
{
    memset(x, 0, sizeof x);
    length = RATE * SECONDS_MAX;
}

static inline void add_noise(double sigma, uint64_t seed)
{
    for (size_t i = 0; i < length; i++)
        x[i] += sigma * sim_normal(&seed);
}

/* A line of the given RMS whose frequency swings by +-swing_hz, once in swing_s. */
static inline void add_line(double hz, double rms, double swing_hz, double swing_s)
{
    double phase = 0.7 * hz;

    for (size_t i = 0; i < length; i++) {
        x[i] += rms * sqrt(2) * sin(phase);
        phase += 2 * PI * (hz + swing_hz * sin(2 * PI * (double)i / RATE / swing_s)) / RATE;
    }
}

/* Density and degrees of freedom of some seconds. */
static inline void estimate_from(enum sr_window window, size_t start_s, size_t seconds)
{
    struct sr_welch *welch = NULL;

    assert_int_equal(sr_welch_new(&welch, window, SR_DETREND_LINEAR, SEGMENT, HOP, NULL), SR_OK);
    assert_int_equal(sr_welch_psd(welch, x + start_s * RATE, seconds * RATE, RATE, psd, NULL), SR_OK);
    dof = sr_welch_own_dof(welch, sr_welch_segments(welch, seconds * RATE));
    sr_welch_free(welch);
}

static inline void estimate(enum sr_window window, size_t seconds)
{
    estimate_from(window, 0, seconds);
}

#endif
