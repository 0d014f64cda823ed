/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "log/guess.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "log/names.h"

#define BLOCK_S     0.05 /* [s] of a level; slower motion than its length is taken for a slope */
#define BLOCK_LEAST 8    /* [samples] */
#define REACHED_S   2.0  /* [s] a level that is reached for so long in all is flight, not a knock */
#define CONTRAST    6.0  /* flight over ground, as numbers, from which the two are told apart */
#define GROUND_PART 20   /* a twentieth of the blocks are as quiet as the ground, if there is any */
#define QUIET_LEAST 1e-3 /* of what is reached: a log of zeros is not so quiet */
#define LEVEL_LEAST 1e-6 /* as written; less is no motion */

/*
 * What a flight is like in deg/s, RMS of an axis: mostly within a factor of e or so of
 * these (common practice, no source). In rad/s the same flight is 57 times smaller.
 */
#define MOTION_DPS    20.0
#define VIBRATION_DPS 6.0
#define SPREAD        1.2 /* standard deviation of the natural logarithm of both */

/* Steps between values. A gyro of 16 bit has a count of 0.0038 deg/s (range 125) to 0.12 (4000); in rad/s
 * these are 0.00007 to 0.0021. */
#define STEP_DPS      0.0035
#define STEP_RADIANS  0.0025
#define STEP_LEAST    2e-5
#define STEP_MOST     1e3
#define STEP_COARSE   0.05  /* one decimal, of steps that are decimals */
#define STEP_ROUNDED  0.005 /* two decimals */
#define STEP_SAME     1e-12 /* less is no change */
#define DECIMAL_MISS  1e-4  /* of the logarithm, that a power of ten may be off */
#define WHOLE_MISS    0.1   /* steps that a whole number of them may be off */
#define WHOLE_SHARE   0.95  /* of changes, from which all are taken for whole steps */
#define WHOLE_LEAST   100   /* changes that must be asked */
#define STEPS_APART   20.5  /* changes of up to so many steps are asked whether they are whole steps */
#define STEPS_SURE    6.0   /* [nat] */
#define STEPS_WHOLE   12.0
#define STEPS_ROUNDED 3.0 /* 0.01 is a coarse way to write rad/s, and a usual one to write deg/s */
#define STEPS_FINE    1.5 /* a gyro of 20 bit has as fine a count in deg/s */

#define PEAK_RADIANS 75.0 /* [rad/s] the widest gyros of 16 bit end at 4000 deg/s, 70 rad/s */

#define NAME_GYRO  1.0 /* [nat] */
#define NAME_OMEGA 3.0
#define NAME_PQR   2.0

/* ---- levels --------------------------------------------------------------- */

static int by_value(const void *a, const void *b)
{
    const double x = *(const double *)a;
    const double y = *(const double *)b;

    return (x > y) - (x < y);
}

/* Mean square of x[n] about `mean`, added to *motion, and about its own straight line, to *vibration. */
static void add_block(const double *x, size_t n, double mean, double *motion, double *vibration)
{
    const double middle = 0.5 * (double)(n - 1);
    double sum = 0.0, slope = 0.0, squares = 0.0;

    for (size_t i = 0; i < n; i++) {
        const double off = x[i] - mean;
        sum += off;
        slope += off * ((double)i - middle);
        squares += off * off;
    }
    const double of_mean = sum * sum / (double)n;
    const double lever = (double)n * ((double)n * (double)n - 1.0) / 12.0;
    *motion += squares / (double)n;
    *vibration += fmax(0.0, squares - of_mean - slope * slope / lever) / (double)n;
}

/* The level of the flight among those of blocks, which are sorted: the middle of what is no ground. */
static double flight_level(double *level, size_t n, double blocks_a_second)
{
    const size_t reached = (size_t)(REACHED_S * blocks_a_second);
    size_t first = 0;

    qsort(level, n, sizeof *level, by_value);
    const double top = level[n > reached ? n - 1 - reached : 0];
    const double quiet = fmax(level[n / GROUND_PART], QUIET_LEAST * top);
    if (top > CONTRAST * quiet)
        while (first < n && level[first] < sqrt(top * quiet))
            first++;
    return level[first + (n - first) / 2];
}

/* Natural logarithm of the odds that a level is that of a flight in deg/s. */
static double weigh_level(double level, double usual_dps)
{
    const double even = usual_dps / sqrt(SR_DEG_PER_RAD);

    return log(SR_DEG_PER_RAD) * log(level / even) / (SPREAD * SPREAD);
}

/* Mean of what motion and vibration say: a flip is strong in one only. */
static enum sr_status weigh_levels(const struct sr_store *store, const struct sr_log *log,
                                   const double mean[3], double *odds, struct sr_error *err)
{
    const double wanted = fmin(BLOCK_S * log->quality.rate_hz, (double)store->count);
    const size_t length = wanted > BLOCK_LEAST ? (size_t)wanted : BLOCK_LEAST;
    const size_t n = store->count / length;
    double *level = n > 0 ? calloc(2 * n, sizeof *level) : NULL;

    if (level == NULL)
        return n > 0 ? sr_fail(err, SR_ERR_MEMORY, log->name, 0, "out of memory") : SR_OK;
    for (size_t k = 0; k < n; k++)
        for (size_t axis = 0; axis < 3; axis++)
            add_block(store->rate[axis] + k * length, length, mean[axis], &level[k], &level[n + k]);
    for (size_t k = 0; k < 2 * n; k++)
        level[k] = sqrt(level[k] / 3.0);
    const double each_s = log->quality.rate_hz / (double)length;
    const double motion = flight_level(level, n, each_s);
    const double vibration = flight_level(level + n, n, each_s);
    free(level);
    *odds = weigh_level(fmax(motion, LEVEL_LEAST), MOTION_DPS);
    if (vibration > LEVEL_LEAST)
        *odds = 0.5 * (*odds + weigh_level(vibration, VIBRATION_DPS));
    return SR_OK;
}

/* ---- the step between values ---------------------------------------------- */

/* A power of ten, as rounding to decimals makes them. */
static bool is_decimal(double step)
{
    const double power = log10(step);

    return fabs(power - round(power)) < DECIMAL_MISS;
}

/* Whether small changes are whole steps: chance makes a fifth of them so. */
static bool is_grid(const struct sr_store *store, double step)
{
    size_t whole = 0, asked = 0;

    for (size_t axis = 0; axis < 3; axis++)
        for (size_t i = 1; i < store->count; i++) {
            const double steps = fabs(store->rate[axis][i] - store->rate[axis][i - 1]) / step;
            if (steps < 0.5 || steps > STEPS_APART)
                continue;
            asked++;
            whole += fabs(steps - round(steps)) < WHOLE_MISS;
        }
    return asked >= WHOLE_LEAST && (double)whole > WHOLE_SHARE * (double)asked;
}

static double weigh_step(const struct sr_store *store, double step, bool whole)
{
    if (whole)
        return STEPS_WHOLE;
    if (!(step >= STEP_LEAST && step < STEP_MOST) || !is_grid(store, step))
        return 0.0;
    if (is_decimal(step))
        return step > STEP_COARSE ? STEPS_SURE : step > STEP_ROUNDED ? STEPS_ROUNDED : 0.0;
    return step >= STEP_DPS ? STEPS_SURE : step < STEP_RADIANS ? -STEPS_FINE : 0.0;
}

/* ---- all of it ------------------------------------------------------------ */

static bool has_word(const struct sr_name *name, const char *prefix)
{
    for (size_t i = 0; i < name->n_words; i++)
        if (strncmp(name->words[i], prefix, strlen(prefix)) == 0)
            return true;
    return false;
}

/* SI goes with the formula's letters and words, degrees with the sensor's. */
static double weigh_name(const char *text)
{
    struct sr_name name;

    sr_name_read(text, strlen(text), &name);
    if (has_word(&name, "omega") || has_word(&name, "ang") ||
        (name.n_words > 0 && name.words[0][0] == 'w' && name.words[0][1] == '\0'))
        return -NAME_OMEGA;
    if (has_word(&name, "gyr"))
        return NAME_GYRO;
    return name.style == SR_AXIS_PQR ? -NAME_PQR : 0.0;
}

enum sr_status sr_guess_rate_unit(struct sr_guess *guess, const struct sr_store *store,
                                  const struct sr_log *log, struct sr_error *err)
{
    double mean[3] = {0.0}, step = INFINITY;

    *guess = (struct sr_guess){.whole = true};
    for (size_t axis = 0; axis < 3; axis++) {
        const double *x = store->rate[axis];
        for (size_t i = 0; i < store->count; i++)
            mean[axis] += x[i] / (double)store->count;
        for (size_t i = 0; i < store->count; i++) {
            const double change = i > 0 ? fabs(x[i] - x[i - 1]) : 0.0;
            guess->peak = fmax(guess->peak, fabs(x[i] - mean[axis]));
            guess->whole = guess->whole && x[i] == floor(x[i]);
            if (change > STEP_SAME && change < step)
                step = change;
        }
    }
    const enum sr_status status = weigh_levels(store, log, mean, &guess->odds, err);
    guess->odds += weigh_step(store, step, guess->whole) + weigh_name(log->columns.rate[0].name);
    if (guess->peak > PEAK_RADIANS)
        guess->odds = fmax(guess->odds, 0.0); /* a moment of flight in a log of the ground, or a bad row */
    return status;
}
