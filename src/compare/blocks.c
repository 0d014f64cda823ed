/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Each flight's matched wobble, equal weight to every common bin, and how far its
 * own slices leave that uncertain. Neighbouring seconds of a flight are alike, so
 * slices vary in blocks (Kuensch 1989), of the length that an AR(1) of the same
 * neighbour correlation asks for (Politis and White 2004).
 *
 * What is resampled are the slices' relative residuals, while each slice keeps its
 * weight. Slices resampled together with their weights (as was done before) leave the
 * variance to the one or two slices of a seldom visited bin: it was right on average
 * and far too small now and then, which made 6 % of false claims where 5 % is promised.
 * Nothing is drawn at random: the variance of a mean over blocks has a closed form.
 */
#include <math.h>
#include <stdint.h>
#include <stdlib.h>

#include "matched.h"

#define SPENT    1.5 /* block lengths of slices that level and slope take */
#define STEEPEST 2.0 /* [1/bin] 8.7 dB in 5 % of throttle */
/* [bins^2] ln |residual| scatters by 1.1 (pi^2 / 8 for normal ones, and neighbours are alike), and its slope
 * is expected within some 0.6 a bin: the ratio of the variances. */
#define SCATTER_RIDGE 6.0

/* Slices of one flight in the common bins. */
struct residuals {
    size_t n;
    double *part; /* [n] expected part of the flight's matched energy, sums to 1 */
    double *off;  /* [n] energy relative to what was expected, less 1, of mean 0 */
};

/* A straight line through points, gathered one by one. */
struct line_fit {
    double n, x, y, xx, xy;
};

static void fit_add(struct line_fit *fit, double x, double y)
{
    fit->n += 1;
    fit->x += x;
    fit->y += y;
    fit->xx += x * x;
    fit->xy += x * y;
}

/* Its slope, drawn towards 0 as by `ridge` added to the sum of squares of x about its mean (Hoerl and Kennard
 * 1970); 0 where there is nothing to fit. */
static double fit_slope(const struct line_fit *fit, double ridge)
{
    double spread = fit->n * fit->xx - fit->x * fit->x;
    if (!(spread > 1e-9 * fit->n * fit->xx))
        return 0;
    return (fit->n * fit->xy - fit->x * fit->y) / (spread + fit->n * ridge);
}

/* Slope of ln energy over the matched condition [1/bin]. Two slices at almost the same condition may ask for
 * any slope: more than STEEPEST is chance. */
static double log_slope(const struct matched *m, const struct matched_flight *f, size_t measure)
{
    struct line_fit fit = {0};
    for (size_t i = 0; i < f->n; i++) {
        double energy = f->energy[i * MEASURES + measure];
        if (matched_keeps(m, f, i) && energy > 0)
            fit_add(&fit, matched_condition(f->flight->slices, i, m->match) / m->width, log(energy));
    }
    return fmax(-STEEPEST, fmin(fit_slope(&fit, 0), STEEPEST));
}

/*
 * Fill the residuals of one measure; returns the mean of the bin means [px^2]. A slice's residual is taken
 * against a smooth course over the condition, not against its own bin's mean: with few slices a bin, those
 * would be fitted away.
 */
static double take_residuals(const struct matched *m, const struct matched_flight *f, size_t measure,
                             struct residuals *r)
{
    double weight[SR_COMPARE_BINS_MAX], slope = log_slope(m, f, measure);
    double energy = 0, expected = 0, mean = 0;

    matched_weights(m, f, weight);
    r->n = 0;
    for (size_t i = 0; i < f->n; i++) {
        if (!matched_keeps(m, f, i))
            continue;
        double course = exp(slope * (double)f->bin[i]); /* of the bin: where in it is chance */
        r->part[r->n] = weight[f->bin[i]] * course;
        r->off[r->n] = f->energy[i * MEASURES + measure] / course;
        energy += weight[f->bin[i]] * f->energy[i * MEASURES + measure];
        expected += r->part[r->n];
        mean += r->off[r->n++];
    }
    for (size_t i = 0; i < r->n; i++) {
        r->part[i] /= expected;
        r->off[i] = energy > 0 ? (r->off[i] - mean / (double)r->n) * expected / energy : 0;
    }
    return energy;
}

/*
 * Scatter may change over the condition, too: what is taken to be alike, wherever the slice was flown, is its
 * residual over the scatter to be expected there, and its part is worth as much more. The scatter's course is
 * a straight line in ln |residual|.
 */
static void even_out(const struct matched *m, const struct matched_flight *f, struct residuals *r)
{
    struct line_fit fit = {0};
    for (size_t i = 0, at = 0; i < f->n && at < r->n; i++) {
        if (!matched_keeps(m, f, i))
            continue;
        double size = fabs(r->off[at++]);
        if (size > 0)
            fit_add(&fit, (double)f->bin[i], log(size));
    }
    double slope = fit_slope(&fit, SCATTER_RIDGE), middle = fit.n > 0 ? fit.x / fit.n : 0;
    for (size_t i = 0, at = 0; i < f->n && at < r->n; i++) {
        if (!matched_keeps(m, f, i))
            continue;
        double scatter = exp(slope * ((double)f->bin[i] - middle));
        r->part[at] *= scatter;
        r->off[at++] /= scatter;
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
 * so blocks are half as long again.
 */
static size_t block_length(size_t slices, double phi)
{
    double n = (double)slices;
    double memory = 2 * phi / (1 - phi * phi);
    double length = 1.5 * fmax(cbrt(1.5 * memory * memory * n), cbrt(n));
    return (size_t)fmax(1, fmin(ceil(length), floor(n / 4)));
}

/* Sum of the products of x[n] with itself `lag` slices on, from the last on to the first: so the slices near
 * the ends, which may carry much weight, count as often as the others. */
static double lagged(const double *x, size_t n, size_t lag)
{
    double sum = 0;
    for (size_t i = 0; i < n - lag; i++)
        sum += x[i] * x[i + lag];
    for (size_t i = n - lag; i < n; i++)
        sum += x[i] * x[i + lag - n];
    return sum;
}

/* What an AR(1) of the same neighbour correlation makes of the weights: in all, as far as blocks show it. */
struct reach {
    double all, shown;
    double all_slope, shown_slope; /* by phi */
};

/*
 * Variance of the weighted mean of the residuals over all ways to lay blocks: two slices k apart share a
 * block in (1 - k / block) of them, and vary together as all such pairs do.
 */
static double block_variance(const struct residuals *r, size_t block, double phi, struct reach *reach)
{
    double variance = 0, power = 1, slope = 0;
    *reach = (struct reach){0};
    for (size_t k = 0; k < r->n && (k < block || power > 1e-4); k++) {
        double weight = (k > 0 ? 2 : 1) * lagged(r->part, r->n, k);
        double taper = k < block ? 1 - (double)k / (double)block : 0;
        reach->all += weight * power;
        reach->shown += weight * power * taper;
        reach->all_slope += weight * slope;
        reach->shown_slope += weight * slope * taper;
        if (k < block)
            variance += weight * taper * lagged(r->off, r->n, k) / (double)r->n;
        slope = (double)(k + 1) * power; /* of phi^(k + 1) */
        power *= phi;
    }
    return fmax(0, variance);
}

/*
 * Degrees of freedom of a variance from blocks: n over the sum of the squared tapers, about 1.5 n / block
 * (Priestley 1981, sec. 6.2.3, for this lag window; from memory), less level and slope. What is put back for
 * reaching beyond the blocks is known as well as phi is, whose variance is (1 - phi^2) / n (Bartlett 1946);
 * in flights of some ten slices that is what counts.
 */
static double block_freedom(size_t slices, size_t block, double phi, const struct reach *reach)
{
    double n = (double)slices, l = (double)block;
    double from_blocks = fmax(1, 3 * n * l / (2 * l * l + 1) - 2);
    double by_phi = reach->all_slope / reach->all - reach->shown_slope / reach->shown;
    return fmax(1, 1 / (1 / from_blocks + by_phi * by_phi * (1 - phi * phi) / n / 2));
}

static void measure_flight(const struct matched *m, struct matched_flight *f, struct residuals *r)
{
    double phi = neighbour_correlation(m, f);
    for (size_t k = 0; k < MEASURES; k++) {
        struct reach reach;
        double energy = take_residuals(m, f, k, r), n = (double)r->n;
        size_t block = block_length(r->n, phi);
        even_out(m, f, r);
        double variance = block_variance(r, block, phi, &reach);
        variance *= reach.all / reach.shown; /* blocks forget what reaches beyond their ends */
        variance *= n / fmax(n - SPENT * (double)block, n / 4);
        f->log_px[k] = 0.5 * log(energy);
        f->log_se[k] = 0.5 * sqrt(variance);
        f->dof[k] = block_freedom(r->n, block, phi, &reach);
    }
}

/*
 * A handful of slices, less what level and slope take, shows no scatter of its own, which is not to say that
 * there is none: such a flight is taken to scatter as the others do, and no less than it shows.
 */
static void borrow_scatter(struct matched *m)
{
    for (size_t k = 0; k < MEASURES; k++) {
        double slice = 0, lenders = 0;
        for (size_t f = 0; f < m->count; f++) {
            const struct matched_flight *flight = &m->flights[f];
            if (flight->dropped || flight->kept < MATCHED_FEW)
                continue;
            slice += flight->log_se[k] * flight->log_se[k] * (double)flight->kept;
            lenders++;
        }
        for (size_t f = 0; f < m->count && lenders > 0; f++) {
            struct matched_flight *flight = &m->flights[f];
            if (flight->dropped || flight->kept >= MATCHED_FEW)
                continue;
            flight->log_se[k] = fmax(flight->log_se[k], sqrt(slice / lenders / (double)flight->kept));
            flight->dof[k] = 1;
        }
    }
}

enum sr_status matched_measure(struct matched *m, struct sr_error *err)
{
    size_t most = 1; /* malloc(0) may be NULL, which is no lack of memory */
    for (size_t f = 0; f < m->count; f++)
        most = m->flights[f].n > most ? m->flights[f].n : most;

    struct residuals r = {0};
    r.part = most > SIZE_MAX / 2 / sizeof *r.part ? NULL : malloc(2 * most * sizeof *r.part);
    if (r.part == NULL)
        return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for %zu slices", most);
    r.off = r.part + most;
    for (size_t f = 0; f < m->count; f++)
        if (!m->flights[f].dropped)
            measure_flight(m, &m->flights[f], &r);
    borrow_scatter(m);
    free(r.part);
    return SR_OK;
}
