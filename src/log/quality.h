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

/* One end of one axis. */
struct sr_end {
    const double *x;
    double extreme; /* [deg/s] */
    bool stop;      /* all samples on it were stopped there */
    bool flat;      /* flat tops there are */
    size_t least;   /* samples of a flat top */
};

/* What is to be seen in the samples as they were recorded, in parts that can be looked at side by side. */
struct sr_sight {
    struct sr_end end[6]; /* two of each axis */
    size_t changes;       /* rows that differ from the row before, and the first */
    bool failed[4];       /* [parts] out of memory */
};
#define SR_SIGHT_PARTS 4

/* Look at a part; rates in deg/s, before resampling. */
void sr_quality_look(struct sr_sight *sight, const struct sr_store *store, size_t part);

/* Count the samples on a flat top at the sensor's limit, once all parts were looked at. Errors:
 * SR_ERR_MEMORY. */
enum sr_status sr_quality_clipping(struct sr_log *log, const struct sr_store *store,
                                   const struct sr_sight *sight, struct sr_error *err);

/* See whether the finished samples look low-pass filtered. Errors: SR_ERR_MEMORY. */
enum sr_status sr_quality_low_pass(struct sr_log *log, struct sr_error *err);

/* Fingerprint of the kept samples: their times, to the nearest ns, and rates [deg/s]. */
void sr_log_fingerprint(struct sr_log *log, const struct sr_store *store);

#endif
