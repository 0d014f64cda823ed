/* SPDX-License-Identifier: GPL-3.0-or-later */
/* An order that drives a resonance on its way: where, and what it would be without. */
#include <gsl/gsl_sort.h>
#include <gsl/gsl_statistics_double.h>
#include <math.h>
#include <stdint.h>
#include <stdlib.h>

#include "causes.h"

#define CROSSING_TIMES 4.0 /* how much stronger than its median a line must be at one frequency to say so */
#define CROSSING_BINS  4.0 /* slices within this many bins are "at one frequency" */
#define SLICES_LEAST   3

/* Wobble energy of a line in slice i for a force that goes with speed^2, as 1 at the mean speed and gain 1.
 */
static double course(const struct sr_case *c, size_t i)
{
    const struct sr_speeds *s = c->speeds;
    double centre = c->pick->centre_hz[i], gain = 0;
    if (!s->known[i] || isnan(centre) || centre < 0)
        return 0;
    size_t k = (size_t)lround(centre / c->gram->bin_hz);
    for (int a = 0; a < 3 && k < c->view->bins; a++)
        gain += c->view->wobble[a][k];
    return gain * pow(s->mean[i * s->channels], 4);
}

/* Mean strength over the slices at about the frequency of slice i; 0 if they are too few. */
static double strength_near(const struct sr_case *c, const double *strength, size_t i)
{
    double sum = 0;
    size_t near = 0;
    for (size_t j = 0; j < c->gram->slices; j++) {
        if (!(strength[j] >= 0) ||
            !(fabs(c->pick->centre_hz[j] - c->pick->centre_hz[i]) <= CROSSING_BINS * c->gram->bin_hz))
            continue;
        sum += strength[j];
        near++;
    }
    return near >= SLICES_LEAST ? sum / (double)near : 0;
}

enum sr_status sr_crossing_find(const struct sr_case *c, double *crossing_hz, double *plain,
                                struct sr_error *err)
{
    size_t slices = c->gram->slices, known = 0;
    double *strength =
        slices > SIZE_MAX / 2 / sizeof *strength ? NULL : malloc(2 * slices * sizeof *strength);
    if (strength == NULL)
        return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for %zu slices", slices);

    double *sorted = strength + slices, best = 0;
    for (size_t i = 0; i < slices; i++) {
        double expected = course(c, i);
        plain[i] = fmax(c->pick->energy[i], 0);
        strength[i] = expected > 0 ? plain[i] / expected : NAN;
        if (expected > 0)
            sorted[known++] = strength[i];
    }
    *crossing_hz = 0;
    if (known >= 3 * SLICES_LEAST) {
        gsl_sort(sorted, 1, known);
        double usual = gsl_stats_median_from_sorted_data(sorted, 1, known);
        for (size_t i = 0; i < slices; i++) {
            double here = strength[i] >= 0 ? strength_near(c, strength, i) : 0;
            if (here > best && here > CROSSING_TIMES * usual) {
                best = here;
                *crossing_hz = c->pick->centre_hz[i];
            }
        }
        for (size_t i = 0; i<slices && * crossing_hz> 0; i++)
            if (strength[i] >= 0)
                plain[i] = fmin(plain[i], usual * course(c, i));
    }
    free(strength);
    return SR_OK;
}
