/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stillrow/camera.h"

#include <math.h>
#include <string.h>

#include <gsl/gsl_math.h>

#include "camera/limits.h"

static const char *const lens_names[] = {"rectilinear", "equidistant"};
static const char *const axes_names[] = {"frd", "flu"};
static const char *const band_names[SR_BAND_COUNT] = {"lean", "bend", "wave", "ripple", "grain"};
static const double band_edges[SR_BAND_COUNT + 1] = {0, 0.25, 1, 4, 16, INFINITY};

void sr_camera_init(struct sr_camera *camera)
{
    *camera = (struct sr_camera){
        .width_px = ASSUMED_WIDTH_PX,
        .height_px = ASSUMED_HEIGHT_PX,
        .fps = ASSUMED_FPS,
        .readout_s = ASSUMED_READOUT_S,
        .exposure_s = ASSUMED_EXPOSURE_S,
        .hfov_deg = ASSUMED_HFOV_DEG,
        .lens = SR_LENS_RECTILINEAR,
        .tilt_deg = ASSUMED_TILT_DEG,
    };
}

/* Written so that a NAN is outside every range. */
static bool inside(double value, double low, double high)
{
    return value >= low && value <= high;
}

static enum sr_status check_frame(const struct sr_camera *camera, struct sr_error *err)
{
    const double frame_ms = 1e3 / camera->fps;
    const double readout_ms = camera->readout_s * 1e3;
    const double exposure_ms = camera->exposure_s * 1e3;
    if (!(readout_ms > 0))
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "readout_ms %g is not above 0", readout_ms);
    if (!(readout_ms <= frame_ms * FRAME_SLACK))
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0,
                       "readout_ms %g is longer than a frame, %.6g ms at %g fps", readout_ms, frame_ms,
                       camera->fps);
    if (!(exposure_ms >= 0))
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "exposure_ms %g is below 0", exposure_ms);
    if (!(exposure_ms <= frame_ms * FRAME_SLACK))
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0,
                       "exposure_ms %g is longer than a frame, %.6g ms at %g fps", exposure_ms, frame_ms,
                       camera->fps);
    return SR_OK;
}

static enum sr_status check_view(const struct sr_camera *camera, struct sr_error *err)
{
    if (camera->lens != SR_LENS_RECTILINEAR && camera->lens != SR_LENS_EQUIDISTANT)
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "lens is neither rectilinear nor equidistant");
    const bool flat = camera->lens == SR_LENS_RECTILINEAR;
    const double high_deg = flat ? HFOV_RECTILINEAR_HIGH_DEG : HFOV_HIGH_DEG;
    if (!inside(camera->hfov_deg, HFOV_LOW_DEG, high_deg))
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "hfov_deg %g is outside %g..%g of a lens that is %s%s",
                       camera->hfov_deg, HFOV_LOW_DEG, high_deg, sr_lens_name(camera->lens),
                       flat && camera->hfov_deg > high_deg ? "; for a wider view set lens = equidistant"
                                                           : "");
    if (!inside(camera->tilt_deg, -TILT_HIGH_DEG, TILT_HIGH_DEG))
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "tilt_deg %g is outside %g..%g", camera->tilt_deg,
                       -TILT_HIGH_DEG, TILT_HIGH_DEG);
    return SR_OK;
}

enum sr_status sr_camera_check(const struct sr_camera *camera, struct sr_error *err)
{
    if (!inside(camera->width_px, SIZE_LOW_PX, SIZE_HIGH_PX) ||
        !inside(camera->height_px, SIZE_LOW_PX, SIZE_HIGH_PX))
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "size %gx%g is outside %g..%g px a side",
                       camera->width_px, camera->height_px, SIZE_LOW_PX, SIZE_HIGH_PX);
    if (!inside(camera->fps, FPS_LOW, FPS_HIGH))
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "fps %g is outside %g..%g", camera->fps, FPS_LOW,
                       FPS_HIGH);
    const enum sr_status status = check_frame(camera, err);
    return status != SR_OK ? status : check_view(camera, err);
}

static bool find_name(const char *const *names, size_t count, const char *name, size_t *index)
{
    for (size_t i = 0; name != NULL && i < count; i++) {
        if (strcmp(names[i], name) == 0) {
            *index = i;
            return true;
        }
    }
    return false;
}

const char *sr_lens_name(enum sr_lens lens)
{
    return lens == SR_LENS_EQUIDISTANT ? lens_names[1] : lens_names[0];
}

bool sr_lens_find(const char *name, enum sr_lens *lens)
{
    size_t index;
    if (!find_name(lens_names, 2, name, &index))
        return false;
    *lens = (enum sr_lens)index;
    return true;
}

const char *sr_axes_name(enum sr_axes axes)
{
    return axes == SR_AXES_FLU ? axes_names[1] : axes_names[0];
}

bool sr_axes_find(const char *name, enum sr_axes *axes)
{
    size_t index;
    if (!find_name(axes_names, 2, name, &index))
        return false;
    *axes = (enum sr_axes)index;
    return true;
}

double sr_camera_focal_px(const struct sr_camera *camera)
{
    const double hfov_rad = camera->hfov_deg * (M_PI / 180);
    if (camera->lens == SR_LENS_EQUIDISTANT)
        return camera->width_px / hfov_rad;
    return camera->width_px / 2 / tan(hfov_rad / 2);
}

void sr_camera_rates(const struct sr_camera *camera, enum sr_axes axes, const double *const body_dps[3],
                     size_t count, double *const picture_dps[3])
{
    const double tilt_rad = camera->tilt_deg * (M_PI / 180);
    const double c = cos(tilt_rad);
    const double s = sin(tilt_rad);
    const double flip = axes == SR_AXES_FLU ? -1 : 1;
    for (size_t i = 0; i < count; i++) {
        const double p = body_dps[0][i];
        const double q = flip * body_dps[1][i];
        const double r = flip * body_dps[2][i];
        picture_dps[SR_ROLL][i] = p * c - r * s;
        picture_dps[SR_PITCH][i] = q;
        picture_dps[SR_YAW][i] = p * s + r * c;
    }
}

/* sinc^2(u); the integer part of u is taken off first, so that a null is 0 and not rounding noise. */
static double sinc2(double u)
{
    const double z = M_PI * u;
    if (fabs(z) < 1e-8)
        return 1;
    const double ratio = sin(M_PI * remainder(u, 1)) / z;
    return ratio * ratio;
}

/* 1 - sinc^2(u), by its Taylor series where the difference would lose digits. */
static double sinc2_loss(double u)
{
    const double z2 = M_PI * M_PI * u * u;
    if (z2 > 0.09)
        return 1 - sinc2(u);
    return z2 * (1.0 / 3 + z2 * (-2.0 / 45 + z2 * (1.0 / 315 + z2 * (-2.0 / 14175 + z2 * 2.0 / 467775))));
}

/* (deg to rad / (2 pi f))^2: rate power in (deg/s)^2 to orientation power in rad^2. */
static double rate_to_angle(double hz)
{
    const double factor = 1 / (360 * hz);
    return factor * factor;
}

double sr_camera_wobble_gain(const struct sr_camera *camera, enum sr_picture_axis axis, double hz)
{
    if (!(hz > 0))
        return 0;
    const double waves = hz * camera->readout_s;
    const double seen = sinc2(hz * camera->exposure_s) * rate_to_angle(hz);
    if (axis != SR_ROLL) {
        const double focal_px = sr_camera_focal_px(camera);
        return focal_px * focal_px * sr_shutter_g1(waves) * seen;
    }
    const double across = camera->width_px * camera->width_px / 12;
    const double along = camera->height_px * camera->height_px / 12;
    return (across * sr_shutter_g1(waves) + along * sr_shutter_g2(waves)) * seen;
}

double sr_camera_smear_gain(const struct sr_camera *camera, enum sr_picture_axis axis, double hz)
{
    const double focal_px = sr_camera_focal_px(camera);
    const double lever2 =
        axis != SR_ROLL ? focal_px * focal_px
                        : (camera->width_px * camera->width_px + camera->height_px * camera->height_px) / 12;
    /* Towards 0 Hz the loss is (pi f Te)^2 / 3: a steady turn smears too. */
    const double exposure_deg = camera->exposure_s * (M_PI / 180);
    if (!(hz > 0))
        return lever2 * exposure_deg * exposure_deg / 12;
    return lever2 * sinc2_loss(hz * camera->exposure_s) * rate_to_angle(hz);
}

const char *sr_band_name(enum sr_band band)
{
    return (unsigned)band < SR_BAND_COUNT ? band_names[band] : "";
}

double sr_band_low_waves(enum sr_band band)
{
    return (unsigned)band < SR_BAND_COUNT ? band_edges[band] : NAN;
}

double sr_band_high_waves(enum sr_band band)
{
    return (unsigned)band < SR_BAND_COUNT ? band_edges[band + 1] : NAN;
}

enum sr_band sr_band_at(const struct sr_camera *camera, double hz)
{
    /* Compared in hertz, so that a band's own sr_band_low_hz() always lies in it. */
    int band = SR_BAND_GRAIN;
    while (band > SR_BAND_LEAN && !(hz >= sr_band_low_hz(camera, (enum sr_band)band)))
        band--;
    return (enum sr_band)band;
}

double sr_band_low_hz(const struct sr_camera *camera, enum sr_band band)
{
    return sr_band_low_waves(band) / camera->readout_s;
}

double sr_band_high_hz(const struct sr_camera *camera, enum sr_band band)
{
    return sr_band_high_waves(band) / camera->readout_s;
}

double sr_camera_crawl_hz(const struct sr_camera *camera, double hz)
{
    return fabs(remainder(hz, camera->fps));
}

double sr_camera_default_threshold_px(const struct sr_camera *camera)
{
    return camera->width_px / 1920;
}

double sr_camera_allowance_dps(const struct sr_camera *camera, enum sr_picture_axis axis, double hz,
                               double threshold_px)
{
    const double gain = sr_camera_wobble_gain(camera, axis, hz);
    return gain > 0 ? threshold_px / sqrt(gain) : INFINITY;
}

double sr_camera_least_allowance_dps(const struct sr_camera *camera, double hz, double threshold_px)
{
    double least_dps = INFINITY;
    for (int axis = SR_ROLL; axis <= SR_YAW; axis++)
        least_dps =
            fmin(least_dps, sr_camera_allowance_dps(camera, (enum sr_picture_axis)axis, hz, threshold_px));
    return least_dps;
}

/* Mains frequency stays within 1 % (EN 50160: 50 Hz, 99.5 % of the year, synchronous systems). */
#define MAINS_TOLERANCE 0.01

enum sr_status sr_flicker_readout(double bands, double count_error, double flicker_hz, double *readout_s,
                                  double *low_s, double *high_s, struct sr_error *err)
{
    if (!(bands > 0 && bands <= 1e5))
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "bands %g are not above 0 and up to 100000", bands);
    if (!inside(count_error, 0, 1e5))
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "count error %g is outside 0..100000 bands",
                       count_error);
    if (!inside(flicker_hz, 1, 1e6))
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "flicker %g is outside 1..1000000 Hz", flicker_hz);
    *readout_s = bands / flicker_hz;
    *low_s = fmax(0, bands - count_error) / (flicker_hz * (1 + MAINS_TOLERANCE));
    *high_s = (bands + count_error) / (flicker_hz * (1 - MAINS_TOLERANCE));
    return SR_OK;
}
