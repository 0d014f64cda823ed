/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Stamps that are rounded, and stamps that skip. The oracle is the undisturbed log of
 * the same flight, its motion, or arithmetic that stands beside the number.
 */
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
#include "stillrow/wobble.h"
#include "support/near.h"
#include "support/text_log.h"

#define TURN 6.283185307179586

/* How the stamps of a log are written. */
enum stamp { MICROSECONDS, MILLISECONDS, SECONDS };

/* What became of a log. */
struct outcome {
    struct sr_quality quality;
    size_t n_runs;
    double rms_px;
    double tone_share;  /* of the wobble energy, of the peaks within 1 Hz of 150 Hz */
    double other_share; /* of the largest other peak above 20 Hz */
    bool bridged;       /* a note says that rows are interpolated */
};

static void add_header(struct text *text, enum stamp stamp)
{
    static const char *const units[] = {"us", "ms", "s"};

    text_add(text, "time [%s],gyro x [deg/s],gyro y [deg/s],gyro z [deg/s]\n", units[stamp]);
}

static void add_stamp(struct text *text, enum stamp stamp, double t)
{
    if (stamp == SECONDS)
        text_add(text, "%.6f", t);
    else
        text_add(text, "%.0f", floor(t * (stamp == MILLISECONDS ? 1e3 : 1e6) + 1e-6));
}

static void read_or_fail(const struct text *text, struct sr_log *log)
{
    struct sr_error err;

    if (text_read(text, NULL, log, &err) != SR_OK)
        fail_msg("%s:%zu: %s", err.file, err.line, err.text);
}

/* Twenty seconds in the air at 1 kHz, with a strong tone at 150 Hz. */
static void fly(struct sim_samples *samples)
{
    struct sim_flight flight;

    sim_flight_init(&flight);
    flight.flight_s = 20.0;
    flight.ground_s = 0.0;
    flight.tone[0] = (struct sim_tone){.hz = 150.0, .dps = 60.0, .axis = {0.4, 1.0, 0.7}};
    assert_int_equal(sim_fly(&flight, samples), 0);
}

static void judge(const struct sr_log *log, struct outcome *outcome)
{
    struct sr_rig rig;
    struct sr_slices slices = {0};
    struct sr_view view = {0};
    struct sr_score score = {0};

    sr_rig_init(&rig);
    assert_int_equal(sr_slices_make(&slices, log, &rig, SR_WINDOW_HANN, NULL), SR_OK);
    assert_int_equal(sr_view_init(&view, &slices, &rig.camera, NULL), SR_OK);
    assert_int_equal(sr_score_make(&score, &slices, &view, 1.0, NULL), SR_OK);
    *outcome = (struct outcome){.quality = log->quality,
                                .n_runs = log->n_runs,
                                .rms_px = score.rms_px,
                                .bridged = has_note(log, "interpolated")};
    for (size_t i = 0; i < score.n_peaks; i++)
        if (fabs(score.peaks[i].hz - 150.0) < 1.0)
            outcome->tone_share += score.peaks[i].share;
        else if (score.peaks[i].hz > 20.0)
            outcome->other_share = fmax(outcome->other_share, score.peaks[i].share);
    sr_score_release(&score);
    sr_view_release(&view);
    sr_slices_release(&slices);
}

/* Write the rows that `lost` leaves (bad: with words in them instead), read them, score them. */
static void try_rows(const struct sim_samples *samples, enum stamp stamp, const bool *lost, bool bad,
                     struct outcome *outcome)
{
    struct text text = {0};
    struct sr_log log;

    add_header(&text, stamp);
    for (size_t i = 0; i < samples->count; i++) {
        if (lost[i] && !bad)
            continue;
        add_stamp(&text, stamp, samples->time_s[i]);
        if (lost[i])
            text_add(&text, ",overrun,1,2\n");
        else
            text_add(&text, ",%.4f,%.4f,%.4f\n", samples->gyro_dps[0][i], samples->gyro_dps[1][i],
                     samples->gyro_dps[2][i]);
    }
    read_or_fail(&text, &log);
    judge(&log, outcome);
    sr_log_release(&log);
    text_free(&text);
}

/* Rows lost here and there: the wobble of the whole log, its tone, and nothing that was not there. */
static void rows_lost_at_random(void **state)
{
    static const double shares[] = {0.01, 0.03, 0.05};
    struct sim_samples samples;
    (void)state;
    fly(&samples);
    bool *lost = calloc(samples.count, sizeof *lost);
    assert_non_null(lost);
    for (int stamp = MICROSECONDS; stamp <= SECONDS; stamp++) {
        struct outcome whole;
        uint64_t seed = 11;
        memset(lost, 0, samples.count * sizeof *lost);
        try_rows(&samples, (enum stamp)stamp, lost, false, &whole);
        assert_true(whole.tone_share > 0.9 && whole.quality.lost_rows == 0 && !whole.bridged);
        for (size_t s = 0; s < sizeof shares / sizeof shares[0]; s++) {
            struct outcome some;
            uint64_t missing = 0;
            for (size_t i = 0; i < samples.count; i++) {
                lost[i] = i > 0 && i + 1 < samples.count && sim_uniform(&seed) < shares[s];
                missing += lost[i];
            }
            try_rows(&samples, (enum stamp)stamp, lost, s == 1, &some);
            assert_int_equal(some.quality.lost_rows, missing);
            assert_int_equal(some.n_runs, 1);
            assert_false(some.quality.coarse_stamps || some.quality.resampled);
            assert_true(some.bridged);
            assert_ratio_near(some.quality.rate_hz, 1000.0, 1e-6);
            assert_ratio_near(some.rms_px, whole.rms_px, 0.01);
            assert_near(some.tone_share, whole.tone_share, 0.01);
            assert_true(some.other_share < 0.03);
        }
    }
    free(lost);
    sim_samples_release(&samples);
}

/* Every tenth, fifth, third row lost, or bad: good stamps that skip, not stamps too coarse. */
static void rows_lost_in_step(void **state)
{
    static const size_t every[] = {1000, 100, 20, 10, 5, 3};
    struct sim_samples samples;
    (void)state;
    fly(&samples);
    bool *lost = calloc(samples.count, sizeof *lost);
    assert_non_null(lost);
    for (int bad = 0; bad < 2; bad++) {
        struct outcome whole;
        memset(lost, 0, samples.count * sizeof *lost);
        try_rows(&samples, SECONDS, lost, false, &whole);
        for (size_t e = 0; e < sizeof every / sizeof every[0]; e++) {
            struct outcome some;
            for (size_t i = 0; i < samples.count; i++)
                lost[i] = i % every[e] == 1;
            try_rows(&samples, bad ? SECONDS : MILLISECONDS, lost, bad, &some);
            if (some.quality.coarse_stamps || some.n_runs != 1)
                fail_msg("every %zu: %zu runs at %g Hz", every[e], some.n_runs, some.quality.rate_hz);
            assert_ratio_near(some.quality.rate_hz, 1000.0, 1e-6);
            /* the cubic's gain at 150 Hz is 0.89 (see below): a third of the rows takes 4 % of a line's
             * amplitude */
            assert_ratio_near(some.rms_px, whole.rms_px, every[e] >= 10 ? 0.01 : 0.04);
            assert_near(some.tone_share, whole.tone_share, 0.02);
            assert_true(some.other_share < 0.03);
        }
    }
    free(lost);
    sim_samples_release(&samples);
}

/*
 * Where the cubic through two rows on each side of a missing one has a gain of H, a
 * share p of missing rows takes p (1 - H) of a line. H = (4 cos a - cos 2a) / 3, so
 * that 5 % are gone at p = 0.1 where 2 c^2 - 4 c + 0.5 = 0, c = cos a = 1 - sqrt(0.75):
 * at 0.2286 of the rate.
 */
static void trusted_frequency(void **state)
{
    struct sim_samples samples;
    struct outcome some;
    (void)state;
    fly(&samples);
    bool *lost = calloc(samples.count, sizeof *lost);
    assert_non_null(lost);
    for (size_t i = 0; i < samples.count; i++)
        lost[i] = i % 10 == 5;
    try_rows(&samples, MICROSECONDS, lost, false, &some);
    assert_near(some.quality.bridged_hz, 1000.0 * acos(1.0 - sqrt(0.75)) / TURN, 1.0);
    assert_ratio_near(some.quality.nyquist_hz, 500.0, 1e-6); /* the gyro was read that often all the same */
    for (size_t i = 0; i < samples.count; i++)
        lost[i] = i % 100 == 5; /* 1 %: 1 - H is 8 / 3 at most, so nothing loses 5 % */
    try_rows(&samples, MICROSECONDS, lost, false, &some);
    assert_true(some.quality.bridged_hz == 0.0);
    free(lost);
    sim_samples_release(&samples);
}

static double motion(size_t axis, double t)
{
    return 50.0 * sin(TURN * 20.0 * (double)(axis + 1) * t + (double)axis) + 20.0 * cos(TURN * 7.4 * t);
}

static void add_rates(struct text *text, double t)
{
    text_add(text, ",%.5f,%.5f,%.5f\n", motion(0, t), motion(1, t), motion(2, t));
}

/* Stamps too coarse for the rate: many equal ones, or steps of one, two, three units. */
static void coarse(void **state)
{
    static const struct {
        double rate_hz;
        int64_t unit_us;
    } cases[] = {{4000, 1000}, {1000, 10000},  {800, 1000}, {2500, 1000},
                 {400, 1000},  {1000, 100000}, {8000, 1000}};
    (void)state;
    for (size_t c = 0; c < sizeof cases / sizeof cases[0]; c++)
        for (int gap = 0; gap < 2; gap++) {
            struct text text = {0};
            struct sr_log log;
            const double step_us = 1e6 / cases[c].rate_hz;
            const int n = (int)(20 * cases[c].rate_hz);
            add_header(&text, MICROSECONDS);
            for (int i = 0; i < n; i++) {
                const double t = (i + (gap && i > n / 2 ? (int)cases[c].rate_hz : 0)) * step_us * 1e-6;
                add_stamp(&text, MICROSECONDS,
                          1e-6 * (double)((int64_t)(t * 1e6 + 1e-6) / cases[c].unit_us * cases[c].unit_us));
                add_rates(&text, t);
            }
            read_or_fail(&text, &log);
            assert_true(log.quality.coarse_stamps && !log.quality.resampled);
            assert_true(has_note(&log, "too coarse"));
            assert_int_equal(log.count, n);
            assert_int_equal(log.n_runs, 1 + (size_t)gap);
            /* whole periods of the staircase cancel; what is left is a part of one, over the length of a run
             */
            assert_ratio_near(log.rate_hz, cases[c].rate_hz, 0.1 * (double)cases[c].unit_us * 1e-6 / 10.0);
            if (gap) { /* a second is missing; its place is known to a unit or so of the stamps */
                const double unit_rows = (double)cases[c].unit_us / step_us;
                assert_near((double)log.quality.lost_rows, cases[c].rate_hz, 0.5 + 0.5 * unit_rows);
                assert_near(log.runs[1].start_s, (n / 2 + 1 + cases[c].rate_hz) * step_us * 1e-6,
                            1e-6 * (step_us + 0.5 * (double)cases[c].unit_us));
            }
            sr_log_release(&log);
            text_free(&text);
        }
}

/* Seconds with six significant digits: fine at first, 1 ms from 100 s, 10 ms from 1000 s on. */
static void fading_stamps(void **state)
{
    struct text text = {0};
    struct sr_log log;
    (void)state;
    add_header(&text, SECONDS);
    for (int i = 0; i < 100000; i++) {
        char stamp[32];
        const double t = 950.0 + i * 1e-3;
        snprintf(stamp, sizeof stamp, "%.6g", t);
        text_add(&text, "%s", stamp);
        add_rates(&text, t);
    }
    read_or_fail(&text, &log);
    assert_true(log.quality.coarse_stamps);
    assert_int_equal(log.count, 100000);
    assert_int_equal(log.n_runs, 1);
    assert_ratio_near(log.rate_hz, 1000.0, 2e-4);
    sr_log_release(&log);
    text_free(&text);
}

/* Rows in clumps: four at once, then a pause. */
static void bursts(void **state)
{
    struct text text = {0};
    struct sr_log log;
    (void)state;
    add_header(&text, MICROSECONDS);
    for (int i = 0; i < 20000; i++) {
        add_stamp(&text, MICROSECONDS, i / 4 * 2000e-6 + i % 4 * 20e-6);
        add_rates(&text, i * 500e-6);
    }
    read_or_fail(&text, &log);
    assert_int_equal(log.n_runs, 1);
    assert_int_equal(log.count, 20000);
    assert_ratio_near(log.rate_hz, 2000.0, 1e-4);
    sr_log_release(&log);
    text_free(&text);
}

/* Nothing is lost, and stamps are rounded down to so many units a second. */
static void rounded_stamps(void **state)
{
    static const struct {
        double rate_hz, units_hz;
    } cases[] = {{998, 1000},  {990, 1000},   {1010, 1000},  {1000.5, 1000}, {1100, 1000}, {2000, 1000},
                 {3200, 1000}, {3200, 10000}, {8000, 10000}, {1000, 100},    {998, 10000}, {400, 1000},
                 {667, 1000},  {1000, 1000},  {952, 1000},   {8000, 1000000}};
    (void)state;
    for (size_t c = 0; c < sizeof cases / sizeof cases[0]; c++)
        for (int noise = 0; noise < 2; noise++) { /* what the rates show, and what stamps alone show */
            struct text text = {0};
            struct sr_log log;
            uint64_t seed = 7;
            const size_t n = (size_t)(20 * cases[c].rate_hz);
            add_header(&text, SECONDS);
            for (size_t i = 0; i < n; i++) {
                const double t = (double)i / cases[c].rate_hz + 0.00037;
                add_stamp(&text, SECONDS, floor(t * cases[c].units_hz + 1e-6) / cases[c].units_hz);
                for (size_t axis = 0; axis < 3; axis++)
                    text_add(&text, ",%.5f", noise ? 30.0 * sim_normal(&seed) : motion(axis, t));
                text_add(&text, "\n");
            }
            read_or_fail(&text, &log);
            if (log.n_runs != 1 || log.count != n || log.quality.lost_rows != 0)
                fail_msg("%g Hz in units of 1/%g s: %zu runs, %zu of %zu samples", cases[c].rate_hz,
                         cases[c].units_hz, log.n_runs, log.count, n);
            /* a part of a unit over 20 s */
            assert_near(log.rate_hz, cases[c].rate_hz, cases[c].rate_hz * 0.2 / cases[c].units_hz / 20.0);
            assert_false(log.quality.resampled);
            sr_log_release(&log);
            text_free(&text);
        }
}

/* A coarse clock, but not too coarse to show a missing row: 3.2 kHz in tenths of a millisecond. */
static void coarse_and_lost(void **state)
{
    struct text text = {0};
    struct sr_log log;
    uint64_t seed = 3;
    size_t missing = 0;
    (void)state;
    add_header(&text, SECONDS);
    for (size_t i = 0; i < 64000; i++) {
        const double t = (double)i / 3200.0;
        if (i > 0 && i < 63999 && sim_uniform(&seed) < 0.02) {
            missing++;
            continue;
        }
        add_stamp(&text, SECONDS, floor(t * 1e4 + 1e-6) / 1e4);
        add_rates(&text, t);
    }
    read_or_fail(&text, &log);
    assert_true(log.quality.coarse_stamps && log.n_runs == 1);
    assert_int_equal(log.quality.lost_rows, missing);
    assert_int_equal(log.count, 64000);
    for (size_t i = 16; i + 16 < log.count; i++)
        assert_near(log.gyro_dps[2][i], motion(2, (double)i / 3200.0), 0.01);
    sr_log_release(&log);
    text_free(&text);
}

/* Samples taken 0.15 ms early or late (standard deviation) at 1 kHz: no row is lost, and none is said to be.
 */
static void strong_jitter(void **state)
{
    struct text text = {0};
    struct sr_log log;
    uint64_t seed = 9;
    double first_s = 0.0;
    double squares = 0.0;
    (void)state;
    add_header(&text, MICROSECONDS);
    for (size_t i = 0; i < 20000; i++) {
        const double t = floor(1e3 * (double)(i + 10) + 150.0 * sim_normal(&seed)) * 1e-6;
        first_s = i == 0 ? t : first_s;
        add_stamp(&text, MICROSECONDS, t);
        add_rates(&text, t);
    }
    read_or_fail(&text, &log);
    assert_int_equal(log.n_runs, 1);
    assert_int_equal(log.quality.lost_rows, 0);
    assert_true(log.quality.resampled);
    assert_ratio_near(log.rate_hz, 1000.0, 1e-4);
    assert_ratio_near(log.quality.jitter_us, 150.0 * sqrt(2.0), 0.03);
    for (size_t i = 16; i + 16 < log.count; i++) {
        const double off = log.gyro_dps[2][i] - motion(2, first_s + (double)i / log.rate_hz);
        squares += off * off / (double)log.count;
    }
    assert_near(sqrt(squares), 0.0, 0.05); /* of 50 deg/s at 60 Hz */
    sr_log_release(&log);
    text_free(&text);
}

/* One to three missing rows are made up for, four are a gap. */
static void short_holes(void **state)
{
    (void)state;
    for (size_t hole = 1; hole <= 5; hole++) {
        struct text text = {0};
        struct sr_log log;
        add_header(&text, MICROSECONDS);
        for (size_t i = 0; i < 4000; i++)
            if (i < 2000 || i >= 2000 + hole) {
                const double t = (double)i * 1e-3;
                add_stamp(&text, MICROSECONDS, t);
                add_rates(&text, t);
            }
        read_or_fail(&text, &log);
        assert_int_equal(log.n_runs, hole <= 3 ? 1 : 2);
        assert_int_equal(log.quality.gaps, hole <= 3 ? 0 : 1);
        assert_int_equal(log.quality.lost_rows, hole);
        assert_true(has_note(&log, hole == 1 ? "1 row is missing" : "rows (") == (hole <= 3));
        if (hole <= 3)
            for (size_t i = 0; i < 4000; i++)
                assert_near(log.gyro_dps[0][i], motion(0, (double)i * 1e-3),
                            i >= 2000 && i < 2000 + hole ? 0.1 : 1e-4);
        sr_log_release(&log);
        text_free(&text);
    }
}

/* Messages say what is wrong, where, and what to do; and one row is not "rows". */
static void what_is_said(void **state)
{
    struct text text = {0};
    struct sr_log log;
    struct sr_error err;
    (void)state;
    add_header(&text, MILLISECONDS);
    for (int i = 0; i < 5000; i++)
        text_add(&text, "%d,%d,%d,%d\n", 5000 - i, i % 7, i % 11, i % 13);
    assert_int_equal(text_read(&text, NULL, &log, &err), SR_ERR_TIME);
    assert_int_equal(err.line, 3);
    assert_non_null(strstr(err.text, "runs backwards: 4999 of 5000 rows"));
    assert_non_null(strstr(err.text, "sort the rows by time"));
    text_free(&text);

    add_header(&text, MILLISECONDS); /* but they are seconds */
    for (int i = 0; i < 12000; i++)
        text_add(&text, "%.6f,%d,%d,%d\n", i * 1e-3, i % 7, i % 11, i % 13);
    assert_true(text_read(&text, NULL, &log, &err) != SR_OK);
    assert_non_null(strstr(err.text, "--time-unit s"));
    text_free(&text);

    add_header(&text, MILLISECONDS);
    text_add(&text, "1,1,2,3\n");
    assert_int_equal(text_read(&text, NULL, &log, &err), SR_ERR_SHORT);
    assert_string_equal(err.text, "only 1 usable row");
    text_free(&text);

    add_header(&text, MILLISECONDS);
    for (int i = 0; i < 5000; i++)
        text_add(&text, i == 1000 ? "%d,x,%d,%d\n" : "%d,%d,%d,9.%d\n", i, i % 7, i % 11, i % 10);
    read_or_fail(&text, &log);
    assert_true(has_note(&log, "1 bad row is dropped, in line 1002 ('x')"));
    sr_log_release(&log);
    text_free(&text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(rows_lost_at_random),
        cmocka_unit_test(rows_lost_in_step),
        cmocka_unit_test(trusted_frequency),
        cmocka_unit_test(rounded_stamps),
        cmocka_unit_test(coarse),
        cmocka_unit_test(fading_stamps),
        cmocka_unit_test(bursts),
        cmocka_unit_test(coarse_and_lost),
        cmocka_unit_test(strong_jitter),
        cmocka_unit_test(short_holes),
        cmocka_unit_test(what_is_said),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
