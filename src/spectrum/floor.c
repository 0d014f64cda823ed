/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The floor under the lines: a running median that the lines themselves do not lift. */
#include "spectrum/floor.h"
#include "spectrum/quantile.h"

#include <float.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum {
    MIN_HALF_WIDTH = 4,  /* [bins] a median of fewer than 9 values says little */
    EDGE_HALF_WIDTH = 8, /* [bins] near the ends a window shrinks to this, then leans inwards */
    ROLL_OFF_FROM = 9,   /* [bins] lowest window that is symmetric and leaves DC out */
    ROLL_OFF_TO = 36,    /* [bins] the slope at the low end is taken between these two */
};

/*
 * The first pass takes a low quantile, which stays on the floor while up to 70 % of
 * the window is lines or humps, to tell what these are: bins 6 dB and more above it,
 * but not more than one in a thousand of pure noise. The second is the median of the rest.
 * It is taken after dividing by the first floor, smoothed: on a slope, leaving out a
 * line in the middle of the window would make the median jump to one side of the gap.
 */
static const double first_quantile = 0.3;
static const double outlier_level = 1e-3;
static const double outlier_ratio = 4.0;

/* Steepest rise towards low frequencies that is believed: density as f^-4. */
static const double steepest = 4.0;

/* The values under a sliding window, kept in order. */
struct window {
    double *sorted;
    size_t count;
    size_t low; /* bins low..high-1 are in */
    size_t high;
};

static size_t place(const struct window *window, double value)
{
    size_t low = 0;
    size_t high = window->count;

    while (low < high) {
        size_t middle = low + (high - low) / 2;

        if (window->sorted[middle] < value)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

static void put(struct window *window, double value)
{
    size_t at = place(window, value);

    memmove(window->sorted + at + 1, window->sorted + at, (window->count - at) * sizeof *window->sorted);
    window->sorted[at] = value;
    window->count++;
}

static void take(struct window *window, double value)
{
    size_t at = place(window, value);

    window->count--;
    memmove(window->sorted + at, window->sorted + at + 1, (window->count - at) * sizeof *window->sorted);
}

/* Bring the window to bins low..high-1; both ends only ever move up. Bins with skip[] set are passed over. */
static void slide(struct window *window, const double *psd, const bool *skip, size_t low, size_t high)
{
    for (; window->high < high; window->high++) {
        if (!skip[window->high])
            put(window, psd[window->high]);
    }
    for (; window->low < low; window->low++) {
        if (!skip[window->low])
            take(window, psd[window->low]);
    }
}

/* Linear between the two values next to the quantile's place. */
static double quantile(const struct window *window, double share)
{
    double at = share * (double)(window->count - 1);
    size_t below = (size_t)at;
    double part = at - (double)below;

    if (below + 1 >= window->count)
        return window->sorted[below];
    return (1.0 - part) * window->sorted[below] + part * window->sorted[below + 1];
}

static size_t smaller(size_t a, size_t b)
{
    return a < b ? a : b;
}

size_t sr_floor_half_width(size_t bins, double bin_hz, double floor_hz)
{
    double half = 0.5 * floor_hz / bin_hz;
    size_t most = bins > 0 ? (bins - 1) / 2 : 0;

    if (half < MIN_HALF_WIDTH)
        return smaller(MIN_HALF_WIDTH, most);
    return half < (double)most ? (size_t)(half + 0.5) : most;
}

/*
 * Half width of the window about bin k. A window symmetric about its bin gives the
 * right floor on any slope, so near the ends it shrinks and stays symmetric; only over
 * the last few bins, where too little would be left of it, does it lean inwards. At
 * the low end it shrinks with the frequency, since wash rises there as a power of it.
 */
static size_t reach(size_t k, size_t bins, size_t half)
{
    size_t most = smaller(half, smaller(k / 3, bins - 1 - k));
    size_t least = smaller(EDGE_HALF_WIDTH, half);

    return most > least ? most : least;
}

/* One pass: a running quantile, put on the scale of the mean of a chi-square of `dof` degrees of freedom. */
static void run_quantile(double *sorted, const double *psd, const bool *skip, size_t bins, size_t half,
                         double share, double dof, double *floor)
{
    struct window window = {.sorted = sorted};
    double scale = 1.0 / sr_chi2_ratio_lower(share, dof);
    size_t low = 0;

    for (size_t k = 0; k < bins; k++) {
        size_t width = 2 * reach(k, bins, half) + 1;
        size_t start = k > width / 2 ? k - width / 2 : 0;

        /* Where the width jumps, an end would step back by a bin: it waits instead. */
        low = smaller(start > low ? start : low, bins - width);
        slide(&window, psd, skip, low, low + width);
        /* Nearly all of it lines: there is nothing better than what the pass before said. */
        if (4 * window.count >= width)
            floor[k] = scale * quantile(&window, share);
    }
}

/* Carry the slope on over the lowest bins, where the window leans up the spectrum and sees too little. */
static void roll_off(double *floor, size_t bins, size_t first)
{
    double from_bin = (double)(first + ROLL_OFF_FROM);
    double from = bins > ROLL_OFF_TO ? floor[ROLL_OFF_FROM] : 0.0;
    double slope;

    if (!(from > 0.0) || !(floor[ROLL_OFF_TO] > 0.0))
        return;
    slope = log(from / floor[ROLL_OFF_TO]) / log((double)(first + ROLL_OFF_TO) / from_bin);
    if (slope <= 0.0)
        return;
    slope = slope < steepest ? slope : steepest;
    /* DC has no place on a logarithmic scale; it gets the floor of the bin above. */
    for (size_t k = 0; k < ROLL_OFF_FROM; k++)
        floor[k] = from * pow(from_bin / (double)(first + k > 0 ? first + k : 1), slope);
}

/* Mean of log(floor) over each bin's own window, back from the logarithm. sums: room for bins. */
static void smooth_log(const double *floor, size_t bins, size_t half, double *sums, double *smooth)
{
    double sum = 0.0;

    for (size_t k = 0; k < bins; k++) {
        sum += log(floor[k] > DBL_MIN ? floor[k] : DBL_MIN);
        sums[k] = sum;
    }
    for (size_t k = 0; k < bins; k++) {
        size_t side = smaller(reach(k, bins, half), smaller(k, bins - 1 - k));
        double before = k > side ? sums[k - side - 1] : 0.0;

        smooth[k] = exp((sums[k + side] - before) / (double)(2 * side + 1));
    }
}

/* What a floor is made with; all [bins]. */
struct room {
    double *sorted;
    double *flat;
    double *smooth;
    bool *skip;
};

/* Floor of psd[bins], the first of which is bin `first` of the whole density. */
static void fill_floor(const double *psd, size_t bins, size_t first, size_t half, double dof,
                       const struct room *room, double *floor)
{
    double outlier = sr_chi2_ratio_upper(outlier_level, dof);

    outlier = outlier > outlier_ratio ? outlier : outlier_ratio;
    /* The two end bins have half the degrees of freedom, and detrending empties DC. */
    if (bins > 2 * MIN_HALF_WIDTH) {
        room->skip[0] = true;
        room->skip[bins - 1] = true;
    }
    run_quantile(room->sorted, psd, room->skip, bins, half, first_quantile, dof, floor);
    roll_off(floor, bins, first);
    smooth_log(floor, bins, half, room->sorted, room->smooth);
    for (size_t k = 0; k < bins; k++) {
        room->skip[k] = room->skip[k] || psd[k] > outlier * floor[k];
        room->flat[k] = psd[k] / room->smooth[k];
        /* What the next pass leaves alone stays as it is. */
        floor[k] /= room->smooth[k];
    }
    run_quantile(room->sorted, room->flat, room->skip, bins, half, 0.5, dof, floor);
    for (size_t k = 0; k < bins; k++)
        floor[k] *= room->smooth[k];
    roll_off(floor, bins, first);
}

size_t sr_floor_measured(const double *psd, size_t bins, size_t *first)
{
    size_t low = 0;
    size_t high = bins;

    while (low < high && !(psd[low] > 0.0))
        low++;
    while (high > low && !(psd[high - 1] > 0.0))
        high--;
    *first = low;
    return high - low;
}

enum sr_status sr_floor(const double *psd, size_t bins, double bin_hz, double floor_hz, double dof,
                        double *floor, struct sr_error *err)
{
    struct room room = {NULL, NULL, NULL, NULL};
    size_t first;
    size_t measured;
    enum sr_status status = SR_OK;

    if (bins == 0 || !(bin_hz > 0.0) || !isfinite(bin_hz))
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "density of %zu bins of %g Hz", bins, bin_hz);
    if (!(floor_hz > 0.0) || !isfinite(floor_hz))
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "floor over %g Hz, needs more than 0", floor_hz);
    if (!(dof > 0.0) || !isfinite(dof))
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "%g degrees of freedom, needs more than 0", dof);
    room.sorted = calloc(bins, 3 * sizeof *room.sorted);
    room.skip = calloc(bins, sizeof *room.skip);
    if (!room.sorted || !room.skip) {
        status = sr_fail(err, SR_ERR_MEMORY, NULL, 0, "no memory for a floor of %zu bins", bins);
        goto done;
    }
    room.flat = room.sorted + bins;
    room.smooth = room.flat + bins;
    memset(floor, 0, bins * sizeof *floor);
    measured = sr_floor_measured(psd, bins, &first);
    if (measured > 0)
        fill_floor(psd + first, measured, first, sr_floor_half_width(measured, bin_hz, floor_hz), dof, &room,
                   floor + first);

done:
    free(room.skip);
    free(room.sorted);
    return status;
}
