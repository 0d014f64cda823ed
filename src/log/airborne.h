/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The slow channels in their final units, and the spans that are flight.
 */
#ifndef SR_LOG_AIRBORNE_H
#define SR_LOG_AIRBORNE_H

#include "log/store.h"
#include "stillrow/log.h"

/* Throttle to a fraction, motor speeds to rpm, onto log's slow grid. Errors: SR_ERR_MEMORY. */
enum sr_status sr_channels_make(struct sr_log *log, const struct sr_slow *slow,
                                const struct sr_log_options *options, struct sr_error *err);

/*
 * Say which motor speeds are too slow in the air to be any: what looks for causes leaves
 * them out. Errors: SR_ERR_MEMORY.
 */
enum sr_status sr_channels_check(struct sr_log *log, struct sr_error *err);

/* Find the airborne spans. Errors: SR_ERR_SHORT, SR_ERR_MEMORY. */
enum sr_status sr_airborne_find(struct sr_log *log, const struct sr_log_options *options,
                                struct sr_error *err);

#endif
