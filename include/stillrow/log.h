/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A flight's gyro log: CSV bytes in, uniform samples out.
 *
 * Any CSV with a time column and three rate columns is read by one general
 * rule (docs/method.md, "Reading a log"), not by a list of formats. Rates come
 * out in deg/s on a uniform time base, split into gapless runs; slower channels
 * (throttle, motor speeds) come out on a coarse grid of their own. Everything
 * that had to be assumed, and everything that was dropped, is recorded.
 *
 * Invariants of a log that sr_log_read() returned: at least one run; runs in
 * order of time, not overlapping, run[i].first + run[i].count <= count; every
 * gyro value finite; slow-grid values finite or NaN ("nothing logged here").
 */
#ifndef STILLROW_LOG_H
#define STILLROW_LOG_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#include "stillrow/status.h"

#ifdef __cplusplus
extern "C" {
#endif

#define SR_MOTORS_MAX  8    /* motors a log may carry */
#define SR_NOTE_MAX    240  /* bytes of one note, with its terminator */
#define SR_SLOW_STEP_S 0.05 /* [s] step of the slow grid */
#define SR_JOBS_MAX    64   /* threads; more are not asked for */

/* How to read; start from sr_log_options_init(), which is "work it all out". */
struct sr_log_options {
    const char *columns;   /* "time=NAME,x=NAME,y=3,…" or NULL; keys: time x y z throttle motor1…motor8 */
    const char *time_unit; /* "ns" "us" "ms" "s", or NULL */
    const char *rate_unit; /* "deg/s" "rad/s", or NULL */
    double sample_rate_hz; /* [Hz] 1..1e6: rows are counted, no time column is used; 0: use the time column */
    double from_s;         /* [s] >= 0, from the log's first sample; NAN: not given */
    double to_s;           /* [s] > from_s, from the log's first sample; NAN: not given */
    double pole_pairs;     /* 0..100, of the motors, for a motor speed logged as electrical rpm; 0: unknown */
    double speed_scale;    /* 0..1e6, motor speed column times this is (electrical) rpm; 0 or 1: as written */
    double idle_throttle;  /* [fraction] >= 0, < 1: below this the craft is taken to stand; 0: default 0.1 */
    bool plain_path; /* true (default): quote-free files may take the fast path; the result is the same */
    size_t jobs; /* threads that read, the caller's own among them; 0: as many as processors are online, at
                    most 8; more than SR_JOBS_MAX: that many; sr_log_options_init() says 1, no other thread.
                    The result is the same. */
    /*
     * Called now and then on long reads, or NULL. done, total [bytes]; total 0: unknown.
     * With several threads it may be called in any of them, one call at a time.
     */
    void (*progress)(void *context, uint64_t done, uint64_t total);
    void *progress_context;
};

/* Which column became what; index 0-based, -1 where there is none. */
struct sr_column_use {
    int index;
    char name[96];     /* header text as written, "" in a file without header */
    char unit[24];     /* unit as understood: "us", "deg/s", "%", "rpm"; "" for none */
    bool assumed_unit; /* the unit was not written and was worked out or assumed */
};

struct sr_columns {
    size_t n_columns;   /* fields in the header row */
    size_t header_line; /* [1-based], 0: the file has no header row */
    char delimiter;     /* ',' ';' or '\t' */
    bool decimal_comma;
    struct sr_column_use time;    /* index -1: rows were counted */
    struct sr_column_use rate[3]; /* x, y, z */
    struct sr_column_use throttle;
    bool throttle_from_outputs; /* throttle is the mean of the motor outputs */
    size_t n_outputs;           /* motor output columns found */
    struct sr_column_use motor[SR_MOTORS_MAX];
    size_t n_motors;     /* motor speed columns */
    bool electrical_rpm; /* motor speeds were electrical, and divided by the pole pairs */
    struct sr_column_use accel[3];
};

/* What the file was like. A jitter below what doubles resolve, 4.4e-16 of duration_s or of 1 s, is 0. */
struct sr_quality {
    double rate_hz;          /* [Hz] 1 / mean step, gaps left out */
    double duration_s;       /* [s] first to last sample */
    uint64_t rows;           /* data rows in the file */
    uint64_t bad_rows;       /* rows dropped: a time or rate that is no finite number, or too few fields */
    uint64_t backward_rows;  /* rows dropped: time repeated or went back */
    uint64_t lost_rows;      /* rows that a steady recorder would have written: in gaps, and interpolated */
    size_t first_bad_line;   /* [1-based] of the first bad row, 0: none */
    size_t gaps;             /* holes of more than three missing rows: they split the log */
    double jitter_us;        /* [us] standard deviation of the step, missing rows left out */
    uint64_t clipped;        /* samples that stand on the sensor's limit, any axis */
    double clip_dps;         /* [deg/s] that limit, 0: none seen */
    double nyquist_hz;       /* [Hz] rate_hz / 2; less where the gyro was read less often than that */
    double low_pass_hz;      /* [Hz] "looks low-pass filtered at", 0: does not */
    double low_pass_low_hz;  /* [Hz] its corner may lie as low as this, 0: no filter */
    double low_pass_high_hz; /* [Hz] or as high as this */
    double bridged_hz;       /* [Hz] above it interpolated rows weaken what shakes by over 5 %, 0: nowhere */
    bool coarse_stamps;      /* many equal stamps: time was rebuilt from row counts */
    bool resampled;          /* samples were interpolated onto the uniform base */
};

enum sr_airborne_how {
    SR_AIRBORNE_ASKED,    /* from_s / to_s were given */
    SR_AIRBORNE_THROTTLE, /* throttle above idle */
    SR_AIRBORNE_SPEED,    /* motor speed above idle */
    SR_AIRBORNE_SHAKE,    /* short-time rate RMS against the quiet ends */
    SR_AIRBORNE_WHOLE     /* nothing told ground from air: the whole log is taken */
};

/* A gapless stretch of uniform samples. */
struct sr_run {
    size_t first;   /* index of its first sample */
    size_t count;   /* samples */
    double start_s; /* [s] time of its first sample, from the log's first sample */
};

struct sr_span {
    double from_s; /* [s] */
    double to_s;   /* [s] > from_s */
};

struct sr_log {
    char *name;          /* as given by the caller; "-" for standard input */
    double rate_hz;      /* [Hz] uniform sample rate */
    size_t count;        /* samples over all runs */
    double *gyro_dps[3]; /* [count] [deg/s] x, y, z as logged (no axis flips) */
    struct sr_run *runs;
    size_t n_runs;
    size_t slow_count; /* cells of the slow grid, SR_SLOW_STEP_S each, cell 0 starts at the first sample */
    double *throttle;  /* [slow_count] [fraction 0..1], or NULL */
    size_t n_motors;   /* 0: no motor speeds */
    double *motor_rpm[SR_MOTORS_MAX]; /* [slow_count] [rpm, mechanical unless notes say so] */
    struct sr_span *airborne;         /* spans that may enter a score */
    size_t n_airborne;
    enum sr_airborne_how airborne_how;
    struct sr_columns columns;
    struct sr_quality quality;
    char (*notes)[SR_NOTE_MAX]; /* what was assumed, chosen, dropped: one sentence each */
    size_t n_notes;
    size_t jobs; /* threads that what is made of it may use: those of the options, counted; 0 and 1: one */
    uint64_t fingerprint; /* of the kept samples (64-bit FNV-1a by words): the same flight, the same one */
};

/* "Work everything out": all NULL, 0 or NAN, plain_path true, jobs 1. */
void sr_log_options_init(struct sr_log_options *options);

/*
 * Read the log at `path` ("-": standard input) into *log, which must be released.
 *
 * options: NULL for all defaults.
 * Errors: SR_ERR_ARGUMENT (an option out of range, a bad columns text, an unknown
 * unit), SR_ERR_OPEN, SR_ERR_READ, SR_ERR_FORMAT (binary, empty, over half bad, rates that never change),
 * SR_ERR_COLUMNS (no time or rate columns, an ambiguous or unknown name, a unit of the
 * rates that cannot be told),
 * SR_ERR_TIME (no step to speak of), SR_ERR_SHORT (under 2 s usable),
 * SR_ERR_MEMORY. File, line and a sentence are in *err; *log is untouched.
 */
enum sr_status sr_log_read(struct sr_log *log, const char *path, const struct sr_log_options *options,
                           struct sr_error *err);

/* The same from an open stream, read to its end and not closed; `name` is used in messages. */
enum sr_status sr_log_read_stream(struct sr_log *log, FILE *stream, const char *name,
                                  const struct sr_log_options *options, struct sr_error *err);

/* Free what a log holds; the struct itself is the caller's. Safe on a zeroed struct. */
void sr_log_release(struct sr_log *log);

/* Half the rate at which the gyro was read [Hz]: of the rows, or less where it repeats its values. */
double sr_log_nyquist_hz(const struct sr_log *log);

/*
 * Up to where a log can clear a flight [Hz]: that, or the corner of a low-pass filter that it shows,
 * or where interpolated rows begin to weaken it.
 */
double sr_log_sees_hz(const struct sr_log *log);

/* Mean of the slow channel `grid` over [from_s, to_s) [s]; NAN where nothing was logged. */
double sr_log_slow_mean(const struct sr_log *log, const double *grid, double from_s, double to_s);

#ifdef __cplusplus
}
#endif
#endif
