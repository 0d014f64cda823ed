/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/cause_cases.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "stillrow/explain.h"
#include "support/sim_log.h"

/* A flight, what its log carries, and what is true of it. */
struct plan {
    struct sim_flight flight;
    struct sim_log_columns columns;
    struct sr_rig rig;
    double mean_hz;      /* [rev/s] all motors, over the time in the air */
    double mode_hz;      /* 0: none */
    int motor;           /* 1-based motor that is out, 0: none */
    double motor_gap_hz; /* [Hz] to the next motor's 1x */
    double apart;        /* part of the flight that every motor's 1x is over 8 Hz off the mode */
};

const char *cause_case_name(enum cause_case which)
{
    static const char *const names[CASE_COUNT] = {"imbalance of one motor",
                                                  "blade pass",
                                                  "mode crossed by an order",
                                                  "order amplified by a mode",
                                                  "fixed tone",
                                                  "folded line",
                                                  "speed never changes",
                                                  "throttle only",
                                                  "throttle only, and mode",
                                                  "electrical speed",
                                                  "nothing but rates",
                                                  "knock",
                                                  "no knock",
                                                  "that motor not logged",
                                                  "another motor not logged"};
    return names[which];
}

static double between(uint64_t *state, double low, double high)
{
    return low + (high - low) * sim_uniform(state);
}

static size_t pick_one(uint64_t *state, size_t count)
{
    return (size_t)(sim_uniform(state) * (double)count);
}

static double fold(double hz, double rate_hz)
{
    return fabs(hz - rate_hz * round(hz / rate_hz));
}

/* Whether a line at that multiple of the speed lies clearly to one side of Nyquist and its multiples. */
static bool clear_of_folds(const struct sim_flight *f, double order)
{
    double zones = order * f->hover_rpm / 60 / (f->rate_hz / 2);
    return zones < 0.93 || fabs(zones - round(zones)) > 0.07;
}

static void draw_once(struct plan *p, uint64_t *state)
{
    static const double rates[] = {500, 800, 1000, 1600, 2000, 3200, 4000};
    static const enum sim_profile profiles[] = {SIM_CRUISE, SIM_CLIMBS, SIM_CHASE};
    struct sim_flight *f = &p->flight;

    f->rate_hz = rates[pick_one(state, 7)];
    f->flight_s = floor(between(state, 30, 61));
    f->ground_s = 1;
    f->profile = profiles[pick_one(state, 3)];
    f->hover_throttle = between(state, 0.28, 0.5);
    f->hover_rpm = between(state, 7000, 20000);
    for (int m = 0; m < SIM_MOTORS; m++) {
        f->motor_offset[m] = between(state, -0.025, 0.025);
        f->imbalance_dps[m] = between(state, 2, 4);
    }
    f->blades = 2 + (int)pick_one(state, 3);
    f->blade_dps = between(state, 1, 3);
    f->wash_dps = between(state, 1.5, 4);
    f->pilot_dps = between(state, 5, 20);
    f->noise_dps_rthz = between(state, 0.003, 0.02);
    f->step_dps = 0.061; /* 16 bits over +-2000 deg/s */
}

/* Draw until 1x lies clear of Nyquist, and blade pass too, on the side asked for: 1 above, 0 below, -1 any.
 */
static void draw(struct plan *p, uint64_t *state, int blades_above)
{
    struct sim_flight *f = &p->flight;
    double blade_hz;

    memset(p, 0, sizeof *p);
    sim_flight_init(f);
    f->seed = *state;
    p->columns = (struct sim_log_columns){true, true, 0, 0};
    do {
        draw_once(p, state);
        blade_hz = f->blades * f->hover_rpm / 60;
    } while (!clear_of_folds(f, 1) || !clear_of_folds(f, f->blades) ||
             (blades_above >= 0 && blades_above != (blade_hz > f->rate_hz / 2)) ||
             fold(blade_hz, f->rate_hz) < 60 || fold(f->hover_rpm / 60, f->rate_hz) < 60);
    sr_rig_init(&p->rig);
    p->rig.camera.readout_s = between(state, 0.008, 0.0165);
    p->rig.camera.exposure_s = between(state, 0.0002, 0.0006);
    p->rig.build.blades = f->blades;
}

/* Heavier the faster it turns: the camera forgives with frequency. */
static void unbalance(struct plan *p, uint64_t *state, double low_dps, double high_dps)
{
    struct sim_flight *f = &p->flight;
    int m = (int)pick_one(state, SIM_MOTORS);
    f->imbalance_dps[m] = between(state, low_dps, high_dps) * fmax(1, f->hover_rpm / 12000);
    p->motor = m + 1;
    p->motor_gap_hz = INFINITY;
    for (int k = 0; k < SIM_MOTORS; k++)
        if (k != m)
            p->motor_gap_hz =
                fmin(p->motor_gap_hz, fabs(f->motor_offset[k] - f->motor_offset[m]) * f->hover_rpm / 60);
}

/* A mode that 1x passes by: off the mean speed by a part of the speed's swing, to either side. */
static void add_mode(struct plan *p, uint64_t *state, double drive)
{
    struct sim_flight *f = &p->flight;
    double swing = f->profile == SIM_CRUISE ? 0.04 : 0.15, side = sim_uniform(state) < 0.5 ? -1 : 1;
    p->mode_hz = f->hover_rpm / 60 * (1 + side * between(state, 0.3, 1) * swing);
    f->mode[0].hz = p->mode_hz;
    f->mode[0].damping = between(state, 0.008, 0.025);
    f->mode[0].drive = drive;
    for (int a = 0; a < 3; a++)
        f->mode[0].axis[a] = between(state, 0.3, 1);
}

static void add_tone(struct plan *p, uint64_t *state)
{
    struct sim_flight *f = &p->flight;
    double off, speed = f->hover_rpm / 60;
    do {
        p->mode_hz = between(state, 60, fmin(0.45 * f->rate_hz, 400));
        off = fabs(p->mode_hz - fold(speed, f->rate_hz)) / speed;
        off = fmin(off, fabs(p->mode_hz - fold(f->blades * speed, f->rate_hz)) / speed);
    } while (off < 0.1);
    f->tone[0] = (struct sim_tone){p->mode_hz, between(state, 8, 16), {0.6, 0.7, 0.4}};
}

static void plan_case(struct plan *p, enum cause_case which, uint64_t *state)
{
    struct sim_flight *f = &p->flight;
    draw(p, state, which == CASE_FOLDED ? 1 : which == CASE_BLADE_PASS ? 0 : -1);
    if (which == CASE_MODE_CROSSED || which == CASE_THROTTLE_MODE || which == CASE_ORDER_AMPLIFIED)
        while (f->hover_rpm / 60 * 1.2 > f->rate_hz / 2)
            draw(p, state, -1);

    switch (which) {
    case CASE_IMBALANCE:
    case CASE_THROTTLE:
    case CASE_NOTHING_LOGGED:
        unbalance(p, state, 12, 30);
        break;
    case CASE_BLADE_PASS:
    case CASE_FOLDED:
        f->blade_dps = between(state, 15, 40) * fmax(1, f->blades * f->hover_rpm / 60 / 300);
        break;
    case CASE_MODE_CROSSED:
    case CASE_THROTTLE_MODE:
        for (int m = 0; m < SIM_MOTORS; m++)
            f->imbalance_dps[m] /= 2;
        unbalance(p, state, 5, 8);
        add_mode(p, state, between(state, 0.25, 0.5));
        f->wash_dps = between(state, 3, 6);
        break;
    case CASE_ORDER_AMPLIFIED:
        unbalance(p, state, 8, 20);
        add_mode(p, state, between(state, 0.25, 0.5));
        f->wash_dps = 0.2;
        break;
    case CASE_TONE:
        add_tone(p, state);
        break;
    case CASE_STILL:
        /* Throttle held at the lowest the model flies with. */
        f->hover_throttle = 0.11;
        f->profile = SIM_HOVER;
        if (sim_uniform(state) < 0.5)
            unbalance(p, state, 12, 30);
        else
            add_tone(p, state);
        break;
    case CASE_ELECTRICAL:
        while (f->hover_rpm < 10000 || f->blades * f->hover_rpm / 60 > f->rate_hz / 2)
            draw(p, state, 0);
        unbalance(p, state, 12, 30);
        f->blade_dps = 15 * f->blades * f->hover_rpm / 60 / 300;
        p->columns.pole_pairs = sim_uniform(state) < 0.5 ? 6 : 7;
        break;
    case CASE_KNOCK:
        unbalance(p, state, 4, 6);
        f->knock_motor = p->motor - 1;
        f->knock_s = between(state, 6, f->flight_s - 6);
        f->knock_factor = between(state, 3, 8);
        break;
    case CASE_NO_KNOCK:
        if (sim_uniform(state) < 0.5)
            unbalance(p, state, 12, 30);
        if (sim_uniform(state) < 0.5)
            add_mode(p, state, between(state, 0.25, 0.5));
        break;
    case CASE_NOT_LOGGED:
        unbalance(p, state, 12, 30);
        p->columns.left_out = p->motor;
        break;
    case CASE_OTHER_MISSING:
        unbalance(p, state, 12, 30);
        p->columns.left_out = p->motor % SIM_MOTORS + 1;
        break;
    case CASE_COUNT:
        break;
    }
    if (which == CASE_THROTTLE || which == CASE_THROTTLE_MODE)
        p->columns.motor_rpm = false;
    if (which == CASE_NOTHING_LOGGED)
        p->columns.motor_rpm = p->columns.throttle = false;
}

/* A flight worked on. */
struct found {
    struct sr_slices slices;
    struct sr_view view;
    struct sr_score score;
    struct sr_causes causes;
    struct sr_change change;
};

static void measure_truth(struct plan *p, const struct sim_samples *s)
{
    double sum = 0, apart = 0;
    size_t n = 0;
    for (size_t i = 0; i < s->count; i++) {
        double nearest = INFINITY;
        if (s->time_s[i] < s->airborne_from_s || s->time_s[i] >= s->airborne_to_s)
            continue;
        for (int m = 0; m < SIM_MOTORS; m++) {
            sum += s->motor_rpm[m][i] / 60;
            nearest = fmin(nearest, fabs(s->motor_rpm[m][i] / 60 - p->mode_hz));
        }
        apart += nearest > 8;
        n++;
    }
    p->apart = apart / (double)n;
    p->mean_hz = sum / (double)(n * SIM_MOTORS);
}

static int work_on(struct plan *p, struct found *f)
{
    struct sim_samples samples;
    struct sr_log log;
    memset(f, 0, sizeof *f);
    if (sim_fly(&p->flight, &samples) != 0)
        return -1;
    measure_truth(p, &samples);
    int failed = sim_log_make(&log, &samples, &p->columns);
    sim_samples_release(&samples);
    if (failed)
        return -1;
    failed = sr_slices_make(&f->slices, &log, &p->rig, SR_WINDOW_HANN, NULL) != SR_OK ||
             sr_view_init(&f->view, &f->slices, &p->rig.camera, NULL) != SR_OK ||
             sr_score_make(&f->score, &f->slices, &f->view, 1, NULL) != SR_OK ||
             sr_causes_find(&f->causes, &f->score, &f->slices, &f->view, &p->rig, NULL) != SR_OK ||
             sr_change_find(&f->change, &f->score, &f->slices, &f->view, &f->causes, NULL) != SR_OK;
    sr_log_release(&log);
    return failed ? -1 : 0;
}

static void let_go(struct found *f)
{
    sr_causes_release(&f->causes);
    sr_score_release(&f->score);
    sr_view_release(&f->view);
    sr_slices_release(&f->slices);
}

static double energy_of(const struct found *f, double low_hz, double high_hz)
{
    size_t low = (size_t)fmax(low_hz / f->view.bin_hz, (double)f->view.first_bin);
    size_t high = (size_t)fmin(high_hz / f->view.bin_hz, (double)f->view.bins);
    double sum = 0;
    for (size_t i = 0; i < f->slices.count; i++)
        for (int a = 0; a < 3; a++)
            sum += sr_view_energy(&f->view, &f->slices, i, (enum sr_picture_axis)a, low, high);
    return sum;
}

/*
 * Shares of the wobble that a mode's ringing and the motors' lines have, by experiment: the same flight with
 * balanced props and still blades; that without the mode. The model's sources have random streams of their
 * own, so that all else is the same.
 */
static int true_shares(const struct plan *p, const struct found *whole, double *ringing, double *lines)
{
    struct plan ring = *p, quiet;
    struct found f;
    double all = energy_of(whole, 0, INFINITY);

    for (int m = 0; m < SIM_MOTORS; m++)
        ring.flight.imbalance_dps[m] = 0;
    ring.flight.blade_dps = 0;
    quiet = ring;
    quiet.flight.mode[0].hz = 0;
    if (work_on(&ring, &f) != 0)
        return -1;
    *lines = 1 - energy_of(&f, 0, INFINITY) / all;
    *ringing = energy_of(&f, 0.9 * p->mode_hz, 1.1 * p->mode_hz) / all;
    let_go(&f);
    if (work_on(&quiet, &f) != 0)
        return -1;
    *ringing -= energy_of(&f, 0.9 * p->mode_hz, 1.1 * p->mode_hz) / all;
    let_go(&f);
    return 0;
}

/*
 * Share of the motors' 1x energy that is motor m's (0-based), by experiment: each motor alone out of balance,
 * in still air. A mode may lift another motor's line over that of the one that is out. NAN: could not be run.
 */
static double true_motor_share(const struct plan *p, int m)
{
    double sum = 0, mine = 0;
    for (int k = 0; k < SIM_MOTORS; k++) {
        struct plan alone = *p;
        struct found f;
        for (int j = 0; j < SIM_MOTORS; j++)
            alone.flight.imbalance_dps[j] = j == k ? p->flight.imbalance_dps[k] : 0;
        memset(alone.flight.harmonic, 0, sizeof alone.flight.harmonic);
        alone.flight.blade_dps = alone.flight.wash_dps = alone.flight.pilot_dps = 0;
        if (work_on(&alone, &f) != 0)
            return NAN;
        double energy = energy_of(&f, 0, INFINITY);
        let_go(&f);
        sum += energy;
        mine += k == m ? energy : 0;
    }
    return mine / sum;
}

static bool moving(enum sr_cause cause)
{
    return cause == SR_CAUSE_ORDER || cause == SR_CAUSE_FOLDED;
}

/* True multiples of the motor speed in the model: 1x to 5x, and blade pass. */
static bool is_true_order(const struct plan *p, double true_hz)
{
    for (int n = 1; n <= SIM_HARMONICS + 1; n++)
        if (fabs(true_hz / p->mean_hz - n) < 0.035 * n)
            return true;
    return fabs(true_hz / p->mean_hz - p->flight.blades) < 0.035 * p->flight.blades;
}

static bool is_true_fixed(const struct plan *p, double hz)
{
    return p->mode_hz > 0 && fabs(hz - p->mode_hz) < fmax(4, 0.04 * p->mode_hz);
}

/* A line said to be what it is not. */
static bool is_false(const struct plan *p, const struct sr_peak *peak)
{
    bool folds = peak->true_hz > p->flight.rate_hz / 2;
    if (peak->cause == SR_CAUSE_FIXED)
        return !is_true_fixed(p, peak->hz);
    if (!moving(peak->cause))
        return false;
    if (folds != (peak->cause == SR_CAUSE_FOLDED) || !is_true_order(p, peak->true_hz))
        return true;
    return p->columns.motor_rpm && fabs(peak->order - round(peak->order)) > 1e-9;
}

/* The strongest peak of the class asked for near a true frequency; NULL if none. */
static const struct sr_peak *peak_near(const struct sr_score *score, double true_hz, bool moves)
{
    for (size_t k = 0; k < score->n_peaks; k++) {
        const struct sr_peak *peak = &score->peaks[k];
        bool classed = moves ? moving(peak->cause) : peak->cause == SR_CAUSE_FIXED;
        if (classed && fabs(peak->true_hz - true_hz) < fmax(4, 0.035 * true_hz))
            return peak;
    }
    return NULL;
}

/* Which of the motors that are logged it is. */
static int logged_as(const struct plan *p, int motor)
{
    return p->columns.left_out > 0 && motor > p->columns.left_out ? motor - 1 : motor;
}

static void judge_order(struct case_result *r, const struct plan *p, const struct found *f, double order)
{
    double true_hz = order * p->mean_hz;
    const struct sr_peak *peak = peak_near(&f->score, true_hz, true);
    r->cause = peak != NULL && (peak->cause == SR_CAUSE_FOLDED) == (true_hz > p->flight.rate_hz / 2);
    r->order = peak != NULL && (!p->columns.motor_rpm || peak->order == order);
    if (p->motor > 0 && p->columns.motor_rpm && order == 1) {
        r->motor = peak != NULL && peak->motor == logged_as(p, p->motor);
        r->motor_unsaid = peak != NULL && peak->motor == 0;
        /* With a mode about, the motor that is out may not be the one that shakes most; or none may. */
        if (peak != NULL && !r->motor && p->mode_hz > 0)
            r->motor = peak->motor > 0 ? true_motor_share(p, peak->motor - 1) > 0.5
                                       : true_motor_share(p, p->motor - 1) < 0.65;
    }
}

/*
 * Both, each as what it is. Well above the share that makes a line it must be there, near that it may; and
 * where 1x hardly ever leaves the mode by more than a line is wide, the mode cannot be seen by itself.
 */
static void judge_crossing(struct case_result *r, const struct plan *p, const struct found *f)
{
    double ringing = 0, lines = 0;
    judge_order(r, p, f, 1);
    bool fixed = peak_near(&f->score, p->mode_hz, false) != NULL;
    if (true_shares(p, f, &ringing, &lines) != 0) {
        r->cause = false;
        return;
    }
    if (!r->cause && !r->motor && peak_near(&f->score, p->mean_hz, true) == NULL &&
        lines < 2 * SR_PEAK_SHARE_MIN)
        r->cause = r->order = r->motor = true;
    r->cause = r->cause && (fixed || ringing < 2 * SR_PEAK_SHARE_MIN || p->apart < 0.3);
    r->ringing = ringing;
    r->lines = lines;
}

static void judge_still(struct case_result *r, const struct plan *p, const struct found *f)
{
    double hz = p->mode_hz > 0 ? p->mode_hz : p->mean_hz;
    const struct sr_peak *peak = NULL;
    for (size_t k = 0; k < f->score.n_peaks && peak == NULL; k++)
        if (fabs(f->score.peaks[k].hz - fold(hz, p->flight.rate_hz)) < fmax(4, 0.03 * hz))
            peak = &f->score.peaks[k];
    bool moves = hz * f->causes.speed_spread >= 3;
    r->cause = peak != NULL && (peak->cause == SR_CAUSE_UNDECIDED || (moves && !is_false(p, peak)));
}

/*
 * Motors of the model wander by 0.3 % of their speed each: where the next motor's mean is closer than that,
 * it is right to leave open which of them it is (but wrong to name the wrong one).
 */
static bool too_alike(const struct plan *p)
{
    return p->motor > 0 && p->motor_gap_hz < 0.003 * p->mean_hz;
}

/* Whether the motor that is named for a line, of those logged, turns as the one that is out does, or none is
 * named. */
static bool may_be_named(const struct plan *p, int named)
{
    if (named == 0)
        return true;
    const int motor = named < p->columns.left_out ? named : named + 1;
    return fabs(p->flight.motor_offset[motor - 1] - p->flight.motor_offset[p->motor - 1]) < 0.003;
}

static void judge(struct case_result *r, enum cause_case which, const struct plan *p, const struct found *f)
{
    for (size_t k = 0; k < f->score.n_peaks; k++)
        r->false_call = r->false_call || is_false(p, &f->score.peaks[k]);
    switch (which) {
    case CASE_IMBALANCE:
    case CASE_OTHER_MISSING:
    case CASE_THROTTLE:
    case CASE_ORDER_AMPLIFIED:
        judge_order(r, p, f, 1);
        break;
    case CASE_ELECTRICAL:
        judge_order(r, p, f, 1);
        r->cause = r->cause && f->causes.electrical && f->causes.pole_pairs == p->columns.pole_pairs;
        break;
    case CASE_BLADE_PASS:
    case CASE_FOLDED:
        judge_order(r, p, f, p->flight.blades);
        break;
    case CASE_MODE_CROSSED:
    case CASE_THROTTLE_MODE:
        judge_crossing(r, p, f);
        break;
    case CASE_TONE:
        r->cause = peak_near(&f->score, p->mode_hz, false) != NULL;
        break;
    case CASE_STILL:
        judge_still(r, p, f);
        break;
    case CASE_NOTHING_LOGGED:
        for (size_t k = 0; k < f->score.n_peaks; k++)
            r->cause = r->cause && (f->score.peaks[k].cause == SR_CAUSE_UNDECIDED ||
                                    f->score.peaks[k].cause == SR_CAUSE_BROADBAND);
        break;
    case CASE_KNOCK:
        r->time =
            f->change.found && fabs(f->change.at_s - (p->flight.ground_s + p->flight.knock_s)) <= SR_SLICE_S;
        r->motor = f->change.motor == p->motor;
        r->motor_unsaid = f->change.motor == 0;
        break;
    case CASE_NO_KNOCK:
        r->time = !f->change.found;
        break;
    case CASE_NOT_LOGGED:
        r->false_call = false; /* it may be seen as 1.01 x the mean of the others */
        for (size_t k = 0; k < f->score.n_peaks; k++) {
            r->motor = r->motor && may_be_named(p, f->score.peaks[k].motor);
            r->motor_unsaid = r->motor_unsaid || f->score.peaks[k].motor == 0;
        }
        break;
    case CASE_COUNT:
        break;
    }
    r->right =
        r->cause && r->order && (r->motor || (r->motor_unsaid && too_alike(p))) && r->time && !r->false_call;
}

static void note(struct case_result *r, const char *format, ...)
{
    size_t at = strlen(r->detail);
    va_list args;
    va_start(args, format);
    vsnprintf(r->detail + at, sizeof r->detail - at, format, args);
    va_end(args);
}

static void describe(struct case_result *r, enum cause_case which, const struct plan *p,
                     const struct found *f)
{
    const struct sim_flight *s = &p->flight;
    note(r, "%.0f Hz, 1x %.1f Hz, profile %d, %d blades, motor %d (gap %.1f Hz), mode %.1f Hz:", s->rate_hz,
         p->mean_hz, (int)s->profile, s->blades, p->motor, p->motor > 0 ? p->motor_gap_hz : 0, p->mode_hz);
    for (size_t k = 0; k < f->score.n_peaks; k++) {
        const struct sr_peak *peak = &f->score.peaks[k];
        note(r, " [%.1f->%.1f %s %.4gx m%d %.0f%%]", peak->hz, peak->true_hz, sr_cause_name(peak->cause),
             peak->order, peak->motor, 100 * peak->share);
    }
    if (which == CASE_MODE_CROSSED || which == CASE_THROTTLE_MODE)
        note(r, " truly ringing %.0f%%, lines %.0f%%, apart %.0f%%", 100 * r->ringing, 100 * r->lines,
             100 * p->apart);
    if (which == CASE_KNOCK || which == CASE_NO_KNOCK)
        note(r, " knock %.1f x %.1f; found %d at %.1f p %.3f motor %d %.1f dB",
             s->knock_s > 0 ? s->knock_s + s->ground_s : 0, s->knock_factor, f->change.found, f->change.at_s,
             f->change.p_value, f->change.motor, f->change.ratio_db);
}

int cause_case_run(enum cause_case which, uint64_t seed, struct case_result *result)
{
    struct case_result r = {.cause = true, .order = true, .motor = true, .time = true};
    struct plan p;
    struct found f;
    /* Scrambled, so that no two seeds draw from the same stream. */
    uint64_t state =
        (seed + 1) * UINT64_C(0xd6e8feb86659fd93) + (uint64_t)which * UINT64_C(0xff51afd7ed558ccd);
    state = (uint64_t)(sim_uniform(&state) * 0x1p53) << 11 ^ state >> 17;

    plan_case(&p, which, &state);
    int failed = work_on(&p, &f);
    if (!failed) {
        judge(&r, which, &p, &f);
        describe(&r, which, &p, &f);
    }
    let_go(&f);
    *result = r;
    return failed;
}
