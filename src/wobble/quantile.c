/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Quantiles, and how sure they are: a moving-block bootstrap, since neighbouring slices are alike. */
#include "stillrow/wobble.h"
#include "support/generator.h"

#include <gsl/gsl_sort.h>
#include <gsl/gsl_statistics_double.h>
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#define BOOTSTRAP_SEED 20240229UL /* any fixed number: the same flight always gets the same interval */

/* A copy of x[n] in ascending order; NULL if memory ran out. */
static double *sorted_copy(const double *x, size_t n)
{
    if (n > SIZE_MAX / sizeof *x)
        return NULL;
    double *copy = malloc(n * sizeof *copy);
    if (copy != NULL) {
        memcpy(copy, x, n * sizeof *copy);
        gsl_sort(copy, 1, n);
    }
    return copy;
}

static bool all_finite(const double *x, size_t n)
{
    for (size_t i = 0; i < n; i++)
        if (!isfinite(x[i]))
            return false;
    return true;
}

enum sr_status sr_quantile(const double *x, size_t n, double q, double *value, struct sr_error *err)
{
    if (n == 0 || !(q >= 0 && q <= 1) || !all_finite(x, n))
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0,
                       "a quantile needs at least one finite value and 0 <= q <= 1");
    double *sorted = sorted_copy(x, n);
    if (sorted == NULL)
        return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for %zu values", n);
    *value = gsl_stats_quantile_from_sorted_data(sorted, 1, n, q);
    free(sorted);
    return SR_OK;
}

/*
 * The quantile of a resample given as how often each order statistic was drawn:
 * the same linear rule as sr_quantile(), without sorting the resample.
 */
static double quantile_of_counts(const double *sorted, const uint32_t *counts, size_t n, double q)
{
    double at = q * (double)(n - 1);
    size_t low_rank = (size_t)at;
    double fraction = at - (double)low_rank;
    size_t seen = 0, i = 0;

    while (seen + counts[i] <= low_rank)
        seen += counts[i++];
    double low = sorted[i];
    if (fraction <= 0)
        return low;
    if (seen + counts[i] > low_rank + 1)
        return low;
    do
        i++;
    while (i < n && counts[i] == 0);
    return i < n ? low + fraction * (sorted[i] - low) : low;
}

/* Rank of each value of x in ascending order, ties in order of place. */
static void rank_all(const double *x, size_t n, size_t *order, size_t *rank)
{
    gsl_sort_index(order, x, 1, n);
    for (size_t i = 0; i < n; i++)
        rank[order[i]] = i;
}

struct resampler {
    gsl_rng *rng;
    size_t n, block;
    const double *sorted;
    const size_t *rank;
    uint32_t *counts; /* [n] */
};

static double draw_quantile(struct resampler *r, double q)
{
    memset(r->counts, 0, r->n * sizeof *r->counts);
    for (size_t filled = 0; filled < r->n;) {
        size_t start = gsl_rng_uniform_int(r->rng, r->n - r->block + 1);
        for (size_t j = 0; j < r->block && filled < r->n; j++, filled++)
            r->counts[r->rank[start + j]]++;
    }
    return quantile_of_counts(r->sorted, r->counts, r->n, q);
}

enum sr_status sr_bootstrap_quantile(const double *x, size_t n, double q, double level, size_t draws,
                                     struct sr_interval *interval, struct sr_error *err)
{
    if (n == 0 || n > UINT32_MAX || draws < 20 || draws > SIZE_MAX / sizeof(double) || !(q >= 0 && q <= 1) ||
        !(level > 0 && level < 1) || !all_finite(x, n))
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0,
                       "a bootstrap needs finite values, 0 <= q <= 1, 0 < level < 1 and 20 draws or more");

    enum sr_status status = SR_ERR_MEMORY;
    double *sorted = sorted_copy(x, n);
    size_t *order = calloc(n, sizeof *order);
    size_t *rank = calloc(n, sizeof *rank);
    uint32_t *counts = calloc(n, sizeof *counts);
    double *drawn = malloc(draws * sizeof *drawn);
    gsl_rng rng;
    const bool started = sr_generator_init(&rng, BOOTSTRAP_SEED);
    if (sorted == NULL || order == NULL || rank == NULL || counts == NULL || drawn == NULL || !started) {
        sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for a bootstrap over %zu values", n);
        goto done;
    }

    rank_all(x, n, order, rank);
    struct resampler r = {&rng, n, (size_t)ceil(cbrt((double)n)), sorted, rank, counts};
    for (size_t i = 0; i < draws; i++)
        drawn[i] = draw_quantile(&r, q);
    gsl_sort(drawn, 1, draws);
    interval->value = gsl_stats_quantile_from_sorted_data(sorted, 1, n, q);
    interval->low = gsl_stats_quantile_from_sorted_data(drawn, 1, draws, (1 - level) / 2);
    interval->high = gsl_stats_quantile_from_sorted_data(drawn, 1, draws, (1 + level) / 2);
    status = SR_OK;

done:
    sr_generator_release(&rng);
    free(drawn);
    free(counts);
    free(rank);
    free(order);
    free(sorted);
    return status;
}
