/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A flight as its gyro would see it. The model is described in the header. */
#include "sim/flight.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#ifdef __clang__
#pragma STDC FP_CONTRACT OFF
#endif

#define FINE_HZ       8000.0 /* wash and modes are stepped at least this fast */
#define SPOOL_S       0.06   /* lag of a motor's speed */
#define WASH_HZ       150.0
#define PILOT_HZ      1.5
#define WARM_UP_S     2.0 /* noise filters run this long before the first sample */
#define WAVES         5   /* sines that make up a slow random wander */
#define YAW_PART      0.5 /* of an imbalance, against roll and pitch */
#define PULSE_YAW     0.2 /* of a blade pass */
#define THROTTLE_LOW  0.12
#define THROTTLE_HIGH 0.95

/* A complex number, by hand: the C library's complex product differs between compilers. */
struct phasor {
    double re, im;
};

/* Second-order filter section, transposed direct form. */
struct section {
    double b0, b1, b2, a1, a2;
    double z1, z2;
};

struct wander {
    double hz[WAVES], phase[WAVES], part[WAVES];
};

struct motor {
    double speed_hz; /* revolutions a second */
    double turns;    /* angle, in turns, kept in [0, 1) */
    double phase[SIM_HARMONICS + 2];
    double x, y, spin; /* unit position and sense of rotation */
    struct wander jitter;
};

struct model {
    const struct sim_flight *flight;
    struct motor motor[SIM_MOTORS];
    struct wander throttle;
    struct section wash[3], pilot[3][2], ring[SIM_MODES];
    double axis[SIM_MODES][3], tone_axis[SIM_TONES][3], tone_phase[SIM_TONES];
    double ring_gain[SIM_MODES];
    double wash_sigma, pilot_sigma;
    uint64_t wash_state, pilot_state, noise_state;
    int fine; /* fine steps a sample */
};

static double cosine(double turns)
{
    return sim_sine(turns + 0.25);
}

static struct phasor times(struct phasor a, struct phasor b)
{
    struct phasor c = {a.re * b.re - a.im * b.im, a.re * b.im + a.im * b.re};
    return c;
}

static double filter(struct section *s, double x)
{
    double y = s->b0 * x + s->z1;
    s->z1 = s->b1 * x - s->a1 * y + s->z2;
    s->z2 = s->b2 * x - s->a2 * y;
    return y;
}

/* Low-pass of quality q at hz, or with `band` the band-pass r / (1 - r^2 + i r / q); bilinear, prewarped. */
static struct section second_order(double hz, double q, double rate_hz, bool band)
{
    double turns = hz / rate_hz, alpha = sim_sine(turns) / (2 * q), c = cosine(turns), a0 = 1 + alpha;
    struct section s = {.a1 = -2 * c / a0, .a2 = (1 - alpha) / a0};
    if (band) {
        s.b0 = sim_sine(turns) / 2 / a0;
        s.b2 = -s.b0;
    } else {
        s.b0 = s.b2 = (1 - c) / 2 / a0;
        s.b1 = 2 * s.b0;
    }
    return s;
}

static void direction(const double in[3], double out[3])
{
    double length = sqrt(in[0] * in[0] + in[1] * in[1] + in[2] * in[2]);
    for (int a = 0; a < 3; a++)
        out[a] = length > 0 ? in[a] / length : (a == 1 ? 1 : 0);
}

/* RMS 1, periods between 1/low_hz and 1/high_hz. */
static void wander_init(struct wander *w, double low_hz, double high_hz, uint64_t *state)
{
    for (int k = 0; k < WAVES; k++) {
        w->hz[k] = low_hz + (high_hz - low_hz) * (k + sim_uniform(state)) / WAVES;
        w->phase[k] = sim_uniform(state);
        w->part[k] = sqrt(2.0 / WAVES);
    }
}

static double wander_at(const struct wander *w, double t_s)
{
    double sum = 0;
    for (int k = 0; k < WAVES; k++)
        sum += w->part[k] * sim_sine(w->hz[k] * t_s + w->phase[k]);
    return sum;
}

/* Throttle at t_s seconds in the air. */
static double throttle_at(const struct model *m, double t_s)
{
    double hover = m->flight->hover_throttle, wander = wander_at(&m->throttle, t_s), factor = 1;
    switch (m->flight->profile) {
    case SIM_HOVER:
        factor = 1 + 0.015 * wander;
        break;
    case SIM_CRUISE:
        factor = 1 + 0.06 * sim_sine(t_s / 11.0) + 0.03 * wander;
        break;
    case SIM_CLIMBS:
        factor = 1.1 + 0.55 * sim_sine(t_s / 8.0 - 0.1) + 0.03 * wander;
        break;
    case SIM_CHASE:
        factor = 1 + 0.22 * wander;
        break;
    }
    return fmin(fmax(hover * factor, THROTTLE_LOW), THROTTLE_HIGH);
}

/* Answer of a mode to a line at r = f / hz. */
static struct phasor mode_answer(const struct sim_mode *mode, double hz)
{
    double r = hz / mode->hz, re = 1 - r * r, im = 2 * mode->damping * r, d = re * re + im * im;
    struct phasor h = {mode->drive * r * r * re / d, -mode->drive * r * r * im / d};
    return h;
}

/* Second-order Butterworth low-pass at hz, or 1. */
static struct phasor antialias(const struct sim_flight *flight, double hz)
{
    struct phasor one = {1, 0};
    if (!(flight->antialias_hz > 0))
        return one;
    double r = hz / flight->antialias_hz, re = 1 - r * r, im = 1.41421356237309505 * r;
    double d = re * re + im * im;
    struct phasor h = {re / d, -im / d};
    return h;
}

/* Add a line of the given complex amplitudes, at hz and angle `turns`, to rate[3]. */
static void add_line(const struct model *m, const struct phasor rigid[3], double hz, double turns,
                     double rate[3])
{
    struct phasor sum[3] = {rigid[0], rigid[1], rigid[2]};
    for (int k = 0; k < SIM_MODES; k++) {
        const double *n = m->axis[k];
        if (!(m->flight->mode[k].hz > 0))
            continue;
        struct phasor force = {n[0] * rigid[0].re + n[1] * rigid[1].re + n[2] * rigid[2].re,
                               n[0] * rigid[0].im + n[1] * rigid[1].im + n[2] * rigid[2].im};
        struct phasor answer = times(mode_answer(&m->flight->mode[k], hz), force);
        for (int a = 0; a < 3; a++) {
            sum[a].re += n[a] * answer.re;
            sum[a].im += n[a] * answer.im;
        }
    }
    struct phasor turn = {cosine(turns), sim_sine(turns)};
    turn = times(turn, antialias(m->flight, hz));
    for (int a = 0; a < 3; a++)
        rate[a] += sum[a].re * turn.re - sum[a].im * turn.im;
}

/*
 * An unbalanced rotor pulls in its plane, (cos, +-sin): above the centre of mass
 * that is a turning torque about roll and pitch, and at the arm's end one about yaw.
 */
static void add_imbalance(const struct model *m, const struct motor *motor, double dps, double order,
                          double phase, double rate[3])
{
    double a = dps / sqrt(1 + YAW_PART * YAW_PART / 2);
    struct phasor rigid[3] = {
        {0, a * motor->spin}, {a, 0}, {-YAW_PART * a * motor->y, -YAW_PART * a * motor->x * motor->spin}};
    add_line(m, rigid, order * motor->speed_hz, order * motor->turns + phase, rate);
}

/* Thrust pulses at the arm's end: roll and pitch in phase, a little yaw. */
static void add_blade_pass(const struct model *m, const struct motor *motor, double dps, double phase,
                           double rate[3])
{
    double a = dps * sqrt(2 / (1 + PULSE_YAW * PULSE_YAW)), blades = m->flight->blades;
    struct phasor rigid[3] = {{-a * motor->y, 0}, {a * motor->x, 0}, {PULSE_YAW * a * motor->spin, 0}};
    add_line(m, rigid, blades * motor->speed_hz, blades * motor->turns + phase, rate);
}

static void add_motor(const struct model *m, int index, double air_s, double rate[3])
{
    const struct sim_flight *f = m->flight;
    const struct motor *motor = &m->motor[index];
    double speed = motor->speed_hz * 60 / f->hover_rpm, square = speed * speed;
    double dps = f->imbalance_dps[index] * square;

    if (f->knock_s > 0 && index == f->knock_motor && air_s >= f->knock_s)
        dps *= f->knock_factor;
    if (dps > 0)
        add_imbalance(m, motor, dps, 1, motor->phase[0], rate);
    for (int k = 0; k < SIM_HARMONICS; k++)
        if (dps * f->harmonic[k] > 0)
            add_imbalance(m, motor, dps * f->harmonic[k], k + 2, motor->phase[k + 1], rate);
    if (f->blades > 0 && f->blade_dps * square > 0)
        add_blade_pass(m, motor, f->blade_dps * square, motor->phase[SIM_HARMONICS + 1], rate);
}

static void add_tones(const struct model *m, double t_s, double rate[3])
{
    for (int k = 0; k < SIM_TONES; k++) {
        const struct sim_tone *tone = &m->flight->tone[k];
        struct phasor low = antialias(m->flight, tone->hz);
        if (!(tone->hz > 0))
            continue;
        double level = tone->dps * sqrt(2 * (low.re * low.re + low.im * low.im));
        double value = level * sim_sine(tone->hz * t_s + m->tone_phase[k]);
        for (int a = 0; a < 3; a++)
            rate[a] += m->tone_axis[k][a] * value;
    }
}

/* One sample's worth of wash and of the modes' ringing, into wash[3], at the level of hover. */
static void step_wash(struct model *m, double wash[3])
{
    double ring[SIM_MODES] = {0};
    if (!(m->flight->wash_dps > 0)) {
        wash[0] = wash[1] = wash[2] = 0;
        return;
    }
    for (int i = 0; i < m->fine; i++) {
        for (int a = 0; a < 3; a++)
            wash[a] = filter(&m->wash[a], m->wash_sigma * sim_normal(&m->wash_state));
        for (int k = 0; k < SIM_MODES; k++) {
            const double *n = m->axis[k];
            if (m->flight->mode[k].hz > 0)
                ring[k] =
                    m->ring_gain[k] * filter(&m->ring[k], n[0] * wash[0] + n[1] * wash[1] + n[2] * wash[2]);
        }
    }
    for (int k = 0; k < SIM_MODES; k++)
        for (int a = 0; a < 3; a++)
            wash[a] += m->axis[k][a] * ring[k];
}

static void step_pilot(struct model *m, double pilot[3])
{
    for (int a = 0; a < 3; a++)
        pilot[a] = m->flight->pilot_dps > 0
                       ? filter(&m->pilot[a][1],
                                filter(&m->pilot[a][0], m->pilot_sigma * sim_normal(&m->pilot_state)))
                       : 0;
}

/* Speed that a motor settles at. */
static double target_hz(const struct model *m, int index, double throttle, double air_s)
{
    const struct sim_flight *f = m->flight;
    double jitter = 1 + 0.003 * wander_at(&m->motor[index].jitter, air_s);
    return f->hover_rpm / 60 * sqrt(throttle / f->hover_throttle) * (1 + f->motor_offset[index]) * jitter;
}

/* Bring the motors a sample on, towards the speeds of `throttle`. */
static void step_motors(struct model *m, double throttle, double air_s)
{
    double step_s = 1 / (m->flight->rate_hz * m->fine), share = step_s / (SPOOL_S + step_s);
    for (int k = 0; k < SIM_MOTORS; k++) {
        struct motor *motor = &m->motor[k];
        double target = target_hz(m, k, throttle, air_s);
        for (int i = 0; i < m->fine; i++) {
            double before = motor->speed_hz;
            motor->speed_hz += (target - before) * share;
            motor->turns += (before + motor->speed_hz) / 2 * step_s;
        }
        motor->turns -= floor(motor->turns);
    }
}

static void init_motors(struct model *m, uint64_t *state)
{
    static const double x[SIM_MOTORS] = {1, -1, -1, 1}, y[SIM_MOTORS] = {1, 1, -1, -1};
    for (int k = 0; k < SIM_MOTORS; k++) {
        struct motor *motor = &m->motor[k];
        motor->x = x[k] * 0.70710678118654752;
        motor->y = y[k] * 0.70710678118654752;
        motor->spin = k % 2 == 0 ? 1 : -1;
        motor->turns = sim_uniform(state);
        for (int j = 0; j < SIM_HARMONICS + 2; j++)
            motor->phase[j] = sim_uniform(state);
        wander_init(&motor->jitter, 0.3, 4, state);
    }
}

static void init_noise(struct model *m)
{
    const struct sim_flight *f = m->flight;
    double fine_hz = f->rate_hz * m->fine;
    /* Noise bandwidth of a Butterworth low-pass of order n: fc (pi / 2n) / sin(pi / 2n). */
    m->wash_sigma = f->wash_dps * sqrt(fine_hz / (2 * 1.1107207345 * WASH_HZ));
    m->pilot_sigma = f->pilot_dps * sqrt(f->rate_hz / (2 * 1.0261721529 * PILOT_HZ));
    for (int a = 0; a < 3; a++) {
        m->wash[a] = second_order(WASH_HZ, 0.70710678118654752, fine_hz, false);
        m->pilot[a][0] = second_order(PILOT_HZ, 0.54119610014619698, f->rate_hz, false);
        m->pilot[a][1] = second_order(PILOT_HZ, 1.30656296487637653, f->rate_hz, false);
    }
    for (int k = 0; k < SIM_MODES; k++) {
        const struct sim_mode *mode = &f->mode[k];
        if (!(mode->hz > 0))
            continue;
        struct phasor low = antialias(f, mode->hz);
        m->ring[k] = second_order(mode->hz, 1 / (2 * mode->damping), fine_hz, true);
        m->ring_gain[k] = mode->drive * sqrt(low.re * low.re + low.im * low.im);
    }
}

static void init_model(struct model *m, const struct sim_flight *flight)
{
    uint64_t state = flight->seed;
    double throw_away[3];

    memset(m, 0, sizeof *m);
    m->flight = flight;
    m->fine = (int)ceil(FINE_HZ / flight->rate_hz);
    if (m->fine < 1)
        m->fine = 1;
    init_motors(m, &state);
    wander_init(&m->throttle, 0.05, flight->profile == SIM_CHASE ? 0.6 : 0.3, &state);
    for (int k = 0; k < SIM_MODES; k++)
        direction(flight->mode[k].axis, m->axis[k]);
    for (int k = 0; k < SIM_TONES; k++) {
        direction(flight->tone[k].axis, m->tone_axis[k]);
        m->tone_phase[k] = sim_uniform(&state);
    }
    init_noise(m);
    /* Each source has its own stream, so that changing one leaves the others as they were. */
    m->wash_state = flight->seed * 3 + 1;
    m->pilot_state = flight->seed * 5 + 2;
    m->noise_state = flight->seed * 7 + 3;
    for (int i = 0; i < (int)(WARM_UP_S * flight->rate_hz); i++) {
        step_wash(m, throw_away);
        step_pilot(m, throw_away);
    }
    for (int k = 0; k < SIM_MOTORS && !(flight->ground_s > 0); k++)
        m->motor[k].speed_hz = target_hz(m, k, throttle_at(m, 0), 0);
}

/* What the sensor makes of a rate. */
static double sense(struct model *m, double rate)
{
    const struct sim_flight *f = m->flight;
    rate += f->noise_dps_rthz * sqrt(f->rate_hz / 2) * sim_normal(&m->noise_state);
    if (f->step_dps > 0)
        rate = floor(rate / f->step_dps + 0.5) * f->step_dps;
    if (f->clip_dps > 0)
        rate = fmin(fmax(rate, -f->clip_dps), f->clip_dps);
    return rate;
}

static void fly_sample(struct model *m, struct sim_samples *s, size_t i)
{
    double t_s = (double)i / m->flight->rate_hz, air_s = t_s - s->airborne_from_s;
    double rate[3] = {0}, wash[3], pilot[3];
    bool airborne = air_s >= 0 && t_s < s->airborne_to_s;

    s->time_s[i] = t_s;
    s->throttle[i] = airborne ? throttle_at(m, air_s) : 0;
    if (i > 0)
        step_motors(m, s->throttle[i], air_s);
    step_wash(m, wash);
    step_pilot(m, pilot);
    if (airborne) {
        double load = s->throttle[i] / m->flight->hover_throttle;
        for (int k = 0; k < SIM_MOTORS; k++)
            add_motor(m, k, air_s, rate);
        add_tones(m, t_s, rate);
        for (int a = 0; a < 3; a++)
            rate[a] += wash[a] * load + pilot[a];
    }
    for (int a = 0; a < 3; a++)
        s->gyro_dps[a][i] = sense(m, rate[a]);
    for (int k = 0; k < SIM_MOTORS; k++)
        s->motor_rpm[k][i] = m->motor[k].speed_hz * 60;
}

int sim_fly(const struct sim_flight *flight, struct sim_samples *samples)
{
    struct sim_samples s = {.rate_hz = flight->rate_hz};
    struct model *m = malloc(sizeof *m);

    s.count = (size_t)((2 * flight->ground_s + flight->flight_s) * flight->rate_hz + 0.5);
    s.airborne_from_s = flight->ground_s;
    s.airborne_to_s = flight->ground_s + flight->flight_s;
    double **columns[] = {&s.time_s,       &s.gyro_dps[0],  &s.gyro_dps[1],  &s.gyro_dps[2], &s.throttle,
                          &s.motor_rpm[0], &s.motor_rpm[1], &s.motor_rpm[2], &s.motor_rpm[3]};
    bool complete = m != NULL;
    for (size_t k = 0; k < sizeof columns / sizeof *columns; k++) {
        *columns[k] = calloc(s.count + 1, sizeof **columns[k]);
        complete = complete && *columns[k] != NULL;
    }
    if (complete) {
        init_model(m, flight);
        for (size_t i = 0; i < s.count; i++)
            fly_sample(m, &s, i);
        *samples = s;
    } else {
        sim_samples_release(&s);
    }
    free(m);
    return complete ? 0 : -1;
}

void sim_samples_release(struct sim_samples *samples)
{
    free(samples->time_s);
    free(samples->throttle);
    for (int a = 0; a < 3; a++)
        free(samples->gyro_dps[a]);
    for (int k = 0; k < SIM_MOTORS; k++)
        free(samples->motor_rpm[k]);
    memset(samples, 0, sizeof *samples);
}

void sim_flight_init(struct sim_flight *flight)
{
    static const struct sim_flight healthy = {
        .seed = 1,
        .rate_hz = 1000,
        .flight_s = 40,
        .ground_s = 2,
        .profile = SIM_CRUISE,
        .hover_throttle = 0.38,
        .hover_rpm = 13000,
        .motor_offset = {0.008, -0.011, 0.004, -0.003},
        .imbalance_dps = {4, 5, 3.5, 4.5},
        .harmonic = {0.2, 0.1, 0.05, 0.03},
        .blades = 3,
        .blade_dps = 2.5,
        .wash_dps = 3,
        .pilot_dps = 12,
        .noise_dps_rthz = 0.005,
        .clip_dps = 2000,
    };
    *flight = healthy;
}
