/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Whether two logs are the same to the bit, whatever way they were read. */
#ifndef SUPPORT_SAME_LOG_H
#define SUPPORT_SAME_LOG_H

#include <stdbool.h>
#include <stddef.h>
#include <string.h>

#include "stillrow/log.h"

static inline bool same_doubles(const double *a, const double *b, size_t n)
{
    return (a == NULL) == (b == NULL) && (a == NULL || n == 0 || memcmp(a, b, n * sizeof *a) == 0);
}

static inline bool same_use(const struct sr_column_use *a, const struct sr_column_use *b)
{
    return a->index == b->index && a->assumed_unit == b->assumed_unit && strcmp(a->name, b->name) == 0 &&
           strcmp(a->unit, b->unit) == 0;
}

static inline bool same_columns(const struct sr_columns *a, const struct sr_columns *b)
{
    bool same = a->n_columns == b->n_columns && a->header_line == b->header_line &&
                a->delimiter == b->delimiter && a->decimal_comma == b->decimal_comma &&
                a->n_motors == b->n_motors && a->throttle_from_outputs == b->throttle_from_outputs &&
                a->n_outputs == b->n_outputs && same_use(&a->time, &b->time) &&
                same_use(&a->throttle, &b->throttle);

    for (size_t i = 0; i < 3; i++)
        same = same && same_use(&a->rate[i], &b->rate[i]) && same_use(&a->accel[i], &b->accel[i]);
    for (size_t i = 0; i < SR_MOTORS_MAX; i++)
        same = same && same_use(&a->motor[i], &b->motor[i]);
    return same;
}

static inline bool same_quality(const struct sr_quality *a, const struct sr_quality *b)
{
    return a->rows == b->rows && a->bad_rows == b->bad_rows && a->backward_rows == b->backward_rows &&
           a->lost_rows == b->lost_rows && a->first_bad_line == b->first_bad_line && a->gaps == b->gaps &&
           a->clipped == b->clipped && a->coarse_stamps == b->coarse_stamps && a->resampled == b->resampled &&
           same_doubles(&a->rate_hz, &b->rate_hz, 1) && same_doubles(&a->duration_s, &b->duration_s, 1) &&
           same_doubles(&a->jitter_us, &b->jitter_us, 1) && same_doubles(&a->clip_dps, &b->clip_dps, 1) &&
           same_doubles(&a->nyquist_hz, &b->nyquist_hz, 1) &&
           same_doubles(&a->low_pass_hz, &b->low_pass_hz, 1);
}

static inline bool same_spans(const struct sr_log *a, const struct sr_log *b)
{
    bool same =
        a->n_runs == b->n_runs && a->n_airborne == b->n_airborne && a->airborne_how == b->airborne_how;

    for (size_t i = 0; same && i < a->n_runs; i++)
        same = a->runs[i].first == b->runs[i].first && a->runs[i].count == b->runs[i].count &&
               same_doubles(&a->runs[i].start_s, &b->runs[i].start_s, 1);
    for (size_t i = 0; same && i < a->n_airborne; i++)
        same = same_doubles(&a->airborne[i].from_s, &b->airborne[i].from_s, 1) &&
               same_doubles(&a->airborne[i].to_s, &b->airborne[i].to_s, 1);
    return same;
}

static inline bool same_slow(const struct sr_log *a, const struct sr_log *b)
{
    bool same = a->slow_count == b->slow_count && a->n_motors == b->n_motors &&
                same_doubles(a->throttle, b->throttle, a->slow_count);

    for (size_t m = 0; same && m < a->n_motors; m++)
        same = same_doubles(a->motor_rpm[m], b->motor_rpm[m], a->slow_count);
    return same;
}

static inline bool same_notes(const struct sr_log *a, const struct sr_log *b)
{
    bool same = a->n_notes == b->n_notes;

    for (size_t i = 0; same && i < a->n_notes; i++)
        same = strcmp(a->notes[i], b->notes[i]) == 0;
    return same;
}

/* What differs between two logs: a word for a message, or NULL: nothing. */
static inline const char *log_difference(const struct sr_log *a, const struct sr_log *b)
{
    if (a->count != b->count || !same_doubles(&a->rate_hz, &b->rate_hz, 1))
        return "samples' number or rate";
    for (size_t axis = 0; axis < 3; axis++)
        if (!same_doubles(a->gyro_dps[axis], b->gyro_dps[axis], a->count))
            return "rates";
    return !same_spans(a, b)                         ? "spans"
           : !same_slow(a, b)                        ? "slow channels"
           : !same_notes(a, b)                       ? "notes"
           : !same_columns(&a->columns, &b->columns) ? "columns"
           : !same_quality(&a->quality, &b->quality) ? "quality"
           : a->fingerprint != b->fingerprint        ? "fingerprint"
                                                     : NULL;
}

#endif
