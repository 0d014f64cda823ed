/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Natural frequencies from logs. The truth is a time-domain simulation: a frame
 * flown by the flight model, and a camera on it as a mass on a damped spring whose
 * equation of motion is integrated step by step (Runge-Kutta 4), which knows nothing
 * of transfer functions. Both get noise of their own; the camera's recorder has its
 * own clock, rate and mounting angle.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "sim/flight.h"
#include "stillrow/mount.h"
#include "support/near.h"

#define PI 3.14159265358979323846

static struct sr_log new_log(double rate_hz, size_t count)
{
    struct sr_log log = {
        .name = (char *)"made", .rate_hz = rate_hz, .count = count, .n_runs = 1, .n_airborne = 1};
    for (int a = 0; a < 3; a++)
        log.gyro_dps[a] = calloc(count, sizeof(double));
    log.runs = calloc(1, sizeof *log.runs);
    log.runs[0] = (struct sr_run){0, count, 0};
    log.airborne = calloc(1, sizeof *log.airborne);
    log.airborne[0] = (struct sr_span){0, (double)(count - 1) / rate_hz};
    return log;
}

static void free_log(struct sr_log *log)
{
    for (int a = 0; a < 3; a++)
        free(log->gyro_dps[a]);
    free(log->runs);
    free(log->airborne);
    free(log->throttle);
}

/* Angle and rate of the camera; its base moves at `base` deg/s, `turn` deg. */
struct swing {
    double angle, rate;
};

static struct swing slope(struct swing s, double base_angle, double base_rate, double fn_hz, double damping)
{
    double w = 2 * PI * fn_hz;
    struct swing d = {s.rate, w * w * (base_angle - s.angle) + 2 * damping * w * (base_rate - s.rate)};
    return d;
}

static struct swing moved(struct swing s, struct swing d, double h)
{
    struct swing m = {s.angle + h * d.angle, s.rate + h * d.rate};
    return m;
}

/* The rate of a camera on a mount above a base that turns at base[count] deg/s. */
static void mount_camera(const double *base, size_t count, double rate_hz, double fn_hz, double damping,
                         double *camera)
{
    struct swing s = {0, base[0]};
    double angle = 0, h = 1 / rate_hz;
    for (size_t i = 0; i < count; i++) {
        double now = base[i], next = i + 1 < count ? base[i + 1] : now, half = (now + next) / 2;
        double half_angle = angle + h * (3 * now + next) / 8, next_angle = angle + h * half;
        camera[i] = s.rate;
        struct swing k1 = slope(s, angle, now, fn_hz, damping);
        struct swing k2 = slope(moved(s, k1, h / 2), half_angle, half, fn_hz, damping);
        struct swing k3 = slope(moved(s, k2, h / 2), half_angle, half, fn_hz, damping);
        struct swing k4 = slope(moved(s, k3, h), next_angle, next, fn_hz, damping);
        s.angle += h / 6 * (k1.angle + 2 * k2.angle + 2 * k3.angle + k4.angle);
        s.rate += h / 6 * (k1.rate + 2 * k2.rate + 2 * k3.rate + k4.rate);
        angle = next_angle;
    }
}

/* What the two recorders are like. */
struct recorders {
    double fn_hz, damping;
    double noise_dps_rthz; /* of each sensor */
    double offset_s;       /* the camera's recorder starts this much later */
    double drift_ppm;      /* and its clock is this much fast */
    double tilt_deg;       /* and its sensor is pitched up by this */
    int thin;              /* and keeps one sample of this many */
    uint64_t seed;
};

static double value_at(const double *x, size_t count, double at)
{
    size_t i = (size_t)at;
    if (at < 0 || i + 1 >= count)
        return 0;
    return x[i] + (at - (double)i) * (x[i + 1] - x[i]);
}

static void add_noise(struct sr_log *log, double dps_rthz, uint64_t seed)
{
    double sigma = dps_rthz * sqrt(log->rate_hz / 2);
    for (size_t i = 0; i < log->count; i++)
        for (int a = 0; a < 3; a++)
            log->gyro_dps[a][i] += sigma * sim_normal(&seed);
}

/* One flight as both recorders log it. */
static void record(const struct sim_flight *flight, const struct recorders *r, struct sr_log *frame,
                   struct sr_log *camera)
{
    struct sim_samples s;
    assert_int_equal(sim_fly(flight, &s), 0);
    *frame = new_log(s.rate_hz, s.count);
    frame->airborne[0] = (struct sr_span){s.airborne_from_s, s.airborne_to_s};
    double *turned[3], tilt = r->tilt_deg * PI / 180;
    for (int a = 0; a < 3; a++) {
        memcpy(frame->gyro_dps[a], s.gyro_dps[a], s.count * sizeof(double));
        turned[a] = calloc(s.count, sizeof(double));
        mount_camera(s.gyro_dps[a], s.count, s.rate_hz, r->fn_hz, r->damping, turned[a]);
    }
    double camera_hz = s.rate_hz / r->thin;
    size_t count = (size_t)(((double)s.count / s.rate_hz - r->offset_s - 0.1) * camera_hz);
    *camera = new_log(camera_hz, count);
    camera->airborne[0].to_s = (double)(count - 1) / camera_hz;
    for (size_t i = 0; i < count; i++) {
        double t_s = r->offset_s + (double)i / camera_hz * (1 - r->drift_ppm * 1e-6), v[3];
        for (int a = 0; a < 3; a++)
            v[a] = value_at(turned[a], s.count, t_s * s.rate_hz);
        camera->gyro_dps[0][i] = v[0] * cos(tilt) - v[2] * sin(tilt);
        camera->gyro_dps[1][i] = v[1];
        camera->gyro_dps[2][i] = v[0] * sin(tilt) + v[2] * cos(tilt);
    }
    add_noise(frame, r->noise_dps_rthz, r->seed);
    add_noise(camera, r->noise_dps_rthz, r->seed + 1);
    for (int a = 0; a < 3; a++)
        free(turned[a]);
    sim_samples_release(&s);
}

static struct sim_flight quick_flight(uint64_t seed, double flight_s)
{
    struct sim_flight flight;
    sim_flight_init(&flight);
    flight.seed = seed;
    flight.rate_hz = 4000;
    flight.flight_s = flight_s;
    flight.noise_dps_rthz = 0;
    flight.clip_dps = 0;
    return flight;
}

/* status of the whole way from two logs to a natural frequency. */
static enum sr_status identify(const struct sr_log *frame, const struct sr_log *camera,
                               struct sr_transfer *transfer, struct sr_identified *found,
                               struct sr_error *err)
{
    enum sr_status status = sr_transfer_make(transfer, frame, camera, err);
    if (status != SR_OK)
        return status;
    status = sr_identify_transfer(found, transfer, err);
    if (status != SR_OK)
        sr_transfer_release(transfer);
    return status;
}

static void test_frame_and_camera_log(void **state)
{
    (void)state;
    const struct recorders cases[] = {
        {45, 0.10, 0.01, 0, 0, 0, 2, 11},          {62, 0.06, 0.02, 3.217, 80, 25, 4, 12},
        {90, 0.15, 0.01, 1.004, -150, -30, 4, 13}, {30, 0.20, 0.02, 0.51, 30, 10, 2, 14},
        {75, 0.04, 0.01, 5.5, 0, 0, 4, 15},        {130, 0.08, 0.05, 0.7, 20, 20, 2, 16},
    };
    for (size_t c = 0; c < sizeof cases / sizeof cases[0]; c++) {
        const struct sim_flight flight = quick_flight(cases[c].seed, 60);
        struct sr_log frame, camera;
        struct sr_transfer transfer;
        struct sr_identified found;
        struct sr_error err = {0};
        record(&flight, &cases[c], &frame, &camera);
        if (identify(&frame, &camera, &transfer, &found, &err) != SR_OK)
            fail_msg("case %zu: %s", c, err.text);
        assert_ratio_near(found.fn_hz.value, cases[c].fn_hz, 0.0015);
        assert_ratio_near(found.damping.value, cases[c].damping, 0.01);
        /* The recorders' own truth: what is at t in one is at t - offset in the other, drift counted to
         * mid-flight. */
        double middle_s = 0.5 * (double)frame.count / frame.rate_hz - cases[c].offset_s;
        assert_near(transfer.lag_s, -cases[c].offset_s + middle_s * cases[c].drift_ppm * 1e-6, 0.01);
        assert_near(transfer.drift_ppm, cases[c].drift_ppm, 10);
        assert_near(found.gain, 1, 0.02);
        sr_transfer_release(&transfer);
        free_log(&frame);
        free_log(&camera);
    }
}

/*
 * Ten flights of one mount: the fit's 95 % interval may not be a show. A true one holds 8 or more of 10
 * in 98.8 of 100 trials; and it is no wider than it needs to be.
 */
static void test_interval_holds(void **state)
{
    (void)state;
    int inside = 0;
    for (uint64_t seed = 0; seed < 10; seed++) {
        const struct recorders r = {55, 0.1, 0.05, 0.3, 10, 15, 4, 100 + seed};
        struct sim_flight flight = quick_flight(200 + seed, 25);
        struct sr_log frame, camera;
        struct sr_transfer transfer;
        struct sr_identified found;
        struct sr_error err = {0};
        record(&flight, &r, &frame, &camera);
        if (identify(&frame, &camera, &transfer, &found, &err) != SR_OK)
            fail_msg("seed %d: %s", (int)seed, err.text);
        assert_ratio_near(found.fn_hz.value, r.fn_hz, 0.0015);
        assert_ratio_near(found.damping.value, r.damping, 0.01);
        assert_true(found.fn_hz.high - found.fn_hz.low < 0.003 * r.fn_hz);
        inside += found.fn_hz.low <= r.fn_hz && r.fn_hz <= found.fn_hz.high;
        sr_transfer_release(&transfer);
        free_log(&frame);
        free_log(&camera);
    }
    print_message("held by their intervals: %d of 10\n", inside);
    assert_true(inside >= 8);
}

static void refused(const struct sr_log *frame, const struct sr_log *camera, enum sr_status status,
                    const char *word)
{
    struct sr_transfer transfer;
    struct sr_identified found = {.bins = 77};
    struct sr_error err = {0};
    enum sr_status got = identify(frame, camera, &transfer, &found, &err);
    assert_int_equal(got, status);
    if (strstr(err.text, word) == NULL)
        fail_msg("'%s' does not say '%s'", err.text, word);
    assert_int_equal(found.bins, 77);
}

static void test_poor_coherence_is_refused(void **state)
{
    (void)state;
    const struct sim_flight flight = quick_flight(31, 40);
    struct recorders r = {60, 0.1, 0.01, 0.2, 0, 0, 4, 32};
    struct sr_log frame, camera, other, other_camera;
    record(&flight, &r, &frame, &camera);

    /* A camera's sensor that hears little but itself: wash here is 0.2 (deg/s)/sqrt(Hz), up to 150 Hz. */
    add_noise(&camera, 1, 33);
    refused(&frame, &camera, SR_ERR_DATA, "coherence");

    /* The camera's log of another flight. */
    const struct sim_flight next = quick_flight(34, 40);
    record(&next, &r, &other, &other_camera);
    refused(&frame, &other_camera, SR_ERR_DATA, "does not look like the flight");
    free_log(&camera);
    free_log(&other);
    free_log(&other_camera);
    free_log(&frame);
}

/* The same turning by the pilot, but every vibration the camera feels is its own. */
static void test_unrelated_vibration_is_refused(void **state)
{
    (void)state;
    struct sim_flight flight = quick_flight(41, 40);
    struct recorders r = {60, 0.1, 0.01, 0, 0, 0, 4, 42};
    struct sr_log frame, camera, quiet, quiet_camera, shaky, shaky_camera;
    record(&flight, &r, &frame, &camera);
    struct sim_flight smooth = flight, strange = quick_flight(43, 40);
    smooth.wash_dps = smooth.blade_dps = 0;
    strange.pilot_dps = 0;
    memset(smooth.imbalance_dps, 0, sizeof smooth.imbalance_dps);
    record(&smooth, &r, &quiet, &quiet_camera);
    record(&strange, &r, &shaky, &shaky_camera);
    for (int a = 0; a < 3; a++)
        for (size_t i = 0; i < quiet_camera.count; i++)
            quiet_camera.gyro_dps[a][i] += shaky_camera.gyro_dps[a][i];
    refused(&frame, &quiet_camera, SR_ERR_DATA, "coherence");
    struct sr_log *logs[] = {&frame, &camera, &quiet, &quiet_camera, &shaky, &shaky_camera};
    for (size_t i = 0; i < 6; i++)
        free_log(logs[i]);
}

static void test_no_mount_and_short_flights_are_refused(void **state)
{
    (void)state;
    struct sim_flight flight = quick_flight(51, 40);
    /* 900 Hz: as good as bolted on. */
    struct recorders r = {900, 0.1, 0.01, 0, 0, 0, 4, 52};
    struct sr_log frame, camera;
    record(&flight, &r, &frame, &camera);
    refused(&frame, &camera, SR_ERR_DATA, "resonance");
    free_log(&frame);
    free_log(&camera);

    flight.flight_s = 7;
    r.fn_hz = 60;
    record(&flight, &r, &frame, &camera);
    refused(&frame, &camera, SR_ERR_SHORT, "10 s are needed");
    free_log(&frame);
    free_log(&camera);
}

/* A gap in each log, at different times: what both have in one piece is used. */
static void test_gaps(void **state)
{
    (void)state;
    const struct sim_flight flight = quick_flight(61, 60);
    const struct recorders r = {50, 0.1, 0.02, 1.5, 40, 0, 4, 62};
    struct sr_log frame, camera;
    struct sr_transfer transfer;
    struct sr_identified found;
    struct sr_error err = {0};
    record(&flight, &r, &frame, &camera);
    struct sr_run of_frame[2] = {{0, 60000, 0}, {62000, frame.count - 62000, 62000 / frame.rate_hz}};
    struct sr_run of_camera[2] = {{0, 40000, 0}, {40500, camera.count - 40500, 40500 / camera.rate_hz}};
    frame.runs = realloc(frame.runs, sizeof of_frame);
    camera.runs = realloc(camera.runs, sizeof of_camera);
    memcpy(frame.runs, of_frame, sizeof of_frame);
    memcpy(camera.runs, of_camera, sizeof of_camera);
    frame.n_runs = camera.n_runs = 2;
    if (identify(&frame, &camera, &transfer, &found, &err) != SR_OK)
        fail_msg("%s", err.text);
    assert_ratio_near(found.fn_hz.value, 50, 0.0015);
    assert_ratio_near(found.damping.value, 0.1, 0.01);
    assert_true(transfer.overlap_s < 60.1 - 0.5 - 0.5 && transfer.overlap_s > 56);
    sr_transfer_release(&transfer);
    free_log(&frame);
    free_log(&camera);
}

/* ---- Two mounts ---- */

static struct sr_slices camera_slices(uint64_t seed, double fn_hz, double damping, double hover,
                                      double flight_s)
{
    struct sim_flight flight = quick_flight(seed, flight_s);
    struct sim_samples s;
    struct sr_slices slices;
    struct sr_rig rig;
    flight.rate_hz = 2000;
    flight.hover_throttle = hover;
    sr_rig_init(&rig);
    rig.gyro_side = SR_GYRO_CAMERA;
    assert_int_equal(sim_fly(&flight, &s), 0);
    struct sr_log log = new_log(s.rate_hz, s.count);
    log.airborne[0] = (struct sr_span){s.airborne_from_s + 1, s.airborne_to_s};
    for (int a = 0; a < 3; a++)
        mount_camera(s.gyro_dps[a], s.count, s.rate_hz, fn_hz, damping, log.gyro_dps[a]);
    add_noise(&log, 0.01, seed + 1);
    log.slow_count = (size_t)((double)s.count / s.rate_hz / SR_SLOW_STEP_S);
    log.throttle = calloc(log.slow_count, sizeof(double));
    for (size_t i = 0; i < log.slow_count; i++)
        log.throttle[i] = s.throttle[(size_t)((double)i * SR_SLOW_STEP_S * s.rate_hz)];
    assert_int_equal(sr_slices_make(&slices, &log, &rig, SR_WINDOW_HANN, NULL), SR_OK);
    sim_samples_release(&s);
    free_log(&log);
    return slices;
}

static void test_two_mounts(void **state)
{
    (void)state;
    const double cases[][3] = {{45, 70, 0.1}, {80, 50, 0.06}, {35, 60, 0.15}, {60, 100, 0.08}};
    for (size_t c = 0; c < sizeof cases / sizeof cases[0]; c++) {
        struct sr_slices a = camera_slices(71 + 2 * c, cases[c][0], cases[c][2], 0.38, 60);
        struct sr_slices b = camera_slices(72 + 2 * c, cases[c][1], cases[c][2], 0.40, 60);
        struct sr_identified first, second;
        struct sr_error err = {0};
        if (sr_identify_mounts(&first, &second, &a, &b, &err) != SR_OK)
            fail_msg("case %zu: %s", c, err.text);
        assert_ratio_near(first.fn_hz.value, cases[c][0], 0.01);
        assert_ratio_near(second.fn_hz.value, cases[c][1], 0.01);
        assert_ratio_near(first.damping.value, cases[c][2], 0.04);
        sr_slices_release(&a);
        sr_slices_release(&b);
    }
}

static void test_one_mount_twice_is_refused(void **state)
{
    (void)state;
    struct sr_identified first = {.bins = 77}, second;
    struct sr_error err = {0};
    struct sr_slices a = camera_slices(81, 60, 0.1, 0.38, 40), b = camera_slices(82, 60, 0.1, 0.38, 40);
    assert_int_equal(sr_identify_mounts(&first, &second, &a, &b, &err), SR_ERR_DATA);
    assert_non_null(strstr(err.text, "do not show two mounts"));
    assert_int_equal(first.bins, 77);
    sr_slices_release(&b);

    /* Nothing flown at a like throttle. */
    b = camera_slices(83, 80, 0.1, 0.7, 40);
    assert_int_equal(sr_identify_mounts(&first, &second, &a, &b, &err), SR_ERR_SHORT);
    assert_non_null(strstr(err.text, "like throttle"));
    sr_slices_release(&b);

    b = camera_slices(84, 80, 0.1, 0.38, 5);
    assert_int_equal(sr_identify_mounts(&first, &second, &a, &b, &err), SR_ERR_SHORT);
    b.bins--;
    assert_int_equal(sr_identify_mounts(&first, &second, &a, &b, &err), SR_ERR_ARGUMENT);
    sr_slices_release(&a);
    sr_slices_release(&b);
}

/* ---- The prediction itself ---- */

/* 95th percentile of a log's wobble as it stands, and its slices. */
static double scored(const struct sr_log *log, const struct sr_rig *rig, struct sr_slices *slices,
                     struct sr_score *score)
{
    struct sr_view view;
    assert_int_equal(sr_slices_make(slices, log, rig, SR_WINDOW_HANN, NULL), SR_OK);
    assert_int_equal(sr_view_init(&view, slices, &rig->camera, NULL), SR_OK);
    assert_int_equal(sr_score_make(score, slices, &view, 1, NULL), SR_OK);
    sr_view_release(&view);
    return score->wobble_px.value;
}

/*
 * Flown on 60 A (66 Hz), predicted for 50 and 70 A; then "flown" on those in the time domain, and the
 * camera's own rates scored. Both from a gyro on the frame and from one on the camera.
 */
static void test_prediction_against_flying_it(void **state)
{
    (void)state;
    const double modulus[] = {2.45581, 5.52144}, own_mpa = 3.60492, own_hz = 66, damping = 0.1;
    const struct sim_flight flight = quick_flight(91, 30);
    const struct recorders r = {own_hz, damping, 0, 0, 0, 0, 4, 92};
    struct sr_log side[2], other_frame, other_camera;
    record(&flight, &r, &side[0], &side[1]);
    for (int s = 0; s < 2; s++) {
        struct sr_rig rig;
        struct sr_slices slices;
        struct sr_score score;
        struct sr_mount_own own;
        struct sr_mount_table table;
        struct sr_mount_ask ask = {
            .shore_a = {50, 70}, .n_shore = 2, .temperature_c = {20}, .n_temperature = 1};
        sr_rig_init(&rig);
        rig.gyro_side = s == 0 ? SR_GYRO_FRAME : SR_GYRO_CAMERA;
        rig.mount.shore_a = 60;
        rig.mount.resonance_hz = own_hz;
        rig.mount.damping = damping;
        side[s].airborne[0] = (struct sr_span){3, 31};
        scored(&side[s], &rig, &slices, &score);
        assert_int_equal(sr_mount_resolve(&own, &rig, NULL, NULL), SR_OK);
        assert_int_equal(sr_mount_table_make(&table, &ask, &own, &slices, &score, &rig, NULL), SR_OK);
        sr_score_release(&score);
        sr_slices_release(&slices);
        for (size_t i = 0; i < 2; i++) {
            struct recorders flown = r;
            flown.fn_hz = own_hz * sqrt(modulus[i] / own_mpa);
            record(&flight, &flown, &other_frame, &other_camera);
            other_camera.airborne[0] = (struct sr_span){3, 31};
            double truth_px = scored(&other_camera, &rig, &slices, &score);
            assert_ratio_near(sr_mount_cell_at(&table, i, 0)->wobble_px.value, truth_px, 0.01);
            sr_score_release(&score);
            sr_slices_release(&slices);
            free_log(&other_frame);
            free_log(&other_camera);
        }
        sr_mount_table_release(&table);
    }
    free_log(&side[0]);
    free_log(&side[1]);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_frame_and_camera_log),
        cmocka_unit_test(test_interval_holds),
        cmocka_unit_test(test_poor_coherence_is_refused),
        cmocka_unit_test(test_unrelated_vibration_is_refused),
        cmocka_unit_test(test_no_mount_and_short_flights_are_refused),
        cmocka_unit_test(test_gaps),
        cmocka_unit_test(test_two_mounts),
        cmocka_unit_test(test_one_mount_twice_is_refused),
        cmocka_unit_test(test_prediction_against_flying_it),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
