/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What the steps of a time column say about its clock.
 *
 * Stamps that skip (rows are missing) and stamps that are rounded (the clock's unit
 * is too coarse for the rate) can look alike: 0, 1, 3, 4, 6 ms is a gyro at 1 kHz
 * whose every third row is lost, and one at 667 Hz with whole milliseconds. Three
 * things tell them apart, in this order: as many bad rows as the stamps skip; the
 * rates, which run smoothly over the one time base and not over the other; and the
 * regularity that rounding has and chance has not.
 */
#ifndef SR_LOG_STEPS_H
#define SR_LOG_STEPS_H

#include "log/store.h"

#define SR_EQUAL_SHARE 0.02 /* of rows whose stamp repeats while the rates move: a coarse clock */
#define SR_BRIDGE_ROWS 3    /* missing rows in a row that are interpolated; more are a gap */
#define SR_HOLE_STEPS  (SR_BRIDGE_ROWS + 1.5) /* a longer step, in steps, is a gap */

/* What a sample of the steps says; steps of 0 are left out. */
struct sr_steps {
    double base_s;      /* from one row to the next where none is missing */
    double quantum_s;   /* stamps are multiples of it, 0: no such unit seen */
    double uneven;      /* share of steps up to two bases that differ from the base */
    double odd_share;   /* share of steps that are no multiple of the base */
    double short_share; /* share of steps under half a base */
    double gap_share;   /* share of steps over one base and a half */
    double long_s;      /* a step that only 2 % are longer than */
};

/* False: out of memory. The store has two rows at least. */
bool sr_steps_sample(const struct sr_store *store, struct sr_steps *steps);

/*
 * Are the times too coarse, or written too late, to be gone by, so that rows are
 * to be counted? moving: rows with the stamp but not the rates of the row before.
 */
bool sr_steps_are_coarse(const struct sr_store *store, const struct sr_steps *steps, size_t moving);

/*
 * The rates' word on it: 1, they run smoothly if rows are evenly spaced; -1, if they
 * stand where their stamps say; 0, they do not tell.
 */
int sr_steps_ask_rates(const struct sr_store *store, double base_s);

/* Would a uniform clock, rounded to the stamps' unit, have written these stamps? */
bool sr_steps_uniform(const struct sr_store *store, const struct sr_steps *steps);

#endif
