/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Runs of rows, and the slots of a steady clock that their rows stand in: a slot
 * without a row is a row that is missing.
 */
#ifndef SR_LOG_SLOTS_H
#define SR_LOG_SLOTS_H

#include "log/store.h"

/* Add a run; *room is the array's size so far, 0 at first. False: out of memory. */
bool sr_runs_add(struct sr_log *log, size_t *room, size_t first, size_t count, double start_s);

/*
 * Find the rows missing within a run and note them in store->skipped, if it was made.
 * step_s: of the clock, to a percent or so; unit_s: of the stamps, where it is coarse
 * (rows then never share a slot), else 0.
 */
void sr_slots_walk(struct sr_store *store, const struct sr_run *run, double step_s, double unit_s);

/* Slots from row i - 1 to row i. */
static inline size_t sr_slots_to(const struct sr_store *store, size_t i)
{
    return store->skipped != NULL ? 1U + store->skipped[i] : 1U;
}

/* Rows that are missing within a run. */
size_t sr_slots_missing(const struct sr_store *store, const struct sr_run *run);

/* Least-squares slope of the stamps over their slots, each run with its own offset; 0: no two rows in any. */
double sr_slots_fit(const struct sr_log *log, const struct sr_store *store);

#endif
