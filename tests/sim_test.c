/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The simulated flight says what it says it says: each source alone, against its
 * closed form; and the committed sample logs are the ones that generate.c makes.
 */
#include <complex.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

#include "sim/flight.h"

/* The generator itself, so that the test needs no other program to be built first. */
int generate_main(int argc, char **argv);
#define main generate_main
#include "../sample-logs/generate.c"
#undef main

#define PI 3.14159265358979323846

/* A flight in which nothing moves: 20 s in the air from the first sample, constant throttle but for the
 * hover's. */
static void still(struct sim_flight *f)
{
    memset(f, 0, sizeof *f);
    f->seed = 7;
    f->rate_hz = 1000;
    f->flight_s = 20;
    f->profile = SIM_HOVER;
    f->hover_throttle = 0.4;
    f->hover_rpm = 12000;
}

static struct sim_samples fly(const struct sim_flight *f)
{
    struct sim_samples s;
    assert_int_equal(sim_fly(f, &s), 0);
    return s;
}

static double mean_square(const double *x, size_t from, size_t to)
{
    double sum = 0;
    for (size_t i = from; i < to; i++)
        sum += x[i] * x[i];
    return sum / (double)(to - from);
}

static double mean_square3(const struct sim_samples *s, size_t from, size_t to)
{
    double sum = 0;
    for (int a = 0; a < 3; a++)
        sum += mean_square(s->gyro_dps[a], from, to);
    return sum;
}

/* RMS of the sinusoid at hz in x, by projection: exact for whole periods in the record. */
static double line_rms(const double *x, size_t n, double rate_hz, double hz)
{
    double complex sum = 0;
    for (size_t i = 0; i < n; i++)
        sum += x[i] * cexp(-2 * PI * I * hz * (double)i / rate_hz);
    return sqrt(2) * cabs(sum) / (double)n;
}

static void test_sine(void **state)
{
    (void)state;
    for (int k = -4000; k <= 4000; k++) {
        double turns = k / 1237.0, whole = remainder(turns, 1);
        assert_true(fabs(sim_sine(turns) - sin(2 * PI * whole)) < 2e-15);
    }
    assert_true(sim_sine(0) == 0 && sim_sine(-3) == 0);
}

/* splitmix64 of state 1234567: widely published test outputs, quoted from memory. */
static void test_random(void **state)
{
    static const uint64_t expected[] = {UINT64_C(6457827717110365317), UINT64_C(3203168211198807973),
                                        UINT64_C(9817491932198370423), UINT64_C(4593380528125082431)};
    uint64_t s = 1234567;
    const int n = 400000;
    double m1 = 0, m2 = 0, m3 = 0, m4 = 0;
    (void)state;
    for (size_t k = 0; k < 4; k++)
        assert_true(sim_uniform(&s) == (double)(expected[k] >> 11) / 9007199254740992.0);
    for (int i = 0; i < n; i++) {
        double x = sim_normal(&s);
        m1 += x / n;
        m2 += x * x / n;
        m3 += x * x * x / n;
        m4 += x * x * x * x / n;
    }
    /* Five standard errors of the moments of a normal variable: 1, 2, 15, 96 over n. */
    assert_true(fabs(m1) < 5 * sqrt(1.0 / n));
    assert_true(fabs(m2 - 1) < 5 * sqrt(2.0 / n));
    assert_true(fabs(m3) < 5 * sqrt(15.0 / n));
    assert_true(fabs(m4 - 3) < 5 * sqrt(96.0 / n));
}

static void test_tone(void **state)
{
    struct sim_flight f;
    (void)state;
    still(&f);
    f.tone[0] = (struct sim_tone){137, 10, {0, 3, 4}};
    f.tone[1] = (struct sim_tone){730, 5, {1, 0, 0}}; /* folds to 270 Hz */
    struct sim_samples s = fly(&f);
    assert_int_equal(s.count, 20000);
    assert_true(fabs(line_rms(s.gyro_dps[1], s.count, 1000, 137) - 6) < 1e-6);
    assert_true(fabs(line_rms(s.gyro_dps[2], s.count, 1000, 137) - 8) < 1e-6);
    assert_true(fabs(line_rms(s.gyro_dps[0], s.count, 1000, 270) - 5) < 1e-6);
    assert_true(fabs(mean_square3(&s, 0, s.count) - 125) < 1e-6);
    sim_samples_release(&s);

    /* Second-order Butterworth: |H|^2 = 1 / (1 + (f / fc)^4). */
    f.antialias_hz = 200;
    s = fly(&f);
    assert_true(fabs(line_rms(s.gyro_dps[0], s.count, 1000, 270) - 5 / sqrt(1 + pow(3.65, 4))) < 1e-6);
    sim_samples_release(&s);
}

/* Motor speed follows the square root of throttle, and the line's power the fourth power of the speed. */
static void test_imbalance(void **state)
{
    struct sim_flight f;
    (void)state;
    for (int motor = 0; motor < SIM_MOTORS; motor++) {
        still(&f);
        f.profile = SIM_CLIMBS;
        f.imbalance_dps[motor] = 20;
        struct sim_samples s = fly(&f);
        double fourth = 0, turns = 0, speed = 0;
        double complex line = 0;
        for (size_t i = 0; i < s.count; i++) {
            double hz = s.motor_rpm[motor][i] / 60;
            fourth += pow(hz / 200, 4) / (double)s.count;
            turns += i > 0 ? (hz + s.motor_rpm[motor][i - 1] / 60) / 2 / 1000 : 0;
            speed = sqrt(s.throttle[i] / 0.4);
            assert_true(fabs(hz / 200 / speed - 1) < 0.06); /* lag, and a little wander */
            line += s.gyro_dps[1][i] * cexp(-2 * PI * I * turns) / (double)s.count;
        }
        double power = mean_square3(&s, 0, s.count);
        assert_true(fabs(sqrt(power / (400 * fourth)) - 1) < 0.01);
        /* All of it turns with the motor: what projection on its angle finds is nearly everything. */
        assert_true(2 * cabs(line) * cabs(line) > 0.8 * mean_square(s.gyro_dps[1], 0, s.count));
        sim_samples_release(&s);
    }
}

/* r = f / fn: the added part is drive r^2 / (1 - r^2 + 2 i z r) on the mode's axis. */
static void test_mode(void **state)
{
    struct sim_flight f;
    (void)state;
    still(&f);
    f.profile = SIM_CLIMBS;
    f.imbalance_dps[0] = 10;
    struct sim_samples rigid = fly(&f);
    f.mode[0] = (struct sim_mode){190, 0.05, 0.7, {0, 2, 0}};
    struct sim_samples bent = fly(&f);
    double expected = 0;
    for (size_t i = 0; i < rigid.count; i++) {
        double r = rigid.motor_rpm[0][i] / 60 / 190;
        double complex h = 1 + 0.7 * r * r / (1 - r * r + 2 * I * 0.05 * r);
        double amplitude2 = 100 / 1.125 * pow(rigid.motor_rpm[0][i] / 12000, 4);
        expected += amplitude2 * creal(h * conj(h)) / 2 / (double)rigid.count;
    }
    /* An imbalance of RMS d has amplitude d / sqrt(1.125) on roll and on pitch: 1 + 1 + 0.25 over 2. */
    assert_true(fabs(mean_square(bent.gyro_dps[1], 0, bent.count) / expected - 1) < 0.02);
    assert_memory_equal(rigid.gyro_dps[0], bent.gyro_dps[0], rigid.count * sizeof(double));
    sim_samples_release(&rigid);
    sim_samples_release(&bent);
}

/* Wash: white noise through a Butterworth low-pass at 150 Hz; a mode adds its band-pass of it. */
static void test_wash(void **state)
{
    struct sim_flight f;
    (void)state;
    still(&f);
    f.flight_s = 200;
    f.wash_dps = 6;
    f.mode[0] = (struct sim_mode){120, 0.06, 0.8, {0, 0, 1}};
    struct sim_samples s = fly(&f);
    double plain = 0, rung = 0;
    for (double hz = 0.05; hz < 4000; hz += 0.1) {
        double r = hz / 120, low = 1 / (1 + pow(hz / 150, 4));
        double complex h = 1 + 0.8 * r * I / (1 - r * r + 2 * I * 0.06 * r);
        plain += low * 0.1;
        rung += low * creal(h * conj(h)) * 0.1;
    }
    /* Two standard errors of a mean square over 200 s of 150 Hz wide noise are about 1 %. */
    assert_true(fabs(mean_square(s.gyro_dps[0], 0, s.count) / 36 - 1) < 0.03);
    assert_true(fabs(mean_square(s.gyro_dps[2], 0, s.count) / 36 / (rung / plain) - 1) < 0.05);
    sim_samples_release(&s);
}

static void test_ground_and_knock(void **state)
{
    struct sim_flight f;
    (void)state;
    still(&f);
    f.ground_s = 3;
    f.noise_dps_rthz = 0.01;
    f.imbalance_dps[1] = 8;
    f.knock_s = 12;
    f.knock_motor = 1;
    f.knock_factor = 4;
    struct sim_samples s = fly(&f);
    assert_int_equal(s.count, 26000);
    assert_true(s.airborne_from_s == 3 && s.airborne_to_s == 23);
    double sigma2 = 0.01 * 0.01 * 500; /* density^2 times bandwidth */
    assert_true(fabs(mean_square3(&s, 0, 3000) / (3 * sigma2) - 1) < 0.1);
    assert_true(fabs(mean_square3(&s, 23000, 26000) / (3 * sigma2) - 1) < 0.1);
    assert_true(s.throttle[2999] == 0 && s.throttle[3000] > 0.3 && s.motor_rpm[0][2999] == 0);
    double before = mean_square3(&s, 5000, 15000), after = mean_square3(&s, 15000, 23000);
    assert_true(fabs(sqrt(before) / 8 - 1) < 0.05);
    assert_true(fabs(sqrt(after / before) / 4 - 1) < 0.05);
    sim_samples_release(&s);
}

static void test_sensor(void **state)
{
    struct sim_flight f;
    size_t at_limit = 0;
    (void)state;
    still(&f);
    f.tone[0] = (struct sim_tone){31, 100, {1, 0, 0}};
    f.step_dps = 0.25;
    f.clip_dps = 120;
    struct sim_samples s = fly(&f);
    for (size_t i = 0; i < s.count; i++) {
        double x = s.gyro_dps[0][i];
        assert_true(fabs(x) <= 120 && x * 4 == round(x * 4));
        at_limit += fabs(x) == 120;
    }
    /* A sinusoid of amplitude a is beyond c for 2 acos(c / a) / pi of the time. */
    assert_true(fabs((double)at_limit / (double)s.count - 2 * acos(120 / (100 * sqrt(2))) / PI) < 0.01);
    sim_samples_release(&s);
}

static void test_same_seed(void **state)
{
    struct sim_flight f;
    (void)state;
    sim_flight_init(&f);
    f.flight_s = 4;
    struct sim_samples a = fly(&f), b = fly(&f);
    f.seed++;
    struct sim_samples c = fly(&f);
    for (int k = 0; k < 3; k++) {
        assert_memory_equal(a.gyro_dps[k], b.gyro_dps[k], a.count * sizeof(double));
        assert_memory_not_equal(a.gyro_dps[k], c.gyro_dps[k], a.count * sizeof(double));
    }
    sim_samples_release(&a);
    sim_samples_release(&b);
    sim_samples_release(&c);
}

static size_t count_char(const char *text, char c)
{
    size_t n = 0;
    for (; *text != '\0'; text++)
        n += *text == c;
    return n;
}

static void test_csv(void **state)
{
    struct sim_flight f;
    const struct sim_csv csv = {true, true, 5, 3, "a note\n"};
    char line[512];
    size_t rows = 0;
    (void)state;
    sim_flight_init(&f);
    f.flight_s = 2;
    struct sim_samples s = fly(&f);
    FILE *file = tmpfile();
    assert_non_null(file);
    assert_int_equal(sim_write_csv(&s, &csv, file), 0);
    rewind(file);
    assert_non_null(fgets(line, sizeof line, file));
    assert_string_equal(line, "a note\n");
    assert_non_null(fgets(line, sizeof line, file));
    assert_int_equal(count_char(line, ','), 13);
    for (; fgets(line, sizeof line, file) != NULL; rows++) {
        char *end;
        assert_int_equal(count_char(line, ','), 13);
        assert_true(strtod(line, &end) == round(s.time_s[rows] * 1e6));
        assert_true(fabs(strtod(end + 1, &end) - s.gyro_dps[0][rows]) < 0.00051);
    }
    assert_int_equal(rows, s.count);
    fclose(file);
    sim_samples_release(&s);
    /* A full disk is noticed. */
    file = fopen("/dev/full", "w");
    if (file == NULL) {
        print_message("SKIPPED: there is no /dev/full here\n");
        return;
    }
    s = fly(&f);
    assert_int_equal(sim_write_csv(&s, &csv, file), -1);
    fclose(file);
    sim_samples_release(&s);
}

static void assert_same_file(const char *path_a, const char *path_b)
{
    FILE *a = fopen(path_a, "rb"), *b = fopen(path_b, "rb");
    char x[4096], y[4096];
    size_t n;
    if (a == NULL || b == NULL)
        fail_msg("cannot open %s or %s (tests run from the top folder)", path_a, path_b);
    do {
        n = fread(x, 1, sizeof x, a);
        if (fread(y, 1, sizeof y, b) != n || memcmp(x, y, n) != 0)
            fail_msg("%s is not what sample-logs/generate.c writes", path_b);
    } while (n == sizeof x);
    fclose(a);
    fclose(b);
}

static void test_sample_logs(void **state)
{
    char folder[] = "/tmp/stillrow-sim-XXXXXX", program[] = "generate", made[256], kept[256];
    (void)state;
    assert_non_null(mkdtemp(folder));
    char *argv[] = {program, folder, NULL};
    assert_int_equal(generate_main(2, argv), 0);
    for (size_t k = 0; k < sizeof logs / sizeof *logs; k++) {
        snprintf(made, sizeof made, "%s/%s", folder, logs[k].file);
        snprintf(kept, sizeof kept, "sample-logs/%s", logs[k].file);
        assert_same_file(made, kept);
        remove(made);
    }
    snprintf(made, sizeof made, "%s/combos", folder);
    rmdir(made);
    rmdir(folder);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_sine),
        cmocka_unit_test(test_random),
        cmocka_unit_test(test_tone),
        cmocka_unit_test(test_imbalance),
        cmocka_unit_test(test_mode),
        cmocka_unit_test(test_wash),
        cmocka_unit_test(test_ground_and_knock),
        cmocka_unit_test(test_sensor),
        cmocka_unit_test(test_same_seed),
        cmocka_unit_test(test_csv),
        cmocka_unit_test(test_sample_logs),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
