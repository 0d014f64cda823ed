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
    struct sr_log log = {.name = (char *)"made", .rate_hz = rate_hz, .count = count, .n_runs = 1, .n_airborne = 1};
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
static void mount_camera(const double *base, size_t count, double rate_hz, double fn_hz, double damping, double *camera)
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

static void test_frame_and_camera_log(void **state)
{
    (void)state;
    const struct recorders cases[] = {
        {45, 0.10, 0.01, 0, 0, 0, 2, 11},     {62, 0.06, 0.02, 3.217, 80, 25, 4, 12},
        {90, 0.15, 0.01, 1.004, -150, -30, 4, 13}, {30, 0.20, 0.02, 0.51, 30, 10, 2, 14},
        {75, 0.04, 0.01, 5.5, 0, 0, 4, 15},
    };
    for (size_t c = 0; c < sizeof cases / sizeof cases[0]; c++) {
        const struct sim_flight flight = quick_flight(cases[c].seed, 60);
        struct sr_log frame, camera;
        struct sr_transfer transfer;
        struct sr_identified found;
        struct sr_error err = {0};
        record(&flight, &cases[c], &frame, &camera);
        enum sr_status status = sr_transfer_make(&transfer, &frame, &camera, &err);
        if (status == SR_OK)
            status = sr_identify_transfer(&found, &transfer, &err);
        if (status != SR_OK)
            fail_msg("case %zu: %s", c, err.text);
        print_message("fn %g: %.3f (%.2f..%.2f), zeta %g: %.4f (%.4f..%.4f), %s\n", cases[c].fn_hz, found.fn_hz.value, found.fn_hz.low, found.fn_hz.high,
                      cases[c].damping, found.damping.value, found.damping.low, found.damping.high, found.text);
        assert_ratio_near(found.fn_hz.value, cases[c].fn_hz, 0.05);
        assert_ratio_near(found.damping.value, cases[c].damping, 0.20);
        assert_near(transfer.lag_s, -cases[c].offset_s, 0.02);
        sr_transfer_release(&transfer);
        free_log(&frame);
        free_log(&camera);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_frame_and_camera_log),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
