/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Cross-spectra of two signals. Two real segments go through one complex transform,
 * x as its real and y as its imaginary part, and are told apart by symmetry. GSL's
 * radix-2 transform works in place: nothing is allocated that could end the program.
 */
#include <gsl/gsl_fft_complex.h>
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "stillrow/spectrum.h"

enum sr_status sr_cross_init(struct sr_cross *cross, enum sr_window window, size_t segment, size_t hop,
                             struct sr_error *err)
{
    bool power_of_two = segment >= 8 && (segment & (segment - 1)) == 0;
    if ((size_t)window >= SR_WINDOW_COUNT || !power_of_two || hop < 1 || hop > segment)
        return sr_fail(
            err, SR_ERR_ARGUMENT, NULL, 0,
            "a cross-spectrum needs a known window, a segment of a power of 2 (8 or more) samples, and a "
            "hop of 1 to the segment");
    struct sr_cross made = {.segment = segment, .hop = hop, .bins = segment / 2 + 1};
    /* One block for the four sums, owned through xx. */
    if (segment <= SIZE_MAX / (8 * sizeof(double))) {
        made.work = malloc(3 * segment * sizeof *made.work);
        made.xx = calloc(made.bins, 4 * sizeof *made.xx);
    }
    if (made.work == NULL || made.xx == NULL) {
        sr_cross_release(&made);
        return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "no memory for a cross-spectrum of %zu samples", segment);
    }
    sr_window_fill(window, made.work, segment);
    made.yy = made.xx + made.bins;
    made.re = made.xx + 2 * made.bins;
    made.im = made.xx + 3 * made.bins;
    *cross = made;
    return SR_OK;
}

void sr_cross_release(struct sr_cross *cross)
{
    free(cross->work);
    free(cross->xx);
    memset(cross, 0, sizeof *cross);
}

/* Take out the least-squares line of every other value of z, and weight with the window. */
static void prepare(double *z, const double *window, size_t n)
{
    double length = (double)n, middle = 0.5 * (length - 1), mean = 0, slope = 0;
    for (size_t i = 0; i < n; i++)
        mean += z[2 * i];
    mean /= length;
    for (size_t i = 0; i < n; i++)
        slope += ((double)i - middle) * (z[2 * i] - mean);
    slope *= 12 / (length * (length * length - 1));
    for (size_t i = 0; i < n; i++)
        z[2 * i] = (z[2 * i] - mean - slope * ((double)i - middle)) * window[i];
}

static void add_segment(struct sr_cross *cross, const double *x, const double *y)
{
    size_t n = cross->segment;
    const double *window = cross->work;
    double *z = cross->work + n;

    for (size_t i = 0; i < n; i++) {
        z[2 * i] = x[i];
        z[2 * i + 1] = y[i];
    }
    prepare(z, window, n);
    prepare(z + 1, window, n);
    gsl_fft_complex_radix2_forward(z, 1, n);
    for (size_t k = 0; k < cross->bins; k++) {
        /* X = (Z(k) + conj Z(n-k)) / 2, Y = (Z(k) - conj Z(n-k)) / 2i. */
        size_t mirror = (n - k) % n;
        double a = z[2 * k], b = z[2 * k + 1], c = z[2 * mirror], d = z[2 * mirror + 1];
        double x_re = (a + c) / 2, x_im = (b - d) / 2, y_re = (b + d) / 2, y_im = (c - a) / 2;
        cross->xx[k] += x_re * x_re + x_im * x_im;
        cross->yy[k] += y_re * y_re + y_im * y_im;
        cross->re[k] += x_re * y_re + x_im * y_im;
        cross->im[k] += x_re * y_im - x_im * y_re;
    }
}

void sr_cross_add(struct sr_cross *cross, const double *x, const double *y, size_t count)
{
    if (cross->segment == 0)
        return; /* released: nothing to add to */
    for (size_t at = 0; at + cross->segment <= count; at += cross->hop) {
        add_segment(cross, x + at, y + at);
        cross->segments++;
    }
}

double sr_cross_coherence(const struct sr_cross *cross, size_t k)
{
    double power = cross->xx[k] * cross->yy[k];
    return power > 0 ? fmin(1, (cross->re[k] * cross->re[k] + cross->im[k] * cross->im[k]) / power) : 0;
}
