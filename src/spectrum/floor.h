/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The running-median floor, as the line finder needs it. */
#ifndef STILLROW_SPECTRUM_FLOOR_H
#define STILLROW_SPECTRUM_FLOOR_H

#include "stillrow/spectrum.h"

/* Half the width of the running median [bins]: floor_hz / 2, at least 4, at most what fits. */
size_t sr_floor_half_width(size_t bins, double bin_hz, double floor_hz);

/* Bins between the zeros at both ends of a density, if there are any; *first: the lowest of them. */
size_t sr_floor_measured(const double *psd, size_t bins, size_t *first);

#endif
