/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What the samples themselves tell about the recording: units, clipping, filters.
 */
#ifndef SR_LOG_QUALITY_H
#define SR_LOG_QUALITY_H

#include "log/store.h"
#include "stillrow/log.h"

/*
 * Settle the unit of the rates (asked: "deg/s", "rad/s" or NULL) and bring the
 * store's rates to deg/s. Errors: SR_ERR_MEMORY.
 */
enum sr_status sr_rates_scale(struct sr_log *log, struct sr_store *store, const char *asked,
                              struct sr_error *err);

/* Count the samples on a flat top at the sensor's limit; rates in deg/s, before resampling. */
enum sr_status sr_quality_clipping(struct sr_log *log, const struct sr_store *store, struct sr_error *err);

/* See whether the finished samples look low-pass filtered. Errors: SR_ERR_MEMORY. */
enum sr_status sr_quality_low_pass(struct sr_log *log, struct sr_error *err);

/* Fingerprint of the kept samples: their times, to the nearest ns, and rates [deg/s]. */
void sr_log_fingerprint(struct sr_log *log, const struct sr_store *store);

#endif
