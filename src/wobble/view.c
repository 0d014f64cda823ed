/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a camera makes of a rotation at each bin, and of a slice as a whole. */
#include "stillrow/wobble.h"

#include <math.h>
#include <stdlib.h>

enum sr_status sr_view_init(struct sr_view *view, const struct sr_slices *slices,
                            const struct sr_camera *camera, struct sr_error *err)
{
    enum sr_status status = sr_camera_check(camera, err);
    if (status != SR_OK)
        return status;

    /* One block for all six curves, owned through wobble[0]. */
    double *block = calloc(slices->bins, 6 * sizeof *block);
    if (block == NULL)
        return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for a view of %zu bins", slices->bins);

    view->bins = slices->bins;
    view->bin_hz = slices->bin_hz;
    view->camera = *camera;
    view->first_bin = (size_t)ceil(sr_band_low_hz(camera, SR_BAND_BEND) / slices->bin_hz - 1e-9);
    for (size_t a = 0; a < 3; a++) {
        view->wobble[a] = block + 2 * a * view->bins;
        view->smear[a] = block + (2 * a + 1) * view->bins;
        for (size_t k = view->first_bin; k < view->bins; k++) {
            double hz = (double)k * view->bin_hz;
            view->wobble[a][k] = sr_camera_wobble_gain(camera, (enum sr_picture_axis)a, hz);
            view->smear[a][k] = sr_camera_smear_gain(camera, (enum sr_picture_axis)a, hz);
        }
    }
    return SR_OK;
}

void sr_view_scale(struct sr_view *view, const double *power)
{
    for (size_t a = 0; a < 3; a++) {
        for (size_t k = 0; k < view->bins; k++) {
            view->wobble[a][k] *= power[k];
            view->smear[a][k] *= power[k];
        }
    }
}

void sr_view_release(struct sr_view *view)
{
    free(view->wobble[0]);
    for (size_t a = 0; a < 3; a++)
        view->wobble[a] = view->smear[a] = NULL;
}

#define LANES 4 /* sums side by side, or each addition would wait for the one before */

static double product_sum(const double *x, const double *y, size_t n)
{
    double sum[LANES] = {0};
    size_t i = 0;

    for (; i + LANES <= n; i += LANES)
        for (size_t lane = 0; lane < LANES; lane++)
            sum[lane] += x[i + lane] * y[i + lane];
    for (; i < n; i++)
        sum[0] += x[i] * y[i];
    return sum[0] + sum[1] + (sum[2] + sum[3]);
}

double sr_view_energy(const struct sr_view *view, const struct sr_slices *slices, size_t i,
                      enum sr_picture_axis axis, size_t low, size_t high)
{
    const size_t end = high < view->bins ? high : view->bins;

    if (low >= end)
        return 0;
    return product_sum(sr_slices_psd(slices, i, axis) + low, view->wobble[axis] + low, end - low) *
           view->bin_hz;
}

void sr_view_wobble(const struct sr_view *view, const struct sr_slices *slices, double *px)
{
    for (size_t i = 0; i < slices->count; i++) {
        double energy = 0;
        for (int a = 0; a < 3; a++)
            energy += sr_view_energy(view, slices, i, (enum sr_picture_axis)a, view->first_bin, view->bins);
        px[i] = sqrt(energy);
    }
}

/* Smear energy [px^2] of slice i. */
static double smear_energy(const struct sr_view *view, const struct sr_slices *slices, size_t i)
{
    const size_t first = view->first_bin, seen = view->bins > first ? view->bins - first : 0;
    double sum = 0;
    for (int a = 0; a < 3; a++)
        sum += product_sum(sr_slices_psd(slices, i, (enum sr_picture_axis)a) + first, view->smear[a] + first,
                           seen);
    return sum * view->bin_hz;
}

double sr_view_smear(const struct sr_view *view, const struct sr_slices *slices)
{
    double energy = 0;
    for (size_t i = 0; i < slices->count; i++)
        energy += smear_energy(view, slices, i);
    return sqrt(energy / (double)slices->count);
}
