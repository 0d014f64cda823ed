/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include <gsl/gsl_integration.h>
#include <gsl/gsl_math.h>

#include "stillrow/camera.h"
#include "support/near.h"

static struct sr_camera assumed(void)
{
    struct sr_camera camera;
    sr_camera_init(&camera);
    return camera;
}

static void assumed_camera(void **state)
{
    const struct sr_camera camera = assumed();
    (void)state;
    assert_true(camera.width_px == 1920 && camera.height_px == 1080 && camera.fps == 60);
    assert_true(camera.readout_s == 0.016 && camera.exposure_s == 0.001 && camera.hfov_deg == 95);
    assert_true(camera.lens == SR_LENS_RECTILINEAR && camera.tilt_deg == 20);
    assert_int_equal(sr_camera_check(&camera, NULL), SR_OK);
}

/* One bad field each; the text must name the rig key. */
static void every_range_is_checked(void **state)
{
    static const struct {
        size_t field;
        double bad;
        const char *text;
    } bad[] = {
        {offsetof(struct sr_camera, width_px), 15.9, "size 15.9x1080 is outside 16..100000 px"},
        {offsetof(struct sr_camera, width_px), 100001, "size"},
        {offsetof(struct sr_camera, width_px), NAN, "size"},
        {offsetof(struct sr_camera, height_px), 15, "size 1920x15"},
        {offsetof(struct sr_camera, height_px), INFINITY, "size"},
        {offsetof(struct sr_camera, fps), 0.99, "fps 0.99 is outside 1..10000"},
        {offsetof(struct sr_camera, fps), 10001, "fps"},
        {offsetof(struct sr_camera, fps), NAN, "fps"},
        {offsetof(struct sr_camera, readout_s), 0, "readout_ms 0 is not above 0"},
        {offsetof(struct sr_camera, readout_s), -1, "readout_ms -1000 is not above 0"},
        {offsetof(struct sr_camera, readout_s), NAN, "readout_ms"},
        {offsetof(struct sr_camera, readout_s), 0.017,
         "readout_ms 17 is longer than a frame, 16.6667 ms at 60 fps"},
        {offsetof(struct sr_camera, exposure_s), -1e-9, "exposure_ms"},
        {offsetof(struct sr_camera, exposure_s), NAN, "exposure_ms"},
        {offsetof(struct sr_camera, exposure_s), 0.017, "exposure_ms 17 is longer than a frame"},
        {offsetof(struct sr_camera, hfov_deg), 0.5, "hfov_deg 0.5 is outside 1..170"},
        {offsetof(struct sr_camera, hfov_deg), 171, "set lens = equidistant"},
        {offsetof(struct sr_camera, hfov_deg), NAN, "hfov_deg"},
        {offsetof(struct sr_camera, tilt_deg), -90.1, "tilt_deg"},
        {offsetof(struct sr_camera, tilt_deg), 90.1, "tilt_deg 90.1 is outside -90..90"},
        {offsetof(struct sr_camera, tilt_deg), NAN, "tilt_deg"},
    };
    (void)state;
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct sr_camera camera = assumed();
        struct sr_error err;
        memcpy((char *)&camera + bad[i].field, &bad[i].bad, sizeof(double));
        assert_int_equal(sr_camera_check(&camera, &err), SR_ERR_ARGUMENT);
        assert_int_equal(err.status, SR_ERR_ARGUMENT);
        if (strstr(err.text, bad[i].text) == NULL)
            fail_msg("'%s' does not say '%s'", err.text, bad[i].text);
    }
}

static void ends_of_ranges_are_fine(void **state)
{
    struct sr_camera camera = assumed();
    struct sr_error err;
    (void)state;
    camera.readout_s = 0.01667; /* a whole frame at 60 fps, rounded */
    camera.exposure_s = 0;
    camera.hfov_deg = 170;
    camera.tilt_deg = -90;
    assert_int_equal(sr_camera_check(&camera, &err), SR_OK);
    camera.lens = SR_LENS_EQUIDISTANT;
    camera.hfov_deg = 360;
    assert_int_equal(sr_camera_check(&camera, &err), SR_OK);
    camera.hfov_deg = 360.5;
    assert_int_equal(sr_camera_check(&camera, &err), SR_ERR_ARGUMENT);
    assert_non_null(strstr(err.text, "1..360"));
    camera.hfov_deg = 100;
    camera.lens = (enum sr_lens)7;
    assert_int_equal(sr_camera_check(&camera, &err), SR_ERR_ARGUMENT);
    assert_non_null(strstr(err.text, "lens"));
}

static void names(void **state)
{
    enum sr_lens lens = SR_LENS_RECTILINEAR;
    enum sr_axes axes = SR_AXES_FRD;
    (void)state;
    assert_true(sr_lens_find("equidistant", &lens) && lens == SR_LENS_EQUIDISTANT);
    assert_true(sr_lens_find("rectilinear", &lens) && lens == SR_LENS_RECTILINEAR);
    assert_false(sr_lens_find("Rectilinear", &lens) || sr_lens_find("", &lens) || sr_lens_find(NULL, &lens));
    assert_true(sr_axes_find("flu", &axes) && axes == SR_AXES_FLU);
    assert_true(sr_axes_find("frd", &axes) && axes == SR_AXES_FRD);
    assert_false(sr_axes_find("ned", &axes));
    assert_string_equal(sr_lens_name(SR_LENS_EQUIDISTANT), "equidistant");
    assert_string_equal(sr_lens_name(SR_LENS_RECTILINEAR), "rectilinear");
    assert_string_equal(sr_axes_name(SR_AXES_FLU), "flu");
    assert_string_equal(sr_axes_name(SR_AXES_FRD), "frd");
}

/* Triangles worked by hand: tan 45 deg = 1, tan 30 deg = 1/sqrt 3; a half circle over W is W/pi. */
static void focal_lengths(void **state)
{
    struct sr_camera camera = assumed();
    (void)state;
    camera.hfov_deg = 90;
    assert_near(sr_camera_focal_px(&camera), 960, 1e-9);
    camera.hfov_deg = 60;
    assert_near(sr_camera_focal_px(&camera), 960 * sqrt(3), 1e-9);
    camera.lens = SR_LENS_EQUIDISTANT;
    camera.hfov_deg = 180;
    assert_near(sr_camera_focal_px(&camera), 1920 / M_PI, 1e-9);
    /* Narrow views: both lenses are the same, F = W / angle, to angle^2 / 12. */
    camera.hfov_deg = 1;
    const double wide_px = sr_camera_focal_px(&camera);
    camera.lens = SR_LENS_RECTILINEAR;
    assert_ratio_near(sr_camera_focal_px(&camera), wide_px, 3e-5);
}

static void turn_rates(double tilt_deg, enum sr_axes axes, const double in[3], double out[3])
{
    struct sr_camera camera = assumed();
    const double *const body[3] = {&in[0], &in[1], &in[2]};
    double *const picture[3] = {&out[0], &out[1], &out[2]};
    camera.tilt_deg = tilt_deg;
    sr_camera_rates(&camera, axes, body, 1, picture);
}

/* Cosines and sines of common angles, from any table. */
static void axes_by_tilt(void **state)
{
    static const double table[][3] = {
        {0, 1.000000, 0.000000},  {10, 0.984808, 0.173648}, {20, 0.939693, 0.342020},
        {30, 0.866025, 0.500000}, {40, 0.766044, 0.642788}, {45, 0.707107, 0.707107},
        {60, 0.500000, 0.866025},
    };
    static const double p[3] = {1, 0, 0};
    static const double r[3] = {0, 0, 1};
    double out[3];
    (void)state;
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        turn_rates(table[i][0], SR_AXES_FRD, p, out);
        assert_near(out[SR_ROLL], table[i][1], 5e-7);
        assert_near(out[SR_YAW], table[i][2], 5e-7);
        turn_rates(table[i][0], SR_AXES_FRD, r, out);
        assert_near(out[SR_ROLL], -table[i][2], 5e-7);
        assert_near(out[SR_YAW], table[i][1], 5e-7);
        assert_true(out[SR_PITCH] == 0);
    }
}

/* p = 100, q = -20, r = 50 deg/s at 30 deg: 100 cos 30 - 50 sin 30 and 100 sin 30 + 50 cos 30. */
static void axes_worked_example(void **state)
{
    static const double frd[3] = {100, -20, 50};
    static const double flu[3] = {100, 20, -50};
    double out[3];
    (void)state;
    turn_rates(30, SR_AXES_FRD, frd, out);
    assert_near(out[SR_ROLL], 50 * sqrt(3) - 25, 1e-12);
    assert_near(out[SR_PITCH], -20, 0);
    assert_near(out[SR_YAW], 50 + 25 * sqrt(3), 1e-12);
    turn_rates(30, SR_AXES_FLU, flu, out);
    assert_near(out[SR_ROLL], 50 * sqrt(3) - 25, 1e-12);
    assert_near(out[SR_PITCH], -20, 0);
    assert_near(out[SR_YAW], 50 + 25 * sqrt(3), 1e-12);
    /* A camera that looks straight up: turning about the nose is what pans it. */
    turn_rates(90, SR_AXES_FRD, frd, out);
    assert_near(out[SR_ROLL], -50, 1e-12);
    assert_near(out[SR_YAW], 100, 1e-12);
}

/* The picture's axes as vectors of the body, by cross product; a rate's share is its dot product. */
static void axes_are_a_turned_frame(void **state)
{
    (void)state;
    for (double tilt_deg = -90; tilt_deg <= 90; tilt_deg += 7.5) {
        const double a = tilt_deg * M_PI / 180;
        const double ahead[3] = {cos(a), 0, -sin(a)}; /* up is -z */
        const double right[3] = {0, 1, 0};
        const double down[3] = {ahead[1] * right[2] - ahead[2] * right[1],
                                ahead[2] * right[0] - ahead[0] * right[2],
                                ahead[0] * right[1] - ahead[1] * right[0]};
        const double rate[3] = {12.5, -3.25, 40};
        double out[3];
        turn_rates(tilt_deg, SR_AXES_FRD, rate, out);
        assert_near(out[SR_ROLL], rate[0] * ahead[0] + rate[1] * ahead[1] + rate[2] * ahead[2], 1e-12);
        assert_near(out[SR_PITCH], rate[1], 1e-12);
        assert_near(out[SR_YAW], rate[0] * down[0] + rate[1] * down[1] + rate[2] * down[2], 1e-12);
    }
}

static void many_samples_at_once(void **state)
{
    const struct sr_camera camera = assumed();
    double in[3][5], out[3][5], one[3];
    (void)state;
    for (int i = 0; i < 5; i++) {
        in[0][i] = i;
        in[1][i] = -2 * i;
        in[2][i] = i * i;
    }
    sr_camera_rates(&camera, SR_AXES_FLU, (const double *const[]){in[0], in[1], in[2]}, 5,
                    (double *const[]){out[0], out[1], out[2]});
    for (int i = 0; i < 5; i++) {
        const double sample[3] = {in[0][i], in[1][i], in[2][i]};
        turn_rates(camera.tilt_deg, SR_AXES_FLU, sample, one);
        for (int axis = 0; axis < 3; axis++)
            assert_true(out[axis][i] == one[axis]);
    }
}

/*
 * A row sees the mean of the motion over its exposure: power of that mean by quadrature,
 * as a ratio to no exposure, where nothing but sinc^2 differs.
 */
static void exposure_averages(void **state)
{
    gsl_integration_glfixed_table *table = gsl_integration_glfixed_table_alloc(64);
    (void)state;
    assert_non_null(table);
    for (int i = 1; i <= 60; i++) {
        struct sr_camera sharp = assumed();
        struct sr_camera slow = assumed();
        sharp.exposure_s = 0;
        slow.exposure_s = 0.0007 + i * 0.00025;
        const double hz = 11.0 * i;
        double power = 0;
        double loss = 0;
        for (int k = 0; k < 4; k++) {
            double mean = 0;
            double square = 0;
            for (size_t j = 0; j < 64; j++) {
                double t_s, weight;
                gsl_integration_glfixed_point(-slow.exposure_s / 2, slow.exposure_s / 2, j, &t_s, &weight,
                                              table);
                const double angle = sin(2 * M_PI * hz * t_s + k * M_PI / 4);
                mean += weight / slow.exposure_s * angle;
                square += weight / slow.exposure_s * angle * angle;
            }
            power += mean * mean / 2;
            loss += (square - mean * mean) / 2;
        }
        assert_near(sr_camera_wobble_gain(&slow, SR_YAW, hz) / sr_camera_wobble_gain(&sharp, SR_YAW, hz),
                    power, 1e-13);
        const double focal_deg = sr_camera_focal_px(&slow) * M_PI / 180 / (2 * M_PI * hz);
        assert_near(sr_camera_smear_gain(&slow, SR_YAW, hz) / (focal_deg * focal_deg), loss, 1e-13);
    }
    gsl_integration_glfixed_table_free(table);
}

/* 1 - sinc^2 has a series below z^2 = 0.09: no step there, and the parabola z^2/3 at the bottom. */
static void smear_at_low_frequencies(void **state)
{
    struct sr_camera camera = assumed();
    (void)state;
    for (int axis = SR_ROLL; axis <= SR_YAW; axis++) {
        const enum sr_picture_axis a = (enum sr_picture_axis)axis;
        const double limit = sr_camera_smear_gain(&camera, a, 0);
        const double lever2 =
            axis == SR_ROLL ? (1920.0 * 1920 + 1080.0 * 1080) / 12 : pow(960 / tan(47.5 * M_PI / 180), 2);
        /* A steady turn of 1 deg/s draws a streak of pi/180 Te levers, whose RMS is 1/sqrt 12 of it. */
        assert_ratio_near(limit, lever2 * pow(M_PI / 180 * 1e-3, 2) / 12, 1e-12);
        assert_ratio_near(sr_camera_smear_gain(&camera, a, 1e-6), limit, 1e-12);
        const double edge_hz = 0.3 / (M_PI * camera.exposure_s);
        assert_ratio_near(sr_camera_smear_gain(&camera, a, edge_hz * (1 - 1e-9)),
                          sr_camera_smear_gain(&camera, a, edge_hz * (1 + 1e-9)), 1e-8);
        camera.exposure_s = 0;
        assert_true(sr_camera_smear_gain(&camera, a, 0) == 0 && sr_camera_smear_gain(&camera, a, 100) == 0);
        camera.exposure_s = 1e-3;
    }
}

/* Small f: residual of a parabola. Rate 1 deg/s RMS: yaw F (pi/180) (pi f T^2 / 2) / sqrt 45, rising as f. */
static void wobble_at_low_frequencies(void **state)
{
    struct sr_camera camera = assumed();
    (void)state;
    camera.exposure_s = 0;
    for (int axis = SR_ROLL; axis <= SR_YAW; axis++) {
        assert_true(sr_camera_wobble_gain(&camera, (enum sr_picture_axis)axis, 0) == 0);
        assert_true(sr_camera_wobble_gain(&camera, (enum sr_picture_axis)axis, -5) == 0);
    }
    const double hz = 0.1;
    const double angle = M_PI / 180 * M_PI * hz * camera.readout_s * camera.readout_s / 2;
    assert_ratio_near(sqrt(sr_camera_wobble_gain(&camera, SR_YAW, hz)),
                      sr_camera_focal_px(&camera) * angle / sqrt(45), 1e-4);
    assert_ratio_near(sr_camera_wobble_gain(&camera, SR_ROLL, hz),
                      angle * angle * (1920.0 * 1920 / 12 / 45 + 1080.0 * 1080 / 12 * 11 / 315), 1e-4);
}

static void bands(void **state)
{
    static const double edges[] = {0, 0.25, 1, 4, 16, INFINITY};
    static const char *const band_names[] = {"lean", "bend", "wave", "ripple", "grain"};
    struct sr_camera camera = assumed();
    (void)state;
    for (int i = 0; i < SR_BAND_COUNT; i++) {
        const enum sr_band band = (enum sr_band)i;
        assert_string_equal(sr_band_name(band), band_names[i]);
        assert_true(sr_band_low_waves(band) == edges[i] && sr_band_high_waves(band) == edges[i + 1]);
        assert_near(sr_band_low_hz(&camera, band), edges[i] / 0.016, 1e-9);
        assert_true(sr_band_high_hz(&camera, band) == edges[i + 1] / 0.016);
        for (camera.readout_s = 0.001; camera.readout_s < 0.04; camera.readout_s += 0.00037) {
            assert_int_equal(sr_band_at(&camera, sr_band_low_hz(&camera, band)),
                             band); /* the low edge belongs */
            if (i > 0)
                assert_int_equal(sr_band_at(&camera, sr_band_low_hz(&camera, band) * (1 - 1e-12)), i - 1);
        }
        camera.readout_s = 0.016;
    }
    assert_int_equal(sr_band_at(&camera, 0), SR_BAND_LEAN);
    assert_int_equal(sr_band_at(&camera, 1e9), SR_BAND_GRAIN);
    assert_string_equal(sr_band_name(SR_BAND_COUNT), "");
    assert_true(isnan(sr_band_low_waves(SR_BAND_COUNT)) && isnan(sr_band_high_waves(SR_BAND_COUNT)));
}

/*
 * 100 Hz at 25 fps stands still; 120 Hz at 29.97 fps drifts 0.12 bands a second. The rest by
 * the definition |f - F round(f/F)|.
 */
static void crawl(void **state)
{
    struct sr_camera camera = assumed();
    (void)state;
    camera.fps = 25;
    assert_true(sr_camera_crawl_hz(&camera, 100) == 0);
    camera.fps = 29.97;
    assert_near(sr_camera_crawl_hz(&camera, 120), 0.12, 1e-9);
    camera.fps = 60;
    assert_near(sr_camera_crawl_hz(&camera, 215), 25, 1e-12);
    assert_near(sr_camera_crawl_hz(&camera, 185), 5, 1e-12);
    assert_near(sr_camera_crawl_hz(&camera, 210), 30, 1e-12); /* half way: as fast as it gets */
    for (double hz = 0; hz < 2000; hz += 3.7) {
        assert_near(sr_camera_crawl_hz(&camera, hz), fabs(hz - 60 * round(hz / 60)), 1e-9);
        assert_true(sr_camera_crawl_hz(&camera, hz) <= 30);
    }
}

/* One line of 1080 seen from 3.2 picture heights is an arc of one minute, and W/1920 is one such line at
 * 16:9. */
static void default_threshold(void **state)
{
    struct sr_camera camera = assumed();
    (void)state;
    assert_true(sr_camera_default_threshold_px(&camera) == 1);
    assert_near(atan(1 / (1080 * 3.2)) * 180 / M_PI * 60, 1, 0.01);
    camera.width_px = 3840;
    assert_true(sr_camera_default_threshold_px(&camera) == 2);
    camera.width_px = 1280;
    assert_near(sr_camera_default_threshold_px(&camera), 2.0 / 3, 1e-15);
}

static void allowance(void **state)
{
    struct sr_camera camera = assumed();
    (void)state;
    for (double hz = 0.5; hz < 4000; hz *= 1.07) {
        double least_dps = INFINITY;
        for (int axis = SR_ROLL; axis <= SR_YAW; axis++) {
            const enum sr_picture_axis a = (enum sr_picture_axis)axis;
            const double dps = sr_camera_allowance_dps(&camera, a, hz, 0.7);
            assert_ratio_near(dps * sqrt(sr_camera_wobble_gain(&camera, a, hz)), 0.7, 1e-12);
            least_dps = fmin(least_dps, dps);
        }
        assert_true(sr_camera_least_allowance_dps(&camera, hz, 0.7) == least_dps);
    }
    assert_true(isinf(sr_camera_allowance_dps(&camera, SR_YAW, 0, 1)));
    assert_true(isinf(sr_camera_least_allowance_dps(&camera, 0, 1)));
    camera.exposure_s = 0.002; /* 500, 1000, 1500 Hz are averaged away over a row */
    for (int n = 1; n <= 3; n++) {
        assert_true(sr_camera_wobble_gain(&camera, SR_ROLL, 500.0 * n) == 0);
        assert_true(isinf(sr_camera_least_allowance_dps(&camera, 500.0 * n, 1)));
        assert_true(isfinite(sr_camera_least_allowance_dps(&camera, 500.0 * n + 1, 1)));
    }
}

/*
 * T = bands / flicker: 540 rows apart of 1080 under a lamp on 60 Hz mains are 2 bands, 16.667 ms;
 * 1.6 bands at 100 Hz are 16 ms. (Geyer, Meingast, Sastry, OMNIVIS 2005, time rows by a blinking lamp.)
 */
static void flicker(void **state)
{
    double readout_s, low_s, high_s;
    (void)state;
    assert_int_equal(sr_flicker_readout(2, 0, 120, &readout_s, &low_s, &high_s, NULL), SR_OK);
    assert_near(readout_s, 1.0 / 60, 1e-15);
    assert_near(low_s, 1.0 / 60 / 1.01, 1e-15);
    assert_near(high_s, 1.0 / 60 / 0.99, 1e-15);
    assert_int_equal(sr_flicker_readout(1.6, 0.25, 100, &readout_s, &low_s, &high_s, NULL), SR_OK);
    assert_near(readout_s, 0.016, 1e-15);
    assert_near(low_s, 1.35 / 101, 1e-15);
    assert_near(high_s, 1.85 / 99, 1e-15);
    assert_int_equal(sr_flicker_readout(0.5, 1, 100, &readout_s, &low_s, &high_s, NULL), SR_OK);
    assert_true(low_s == 0); /* fewer than no bands cannot be */
}

static void flicker_refusals(void **state)
{
    static const struct {
        double bands, count_error, flicker_hz;
        const char *text;
    } bad[] = {
        {0, 0, 100, "bands 0"},        {-1, 0, 100, "bands -1"},      {NAN, 0, 100, "bands"},
        {INFINITY, 0, 100, "bands"},   {2, -0.1, 100, "count error"}, {2, NAN, 100, "count error"},
        {2, 0, 0.5, "flicker 0.5 is"}, {2, 0, 1e7, "flicker"},        {2, 0, NAN, "flicker"},
    };
    (void)state;
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        double readout_s = 7, low_s = 8, high_s = 9;
        struct sr_error err;
        assert_int_equal(sr_flicker_readout(bad[i].bands, bad[i].count_error, bad[i].flicker_hz, &readout_s,
                                            &low_s, &high_s, &err),
                         SR_ERR_ARGUMENT);
        assert_non_null(strstr(err.text, bad[i].text));
        assert_true(readout_s == 7 && low_s == 8 && high_s == 9);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(assumed_camera),
        cmocka_unit_test(every_range_is_checked),
        cmocka_unit_test(ends_of_ranges_are_fine),
        cmocka_unit_test(names),
        cmocka_unit_test(focal_lengths),
        cmocka_unit_test(axes_by_tilt),
        cmocka_unit_test(axes_worked_example),
        cmocka_unit_test(axes_are_a_turned_frame),
        cmocka_unit_test(many_samples_at_once),
        cmocka_unit_test(exposure_averages),
        cmocka_unit_test(smear_at_low_frequencies),
        cmocka_unit_test(wobble_at_low_frequencies),
        cmocka_unit_test(bands),
        cmocka_unit_test(crawl),
        cmocka_unit_test(default_threshold),
        cmocka_unit_test(allowance),
        cmocka_unit_test(flicker),
        cmocka_unit_test(flicker_refusals),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
