/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * From row times to a uniform time base of gapless runs.
 *
 * The step is the mean over steps that are no gaps (over 1.5 median steps). A time
 * column too coarse for its rate (many equal stamps, or steps of few stamp units)
 * is rebuilt from row counts. Runs whose rows are not evenly spaced are resampled.
 */
#ifndef SR_LOG_TIMEBASE_H
#define SR_LOG_TIMEBASE_H

#include "log/store.h"
#include "stillrow/log.h"

/*
 * Cut the store's rows into runs; fill in log->rate_hz, runs and the time figures
 * of log->quality. Rows that turn out to repeat a stamp leave the store.
 * Errors: SR_ERR_TIME, SR_ERR_SHORT, SR_ERR_MEMORY.
 */
enum sr_status sr_timebase_make(struct sr_log *log, struct sr_store *store, struct sr_error *err);

/*
 * Put the runs that need it on the uniform base, and move the store's rates, in
 * deg/s by now, into log->gyro_dps. Errors: SR_ERR_MEMORY.
 */
enum sr_status sr_timebase_resample(struct sr_log *log, struct sr_store *store, struct sr_error *err);

#endif
