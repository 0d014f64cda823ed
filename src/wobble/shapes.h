/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Private to the room: what a motor's line looks like in the spectrum of a slice. */
#ifndef WOBBLE_SHAPES_H
#define WOBBLE_SHAPES_H

#include "tracks.h"

#define SR_SHAPE_POINTS 1024 /* of a segment, at most: enough for a sweep of 1000 bins */

struct sr_shaper {
    const struct sr_gram *gram;
    const struct sr_speeds *speeds;
    const struct sr_view *view; /* with as many bins as the spectrogram */
    enum sr_window window;      /* of the slices' segments */
    size_t points;              /* of weight[], 0: none yet */
    double weight[SR_SHAPE_POINTS];
    double phasor[4 * SR_SHAPE_POINTS]; /* the line over a slice, re and im */
    double segment[2 * SR_SHAPE_POINTS];
};

/*
 * Wobble energy by bin that a line at f0 times the speed of `channel` leaves in slice i, into
 * shape[low..high]; of energy 1 over all bins. The line is made in time, swept as the logged steps say, its
 * amplitude going with the square of the speed; then cut into the slice's three segments, windowed,
 * transformed, and seen through the camera. The speed of slice i must be known. All 0 where the camera does
 * not see it.
 */
void sr_shape_draw(struct sr_shaper *shaper, size_t i, size_t channel, double f0, size_t low, size_t high,
                   double *shape);

/*
 * Relative speed at `at` steps (0..SR_SLICE_STEPS) into a slice, from the means over its steps: a parabola in
 * each step that has the step's mean, joined without jumps (P. Colella and P. R. Woodward, J. Comput. Phys.
 * 54 (1984) 174-201, eq. 1.5 to 1.9, without their limiter; from memory).
 */
double sr_speed_within(const double step[SR_SLICE_STEPS], double at);

#endif
