/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Which unit are rates in that do not say so?
 *
 * Nothing in a log proves it, so evidence is weighed, in nats (natural logarithm of the
 * odds) for deg/s against rad/s: how strong the motion and the vibration of the flight
 * are as numbers, the step between values, and the habit that goes with the name. Levels
 * are those of the flight's middle, not peaks: a knock of a moment moves nothing.
 */
#ifndef SR_LOG_GUESS_H
#define SR_LOG_GUESS_H

#include <stdbool.h>

#include "log/store.h"
#include "stillrow/log.h"

#define SR_GUESS_CLEAR 3.0 /* [nat] odds of 20 to 1; with less the unit is not told */

struct sr_guess {
    double odds; /* [nat] above 0 for deg/s, below for rad/s */
    double peak; /* most distance from the mean, any axis, as written */
    bool whole;  /* all values are whole numbers */
};

/*
 * Weigh what the rates of the store, as written, and the name of their first column
 * say. Errors: SR_ERR_MEMORY.
 */
enum sr_status sr_guess_rate_unit(struct sr_guess *guess, const struct sr_store *store,
                                  const struct sr_log *log, struct sr_error *err);

#endif
