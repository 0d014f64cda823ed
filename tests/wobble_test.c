/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The wobble room: slices, view, score, quantiles. Oracles: closed forms, and figures worked out by hand. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "sim/flight.h"
#include "stillrow/wobble.h"
#include "support/near.h"

#define PI 3.14159265358979323846

/* A log in memory: one run, airborne throughout, quiet until a test fills its samples. */
static struct sr_log make_log(double rate_hz, double duration_s)
{
    struct sr_log log = {0};
    log.name = (char *)"made";
    log.rate_hz = rate_hz;
    log.count = (size_t)lround(rate_hz * duration_s);
    for (int a = 0; a < 3; a++)
        log.gyro_dps[a] = calloc(log.count, sizeof(double));
    log.n_runs = 1;
    log.runs = calloc(1, sizeof *log.runs);
    log.runs[0] = (struct sr_run){0, log.count, 0};
    log.n_airborne = 1;
    log.airborne = calloc(1, sizeof *log.airborne);
    log.airborne[0] = (struct sr_span){0, (double)(log.count - 1) / rate_hz};
    return log;
}

static void free_log(struct sr_log *log)
{
    for (int a = 0; a < 3; a++)
        free(log->gyro_dps[a]);
    free(log->runs);
    free(log->airborne);
}

static void add_tone(struct sr_log *log, int axis, double hz, double rms_dps, double from_s, double to_s)
{
    for (size_t i = 0; i < log->count; i++) {
        double t = (double)i / log->rate_hz;
        if (t >= from_s && t < to_s)
            log->gyro_dps[axis][i] += rms_dps * sqrt(2) * sin(2 * PI * hz * t + 0.3);
    }
}

static struct sr_slices slice(const struct sr_log *log, const struct sr_rig *rig)
{
    struct sr_slices slices;
    assert_int_equal(sr_slices_make(&slices, log, rig, SR_WINDOW_HANN, NULL), SR_OK);
    return slices;
}

static void test_slices_cover_runs_and_spans(void **state)
{
    (void)state;
    struct sr_log log = make_log(1000, 10);
    struct sr_rig rig;
    sr_rig_init(&rig);

    struct sr_slices slices = slice(&log, &rig);
    assert_int_equal(slices.count, 10);
    assert_int_equal(slices.segment, 500);
    assert_int_equal(slices.bins, 251);
    sr_slices_release(&slices);

    /* A gap at 4.5 s: whole seconds are 0-4 before it, and start anew after it. */
    struct sr_run runs[2] = {{0, 4500, 0}, {4500, 5500, 4.75}};
    free(log.runs);
    log.runs = calloc(2, sizeof *log.runs);
    memcpy(log.runs, runs, sizeof runs);
    log.n_runs = 2;
    log.airborne[0] = (struct sr_span){1.0, 9.3};
    slices = slice(&log, &rig);
    assert_int_equal(slices.count, 3 + 4);
    assert_near(slices.slice[0].from_s, 1.0, 1e-9);
    assert_near(slices.slice[3].from_s, 4.75, 1e-9);
    sr_slices_release(&slices);
    free_log(&log);
}

/* Whatever the rate: as many slices as seconds, each of them its own second of the log. */
static void test_a_slice_is_a_second(void **state)
{
    (void)state;
    static const double rates_hz[] = {62, 125, 250, 333, 498.7, 998.6, 1001.3, 1998.9, 8000.4};
    struct sr_rig rig;
    sr_rig_init(&rig);
    for (size_t r = 0; r < sizeof rates_hz / sizeof *rates_hz; r++) {
        struct sr_log log = make_log(rates_hz[r], 60);
        add_tone(&log, 1, 25, 20, 37, 38);
        struct sr_slices slices = slice(&log, &rig);
        struct sr_view view;
        double px[60];
        assert_int_equal(slices.count, 60);
        assert_near(slices.airborne_s, 60, 1e-9);
        for (size_t i = 0; i < 60; i++) {
            assert_near(slices.slice[i].from_s, (double)i, 1e-9);
            assert_near(slices.slice[i].to_s, (double)i + 1, 1e-9);
        }
        assert_int_equal(sr_view_init(&view, &slices, &rig.camera, NULL), SR_OK);
        sr_view_wobble(&view, &slices, px);
        for (size_t i = 0; i < 60; i++)
            assert_true(i == 37 || px[i] < 0.02 * px[37]);
        sr_view_release(&view);
        sr_slices_release(&slices);
        free_log(&log);
    }
    /* A second that lacks a sample is one, since rates are measured; one that lacks two is not. */
    for (size_t lacks = 0; lacks < 3; lacks++) {
        struct sr_log log = make_log(250, 10);
        log.runs[0].count -= lacks;
        struct sr_slices slices = slice(&log, &rig);
        assert_int_equal(slices.count, lacks < 2 ? 10 : 9);
        sr_slices_release(&slices);
        free_log(&log);
    }
}

static void test_too_short_and_too_slow_are_refused(void **state)
{
    (void)state;
    struct sr_rig rig;
    struct sr_error err;
    struct sr_slices slices = {.count = 77};
    sr_rig_init(&rig);

    struct sr_log log = make_log(1000, 3);
    log.airborne[0] = (struct sr_span){1.2, 1.9};
    assert_int_equal(sr_slices_make(&slices, &log, &rig, SR_WINDOW_HANN, &err), SR_ERR_SHORT);
    assert_int_equal(slices.count, 77);           /* untouched */
    log.airborne[0] = (struct sr_span){1.2, 2.5}; /* of one second nobody knows how it scatters */
    assert_int_equal(sr_slices_make(&slices, &log, &rig, SR_WINDOW_HANN, &err), SR_ERR_SHORT);
    assert_non_null(strstr(err.text, "only one whole second"));
    free_log(&log);

    /* 16 ms readout: the first band begins at 15.6 Hz, so 30 Hz sampling shows none of it. */
    log = make_log(30, 10);
    assert_int_equal(sr_slices_make(&slices, &log, &rig, SR_WINDOW_HANN, &err), SR_ERR_RATE);
    assert_non_null(strstr(err.text, "15.6"));
    free_log(&log);
}

/*
 * A tone of known rate about one axis gives the wobble of the worked example: 10 deg/s amplitude at
 * 200 Hz, readout 16 ms, exposure 2 ms, focal length 900 px, 1440 x 1080: pitch or yaw 0.066217602 px,
 * roll 0.037872260 px RMS (two-dimensional quadrature outside this project). Hann spreads the tone over
 * +-4 Hz, where the gain bends: 0.5 % is the room that takes.
 */
static void test_worked_example(void **state)
{
    (void)state;
    const double expected_px[3] = {0.037872260, 0.066217602, 0.066217602};
    struct sr_rig rig;
    sr_rig_init(&rig);
    rig.camera = (struct sr_camera){
        1440, 1080, 60, 0.016, 0.002, 2 * atan(720.0 / 900) * 180 / PI, SR_LENS_RECTILINEAR, 0};

    for (int axis = 0; axis < 3; axis++) {
        struct sr_log log = make_log(2000, 5);
        struct sr_view view;
        struct sr_score score;
        add_tone(&log, axis, 200, 10 / sqrt(2), 0, 99);
        struct sr_slices slices = slice(&log, &rig);
        assert_int_equal(sr_view_init(&view, &slices, &rig.camera, NULL), SR_OK);
        assert_int_equal(sr_score_make(&score, &slices, &view, 1.0, NULL), SR_OK);
        assert_near(score.rms_px / expected_px[axis], 1, 5e-3);
        assert_near(score.axis_px[axis], score.rms_px, 1e-9);
        assert_int_equal(score.n_peaks, 1);
        assert_near(score.peaks[0].hz, 200, 0.2);
        assert_near(score.peaks[0].rate_dps * sqrt(2) / 10, 1, 0.02);
        assert_near(score.peaks[0].share, 1, 0.02);
        assert_near(score.peaks[0].waves, 3.2, 0.01);
        assert_near(score.peaks[0].crawl_hz, 20, 0.2); /* 200 = 3 * 60 + 20 */
        assert_int_equal(score.peaks[0].axis, axis);
        sr_score_release(&score);
        sr_view_release(&view);
        sr_slices_release(&slices);
        free_log(&log);
    }
}

static struct sr_score score_of(const struct sr_log *log, double threshold_px)
{
    struct sr_rig rig;
    struct sr_view view;
    struct sr_score score;
    sr_rig_init(&rig);
    struct sr_slices slices = slice(log, &rig);
    assert_int_equal(sr_view_init(&view, &slices, &rig.camera, NULL), SR_OK);
    assert_int_equal(sr_score_make(&score, &slices, &view, threshold_px, NULL), SR_OK);
    sr_view_release(&view);
    sr_slices_release(&slices);
    return score;
}

static void test_worst_moment_is_where_the_tone_is(void **state)
{
    (void)state;
    struct sr_log log = make_log(1000, 30);
    add_tone(&log, 1, 120, 5, 0, 30);
    add_tone(&log, 1, 120, 60, 12, 15);
    struct sr_score score = score_of(&log, 0.5);
    assert_near(score.worst[0].from_s, 12, 1e-6);
    assert_near(score.worst[0].to_s, 15, 1e-6);
    assert_near(score.worst[0].hz, 120, 0.5);
    assert_near(score.steady_share, 0.9, 1e-9);
    sr_score_release(&score);
    free_log(&log);
}

static void test_verdicts(void **state)
{
    (void)state;
    uint64_t seed = 5;
    struct sr_log log = make_log(1000, 30);
    for (int a = 0; a < 3; a++)
        for (size_t i = 0; i < log.count; i++)
            log.gyro_dps[a][i] = sim_normal(&seed);

    struct sr_score score = score_of(&log, 1);
    double wobble = score.wobble_px.value;
    assert_true(score.wobble_px.low <= wobble && wobble <= score.wobble_px.high);
    sr_score_release(&score);

    const struct {
        double threshold_ratio;
        enum sr_verdict verdict;
    } cases[] = {{2, SR_STEADY}, {1, SR_MARGINAL}, {0.5, SR_WOBBLY}};
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        score = score_of(&log, wobble * cases[i].threshold_ratio);
        assert_int_equal(score.verdict, cases[i].verdict);
        assert_near(score.headroom_db, 20 * log10(cases[i].threshold_ratio), 1e-9);
        sr_score_release(&score);
    }

    /* The same flight with all above 200 Hz taken away by a low-pass clears nothing: c = 4 is at 250 Hz. */
    log.quality.low_pass_hz = 200;
    score = score_of(&log, wobble * 2);
    assert_int_equal(score.verdict, SR_UNPROVEN);
    sr_score_release(&score);
    score = score_of(&log, wobble / 2);
    assert_int_equal(score.verdict, SR_WOBBLY);
    sr_score_release(&score);
    free_log(&log);
}

/*
 * A gyro that is read at 250 Hz and repeated in 1000 rows a second. The truth is the same tone in a log
 * of 250 rows a second: the score may neither see the images above 125 Hz (at 170 Hz of a tone at 80) nor
 * miss what the repeating held back of the tone (a sixth), and can clear nothing.
 */
static void test_repeated_values(void **state)
{
    (void)state;
    struct sr_log log = make_log(1000, 12), slow = make_log(250, 12);
    add_tone(&slow, 1, 80, 5, 0, 12);
    add_tone(&slow, 1, 30, 1, 0, 12);
    for (size_t i = 0; i < log.count; i++)
        log.gyro_dps[1][i] = slow.gyro_dps[1][i / 4];

    struct sr_score held = score_of(&log, 10);
    assert_int_equal(held.verdict, SR_STEADY); /* as long as nobody tells how it was read */
    sr_score_release(&held);
    log.quality.nyquist_hz = 125;
    held = score_of(&log, 10);
    struct sr_score truth = score_of(&slow, 10);
    assert_int_equal(held.verdict, SR_UNPROVEN);
    assert_near(held.sees_hz, 125, 1e-9);
    assert_ratio_near(held.rms_px, truth.rms_px, 0.001);
    assert_near(held.bands[1].high_hz, 125, 1e-9);
    assert_int_equal(held.n_peaks, truth.n_peaks);
    for (size_t i = 0; i < held.n_peaks; i++) {
        assert_near(held.peaks[i].hz, truth.peaks[i].hz, 0.1);
        assert_ratio_near(held.peaks[i].rate_dps, truth.peaks[i].rate_dps, 0.002);
    }
    sr_score_release(&truth);
    sr_score_release(&held);
    free_log(&log);
    free_log(&slow);
}

static void test_bands_add_up(void **state)
{
    (void)state;
    uint64_t seed = 11;
    struct sr_log log = make_log(4000, 8);
    for (size_t i = 0; i < log.count; i++)
        log.gyro_dps[2][i] = 20 * sim_normal(&seed);
    struct sr_score score = score_of(&log, 1);
    double energy = 0, share = 0;
    for (int b = 0; b < SR_BAND_COUNT - 1; b++) {
        energy += score.bands[b].wobble_px * score.bands[b].wobble_px;
        share += score.bands[b].share;
        assert_true(score.bands[b].seen);
    }
    assert_near(sqrt(energy), score.rms_px, 1e-9);
    assert_near(share, 1, 1e-9);
    assert_near(score.bands[3].high_hz, 2000, 1e-9);
    sr_score_release(&score);
    free_log(&log);
}

/* 500 Hz end at 250, where the fourth wave of 16 ms ends as well: the log does not reach into the ripples,
 * and what stands on the edge is the wave's. */
static void test_bands_add_up_at_nyquist(void **state)
{
    (void)state;
    uint64_t seed = 12;
    struct sr_log log = make_log(500, 8);
    for (size_t i = 0; i < log.count; i++)
        log.gyro_dps[2][i] = 20 * sim_normal(&seed);
    struct sr_score score = score_of(&log, 1);
    assert_near(score.bands[1].high_hz, 250, 1e-9);
    assert_false(score.bands[2].seen);
    assert_near(score.bands[0].share + score.bands[1].share, 1, 1e-12);
    assert_near(score.bands[2].wobble_px + score.bands[3].wobble_px, 0, 0);
    sr_score_release(&score);
    free_log(&log);
}

/* A flight in still air on a perfect craft: no wobble at all, and nothing divides by it. */
static void test_silence(void **state)
{
    (void)state;
    struct sr_log log = make_log(1000, 5);
    struct sr_score score = score_of(&log, 1);
    assert_int_equal(score.verdict, SR_STEADY);
    assert_near(score.wobble_px.value, 0, 0);
    assert_int_equal(score.n_peaks, 0);
    assert_true(isinf(score.headroom_db));
    sr_score_release(&score);
    free_log(&log);
}

/* Hyndman and Fan 1996, type 7: h = (n - 1) q. Worked by hand for 1, 2, 4, 8: q = 0.5 -> 3; q = 0.95 -> 7.4.
 */
static void test_quantile(void **state)
{
    (void)state;
    const double x[] = {8, 1, 4, 2};
    double value = -1;
    assert_int_equal(sr_quantile(x, 4, 0.5, &value, NULL), SR_OK);
    assert_near(value, 3, 1e-12);
    assert_int_equal(sr_quantile(x, 4, 0.95, &value, NULL), SR_OK);
    assert_near(value, 7.4, 1e-12);
    assert_int_equal(sr_quantile(x, 1, 0.95, &value, NULL), SR_OK);
    assert_near(value, 8, 0);

    assert_int_equal(sr_quantile(x, 0, 0.5, &value, NULL), SR_ERR_ARGUMENT);
    assert_int_equal(sr_quantile(x, 4, 1.5, &value, NULL), SR_ERR_ARGUMENT);
    const double bad[] = {1, NAN};
    assert_int_equal(sr_quantile(bad, 2, 0.5, &value, NULL), SR_ERR_ARGUMENT);
}

/*
 * Coverage of the 95 % interval on series of known quantile, against its nominal level. 300 slices,
 * 1000 series, each an AR(1) of coefficient 0.5 with unit normal margin, whose 0.95 quantile is 1.644854
 * (any table of the normal distribution). Percentile bootstraps of a tail quantile cover a little less
 * than they say; below 88 % the block rule would be at fault: independent resampling reaches about 83 %.
 */
static void test_bootstrap_coverage(void **state)
{
    (void)state;
    enum { N = 300, SERIES = 1000 };
    uint64_t seed = 42;
    size_t covered = 0;
    for (int s = 0; s < SERIES; s++) {
        double x[N], z = sim_normal(&seed);
        for (int i = 0; i < N; i++) {
            z = 0.5 * z + sqrt(0.75) * sim_normal(&seed);
            x[i] = z;
        }
        struct sr_interval interval;
        assert_int_equal(sr_bootstrap_quantile(x, N, 0.95, 0.95, 400, &interval, NULL), SR_OK);
        covered += interval.low <= 1.644854 && 1.644854 <= interval.high;
    }
    print_message("bootstrap coverage of the 0.95 quantile, AR(1) 0.5, n = %d: %.1f %%\n", N,
                  100.0 * (double)covered / SERIES);
    assert_in_range(covered, 880, 980);
}

static void test_bootstrap_edges(void **state)
{
    (void)state;
    const double one[] = {3.5};
    struct sr_interval interval = {0, 0, 0};
    assert_int_equal(sr_bootstrap_quantile(one, 1, 0.95, 0.95, 100, &interval, NULL), SR_OK);
    assert_near(interval.low, 3.5, 0);
    assert_near(interval.high, 3.5, 0);
    assert_int_equal(sr_bootstrap_quantile(one, 0, 0.95, 0.95, 100, &interval, NULL), SR_ERR_ARGUMENT);
    assert_int_equal(sr_bootstrap_quantile(one, 1, 0.95, 1.0, 100, &interval, NULL), SR_ERR_ARGUMENT);
    assert_int_equal(sr_bootstrap_quantile(one, 1, 0.95, 0.95, 3, &interval, NULL), SR_ERR_ARGUMENT);

    /* Ties, and the same seed twice: the same answer. */
    const double ties[] = {1, 1, 1, 2, 2, 5, 5, 5, 5, 9};
    struct sr_interval again;
    assert_int_equal(sr_bootstrap_quantile(ties, 10, 0.95, 0.95, 500, &interval, NULL), SR_OK);
    assert_int_equal(sr_bootstrap_quantile(ties, 10, 0.95, 0.95, 500, &again, NULL), SR_OK);
    assert_memory_equal(&interval, &again, sizeof again);
    assert_true(interval.low <= interval.value && interval.value <= interval.high);
}

static void test_score_refuses(void **state)
{
    (void)state;
    struct sr_log log = make_log(1000, 3);
    struct sr_rig rig;
    struct sr_view view;
    struct sr_score score = {.slices = 7};
    sr_rig_init(&rig);
    struct sr_slices slices = slice(&log, &rig);
    assert_int_equal(sr_view_init(&view, &slices, &rig.camera, NULL), SR_OK);
    const double bad[] = {0, -1, NAN, INFINITY};
    for (size_t i = 0; i < 4; i++)
        assert_int_equal(sr_score_make(&score, &slices, &view, bad[i], NULL), SR_ERR_ARGUMENT);
    assert_int_equal(score.slices, 7);
    sr_view_release(&view);

    rig.camera.readout_s = 0;
    assert_int_equal(sr_view_init(&view, &slices, &rig.camera, NULL), SR_ERR_ARGUMENT);
    sr_slices_release(&slices);
    free_log(&log);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_slices_cover_runs_and_spans),
        cmocka_unit_test(test_a_slice_is_a_second),
        cmocka_unit_test(test_too_short_and_too_slow_are_refused),
        cmocka_unit_test(test_worked_example),
        cmocka_unit_test(test_worst_moment_is_where_the_tone_is),
        cmocka_unit_test(test_verdicts),
        cmocka_unit_test(test_repeated_values),
        cmocka_unit_test(test_bands_add_up),
        cmocka_unit_test(test_bands_add_up_at_nyquist),
        cmocka_unit_test(test_silence),
        cmocka_unit_test(test_quantile),
        cmocka_unit_test(test_bootstrap_coverage),
        cmocka_unit_test(test_bootstrap_edges),
        cmocka_unit_test(test_score_refuses),
    };
    return cmocka_run_group_tests_name("wobble", tests, NULL, NULL);
}
