/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The camera's gains against a picture: points all over it are looked at through the
 * lens, row by row at the row's own time, each row averaged over its exposure; the
 * best constant-rate motion over the frame is taken off, and the rest is how far each
 * point stands from where it should. No Bessel function and no lever arm is used.
 *
 * Definition of the artefact: Baker, Bennett, Kang, Szeliski, "Removing rolling
 * shutter wobble", CVPR 2010 (skew, wobble, partial exposure). The numbers checked
 * here follow from the geometry alone.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <gsl/gsl_fit.h>
#include <gsl/gsl_integration.h>
#include <gsl/gsl_math.h>

#include "stillrow/camera.h"
#include "support/near.h"

#define ROWS      100 /* node counts that GSL holds to 27 digits */
#define COLUMNS   32
#define EXPOSURES 20
#define PHASES    4

struct rule {
    double at[ROWS], weight[ROWS]; /* on -1..1, weights sum to 1 */
};

static void make_rule(struct rule *rule, size_t count)
{
    gsl_integration_glfixed_table *table = gsl_integration_glfixed_table_alloc(count);
    assert_non_null(table);
    for (size_t i = 0; i < count; i++) {
        gsl_integration_glfixed_point(-1, 1, i, &rule->at[i], &rule->weight[i], table);
        rule->weight[i] /= 2;
    }
    gsl_integration_glfixed_table_free(table);
}

/* Direction that a picture point [px from the middle; x right, y down] looks in: x right, y down, z ahead. */
static void look(const struct sr_camera *camera, double x_px, double y_px, double ray[3])
{
    const double hfov_rad = camera->hfov_deg * M_PI / 180;
    const double r_px = hypot(x_px, y_px);
    double angle;
    if (camera->lens == SR_LENS_EQUIDISTANT)
        angle = r_px / camera->width_px * hfov_rad;
    else
        angle = atan(r_px / (camera->width_px / 2) * tan(hfov_rad / 2));
    ray[0] = r_px > 0 ? sin(angle) * x_px / r_px : 0;
    ray[1] = r_px > 0 ? sin(angle) * y_px / r_px : 0;
    ray[2] = cos(angle);
}

static void project(const struct sr_camera *camera, const double ray[3], double *x_px, double *y_px)
{
    const double hfov_rad = camera->hfov_deg * M_PI / 180;
    const double off = hypot(ray[0], ray[1]);
    const double angle = atan2(off, ray[2]);
    const double r_px = camera->lens == SR_LENS_EQUIDISTANT
                            ? angle / hfov_rad * camera->width_px
                            : tan(angle) / tan(hfov_rad / 2) * camera->width_px / 2;
    *x_px = off > 0 ? r_px * ray[0] / off : 0;
    *y_px = off > 0 ? r_px * ray[1] / off : 0;
}

/* Turn a direction about the optical (roll), right-hand (pitch) or downward (yaw) axis. */
static void turn(enum sr_picture_axis axis, double angle_rad, double ray[3])
{
    const int from = axis == SR_ROLL ? 0 : axis == SR_PITCH ? 1 : 2;
    const int into = axis == SR_ROLL ? 1 : axis == SR_PITCH ? 2 : 0;
    const double a = ray[from] * cos(angle_rad) - ray[into] * sin(angle_rad);
    ray[into] = ray[from] * sin(angle_rad) + ray[into] * cos(angle_rad);
    ray[from] = a;
}

/* How far a point moves for a small turn [px per rad]: squared length of the displacement. */
static double moves2(const struct sr_camera *camera, enum sr_picture_axis axis, double x_px, double y_px)
{
    const double small_rad = 1e-5;
    double ahead[3], behind[3], xa, ya, xb, yb;
    look(camera, x_px, y_px, ahead);
    look(camera, x_px, y_px, behind);
    turn(axis, small_rad, ahead);
    turn(axis, -small_rad, behind);
    project(camera, ahead, &xa, &ya);
    project(camera, behind, &xb, &yb);
    return (pow(xa - xb, 2) + pow(ya - yb, 2)) / pow(2 * small_rad, 2);
}

struct picture {
    double wobble2, smear2; /* [px^2] mean squares over points and phases of the sinusoid */
};

/*
 * Orientation sinusoid of 1 (deg/s) RMS at hz seen over `share` of the picture's
 * width and height (1: all of it). Row angles are the mean and the spread of the
 * angle over the row's exposure.
 */
static struct picture film(const struct sr_camera *camera, enum sr_picture_axis axis, double hz,
                           double share_w, double share_h)
{
    const double amplitude_rad = M_SQRT2 * M_PI / 180 / (2 * M_PI * hz);
    struct rule rows, columns, open;
    struct picture seen = {0, 0};
    make_rule(&rows, ROWS);
    make_rule(&columns, COLUMNS);
    make_rule(&open, EXPOSURES);
    for (int k = 0; k < PHASES; k++) {
        double mean[ROWS], spread[ROWS], c0, c1, v00, v01, v11, chi2;
        for (size_t i = 0; i < ROWS; i++) {
            double square = 0;
            mean[i] = 0;
            for (size_t j = 0; j < EXPOSURES; j++) {
                const double t_s = rows.at[i] / 2 * camera->readout_s + open.at[j] / 2 * camera->exposure_s;
                const double angle = amplitude_rad * sin(2 * M_PI * hz * t_s + k * M_PI / PHASES);
                mean[i] += open.weight[j] * angle;
                square += open.weight[j] * angle * angle;
            }
            spread[i] = square - mean[i] * mean[i];
        }
        gsl_fit_wlinear(rows.at, 1, rows.weight, 1, mean, 1, ROWS, &c0, &c1, &v00, &v01, &v11, &chi2);
        for (size_t i = 0; i < ROWS; i++) {
            const double rest = mean[i] - c0 - c1 * rows.at[i];
            for (size_t j = 0; j < COLUMNS; j++) {
                const double lever2 = moves2(camera, axis, columns.at[j] / 2 * camera->width_px * share_w,
                                             rows.at[i] / 2 * camera->height_px * share_h);
                const double weight = rows.weight[i] * columns.weight[j] / PHASES;
                seen.wobble2 += weight * lever2 * rest * rest;
                seen.smear2 += weight * lever2 * spread[i];
            }
        }
    }
    return seen;
}

static struct sr_camera with_lens(enum sr_lens lens, double hfov_deg)
{
    struct sr_camera camera;
    sr_camera_init(&camera);
    camera.lens = lens;
    camera.hfov_deg = hfov_deg;
    return camera;
}

static const double test_hz[] = {20, 62.5, 150, 333, 700};

/* Roll turns the picture about its middle whatever the lens: the gains are exact over the whole picture. */
static void roll_over_the_whole_picture(void **state)
{
    (void)state;
    for (int lens = 0; lens < 2; lens++) {
        const struct sr_camera camera = with_lens((enum sr_lens)lens, lens == 0 ? 95 : 150);
        for (size_t i = 0; i < sizeof test_hz / sizeof test_hz[0]; i++) {
            const struct picture seen = film(&camera, SR_ROLL, test_hz[i], 1, 1);
            assert_ratio_near(sr_camera_wobble_gain(&camera, SR_ROLL, test_hz[i]), seen.wobble2, 1e-7);
            assert_ratio_near(sr_camera_smear_gain(&camera, SR_ROLL, test_hz[i]), seen.smear2, 1e-7);
        }
    }
}

/* Pitch and yaw are defined by the picture's middle: exact there, for both lenses. */
static void pitch_and_yaw_in_the_middle(void **state)
{
    (void)state;
    for (int lens = 0; lens < 2; lens++) {
        const struct sr_camera camera = with_lens((enum sr_lens)lens, lens == 0 ? 95 : 150);
        for (size_t i = 0; i < sizeof test_hz / sizeof test_hz[0]; i++) {
            for (int axis = SR_PITCH; axis <= SR_YAW; axis++) {
                const enum sr_picture_axis a = (enum sr_picture_axis)axis;
                const struct picture seen = film(&camera, a, test_hz[i], 1e-3, 1e-3);
                assert_ratio_near(sr_camera_wobble_gain(&camera, a, test_hz[i]), seen.wobble2, 2e-6);
                assert_ratio_near(sr_camera_smear_gain(&camera, a, test_hz[i]), seen.smear2, 2e-6);
            }
        }
    }
}

/*
 * Away from the middle a flat lens stretches the same turn: sideways by F (1 + x^2/F^2),
 * and up and down by x y / F. Over the whole picture that makes for yaw, with
 * X = W/2F and Y = H/2F,
 *     (1 + 2 X^2/3 + X^4/5) G1 + (X^2 Y^2 / 9) G2   in place of   G1.
 */
static void yaw_over_the_whole_picture_of_a_flat_lens(void **state)
{
    (void)state;
    for (double hfov_deg = 40; hfov_deg < 130; hfov_deg += 15) {
        const struct sr_camera camera = with_lens(SR_LENS_RECTILINEAR, hfov_deg);
        const double focal_px = sr_camera_focal_px(&camera);
        const double x2 = pow(camera.width_px / 2 / focal_px, 2);
        const double y2 = pow(camera.height_px / 2 / focal_px, 2);
        for (size_t i = 0; i < sizeof test_hz / sizeof test_hz[0]; i++) {
            const double waves = test_hz[i] * camera.readout_s;
            const double stretch =
                1 + 2 * x2 / 3 + x2 * x2 / 5 + x2 * y2 / 9 * sr_shutter_g2(waves) / sr_shutter_g1(waves);
            const struct picture seen = film(&camera, SR_YAW, test_hz[i], 1, 1);
            assert_ratio_near(sr_camera_wobble_gain(&camera, SR_YAW, test_hz[i]) * stretch, seen.wobble2,
                              1e-6);
        }
    }
}

/* Whole picture against its middle, as amplitudes: the figures quoted in docs/method.md. */
static void stretch_of_whole_pictures(void **state)
{
    static const struct {
        enum sr_lens lens;
        double hfov_deg, pitch, yaw;
    } quoted[] = {
        {SR_LENS_RECTILINEAR, 60, 1.036, 1.117}, {SR_LENS_RECTILINEAR, 80, 1.080, 1.259},
        {SR_LENS_RECTILINEAR, 95, 1.145, 1.458}, {SR_LENS_RECTILINEAR, 120, 1.437, 2.258},
        {SR_LENS_EQUIDISTANT, 95, 0.925, 0.978}, {SR_LENS_EQUIDISTANT, 150, 0.823, 0.948},
    };
    (void)state;
    for (size_t i = 0; i < sizeof quoted / sizeof quoted[0]; i++) {
        const struct sr_camera camera = with_lens(quoted[i].lens, quoted[i].hfov_deg);
        const double hz = 200; /* 3.2 waves a picture */
        const double pitch =
            sqrt(film(&camera, SR_PITCH, hz, 1, 1).wobble2 / sr_camera_wobble_gain(&camera, SR_PITCH, hz));
        const double yaw =
            sqrt(film(&camera, SR_YAW, hz, 1, 1).wobble2 / sr_camera_wobble_gain(&camera, SR_YAW, hz));
        assert_near(pitch, quoted[i].pitch, 6e-4);
        assert_near(yaw, quoted[i].yaw, 6e-4);
    }
}

/*
 * Worked example: 10 deg/s amplitude at 200 Hz, readout 16 ms, exposure 2 ms, 1440x1080,
 * focal length 900 px. Figures from a 2-D brute force of 1440 x 1080 points done apart
 * from this code; no publication prints one.
 */
static void worked_example(void **state)
{
    struct sr_camera camera;
    (void)state;
    sr_camera_init(&camera);
    camera.width_px = 1440;
    camera.height_px = 1080;
    camera.exposure_s = 2e-3;
    camera.hfov_deg = 2 * atan(720.0 / 900.0) * 180 / M_PI;
    const double rms_dps = 10 / M_SQRT2;
    assert_near(sr_camera_focal_px(&camera), 900, 1e-9);
    assert_near(sqrt(sr_camera_wobble_gain(&camera, SR_YAW, 200)) * rms_dps, 0.066217602, 5e-10);
    assert_near(sqrt(sr_camera_wobble_gain(&camera, SR_PITCH, 200)) * rms_dps, 0.066217602, 5e-10);
    assert_near(sqrt(sr_camera_wobble_gain(&camera, SR_ROLL, 200)) * rms_dps, 0.037872260, 5e-10);
    assert_near(sqrt(film(&camera, SR_YAW, 200, 1e-3, 1e-3).wobble2) * rms_dps, 0.066217602, 2e-7);
    assert_near(sqrt(film(&camera, SR_ROLL, 200, 1, 1).wobble2) * rms_dps, 0.037872260, 5e-9);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(roll_over_the_whole_picture),
        cmocka_unit_test(pitch_and_yaw_in_the_middle),
        cmocka_unit_test(yaw_over_the_whole_picture_of_a_flat_lens),
        cmocka_unit_test(stretch_of_whole_pictures),
        cmocka_unit_test(worked_example),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
