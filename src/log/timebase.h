/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * From row times to a uniform time base of gapless runs.
 *
 * The step is the mean over the steps from one row to the next. Up to three missing
 * rows in a row are interpolated, a longer hole is a gap. A time column too coarse for
 * its rate (many equal stamps, or steps of few stamp units that a uniform clock
 * explains) is rebuilt from row counts. Runs whose rows are not evenly spaced are
 * resampled.
 */
#ifndef SR_LOG_TIMEBASE_H
#define SR_LOG_TIMEBASE_H

#include "log/store.h"
#include "stillrow/log.h"

#define SR_RATE_LOW_HZ  1.0 /* [Hz] outside these a sample rate is a mistake, or a column is no time */
#define SR_RATE_HIGH_HZ 1e6

/*
 * Rates that gyro logs have, by which a time's unit is guessed, and a wrong one: from what a slow recorder
 * writes (common practice, no source) to what the fastest small gyros sample at (data sheets, from memory).
 * Under a factor of 1000, so that one unit fits at most.
 */
#define SR_GYRO_LOW_HZ  50.0
#define SR_GYRO_HIGH_HZ 32e3

/*
 * Cut the store's rows into runs; fill in log->rate_hz, runs and the time figures
 * of log->quality. Rows that turn out to repeat a stamp leave the store, and missing
 * rows are noted in it: a run's count is that of its rows until it is resampled.
 * Errors: SR_ERR_TIME, SR_ERR_SHORT, SR_ERR_MEMORY.
 */
enum sr_status sr_timebase_make(struct sr_log *log, struct sr_store *store, struct sr_error *err);

/* Which runs are not evenly spaced: for one reason a part, which can be looked at side by side. */
#define SR_EVENNESS_PARTS 2
struct sr_evenness {
    double unit_s;                   /* [s] of the stamps, as far as they show one */
    bool *uneven[SR_EVENNESS_PARTS]; /* [runs] */
};

/* To be released in any case. False: out of memory. */
bool sr_evenness_init(struct sr_evenness *evenness, const struct sr_log *log, const struct sr_store *store);
void sr_evenness_look(struct sr_evenness *evenness, const struct sr_log *log, const struct sr_store *store,
                      size_t part);
void sr_evenness_release(struct sr_evenness *evenness);

/*
 * Put the runs that need it on the uniform base, once all parts were looked at, and move the store's
 * rates, in deg/s by now, into log->gyro_dps. Errors: SR_ERR_MEMORY.
 */
enum sr_status sr_timebase_resample(struct sr_log *log, struct sr_store *store,
                                    const struct sr_evenness *evenness, struct sr_error *err);

/*
 * Say how many rows are interpolated, and up to which frequency that is harmless
 * (quality.bridged_hz). Before the runs are resampled. False: out of memory.
 */
bool sr_bridge_note(struct sr_log *log, const struct sr_store *store);

#endif
