/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Both groups' spectra on one grid, for a picture: slices of the matched conditions only. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "matched.h"

/* Whether a slice was compared. A flight that was left out has none in the common bins, see matched.c. */
static bool matched_slice(const struct sr_slices *slices, size_t i, const struct sr_comparison *c)
{
    size_t bin = matched_bin(slices, i, c->match, c->match_width);
    for (size_t b = 0; b < c->match_bins; b++)
        if (bin == (size_t)(c->match_centre[b] / c->match_width))
            return true;
    return false;
}

/* Add density x[bins] of spacing from_hz to a grid, linear between bins. */
static void add_density(const double *x, size_t bins, double from_hz, struct sr_compare_spectra *s,
                        double *sum)
{
    for (size_t k = 0; k < s->bins; k++) {
        double at = (double)k * s->bin_hz / from_hz;
        size_t low = (size_t)at;
        if (low + 1 < bins)
            sum[k] += x[low] + (at - (double)low) * (x[low + 1] - x[low]);
        else if (low < bins)
            sum[k] += x[low];
    }
}

/* Mean over the matched slices of a group; dof of one axis over all of them. */
static double group_mean(struct sr_compare_spectra *s, const struct sr_compare_group *g,
                         const struct sr_comparison *c, double *sum)
{
    double slices = 0, dof = 0;
    for (size_t f = 0; f < g->count; f++) {
        const struct sr_slices *flight = g->flights[f].slices;
        for (size_t i = 0; i < flight->count; i++) {
            if (!matched_slice(flight, i, c))
                continue;
            for (int a = 0; a < 3; a++)
                add_density(sr_slices_psd(flight, i, (enum sr_picture_axis)a), flight->bins, flight->bin_hz,
                            s, sum);
            slices++;
            dof += flight->dof;
        }
    }
    for (size_t k = 0; k < s->bins && slices > 0; k++)
        sum[k] /= slices;
    return dof;
}

enum sr_status sr_compare_spectra(struct sr_compare_spectra *spectra, const struct sr_compare_group *a,
                                  const struct sr_compare_group *b, const struct sr_comparison *comparison,
                                  struct sr_error *err)
{
    const struct sr_compare_group *groups[2] = {a, b};
    const struct sr_slices *first = a->flights[0].slices;
    struct sr_compare_spectra s = {.bin_hz = first->bin_hz, .enbw_bins = first->enbw_bins};

    s.bins = (size_t)floor(comparison->limit_hz / s.bin_hz) + 1;
    double *block = calloc(s.bins, 6 * sizeof *block);
    if (block == NULL)
        return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for %zu bins", s.bins);
    for (size_t g = 0; g < 2; g++) {
        double low, high;
        s.psd[g] = block + 3 * g * s.bins;
        s.low[g] = s.psd[g] + s.bins;
        s.high[g] = s.low[g] + s.bins;
        double dof = group_mean(&s, groups[g], comparison, s.psd[g]);
        enum sr_status status = sr_chi2_interval(fmax(dof, 1), 0.95, &low, &high, err);
        if (status != SR_OK) {
            free(block);
            return status;
        }
        for (size_t k = 0; k < s.bins; k++) {
            s.low[g][k] = low * s.psd[g][k];
            s.high[g][k] = high * s.psd[g][k];
        }
    }
    *spectra = s;
    return SR_OK;
}

void sr_compare_spectra_release(struct sr_compare_spectra *spectra)
{
    free(spectra->psd[0]);
    memset(spectra, 0, sizeof *spectra);
}
