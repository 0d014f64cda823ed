/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Wobble of one flight's slices behind a mount that was not flown, and how sure that is. */
#ifndef MOUNT_PREDICT_H
#define MOUNT_PREDICT_H

#include "mount/private.h"

/* What a prediction depends on that is only known within a range. */
enum doubt { DOUBT_OWN = 0, DOUBT_HARDNESS, DOUBT_TEMPERATURE, DOUBT_DAMPING, DOUBT_COUNT };

#define DOUBT_STEPS 6                               /* cases tried for each, over its range */
#define CASES       (1 + DOUBT_COUNT * DOUBT_STEPS) /* the likeliest, then one doubt at a time */

struct predictor {
    const struct sr_slices *slices;
    const struct sr_mount_own *own;
    enum sr_gyro_side gyro_side;
    size_t first_bin, bins;
    double *density; /* [slices][bins] wobble density [px^2/Hz] before any mount, axes added */
    double *smear;   /* [bins] mean smear density [px^2/Hz] */
    double *rate;    /* [bins] mean rate density [(deg/s)^2/Hz], axes added */
    double *base;    /* [bins] factor before any mount: a controller's own mount undone, else 1 */
    double *power;   /* [bins] factor of the case at hand */
    double *old;     /* [bins] |H|^2 of the own mount */
    double *px;      /* [slices] of the case at hand */
};

enum sr_status predictor_init(struct predictor *p, const struct sr_slices *slices,
                              const struct sr_mount_own *own, const struct sr_rig *rig, struct sr_error *err);
void predictor_release(struct predictor *p);

/* 95th percentile [px RMS] of the likeliest case; p->power and p->px hold it afterwards. */
enum sr_status predict_value(struct predictor *p, const struct sr_mount_other *other, double *px,
                             struct sr_error *err);

/* Every case into cases[CASES], their range and the flight's own interval joined into *px. */
enum sr_status predict(struct predictor *p, const struct sr_mount_other *other, double *cases,
                       struct sr_interval *px, struct sr_error *err);

/* Smear [px RMS] of the case at hand. */
double predicted_smear(const struct predictor *p);

/* Share of the wobble energy of the case at hand that the mount's change raised out of the log's noise floor.
 */
double predicted_noise_share(const struct predictor *p);

#endif
