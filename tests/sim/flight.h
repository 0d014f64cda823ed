/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A small physical model of a camera multirotor, for tests and sample logs: what
 * its gyro would log, with the truth known. Deterministic: same description and
 * seed, same samples, on every machine with IEEE doubles.
 *
 * Model: throttle profile -> motor speed (proportional to the square root of
 * throttle, first-order lag, per-motor offset) -> imbalance at 1x and its
 * harmonics, blade pass at B x, both as rotating rates about the body axes;
 * structural modes that answer to those forces and to wash; fixed tones; prop
 * wash (low-frequency noise that grows with throttle); pilot motion; sensor
 * noise, quantisation, clipping. Signals are evaluated at the sample times, so
 * what lies above Nyquist folds, unless an anti-alias filter is asked for.
 *
 * A mode adds drive n r^2 / (1 - r^2 + 2 i z r) (n . c) to a line of complex
 * amplitude c at r = f / hz (its steady answer at the line's frequency of the
 * moment), and drive n r / (1 - r^2 + 2 i z r) (n . w) to the wash w. On the ground
 * (before airborne_from_s, and from airborne_to_s on) there is sensor noise only;
 * the motors spin up in the first tenths of a second in the air, unless ground_s
 * is 0: then they run from the first sample.
 */
#ifndef SIM_FLIGHT_H
#define SIM_FLIGHT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#define SIM_MOTORS    4
#define SIM_MODES     4
#define SIM_TONES     4
#define SIM_HARMONICS 4

enum sim_profile {
    SIM_HOVER,  /* steady throttle with small corrections */
    SIM_CRUISE, /* gentle changes, about +-10 % of throttle */
    SIM_CLIMBS, /* repeated climbs and descents over a wide range */
    SIM_CHASE   /* restless: following a boat */
};

struct sim_mode {
    double hz;      /* natural frequency, 0: unused */
    double damping; /* ratio */
    double drive;   /* share of the order and wash forces it answers to, e.g. 1 */
    double axis[3]; /* body axis direction of the response */
};

struct sim_tone {
    double hz, dps; /* frequency and RMS rate, 0: unused; fixed, whatever the motors do */
    double axis[3];
};

struct sim_flight {
    uint64_t seed;
    double rate_hz;  /* sample rate */
    double flight_s; /* airborne time */
    double ground_s; /* quiet time before and after, each */
    enum sim_profile profile;
    double hover_throttle;            /* fraction, e.g. 0.38 */
    double hover_rpm;                 /* motor speed there, e.g. 16000 */
    double motor_offset[SIM_MOTORS];  /* relative speed offsets, e.g. 0.01 */
    double imbalance_dps[SIM_MOTORS]; /* RMS rate of the 1x line of each motor at hover speed, the three
                                         axes together (grows with speed^2) */
    double harmonic[SIM_HARMONICS];   /* 2x, 3x… relative to 1x */
    int blades;
    double blade_dps; /* RMS rate of the blade-pass line of each motor at hover speed, three axes together */
    struct sim_mode mode[SIM_MODES];
    struct sim_tone tone[SIM_TONES];
    double wash_dps;       /* RMS of broadband prop wash (0..150 Hz) at hover, each axis */
    double pilot_dps;      /* RMS of pilot motion (below 3 Hz), each axis */
    double noise_dps_rthz; /* sensor noise density, e.g. 0.005 */
    double antialias_hz; /* 2nd-order low-pass before sampling applied to lines and modes by their frequency;
                            0: none */
    double knock_s;      /* airborne time of a knock, 0: none */
    int knock_motor;     /* 0-based motor whose imbalance is multiplied from then on */
    double knock_factor;
    double step_dps; /* quantisation, 0: none */
    double clip_dps; /* sensor limit, 0: none */
};

/* A healthy 240 g craft: 1000 Hz, 40 s airborne, cruise, well balanced, 3 blades. */
void sim_flight_init(struct sim_flight *flight);

struct sim_samples {
    size_t count;
    double rate_hz;
    double *time_s;      /* [count], from 0 */
    double *gyro_dps[3]; /* FRD body rates */
    double *throttle;    /* fraction */
    double *motor_rpm[SIM_MOTORS];
    double airborne_from_s, airborne_to_s;
};

/* 0 on success, -1 if memory ran out. */
int sim_fly(const struct sim_flight *flight, struct sim_samples *samples);
void sim_samples_release(struct sim_samples *samples);

struct sim_csv {
    bool throttle, motor_rpm; /* columns to write */
    int padding_columns;      /* further columns that a reader must skip */
    int rate_digits;          /* digits after the point of the rates */
    const char *preamble;     /* lines before the header, or NULL */
};

/* Write as CSV: time in us, rates in deg/s, throttle in %, motor speeds in rpm. 0, or -1 on a write error. */
int sim_write_csv(const struct sim_samples *samples, const struct sim_csv *csv, FILE *out);

/* Deterministic random numbers for tests: splitmix64 state. */
double sim_uniform(uint64_t *state); /* [0, 1) */
double sim_normal(uint64_t *state);

/* Sine of an angle in turns, from IEEE arithmetic alone: the same on every machine. */
double sim_sine(double turns);

#endif
