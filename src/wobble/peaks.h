/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Private to the room: the lines of a flight's wobble. */
#ifndef WOBBLE_PEAKS_H
#define WOBBLE_PEAKS_H

#include "stillrow/wobble.h"

/*
 * Fill score->peaks, n_peaks and rest_share with the lines that carry at least
 * SR_PEAK_SHARE_MIN of the wobble energy, strongest first, causes undecided.
 */
enum sr_status sr_peaks_find(struct sr_score *score, const struct sr_slices *slices,
                             const struct sr_view *view, struct sr_error *err);

/*
 * Name a moment by the line with most energy in it, if that is a fair part of the moment's own, total [px^2];
 * else by none, as broadband. energy[count] [px^2] and hz[count] [Hz] are those of each line in the moment,
 * peaks[count] say the causes.
 */
void sr_moment_name(struct sr_moment *moment, double total, const struct sr_peak *peaks, const double *energy,
                    const double *hz, size_t count);

#endif
