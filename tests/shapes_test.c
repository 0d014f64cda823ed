/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Which motor a line comes from, and how much of it. Oracles: a Hann window's response in closed form; a
 * sweep transformed by the definition of the Fourier sum; simulated flights, in which each motor's rate is
 * known, and the same flights flown again with one prop balanced.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "sim/flight.h"
#include "support/near.h"
#include "support/worked.h"
#include "wobble/shapes.h"

#define PI      3.14159265358979323846
#define BINS    251 /* of 1000 Hz, half a second */
#define BIN_HZ  2.0
#define RATE_HZ 1000.0
#define FINE    8192 /* points a segment of the sums by definition */
#define SEEDS   8U

/* One slice whose one motor sweeps, seen without a camera. */
struct bench {
    struct sr_gram gram;
    struct sr_speeds speeds;
    struct sr_view view;
    struct sr_shaper shaper;
    double step[2 * SR_SLICE_STEPS], low[2], high[2], flat[BINS];
};

/* Speed at x of the slice, 0..1: 1 + slope (x - 1/2) + bend (x - 1/2)^2. */
static double speed_at(double slope, double bend, double x)
{
    return 1 + slope * (x - 0.5) + bend * (x - 0.5) * (x - 0.5);
}

/* Its integral from 0. */
static double travel_to(double slope, double bend, double x)
{
    double y = x - 0.5;
    return x + slope * (y * y - 0.25) / 2 + bend * (y * y * y + 0.125) / 3;
}

static struct bench *new_bench(double slope, double bend)
{
    struct bench *b = calloc(1, sizeof *b);
    assert_non_null(b);
    if (b == NULL) /* for the compiler, which does not know that an assertion ends the test */
        return NULL;
    b->gram = (struct sr_gram){.slices = 1, .bins = BINS, .bin_hz = BIN_HZ, .rate_hz = RATE_HZ};
    b->speeds = (struct sr_speeds){
        .channels = 2, .step = b->step, .low = b->low, .high = b->high, .mean_hz = 1, .known_count = 1};
    b->low[1] = INFINITY;
    for (size_t j = 0; j < SR_SLICE_STEPS; j++) {
        double from = (double)j / SR_SLICE_STEPS, to = (double)(j + 1) / SR_SLICE_STEPS;
        double mean = (travel_to(slope, bend, to) - travel_to(slope, bend, from)) * SR_SLICE_STEPS;
        b->step[SR_SLICE_STEPS + j] = mean;
        b->low[1] = fmin(b->low[1], mean);
        b->high[1] = fmax(b->high[1], mean);
    }
    for (size_t k = 0; k < BINS; k++)
        b->flat[k] = 1;
    b->view.bins = BINS;
    b->view.wobble[0] = b->view.wobble[1] = b->view.wobble[2] = b->flat;
    b->shaper.gram = &b->gram;
    b->shaper.speeds = &b->speeds;
    b->shaper.view = &b->view;
    b->shaper.window = SR_WINDOW_HANN;
    return b;
}

/* The same by definition, over the bins of the log: three segments, Hann, |sum|^2, folded, of energy 1. */
static void define(double f0, double slope, double bend, double *shape)
{
    double middle = round(f0 / BIN_HZ), sum = 0;
    memset(shape, 0, BINS * sizeof *shape);
    for (int segment = 0; segment < 3; segment++) {
        for (double k = middle - 120; k <= middle + 120; k++) {
            double re = 0, im = 0, shown = fabs(k * BIN_HZ - RATE_HZ * round(k * BIN_HZ / RATE_HZ)) / BIN_HZ;
            for (int n = 0; n < FINE; n++) {
                double x = segment * 0.25 + 0.5 * n / FINE, v = speed_at(slope, bend, x);
                double turns = f0 * travel_to(slope, bend, x) - k * BIN_HZ * x;
                double level = (0.5 - 0.5 * cos(2 * PI * n / FINE)) * v * v;
                turns -= floor(turns);
                re += level * cos(2 * PI * turns);
                im += level * sin(2 * PI * turns);
            }
            shape[lround(shown)] += re * re + im * im;
            sum += re * re + im * im;
        }
    }
    for (size_t k = 0; k < BINS; k++)
        shape[k] /= sum;
}

/* A steady line on a bin: 1/6, 2/3, 1/6, the squares of Hann's 1/4, 1/2, 1/4 over their sum (Harris 1978). */
static void test_steady_line(void **state)
{
    (void)state;
    struct bench *b = new_bench(0, 0);
    double shape[BINS], sum = 0;
    sr_shape_draw(&b->shaper, 0, 1, 100 * BIN_HZ, 0, BINS - 1, shape);
    for (size_t k = 0; k < BINS; k++) {
        assert_near(shape[k], k == 100 ? 2.0 / 3 : k == 99 || k == 101 ? 1.0 / 6 : 0, 1e-12);
        sum += shape[k];
    }
    assert_near(sum, 1, 1e-12);

    /* Half way between two bins it is even, and the skirts are Hann's: (1 / (d (1 - d^2)))^2 at distance d.
     */
    sr_shape_draw(&b->shaper, 0, 1, 100.5 * BIN_HZ, 0, BINS - 1, shape);
    assert_near(shape[100], shape[101], 1e-12);
    assert_ratio_near(shape[102] / shape[101], pow(0.5 * (1 - 0.25) / (1.5 * (1 - 2.25)), 2), 1e-3);

    /* Folded it is the mirror: 1000 - 798 Hz. Only what is asked for is written. */
    shape[98] = shape[104] = 7;
    sr_shape_draw(&b->shaper, 0, 1, 798, 99, 103, shape);
    assert_near(shape[101], 2.0 / 3, 1e-12);
    assert_near(shape[98], 7, 0);
    assert_near(shape[104], 7, 0);

    /* A camera that sees nothing there. */
    memset(b->flat, 0, sizeof b->flat);
    sr_shape_draw(&b->shaper, 0, 1, 100 * BIN_HZ, 0, BINS - 1, shape);
    assert_near(shape[100], 0, 0);
    free(b);
}

/* Sweeps of 0.7 to 60 bins a slice, bent, and through the Nyquist frequency, against the sums by definition.
 */
static void test_sweeps(void **state)
{
    (void)state;
    const double cases[][3] = {{200, 0.007, 0},      {201, 0.03, -0.02}, {217, -0.1, 0.1},
                               {260.4, 0.45, -0.12}, {480, 0.2, 0.1},    {1010, -0.08, 0.05}};
    for (size_t c = 0; c < sizeof cases / sizeof *cases; c++) {
        double f0 = cases[c][0], slope = cases[c][1], bend = cases[c][2], shape[BINS], truth[BINS], off = 0;
        struct bench *b = new_bench(slope, bend);
        sr_shape_draw(&b->shaper, 0, 1, f0, 0, BINS - 1, shape);
        define(f0, slope, bend, truth);
        for (size_t k = 0; k < BINS; k++)
            off = fmax(off, fabs(shape[k] - truth[k]));
        print_message("sweep of %.1f bins about %g Hz: off by %.1e of the line\n", f0 * slope / BIN_HZ, f0,
                      off);
        assert_near(off, 0, 1e-4);
        free(b);
    }
}

/* A parabola's means give the parabola back, at the ends too; and any steps keep their means (Simpson's rule
 * is exact for parabolas). */
static void test_speed_within(void **state)
{
    (void)state;
    struct bench *b = new_bench(0.3, -0.7);
    uint64_t seed = 3;
    double step[SR_SLICE_STEPS];
    for (double at = 0; at <= SR_SLICE_STEPS; at += 0.125)
        assert_near(sr_speed_within(b->step + SR_SLICE_STEPS, at), speed_at(0.3, -0.7, at / SR_SLICE_STEPS),
                    1e-12);
    free(b);
    for (size_t j = 0; j < SR_SLICE_STEPS; j++)
        step[j] = 1 + 0.1 * sim_normal(&seed);
    for (size_t j = 0; j < SR_SLICE_STEPS; j++) {
        double from = (double)j, to = nextafter(from + 1, 0);
        double mean = (sr_speed_within(step, from) + 4 * sr_speed_within(step, from + 0.5) +
                       sr_speed_within(step, to)) /
                      6;
        assert_near(mean, step[j], 1e-9);
        assert_near(sr_speed_within(step, to), sr_speed_within(step, from + 1), 1e-9);
    }
}

static size_t index_of_order(const struct worked *w, double order)
{
    const struct sr_peak *peak = peak_of_order(w, order);
    assert_non_null(peak);
    return (size_t)(peak - w->score.peaks);
}

/* Wobble and smear without what motor 3 does, as the trials have it: all its lines, worded as a bench job
 * with props off. */
static struct sr_trial predicted_without(const struct worked *w)
{
    struct sr_trial trials[SR_TRIALS_MAX];
    size_t count = 0, one = index_of_order(w, 1);
    struct sr_trial all = {.wobble_px = NAN}, one_line = {.wobble_px = NAN};
    assert_int_equal(
        sr_trials_make(trials, &count, &w->score, &w->causes, &w->slices, &w->view, &w->rig, NULL), SR_OK);
    for (size_t k = 0; k < count; k++) {
        if (trials[k].kind != SR_TRIAL_REMOVE || (trials[k].peak >= 0 && trials[k].peak != (int)one))
            continue;
        assert_non_null(strstr(trials[k].what, "motor 3"));
        assert_non_null(strstr(trials[k].caution, "props off"));
        assert_near(trials[k].gain_db, 20 * log10(w->score.wobble_px.value / trials[k].wobble_px), 1e-9);
        *(trials[k].peak < 0 ? &all : &one_line) = trials[k];
    }
    assert_true(all.wobble_px < one_line.wobble_px && one_line.wobble_px < w->score.wobble_px.value);
    assert_true(all.smear_px < one_line.smear_px && one_line.smear_px < w->score.smear_px);
    return all;
}

/*
 * Four motors, whose rates at 1x are told to the simulator: energies go with their squares, so that motor 3
 * has 30^2 / (4^2 + 5^2 + 30^2 + 4.5^2) = 0.936 of the line. Lines within a bin or two of each other beat, so
 * a flight's own share scatters by 0.008; the mean of 8 is held to three standard errors of that, each flight
 * to four deviations.
 *
 * Then motor 3 is balanced, and the same flight flown again: the other motors keep all their lines, and the
 * simulator's sources have random streams of their own, so that all else is the same.
 */
static void test_shares_and_removal(void **state)
{
    (void)state;
    double mean_share = 0, mean_off = 0, worst = 0;
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        struct sim_flight flight = healthy(60);
        flight.seed = seed;
        flight.imbalance_dps[0] = 4;
        flight.imbalance_dps[1] = 5;
        flight.imbalance_dps[2] = 30;
        flight.imbalance_dps[3] = 4.5;
        flight.harmonic[0] = 0.6;
        struct worked w = work_out(&flight, NULL, NULL);
        flight.imbalance_dps[2] = 0;
        struct worked better = work_out(&flight, NULL, NULL);
        size_t one = index_of_order(&w, 1), two = index_of_order(&w, 2);
        double share = w.causes.tracks[one].motor_share[2], flown_px = better.score.wobble_px.value;
        struct sr_trial without = predicted_without(&w);
        double predicted_px = without.wobble_px, off = predicted_px / flown_px - 1;
        print_message(
            "seed %u: share %.3f of 1x, %.3f of 2x; %.4f px now, %.4f predicted, %.4f flown (%+.1f %%)\n",
            (unsigned)seed, share, w.causes.tracks[two].motor_share[2], w.score.wobble_px.value, predicted_px,
            flown_px, 100 * off);
        assert_int_equal(w.score.peaks[one].motor, 3);
        assert_int_equal(w.score.peaks[two].motor, 3);
        assert_near(share, 900 / 961.25, 4 * 0.008);
        assert_near(w.causes.tracks[two].motor_share[2], 900 / 961.25, 4 * 0.008);
        assert_near(off, 0, 0.05);
        /* 0.91 of the smear goes with it: 2 % of that, from the share and one frequency a second, is 10 % of
         * what is left. */
        double gone = w.score.smear_px * w.score.smear_px - without.smear_px * without.smear_px;
        double truly = w.score.smear_px * w.score.smear_px - better.score.smear_px * better.score.smear_px;
        assert_ratio_near(gone, truly, 0.03);
        mean_share += share / SEEDS;
        mean_off += off / SEEDS;
        worst = fmax(worst, fabs(off));
        release(&better);
        release(&w);
    }
    print_message("mean share %.4f, true %.4f; removal off by %+.2f %% on average, %.1f %% at worst\n",
                  mean_share, 900 / 961.25, 100 * mean_off, 100 * worst);
    assert_near(mean_share, 900 / 961.25, 3 * 0.008 / sqrt(SEEDS));
    assert_near(mean_off, 0, 3 * 0.02 / sqrt(SEEDS)); /* each scatters by 2 % */
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_steady_line),
        cmocka_unit_test(test_sweeps),
        cmocka_unit_test(test_speed_within),
        cmocka_unit_test(test_shares_and_removal),
    };
    return cmocka_run_group_tests_name("shapes", tests, NULL, NULL);
}
