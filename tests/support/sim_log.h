/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A simulated flight as the log a reader would make of it, without a file between. */
#ifndef SUPPORT_SIM_LOG_H
#define SUPPORT_SIM_LOG_H

#include <stdbool.h>

#include "sim/flight.h"
#include "stillrow/log.h"

/* What the log carries besides the rates. */
struct sim_log_columns {
    bool throttle;
    bool motor_rpm;
    double pole_pairs; /* motor speeds are logged as electrical: times this; 0 or 1: as they are */
    int left_out;      /* 1-based motor whose speed is not logged, 0: none */
};

/*
 * One run, one airborne span, slow channels averaged over the cells of the slow grid as a reader does.
 * columns: NULL for throttle and motor speeds. Release with sr_log_release(). 0, or -1 if memory ran out.
 */
int sim_log_make(struct sr_log *log, const struct sim_samples *samples,
                 const struct sim_log_columns *columns);

/* Fly and log in one step. */
int sim_log_fly(struct sr_log *log, const struct sim_flight *flight, const struct sim_log_columns *columns);

#endif
