/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Each flight's matched wobble, equal weight to every common bin, and how far its
 * own slices leave that uncertain. Neighbouring seconds of a flight are alike, so
 * the slices are resampled in blocks (Kuensch 1989), with the block length that an
 * AR(1) of the same neighbour correlation asks for (Politis and White 2004).
 */
#include <math.h>
#include <stdint.h>
#include <stdlib.h>

#include "matched.h"
#include "support/generator.h"

#define DRAWS 500
#define SEED  20240229UL

#define SPENT 2.0 /* degrees of freedom that level and slope take */

/* Slices of one flight in the common bins: what each adds to the flight's matched energy beyond what was
 * expected. */
struct residuals {
    size_t n;
    double worth; /* slices of equal weight that the weighted ones are worth */
    double *u;    /* [n][MEASURES] */
};

static void count_bins(const struct matched *m, const struct matched_flight *f, size_t *count)
{
    for (size_t b = 0; b < SR_COMPARE_BINS_MAX; b++)
        count[b] = 0;
    for (size_t i = 0; i < f->n; i++)
        if (matched_keeps(m, f, i))
            count[f->bin[i]]++;
}

/* Slope of ln energy over the matched condition, 0 where there is nothing to fit. */
static double log_slope(const struct matched *m, const struct matched_flight *f, size_t measure)
{
    double n = 0, x = 0, y = 0, xx = 0, xy = 0;
    for (size_t i = 0; i < f->n; i++) {
        double energy = f->energy[i * MEASURES + measure];
        if (!matched_keeps(m, f, i) || !(energy > 0))
            continue;
        double at = matched_condition(f->flight->slices, i, m->match) / m->width;
        n += 1;
        x += at;
        y += log(energy);
        xx += at * at;
        xy += at * log(energy);
    }
    double spread = n * xx - x * x;
    return spread > 1e-9 * n * xx ? (n * xy - x * y) / spread : 0;
}

/*
 * Fill the residuals, and energy[MEASURES]: the mean of the bin means. A slice's residual is taken against a
 * smooth course over the condition, not against its own bin's mean: with few slices a bin, those would be
 * fitted away.
 */
static void take_residuals(const struct matched *m, const struct matched_flight *f, struct residuals *r,
                           double *energy)
{
    size_t count[SR_COMPARE_BINS_MAX];

    count_bins(m, f, count);
    r->worth = 0;
    for (size_t b = 0; b < SR_COMPARE_BINS_MAX; b++)
        r->worth += m->common[b] ? 1 / (double)count[b] : 0;
    r->worth = (double)m->common_bins * (double)m->common_bins / r->worth;
    for (size_t k = 0; k < MEASURES; k++) {
        double slope = log_slope(m, f, k), expected = 0;
        energy[k] = 0;
        r->n = 0;
        for (size_t i = 0; i < f->n; i++) {
            if (!matched_keeps(m, f, i))
                continue;
            double weight = 1 / ((double)m->common_bins * (double)count[f->bin[i]]);
            double course = exp(slope * (double)f->bin[i]); /* of the bin: where in it is chance */
            energy[k] += weight * f->energy[i * MEASURES + k];
            expected += weight * course;
            r->u[r->n++ * MEASURES + k] = course;
        }
        double scale = expected > 0 ? energy[k] / expected : 0;
        size_t at = 0;
        for (size_t i = 0; i < f->n; i++) {
            if (!matched_keeps(m, f, i))
                continue;
            double weight = (double)r->n / ((double)m->common_bins * (double)count[f->bin[i]]);
            double course = r->u[at * MEASURES + k];
            r->u[at++ * MEASURES + k] = weight * (f->energy[i * MEASURES + k] - scale * course);
        }
    }
}

/*
 * Correlation of neighbours in ln of the whole energy, level and slope taken off, at least 0. Taking those
 * off makes it come out low by about (2 + 4 phi) / n (Marriott and Pope 1954, for a trend; from memory): that
 * is put back.
 */
static double neighbour_correlation(const struct matched *m, const struct matched_flight *f)
{
    double slope = log_slope(m, f, MEASURE_WHOLE), mean = 0, n = 0;
    double products = 0, squares = 0, before = NAN;
    for (int pass = 0; pass < 2; pass++) {
        for (size_t i = 0; i < f->n; i++) {
            double energy = f->energy[i * MEASURES + MEASURE_WHOLE];
            if (!matched_keeps(m, f, i) || !(energy > 0))
                continue;
            double at = matched_condition(f->flight->slices, i, m->match) / m->width;
            double y = log(energy) - slope * at;
            if (pass == 0) {
                mean += (y - mean) / ++n;
                continue;
            }
            squares += (y - mean) * (y - mean);
            products += isfinite(before) ? (y - mean) * (before - mean) : 0;
            before = y;
        }
    }
    double phi = squares > 0 ? products / squares : 0;
    return fmin(fmax(0, phi + (2 + 4 * phi) / n), 0.9);
}

/*
 * The AR(1) plug-in length is best for an AR(1); wandering throttle and wind leave a longer tail than that,
 * so blocks are half as long again (false claims fell from 7 to 6 % of comparisons of one flight with one;
 * the bench's table).
 */
static size_t block_length(size_t slices, double phi)
{
    double n = (double)slices;
    double memory = 2 * phi / (1 - phi * phi);
    double length = 1.5 * fmax(cbrt(1.5 * memory * memory * n), cbrt(n));
    return (size_t)fmax(1, fmin(ceil(length), floor(n / 4)));
}

/*
 * Blocks forget what reaches beyond their ends. For an AR(1) the variance of a mean is (1 + phi) / (1 - phi)
 * times that of independent slices, and blocks of length l show 1 + 2 sum_(k<l) (1 - k/l) phi^k of it: the
 * ratio.
 */
static double beyond_blocks(double phi, size_t block)
{
    double shown = 1, power = 1;
    for (size_t k = 1; k < block; k++) {
        power *= phi;
        shown += 2 * (1 - (double)k / (double)block) * power;
    }
    return (1 + phi) / (1 - phi) / shown;
}

/*
 * Variance of the mean of each measure over block resamples. Blocks run on from the last slice to the first,
 * so that the slices near the ends, which may carry much weight, are drawn as often as the others.
 */
static void block_variance(const struct residuals *r, size_t block, gsl_rng *rng, double *variance)
{
    double sum[MEASURES] = {0}, squares[MEASURES] = {0};
    for (int draw = 0; draw < DRAWS; draw++) {
        double mean[MEASURES] = {0};
        for (size_t filled = 0; filled < r->n;) {
            size_t start = gsl_rng_uniform_int(rng, r->n);
            for (size_t j = 0; j < block && filled < r->n; j++, filled++)
                for (size_t k = 0; k < MEASURES; k++)
                    mean[k] += r->u[(start + j) % r->n * MEASURES + k];
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
    double phi = neighbour_correlation(m, f);
    size_t block = block_length(r->n, phi);
    block_variance(r, block, rng, variance);
    f->blocks = r->worth / (double)block;

    /* Degrees of freedom spent on level and slope, and on few blocks standing in for many. */
    double inflate = r->worth / fmax(r->worth - SPENT, 1) * (f->blocks > 1 ? f->blocks / (f->blocks - 1) : 2);
    inflate *= beyond_blocks(phi, block);
    for (size_t k = 0; k < MEASURES; k++) {
        f->log_px[k] = 0.5 * log(energy[k]);
        f->log_se[k] = energy[k] > 0 ? 0.5 * sqrt(variance[k] * inflate) / energy[k] : 0;
    }
}

enum sr_status matched_measure(struct matched *m, struct sr_error *err)
{
    size_t most = 1; /* malloc(0) may be NULL, which is no lack of memory */
    for (size_t f = 0; f < m->count; f++)
        most = m->flights[f].n > most ? m->flights[f].n : most;

    struct residuals r = {0, 0, NULL};
    r.u = most > SIZE_MAX / sizeof *r.u / MEASURES ? NULL : malloc(most * MEASURES * sizeof *r.u);
    gsl_rng rng;
    const bool started = sr_generator_init(&rng, SEED);
    enum sr_status status = SR_OK;
    if (r.u == NULL || !started) {
        status = sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for %zu slices", most);
    } else {
        for (size_t f = 0; f < m->count; f++)
            if (!m->flights[f].dropped)
                measure_flight(m, &m->flights[f], &r, &rng);
    }
    sr_generator_release(&rng);
    free(r.u);
    return status;
}
