/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "log/slots.h"

#include <math.h>
#include <stdlib.h>

#define GAIN      0.0625 /* share of a stamp's error that the clock is set by: jitter averages out */
#define DEBT_ROWS 2      /* a row that came early is made up for so soon, or it was not early */

bool sr_runs_add(struct sr_log *log, size_t *room, size_t first, size_t count, double start_s)
{
    if (log->n_runs == *room) {
        const size_t more = *room == 0 ? 16 : *room * 2;
        struct sr_run *runs = realloc(log->runs, more * sizeof *runs);
        if (runs == NULL)
            return false;
        log->runs = runs;
        *room = more;
    }
    log->runs[log->n_runs++] = (struct sr_run){.first = first, .count = count, .start_s = start_s};
    return true;
}

/* Two rows in one slot: one of the rows just before, or soon after, only looked as if rows were missing. */
static bool take_back(unsigned char *skipped, size_t i)
{
    for (size_t back = 1; back <= DEBT_ROWS && back <= i; back++)
        if (skipped[i - back] > 0) {
            skipped[i - back]--;
            return true;
        }
    return false;
}

void sr_slots_walk(struct sr_store *store, const struct sr_run *run, double step_s, double unit_s)
{
    const double *t = store->time_s + run->first;
    const double margin = fmin(0.25, 0.5 * unit_s / step_s); /* a rounded stamp may be so late */
    double clock_s = t[0];                                   /* where the row before should stand */
    size_t owed = 0;                                         /* rows left that may make up for an early one */

    if (store->skipped == NULL)
        return;
    unsigned char *skipped = store->skipped + run->first;
    for (size_t i = 1; i < run->count; i++) {
        const double passed = (t[i] - clock_s) / step_s;
        const double slots = fmax(unit_s > 0.0 ? 1.0 : 0.0, floor(passed + 0.5 - margin));
        skipped[i] = slots > 1.0 ? (unsigned char)fmin(slots - 1.0, 255.0) : 0;
        owed -= owed > 0;
        if (slots < 1.0 && !take_back(skipped, i))
            owed = DEBT_ROWS + 1;
        else if (slots > 1.0 && owed > 0) {
            skipped[i]--;
            owed = 0;
        }
        clock_s += step_s * (slots + fmax(GAIN, 1.0 / (double)(i + 1)) * (passed - slots));
    }
}

size_t sr_slots_missing(const struct sr_store *store, const struct sr_run *run)
{
    size_t missing = 0;

    for (size_t i = 1; i < run->count && store->skipped != NULL; i++)
        missing += store->skipped[run->first + i];
    return missing;
}

double sr_slots_fit(const struct sr_log *log, const struct sr_store *store)
{
    double over = 0.0;
    double under = 0.0;

    for (size_t r = 0; r < log->n_runs; r++) {
        const struct sr_run *run = &log->runs[r];
        double slot = 0.0;
        double middle = 0.0;
        for (size_t i = 1; i < run->count; i++) {
            slot += (double)sr_slots_to(store, run->first + i);
            middle += slot;
        }
        middle /= (double)run->count;
        slot = 0.0;
        for (size_t i = 0; i < run->count; i++) {
            slot += i > 0 ? (double)sr_slots_to(store, run->first + i) : 0.0;
            over += (slot - middle) * (store->time_s[run->first + i] - store->time_s[run->first]);
            under += (slot - middle) * (slot - middle);
        }
    }
    return under > 0.0 ? over / under : 0.0;
}
