/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Many logs: scored side by side, handed on in the order of the command line. */
#ifndef COMMANDS_BATCH_H
#define COMMANDS_BATCH_H

#include "commands/flight.h"

/*
 * A log's turn. flight: NULL if it could not be scored, then *err says why. False: the logs after it are
 * not wanted. Called for one log at a time, though not always in the same thread.
 */
typedef bool batch_fn(void *context, const struct flight *flight, struct sr_error *err);

/*
 * Score the logs, plan->log.jobs at once, and call each() for one after another. What it does
 * does not depend on the number. Where more than one operand is no plain file (a
 * pipe, standard input), they are read one after another, as they may be parts of one stream.
 * False: out of memory before the first.
 */
bool batch_score(char **paths, size_t count, const struct flight_plan *plan, batch_fn *each, void *context);

#endif
