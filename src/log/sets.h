/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * From the names of a header row to the columns that play a part: which three are
 * the rates, which is the time, which belong to the motors.
 */
#ifndef SR_LOG_SETS_H
#define SR_LOG_SETS_H

#include <stdbool.h>
#include <stddef.h>

#include "log/names.h"
#include "stillrow/log.h"

/* 0-based columns, -1 where there is none. */
struct sr_choice {
    int time;
    int rate[3];
    int throttle;
    int motor[SR_MOTORS_MAX];
    size_t n_motors;
    bool electrical;
    int output[SR_MOTORS_MAX];
    size_t n_outputs;
    int accel[3];
    int marker;       /* of the rates: 2 raw or unfiltered, 1 not marked, 0 filtered */
    int other_rate;   /* first column of a set that was passed over, -1: none */
    size_t rate_sets; /* complete sets of three rates */
    int other_time;   /* a time column that was passed over, -1: none */
};

/* Choose among name[count]. */
void sr_choose(const struct sr_name *name, size_t count, struct sr_choice *choice);

/* The best time column other than those of which passed[] is true; -1: none. */
int sr_choose_time(const struct sr_name *name, size_t count, const bool *passed);

#endif
