/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The mount: rubber pieces between frame and camera, as a mass on a damped spring,
 * and what the footage would be on other pieces or at another temperature.
 *
 * A flight is scored once; a mount is a factor |H|^2 per bin laid over the camera's
 * view of the same slices. Numbers that a user may take for exact and that are not
 * come as `struct sr_interval`: value, low, high.
 *
 * Which natural frequency the rig's own mount has, in this order: measured
 * (resonance_hz of the rig), identified from logs, worked out from the pieces. The
 * texts say which was used and what was assumed.
 */
#ifndef STILLROW_MOUNT_H
#define STILLROW_MOUNT_H

#include <stdbool.h>
#include <stddef.h>

#include "stillrow/explain.h"
#include "stillrow/log.h"
#include "stillrow/rig.h"
#include "stillrow/status.h"
#include "stillrow/wobble.h"

#ifdef __cplusplus
extern "C" {
#endif

#define SR_SHORE_LOW        20.0 /* [Shore A] hardness that has a modulus here */
#define SR_SHORE_HIGH       85.0
#define SR_MOUNT_TEXT       480  /* bytes of a text, with its terminator */
#define SR_MOUNT_ADVICE     1400 /* bytes that the longest advice needs */
#define SR_HARDNESSES_MAX   16
#define SR_TEMPERATURES_MAX 64

/* ---- Rubber --------------------------------------------------------------- */

/*
 * Young's modulus [MPa] of a hardness [Shore A] = 20..85: Gent (1958),
 * E = 0.0981 (56 + 7.62336 S) / (0.137505 (254 - 2.54 S)). low and high are 0.8 and
 * 1.5 times it: other published conversions lie within (one, the log-linear rule, up to 54 A).
 * Errors: SR_ERR_ARGUMENT outside the range.
 */
enum sr_status sr_rubber_modulus(double shore_a, struct sr_interval *modulus_mpa, struct sr_error *err);

/* Gent's formula solved for the hardness [Shore A]; may lie outside 20..85. modulus_mpa > 0 [MPa]. */
double sr_rubber_shore(double modulus_mpa);

/*
 * Modulus of one hardness against another, E(to) / E(from), both 20..85 [Shore A].
 * value: Gent's ratio q; low and high: q^0.8 and q^1.45, whichever is smaller and
 * larger, which is how far published conversions differ in steepness. 1 where equal.
 * Errors: SR_ERR_ARGUMENT.
 */
enum sr_status sr_rubber_hardness_ratio(double from_shore_a, double to_shore_a, struct sr_interval *ratio,
                                        struct sr_error *err);

/* How a modulus changes with temperature. */
struct sr_rubber_law {
    enum sr_material material;
    double kappa;                 /* [1/K] E(T) = E(T0) exp(-kappa (T - T0)); NAN: by material */
    double kappa_low, kappa_high; /* [1/K] its interval; NAN: as kappa */
};

/* The law of a rig: its kappa if given, else by its material. */
struct sr_rubber_law sr_rubber_law_of(const struct sr_mount_keys *mount);

/*
 * E(to_c) / E(from_c), temperatures in [deg C]; 1 exactly where equal.
 *
 * kappa: the exponential. Natural rubber and silicone: 1, +-10 % and +-5 % (less
 * below a step of 10 K); outside 5..40 C the interval also covers the WLF model and
 * *outside is set. TPU: WLF with universal constants, glass transition -50 to
 * -30 C, loss factor 0.1 to 0.2. Material unknown: all of these, the value
 * half way (in log) between no change and TPU.
 * outside: may be NULL. Errors: SR_ERR_ARGUMENT (not finite, or not -60..120 C),
 * SR_ERR_DATA (colder or hotter than the model of that material holds).
 * Sources: Williams, Landel and Ferry 1955; Ferry 1980, table 11-II.
 */
enum sr_status sr_rubber_temperature_ratio(const struct sr_rubber_law *law, double from_c, double to_c,
                                           struct sr_interval *ratio, bool *outside, struct sr_error *err);

/*
 * The same for one explicit set of constants: log10 a_T = -c1 (T - T0) / (c2 + T - T0)
 * about reference_c, and a loss factor that does not change with frequency, so that
 * E ~ T[K] a_T^n, n = (2/pi) atan(loss_factor). NAN where c2 + T - T0 <= 0.
 */
double sr_rubber_wlf_ratio(double c1, double c2_k, double reference_c, double loss_factor, double from_c,
                           double to_c);

/* What the law assumes, as a sentence without a full stop. */
void sr_rubber_law_text(const struct sr_rubber_law *law, char *text, size_t size);

/* Damping ratio where none is given: half the loss factor usual for the material (common practice, no
 * source). */
struct sr_interval sr_rubber_damping(enum sr_material material);

/* ---- Isolator ------------------------------------------------------------- */

/* One mass on a spring with viscous damping, shaken at its base. */
struct sr_isolator {
    double fn_hz;   /* [Hz] undamped natural frequency, > 0 */
    double damping; /* ratio zeta, > 0 */
};

/* |H|^2 at hz: (1 + (2 z r)^2) / ((1 - r^2)^2 + (2 z r)^2), r = hz / fn. Thomson, Theory of Vibration, 3.5.
 */
double sr_isolator_power(const struct sr_isolator *isolator, double hz);

/* H = (1 + 2 i z r) / (1 - r^2 + 2 i z r). */
void sr_isolator_response(const struct sr_isolator *isolator, double hz, double *re, double *im);

/* Where |H| is largest [Hz], and |H| there: r = sqrt(2 / (1 + s)), s = sqrt(1 + 8 z^2). */
double sr_isolator_peak_hz(const struct sr_isolator *isolator);
double sr_isolator_peak_gain(const struct sr_isolator *isolator);

/* Above this [Hz] it isolates, whatever its damping: sqrt(2) fn. */
double sr_isolator_crossover_hz(const struct sr_isolator *isolator);

/* Mean |H|^2 over each bin k, (k - 1/2..k + 1/2) bin_hz, into power[bins]. */
void sr_isolator_bins(const struct sr_isolator *isolator, double bin_hz, size_t bins, double *power);

/*
 * Multiply power[bins] by 1 / max(|H|^2, least): undo a mount, but never by more than
 * 1 / least, since behind a mount that lets nothing through a log holds only noise.
 */
void sr_isolator_undo(const struct sr_isolator *isolator, double least, double bin_hz, size_t bins,
                      double *power);

/* ---- From the pieces ------------------------------------------------------ */

struct sr_mount_geometry {
    double shape_factor;                 /* loaded area / area free to bulge, (D - d) / (4 h) */
    double area_mm2;                     /* loaded, of one piece */
    double shear_n_mm, compression_n_mm; /* stiffness of all pieces together, nominal modulus */
    struct sr_interval shear_hz;         /* natural frequency if all pieces shear */
    struct sr_interval compression_hz;   /* if all are pressed */
    double gyration_mm;                  /* assumed radius of gyration of the camera */
    struct sr_interval fn_hz;            /* of turning; between the two, and about as sure */
    char text[SR_MOUNT_TEXT];            /* what was assumed */
};

/* Whether the rig has all it takes: count, outer_mm, thickness_mm, camera_g, and a hardness or a modulus. */
bool sr_mount_has_geometry(const struct sr_mount_keys *mount);

/*
 * Natural frequency from the pieces. Shear k = n (E/3) A / h, compression k = n E_c A / h
 * with E_c = E (1 + 2 k S^2) and 1/E_c' = 1/E_c + 1/E_inf (Gent and Lindley 1959; k and
 * E_inf by hardness from Lindley's Engineering Design with Natural Rubber).
 * Errors: SR_ERR_ARGUMENT (something missing or impossible; the text says what).
 */
enum sr_status sr_mount_geometry_make(struct sr_mount_geometry *geometry, const struct sr_mount_keys *mount,
                                      struct sr_error *err);

/* ---- Identified from logs -------------------------------------------------- */

/* A natural frequency found in flights. */
struct sr_identified {
    struct sr_interval fn_hz;   /* [Hz] 95 % interval of the fit */
    struct sr_interval damping; /* ratio */
    double gain;                /* of the second log against the first well below the resonance, about 1 */
    double explained;           /* share of the variance of log |H|^2 that the fit explains, 0..1 */
    double coherence;           /* mean over the bins used; NAN for two mounts */
    size_t bins;                /* bins used */
    double low_hz, high_hz;     /* [Hz] span of the bins used */
    char text[SR_MOUNT_TEXT];
};

/* From frame to camera, as two logs of one flight show it. */
struct sr_transfer {
    size_t bins;
    double bin_hz;     /* [Hz] */
    double *re, *im;   /* [bins] H over the three axes, noise taken to be alike in both sensors (H_v) */
    double *coherence; /* [bins] 0..1 */
    double averages;   /* independent averages behind each bin */
    double lag_s;      /* [s] what is at t in the frame's log is at t + lag_s in the camera's */
    double drift_ppm;  /* the camera log's clock is this much fast */
    double overlap_s;  /* [s] flown in both logs */
    double match;      /* correlation of the slow turning of the two, -1..1 */
};

/*
 * Bring two logs of one flight together and take the transfer function. The clocks
 * are set by what both sensors see alike, the slow turning of the craft: offset and
 * drift by correlation, mounting angle by a least-squares rotation (Horn 1987), so
 * the two sensors need not be bolted on alike. Welch cross-spectra, Hann; H_v (Rocklin,
 * Crowley and Vold 1985), which noise in the frame's sensor does not pull down as it does
 * S_xy / S_xx.
 * Errors: SR_ERR_SHORT (under 10 s flown in both), SR_ERR_DATA (not the same flight:
 * no offset at which they agree), SR_ERR_MEMORY.
 */
enum sr_status sr_transfer_make(struct sr_transfer *transfer, const struct sr_log *frame,
                                const struct sr_log *camera, struct sr_error *err);
void sr_transfer_release(struct sr_transfer *transfer);

/*
 * Fit H by complex least squares, weighted by coherence (Bendat and Piersol 2010,
 * table 9.6), to bins where the coherence is at least 0.5.
 * Errors: SR_ERR_DATA (coherence too poor, on one side of the resonance only, or no
 * single resonance fits: the text gives the figures), SR_ERR_MEMORY.
 */
enum sr_status sr_identify_transfer(struct sr_identified *found, const struct sr_transfer *transfer,
                                    struct sr_error *err);

/*
 * From flights of one build on two mounts, gyro on the camera: slices matched on
 * throttle where both have it, ratio of their densities fitted by |H_2|^2 / |H_1|^2
 * with one damping. first belongs to slices a, second to b.
 * Errors: SR_ERR_ARGUMENT (densities on different bins), SR_ERR_SHORT (under 8 slices
 * of either, or no throttle in common), SR_ERR_DATA (no pair of resonances fits),
 * SR_ERR_MEMORY.
 */
enum sr_status sr_identify_mounts(struct sr_identified *first, struct sr_identified *second,
                                  const struct sr_slices *a, const struct sr_slices *b, struct sr_error *err);

/* ---- The rig's own mount --------------------------------------------------- */

enum sr_fn_source { SR_FN_NONE = 0, SR_FN_GEOMETRY, SR_FN_IDENTIFIED, SR_FN_MEASURED };
const char *sr_fn_source_name(enum sr_fn_source source); /* "none" "geometry" "identified" "measured" */

struct sr_mount_own {
    enum sr_fn_source source;
    struct sr_interval fn_hz;   /* NAN where none */
    struct sr_interval damping; /* ratio */
    double shore_a;             /* NAN: not given */
    double modulus_mpa;         /* [MPa] as given, NAN: by hardness */
    double temperature_c;       /* of the pieces in this flight */
    bool temperature_assumed;   /* not given: 20 C taken */
    bool damping_assumed;
    struct sr_rubber_law law;
    char text[SR_MOUNT_TEXT]; /* which natural frequency was used, and what is assumed */
};

/*
 * The rig's own mount. identified: from logs, or NULL. Not an error if nothing tells
 * the natural frequency: source SR_FN_NONE, and the text says what to give.
 * Errors: SR_ERR_ARGUMENT (pieces that are impossible).
 */
enum sr_status sr_mount_resolve(struct sr_mount_own *own, const struct sr_rig *rig,
                                const struct sr_identified *identified, struct sr_error *err);

/* The camera on other pieces of the same size and count. */
struct sr_mount_other {
    struct sr_interval fn_hz;             /* the three sources of doubt joined */
    struct sr_interval hardness_ratio;    /* of the modulus */
    struct sr_interval temperature_ratio; /* of the modulus */
    bool outside;                         /* temperature outside what the material is known for */
};

/*
 * fn on pieces of shore_a at temperature_c: fn of the rig's own times the square root of
 * the moduli's ratio. shore_a NAN: the own pieces.
 * Errors: SR_ERR_DATA (own natural frequency, or own hardness and modulus, unknown; or
 * too cold or hot for the material's model), SR_ERR_ARGUMENT (hardness not 20..85).
 */
enum sr_status sr_mount_scale(struct sr_mount_other *other, const struct sr_mount_own *own, double shore_a,
                              double temperature_c, struct sr_error *err);

/*
 * Lay what stands between gyro and camera over a bare view. Gyro on the frame and a
 * measured resonance: the camera sees |H|^2 of the log. Gyro on the camera, no
 * resonance, or only one worked out from the pieces: nothing. A soft-mounted
 * controller's own |H|^2 is divided out, by at most 10 dB.
 * text[size]: what was done, and that a mount was left out; "" for nothing worth saying; NULL is fine.
 * Errors: SR_ERR_MEMORY; the view is untouched.
 */
enum sr_status sr_mount_apply(struct sr_view *view, const struct sr_rig *rig, char *text, size_t size,
                              struct sr_error *err);

/* ---- What if ---------------------------------------------------------------- */

struct sr_mount_ask {
    double shore_a[SR_HARDNESSES_MAX]; /* [Shore A] 20..85, ascending */
    size_t n_shore;
    double temperature_c[SR_TEMPERATURES_MAX]; /* [deg C] ascending */
    size_t n_temperature;
};

/* 40, 50, 60, 70 Shore A; -5, 5, 15, 25, 35 C. */
void sr_mount_ask_init(struct sr_mount_ask *ask);

/* One hardness at one temperature. */
struct sr_mount_cell {
    bool known; /* false: the material's model does not reach there; all below is NAN */
    double shore_a, temperature_c;
    struct sr_interval fn_hz;
    struct sr_interval wobble_px; /* 95th percentile over slices; all sources of doubt and the flight's own */
    bool clears;                  /* high end below the threshold */
    double line_hz;               /* [Hz] strong line that this mount amplifies by 3 dB or more, as in the
                                     score; 0: none */
    double line_db;               /* [dB] by how much */
    bool line_perhaps;            /* only within the range of fn, not at its value */
    bool outside;
};

#define SR_ALIKE_DB 0.25 /* [dB] closer wobbles are as good as the same */
#define SR_MARK_DB  3.0  /* [dB] less wobble than this is not worth a resonance beside a strong line */

/*
 * The choice at one temperature: indices of hardness. The best is the least wobble; where that has a line_hz,
 * it is the least of those that have none (then of those with line_perhaps) and wobble by less than
 * SR_MARK_DB more, if there is one.
 */
struct sr_mount_pick {
    bool known;
    size_t best;
    size_t least;     /* wobble, wherever lines are */
    size_t second;    /* least wobble of the others; best with one hardness */
    size_t unmarked;  /* best where that has no line_hz; else the least without one; else best again: none */
    double margin_db; /* second against best, below 0 where best is not the least; NAN with one hardness */
    bool sure;        /* least in every case that was tried, not only in the likeliest */
};

/*
 * A stretch of temperature over which one hardness stays the choice, or within SR_ALIKE_DB of
 * it and resonates no more; steps of 1 K, and as few changes of pieces as can be.
 */
struct sr_mount_stretch {
    size_t best;
    double from_c, to_c;
};

/* A line that a resonance should keep away from. */
struct sr_mount_line {
    double hz;              /* [Hz] of the score's peak, else of the motors' mean speed */
    double low_hz, high_hz; /* [Hz] where it wanders over the flight: 5th to 95th percentile of its energy, or
                               of the motors' speed */
    double order;           /* of motor speed, 0: unknown */
    double share;           /* of the wobble energy, NAN: not a peak of the score */
};

#define SR_MOUNT_LINES_MAX (SR_PEAKS_MAX + 1)
#define SR_STRETCHES_MAX   32
#define SR_MOUNT_NOTES_MAX 10

struct sr_mount_table {
    struct sr_mount_ask ask;
    struct sr_mount_own own;
    enum sr_gyro_side gyro_side;
    double threshold_px;
    double sees_hz, clear_hz;      /* [Hz] up to where the log sees, and has to in order to clear a flight */
    struct sr_mount_other own_now; /* the own mount in this flight */
    struct sr_interval own_px;     /* wobble predicted for it: what the camera saw */
    double own_smear_px;
    struct sr_mount_cell *cells; /* [n_temperature][n_shore] */
    struct sr_mount_pick picks[SR_TEMPERATURES_MAX];
    struct sr_mount_stretch stretches[SR_STRETCHES_MAX];
    size_t n_stretches;
    size_t now_best; /* best hardness at the flight's own temperature */
    bool now_sure;
    bool now_resonates;          /* it does so with a strong line, at its likeliest fn */
    double now_px, now_smear_px; /* of it */
    struct sr_mount_line lines[SR_MOUNT_LINES_MAX];
    size_t n_lines;
    char notes[SR_MOUNT_NOTES_MAX][SR_MOUNT_TEXT];
    size_t n_notes;
};

/*
 * Predict the wobble of a flight on every hardness asked for, at every temperature.
 * score: of the same slices, for its lines. rig: whose camera the footage is seen by.
 * Gyro on the frame: the slices are scaled by |H_new|^2; on the camera by |H_new|^2 /
 * |H_own|^2, the divisor held above -30 dB.
 * Errors: SR_ERR_ARGUMENT (nothing or too much asked, hardness out of range, slices of
 * another score), SR_ERR_DATA (no natural frequency, or no hardness of the own pieces:
 * the text says what to give), SR_ERR_MEMORY. Release with sr_mount_table_release().
 */
enum sr_status sr_mount_table_make(struct sr_mount_table *table, const struct sr_mount_ask *ask,
                                   const struct sr_mount_own *own, const struct sr_slices *slices,
                                   const struct sr_score *score, const struct sr_rig *rig,
                                   struct sr_error *err);
void sr_mount_table_release(struct sr_mount_table *table);

/* Cell of hardness i at temperature j. */
const struct sr_mount_cell *sr_mount_cell_at(const struct sr_mount_table *table, size_t shore,
                                             size_t temperature);

/*
 * One sentence for a pilot: what to fit, over which temperatures, and whether it resonates with a line there.
 * Without a full stop. text[size]: SR_MOUNT_ADVICE bytes hold all of it.
 */
void sr_mount_advice(const struct sr_mount_table *table, char *text, size_t size);

/*
 * Another hardness as something to try, for the list of sr_trials_make(): the best of
 * 40, 50, 60 and 70 A at the flight's own temperature. Its gain is against the flight as
 * seen through the own mount, which is what sr_mount_apply() makes of a view. *worth is
 * false, and *trial untouched, where the mount is not known (with the gyro on the frame:
 * not measured), or gains less than 0.5 dB.
 * Errors: SR_ERR_MEMORY.
 */
enum sr_status sr_mount_trial(struct sr_trial *trial, bool *worth, const struct sr_slices *slices,
                              const struct sr_score *score, const struct sr_rig *rig, struct sr_error *err);

#ifdef __cplusplus
}
#endif
#endif
