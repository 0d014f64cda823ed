/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <gsl/gsl_statistics_double.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "log/airborne.h"
#include "log/note.h"

#define PULSE_LOW   880.0 /* [us] no shorter a pulse drives a motor controller (common practice, no source) */
#define PULSE_HIGH  2300.0 /* [us] nor a longer one */
#define SLOWEST_RPM 300.0  /* what turns slower in flight is no motor, or is written in another unit */

/* How a throttle is written: fraction = (value - zero) / span. */
struct scale {
    const char *unit;
    double zero, span;
};

/* By its unit if written, else by the range it was seen in. */
static struct scale throttle_scale(const char *unit, double low, double high)
{
    static const struct {
        double low, high; /* of what is seen */
        struct scale scale;
    } ranges[] = {
        {-0.05, 1.05, {"fraction", 0.0, 1.0}},     {-1.05, 1.05, {"-1..1", -1.0, 2.0}},
        {-5.0, 110.0, {"%", 0.0, 100.0}},          {PULSE_LOW, PULSE_HIGH, {"1000..2000", 1000.0, 1000.0}},
        {-10.0, 1050.0, {"0..1000", 0.0, 1000.0}}, {-10.0, 2050.0, {"0..2047", 0.0, 2047.0}},
        {-10.0, 4100.0, {"0..4095", 0.0, 4095.0}}, {-10.0, 65540.0, {"0..65535", 0.0, 65535.0}},
    };

    if (strcmp(unit, "%") == 0)
        return ranges[2].scale;
    for (size_t i = 0; i < sizeof ranges / sizeof ranges[0]; i++)
        if (low >= ranges[i].low && high <= ranges[i].high)
            return ranges[i].scale;
    return (struct scale){"seen range", low, high > low ? high - low : 1.0};
}

/*
 * The least pulse where there is none before the motors are armed: 0, then 1000 and
 * more, and nothing between but the one cell on the way. Elsewhere the least seen.
 */
static double least_pulse(const struct sr_slow *slow)
{
    double least = INFINITY;
    size_t changes = 0, between = 0;
    bool was_on = false;

    for (size_t i = 0, seen = 0; i < slow->cells; i++) {
        const double mean = sr_slow_mean(slow, 0, i);
        const bool on = mean >= PULSE_LOW;
        if (isnan(mean))
            continue;
        between += !on && mean > 0.0;
        if (!on && mean > 0.0)
            continue;
        changes += seen++ > 0 && on != was_on;
        was_on = on;
        least = on ? fmin(least, mean) : least;
    }
    return slow->low[0] == 0.0 && changes > 0 && between <= changes ? least : slow->low[0];
}

static double *new_grid(size_t cells)
{
    return cells > SIZE_MAX / sizeof(double) ? NULL : malloc((cells > 0 ? cells : 1) * sizeof(double));
}

static bool make_throttle(struct sr_log *log, const struct sr_slow *slow)
{
    struct sr_column_use *use = &log->columns.throttle;
    const struct scale scale = throttle_scale(use->unit, least_pulse(slow), slow->high[0]);
    const bool written = strcmp(use->unit, "%") == 0;

    log->throttle = new_grid(log->slow_count);
    if (log->throttle == NULL)
        return false;
    for (size_t i = 0; i < log->slow_count; i++) {
        const double mean = sr_slow_mean(slow, 0, i);
        log->throttle[i] = isnan(mean) ? mean : fmin(fmax((mean - scale.zero) / scale.span, 0.0), 1.0);
    }
    use->assumed_unit = !written;
    snprintf(use->unit, sizeof use->unit, "%s", scale.unit);
    return written || sr_log_note(log, "the throttle %s runs from %.4g to %.4g: read as %s",
                                  sr_column_words(use).text, slow->low[0], slow->high[0], scale.unit);
}

static bool make_motors(struct sr_log *log, const struct sr_slow *slow, const struct sr_log_options *options)
{
    struct sr_columns *columns = &log->columns;
    const bool electrical = columns->electrical_rpm;
    const bool hertz = strcmp(columns->motor[0].unit, "hz") == 0;
    double scale = options->speed_scale > 0.0 ? options->speed_scale : 1.0;

    if (electrical && options->pole_pairs > 0.0)
        scale /= options->pole_pairs;
    if (hertz)
        scale *= 60.0;
    for (size_t m = 0; m < columns->n_motors; m++) {
        double *grid = log->motor_rpm[m] = new_grid(log->slow_count);
        if (grid == NULL)
            return false;
        for (size_t i = 0; i < log->slow_count; i++)
            grid[i] = sr_slow_mean(slow, m + 1, i) * scale;
        columns->motor[m].assumed_unit = columns->motor[m].unit[0] == '\0';
        if (columns->motor[m].assumed_unit)
            snprintf(columns->motor[m].unit, sizeof columns->motor[m].unit, "rpm");
    }
    log->n_motors = columns->n_motors;
    if (columns->motor[0].assumed_unit &&
        !sr_log_note(log, "no unit is written for the motor speed %s: taken as rpm",
                     sr_column_words(&columns->motor[0]).text))
        return false;
    columns->electrical_rpm = electrical && options->pole_pairs > 0.0;
    if (columns->electrical_rpm)
        return sr_log_note(log, "motor speeds %s… are electrical: divided by %g pole pairs",
                           sr_column_words(&columns->motor[0]).text, options->pole_pairs);
    if (electrical)
        return sr_log_note(log,
                           "motor speeds %s… are electrical and the pole pairs are not known: orders count "
                           "electrical turns (set pole_pairs in the rig)",
                           sr_column_words(&columns->motor[0]).text);
    return true;
}

/* In the air: the median of a motor's speed, NAN if none was logged. False: out of memory. */
static bool flight_rpm(const struct sr_log *log, size_t motor, double *rpm)
{
    double *work = new_grid(log->slow_count);
    const double *grid = log->motor_rpm[motor];
    size_t n = 0;

    *rpm = NAN;
    if (work == NULL)
        return false;
    for (size_t s = 0; s < log->n_airborne; s++) {
        const double to = log->airborne[s].to_s / SR_SLOW_STEP_S;
        size_t i = (size_t)ceil(log->airborne[s].from_s / SR_SLOW_STEP_S);
        for (; i < log->slow_count && (double)i < to; i++)
            if (!isnan(grid[i]) && n < log->slow_count)
                work[n++] = grid[i];
    }
    if (n > 0)
        *rpm = gsl_stats_select(work, 1, n, n / 2);
    free(work);
    return true;
}

static bool note_slow_motors(struct sr_log *log, const struct sr_column_use *first, size_t slow, double rpm)
{
    return sr_log_note(log,
                       "the speed %s%s would be %.3g rpm in flight, too slow for a motor, and is not "
                       "used: see whether the rig's speed_scale%s right",
                       sr_column_words(first).text, slow > 1 ? "…" : "", rpm,
                       log->columns.electrical_rpm ? " and pole_pairs are" : " is");
}

enum sr_status sr_channels_check(struct sr_log *log, struct sr_error *err)
{
    const struct sr_column_use *first = NULL;
    double slowest = INFINITY;
    size_t slow = 0;
    bool ok = true;

    for (size_t m = 0; ok && m < log->n_motors; m++) {
        double rpm;
        ok = flight_rpm(log, m, &rpm);
        if (!ok || !(rpm <= SLOWEST_RPM))
            continue;
        first = slow++ == 0 ? &log->columns.motor[m] : first;
        slowest = fmin(slowest, rpm);
    }
    if (ok && slow > 0)
        ok = note_slow_motors(log, first, slow, slowest);
    return ok ? SR_OK : sr_fail(err, SR_ERR_MEMORY, log->name, 0, "out of memory");
}

/* A channel that never held a number is as good as not logged. */
static bool is_seen(const struct sr_slow *slow, size_t channel)
{
    return channel < slow->channels && slow->high[channel] >= slow->low[channel];
}

enum sr_status sr_channels_make(struct sr_log *log, const struct sr_slow *slow,
                                const struct sr_log_options *options, struct sr_error *err)
{
    bool ok = true, motors = false;

    log->slow_count = (size_t)(log->quality.duration_s / SR_SLOW_STEP_S) + 1;
    if (is_seen(slow, 0))
        ok = make_throttle(log, slow);
    else if (log->columns.throttle.index >= 0)
        ok = sr_log_note(log, "the throttle %s holds no numbers",
                         sr_column_words(&log->columns.throttle).text);
    for (size_t m = 0; m < log->columns.n_motors; m++)
        motors = motors || is_seen(slow, m + 1);
    if (ok && motors)
        ok = make_motors(log, slow, options);
    return ok ? SR_OK : sr_fail(err, SR_ERR_MEMORY, log->name, 0, "out of memory");
}
