/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Flights made of slices directly, without a log: for tests of what is done with slices. Wobble over the
 * seconds is lognormal, neighbours correlated, on top of a flight's own level and an effect of throttle;
 * densities scatter as Welch estimates of 5.8 degrees of freedom do.
 */
#ifndef SUPPORT_FAKE_FLIGHTS_H
#define SUPPORT_FAKE_FLIGHTS_H

#include <stdbool.h>
#include <stdint.h>

#include "stillrow/wobble.h"

struct fake_flight {
    size_t seconds;
    double level_db;                    /* on 1 px */
    double scatter_db;                  /* standard deviation of the level over seconds */
    double correlation;                 /* of neighbouring seconds, 0..0.9 */
    double throttle_low, throttle_high; /* wanders between these */
    double throttle_db;                 /* dB of wobble per 0.1 of throttle */
    double line_hz;                     /* a line at this frequency, 0: none */
    double line_db;                     /* its level on the broadband level of the flight */
    double line_from;                   /* throttle from which on it is there */
    bool unscored;                      /* leave the score empty: quicker where only slices matter */
};

struct fake {
    struct sr_slices slices;
    struct sr_view view;
    struct sr_score score;
};

/* 0, or -1 if memory ran out. The camera is the assumed one, bins are 4 Hz wide up to 400 Hz. */
int fake_fly(struct fake *fake, const struct fake_flight *flight, uint64_t *seed);
void fake_release(struct fake *fake);

#endif
