/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The time base. The oracle is the motion itself: samples are taken from a known
 * function of time, written with damaged times, and compared with that function.
 */
#include <inttypes.h>
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
#include "stillrow/log.h"
#include "support/near.h"
#include "support/text_log.h"

#define TURN 6.283185307179586

/* Motion about axis `axis` at time t [s]: tones up to `top_hz`. */
static double motion(size_t axis, double t, double top_hz)
{
    const double f = top_hz * (double)(axis + 1) / 3.0;

    return 50.0 * sin(TURN * f * t + (double)axis) + 20.0 * cos(TURN * 0.37 * f * t);
}

static void header(struct text *text, const char *time)
{
    text_add(text, "%s,gyro x (deg/s),gyro y (deg/s),gyro z (deg/s)\n", time);
}

/* A row whose stamp is written as `stamp`, sampled at t. */
static void row(struct text *text, const char *stamp, double t, double top_hz)
{
    text_add(text, "%s,%.9g,%.9g,%.9g\n", stamp, motion(0, t, top_hz), motion(1, t, top_hz),
             motion(2, t, top_hz));
}

static void row_us(struct text *text, int64_t us, double t, double top_hz)
{
    char stamp[32];

    snprintf(stamp, sizeof stamp, "%" PRId64, us);
    row(text, stamp, t, top_hz);
}

static void read_or_fail(const struct text *text, const struct sr_log_options *options, struct sr_log *log)
{
    struct sr_error err;

    if (text_read(text, options, log, &err) != SR_OK)
        fail_msg("%s:%zu: %s", err.file, err.line, err.text);
}

/* RMS difference from the motion, over all samples but `edge` at each run's ends, in deg/s. */
static double rms_error(const struct sr_log *log, double top_hz, size_t edge, double first_s)
{
    double squares = 0.0;
    size_t n = 0;

    for (size_t r = 0; r < log->n_runs; r++)
        for (size_t i = edge; i + edge < log->runs[r].count; i++)
            for (size_t axis = 0; axis < 3; axis++) {
                const double t = first_s + log->runs[r].start_s + (double)i / log->rate_hz;
                const double off = log->gyro_dps[axis][log->runs[r].first + i] - motion(axis, t, top_hz);
                squares += off * off;
                n++;
            }
    return sqrt(squares / (double)n);
}

/* Nanoseconds since 1970 need 19 digits: one less and the steps would scatter by 256 ns. */
static void long_stamps(void **state)
{
    static const char *const formats[] = {"%" PRId64, "%" PRId64 ".0"};
    (void)state;
    for (size_t f = 0; f < 2; f++) {
        struct text text = {0};
        struct sr_log log;
        header(&text, "timestamp [ns]");
        for (int i = 0; i < 4000; i++) {
            char stamp[40];
#pragma GCC diagnostic push
#pragma GCC diagnostic ignored "-Wformat-nonliteral"
            snprintf(stamp, sizeof stamp, formats[f], 1403715273262142976 + (int64_t)i * 1000003);
#pragma GCC diagnostic pop
            row(&text, stamp, i * 1e-3, 40.0);
        }
        read_or_fail(&text, NULL, &log);
        assert_near(log.quality.jitter_us, 0.0, 1e-6);
        assert_near(log.rate_hz, 1e9 / 1000003.0, 1e-9);
        assert_false(log.quality.resampled);
        sr_log_release(&log);
        text_free(&text);
    }
    struct text text = {0}; /* the same as seconds with nine places */
    struct sr_log log;
    header(&text, "t (s)");
    for (int i = 0; i < 4000; i++) {
        char stamp[40];
        const int64_t ns = 1403715273262142976 + (int64_t)i * 1000003;
        snprintf(stamp, sizeof stamp, "%" PRId64 ".%09" PRId64, ns / 1000000000, ns % 1000000000);
        row(&text, stamp, i * 1e-3, 40.0);
    }
    read_or_fail(&text, NULL, &log);
    assert_near(log.quality.jitter_us, 0.0, 1e-6);
    sr_log_release(&log);
    text_free(&text);
}

/* Units that are not written are worked out from the rate they make. */
static void unwritten_units(void **state)
{
    static const struct {
        double step; /* as written */
        const char *unit;
        double rate_hz;
    } cases[] = {{0.0005, "s", 2000},  {0.01, "s", 100},    {1, "ms", 1000},    {0.125, "ms", 8000},
                 {5, "ms", 200},       {125, "us", 8000},   {1000, "us", 1000}, {10000, "us", 100},
                 {500000, "ns", 2000}, {5000000, "ns", 200}};
    (void)state;
    for (size_t c = 0; c < sizeof cases / sizeof cases[0]; c++) {
        struct text text = {0};
        struct sr_log log;
        header(&text, "time");
        for (int i = 0; i < 3 * cases[c].rate_hz; i++) {
            char stamp[40];
            snprintf(stamp, sizeof stamp, "%.10g", i * cases[c].step);
            row(&text, stamp, i / cases[c].rate_hz, 5.0);
        }
        read_or_fail(&text, NULL, &log);
        assert_string_equal(log.columns.time.unit, cases[c].unit);
        assert_true(log.columns.time.assumed_unit && has_note(&log, "no unit is written for the time"));
        assert_near(log.rate_hz, cases[c].rate_hz, 1e-6 * cases[c].rate_hz);
        sr_log_release(&log);
        text_free(&text);
    }
}

static void gaps(void **state)
{
    struct text text = {0};
    struct sr_log log;
    (void)state;
    header(&text, "time (us)");
    for (int i = 0; i < 10000; i++)
        if (!(i >= 2000 && i < 2001) && !(i >= 5000 && i < 5100) && i != 9998)
            row_us(&text, 777000 + i * 1000, i * 1e-3, 50.0);
    read_or_fail(&text, NULL, &log);
    assert_int_equal(log.quality.gaps, 1); /* single missing rows are no gaps */
    assert_int_equal(log.quality.lost_rows, 102);
    assert_int_equal(log.n_runs, 2);
    static const size_t counts[] = {5000, 4900};
    static const double starts[] = {0.0, 5.1};
    for (size_t r = 0; r < 2; r++) {
        assert_int_equal(log.runs[r].count, counts[r]);
        assert_near(log.runs[r].start_s, starts[r], 1e-9);
    }
    assert_near(log.quality.duration_s, 9.999, 1e-9);
    assert_near(log.quality.rate_hz, 1000.0, 1e-6);
    assert_near(log.quality.nyquist_hz, 500.0, 1e-6);
    for (size_t r = 0; r < 2; r++) /* rows that were logged stay as they are */
        for (size_t i = 0; i < log.runs[r].count; i++) {
            const double t = log.runs[r].start_s + (double)i * 1e-3;
            const bool missing = (r == 0 && i == 2000) || (r == 1 && i == 4898);
            assert_near(log.gyro_dps[1][log.runs[r].first + i], motion(1, t, 50.0), missing ? 0.5 : 1e-6);
        }
    sr_log_release(&log);
    text_free(&text);
}

/* Up to three missing rows, a step under 4.5 median steps, are made up for; beyond it is a gap. */
static void gap_limit(void **state)
{
    (void)state;
    for (int late = 0; late < 2; late++) {
        struct text text = {0};
        struct sr_log log;
        header(&text, "time (us)");
        for (int i = 0; i < 5000; i++)
            row_us(&text, (int64_t)i * 1000 + (i >= 2500 ? (late ? 3510 : 3490) : 0), i * 1e-3, 20.0);
        read_or_fail(&text, NULL, &log);
        assert_int_equal(log.quality.gaps, late);
        assert_int_equal(log.n_runs, 1 + (size_t)late);
        assert_int_equal(log.quality.lost_rows, late ? 4 : 3);
        sr_log_release(&log);
        text_free(&text);
    }
}

struct stamp_case {
    const char *what;
    int64_t (*stamp)(int i);
    uint64_t backward;
    size_t count; /* samples of 4000: those kept, and one for each single row that is missing */
};

static int64_t steady(int i)
{
    return (int64_t)i * 1000;
}

static int64_t one_back(int i)
{
    return i == 1000 ? 998000 : steady(i);
}

static int64_t repeated(int i)
{
    return i == 1000 || i == 2000 ? steady(i - 1) : steady(i);
}

static int64_t spike(int i)
{
    return i == 1000 ? 99000000000 : steady(i);
}

static int64_t block_again(int i)
{
    return i < 1000 ? steady(i) : steady(i - 100); /* the last 100 rows are written twice */
}

static int64_t restart(int i)
{
    return i < 3900 ? steady(i) : steady(i - 3900);
}

static int64_t strays(int i)
{
    return i < 3 ? i : 1700000000000000 + steady(i);
}

static int64_t spike_last(int i)
{
    return i == 3999 ? 99000000000 : steady(i);
}

static void backward(void **state)
{
    static const struct stamp_case cases[] = {{"steady", steady, 0, 4000},
                                              {"one back", one_back, 1, 4000},
                                              {"repeated", repeated, 2, 4000},
                                              {"spike", spike, 1, 4000},
                                              {"block again", block_again, 100, 3900},
                                              {"restart", restart, 100, 3900},
                                              {"before the clock was set", strays, 3, 3997},
                                              {"spike at the end", spike_last, 1, 3999}};
    (void)state;
    for (size_t c = 0; c < sizeof cases / sizeof cases[0]; c++) {
        struct text text = {0};
        struct sr_log log;
        header(&text, "time (us)");
        for (int i = 0; i < 4000; i++)
            row_us(&text, cases[c].stamp(i), (double)cases[c].stamp(i) * 1e-6, 0.01);
        read_or_fail(&text, NULL, &log);
        if (log.quality.backward_rows != cases[c].backward || log.count != cases[c].count)
            fail_msg("%s: %llu rows back, %zu kept", cases[c].what,
                     (unsigned long long)log.quality.backward_rows, log.count);
        assert_int_equal(log.quality.rows, 4000);
        for (size_t i = 1; i < log.n_runs; i++)
            assert_true(log.runs[i].start_s > log.runs[i - 1].start_s);
        sr_log_release(&log);
        text_free(&text);
    }
}

static int64_t second_flight(int i)
{
    return i < 2500 ? steady(i) : steady(i - 2500);
}

static int64_t sixteen_bits(int i)
{
    return ((i + 64000) % 65536) * 1000;
}

static int64_t pairs_swapped(int i)
{
    return steady(i ^ 1);
}

static int64_t all_backward(int i)
{
    return steady(4000 - i);
}

/* What is left of a flight whose time goes back too often or for too long is no flight. */
static void too_far_back(void **state)
{
    static const struct {
        const char *what;
        int64_t (*stamp)(int i);
        size_t line;
        const char *says;
    } cases[] = {
        {"second flight", second_flight, 2502, "starts again here, 2.499 s back: several recordings"},
        {"16-bit counter", sixteen_bits, 1538, "or a counter that wrapped round (give --sample-rate HZ)"},
        {"pairs swapped", pairs_swapped, 3, "runs backwards: 2000 of 4000 rows"},
        {"all backward", all_backward, 3, "runs backwards: 3999 of 4000 rows"}};
    (void)state;
    for (size_t c = 0; c < sizeof cases / sizeof cases[0]; c++) {
        struct text text = {0};
        struct sr_log log;
        struct sr_error err;
        header(&text, "time (us)");
        for (int i = 0; i < 4000; i++)
            row_us(&text, cases[c].stamp(i), i * 1e-3, 0.01);
        const enum sr_status status = text_read(&text, NULL, &log, &err);
        if (status != SR_ERR_TIME || err.line != cases[c].line || strstr(err.text, cases[c].says) == NULL)
            fail_msg("%s: status %d, line %zu, '%s'", cases[c].what, (int)status, err.line, err.text);
        sr_log_release(&log);
        text_free(&text);
    }
}

/* A 32-bit count of microseconds wraps after 71.6 minutes. */
static void wrapped(void **state)
{
    struct text text = {0};
    struct sr_log log;
    (void)state;
    header(&text, "time (us)");
    for (int i = 0; i < 8000; i++)
        row_us(&text, (int64_t)(uint32_t)(4294967296 - 2000000 + (int64_t)i * 500), i * 500e-6, 50.0);
    read_or_fail(&text, NULL, &log);
    assert_int_equal(log.n_runs, 1);
    assert_int_equal(log.count, 8000);
    assert_int_equal(log.quality.backward_rows, 0);
    assert_true(has_note(&log, "wrapped"));
    assert_near(rms_error(&log, 50.0, 0, 0.0), 0.0, 1e-6);
    sr_log_release(&log);
    text_free(&text);
}

/* Jitter: samples were taken at the stamped times, and come out on even ones. */
static void jitter(void **state)
{
    static const double tops_hz[] = {50.0, 150.0, 250.0};
    static const double limits_dps[] = {0.003, 0.25,
                                        2.5}; /* a cubic spline's error at 0.05, 0.15, 0.25 of the rate */
    (void)state;
    for (size_t c = 0; c < 3; c++) {
        struct text text = {0};
        struct sr_log log;
        uint64_t seed = 5;
        double first_s = 0.0;
        header(&text, "time (ns)");
        for (int i = 0; i < 20000; i++) {
            char stamp[32];
            const double t = (i + 0.2 * (2.0 * sim_uniform(&seed) - 1.0)) * 1e-3;
            if (i == 0)
                first_s = t;
            snprintf(stamp, sizeof stamp, "%.0f", 1e12 + t * 1e9);
            row(&text, stamp, t, tops_hz[c]);
        }
        read_or_fail(&text, NULL, &log);
        assert_true(log.quality.resampled && has_note(&log, "interpolated"));
        assert_near(log.quality.jitter_us, 200.0 * sqrt(2.0 / 3.0), 3.0); /* difference of two uniform ones */
        assert_int_equal(log.n_runs, 1);
        assert_near(log.rate_hz, 1000.0, 0.02);
        assert_near((double)log.count, 20000.0, 2.0);
        assert_near(rms_error(&log, tops_hz[c], 10, first_s), 0.0, limits_dps[c]);
        sr_log_release(&log);
        text_free(&text);
    }
}

/* Splines are solved in blocks: no seam shows, and short runs are done too. */
static void jitter_with_gaps(void **state)
{
    struct text text = {0};
    struct sr_log log;
    uint64_t seed = 6;
    double first_s = 0.0;
    (void)state;
    header(&text, "time (ns)");
    for (int i = 0; i < 40000; i++) {
        const bool lost = (i > 13000 && i < 13500) || (i > 13507 && i < 13600) || i == 13603 || i == 30000;
        const double t = (i + 0.05 * sin(0.3 * i) + 0.05 * sim_uniform(&seed)) * 1e-3;
        char stamp[32];
        snprintf(stamp, sizeof stamp, "%.0f", t * 1e9);
        if (i == 0)
            first_s = t;
        if (!lost)
            row(&text, stamp, t, 60.0);
    }
    read_or_fail(&text, NULL, &log);
    assert_int_equal(log.quality.gaps, 2);
    assert_int_equal(log.quality.lost_rows, 499 + 92 + 1 + 1);
    assert_true(log.quality.resampled);
    assert_near(rms_error(&log, 60.0, 3, first_s), 0.0, 0.01);
    sr_log_release(&log);
    text_free(&text);
}

/* A clock that runs evenly but whose stamps are rounded to a 300th of a step is left alone. */
static void rounding_is_no_jitter(void **state)
{
    struct text text = {0};
    struct sr_log log;
    (void)state;
    header(&text, "time (us)");
    for (int i = 0; i < 20000; i++)
        row_us(&text, (int64_t)(i * 312.5), i * 312.5e-6, 400.0);
    read_or_fail(&text, NULL, &log);
    assert_false(log.quality.resampled);
    assert_int_equal(log.count, 20000);
    assert_ratio_near(log.rate_hz, 3200.0, 1e-6);
    assert_near(rms_error(&log, 400.0, 0, 0.0), 0.0, 0.1); /* 0.1 us at 400 Hz and 50 deg/s */
    sr_log_release(&log);
    text_free(&text);
}

/* An even clock has no jitter at all, not the 1e-10 us that its stamps are rounded by; one nanosecond is
 * some. */
static void an_even_clock_has_no_jitter(void **state)
{
    static const int rates_hz[] = {250, 1000, 3200, 8000};
    (void)state;
    for (size_t r = 0; r < sizeof rates_hz / sizeof *rates_hz; r++)
        for (int shaken = 0; shaken < 2; shaken++) {
            struct text text = {0};
            struct sr_log log;
            header(&text, "time [s]");
            for (int i = 0; i < 12 * rates_hz[r]; i++) {
                char stamp[40];
                const int64_t ns = 1000000000 / rates_hz[r] * (int64_t)i + (shaken == 1 && i % 7 == 3);
                snprintf(stamp, sizeof stamp, "%" PRId64 ".%09" PRId64, 86000 + ns / 1000000000,
                         ns % 1000000000);
                row(&text, stamp, (double)i / rates_hz[r], 40.0);
            }
            read_or_fail(&text, NULL, &log);
            /* One stamp in 7 a nanosecond late: a step a nanosecond longer, and one shorter. */
            if (shaken == 1)
                assert_near(log.quality.jitter_us, 1e-3 * sqrt(2.0 / 7.0), 1e-6);
            else
                assert_true(!(log.quality.jitter_us > 0.0));
            sr_log_release(&log);
            text_free(&text);
        }
}

/* A recorder's oscillator that wanders is followed. */
static void drift(void **state)
{
    struct text text = {0};
    struct sr_log log;
    (void)state;
    header(&text, "time (ns)");
    for (int i = 0; i < 60000; i++) {
        char stamp[32];
        const double t = i * 1e-3 + 0.02 * (i * 1e-3 / 60.0) * (i * 1e-3 / 60.0) * 4.0; /* 80 ms of bend */
        snprintf(stamp, sizeof stamp, "%.0f", t * 1e9);
        row(&text, stamp, t, 60.0);
    }
    read_or_fail(&text, NULL, &log);
    assert_int_equal(log.n_runs, 1);
    assert_near(rms_error(&log, 60.0, 10, 0.0), 0.0, 2.0); /* 5 ms of slack would be far more at 60 Hz */
    sr_log_release(&log);
    text_free(&text);
}

/* With rows counted, a bad row still takes its time. */
static void counted(void **state)
{
    struct text text = {0};
    struct sr_log log;
    struct sr_log_options options;
    (void)state;
    sr_log_options_init(&options);
    options.sample_rate_hz = 400.0;
    text_add(&text, "n,gyro x (deg/s),gyro y (deg/s),gyro z (deg/s)\nbad,bad,bad,bad\n");
    for (int i = 0; i < 4000; i++)
        row(&text, "0", i / 400.0, 30.0);
    text_add(&text, "1,x,x,x\n");
    for (int i = 4001; i < 4400; i++)
        row(&text, "0", i / 400.0, 30.0);
    read_or_fail(&text, &options, &log);
    assert_int_equal(log.columns.time.index, -1);
    assert_near(log.rate_hz, 400.0, 1e-9);
    assert_int_equal(log.quality.bad_rows, 2);
    assert_int_equal(log.quality.gaps, 0);
    assert_int_equal(log.quality.lost_rows, 1);
    assert_int_equal(log.n_runs, 1);
    assert_int_equal(log.count, 4400);
    for (size_t i = 0; i < log.count; i++)
        assert_near(log.gyro_dps[0][i], motion(0, (double)i / 400.0, 30.0), i == 4000 ? 0.5 : 1e-6);
    sr_log_release(&log);
    text_free(&text);
}

/* The time column that moves is the time column. */
static void second_time_column(void **state)
{
    struct text text = {0};
    struct sr_log log;
    (void)state;
    text_add(&text, "time,gps time,gyro x,gyro y,gyro z\n");
    for (int i = 0; i < 3000; i++)
        text_add(&text, "12:30:%02d,%d,%d,%d,%d\n", i / 1000, i, i % 77, i % 55, i % 49);
    read_or_fail(&text, NULL, &log);
    assert_int_equal(log.columns.time.index, 1);
    assert_true(has_note(&log, "'time' holds no usable times"));
    assert_near(log.rate_hz, 1000.0, 1e-6);
    sr_log_release(&log);
    text_free(&text);
}

/* The same flight has the same fingerprint however it is written, another one has not. */
static void fingerprints(void **state)
{
    uint64_t first = 0;
    (void)state;
    for (int kind = 0; kind < 7; kind++) {
        struct text text = {0};
        struct sr_log log;
        struct sr_log_options options;
        sr_log_options_init(&options);
        options.plain_path = kind != 1;
        text_add(&text, kind == 2 ? "pre\n\nt (us);gyro x (deg/s);gyro y (deg/s);gyro z (deg/s)\n"
                                  : "time (us),gyro x (deg/s),gyro y (deg/s),gyro z (deg/s)\n");
        for (int i = 0; i < 3000; i++) {
            const double x = i % 61 + 0.25, y = -(i % 17) * 0.5;
            const double z = (kind == 5 && i == 1500 ? 8.0 : 7.0) - i % 3;
            const int64_t us =
                (int64_t)i * 1000 + (kind == 3 ? 123456789 : 0) + (kind == 6 && i == 1500 ? 1 : 0);
            text_add(&text,
                     kind == 2   ? "%lld;%g;%g;%g\r\n"
                     : kind == 4 ? "\"%lld\",%.9f,%.9f,%.9f\n"
                                 : "%lld,%g,%g,%g\n",
                     (long long)us, x, y, z);
        }
        read_or_fail(&text, &options, &log);
        if (kind == 0)
            first = log.fingerprint;
        else if (kind < 5)
            assert_true(log.fingerprint == first);
        else
            assert_true(log.fingerprint != first);
        assert_true(log.fingerprint != 0);
        sr_log_release(&log);
        text_free(&text);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(long_stamps),
        cmocka_unit_test(unwritten_units),
        cmocka_unit_test(gaps),
        cmocka_unit_test(gap_limit),
        cmocka_unit_test(backward),
        cmocka_unit_test(too_far_back),
        cmocka_unit_test(wrapped),
        cmocka_unit_test(jitter),
        cmocka_unit_test(jitter_with_gaps),
        cmocka_unit_test(rounding_is_no_jitter),
        cmocka_unit_test(an_even_clock_has_no_jitter),
        cmocka_unit_test(drift),
        cmocka_unit_test(counted),
        cmocka_unit_test(second_time_column),
        cmocka_unit_test(fingerprints),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
