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

#endif
