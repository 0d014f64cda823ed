/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The spectrogram that lines are followed in, and its floor. */
#include <gsl/gsl_statistics_double.h>
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "support/ordered.h"
#include "support/pages.h"
#include "tracks.h"

#define FLOOR_HZ     60.0 /* width of the running median over the flight's floor, as for the lines */
#define SETTLED_DOF  1e9  /* of quartiles over slices: as good as without scatter, and by the quick formula */
#define BLOCK_HZ     100.0 /* a slice's own level is taken over blocks this wide */
#define LEVEL_MOST   4.0   /* of the flight's floor: what lifts a block further is a smeared line */
#define NEAR_BINS    6     /* a line within these of a stronger one... */
#define HELD_DOWN    0.05  /* ...counts only from this part of it (-13 dB): its skirts are not lines */
#define STAND_LOWEST (-0.7)
#define QUARTILE_Z   (-0.67449) /* standard normal deviate of the lower quartile */

/* Lower quartile of x[n], which lines that fill up to three quarters of the bins do not lift; rearranges x.
 */
static double quartile_of(double *x, size_t n)
{
    return n > 0 ? gsl_stats_select(x, 1, n, n / 4) : 0;
}

/* A quantile of a chi-square, z standard normal deviates off its middle, over its mean: Wilson and Hilferty
 * 1931. */
static double chi2_quantile(double dof, double z)
{
    return pow(fmax(1 - 2 / (9 * dof) + z * sqrt(2 / (9 * dof)), 0.05), 3);
}

/* A spectrogram in the making: its slices, and its bins, each by whichever thread is free. */
struct drawing {
    struct sr_gram *gram;
    const struct sr_slices *slices;
    const struct sr_view *view;
    double *rate;            /* [slices][bins] */
    double *part[3];         /* [bins] of each axis in it */
    double *gain, *floor;    /* [bins] */
    double *quartiles;       /* [bins] */
    double *scratch;         /* [hands][room] */
    size_t room;             /* 3 bins or the slices, whichever is more */
    double quartile, median; /* of a density, over its mean */
};

static void draw_energy(void *context, size_t i, size_t hand)
{
    const struct drawing *d = context;
    const size_t bins = d->gram->bins;
    const double *psd[3];
    double *rate = d->rate + i * bins, *energy = d->gram->energy + i * bins;

    (void)hand;
    for (int a = 0; a < 3; a++)
        psd[a] = sr_slices_psd(d->slices, i, (enum sr_picture_axis)a);
    for (size_t k = 0; k < bins; k++) {
        rate[k] = psd[0][k] * d->part[0][k] + psd[1][k] * d->part[1][k] + psd[2][k] * d->part[2][k];
        energy[k] = rate[k] * d->gain[k];
    }
}

/*
 * Rates weighted as the camera weights them, but without its fall and rise over frequency:
 * the floor of a rate is smooth where that of the wobble has the camera's humps and nulls.
 */
static void fill_energy(struct drawing *d)
{
    struct sr_gram *gram = d->gram;
    double *const *wobble = d->view->wobble;
    for (size_t k = 0; k < gram->bins; k++) {
        double gains = wobble[0][k] + wobble[1][k] + wobble[2][k];
        d->gain[k] = gains * gram->bin_hz;
        for (int a = 0; a < 3; a++)
            d->part[a][k] = gains > 0 ? wobble[a][k] / gains : 1.0 / 3;
    }
    sr_each(draw_energy, d, gram->slices, d->slices->jobs);
    gram->total = 0;
    for (size_t i = 0; i < gram->slices; i++)
        for (size_t k = gram->first; k < gram->bins; k++)
            gram->total += gram->energy[i * gram->bins + k];
}

static void take_quartile(void *context, size_t k, size_t hand)
{
    const struct drawing *d = context;
    double *column = d->scratch + hand * d->room;
    for (size_t i = 0; i < d->gram->slices; i++)
        column[i] = d->rate[i * d->gram->bins + k];
    d->quartiles[k] = quartile_of(column, d->gram->slices) / d->quartile;
}

/* The flight's floor: the lower quartile over slices, smoothed over frequency, as a mean level. */
static enum sr_status flight_floor(struct drawing *d, struct sr_error *err)
{
    const struct sr_gram *gram = d->gram;
    double *floor = d->floor;
    sr_each(take_quartile, d, gram->bins, d->slices->jobs);
    /* The quartiles hardly scatter any more: no correction from median to mean is wanted. */
    enum sr_status status =
        sr_floor(d->quartiles, gram->bins, gram->bin_hz, FLOOR_HZ, SETTLED_DOF, floor, err);
    double least = 0;
    for (size_t k = 0; k < gram->bins; k++)
        if (floor[k] > 0 && (least == 0 || floor[k] < least))
            least = floor[k];
    for (size_t k = 0; k < gram->bins; k++)
        if (!(floor[k] > 0))
            floor[k] = least > 0 ? least : 1e-300;
    return status;
}

/* Level of one slice against the flight's floor, block by block, into level[blocks]. */
static void slice_levels(const struct sr_gram *gram, const double *rate, const double *floor, double quartile,
                         size_t block, size_t blocks, double *column, double *level)
{
    for (size_t b = 0; b < blocks; b++) {
        size_t from = gram->first + b * block, n = 0;
        size_t to = b + 1 == blocks ? gram->bins : from + block;
        for (size_t k = from; k < to; k++)
            column[n++] = rate[k] / floor[k];
        level[b] = fmin(quartile_of(column, n) / quartile, LEVEL_MOST);
    }
}

/* Straight between the middles of the blocks. */
static double level_at(const double *level, size_t blocks, double block, double bin)
{
    double at = bin / block - 0.5;
    if (at <= 0)
        return level[0];
    size_t b = (size_t)at;
    if (b + 1 >= blocks)
        return level[blocks - 1];
    return level[b] + (at - (double)b) * (level[b + 1] - level[b]);
}

/* Energy of each bin against the greater of its floor and a part of the strongest bin near it. */
static void fill_stand(const struct sr_gram *gram, const double *energy, const double *floor, double *stand)
{
    for (size_t k = 0; k < gram->bins; k++) {
        size_t from = k > gram->first + NEAR_BINS ? k - NEAR_BINS : gram->first;
        size_t to = k + NEAR_BINS < gram->bins ? k + NEAR_BINS : gram->bins - 1;
        double most = floor[k];
        if (k < gram->first) {
            stand[k] = 0;
            continue;
        }
        for (size_t j = from; j <= to; j++)
            if (energy[j] * HELD_DOWN > most)
                most = energy[j] * HELD_DOWN;
        /* Where the camera is blind (a null of the exposure) nothing can be told. */
        stand[k] = most > 0 && energy[k] > 0 ? fmax(log(energy[k] / most), STAND_LOWEST) : 0;
    }
}

static void draw_excess(void *context, size_t i, size_t hand)
{
    const struct drawing *d = context;
    const struct sr_gram *gram = d->gram;
    size_t block = (size_t)fmax(8, round(BLOCK_HZ / gram->bin_hz));
    size_t seen = gram->bins - gram->first, blocks = seen / block > 0 ? seen / block : 1;
    double *level = d->scratch + hand * d->room, *column = level + gram->bins, *here = column + gram->bins;
    const double *energy = gram->energy + i * gram->bins;

    slice_levels(gram, d->rate + i * gram->bins, d->floor, d->quartile, block, blocks, column, level);
    for (size_t k = 0; k < gram->bins; k++) {
        double bin = k > gram->first ? (double)(k - gram->first) : 0;
        here[k] = d->floor[k] * level_at(level, blocks, (double)block, bin) * d->gain[k];
        gram->excess[i * gram->bins + k] = k < gram->first ? 0 : energy[k] - here[k];
        here[k] *= d->median; /* so that noise stands at about 0 */
    }
    fill_stand(gram, energy, here, gram->stand + i * gram->bins);
}

void sr_gram_refresh(struct sr_gram *gram)
{
    for (size_t i = 0; i < gram->slices; i++) {
        const double *stand = gram->stand + i * gram->bins, *excess = gram->excess + i * gram->bins;
        const bool *live = gram->live + i * gram->bins;
        double *smooth = gram->smooth + i * gram->bins, *weight = gram->weight + i * gram->bins;
        double *cum = gram->cum + i * (gram->bins + 1);
        cum[0] = 0;
        for (size_t k = 0; k < gram->bins; k++)
            cum[k + 1] = cum[k] + (live[k] ? excess[k] : 0);
        for (size_t k = 0; k < gram->bins; k++) {
            size_t below = k > gram->first ? k - 1 : k, above = k + 1 < gram->bins ? k + 1 : k;
            double a = live[below] ? 0.25 : 0, b = live[k] ? 0.5 : 0, c = live[above] ? 0.25 : 0;
            smooth[k] = a * stand[below] + b * stand[k] + c * stand[above];
            weight[k] = a + b + c;
        }
    }
}

static enum sr_status allocate(struct sr_gram *gram, struct sr_error *err)
{
    size_t cells = gram->slices * (gram->bins + 1);
    if (gram->slices > SIZE_MAX / 16 / sizeof(double) / (gram->bins + 1))
        return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "too many slices for this machine's memory");
    gram->energy = sr_pages_alloc(cells * 6 * sizeof(double));
    gram->live = malloc(cells);
    if (gram->energy == NULL || gram->live == NULL)
        return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for %zu slices", gram->slices);
    gram->excess = gram->energy + cells;
    gram->stand = gram->excess + cells;
    gram->cum = gram->stand + cells;
    gram->smooth = gram->cum + cells;
    gram->weight = gram->smooth + cells;
    memset(gram->live, true, cells);
    return SR_OK;
}

enum sr_status sr_gram_make(struct sr_gram *gram, const struct sr_slices *slices, const struct sr_view *view,
                            struct sr_error *err)
{
    struct sr_gram made = {.slices = slices->count,
                           .jobs = slices->jobs,
                           .bins = slices->bins,
                           .first = view->first_bin < slices->bins ? view->first_bin : slices->bins - 1,
                           .bin_hz = slices->bin_hz,
                           .rate_hz = slices->rate_hz};
    struct drawing d = {.gram = &made, .slices = slices, .view = view};
    size_t hands = slices->jobs > 1 ? slices->jobs : 1;
    double *work = NULL;
    enum sr_status status = allocate(&made, err);
    if (status != SR_OK || made.energy == NULL)
        goto failed;
    d.room = 3 * made.bins > made.slices ? 3 * made.bins : made.slices;
    work = malloc((6 * made.bins + hands * d.room) * sizeof *work);
    if (work == NULL) {
        status = sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for %zu slices", made.slices);
        goto failed;
    }
    d.rate = made.weight; /* nobody else's until the refresh */
    d.gain = work;
    d.floor = d.gain + made.bins;
    d.quartiles = d.floor + made.bins;
    for (size_t a = 0; a < 3; a++)
        d.part[a] = d.quartiles + (1 + a) * made.bins;
    d.scratch = d.quartiles + 4 * made.bins;
    d.quartile = chi2_quantile(slices->dof, QUARTILE_Z);
    d.median = chi2_quantile(slices->dof, 0);
    fill_energy(&d);
    status = flight_floor(&d, err);
    if (status != SR_OK)
        goto failed;
    sr_each(draw_excess, &d, made.slices, slices->jobs);
    sr_gram_refresh(&made);
    free(work);
    *gram = made;
    return SR_OK;

failed:
    free(work);
    sr_gram_release(&made);
    return status;
}

void sr_gram_release(struct sr_gram *gram)
{
    free(gram->energy);
    free(gram->live);
    memset(gram, 0, sizeof *gram);
}
