/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What column names are taken to mean. The expectations are the rule of docs/method.md, read by a person. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "log/names.h"
#include "log/sets.h"
#include "log/spec.h"

struct expected {
    const char *text;
    enum sr_role role;
    int index;
    const char *unit;
};

static void check(const struct expected *expected, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        struct sr_name name;
        sr_name_read(expected[i].text, strlen(expected[i].text), &name);
        if (name.role != expected[i].role || name.index != expected[i].index ||
            strcmp(name.unit, expected[i].unit) != 0)
            fail_msg("'%s': role %d, index %d, unit '%s'", expected[i].text, (int)name.role, name.index,
                     name.unit);
    }
}

static void times(void **state)
{
    static const struct expected cases[] = {
        {"time", SR_ROLE_TIME, -1, ""},
        {"#timestamp [ns]", SR_ROLE_TIME, -1, "ns"},
        {"# Time (s)", SR_ROLE_TIME, -1, "s"},
        {"time_us", SR_ROLE_TIME, -1, "us"},
        {"timeUs", SR_ROLE_TIME, -1, "us"},
        {"timems", SR_ROLE_TIME, -1, "ms"},
        {"Time (\xC2\xB5s)", SR_ROLE_TIME, -1, "us"},
        {"Time (\xCE\xBCs)", SR_ROLE_TIME, -1, "us"},
        {"Time [\xB5s]", SR_ROLE_TIME, -1, "us"},
        {"t", SR_ROLE_TIME, -1, ""},
        {"T [ms]", SR_ROLE_TIME, -1, "ms"},
        {"seconds", SR_ROLE_TIME, -1, "s"},
        {"micros", SR_ROLE_TIME, -1, "us"},
        {"Clock", SR_ROLE_TIME, -1, ""},
        {"gps time", SR_ROLE_TIME, -1, ""},
        {"dt", SR_ROLE_NONE, -1, ""},
        {"delta time", SR_ROLE_NONE, -1, ""},
        {"count", SR_ROLE_NONE, -1, ""},
        {"sample", SR_ROLE_NONE, -1, ""},
        {"temperature", SR_ROLE_NONE, -1, ""},
        {"latency (ms)", SR_ROLE_NONE, -1, "ms"},
        {"speed (m/s)", SR_ROLE_NONE, -1, "ms"}, /* the marks of a unit do not count */
    };
    (void)state;
    check(cases, sizeof cases / sizeof cases[0]);
}

static void rates(void **state)
{
    static const struct expected cases[] = {
        {"w_RS_S_x [rad s^-1]", SR_ROLE_RATE, 0, "rad/s"},
        {"Gyroscope Y (deg/s)", SR_ROLE_RATE, 1, "deg/s"},
        {"gyroX", SR_ROLE_RATE, 0, ""},
        {"GYRO_Z", SR_ROLE_RATE, 2, ""},
        {"gyroy", SR_ROLE_RATE, 1, ""},
        {"xGyro", SR_ROLE_RATE, 0, ""},
        {"gx", SR_ROLE_RATE, 0, ""},
        {"g_y", SR_ROLE_RATE, 1, ""},
        {"wz", SR_ROLE_RATE, 2, ""},
        {"omega_x", SR_ROLE_RATE, 0, ""},
        {"angular_velocity.y", SR_ROLE_RATE, 1, ""},
        {"angVel[2]", SR_ROLE_RATE, 2, ""},
        {"gyro[0]", SR_ROLE_RATE, 0, ""},
        {"gyro(1)", SR_ROLE_RATE, 1, ""},
        {"gyro 3", SR_ROLE_RATE, 3, ""},
        {"rate[1]", SR_ROLE_RATE, 1, ""},
        {"rollRate", SR_ROLE_RATE, 0, ""},
        {"pitch rate (dps)", SR_ROLE_RATE, 1, "deg/s"},
        {"yawrate", SR_ROLE_RATE, 2, ""},
        {"roll (\xC2\xB0/s)", SR_ROLE_RATE, 0, "deg/s"},
        {"gyro_x_rad_s", SR_ROLE_RATE, 0, "rad/s"},
        {"gyro_x_dps", SR_ROLE_RATE, 0, "deg/s"},
        {"p", SR_ROLE_RATE, 0, ""},
        {"r (rad/s)", SR_ROLE_RATE, 2, "rad/s"},
        {"imu0.gyro.q", SR_ROLE_RATE, 1, ""},
        {"gyro x (mdps)", SR_ROLE_RATE, 0, "mdeg/s"},
        /* not the measured rate */
        {"roll rate setpoint", SR_ROLE_NONE, 0, ""},
        {"rateSetpoint[0]", SR_ROLE_NONE, 0, ""},
        {"pitch_rate_cmd", SR_ROLE_NONE, 1, ""},
        {"target_rate_x", SR_ROLE_NONE, 0, ""},
        {"desired yaw rate", SR_ROLE_NONE, 2, ""},
        {"gyro_x_demanded", SR_ROLE_NONE, 0, ""},
        {"commandedRate[2]", SR_ROLE_NONE, 2, ""},
        {"roll", SR_ROLE_NONE, 0, ""},
        {"roll (deg)", SR_ROLE_NONE, 0, "deg"},
        {"gyro_bias_x", SR_ROLE_NONE, 0, ""},
        {"gyro x temp", SR_ROLE_NONE, 0, ""},
        {"rate_x_error", SR_ROLE_NONE, 0, ""},
        {"q_x", SR_ROLE_NONE, 0, ""},
        {"mag_x", SR_ROLE_NONE, 0, ""},
        {"gyro", SR_ROLE_NONE, -1, ""},
    };
    (void)state;
    check(cases, sizeof cases / sizeof cases[0]);
}

static void the_rest(void **state)
{
    static const struct expected cases[] = {
        {"throttle", SR_ROLE_THROTTLE, -1, ""},
        {"Throttle (%)", SR_ROLE_THROTTLE, -1, "%"},
        {"throttle_pct", SR_ROLE_THROTTLE, -1, "%"},
        {"rc_throttle", SR_ROLE_THROTTLE, -1, ""},
        {"throttle cut", SR_ROLE_NONE, -1, ""},
        {"rpm1", SR_ROLE_SPEED, 1, "rpm"},
        {"motor 2 (rpm)", SR_ROLE_SPEED, 2, "rpm"},
        {"eRPM[3]", SR_ROLE_SPEED, 3, "rpm"},
        {"motor_rpm_0", SR_ROLE_SPEED, 0, "rpm"},
        {"motor speed 3", SR_ROLE_SPEED, 3, ""},
        {"motor 1 speed (Hz)", SR_ROLE_SPEED, 1, "hz"},
        {"rpm target 1", SR_ROLE_NONE, 1, ""},
        {"motor[0]", SR_ROLE_OUTPUT, 0, ""},
        {"Motor 4", SR_ROLE_OUTPUT, 4, ""},
        {"out 1", SR_ROLE_OUTPUT, 1, ""},
        {"output[2]", SR_ROLE_OUTPUT, 2, ""},
        {"motor 1 temperature", SR_ROLE_NONE, 1, ""},
        {"motor 1 (A)", SR_ROLE_NONE, 1, ""},
        {"acc_x", SR_ROLE_ACCEL, 0, ""},
        {"a_RS_S_y [m s^-2]", SR_ROLE_ACCEL, 1, "m/s2"},
        {"Accelerometer Z (g)", SR_ROLE_ACCEL, 2, "g"},
        {"", SR_ROLE_NONE, -1, ""},
        {"12.5", SR_ROLE_NONE, -1, ""},
        {"-3", SR_ROLE_NONE, -1, ""},
    };
    (void)state;
    check(cases, sizeof cases / sizeof cases[0]);
}

static void markers(void **state)
{
    static const struct {
        const char *text;
        int marker;
    } cases[] = {{"gyro_raw_x", 2},       {"gyroUnfilt[0]", 2},  {"gyro unfiltered y", 2},
                 {"rawGyro.x", 2},        {"gyro_nofilt_z", 2},  {"un-filtered gyro x", 2},
                 {"gyroPreFilter[1]", 2}, {"gyro_unf_x", 2},     {"gyroX", 1},
                 {"gyroADC[0]", 1},       {"gyro_filt_x", 0},    {"gyro filtered x", 0},
                 {"gyro_lpf_x", 0},       {"smoothed gyro x", 0}};
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct sr_name name;
        sr_name_read(cases[i].text, strlen(cases[i].text), &name);
        if (name.marker != cases[i].marker)
            fail_msg("'%s' is marked %d", cases[i].text, name.marker);
    }
}

/* Names separated by '|' into a choice. */
static void choose(const char *row, struct sr_choice *choice)
{
    static struct sr_name name[64];
    size_t n = 0;

    for (const char *p = row; n < 64; n++) {
        const size_t size = strcspn(p, "|");
        sr_name_read(p, size, &name[n]);
        if (p[size] == '\0') {
            n++;
            break;
        }
        p += size + 1;
    }
    sr_choose(name, n, choice);
}

static void sets(void **state)
{
    struct sr_choice c;
    (void)state;

    choose("time|setpoint[0]|setpoint[1]|setpoint[2]|gyro[0]|gyro[1]|gyro[2]|gyroUnfilt[0]|gyroUnfilt[1]|"
           "gyroUnfilt[2]",
           &c);
    assert_true(c.time == 0 && c.rate[0] == 7 && c.rate[1] == 8 && c.rate[2] == 9 && c.rate_sets == 2 &&
                c.marker == 2);
    assert_int_equal(c.other_rate, 4);

    choose("t|gyro_filt_z|gyro_filt_y|gyro_filt_x|gyro_z|gyro_y|gyro_x", &c);
    assert_true(c.rate[0] == 6 && c.rate[1] == 5 && c.rate[2] == 4 && c.marker == 1);

    choose("t|gyro 1|gyro 2|gyro 3|rpm 1|rpm 2|rpm 3|rpm 4", &c); /* numbers from 1 */
    assert_true(c.rate[0] == 1 && c.rate[2] == 3 && c.n_motors == 4 && c.motor[0] == 4 && c.motor[3] == 7);

    choose("count|a_x|a_y|a_z|g_x|g_y|g_z", &c); /* a short name where there is no better one */
    assert_true(c.time == -1 && c.rate[0] == 4 && c.rate[2] == 6 && c.accel[0] == 1 && c.accel[2] == 3);

    choose("t|g_x|g_y|g_z|gyro_x|gyro_y|gyro_z|q_w|q_x|q_y|q_z", &c);
    assert_true(c.rate[0] == 4 && c.rate[2] == 6);

    choose("t|gyro_raw_x|gyro_raw_y|gyro_x|gyro_y|gyro_z", &c); /* the raw set is not whole */
    assert_true(c.rate[0] == 3 && c.rate_sets == 1);

    choose("t|roll rate|pitch rate|rate z", &c); /* axes of different kinds make no set */
    assert_int_equal(c.rate[0], -1);

    choose("gps time|timestamp (us)|gyro x|gyro y|gyro z|eRPM[0]|eRPM[1]|rpm 1|rpm 2", &c);
    assert_true(c.time == 1 && c.other_time == 0 && !c.electrical && c.motor[0] == 7 && c.n_motors == 2);

    choose("t|gx|gy|gz|erpm 1|erpm 2|erpm 3|erpm 4|motor[0]|motor[1]|motor[2]|motor[3]", &c);
    assert_true(c.electrical && c.n_motors == 4 && c.n_outputs == 4 && c.output[3] == 11);

    choose("t|gx|gy|gz|rpm front left|rpm front right|rpm rear left|rpm rear right", &c);
    assert_true(c.n_motors == 4 && c.motor[0] == 4 && c.motor[3] == 7);

    choose("t|gx|gy|gz|throttle trim|rc throttle|throttle", &c);
    assert_int_equal(c.throttle, 6);

    choose("a|b|c", &c);
    assert_true(c.time == -1 && c.rate[0] == -1 && c.throttle == -1 && c.n_motors == 0 && c.n_outputs == 0);
}

static void spec(void **state)
{
    struct sr_spec s;
    struct sr_error err;
    struct sr_name name[4];
    static const char *const bad[] = {"",
                                      "time",
                                      "q=1",
                                      "x=1",
                                      "x=1,y=2",
                                      "x=1,y=2,z=",
                                      "x=1,x=2,y=1,z=3",
                                      "motor9=1",
                                      "motor0=1",
                                      "time=0",
                                      "x=99999,y=1,z=2",
                                      "X=1,y=2,z=3"};
    (void)state;

    assert_int_equal(sr_spec_read(&s, "time=T, boot,x=gyro, x,y=3,z=4,throttle=Thr,motor8=m", &err), SR_OK);
    assert_true(s.item[SR_SPEC_TIME].size == 7 && memcmp(s.item[SR_SPEC_TIME].text, "T, boot", 7) == 0);
    assert_true(s.item[SR_SPEC_X].size == 7 && s.item[SR_SPEC_Y].number == 3 && !s.numbers && s.given);
    assert_true(s.item[SR_SPEC_MOTOR + 7].size == 1);
    assert_int_equal(sr_spec_read(&s, "x=1,y=2,z=3", &err), SR_OK);
    assert_true(s.numbers);
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        err.text[0] = '\0';
        if (sr_spec_read(&s, bad[i], &err) != SR_ERR_ARGUMENT || err.text[0] == '\0')
            fail_msg("columns '%s' were accepted", bad[i]);
    }

    sr_name_read("Gyro X (deg/s)", 14, &name[0]);
    sr_name_read("gyro x", 6, &name[1]);
    sr_name_read("Pitch", 5, &name[2]);
    sr_name_read("pitch", 5, &name[3]);
    const struct sr_spec_item exact = {.text = "gyro x", .size = 6};
    const struct sr_spec_item any_case = {.text = "GYRO X", .size = 6};
    const struct sr_spec_item twice = {.text = "PITCH", .size = 5};
    const struct sr_spec_item none = {.text = "yaw", .size = 3};
    const struct sr_spec_item number = {.text = "4", .size = 1, .number = 4};
    const struct sr_spec_item beyond = {.text = "5", .size = 1, .number = 5};
    assert_int_equal(sr_spec_find(&exact, name, 4), 1);
    assert_int_equal(sr_spec_find(&any_case, name, 4), 1);
    assert_int_equal(sr_spec_find(&twice, name, 4), -2);
    assert_int_equal(sr_spec_find(&none, name, 4), -1);
    assert_int_equal(sr_spec_find(&number, name, 4), 3);
    assert_int_equal(sr_spec_find(&beyond, name, 4), -1);
    assert_int_equal(sr_spec_find(&any_case, name, 1), 0); /* the same words, the unit left out */
}

/* Words and texts longer than their room are cut, not spilled. */
static void long_names(void **state)
{
    struct sr_name name;
    char text[3000];
    (void)state;
    memset(text, 'g', sizeof text);
    sr_name_read(text, sizeof text, &name);
    assert_int_equal(strlen(name.text), SR_KEY_MAX - 1);
    for (size_t i = 0; i < sizeof text; i++)
        text[i] = (i & 1) != 0 ? '_' : 'x';
    sr_name_read(text, sizeof text, &name);
    assert_int_equal(name.n_words, SR_NAME_WORDS);
    memset(text, '(', sizeof text);
    sr_name_read(text, sizeof text, &name);
    for (size_t i = 0; i < sizeof text; i++)
        text[i] = (char)(i * 37 + 1);
    sr_name_read(text, sizeof text, &name);
    assert_true(name.n_words <= SR_NAME_WORDS);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(times),      cmocka_unit_test(rates), cmocka_unit_test(the_rest),
        cmocka_unit_test(markers),    cmocka_unit_test(sets),  cmocka_unit_test(spec),
        cmocka_unit_test(long_names),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
