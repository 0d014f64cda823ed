/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The lines of a flight, looked for where they matter: in the wobble density, not in the raw rates. */
#include "peaks.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#define LINES_MAX        48
#define MOMENT_MAIN_LINE 0.2 /* share of a moment's energy that makes a line its main one */

/* The flight's mean densities that lines are read from, each [bins]. */
struct densities {
    double *wobble;  /* px^2/Hz, all axes */
    double *axis[3]; /* px^2/Hz of one picture axis */
    double *rate;    /* (deg/s)^2/Hz, all axes */
};

static void fill_densities(struct densities *d, const struct sr_slices *slices, const struct sr_view *view)
{
    memset(d->wobble, 0, slices->bins * sizeof *d->wobble);
    memset(d->rate, 0, slices->bins * sizeof *d->rate);
    for (size_t a = 0; a < 3; a++) {
        sr_slices_mean(slices, (enum sr_picture_axis)a, 0, slices->count, NULL, d->axis[a]);
        for (size_t k = 0; k < slices->bins; k++) {
            d->rate[k] += d->axis[a][k];
            d->axis[a][k] *= view->wobble[a][k];
            d->wobble[k] += d->axis[a][k];
        }
    }
}

static double sum_range(const double *x, size_t low, size_t high)
{
    double sum = 0;
    for (size_t k = low; k <= high; k++)
        sum += x[k];
    return sum;
}

/* The axis that carries most of a line's wobble. */
static enum sr_picture_axis main_axis(const struct densities *d, const struct sr_line *line)
{
    enum sr_picture_axis best = SR_ROLL;
    double most = -1;
    for (int a = 0; a < 3; a++) {
        double energy = sum_range(d->axis[a], line->low_bin, line->high_bin);
        if (energy > most) {
            most = energy;
            best = (enum sr_picture_axis)a;
        }
    }
    return best;
}

static void describe(struct sr_peak *peak, const struct sr_line *line, const struct densities *d,
                     const struct sr_view *view, double total)
{
    double energy = line->amplitude * line->amplitude;
    double all = sum_range(d->wobble, line->low_bin, line->high_bin) * view->bin_hz;
    double rate = sum_range(d->rate, line->low_bin, line->high_bin) * view->bin_hz;

    memset(peak, 0, sizeof *peak);
    peak->hz = line->hz;
    peak->true_hz = line->hz;
    peak->wobble_px = line->amplitude;
    peak->share = fmin(energy / total, 1);
    /* The floor under a line is taken off its rate in the proportion in which it was taken off its wobble. */
    peak->rate_dps = all > 0 ? sqrt(rate * fmin(energy / all, 1)) : 0;
    peak->waves = line->hz * view->camera.readout_s;
    peak->crawl_hz = sr_camera_crawl_hz(&view->camera, line->hz);
    peak->axis = main_axis(d, line);
    peak->low_bin = line->low_bin;
    peak->high_bin = line->high_bin;
    peak->cause = SR_CAUSE_UNDECIDED;
}

static void keep_peaks(struct sr_score *score, const struct sr_line *lines, size_t count,
                       const struct densities *d, const struct sr_view *view)
{
    double total = sum_range(d->wobble, view->first_bin, view->bins - 1) * view->bin_hz;
    double rest = 1;

    score->n_peaks = 0;
    for (size_t i = 0; i < count && score->n_peaks < SR_PEAKS_MAX && total > 0; i++) {
        if (lines[i].amplitude * lines[i].amplitude < SR_PEAK_SHARE_MIN * total)
            continue;
        struct sr_peak *peak = &score->peaks[score->n_peaks++];
        describe(peak, &lines[i], d, view, total);
        rest -= peak->share;
    }
    score->rest_share = fmax(rest, 0);
}

enum sr_status sr_peaks_find(struct sr_score *score, const struct sr_slices *slices,
                             const struct sr_view *view, struct sr_error *err)
{
    struct sr_line lines[LINES_MAX];
    struct sr_line_options options;
    size_t count = 0, bins = slices->bins;
    double *block = calloc(bins, 5 * sizeof *block);
    if (block == NULL)
        return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for %zu bins", bins);

    struct densities d = {block, {block + bins, block + 2 * bins, block + 3 * bins}, block + 4 * bins};
    fill_densities(&d, slices, view);

    /* A mean over slices has their degrees of freedom added up; three axes add more, which is left out. */
    sr_line_options_init(&options);
    options.max_lines = LINES_MAX;
    options.low_hz = (double)view->first_bin * view->bin_hz;
    enum sr_status status = sr_lines_find(d.wobble, bins, view->bin_hz, slices->window,
                                          slices->dof * (double)slices->count, &options, lines, &count, err);
    if (status == SR_OK)
        keep_peaks(score, lines, count, &d, view);
    free(block);
    return status;
}

void sr_moment_name(struct sr_moment *moment, double total, const struct sr_peak *peaks, const double *energy,
                    const double *hz, size_t count)
{
    double most = 0;
    moment->hz = 0;
    moment->cause = SR_CAUSE_BROADBAND;
    for (size_t k = 0; k < count; k++)
        if (energy[k] > most && energy[k] >= MOMENT_MAIN_LINE * total) {
            most = energy[k];
            moment->hz = hz[k];
            moment->cause = peaks[k].cause;
        }
}
