/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Two logs of one flight on one clock and in one set of axes. */
#ifndef MOUNT_ALIGN_H
#define MOUNT_ALIGN_H

#include "mount/private.h"

/* How the camera's log lies against the frame's. */
struct alignment {
    double lag_s;      /* what is at t in the frame's log is at t + lag + drift (t - at) in the camera's */
    double drift;      /* seconds a second */
    double at_s;       /* [s] */
    double turn[3][3]; /* frame axes = turn * camera axes */
    double match;      /* correlation of the slow turning, -1..1 */
};

/* Errors: SR_ERR_DATA (not one flight), SR_ERR_SHORT, SR_ERR_MEMORY. */
enum sr_status align_logs(struct alignment *alignment, const struct sr_log *frame,
                          const struct sr_log *camera, struct sr_error *err);

/* Both logs at the same instants; where either has no sample, or is not flying, `both` is false. */
struct aligned {
    size_t count;
    double rate_hz;
    double *frame[3], *camera[3]; /* [count] deg/s, frame's axes */
    bool *both;                   /* [count] */
};

enum sr_status align_resample(struct aligned *aligned, const struct alignment *alignment,
                              const struct sr_log *frame, const struct sr_log *camera, struct sr_error *err);
void aligned_release(struct aligned *aligned);

/* Correct the drift from what the two hold once aligned; then they are to be resampled again. */
enum sr_status align_refine(struct alignment *alignment, const struct aligned *al, struct sr_error *err);

/* Add all that both hold to a cross-spectrum, axis by axis. */
void align_add(struct sr_cross *cross, const struct aligned *al);

/* The power of 2 nearest to a segment of length_s [samples]. */
size_t align_segment(double length_s, double rate_hz);

#endif
