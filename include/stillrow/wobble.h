/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * One flight seen through a camera: slices, the view, the score.
 *
 * The pivot is `struct sr_slices`: the airborne flight cut into 1 s slices, each
 * with its rate spectrum about the three picture axes. A `struct sr_view` holds
 * what a camera makes of a rate at each bin. Score, causes, comparison, mount and
 * exposure what-ifs all are "slices through a view"; the log is read once.
 */
#ifndef STILLROW_WOBBLE_H
#define STILLROW_WOBBLE_H

#include <stdbool.h>
#include <stddef.h>

#include "stillrow/camera.h"
#include "stillrow/log.h"
#include "stillrow/rig.h"
#include "stillrow/spectrum.h"
#include "stillrow/status.h"

#ifdef __cplusplus
extern "C" {
#endif

#define SR_SLICE_S        1.0 /* [s] from slice to slice; two segments, which may be two samples more */
#define SR_SEGMENT_S      0.5 /* [s] length of a Welch segment */
#define SR_PEAKS_MAX      24
#define SR_WORST_MAX      5
#define SR_PEAK_SHARE_MIN 0.03 /* share of the wobble energy that makes a line a peak of the score */
#define SR_SCORE_QUANTILE 0.95 /* of the slices' wobble: what is scored */
#define SR_SCORE_LEVEL    0.95 /* of its interval */
#define SR_SCORE_DRAWS    2000 /* resamples that the interval is worked out from */
#define SR_EVIDENCE_MAX   200
#define SR_SLICE_STEPS    10 /* steps within a slice at which the slow channels are kept */

struct sr_slice {
    double from_s; /* [s] from the log's first sample */
    double to_s;
    double throttle;                 /* [fraction] mean, NAN if not logged */
    double motor_rpm[SR_MOTORS_MAX]; /* [rpm] mean, NAN if not logged */
    /* The same within the slice, means over SR_SLICE_S / SR_SLICE_STEPS: how far a moving line is smeared. */
    double throttle_step[SR_SLICE_STEPS];
    double motor_step_rpm[SR_MOTORS_MAX][SR_SLICE_STEPS];
};

struct sr_slices {
    size_t count;
    size_t bins;    /* of each density */
    double bin_hz;  /* [Hz] */
    double rate_hz; /* [Hz] of the gyro: that of the rows, or less where it repeats its values */
    double sees_hz; /* [Hz] up to where the log can vouch: sr_log_sees_hz() */
    size_t segment; /* samples a Welch segment */
    enum sr_window window;
    double enbw_bins;
    double dof; /* degrees of freedom of one slice's density */
    size_t n_motors;
    bool has_throttle;
    size_t jobs;            /* threads that what is made of them may use, the log's; 0 and 1: one */
    double airborne_s;      /* [s] that the slices cover */
    struct sr_slice *slice; /* [count] */
    double *psd; /* [count][3][bins] (deg/s)^2/Hz; picture axes in the order of enum sr_picture_axis */
};

/* Density [(deg/s)^2/Hz] of slice i, 0..count - 1, about `axis`: bins values. */
const double *sr_slices_psd(const struct sr_slices *slices, size_t i, enum sr_picture_axis axis);

/*
 * Cut a log into slices SR_SLICE_S apart, to the nearest sample, with log->jobs threads. Errors: SR_ERR_SHORT
 * (under two whole slices airborne), SR_ERR_RATE (Nyquist below the camera's first wobble band),
 * SR_ERR_MEMORY.
 */
enum sr_status sr_slices_make(struct sr_slices *slices, const struct sr_log *log, const struct sr_rig *rig,
                              enum sr_window window, struct sr_error *err);
void sr_slices_release(struct sr_slices *slices);

/*
 * Mean density [(deg/s)^2/Hz] over slices [first, last) about an axis into psd[bins]: those with keep[i], or
 * all if keep is NULL. Zero where there are none.
 */
void sr_slices_mean(const struct sr_slices *slices, enum sr_picture_axis axis, size_t first, size_t last,
                    const bool *keep, double *psd);

/* What a camera makes of a rate: px^2 per (deg/s)^2 at each bin and axis. */
struct sr_view {
    size_t bins;
    double bin_hz;
    size_t first_bin; /* first bin that counts as wobble (c >= 0.25) */
    struct sr_camera camera;
    double *wobble[3]; /* [bins] gain; 0 below first_bin */
    double *smear[3];  /* [bins] gain over the same bins */
};

/*
 * Work the gains out for the slices' bins. The camera is copied; the view does not keep the slices. Release
 * with sr_view_release(). Errors: SR_ERR_ARGUMENT (as sr_camera_check()), SR_ERR_MEMORY.
 */
enum sr_status sr_view_init(struct sr_view *view, const struct sr_slices *slices,
                            const struct sr_camera *camera, struct sr_error *err);
/* Multiply every gain by power[bins] (the |H|^2 of a mount, a notch…). */
void sr_view_scale(struct sr_view *view, const double *power);
void sr_view_release(struct sr_view *view);

/* Wobble energy [px^2] of slice i over bins [low, high) and one axis. */
double sr_view_energy(const struct sr_view *view, const struct sr_slices *slices, size_t i,
                      enum sr_picture_axis axis, size_t low, size_t high);
/* Wobble [px RMS] of each slice, all axes and wobble bins, into px[slices->count]. */
void sr_view_wobble(const struct sr_view *view, const struct sr_slices *slices, double *px);
/* Smear [px RMS] over all slices, all axes and wobble bins; slices->count >= 1. */
double sr_view_smear(const struct sr_view *view, const struct sr_slices *slices);

enum sr_verdict { SR_STEADY = 0, SR_MARGINAL, SR_WOBBLY, SR_UNPROVEN };
const char *sr_verdict_name(enum sr_verdict verdict); /* "steady" "marginal" "wobbly" "unproven" */

enum sr_cause { SR_CAUSE_UNDECIDED = 0, SR_CAUSE_ORDER, SR_CAUSE_FIXED, SR_CAUSE_FOLDED, SR_CAUSE_BROADBAND };
const char *sr_cause_name(enum sr_cause cause); /* "undecided" "order" "fixed" "folded" "broadband" */

struct sr_interval {
    double value, low, high;
};

struct sr_band_score {
    enum sr_band band;
    double low_hz, high_hz; /* [Hz]; high_hz is cut at Nyquist */
    bool seen;              /* the log's Nyquist reaches into this band */
    double wobble_px;       /* [px RMS] over the flight */
    double share;           /* of the wobble energy, 0..1 */
};

struct sr_peak {
    double hz;       /* [Hz] as it stands in the log; of an order at the mean speed of its motor, or of all */
    double rate_dps; /* [deg/s RMS] over the three axes, flight mean */
    double wobble_px;          /* [px RMS] */
    double share;              /* of the wobble energy */
    double waves;              /* per picture */
    double crawl_hz;           /* [Hz] */
    enum sr_picture_axis axis; /* where most of its wobble is */
    size_t low_bin, high_bin;  /* bins counted to it, both inclusive */
    enum sr_cause cause;
    double order;   /* of motor speed; 0: not an order */
    int motor;      /* 1-based, 0: not one motor alone */
    double true_hz; /* [Hz] of a folded line, at the same speed; else hz */
    char evidence[SR_EVIDENCE_MAX];
};

struct sr_moment {
    double from_s, to_s; /* [s] from the log's first sample */
    double wobble_px;    /* [px RMS] over the moment */
    double hz;           /* [Hz] its strongest line, 0: none stands out */
    enum sr_cause cause; /* of that line */
};

struct sr_score {
    enum sr_verdict verdict;
    struct sr_interval wobble_px; /* [px RMS] SR_SCORE_QUANTILE over slices, bootstrap interval */
    double median_px, rms_px;     /* [px RMS] */
    double threshold_px;          /* [px RMS] */
    double headroom_db;           /* 20 log10(threshold / wobble) */
    double steady_share;          /* of the airborne time below threshold */
    double smear_px;              /* [px RMS] over the flight */
    double axis_px[3];            /* [px RMS] roll, pitch, yaw over the flight */
    double airborne_s;            /* [s] as in the slices */
    double sees_hz;               /* [Hz] as in the slices: `unproven` is about what lies above */
    size_t slices;
    struct sr_band_score bands[SR_BAND_COUNT - 1]; /* bend, wave, ripple, grain */
    struct sr_peak peaks[SR_PEAKS_MAX];
    size_t n_peaks;
    double rest_share; /* share of the wobble energy outside the peaks */
    struct sr_moment worst[SR_WORST_MAX];
    size_t n_worst;
    double *slice_px; /* [slices] */
};

/*
 * Score a flight. threshold_px > 0 [px RMS].
 * Errors: SR_ERR_ARGUMENT, SR_ERR_MEMORY. Release with sr_score_release().
 */
enum sr_status sr_score_make(struct sr_score *score, const struct sr_slices *slices,
                             const struct sr_view *view, double threshold_px, struct sr_error *err);
void sr_score_release(struct sr_score *score);

/*
 * Quantile q (0..1) of x[n], n >= 1, linear between order statistics (Hyndman and
 * Fan 1996, type 7). Errors: SR_ERR_ARGUMENT, SR_ERR_MEMORY.
 */
enum sr_status sr_quantile(const double *x, size_t n, double q, double *value, struct sr_error *err);

/*
 * Moving-block bootstrap of the quantile q of x[n] (Kuensch 1989): block length
 * about n^(1/3), fixed seed, `draws` resamples; level e.g. 0.95. For n == 1 the
 * interval is the value itself. Errors: SR_ERR_ARGUMENT, SR_ERR_MEMORY.
 */
enum sr_status sr_bootstrap_quantile(const double *x, size_t n, double q, double level, size_t draws,
                                     struct sr_interval *interval, struct sr_error *err);

#ifdef __cplusplus
}
#endif
#endif
