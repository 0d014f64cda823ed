/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Each flight's matched wobble, equal weight to every common bin, and how far its
 * own slices leave that uncertain. Neighbouring seconds of a flight are alike, so
 * the slices are resampled in blocks (Kuensch 1989), with the block length that an
 * AR(1) of the same neighbour correlation asks for (Politis and White 2004).
 */
#include <gsl/gsl_rng.h>
#include <math.h>
#include <stdint.h>
#include <stdlib.h>

#include "matched.h"

#define DRAWS 500
#define SEED  20240229UL

/* Slices of one flight in the common bins, as deviations from their bin's mean, all weighted alike. */
struct residuals {
    size_t n;
    size_t bins;
    double *u; /* [n][MEASURES] */
};

static void bin_means(const struct matched *m, const struct matched_flight *f, double *mean, size_t *count)
{
    for (size_t b = 0; b < SR_COMPARE_BINS_MAX; b++) {
        count[b] = 0;
        for (size_t k = 0; k < MEASURES; k++)
            mean[b * MEASURES + k] = 0;
    }
    for (size_t i = 0; i < f->n; i++) {
        if (!matched_keeps(m, f, i))
            continue;
        count[f->bin[i]]++;
        for (size_t k = 0; k < MEASURES; k++)
            mean[f->bin[i] * MEASURES + k] += f->energy[i * MEASURES + k];
    }
    for (size_t b = 0; b < SR_COMPARE_BINS_MAX; b++)
        for (size_t k = 0; k < MEASURES && count[b] > 0; k++)
            mean[b * MEASURES + k] /= (double)count[b];
}

/* Fill the residuals, and energy[MEASURES]: the mean of the bin means. */
static void take_residuals(const struct matched *m, const struct matched_flight *f, struct residuals *r,
                           double *energy)
{
    double mean[SR_COMPARE_BINS_MAX * MEASURES];
    size_t count[SR_COMPARE_BINS_MAX];

    bin_means(m, f, mean, count);
    r->n = 0;
    r->bins = m->common_bins;
    for (size_t k = 0; k < MEASURES; k++) {
        energy[k] = 0;
        for (size_t b = 0; b < SR_COMPARE_BINS_MAX; b++)
            energy[k] += count[b] > 0 ? mean[b * MEASURES + k] / (double)r->bins : 0;
    }
    for (size_t i = 0; i < f->n; i++) {
        if (!matched_keeps(m, f, i))
            continue;
        size_t b = f->bin[i];
        double weight = (double)f->kept / ((double)r->bins * (double)count[b]);
        for (size_t k = 0; k < MEASURES; k++)
            r->u[r->n * MEASURES + k] = weight * (f->energy[i * MEASURES + k] - mean[b * MEASURES + k]);
        r->n++;
    }
}

/* Correlation of neighbours in the first measure, at least 0. */
static double neighbour_correlation(const struct residuals *r)
{
    double products = 0, squares = 0;
    for (size_t i = 0; i < r->n; i++) {
        double u = r->u[i * MEASURES];
        squares += u * u;
        if (i + 1 < r->n)
            products += u * r->u[(i + 1) * MEASURES];
    }
    return squares > 0 ? fmax(0, products / squares) : 0;
}

static size_t block_length(const struct residuals *r)
{
    double n = (double)r->n;
    double phi = fmin(neighbour_correlation(r), 0.9);
    double memory = 2 * phi / (1 - phi * phi);
    double length = fmax(cbrt(1.5 * memory * memory * n), cbrt(n));
    return (size_t)fmax(1, fmin(ceil(length), floor(n / 4)));
}

/* Variance of the mean of each measure over block resamples. */
static void block_variance(const struct residuals *r, size_t block, gsl_rng *rng, double *variance)
{
    double sum[MEASURES] = {0}, squares[MEASURES] = {0};
    for (int draw = 0; draw < DRAWS; draw++) {
        double mean[MEASURES] = {0};
        for (size_t filled = 0; filled < r->n;) {
            size_t start = gsl_rng_uniform_int(rng, r->n - block + 1);
            for (size_t j = 0; j < block && filled < r->n; j++, filled++)
                for (size_t k = 0; k < MEASURES; k++)
                    mean[k] += r->u[(start + j) * MEASURES + k];
        }
        for (size_t k = 0; k < MEASURES; k++) {
            mean[k] /= (double)r->n;
            sum[k] += mean[k];
            squares[k] += mean[k] * mean[k];
        }
    }
    for (size_t k = 0; k < MEASURES; k++)
        variance[k] = fmax(0, squares[k] / DRAWS - sum[k] * sum[k] / DRAWS / DRAWS);
}

static void measure_flight(const struct matched *m, struct matched_flight *f, struct residuals *r,
                           gsl_rng *rng)
{
    double energy[MEASURES], variance[MEASURES];

    take_residuals(m, f, r, energy);
    size_t block = block_length(r);
    block_variance(r, block, rng, variance);
    f->blocks = (double)r->n / (double)block;

    /* Degrees of freedom spent on the bin means, and on blocks standing in for many. */
    double n = (double)r->n, spent = fmin((double)r->bins, n - 1);
    double inflate = n / (n - spent) * (f->blocks > 1 ? f->blocks / (f->blocks - 1) : 2);
    for (size_t k = 0; k < MEASURES; k++) {
        f->log_px[k] = 0.5 * log(energy[k]);
        f->log_se[k] = energy[k] > 0 ? 0.5 * sqrt(variance[k] * inflate) / energy[k] : 0;
    }
}

enum sr_status matched_measure(struct matched *m, struct sr_error *err)
{
    size_t most = 0;
    for (size_t f = 0; f < m->count; f++)
        most = m->flights[f].n > most ? m->flights[f].n : most;

    struct residuals r = {0, 0, NULL};
    r.u = most > SIZE_MAX / sizeof *r.u / MEASURES ? NULL : malloc(most * MEASURES * sizeof *r.u);
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    enum sr_status status = SR_OK;
    if (r.u == NULL || rng == NULL) {
        status = sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for %zu slices", most);
    } else {
        gsl_rng_set(rng, SEED);
        for (size_t f = 0; f < m->count; f++)
            if (!m->flights[f].dropped)
                measure_flight(m, &m->flights[f], &r, rng);
    }
    if (rng != NULL)
        gsl_rng_free(rng);
    free(r.u);
    return status;
}
