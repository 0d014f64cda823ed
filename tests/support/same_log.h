/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Two logs that were read from the same text in different ways: alike to the last bit. */
#ifndef SUPPORT_SAME_LOG_H
#define SUPPORT_SAME_LOG_H

#include <cmocka.h>

#include "stillrow/log.h"

static inline void same_doubles(const double *a, const double *b, size_t n)
{
    assert_true((a == NULL) == (b == NULL));
    if (a != NULL && n > 0)
        assert_memory_equal(a, b, n * sizeof *a);
}

static inline void same_logs(const struct sr_log *a, const struct sr_log *b)
{
    assert_true(a->count == b->count && a->n_runs == b->n_runs && a->slow_count == b->slow_count);
    assert_true(a->n_motors == b->n_motors && a->n_airborne == b->n_airborne && a->n_notes == b->n_notes);
    assert_memory_equal(&a->rate_hz, &b->rate_hz, sizeof a->rate_hz);
    assert_true(a->fingerprint == b->fingerprint);
    for (size_t axis = 0; axis < 3; axis++)
        same_doubles(a->gyro_dps[axis], b->gyro_dps[axis], a->count);
    same_doubles(a->throttle, b->throttle, a->slow_count);
    for (size_t m = 0; m < a->n_motors; m++)
        same_doubles(a->motor_rpm[m], b->motor_rpm[m], a->slow_count);
    for (size_t i = 0; i < a->n_notes; i++)
        assert_string_equal(a->notes[i], b->notes[i]);
    assert_true(a->quality.rows == b->quality.rows && a->quality.bad_rows == b->quality.bad_rows);
    assert_true(a->quality.first_bad_line == b->quality.first_bad_line);
    assert_true(a->columns.decimal_comma == b->columns.decimal_comma);
}

#endif
