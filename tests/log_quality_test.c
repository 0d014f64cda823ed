/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the samples tell: units, clipping, filters, throttle, and what was flight. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "sim/flight.h"
#include "stillrow/log.h"
#include "support/near.h"
#include "support/text_log.h"

#define TURN 6.283185307179586

static void read_or_fail(const struct text *text, const struct sr_log_options *options, struct sr_log *log)
{
    struct sr_error err;

    if (text_read(text, options, log, &err) != SR_OK)
        fail_msg("%s:%zu: %s", err.file, err.line, err.text);
}

/* ---- units of the rates ---------------------------------------------------- */

/* Flights of many sizes, written in both units without saying which. */
static void unwritten_rate_unit(void **state)
{
    static const double flights_dps[] = {8.0, 30.0, 80.0}; /* RMS: from a gentle hover to a chase */
    (void)state;
    for (size_t f = 0; f < 3; f++)
        for (int radians = 0; radians < 2; radians++) {
            struct text text = {0};
            struct sr_log log;
            uint64_t seed = 9;
            text_add(&text, "time (ms),gyro x,gyro y,gyro z\n");
            for (int i = 0; i < 10000; i++) {
                double x[3];
                for (int axis = 0; axis < 3; axis++) {
                    x[axis] = flights_dps[f] * sin(TURN * 0.002 * i + axis) + 2.0 * sim_normal(&seed);
                    x[axis] = round(x[axis] / 0.061) * 0.061 * (radians ? TURN / 360.0 : 1.0);
                }
                text_add(&text, "%d,%.7g,%.7g,%.7g\n", i, x[0], x[1], x[2]);
            }
            read_or_fail(&text, NULL, &log);
            assert_string_equal(log.columns.rate[0].unit, radians ? "rad/s" : "deg/s");
            assert_true(log.columns.rate[0].assumed_unit &&
                        has_note(&log, "no unit is written for the rates"));
            sr_log_release(&log);
            text_free(&text);
        }
}

static void raw_counts(void **state)
{
    struct text text = {0};
    struct sr_log log;
    (void)state;
    text_add(&text, "time (ms),gyro x (LSB),gyro y (LSB),gyro z (LSB)\n");
    for (int i = 0; i < 3000; i++)
        text_add(&text, "%d,%d,%d,%d\n", i, i % 400, -i % 300, i % 77);
    read_or_fail(&text, NULL, &log);
    assert_true(has_note(&log, "raw counts"));
    sr_log_release(&log);
    text_free(&text);
    text_add(&text, "time (ms),gyro x,gyro y,gyro z\n");
    for (int i = 0; i < 3000; i++)
        text_add(&text, "%d,%d,%d,%d\n", i, i % 400, -i % 300, i % 77);
    read_or_fail(&text, NULL, &log);
    assert_true(has_note(&log, "whole numbers"));
    sr_log_release(&log);
    text_free(&text);
}

/* ---- clipping --------------------------------------------------------------- */

/* A swing of `peak` about x, cut at `limit`; how many samples were cut in *cut. */
static void swing(struct text *text, double peak, double limit, double step, size_t *cut)
{
    uint64_t seed = 4;

    *cut = 0;
    text_add(text, "time (us),gyro x (deg/s),gyro y (deg/s),gyro z (deg/s)\n");
    for (int i = 0; i < 8000; i++) {
        const bool burst = i % 2000 < 100;
        double x = 20.0 * sim_normal(&seed) + (burst ? peak * sin(TURN * i / 50.0) : 0.0);
        x = round(x / step) * step;
        if (fabs(x) >= limit) {
            x = copysign(limit, x);
            ++*cut;
        }
        text_add(text, "%d,%.6f,%.3f,%.3f\n", i * 500, x, sim_normal(&seed), 3.0 + 0.01 * (i % 7));
    }
}

static void clipping(void **state)
{
    static const struct {
        double peak, limit, step;
        bool clips;
    } cases[] = {{900, 500, 0.0152, true},  {3000, 1998.17, 0.061, true}, {400, 249.99, 0.0076, true},
                 {400, 500, 0.0152, false}, {30, 2000, 0.061, false},     {0, 2000, 10.0, false}};
    (void)state;
    for (size_t c = 0; c < sizeof cases / sizeof cases[0]; c++) {
        struct text text = {0};
        struct sr_log log;
        size_t cut;
        swing(&text, cases[c].peak, cases[c].limit, cases[c].step, &cut);
        read_or_fail(&text, NULL, &log);
        if (cases[c].clips) {
            assert_true(cut > 50);
            /* single cut samples make no flat top: those are not counted */
            assert_true(log.quality.clipped <= cut && log.quality.clipped > cut - cut / 10);
            assert_near(log.quality.clip_dps, cases[c].limit, 1e-6);
            assert_true(has_note(&log, "sensor's limit"));
        } else if (log.quality.clipped != 0) {
            fail_msg("case %zu: %llu samples at %g", c, (unsigned long long)log.quality.clipped,
                     log.quality.clip_dps);
        }
        sr_log_release(&log);
        text_free(&text);
    }
}

/* A log whose gyro was read at a quarter of its rows. */
static void held_samples(void **state)
{
    struct text text = {0};
    struct sr_log log;
    (void)state;
    text_add(&text, "time (us),gyro x (deg/s),gyro y (deg/s),gyro z (deg/s)\n");
    for (int i = 0; i < 8000; i++)
        text_add(&text, "%d,%.3f,%d,%d\n", i * 500, 30.0 * sin(TURN * 0.013 * (i / 4)), i / 4 % 5, i / 4 % 7);
    read_or_fail(&text, NULL, &log);
    assert_true(has_note(&log, "the rates change once in 4 rows"));
    assert_near(log.quality.nyquist_hz, 250.0, 1.0);
    sr_log_release(&log);
    text_free(&text);
}

/* ---- low-pass ---------------------------------------------------------------- */

/*
 * A flight's spectrum: white sensor noise of 0.007 dps/rtHz, wash below 60 Hz, two
 * lines; then `order` first-order low-passes at corner_hz (0: none), each the exact
 * discretisation y += (1 - exp(-w/fs)) (x - y).
 */
static void flight(struct text *text, double rate_hz, double corner_hz, int order)
{
    uint64_t seed = 12;
    double wash[3] = {0}, filter[3][4] = {{0}};
    const double wash_pole = exp(-TURN * 30.0 / rate_hz);
    const double pole = exp(-TURN * corner_hz / rate_hz);

    text_add(text, "time (us),gyro x (deg/s),gyro y (deg/s),gyro z (deg/s)\n");
    for (int i = 0; i < (int)(16 * rate_hz); i++) {
        const double t = i / rate_hz;
        double x[3];
        for (int axis = 0; axis < 3; axis++) {
            wash[axis] = wash_pole * wash[axis] + 0.3 * sim_normal(&seed);
            x[axis] = wash[axis] + 0.007 * sqrt(rate_hz / 2.0) * sim_normal(&seed) +
                      3.0 * sin(TURN * 187.0 * t + axis) + sin(TURN * 374.0 * t);
            for (int k = 0; k < order && corner_hz > 0.0; k++)
                x[axis] = filter[axis][k] += (1.0 - pole) * (x[axis] - filter[axis][k]);
        }
        text_add(text, "%.0f,%.4f,%.4f,%.4f\n", t * 1e6, x[0], x[1], x[2]);
    }
}

/*
 * A log without a filter must not be called filtered. The range told overlaps what may be
 * called the corner, from where all stages together are 3 dB down, fc sqrt(2^(1/n) - 1), to
 * where one is, and is two octaves wide at most.
 */
static void low_pass(void **state)
{
    static const struct {
        double rate_hz, corner_hz;
        int order;
    } cases[] = {{1000, 0, 0},   {2000, 0, 0},   {4000, 0, 0},   {8000, 0, 0},   {2000, 100, 2},
                 {4000, 150, 2}, {8000, 250, 2}, {2000, 150, 4}, {4000, 300, 4}, {1000, 80, 3}};
    (void)state;
    for (size_t c = 0; c < sizeof cases / sizeof cases[0]; c++) {
        struct text text = {0};
        struct sr_log log;
        const double joint = cases[c].order > 0 ? sqrt(pow(2.0, 1.0 / cases[c].order) - 1.0) : 0.0;
        flight(&text, cases[c].rate_hz, cases[c].corner_hz, cases[c].order);
        read_or_fail(&text, NULL, &log);
        const double low = log.quality.low_pass_low_hz, high = log.quality.low_pass_high_hz;
        if (cases[c].corner_hz < low || joint * cases[c].corner_hz > high || high > 4.1 * low ||
            (low > 0.0) != has_note(&log, "low-pass"))
            fail_msg("%g Hz log filtered at %g Hz: found %g to %g", cases[c].rate_hz, cases[c].corner_hz, low,
                     high);
        sr_log_release(&log);
        text_free(&text);
    }
}

/* ---- throttle ---------------------------------------------------------------- */

static void throttle_scales(void **state)
{
    static const struct {
        const char *name;
        double idle, hover; /* as written */
        double fraction;    /* of hover */
    } cases[] = {{"throttle (%)", 0, 40, 0.4},  {"throttle", 0, 40, 0.4},
                 {"throttle", 0, 0.4, 0.4},     {"throttle", -1, -0.2, 0.4},
                 {"throttle", 1000, 1400, 0.4}, {"throttle", 988, 1400, 0.4},
                 {"throttle", 0, 400, 0.4},     {"throttle", 48, 1146.32, 0.56},
                 {"throttle", 0, 26214, 0.4},   {"throttle (%)", 0.0, 0.9, 0.009}};
    (void)state;
    for (size_t c = 0; c < sizeof cases / sizeof cases[0]; c++) {
        struct text text = {0};
        struct sr_log log;
        text_add(&text, "time (ms),%s,gyro x,gyro y,gyro z\n", cases[c].name);
        for (int i = 0; i < 5000; i++)
            text_add(&text, "%d,%g,%d,%d,%d\n", i, i < 1000 ? cases[c].idle : cases[c].hover, i % 97, i % 91,
                     i % 83);
        read_or_fail(&text, NULL, &log);
        assert_non_null(log.throttle);
        assert_near(log.throttle[60], cases[c].fraction, 1e-9);
        assert_true(has_note(&log, "the throttle") == (strcmp(cases[c].name, "throttle") == 0));
        sr_log_release(&log);
        text_free(&text);
    }
}

/* No pulse before the motors are armed: a tenth of the throttle is no share of 2047 then. Digital outputs do
 * have values on the way. */
static void throttle_off(void **state)
{
    static const struct {
        double off, idle, hover, fraction;
    } cases[] = {{0, 1000, 1400, 0.4}, {0, 988, 1700, 0.7}, {0, 150, 1146.32, 0.56}, {0, 60, 400, 0.4}};
    (void)state;
    for (size_t c = 0; c < sizeof cases / sizeof cases[0]; c++) {
        struct text text = {0};
        struct sr_log log;
        text_add(&text, "time (ms),throttle,gyro x,gyro y,gyro z\n");
        for (int i = 0; i < 8000; i++)
            text_add(&text, "%d,%g,%d,%d,%d\n", i,
                     i < 777 || i > 7321 ? cases[c].off
                     : i < 2000          ? cases[c].idle
                                         : cases[c].hover,
                     i % 97, i % 91, i % 83);
        read_or_fail(&text, NULL, &log);
        if (fabs(log.throttle[60] - cases[c].fraction) > 1e-9)
            fail_msg("%g, %g, %g: read as %g", cases[c].off, cases[c].idle, cases[c].hover, log.throttle[60]);
        assert_int_equal(log.n_airborne, 1);
        if (cases[c].idle > 880.0)
            assert_near(log.airborne[0].from_s, 2.0, 1e-9);
        sr_log_release(&log);
        text_free(&text);
    }
}

static void outputs_for_throttle(void **state)
{
    struct text text = {0};
    struct sr_log log;
    (void)state;
    text_add(&text, "time (ms),motor[0],motor[1],motor[2],motor[3],gyro x,gyro y,gyro z\n");
    for (int i = 0; i < 5000; i++)
        text_add(&text, "%d,%d,1400,1500,%s,%d,%d,%d\n", i, 1300, i == 3000 ? "" : "1600", i % 97, i % 91,
                 i % 83);
    read_or_fail(&text, NULL, &log);
    assert_true(log.columns.throttle_from_outputs && log.columns.n_outputs == 4);
    assert_near(log.throttle[20], 0.45, 1e-9);
    assert_true(has_note(&log, "mean of 4 motor outputs"));
    sr_log_release(&log);
    text_free(&text);
}

/* Motor speeds by another unit, by none, and where one of the motors says nothing. */
static void motor_speeds(void **state)
{
    static const struct {
        const char *name;
        double rpm; /* of a column that holds 250 */
        const char *note;
    } cases[] = {{"motor %d speed (Hz)", 15000.0, NULL},
                 {"rpm %d", 250.0, NULL},
                 {"motor speed %d", 250.0, "taken as rpm"}};
    (void)state;
    for (size_t c = 0; c < sizeof cases / sizeof cases[0]; c++) {
        struct text text = {0};
        struct sr_log log;
        text_add(&text, "time (ms)");
        for (int m = 1; m <= 2; m++) {
            const char *mark = strchr(cases[c].name, '%');
            text_add(&text, ",%.*s%d%s", (int)(mark - cases[c].name), cases[c].name, m, mark + 2);
        }
        text_add(&text, ",gyro x (deg/s),gyro y (deg/s),gyro z (deg/s)\n");
        for (int i = 0; i < 3000; i++)
            text_add(&text, "%d,250,%s,%d,%d,%d\n", i, i < 1500 ? "250" : "", i % 97, i % 91, i % 83);
        read_or_fail(&text, NULL, &log);
        assert_int_equal(log.n_motors, 2);
        assert_near(log.motor_rpm[0][10], cases[c].rpm, 1e-9);
        assert_near(log.motor_rpm[1][10], cases[c].rpm, 1e-9);
        assert_true(isnan(log.motor_rpm[1][45]));
        assert_true(has_note(&log, "motor speed") == (cases[c].note != NULL));
        assert_true(cases[c].note == NULL || has_note(&log, cases[c].note));
        sr_log_release(&log);
        text_free(&text);
    }
}

/* A motor that says nothing, whichever it is, does not hide what the others say. */
static void silent_motor(void **state)
{
    (void)state;
    for (int silent = 0; silent < 3; silent++) {
        struct text text = {0};
        struct sr_log log;
        text_add(&text, "time (ms),rpm 1,rpm 2,rpm 3,gyro x (deg/s),gyro y (deg/s),gyro z (deg/s)\n");
        for (int i = 0; i < 8000; i++) {
            text_add(&text, "%d", i);
            for (int m = 0; m < 3; m++)
                text_add(&text, m == silent ? "," : ",%d", i < 2000 ? 0 : 16000 + m);
            text_add(&text, ",%d,%d,%d\n", i % 97, i % 91, i % 83);
        }
        read_or_fail(&text, NULL, &log);
        assert_int_equal(log.n_motors, 3);
        assert_int_equal(log.airborne_how, SR_AIRBORNE_SPEED);
        assert_near(log.airborne[0].from_s, 2.0, 1e-9);
        for (int m = 0; m < 3; m++)
            assert_true(m == silent ? isnan(log.motor_rpm[m][100]) : log.motor_rpm[m][100] == 16000 + m);
        sr_log_release(&log);
        text_free(&text);
    }
}

/* ---- airborne ---------------------------------------------------------------- */

struct air {
    const char *what;
    bool throttle, rpm;
    double ground_s, flight_s; /* ground before and after */
    double pause_s;            /* on the ground in the middle */
    double quiet_dps, loud_dps;
    enum sr_airborne_how how;
    size_t spans;
};

static bool is_up(const struct air *air, double t)
{
    const double middle = air->ground_s + air->flight_s / 2.0;

    return t >= air->ground_s && t < air->ground_s + air->flight_s && fabs(t - middle) >= air->pause_s / 2.0;
}

static void airborne(void **state)
{
    static const struct air cases[] = {
        {"throttle", true, false, 3, 10, 0, 1, 1, SR_AIRBORNE_THROTTLE, 1},
        {"throttle, a dip", true, false, 3, 10, 1, 1, 1, SR_AIRBORNE_THROTTLE, 1},
        {"throttle, two flights", true, false, 3, 20, 4, 1, 1, SR_AIRBORNE_THROTTLE, 2},
        {"throttle, all flight", true, false, 0, 10, 0, 1, 1, SR_AIRBORNE_THROTTLE, 1},
        {"speed", false, true, 3, 10, 0, 1, 1, SR_AIRBORNE_SPEED, 1},
        {"shake", false, false, 3, 10, 0, 0.2, 20, SR_AIRBORNE_SHAKE, 1},
        {"no contrast", false, false, 3, 10, 0, 5, 6, SR_AIRBORNE_WHOLE, 1},
    };
    (void)state;
    for (size_t c = 0; c < sizeof cases / sizeof cases[0]; c++) {
        const struct air *air = &cases[c];
        const double length_s = 2.0 * air->ground_s + air->flight_s;
        struct text text = {0};
        struct sr_log log;
        uint64_t seed = 8;
        text_add(&text, "time (ms)%s%s,gyro x (deg/s),gyro y (deg/s),gyro z (deg/s)\n",
                 air->throttle ? ",throttle (%)" : "", air->rpm ? ",rpm 1,rpm 2" : "");
        for (int i = 0; i < (int)(length_s * 1000.0); i++) {
            const bool up = is_up(air, i * 1e-3);
            const double shake = up ? air->loud_dps : air->quiet_dps;
            text_add(&text, "%d", i);
            if (air->throttle)
                text_add(&text, ",%d", up ? 35 : 4);
            if (air->rpm)
                text_add(&text, ",%d,%d", up ? 16000 : 2500, up ? 15500 : 2600);
            text_add(&text, ",%.3f,%.3f,%.3f\n", shake * sim_normal(&seed), shake * sim_normal(&seed),
                     shake * sim_normal(&seed));
        }
        read_or_fail(&text, NULL, &log);
        if (log.airborne_how != air->how || log.n_airborne != air->spans)
            fail_msg("%s: how %d, %zu spans", air->what, (int)log.airborne_how, log.n_airborne);
        const bool whole = air->how == SR_AIRBORNE_WHOLE;
        assert_near(log.airborne[0].from_s, whole ? 0.0 : air->ground_s, 0.051);
        assert_near(log.airborne[air->spans - 1].to_s, whole ? length_s : air->ground_s + air->flight_s,
                    0.051);
        if (air->spans == 2) {
            assert_near(log.airborne[0].to_s, air->ground_s + air->flight_s / 2.0 - air->pause_s / 2.0,
                        0.051);
            assert_near(log.airborne[1].from_s, air->ground_s + air->flight_s / 2.0 + air->pause_s / 2.0,
                        0.051);
        }
        assert_true(has_note(&log, "nothing tells ground from air") == whole);
        sr_log_release(&log);
        text_free(&text);
    }
}

static void too_little_flight(void **state)
{
    struct text text = {0};
    struct sr_log log;
    struct sr_error err;
    struct sr_log_options options;
    (void)state;
    text_add(&text, "time (ms),throttle (%%),gyro x,gyro y,gyro z\n");
    for (int i = 0; i < 9000; i++)
        text_add(&text, "%d,%d,%d,%d,%d\n", i, i > 4000 && i < 5500 ? 40 : 3, i % 97, i % 91, i % 83);
    assert_int_equal(text_read(&text, NULL, &log, &err), SR_ERR_SHORT);
    assert_non_null(strstr(err.text, "1.5 s of it are airborne"));
    sr_log_options_init(&options);
    options.idle_throttle = 0.02; /* of another rig: then all of it is */
    read_or_fail(&text, &options, &log);
    assert_int_equal(log.n_airborne, 1);
    assert_near(log.airborne[0].to_s, 9.0, 1e-6);
    sr_log_release(&log);
    text_free(&text);
}

/* A simulated flight, from its own writer to the reader: what was flown is what is read. */
static void simulated_flight(void **state)
{
    struct sim_flight plan;
    struct sim_samples samples;
    struct text text = {0};
    struct sr_log log;
    char *bytes = NULL;
    size_t size = 0;
    (void)state;
    sim_flight_init(&plan);
    assert_int_equal(sim_fly(&plan, &samples), 0);
    FILE *out = open_memstream(&bytes, &size);
    assert_non_null(out);
    const struct sim_csv csv = {.throttle = true,
                                .motor_rpm = true,
                                .padding_columns = 3,
                                .rate_digits = 5,
                                .preamble = "# heron, at the lake\n"};
    assert_int_equal(sim_write_csv(&samples, &csv, out), 0);
    fclose(out);
    text_bytes(&text, bytes, size);
    read_or_fail(&text, NULL, &log);
    assert_int_equal(log.count, samples.count);
    assert_near(log.rate_hz, samples.rate_hz, 1e-3);
    for (size_t axis = 0; axis < 3; axis++)
        for (size_t i = 0; i < samples.count; i++)
            assert_near(log.gyro_dps[axis][i], samples.gyro_dps[axis][i], 0.51e-5);
    assert_int_equal(log.n_motors, SIM_MOTORS);
    assert_int_equal(log.airborne_how, SR_AIRBORNE_THROTTLE);
    assert_int_equal(log.n_airborne, 1);
    assert_near(log.airborne[0].from_s, samples.airborne_from_s,
                1.0); /* throttle comes up over part of a second */
    assert_near(log.airborne[0].to_s, samples.airborne_to_s, 1.0);
    const size_t middle = samples.count / 2;
    assert_near(
        sr_log_slow_mean(&log, log.throttle, samples.time_s[middle] - 0.1, samples.time_s[middle] + 0.1),
        samples.throttle[middle], 0.02);
    sr_log_release(&log);
    sim_samples_release(&samples);
    text_free(&text);
    free(bytes);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(unwritten_rate_unit),
        cmocka_unit_test(raw_counts),
        cmocka_unit_test(clipping),
        cmocka_unit_test(held_samples),
        cmocka_unit_test(low_pass),
        cmocka_unit_test(throttle_scales),
        cmocka_unit_test(throttle_off),
        cmocka_unit_test(outputs_for_throttle),
        cmocka_unit_test(airborne),
        cmocka_unit_test(motor_speeds),
        cmocka_unit_test(silent_motor),
        cmocka_unit_test(too_little_flight),
        cmocka_unit_test(simulated_flight),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
