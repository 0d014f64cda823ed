/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Many logs: scored side by side, handed on in the order of the command line. */
#ifndef COMMANDS_BATCH_H
#define COMMANDS_BATCH_H

#include "commands/flight.h"

/*
 * What a verb does with a flight. first: none was handed on before. What fails is said by the caller, with
 * the log's name where *err has none. Called for one flight at a time, though not always in the same thread.
 */
typedef enum sr_status batch_fn(void *context, const struct flight *flight, bool first, struct sr_error *err);

/*
 * Score the logs, plan->log.jobs at once, and call each() for one after another. What it does
 * does not depend on the number. Where more than one operand is no plain file (a
 * pipe, standard input), they are read one after another, as they may be parts of one stream.
 * What fails is said, and the logs after it are still done, unless the command line is wrong
 * (EXIT_USAGE), there is no gnuplot, or stdout takes no more. failed: how many, or NULL.
 */
int batch_run(char **paths, size_t count, const struct flight_plan *plan, batch_fn *each, void *context,
              size_t *failed);

#endif
