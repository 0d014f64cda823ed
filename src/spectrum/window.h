/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The windows as sums of cosines, shared by the files of this room.
 */
#ifndef STILLROW_SPECTRUM_WINDOW_H
#define STILLROW_SPECTRUM_WINDOW_H

#include "stillrow/spectrum.h"

#define SR_WINDOW_TERMS 5

/* w(z) = sum over j of a[j] cos(j z), z = 2 pi n / N: every window here is one of these. */
struct sr_window_shape {
    const char *name;
    double a[SR_WINDOW_TERMS];
    size_t terms; /* cosines used; also the half width of the main lobe [bins] */
};

/* The shape of a window, NULL for a value that is not one. */
const struct sr_window_shape *sr_window_shape(enum sr_window window);

/*
 * Amplitude response of a window to a line `offset` bins [any] away from a bin:
 * its Fourier transform for many samples, 1 N-th of the sum at offset 0, so that
 * response(0) is the coherent gain and the sum of response^2 over all bins is
 * mean(w^2), wherever between the bins the line lies (Parseval).
 */
double sr_window_response(const struct sr_window_shape *shape, double offset);

/* mean(w^2) of a shape: a0^2 + (a1^2 + a2^2 + ...) / 2. */
double sr_window_mean_square(const struct sr_window_shape *shape);

#endif
