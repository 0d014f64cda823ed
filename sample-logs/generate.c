/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Writes the sample logs: `generate DIR`. The craft, the club and the flights are
 * invented; the gyro is the simulated one of tests/sim. The same program writes the
 * same bytes on every machine, and a test compares them with the committed files.
 *
 * Each craft has a recorder of its own making: other column names, units,
 * delimiters and preambles, because that is what a reader has to live with.
 */
#include <errno.h>
#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "sim/flight.h"

#define DEG_TO_RAD 0.017453292519943295

struct sample_log {
    const char *file;
    void (*describe)(struct sim_flight *flight, int number);
    int number; /* of the flight, where a craft has several */
    void (*header)(FILE *out);
    void (*row)(const struct sim_samples *samples, size_t i, FILE *out);
    double lost_from_s, lost_to_s; /* rows that the recorder failed to write */
};

/* A number with `digits` decimals, never "-0.0". */
static void put(FILE *out, char before, double value, int digits, char point)
{
    char text[64];
    double half = 0.5;
    for (int k = 0; k < digits; k++)
        half /= 10;
    snprintf(text, sizeof text, "%.*f", digits, fabs(value) < half ? 0 : value);
    char *dot = strchr(text, '.');
    if (dot != NULL)
        *dot = point;
    if (before != '\0')
        fputc(before, out);
    fputs(text, out);
}

/* The gyro's three rates in deg/s, as most recorders write them. */
static void put_rates(FILE *out, char before, const struct sim_samples *samples, size_t i, char point)
{
    for (int a = 0; a < 3; a++)
        put(out, before, samples->gyro_dps[a][i], 1, point);
}

static void put_speeds(FILE *out, char before, const struct sim_samples *samples, size_t i, char point)
{
    for (int k = 0; k < SIM_MOTORS; k++)
        put(out, before, samples->motor_rpm[k][i], 0, point);
}

/* How much each prop is out of balance [deg/s]. */
static void unbalance(struct sim_flight *f, double first, double second, double third, double fourth)
{
    const double dps[SIM_MOTORS] = {first, second, third, fourth};

    memcpy(f->imbalance_dps, dps, sizeof dps);
}

static uint64_t micros(const struct sim_samples *samples, size_t i)
{
    return (uint64_t)(samples->time_s[i] * 1e6 + 0.5);
}

/* heron: 4-inch props, well balanced, a regatta followed at an even pace. */
static void describe_heron(struct sim_flight *f, int number)
{
    (void)number;
    f->seed = 20260614;
    f->flight_s = 26;
    f->profile = SIM_CRUISE;
    f->hover_throttle = 0.36;
    f->hover_rpm = 10800;
    unbalance(f, 7, 5, 8, 6);
    f->wash_dps = 4;
}

static void header_heron(FILE *out)
{
    fputs("# craft: heron (240 g), lakeside rowing club film crew, invented data\n"
          "# flight: regatta, following the double sculls along the far shore\n"
          "time [ms],roll rate [deg/s],pitch rate [deg/s],yaw rate [deg/s],throttle [%],"
          "rpm 1,rpm 2,rpm 3,rpm 4\n",
          out);
}

static void row_heron(const struct sim_samples *s, size_t i, FILE *out)
{
    fprintf(out, "%" PRIu64, micros(s, i) / 1000);
    put_rates(out, ',', s, i, '.');
    put(out, ',', s->throttle[i] * 100, 1, '.');
    put_speeds(out, ',', s, i, '.');
    fputc('\n', out);
}

/* dipper: hits a reed 12 s after the recorder starts, and flies home on a bent prop. */
static void describe_dipper(struct sim_flight *f, int number)
{
    (void)number;
    static const double offset[SIM_MOTORS] = {0.014, -0.011, 0.024, -0.02};
    f->seed = 20260621;
    for (int k = 0; k < SIM_MOTORS; k++)
        f->motor_offset[k] = offset[k];
    f->flight_s = 24;
    f->profile = SIM_CHASE;
    f->hover_throttle = 0.41;
    f->hover_rpm = 12400;
    unbalance(f, 8, 9, 11, 7);
    f->wash_dps = 5;
    f->knock_s = 10;
    f->knock_motor = 2;
    f->knock_factor = 13;
}

static void header_dipper(FILE *out)
{
    fputs("\xef\xbb\xbf"
          "Craft;dipper (invented data)\r\n"
          "Note;touched a reed, finished the lap\r\n"
          "\r\n"
          "\"Clock (s)\";\"Gyro X (\xc2\xb0/s)\";\"Gyro Y (\xc2\xb0/s)\";\"Gyro Z (\xc2\xb0/s)\";\"Throttle "
          "(%)\";"
          "\"Motor 1 (rpm)\";\"Motor 2 (rpm)\";\"Motor 3 (rpm)\";\"Motor 4 (rpm)\"\r\n",
          out);
}

static void row_dipper(const struct sim_samples *s, size_t i, FILE *out)
{
    put(out, '\0', s->time_s[i], 3, ',');
    put_rates(out, ';', s, i, ',');
    put(out, ';', s->throttle[i] * 100, 0, ',');
    put_speeds(out, ';', s, i, ',');
    fputs("\r\n", out);
}

/* grebe: a plate that rings at 132 Hz, crossed by 1x on every climb. No motor speeds logged. */
static void describe_grebe(struct sim_flight *f, int number)
{
    (void)number;
    static const struct sim_mode plate = {132, 0.018, 0.9, {0.15, 1, 0.1}};
    f->seed = 20260705;
    f->flight_s = 26;
    f->profile = SIM_CLIMBS;
    f->hover_throttle = 0.4;
    f->hover_rpm = 9000;
    unbalance(f, 9, 7, 8, 8);
    f->wash_dps = 3.5;
    f->mode[0] = plate;
}

static void header_grebe(FILE *out)
{
    fputs("craft = grebe, invented data\n"
          "t_us\tomega_x[rad/s]\tomega_y[rad/s]\tomega_z[rad/s]\tthrottle\n",
          out);
}

/* This recorder's axes are forward, left, up. */
static void row_grebe(const struct sim_samples *s, size_t i, FILE *out)
{
    fprintf(out, "%" PRIu64, micros(s, i));
    for (int a = 0; a < 3; a++)
        put(out, '\t', s->gyro_dps[a][i] * DEG_TO_RAD * (a == 0 ? 1 : -1), 3, '.');
    put(out, '\t', s->throttle[i], 2, '.');
    fputc('\n', out);
}

/* coot: calm enough as far as its 200 Hz log shows, which is not far. */
static void describe_coot(struct sim_flight *f, int number)
{
    (void)number;
    f->seed = 20260712;
    f->rate_hz = 200;
    f->flight_s = 26;
    f->profile = SIM_HOVER;
    f->hover_throttle = 0.45;
    f->hover_rpm = 14100;
    f->wash_dps = 4;
}

static void header_coot(FILE *out)
{
    fputs("# coot, invented data: recorder left at its slow setting\n"
          "timestamp_ns,angular_velocity_x_deg/s,angular_velocity_y_deg/s,angular_velocity_z_deg/s,"
          "throttle_%\n",
          out);
}

static void row_coot(const struct sim_samples *s, size_t i, FILE *out)
{
    /* Stamps of this recorder start where its clock happens to be, and wander by a few microseconds. */
    uint64_t jitter = (uint64_t)(i * UINT64_C(2654435761) % 12000);
    fprintf(out, "%" PRIu64, UINT64_C(71840000000) + micros(s, i) * 1000 + jitter);
    put_rates(out, ',', s, i, '.');
    put(out, ',', s->throttle[i] * 100, 1, '.');
    fputc('\n', out);
}

/*
 * teal: the same motors with two kinds of prop, three flights each. Two blades turn faster for the same lift,
 * and shake at 2x, three at 3x. A prop goes on a little differently each time, so flights of one kind differ.
 */
static void describe_teal(struct sim_flight *f, int number, int blades)
{
    static const double fit[3] = {1.0, 1.16, 0.9};
    f->seed = 20260800 + (uint64_t)(10 * blades + number);
    f->flight_s = 11;
    f->ground_s = 1;
    f->profile = SIM_CHASE;
    f->hover_throttle = 0.38;
    f->blades = blades;
    f->hover_rpm = blades == 2 ? 11400 : 9900;
    f->blade_dps = blades == 2 ? 3 : 1.2;
    for (int k = 0; k < SIM_MOTORS; k++)
        f->imbalance_dps[k] = (blades == 2 ? 17 : 7.5) * fit[(number + k) % 3];
    f->wash_dps = blades == 2 ? 4 : 4.5;
}

static void describe_teal_two(struct sim_flight *f, int number)
{
    describe_teal(f, number, 2);
}

static void describe_teal_three(struct sim_flight *f, int number)
{
    describe_teal(f, number, 3);
}

static void header_teal(FILE *out)
{
    fputs("# teal, invented data: which props for the autumn races?\n"
          "ms,wx [deg/s],wy [deg/s],wz [deg/s],throttle [%]\n",
          out);
}

static void row_teal(const struct sim_samples *s, size_t i, FILE *out)
{
    fprintf(out, "%" PRIu64, micros(s, i) / 1000);
    put_rates(out, ',', s, i, '.');
    put(out, ',', s->throttle[i] * 100, 0, '.');
    fputc('\n', out);
}

static const struct sample_log logs[] = {
    {"heron-regatta-steady.csv", describe_heron, 1, header_heron, row_heron, 0, 0},
    {"dipper-bent-prop.csv", describe_dipper, 1, header_dipper, row_dipper, 0, 0},
    {"grebe-frame-resonance.csv", describe_grebe, 1, header_grebe, row_grebe, 17.3, 17.36},
    {"coot-logged-too-slowly.csv", describe_coot, 1, header_coot, row_coot, 0, 0},
    {"combos/teal-two-blades-1.csv", describe_teal_two, 1, header_teal, row_teal, 0, 0},
    {"combos/teal-two-blades-2.csv", describe_teal_two, 2, header_teal, row_teal, 0, 0},
    {"combos/teal-two-blades-3.csv", describe_teal_two, 3, header_teal, row_teal, 0, 0},
    {"combos/teal-three-blades-1.csv", describe_teal_three, 1, header_teal, row_teal, 0, 0},
    {"combos/teal-three-blades-2.csv", describe_teal_three, 2, header_teal, row_teal, 0, 0},
    {"combos/teal-three-blades-3.csv", describe_teal_three, 3, header_teal, row_teal, 0, 0},
};

static int complain(const char *path, const char *what)
{
    fprintf(stderr, "generate: %s: %s: %s\n", path, what, strerror(errno));
    return -1;
}

static int write_log(const struct sample_log *log, const struct sim_samples *samples, const char *path)
{
    FILE *out = fopen(path, "wb");
    if (out == NULL)
        return complain(path, "cannot open");
    log->header(out);
    for (size_t i = 0; i < samples->count; i++)
        if (!(samples->time_s[i] > log->lost_from_s && samples->time_s[i] < log->lost_to_s))
            log->row(samples, i, out);
    bool failed = ferror(out) != 0;
    if (fclose(out) != 0 || failed)
        return complain(path, "cannot write");
    return 0;
}

static int make_log(const struct sample_log *log, const char *folder)
{
    struct sim_flight flight;
    struct sim_samples samples;
    char path[1024];

    if (snprintf(path, sizeof path, "%s/%s", folder, log->file) >= (int)sizeof path) {
        errno = ENAMETOOLONG;
        return complain(folder, log->file);
    }
    sim_flight_init(&flight);
    log->describe(&flight, log->number);
    if (sim_fly(&flight, &samples) != 0) {
        errno = ENOMEM;
        return complain(path, "cannot fly");
    }
    int result = write_log(log, &samples, path);
    sim_samples_release(&samples);
    return result;
}

int main(int argc, char **argv)
{
    if (argc != 2) {
        fputs("usage: generate DIR\n", stderr);
        return 2;
    }
    char combos[1024];
    if (snprintf(combos, sizeof combos, "%s/combos", argv[1]) >= (int)sizeof combos ||
        (mkdir(combos, 0777) != 0 && errno != EEXIST)) {
        complain(argv[1], "cannot make the folder for the combos");
        return 1;
    }
    for (size_t k = 0; k < sizeof logs / sizeof *logs; k++)
        if (make_log(&logs[k], argv[1]) != 0)
            return 1;
    return 0;
}
