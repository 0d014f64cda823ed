/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The camera: geometry, how it is tilted, when its rows are read, and what a
 * rotation at a given frequency does to its picture.
 *
 * Body axes are FRD: x forward, y right, z down, with rates p, q, r. Picture
 * axes of a camera tilted up by alpha: roll about the optical axis, pitch (the
 * picture moves up and down), yaw (it moves sideways).
 *
 * Wobble is the picture's departure, within one frame, from the best
 * constant-rate motion over that frame's readout: a steady pan only shifts and
 * leans the picture. Smear is motion within one row's exposure.
 */
#ifndef STILLROW_CAMERA_H
#define STILLROW_CAMERA_H

#include <stdbool.h>
#include <stddef.h>

#include "stillrow/status.h"

#ifdef __cplusplus
extern "C" {
#endif

enum sr_lens { SR_LENS_RECTILINEAR = 0, SR_LENS_EQUIDISTANT };
enum sr_axes { SR_AXES_FRD = 0, SR_AXES_FLU };
enum sr_picture_axis { SR_ROLL = 0, SR_PITCH, SR_YAW };

struct sr_camera {
    double width_px;   /* [px] 16..100000 */
    double height_px;  /* [px] 16..100000; rows are read along the height */
    double fps;        /* [Hz] frames a second, 1..10000 */
    double readout_s;  /* [s] first row to last row, > 0, at most 1 / fps */
    double exposure_s; /* [s] of one row, >= 0, at most 1 / fps */
    double hfov_deg;   /* [deg] across the width; rectilinear 1..170, equidistant 1..360 */
    enum sr_lens lens;
    double tilt_deg; /* [deg] camera up, -90..90 */
};

/* The assumed camera: 1920x1080, 60 fps, readout 16 ms, exposure 1 ms, 95 deg rectilinear, tilt 20 deg. */
void sr_camera_init(struct sr_camera *camera);

/* Check every range above. Errors: SR_ERR_ARGUMENT, the text names the key and its range. */
enum sr_status sr_camera_check(const struct sr_camera *camera, struct sr_error *err);

/* "rectilinear", "equidistant"; "frd", "flu". Found by name: false, and nothing set, for any other. */
const char *sr_lens_name(enum sr_lens lens);
bool sr_lens_find(const char *name, enum sr_lens *lens);
const char *sr_axes_name(enum sr_axes axes);
bool sr_axes_find(const char *name, enum sr_axes *axes);

/* Focal length [px]: (W/2)/tan(hfov/2), or W/hfov(rad) for an equidistant lens. */
double sr_camera_focal_px(const struct sr_camera *camera);

/*
 * Body rates [deg/s] to picture rates [deg/s], sample by sample; out may not alias
 * the input. roll = p cos a - r sin a, pitch = q, yaw = p sin a + r cos a, after
 * FLU rates were flipped (q and r) to FRD.
 */
void sr_camera_rates(const struct sr_camera *camera, enum sr_axes axes, const double *const body_dps[3],
                     size_t count, double *const picture_dps[3]);

/*
 * Share of an orientation sinusoid's power that no constant-rate motion over the
 * readout explains. c: waves per picture, f T >= 0. Rows alike (G1) and rows
 * weighted by their distance from the middle (G2). Plane-wave expansion, DLMF
 * 10.60.7; series below pi c = 0.6. 0 at c = 0, at most 1.
 */
double sr_shutter_g1(double waves);
double sr_shutter_g2(double waves);

/*
 * Wobble gain [px^2 per (deg/s)^2] at hz [Hz] for one picture axis; 0 at 0 Hz.
 * Smear gain the same, of motion within a row's exposure.
 */
double sr_camera_wobble_gain(const struct sr_camera *camera, enum sr_picture_axis axis, double hz);
double sr_camera_smear_gain(const struct sr_camera *camera, enum sr_picture_axis axis, double hz);

/* Bands by waves per picture c = f T. Lean is not wobble: the whole picture sways. */
enum sr_band { SR_BAND_LEAN = 0, SR_BAND_BEND, SR_BAND_WAVE, SR_BAND_RIPPLE, SR_BAND_GRAIN, SR_BAND_COUNT };
const char *sr_band_name(enum sr_band band);  /* "lean" "bend" "wave" "ripple" "grain" */
double sr_band_low_waves(enum sr_band band);  /* 0, 0.25, 1, 4, 16 */
double sr_band_high_waves(enum sr_band band); /* 0.25, 1, 4, 16, INFINITY */
enum sr_band sr_band_at(const struct sr_camera *camera, double hz);
double sr_band_low_hz(const struct sr_camera *camera, enum sr_band band);  /* [Hz] */
double sr_band_high_hz(const struct sr_camera *camera, enum sr_band band); /* [Hz], INFINITY for grain */

/* Drift of a line's bands in the footage [Hz]: |f - F round(f/F)|. */
double sr_camera_crawl_hz(const struct sr_camera *camera, double hz);

/* Threshold where none is set [px RMS]: W/1920, one minute of arc at 3.2 picture heights (docs/method.md). */
double sr_camera_default_threshold_px(const struct sr_camera *camera);

/*
 * Allowance [deg/s RMS] at hz: the single line on `axis` that alone reaches
 * threshold_px. INFINITY where the camera does not respond (0 Hz, exposure nulls).
 */
double sr_camera_allowance_dps(const struct sr_camera *camera, enum sr_picture_axis axis, double hz,
                               double threshold_px);
/* The least allowance over the three axes: what is drawn on a spectrum plot. */
double sr_camera_least_allowance_dps(const struct sr_camera *camera, double hz, double threshold_px);

/*
 * Readout time from a flicker test: `bands` dark-and-light pairs counted over the
 * picture height under a lamp that flickers at flicker_hz: T = bands / flicker_hz [s].
 * *low_s, *high_s: the ends for a count that is off by count_error bands and a mains
 * frequency off by 1 % (EN 50160). Errors: SR_ERR_ARGUMENT.
 */
enum sr_status sr_flicker_readout(double bands, double count_error, double flicker_hz, double *readout_s,
                                  double *low_s, double *high_s, struct sr_error *err);

#ifdef __cplusplus
}
#endif
#endif
