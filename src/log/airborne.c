/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "log/airborne.h"

#include <math.h>
#include <stdlib.h>

#include "log/note.h"

#define IDLE_THROTTLE 0.1 /* [fraction] default */
#define BRIDGE_S      2.0 /* [s] a shorter spell on the ground is a gust of idle within a flight */
#define LEAST_S       1.0 /* [s] a shorter hop is a bump */
#define END_S         1.0 /* [s] at each end of the log that may be quiet */
#define CONTRAST      6.0 /* the air shakes so many times more than the ground, or they cannot be told */
#define USABLE_S      2.0

/* Cells of the slow grid: in the air or not. */
struct cells {
    bool *up;
    size_t count;
};

static bool add_span(struct sr_log *log, double from_s, double to_s)
{
    struct sr_span *spans = realloc(log->airborne, (log->n_airborne + 1) * sizeof *spans);

    if (spans == NULL)
        return false;
    log->airborne = spans;
    spans[log->n_airborne++] = (struct sr_span){.from_s = from_s, .to_s = to_s};
    return true;
}

/* Bridge short spells below, then drop short hops. */
static void tidy(struct cells *cells)
{
    const size_t bridge = (size_t)(BRIDGE_S / SR_SLOW_STEP_S);
    const size_t least = (size_t)(LEAST_S / SR_SLOW_STEP_S);

    for (int pass = 0; pass < 2; pass++) {
        const bool value = pass == 1; /* stretches of this value, if short, are turned over */
        const size_t limit = pass == 0 ? bridge : least;
        size_t start = 0;
        for (size_t i = 1; i <= cells->count; i++) {
            if (i < cells->count && cells->up[i] == cells->up[i - 1])
                continue;
            const bool inside = start > 0 && i < cells->count;
            if (cells->up[start] == value && i - start < limit && (value || inside))
                for (size_t k = start; k < i; k++)
                    cells->up[k] = !value;
            start = i;
        }
    }
}

static bool take_spans(struct sr_log *log, struct cells *cells)
{
    const double end_s = log->quality.duration_s + 1.0 / log->rate_hz;
    size_t start = 0;

    tidy(cells);
    for (size_t i = 1; i <= cells->count; i++) {
        if (i < cells->count && cells->up[i] == cells->up[i - 1])
            continue;
        if (cells->up[start] &&
            !add_span(log, (double)start * SR_SLOW_STEP_S, fmin((double)i * SR_SLOW_STEP_S, end_s)))
            return false;
        start = i;
    }
    return true;
}

/* Cells above a level; a cell without a value is like the one before it. */
static void above(const double *grid, double level, struct cells *cells)
{
    bool up = false;

    for (size_t i = 0; i < cells->count; i++) {
        if (!isnan(grid[i]))
            up = grid[i] > level;
        cells->up[i] = up;
    }
}

static int by_value(const void *a, const void *b)
{
    const double x = *(const double *)a;
    const double y = *(const double *)b;

    return (x > y) - (x < y);
}

/* Quantile of the values that are there; work[n] is overwritten. NAN if none is. */
static double quantile(const double *x, size_t n, double q, double *work)
{
    size_t m = 0;

    for (size_t i = 0; i < n; i++)
        if (!isnan(x[i]))
            work[m++] = x[i];
    if (m == 0)
        return NAN;
    qsort(work, m, sizeof *work, by_value);
    return work[(size_t)(q * (double)(m - 1) + 0.5)];
}

/* Mean speed of the motors that say theirs, of each cell; idle is half of what the upper part of the log runs
 * at. */
static double speed_level(const struct sr_log *log, double *mean, double *work)
{
    for (size_t i = 0; i < log->slow_count; i++) {
        double sum = 0.0;
        size_t n = 0;
        for (size_t m = 0; m < log->n_motors; m++)
            if (!isnan(log->motor_rpm[m][i])) {
                sum += log->motor_rpm[m][i];
                n++;
            }
        mean[i] = n > 0 ? sum / (double)n : NAN;
    }
    return 0.5 * quantile(mean, log->slow_count, 0.9, work);
}

/* RMS of the rates about their means over each cell. */
static void shake(const struct sr_log *log, double *rms)
{
    for (size_t i = 0; i < log->slow_count; i++)
        rms[i] = NAN;
    for (size_t r = 0; r < log->n_runs; r++) {
        const struct sr_run *run = &log->runs[r];
        size_t i = 0;
        while (i < run->count) {
            const size_t cell = (size_t)((run->start_s + (double)i / log->rate_hz) / SR_SLOW_STEP_S);
            double sum[3] = {0}, squares[3] = {0};
            size_t n = 0;
            for (; i < run->count &&
                   (n == 0 || (size_t)((run->start_s + (double)i / log->rate_hz) / SR_SLOW_STEP_S) == cell);
                 i++, n++)
                for (size_t axis = 0; axis < 3; axis++) {
                    const double x = log->gyro_dps[axis][run->first + i];
                    sum[axis] += x;
                    squares[axis] += x * x;
                }
            double variance = 0.0;
            for (size_t axis = 0; axis < 3; axis++)
                variance +=
                    fmax(0.0, squares[axis] / (double)n - (sum[axis] / (double)n) * (sum[axis] / (double)n));
            if (cell < log->slow_count)
                rms[cell] = sqrt(variance);
        }
    }
}

/* The level between ground and air, NAN if the ends of the log are not quieter than the rest. */
static double shake_level(const struct sr_log *log, const double *rms, double *work)
{
    const size_t n = log->slow_count;
    const size_t end = (size_t)(END_S / SR_SLOW_STEP_S);

    if (n < 4 * end)
        return NAN;
    const double start_dps = quantile(rms, end, 0.5, work);
    const double stop_dps = quantile(rms + n - end, end, 0.5, work);
    const double quiet = fmin(start_dps, stop_dps);
    const double loud = quantile(rms, n, 0.75, work);
    return loud > CONTRAST * quiet ? sqrt(quiet * loud) : NAN;
}

/* From the channels or the shaking, whichever tells first. */
static bool find_spans(struct sr_log *log, const struct sr_log_options *options, struct cells *cells,
                       double *value, double *work)
{
    if (log->throttle != NULL) {
        above(log->throttle, options->idle_throttle > 0.0 ? options->idle_throttle : IDLE_THROTTLE, cells);
        log->airborne_how = SR_AIRBORNE_THROTTLE;
        if (!take_spans(log, cells))
            return false;
    }
    if (log->n_airborne == 0 && log->n_motors > 0) {
        above(value, speed_level(log, value, work), cells);
        log->airborne_how = SR_AIRBORNE_SPEED;
        if (!take_spans(log, cells))
            return false;
    }
    if (log->n_airborne == 0) {
        shake(log, value);
        const double level = shake_level(log, value, work);
        log->airborne_how = SR_AIRBORNE_SHAKE;
        if (!isnan(level)) {
            above(value, level, cells);
            if (!take_spans(log, cells))
                return false;
        }
    }
    if (log->n_airborne > 0)
        return true;
    log->airborne_how = SR_AIRBORNE_WHOLE;
    return add_span(log, 0.0, log->quality.duration_s + 1.0 / log->rate_hz) &&
           sr_log_note(log, "nothing tells ground from air: the whole log is taken as flight (--from, --to)");
}

static enum sr_status asked_span(struct sr_log *log, const struct sr_log_options *options,
                                 struct sr_error *err)
{
    const double end_s = log->quality.duration_s + 1.0 / log->rate_hz;
    const double from_s = isnan(options->from_s) ? 0.0 : fmax(options->from_s, 0.0);
    const double to_s = isnan(options->to_s) ? end_s : fmin(options->to_s, end_s);

    if (from_s >= to_s)
        return sr_fail(err, SR_ERR_SHORT, log->name, 0,
                       "the log is only %.4g s long, and nothing of it is left after --from %.10g s", end_s,
                       from_s);
    log->airborne_how = SR_AIRBORNE_ASKED;
    return add_span(log, from_s, to_s) ? SR_OK : sr_fail(err, SR_ERR_MEMORY, log->name, 0, "out of memory");
}

/* Seconds of samples within the airborne spans. */
static double usable(const struct sr_log *log)
{
    double sum = 0.0;

    for (size_t s = 0; s < log->n_airborne; s++)
        for (size_t r = 0; r < log->n_runs; r++) {
            const struct sr_run *run = &log->runs[r];
            const double from = fmax(log->airborne[s].from_s, run->start_s);
            const double to = fmin(log->airborne[s].to_s, run->start_s + (double)run->count / log->rate_hz);
            sum += fmax(0.0, to - from);
        }
    return sum;
}

enum sr_status sr_airborne_find(struct sr_log *log, const struct sr_log_options *options,
                                struct sr_error *err)
{
    if (!isnan(options->from_s) || !isnan(options->to_s))
        return asked_span(log, options, err);

    const size_t n = log->slow_count;
    struct cells cells = {.up = calloc(n, sizeof *cells.up), .count = n};
    double *value = calloc(n, sizeof *value);
    double *work = calloc(n, sizeof *work);
    const bool ok =
        cells.up != NULL && value != NULL && work != NULL && find_spans(log, options, &cells, value, work);

    free(cells.up);
    free(value);
    free(work);
    if (!ok)
        return sr_fail(err, SR_ERR_MEMORY, log->name, 0, "out of memory");
    if (usable(log) < USABLE_S)
        return sr_fail(
            err, SR_ERR_SHORT, log->name, 0,
            "only %.3g s of it are airborne, at least %.3g s are needed (--from and --to override)",
            usable(log), USABLE_S);
    return SR_OK;
}
