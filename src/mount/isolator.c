/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A mass on a damped spring, shaken at its base. */
#include "stillrow/mount.h"

#include <gsl/gsl_math.h>
#include <math.h>

#define BIN_PARTS 8 /* a light mount's resonance is narrower than a bin of half-second segments */

double sr_isolator_power(const struct sr_isolator *isolator, double hz)
{
    double r = hz / isolator->fn_hz;
    double detuning = (1 - r) * (1 + r); /* 1 - r^2 without its cancellation near the resonance */
    double drag = 2 * isolator->damping * r;
    return (1 + drag * drag) / (detuning * detuning + drag * drag);
}

void sr_isolator_response(const struct sr_isolator *isolator, double hz, double *re, double *im)
{
    double r = hz / isolator->fn_hz;
    double a = (1 - r) * (1 + r), b = 2 * isolator->damping * r;
    double size = a * a + b * b;
    *re = (a + b * b) / size;
    *im = b * (a - 1) / size;
}

/*
 * The textbook's peak, 4 z^2 / sqrt(16 z^4 - 8 z^2 - 2 + 2 s), subtracts nearly equal
 * numbers at light damping; multiplied out with s - 1 = 8 z^2 / (s + 1) nothing cancels.
 */
static double peak_root(double damping)
{
    return sqrt(1 + 8 * damping * damping);
}

double sr_isolator_peak_hz(const struct sr_isolator *isolator)
{
    return isolator->fn_hz * sqrt(2 / (1 + peak_root(isolator->damping)));
}

double sr_isolator_peak_gain(const struct sr_isolator *isolator)
{
    double s = peak_root(isolator->damping);
    return (s + 1) * sqrt(s + 1) / (2 * isolator->damping * sqrt(2 * (s + 3)));
}

double sr_isolator_crossover_hz(const struct sr_isolator *isolator)
{
    return M_SQRT2 * isolator->fn_hz;
}

static double bin_mean(const struct sr_isolator *isolator, double bin_hz, size_t k)
{
    double sum = 0;
    for (int i = 0; i < BIN_PARTS; i++) {
        double part = (i + 0.5) / BIN_PARTS - 0.5;
        sum += sr_isolator_power(isolator, ((double)k + part) * bin_hz);
    }
    return sum / BIN_PARTS;
}

void sr_isolator_bins(const struct sr_isolator *isolator, double bin_hz, size_t bins, double *power)
{
    for (size_t k = 0; k < bins; k++)
        power[k] = bin_mean(isolator, bin_hz, k);
}

void sr_isolator_undo(const struct sr_isolator *isolator, double least, double bin_hz, size_t bins,
                      double *power)
{
    for (size_t k = 0; k < bins; k++)
        power[k] /= fmax(bin_mean(isolator, bin_hz, k), least);
}
