/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Which motor an order comes from. Motors of one craft turn at slightly different speeds, so the shape of the
 * line in each slice, fitted by one line a motor, tells how much of it each carries.
 */
#include <gsl/gsl_statistics_double.h>
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "random.h"
#include "shapes.h"
#include "support/ordered.h"

#define SHARE_MAIN   0.55 /* of the energy, that makes a motor the one */
#define DRAWS        100  /* resamples of the slices... */
#define DRAWS_AGREE  0.97 /* ...this part of which must name the same motor */
#define SLICES_LEAST 4
#define MOTORS_USUAL 4    /* at least; of fewer, one may not be logged (common practice, no source) */
#define MISFIT_MOST  0.02 /* of a line squared, in a quarter of the slices, that they may leave over then */
#define ROUNDS_AGAIN 60
#define ROUNDS       400

/* Normal equations of the shares: shapes against shapes, shapes against the line. */
struct equations {
    double level;                                /* [px^2] of the line in the slice */
    double square;                               /* the line against itself, ... */
    double scatter;                              /* ... and what of it the floor's chance makes */
    double shapes[SR_MOTORS_MAX][SR_MOTORS_MAX]; /* [m][n], n <= m */
    double line[SR_MOTORS_MAX];
};

/* What one thread draws shapes with. */
struct board {
    struct sr_shaper shaper;
    double *shape; /* [motors][bins] of one slice */
};

struct fit {
    const struct sr_gram *gram;
    const struct sr_speeds *speeds;
    size_t motors;
    size_t order;
    size_t first;            /* slice */
    size_t used;             /* slices */
    double dof;              /* of a slice's density */
    struct equations *slice; /* [slices] of each slice used, without those that are not once all are there */
    struct board *board;     /* [threads] */
    double *left;            /* [slices] that the shares leave over */
};

/* Slice number `item` from the first on; its equations stay 0 where it is of no use. */
static void add_slice(void *context, size_t item, size_t hand)
{
    struct fit *fit = context;
    struct board *board = &fit->board[hand];
    const size_t order = fit->order, i = fit->first + item;
    size_t low, high, bins = fit->gram->bins;
    const double *excess = fit->gram->excess + i * bins, *energy = fit->gram->energy + i * bins;
    double sum = 0, floor = 0, f0 = (double)order * fit->speeds->mean_hz;

    sr_order_window(fit->gram, fit->speeds, order, SR_LOBE_BINS, i, &low, &high);
    if (low > high || !fit->speeds->known[i])
        return;
    for (size_t k = low; k <= high; k++) {
        sum += excess[k];
        floor += energy[k] - excess[k];
    }
    if (!(sum > floor))
        return;
    struct equations *e = &fit->slice[item];
    e->level = sum;
    for (size_t k = low; k <= high; k++) {
        const double part = excess[k] / sum, under = (energy[k] - excess[k]) / sum;
        e->square += part * part;
        e->scatter += 2 / fit->dof * under * (under + 2 * fmax(part, 0));
    }
    for (size_t m = 0; m < fit->motors; m++) {
        double *shape = board->shape + m * bins;
        sr_shape_draw(&board->shaper, i, m + 1, f0, low, high, shape);
        for (size_t k = low; k <= high; k++)
            e->line[m] += shape[k] * excess[k] / sum;
        for (size_t n = 0; n <= m; n++)
            for (size_t k = low; k <= high; k++)
                e->shapes[m][n] += shape[k] * board->shape[n * bins + k];
    }
}

static void add_equations(struct equations *sum, const struct equations *e, double weight, size_t motors)
{
    for (size_t m = 0; m < motors; m++) {
        sum->line[m] += weight * e->line[m];
        for (size_t n = 0; n <= m; n++)
            sum->shapes[m][n] += weight * e->shapes[m][n];
    }
}

/* Least squares with no share below 0, one share at a time until it settles; from share[] on, summing to 1.
 */
static void solve_shares(const struct equations *e, size_t motors, int rounds, double *share)
{
    double sum = 0;
    for (int round = 0; round < rounds; round++) {
        for (size_t m = 0; m < motors; m++) {
            double rest = e->line[m];
            for (size_t n = 0; n < motors; n++)
                if (n != m)
                    rest -= share[n] * (n < m ? e->shapes[m][n] : e->shapes[n][m]);
            share[m] = e->shapes[m][m] > 0 ? fmax(rest / e->shapes[m][m], 0) : 0;
        }
    }
    for (size_t m = 0; m < motors; m++)
        sum += share[m];
    for (size_t m = 0; m < motors && sum > 0; m++)
        share[m] /= sum;
}

static size_t strongest(const double *share, size_t motors)
{
    size_t best = 0;
    for (size_t m = 1; m < motors; m++)
        if (share[m] > share[best])
            best = m;
    return best;
}

/* Part of the resamples of the slices (Efron 1979) that have the same motor strongest. */
static double agreement(const struct fit *fit, const double *share)
{
    size_t best = strongest(share, fit->motors), agree = 0;
    uint64_t state = SR_RANDOM_SEED;
    for (size_t draw = 0; draw < DRAWS; draw++) {
        struct equations sum = {0};
        double drawn[SR_MOTORS_MAX];
        memcpy(drawn, share, sizeof drawn);
        for (size_t i = 0; i < fit->used; i++)
            add_equations(&sum, &fit->slice[sr_random_below(&state, fit->used)], 1, fit->motors);
        solve_shares(&sum, fit->motors, ROUNDS_AGAIN, drawn);
        agree += strongest(drawn, fit->motors) == best;
    }
    return (double)agree / DRAWS;
}

static void sum_up(const struct fit *fit, bool by_energy, double *share)
{
    struct equations sum = {0};
    for (size_t i = 0; i < fit->used; i++)
        add_equations(&sum, &fit->slice[i], by_energy ? fit->slice[i].level : 1, fit->motors);
    solve_shares(&sum, fit->motors, ROUNDS, share);
}

/* Part of a slice's line, squared, that these shares leave over, less what chance makes of it: a density is
 * a chi-square, of noise alone or about a line. */
static double misfit(const struct equations *e, size_t motors, const double *share)
{
    double fitted = 0;
    for (size_t m = 0; m < motors; m++) {
        fitted += 2 * share[m] * e->line[m];
        for (size_t n = 0; n < motors; n++)
            fitted -= share[m] * share[n] * (n < m ? e->shapes[m][n] : e->shapes[n][m]);
    }
    return 1 - (fitted + e->scatter) / e->square;
}

/*
 * Whether the motors' speeds fit the line at all, by the slices they fit best: a mode bends the line in some,
 * a motor that is not logged in all of them.
 */
static bool is_unfit(const struct fit *fit, const double *share)
{
    if (fit->motors >= MOTORS_USUAL)
        return false;
    for (size_t i = 0; i < fit->used; i++)
        fit->left[i] = misfit(&fit->slice[i], fit->motors, share);
    return gsl_stats_select(fit->left, 1, fit->used, fit->used / 4) > MISFIT_MOST;
}

/*
 * A motor is named with the slices weighted alike: those where a mode lifts the line bend its shape. How much
 * it carries is a matter of energy, as after a knock, where those agree on the motor.
 */
static void name_motor(const struct fit *fit, struct sr_motor_shares *shares)
{
    double alike[SR_MOTORS_MAX] = {0}, energy[SR_MOTORS_MAX] = {0}, *share = alike;

    sum_up(fit, false, alike);
    sum_up(fit, true, energy);
    size_t best = strongest(alike, fit->motors);
    if (strongest(energy, fit->motors) == best)
        share = energy;
    for (size_t m = 0; m < fit->motors; m++)
        shares->share[fit->speeds->motor[m + 1] - 1] = share[m];
    shares->unfit = is_unfit(fit, alike);
    if (alike[best] < SHARE_MAIN || shares->unfit)
        return;
    bool told = agreement(fit, alike) >= DRAWS_AGREE;
    shares->alike = !told;
    shares->motor = told ? fit->speeds->motor[best + 1] : 0;
}

static size_t threads_for(size_t jobs, size_t count)
{
    const size_t threads = jobs < count ? jobs : count;
    return threads > 1 ? threads : 1;
}

/* False: out of memory. */
static bool make_boards(struct fit *fit, const struct sr_shaper *shaper, size_t threads)
{
    fit->board = calloc(threads, sizeof *fit->board);
    for (size_t t = 0; fit->board != NULL && t < threads; t++) {
        fit->board[t].shaper = *shaper;
        fit->board[t].shape = calloc(fit->motors, fit->gram->bins * sizeof *fit->board[t].shape);
        if (fit->board[t].shape == NULL)
            return false;
    }
    return fit->board != NULL;
}

static void release_boards(struct fit *fit, size_t threads)
{
    for (size_t t = 0; fit->board != NULL && t < threads; t++)
        free(fit->board[t].shape);
    free(fit->board);
}

static void keep_used(struct fit *fit, size_t count)
{
    for (size_t i = 0; i < count; i++)
        if (fit->slice[i].level > 0)
            fit->slice[fit->used++] = fit->slice[i];
}

enum sr_status sr_motors_split(struct sr_motor_shares *shares, const struct sr_gram *gram,
                               const struct sr_speeds *speeds, const struct sr_slices *slices,
                               const struct sr_view *view, size_t order, size_t first, size_t last,
                               struct sr_error *err)
{
    struct sr_motor_shares made = {0};
    enum sr_status status = SR_OK;

    /* The only motor logged may not be the only one there is. */
    if (speeds->source != SR_SPEED_MOTORS || speeds->channels < 3 || order == 0) {
        *shares = made;
        return SR_OK;
    }
    struct fit fit = {.gram = gram,
                      .speeds = speeds,
                      .motors = speeds->channels - 1,
                      .order = order,
                      .first = first,
                      .dof = slices->dof};
    const struct sr_shaper shaper = {.gram = gram, .speeds = speeds, .view = view, .window = slices->window};
    const size_t end = last < gram->slices ? last : gram->slices, count = end > first ? end - first : 0;
    const size_t threads = threads_for(gram->jobs, count);

    fit.slice = calloc(count + 1, sizeof *fit.slice);
    fit.left = calloc(count + 1, sizeof *fit.left);
    if (fit.slice == NULL || fit.left == NULL || !make_boards(&fit, &shaper, threads)) {
        status = sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for %zu slices", gram->slices);
        goto done;
    }
    sr_each(add_slice, &fit, count, threads);
    keep_used(&fit, count);
    if (fit.used >= SLICES_LEAST)
        name_motor(&fit, &made);
    *shares = made;

done:
    release_boards(&fit, threads);
    free(fit.left);
    free(fit.slice);
    return status;
}
