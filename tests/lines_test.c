/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Spectral lines, on signals whose lines are known. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <stdbool.h>
#include <string.h>

#include "sim/flight.h"
#include "stillrow/spectrum.h"
#include "support/line_signal.h"
#include "support/near.h"

/* Largest error of the frequency between bins [bins], see sr_lines_find; exact ones are left what noise does.
 */
static const double bias_bins[SR_WINDOW_COUNT] = {
    [SR_WINDOW_HANN] = 0.001,     [SR_WINDOW_RECTANGULAR] = 0.002,      [SR_WINDOW_HAMMING] = 0.0163,
    [SR_WINDOW_BLACKMAN] = 0.007, [SR_WINDOW_BLACKMAN_HARRIS] = 0.0035, [SR_WINDOW_HFT95] = 0.002,
};

enum { LINES = 24 };

static struct sr_line lines[LINES];
static struct sr_line_options options;

static int reset(void **state)
{
    (void)state;
    sr_line_options_init(&options);
    signal_reset();
    return 0;
}

/* Wash: noise that rises as 1 / f^2 above about 10 Hz. */
static void add_wash(double sigma, uint64_t seed)
{
    double y = 0;

    for (size_t i = 0; i < length; i++) {
        y = 0.97 * y + sigma * sim_normal(&seed);
        x[i] += y;
    }
}

/* Look for lines; whatever is found, no line holds a bin above its top, and no two hold the same bin. */
static size_t find(enum sr_window window)
{
    static bool taken[BINS];
    size_t count = 999;

    assert_int_equal(sr_lines_find(psd, BINS, bin_hz, window, dof, &options, lines, &count, NULL), SR_OK);
    memset(taken, 0, sizeof taken);
    for (size_t i = 0; i < count; i++) {
        assert_true(lines[i].low_bin <= lines[i].bin && lines[i].bin <= lines[i].high_bin);
        for (size_t k = lines[i].low_bin; k <= lines[i].high_bin; k++) {
            assert_false(taken[k]);
            assert_true(psd[k] <= lines[i].height);
            taken[k] = true;
        }
    }
    return count;
}

static size_t find_in(enum sr_window window, size_t seconds)
{
    estimate(window, seconds);
    return find(window);
}

static void tone_between_bins(void **state)
{
    static const size_t seconds[] = {1, 20};

    for (size_t w = 0; w < SR_WINDOW_COUNT; w++) {
        double worst_amplitude = 0, worst_bins = 0;

        for (size_t s = 0; s < 2; s++) {
            for (int tenth = 0; tenth <= 10; tenth++) {
                double hz = bin_hz * (100 + 0.1 * tenth);

                reset(state);
                length = seconds[s] * RATE;
                add_line(hz, 2, 0, 1);
                add_noise(0.01, 3 + (uint64_t)tenth);
                assert_int_equal(find_in((enum sr_window)w, seconds[s]), 1);
                worst_amplitude = fmax(worst_amplitude, fabs(lines[0].amplitude / 2 - 1));
                worst_bins = fmax(worst_bins, fabs(lines[0].hz - hz) / bin_hz);
            }
        }
        print_message("  %-16s amplitude within %.3f %%, frequency within %.4f bin\n",
                      sr_window_name((enum sr_window)w), 100 * worst_amplitude, worst_bins);
        assert_true(worst_amplitude < 0.01);
        assert_true(worst_bins < bias_bins[w]);
    }
}

/*
 * What the main lobe leaves out: half way between bins a rectangular window holds
 * (2/pi)^2 (1 + 1 + 1/9) = 85.6 % of the energy in its three bins, which alone would make
 * the amplitude 7.5 % low. Of the Hann window 99.96 % are in its five.
 */
static void truncation_is_put_right(void **state)
{
    const double share[2] = {4 / PI / PI * (2 + 1.0 / 9), 0.9996};
    const enum sr_window windows[2] = {SR_WINDOW_RECTANGULAR, SR_WINDOW_HANN};

    for (size_t w = 0; w < 2; w++) {
        double sum = 0;

        reset(state);
        add_line(201, 2, 0, 1);
        add_noise(0.001, 4);
        assert_int_equal(find_in(windows[w], 1), 1);
        for (size_t k = lines[0].low_bin; k <= lines[0].high_bin; k++)
            sum += psd[k] * bin_hz;
        assert_ratio_near(sum / 4, share[w], w == 0 ? 0.005 : 0.0005);
        assert_ratio_near(lines[0].amplitude, 2, 0.002);
    }
}

/* Speed drift spreads a line over many bins: one line, at the middle, with all of its energy. */
static void smeared_line_keeps_its_energy(void **state)
{
    for (size_t w = 0; w < SR_WINDOW_COUNT; w++) {
        for (int swing_hz = 1; swing_hz <= 8; swing_hz *= 2) {
            reset(state);
            add_line(200, 2, swing_hz, 3);
            add_noise(0.1, 5);
            assert_int_equal(find_in((enum sr_window)w, 30), 1);
            assert_near(lines[0].hz, 200, 1.0);
            assert_ratio_near(lines[0].amplitude, 2, w == SR_WINDOW_RECTANGULAR ? 0.04 : 0.01);
        }
    }
}

/* A swing of 32 Hz dwells at its two ends: one line or two, but all of the energy and no bin counted twice.
 */
static void wide_swing_keeps_its_energy(void **state)
{
    for (size_t w = 0; w < SR_WINDOW_COUNT; w++) {
        double energy = 0;
        size_t count;

        reset(state);
        add_line(200, 2, 16, 3);
        add_noise(0.1, 5);
        count = find_in((enum sr_window)w, 30);
        assert_true(count == 1 || count == 2);
        for (size_t i = 0; i < count; i++)
            energy += lines[i].amplitude * lines[i].amplitude;
        assert_ratio_near(sqrt(energy), 2, w == SR_WINDOW_RECTANGULAR ? 0.04 : 0.01);
    }
}

/* Four motors a little apart, all swinging by 24 Hz: 45 Hz of comb, one wide line of four lines' energy. */
static void comb_of_four_motors_does_not_lift_its_floor(void **state)
{
    reset(state);
    for (size_t motor = 0; motor < 4; motor++)
        add_line(180 + 7 * (double)motor, 1.4, 12, 5 + 0.3 * (double)motor);
    add_noise(0.3, 6);
    add_wash(1, 7);
    assert_true(find_in(SR_WINDOW_HANN, 30) >= 1);
    assert_near(lines[0].hz, 190.5, 3);
    assert_ratio_near(lines[0].amplitude, 2.8, 0.03);
    assert_true(lines[0].low_bin < 88 && lines[0].high_bin > 102);
}

static void line_on_rising_wash(void **state)
{
    static const double hz[] = {30, 43, 61, 90};

    for (size_t i = 0; i < sizeof hz / sizeof *hz; i++) {
        double floor_there;

        reset(state);
        add_wash(0.1, 8 + i);
        /* Density of the wash in the limit: 2 s^2 / (r |1 - 0.97 e^(-i w)|^2). */
        floor_there = 2 * 0.01 / RATE / (1 + 0.97 * 0.97 - 2 * 0.97 * cos(2 * PI * hz[i] / RATE));
        add_line(hz[i], sqrt(40 * floor_there * 3), 0, 1);
        assert_int_equal(find_in(SR_WINDOW_HANN, 20), 1);
        assert_near(lines[0].hz, hz[i], 0.1);
        assert_ratio_near(lines[0].amplitude, sqrt(40 * floor_there * 3), 0.03);
        assert_ratio_near(lines[0].floor, floor_there, 0.3);
    }
}

/* Two equal lines: within a cell one line of twice the energy, well apart two lines with each its own. */
static void neighbours_merge_within_a_cell(void **state)
{
    reset(state);
    add_noise(0.01, 9);
    add_line(200, 2, 0, 1);
    add_line(203.7, 2, 0, 1);
    assert_int_equal(find_in(SR_WINDOW_HANN, 30), 1);
    assert_ratio_near(lines[0].amplitude, 2 * sqrt(2), 0.01);
    reset(state);
    add_noise(0.01, 9);
    add_line(200, 2, 0, 1);
    add_line(209.3, 1.5, 0, 1);
    assert_int_equal(find_in(SR_WINDOW_HANN, 30), 2);
    assert_ratio_near(lines[0].amplitude, 2, 0.01);
    assert_ratio_near(lines[1].amplitude, 1.5, 0.01);
    assert_near(lines[0].hz, 200, 0.1);
    assert_near(lines[1].hz, 209.3, 0.1);
    assert_true(lines[0].high_bin < lines[1].low_bin);
    /* A wider cell asked for makes them one again. */
    options.cell_bins = 5;
    assert_int_equal(find(SR_WINDOW_HANN), 1);
}

/* Side lobes of a strong line are not lines; a weak line 20 bins away from it is, if the window lets it
 * through. */
static void strong_line_casts_no_shadow_lines(void **state)
{
    for (size_t w = 0; w < SR_WINDOW_COUNT; w++) {
        for (int tenth = 0; tenth <= 10; tenth += 2) {
            reset(state);
            length = RATE;
            add_line(bin_hz * (120 + 0.1 * tenth), 100, 0, 1);
            add_noise(1e-4, 12);
            /* Taking a line's slope out of a segment leaves a ramp, some 50 dB below it, in the lowest bins.
             */
            options.low_hz = 20;
            assert_int_equal(find_in((enum sr_window)w, 1), 1);
        }
    }
    reset(state);
    options.low_hz = 20;
    add_line(240.5, 100, 0, 1);
    add_line(280.3, 0.05, 0, 1);
    add_noise(1e-3, 13);
    assert_int_equal(find_in(SR_WINDOW_BLACKMAN_HARRIS, 1), 2);
    assert_near(lines[1].hz, 280.3, 0.05);
    assert_ratio_near(lines[1].amplitude, 0.05, 0.02);
}

/* Without any noise, the rounding of the transform is all there is beside the line, and it is no line. */
static void rounding_is_no_line(void **state)
{
    for (size_t w = 0; w < SR_WINDOW_COUNT; w++) {
        for (int hz = 200; hz < 300; hz += 2) {
            struct sr_welch *welch = NULL;

            reset(state);
            length = RATE;
            add_line(hz, 1, 0, 1);
            options.min_ratio_db = 0;
            assert_int_equal(sr_welch_new(&welch, (enum sr_window)w, SR_DETREND_NONE, SEGMENT, HOP, NULL),
                             SR_OK);
            assert_int_equal(sr_welch_psd(welch, x, RATE, RATE, psd, NULL), SR_OK);
            sr_welch_free(welch);
            dof = 6;
            assert_int_equal(find((enum sr_window)w), 1);
        }
    }
}

/* Something higher beside a line, itself too near the end to be a line, is not swallowed by it. */
static void line_ends_where_something_higher_begins(void **state)
{
    reset(state);
    for (size_t k = 0; k < BINS; k++)
        psd[k] = 1;
    psd[1] = 1e6;
    psd[2] = 1e5;
    psd[3] = psd[5] = 30;
    psd[4] = 1000;
    dof = 200;
    assert_int_equal(find(SR_WINDOW_BLACKMAN), 1);
    assert_int_equal(lines[0].low_bin, 3);
}

/*
 * Noise shows a line in one spectrum of a hundred by design, if min_ratio_db asks for
 * nothing more (two for the rectangular window, whose bins are least alike, so that more
 * of them try their luck), and in hardly any at the default. White, and white with wash.
 */
static void noise_has_nearly_no_lines(void **state)
{
    enum { SPECTRA = 600 };
    static const double wash[] = {0, 1};

    for (size_t w = 0; w < SR_WINDOW_COUNT; w++) {
        for (size_t c = 0; c < 2; c++) {
            size_t by_default = 0, by_level = 0;

            for (uint64_t r = 0; r < SPECTRA / SECONDS_MAX; r++) {
                reset(state);
                add_noise(0.3, 100 + r);
                add_wash(wash[c], 2000 + r);
                for (size_t s = 0; s < SECONDS_MAX; s++) {
                    estimate_from((enum sr_window)w, s, 1);
                    options.min_ratio_db = 10;
                    by_default += find((enum sr_window)w) > 0;
                    options.min_ratio_db = 0;
                    by_level += find((enum sr_window)w) > 0;
                }
            }
            print_message("  %-16s %s: lines in %zu of %d slices, %zu by the level alone\n",
                          sr_window_name((enum sr_window)w), wash[c] > 0 ? "wash " : "white", by_default,
                          SPECTRA, by_level);
            assert_true(by_default <= SPECTRA / 200);
            assert_true(by_level <= SPECTRA * 3 / 100);
        }
    }
}

/* A line 17 dB over a one-second floor is seen nearly always: the criterion is not bought with blindness. */
static void modest_line_is_found(void **state)
{
    enum { TRIALS = 200 };
    size_t found = 0;

    for (uint64_t r = 0; r < TRIALS; r++) {
        reset(state);
        length = RATE;
        add_noise(1, 300 + r);
        /* Density 2 / 2000 u^2/Hz; a Hann cell is 3 Hz wide. */
        add_line(300.7, sqrt(50 * 1e-3 * 3), 0, 1);
        found += find_in(SR_WINDOW_HANN, 1) == 1 && fabs(lines[0].hz - 300.7) < 1;
    }
    assert_true(found >= TRIALS * 97 / 100);
}

static void options_choose_the_lines(void **state)
{
    static const double rms[] = {1, 4, 2, 3};

    reset(state);
    add_noise(0.01, 14);
    for (size_t i = 0; i < 4; i++)
        add_line(50 + 100 * (double)i, rms[i], 0, 1);
    assert_int_equal(find_in(SR_WINDOW_HANN, 5), 4);
    for (size_t i = 0; i < 4; i++) {
        assert_ratio_near(lines[i].amplitude, 4 - (double)i, 0.01);
        assert_near(lines[i].height, psd[lines[i].bin], 0);
    }
    options.max_lines = 2;
    assert_int_equal(find(SR_WINDOW_HANN), 2);
    assert_ratio_near(lines[1].amplitude, 3, 0.01);
    options.max_lines = LINES;
    options.low_hz = 149;
    assert_int_equal(find(SR_WINDOW_HANN), 3);
    options.low_hz = 151;
    assert_int_equal(find(SR_WINDOW_HANN), 2);
    options.min_ratio_db = 100;
    assert_int_equal(find(SR_WINDOW_HANN), 0);
}

/* A density that is zero below some bin, as after a gain that cuts the low end off, has its edge there. */
static void zeros_at_the_ends_are_bins_left_out(void **state)
{
    static double floor[BINS];

    for (uint64_t seed = 0; seed < 50; seed++) {
        reset(state);
        length = RATE;
        add_noise(1, 400 + seed);
        add_wash(1, 500 + seed);
        estimate(SR_WINDOW_HANN, 1);
        for (size_t k = 0; k < BINS; k++)
            psd[k] *= k < 9 || k > 400 ? 0 : 1 / (double)(k * k);
        assert_int_equal(find(SR_WINDOW_HANN), 0);
    }
    assert_int_equal(sr_floor(psd, BINS, bin_hz, 120, dof, floor, NULL), SR_OK);
    for (size_t k = 0; k < BINS; k++)
        assert_true((floor[k] > 0) == (k >= 9 && k <= 400));
    memset(psd, 0, sizeof psd);
    assert_int_equal(find(SR_WINDOW_HANN), 0);
}

static void few_bins_are_no_trouble(void **state)
{
    static double floor[BINS];

    reset(state);
    add_noise(1, 15);
    estimate(SR_WINDOW_HANN, 1);
    for (size_t bins = 1; bins < 40; bins++) {
        for (size_t w = 0; w < SR_WINDOW_COUNT; w++) {
            size_t count = 999;

            assert_int_equal(sr_floor(psd, bins, bin_hz, 1e-3, 6, floor, NULL), SR_OK);
            assert_int_equal(sr_floor(psd, bins, bin_hz, 1e9, 6, floor, NULL), SR_OK);
            assert_true(floor[0] > 0 && floor[bins - 1] > 0);
            assert_int_equal(
                sr_lines_find(psd, bins, bin_hz, (enum sr_window)w, 6, &options, lines, &count, NULL), SR_OK);
            assert_true(count <= bins / 2);
        }
    }
}

static enum sr_status try_options(struct sr_line_options bad)
{
    size_t count = 999;
    struct sr_error err = {.status = SR_OK};
    enum sr_status status = sr_lines_find(psd, BINS, bin_hz, SR_WINDOW_HANN, 6, &bad, lines, &count, &err);

    assert_int_equal(err.status, status);
    assert_int_equal(count, 999);
    return status;
}

static void finder_refuses_bad_arguments(void **state)
{
    const double bad[] = {-1, NAN, INFINITY};
    size_t count = 999;

    reset(state);
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        struct sr_line_options wrong;

        sr_line_options_init(&wrong);
        wrong.min_ratio_db = bad[i];
        assert_int_equal(try_options(wrong), SR_ERR_ARGUMENT);
        sr_line_options_init(&wrong);
        wrong.low_hz = bad[i];
        assert_int_equal(try_options(wrong), SR_ERR_ARGUMENT);
        sr_line_options_init(&wrong);
        wrong.floor_hz = bad[i];
        assert_int_equal(try_options(wrong), SR_ERR_ARGUMENT);
        sr_line_options_init(&wrong);
        wrong.cell_bins = bad[i];
        assert_int_equal(try_options(wrong), SR_ERR_ARGUMENT);
        sr_line_options_init(&wrong);
        wrong.max_lines = 0;
        assert_int_equal(try_options(wrong), SR_ERR_ARGUMENT);
        assert_int_equal(sr_lines_find(psd, BINS, bad[i], SR_WINDOW_HANN, 6, &options, lines, &count, NULL),
                         SR_ERR_ARGUMENT);
        assert_int_equal(sr_lines_find(psd, BINS, 2, SR_WINDOW_HANN, bad[i], &options, lines, &count, NULL),
                         SR_ERR_ARGUMENT);
    }
    assert_int_equal(sr_lines_find(psd, BINS, 2, SR_WINDOW_COUNT, 6, &options, lines, &count, NULL),
                     SR_ERR_ARGUMENT);
    assert_int_equal(sr_lines_find(psd, 0, 2, SR_WINDOW_HANN, 6, &options, lines, &count, NULL),
                     SR_ERR_ARGUMENT);
    assert_int_equal(count, 999);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(tone_between_bins),
        cmocka_unit_test(truncation_is_put_right),
        cmocka_unit_test(smeared_line_keeps_its_energy),
        cmocka_unit_test(wide_swing_keeps_its_energy),
        cmocka_unit_test(comb_of_four_motors_does_not_lift_its_floor),
        cmocka_unit_test(line_on_rising_wash),
        cmocka_unit_test(neighbours_merge_within_a_cell),
        cmocka_unit_test(strong_line_casts_no_shadow_lines),
        cmocka_unit_test(rounding_is_no_line),
        cmocka_unit_test(line_ends_where_something_higher_begins),
        cmocka_unit_test(noise_has_nearly_no_lines),
        cmocka_unit_test(modest_line_is_found),
        cmocka_unit_test(options_choose_the_lines),
        cmocka_unit_test(zeros_at_the_ends_are_bins_left_out),
        cmocka_unit_test(few_bins_are_no_trouble),
        cmocka_unit_test(finder_refuses_bad_arguments),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
