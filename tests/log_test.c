/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a log file is understood to say, and how a bad one is refused. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

#include "stillrow/log.h"
#include "support/near.h"
#include "support/text_log.h"

#define RATE_HZ 500.0
#define ROWS    1500 /* 3 s */

/* Rates of row i: nothing about them but that they differ and are known. */
static double truth(size_t axis, int i)
{
    return (double)(axis + 1) * 10.0 * sin(0.05 * (double)(axis + 1) * i) + 0.25 * (i % 7);
}

/* `head`, then ROWS rows made by `format` with the time in us and three rates. */
static void make(struct text *text, const char *head, char separator, int decimals)
{
    text_add(text, "%s", head);
    for (int i = 0; i < ROWS; i++) {
        text_add(text, "%d", i * 2000);
        for (size_t axis = 0; axis < 3; axis++)
            text_add(text, "%c%.*f", separator, decimals, truth(axis, i));
        text_add(text, "\n");
    }
}

/* Read and expect the rates above, times `scale`. */
static void expect_rates(const struct text *text, const struct sr_log_options *options, double scale)
{
    struct sr_log log;
    struct sr_error err;

    if (text_read(text, options, &log, &err) != SR_OK)
        fail_msg("%s:%zu: %s", err.file, err.line, err.text);
    assert_int_equal(log.count, ROWS);
    assert_int_equal(log.n_runs, 1);
    assert_near(log.rate_hz, RATE_HZ, 1e-6);
    assert_near(log.quality.duration_s, (ROWS - 1) / RATE_HZ, 1e-9);
    for (size_t axis = 0; axis < 3; axis++)
        for (int i = 0; i < ROWS; i++)
            assert_near(log.gyro_dps[axis][i], scale * truth(axis, i), scale * 0.51e-4);
    sr_log_release(&log);
}

/* Every way of writing the same flight. */
static void dialects(void **state)
{
    static const struct {
        const char *head;
        char separator;
    } heads[] = {
        {"time_us,gyro_x,gyro_y,gyro_z\n", ','},
        {"\xEF\xBB\xBFtime_us,gyro_x,gyro_y,gyro_z\n", ','},
        {"#time [us],gyro x [deg/s],gyro y [deg/s],gyro z [deg/s]\n", ','},
        {"# heron, evening\nsettings,12\n\n\n\"rate_p\",45,46,47\ntime (us);x\ntime (us),gyroX,gyroY,gyroZ\n",
         ','},
        {"time (us);gyroX;gyroY;gyroZ\n", ';'},
        {"\"time (us)\";\"gyro, X\";\"gyro, Y\";\"gyro, Z\"\n", ';'},
        {"time (us)\tgyroX\tgyroY\tgyroZ\n", '\t'},
        {"time,gyroX,gyroY,gyroZ\nus,deg/s,deg/s,deg/s\n", ','},
        {"\"time, us\",\"gyro\nX\",gyroY,gyroZ\n", ','},
        {"inches \"5\" prop, it says\n\"never closed, 3\ntime_us,gyro_x,gyro_y,gyro_z\n", ','},
    };
    (void)state;
    for (size_t i = 0; i < sizeof heads / sizeof heads[0]; i++) {
        struct text text = {0};
        make(&text, heads[i].head, heads[i].separator, 4);
        expect_rates(&text, NULL, 1.0);
        text_free(&text);
    }
}

static void line_ends(void **state)
{
    (void)state;
    for (int kind = 0; kind < 4; kind++) {
        struct text text = {0}, out = {0};
        make(&text, "time_us,gyro_x,gyro_y,gyro_z\n", ',', 4);
        for (size_t i = 0; i < text.size; i++)
            if (text.bytes[i] != '\n')
                text_bytes(&out, text.bytes + i, 1);
            else if (kind < 3)
                text_add(&out, "%s", kind == 0 ? "\r\n" : kind == 1 ? "\r" : "\r\n\n");
            else if (i + 1 < text.size) /* no line end after the last row */
                text_add(&out, "\n");
        expect_rates(&out, NULL, 1.0);
        text_free(&text);
        text_free(&out);
    }
}

static void decimal_comma(void **state)
{
    struct text text = {0};
    struct sr_log log;
    struct sr_error err;
    (void)state;
    make(&text, "time_us;gyro_x;gyro_y;gyro_z\n", ';', 4);
    for (size_t i = 0; i < text.size; i++)
        if (text.bytes[i] == '.')
            text.bytes[i] = ',';
    expect_rates(&text, NULL, 1.0);
    assert_int_equal(text_read(&text, NULL, &log, &err), SR_OK);
    assert_true(log.columns.decimal_comma);
    assert_int_equal(log.columns.delimiter, ';');
    sr_log_release(&log);
    text_free(&text);
}

static void units(void **state)
{
    struct sr_log_options options;
    struct text text = {0};
    (void)state;
    sr_log_options_init(&options);
    make(&text, "time_us,gyro_x (rad/s),gyro_y (rad/s),gyro_z (rad/s)\n", ',', 4);
    expect_rates(&text, NULL, 180.0 / 3.14159265358979323846);
    options.rate_unit = "deg/s"; /* what is asked for goes before what is written */
    expect_rates(&text, &options, 1.0);
    text_free(&text);

    make(&text, "time_ms,gyro_x_mdps,gyro_y_mdps,gyro_z_mdps\n", ',', 4);
    options.rate_unit = NULL;
    options.time_unit = "us";
    expect_rates(&text, &options, 1e-3);
    text_free(&text);
}

/* Columns by name, by number, with and without a header, and rows counted. */
static void named_columns(void **state)
{
    struct sr_log_options options;
    struct text text = {0};
    (void)state;
    sr_log_options_init(&options);
    options.time_unit = "us";

    make(&text, "ticks,alpha,beta,gamma\n", ',', 4);
    options.columns = "time=ticks,x=alpha,y=beta,z=gamma";
    expect_rates(&text, &options, 1.0);
    options.columns = "time=1,x=alpha,y=3,z=GAMMA";
    expect_rates(&text, &options, 1.0);
    options.columns = "time=1,x=2,y=3,z=4";
    expect_rates(&text, &options, 1.0);
    options.columns = "x=2,y=3,z=4";
    options.sample_rate_hz = RATE_HZ;
    expect_rates(&text, &options, 1.0);
    options.sample_rate_hz = 0.0;
    text_free(&text);

    make(&text, "", ',', 4); /* no header at all */
    options.columns = "time=1,x=2,y=3,z=4";
    expect_rates(&text, &options, 1.0);
    text_free(&text);

    make(&text, "some words first\nand, more, of, them\n", ';', 4);
    expect_rates(&text, &options, 1.0);
    text_free(&text);

    make(&text, "ticks,alpha,beta,gamma\nus,rad/s,rad/s,rad/s\n", ',', 4); /* the units row is no header */
    options.time_unit = NULL;
    expect_rates(&text, &options, 180.0 / 3.14159265358979323846);
    text_free(&text);
}

/* A row of units, blank lines before it or none. */
static void units_row(void **state)
{
    static const char *const headers[] = {"time,gyro x,gyro y,gyro z\nus,rad/s,rad/s,rad/s\n",
                                          "time,gyro x,gyro y,gyro z\n\n \nus,rad/s,rad/s,rad/s\n\n"};
    (void)state;
    for (size_t i = 0; i < sizeof headers / sizeof headers[0]; i++) {
        struct text text = {0};
        struct sr_log log;
        struct sr_error err;
        make(&text, headers[i], ',', 4);
        expect_rates(&text, NULL, 180.0 / 3.14159265358979323846);
        assert_int_equal(text_read(&text, NULL, &log, &err), SR_OK);
        assert_int_equal(log.quality.bad_rows, 0);
        assert_string_equal(log.columns.time.unit, "us");
        sr_log_release(&log);
        text_free(&text);
    }
}

/* The last instant of a grid lies in its last cell, however the division comes out. */
static void slow_mean_at_the_end(void **state)
{
    (void)state;
    for (size_t cells = 1; cells < 1000; cells++) {
        struct sr_log log = {.slow_count = cells};
        double *grid = calloc(cells + 1, sizeof *grid);
        assert_non_null(grid);
        grid[cells - 1] = 2.0;
        grid[cells] = 99.0; /* no part of it */
        const double end_s = (double)cells * SR_SLOW_STEP_S;
        const double mean = sr_log_slow_mean(&log, grid, nextafter(end_s, 0.0), end_s);
        if (mean != 2.0)
            fail_msg("%zu cells: %g", cells, mean);
        free(grid);
    }
}

static void what_was_found(void **state)
{
    struct text text = {0};
    struct sr_log log;
    struct sr_error err;
    (void)state;
    text_add(&text,
             "note\ntime (ms),gyro_x,throttle (%%),gyro_y,gyro_z,acc_x,acc_y,acc_z,eRPM[0],eRPM[1],extra\n");
    for (int i = 0; i < 3000; i++)
        text_add(&text, "%d,%d.5,%d,%d.25,%d,0,0,1,%d,%d,x\n", i, i % 90, i < 500 ? 0 : 40, i % 13, i % 11,
                 700 * (i > 400), 1400 * (i > 400));
    struct sr_log_options options;
    sr_log_options_init(&options);
    options.pole_pairs = 7;
    options.speed_scale = 100;
    assert_int_equal(text_read(&text, &options, &log, &err), SR_OK);
    const struct sr_columns *c = &log.columns;
    assert_string_equal(log.name, "flight.csv");
    assert_true(c->n_columns == 11 && c->header_line == 2 && c->delimiter == ',' && !c->decimal_comma);
    assert_true(c->time.index == 0 && c->rate[0].index == 1 && c->rate[1].index == 3 &&
                c->rate[2].index == 4);
    assert_true(c->throttle.index == 2 && c->accel[0].index == 5 && c->accel[2].index == 7 &&
                !c->throttle_from_outputs);
    assert_true(c->n_motors == 2 && c->motor[1].index == 9 && c->electrical_rpm);
    assert_string_equal(c->time.name, "time (ms)");
    assert_string_equal(c->time.unit, "ms");
    assert_string_equal(c->rate[2].unit, "deg/s");
    assert_true(!c->time.assumed_unit && c->rate[0].assumed_unit);
    assert_true(has_note(&log, "no unit is written for the rates"));
    assert_true(has_note(&log, "electrical"));

    /* the slow grid: 50 rows a cell, throttle from 0.5 s on, speeds times 100 / 7 */
    assert_int_equal(log.slow_count, 60);
    assert_near(log.throttle[3], 0.0, 0);
    assert_near(log.throttle[30], 0.4, 1e-12);
    assert_near(log.motor_rpm[0][30], 10000.0, 1e-9);
    assert_near(log.motor_rpm[1][30], 20000.0, 1e-9);
    assert_near(sr_log_slow_mean(&log, log.throttle, 0.25, 0.75), 0.2, 1e-12);
    assert_near(sr_log_slow_mean(&log, log.throttle, 1.01, 1.02), 0.4, 1e-12);
    assert_true(isnan(sr_log_slow_mean(&log, log.throttle, 3.5, 4.0)));
    assert_true(isnan(sr_log_slow_mean(&log, NULL, 0.0, 1.0)));
    assert_true(isnan(sr_log_slow_mean(&log, log.throttle, 1.0, 1.0)));

    assert_int_equal(log.airborne_how, SR_AIRBORNE_THROTTLE);
    assert_int_equal(log.n_airborne, 1);
    assert_near(log.airborne[0].from_s, 0.5, 1e-9);
    assert_near(log.airborne[0].to_s, 3.0, 1e-9);
    sr_log_release(&log);

    options.pole_pairs = 0; /* then the speeds stay electrical, and that is said */
    assert_int_equal(text_read(&text, &options, &log, &err), SR_OK);
    assert_near(log.motor_rpm[0][30], 70000.0, 1e-9);
    assert_false(log.columns.electrical_rpm);
    assert_true(has_note(&log, "pole pairs are not known"));
    sr_log_release(&log);
    text_free(&text);
}

/* One file per reason to refuse one. */
struct refusal {
    const char *text;
    enum sr_status status;
    size_t line;
    const char *says;
};

static void refused(void **state)
{
#define H "time_us,gyro_x,gyro_y,gyro_z\n"
    static const struct refusal cases[] = {
        {"", SR_ERR_FORMAT, 0, "empty"},
        {H, SR_ERR_FORMAT, 1, "no rows"},
        {"\n\n" H "\n\n", SR_ERR_FORMAT, 3, "no rows"},
        {"\xFF\xFEt\0i\0", SR_ERR_FORMAT, 0, "UTF-16"},
        {"hello\nworld\n", SR_ERR_COLUMNS, 0, "no header row"},
        {"a,b,c\n1,2,3\n", SR_ERR_COLUMNS, 1, "a, b, c"},
        {"x,y\ncount,gyro_x,gyro_y,gyro_z\n1,2,3,4\n", SR_ERR_COLUMNS, 2, "--columns time=NAME"},
        {"time_us,gyro_x,gyro_y\n1,2,3\n", SR_ERR_COLUMNS, 1, "three gyro rate columns"},
        {"time_us,setpoint_x,setpoint_y,setpoint_z\n1,2,3,4\n", SR_ERR_COLUMNS, 1, "setpoint_x"},
        {H "1,2,3,4\n2000,x,3,4\n3000,y,3,4\n", SR_ERR_FORMAT, 3,
         "2 of 3 rows are bad; the first one has no number in 'x'"},
        {H "1,2,3\n2,3,4\n5,6,7,8\n", SR_ERR_FORMAT, 2, "too few fields"},
        {H "1,nan,3,4\n2,inf,4,5\n5,6,7,8\n", SR_ERR_FORMAT, 2, "'nan'"},
        {H "0,1,2,3\n2000,1,2,3\n4000,1,2,3\n6000,1,2,3\n", SR_ERR_SHORT, 0, "only 0.008 s"},
        {H "5,1,2,3\n5,1,2,4\n5,1,2,5\n5,1,2,6\n", SR_ERR_TIME, 0, "'time_us'"},
        {H "5,1,2,3\n", SR_ERR_SHORT, 0, "only 1 usable row"},
        {"time (s),gyro_x,gyro_y,gyro_z\n0,1,2,3\n5000,1,2,3\n9000,1,2,4\n", SR_ERR_TIME, 4, "--time-unit"},
    };
#undef H
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct text text = {0};
        struct sr_log log;
        struct sr_error err;
        text_bytes(&text, cases[i].text, i == 3 ? 6 : strlen(cases[i].text));
        const enum sr_status status = text_read(&text, NULL, &log, &err);
        if (status != cases[i].status || err.status != status || strstr(err.text, cases[i].says) == NULL ||
            err.line != cases[i].line || strcmp(err.file, "flight.csv") != 0 || log.name != NULL)
            fail_msg("case %zu: %s, %s:%zu: %s", i, sr_status_text(status), err.file, err.line, err.text);
        text_free(&text);
    }
}

static void refused_columns(void **state)
{
    static const struct {
        const char *columns;
        enum sr_status status;
        const char *says;
    } cases[] = {
        {"x=1,y=2", SR_ERR_ARGUMENT, "together"},
        {"time=nope", SR_ERR_COLUMNS, "no row has the columns asked for"},
        {"x=a,y=a,z=b", SR_ERR_COLUMNS, "two parts"},
        {"x=twin,y=a,z=b", SR_ERR_COLUMNS, "more than one column is called 'twin'"},
        {"time=1,x=2,y=3,z=9", SR_ERR_COLUMNS, ""},
    };
    struct text text = {0};
    (void)state;
    text_add(&text, "time_us,a,b,twin,twin,gyro x,gyro y,gyro z\n0,1,2,3,4,5,6,7\n2000,1,2,3,4,5,6,7\n");
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct sr_log_options options;
        struct sr_log log;
        struct sr_error err;
        sr_log_options_init(&options);
        options.columns = cases[i].columns;
        const enum sr_status status = text_read(&text, &options, &log, &err);
        if (status != cases[i].status || strstr(err.text, cases[i].says) == NULL)
            fail_msg("columns '%s': %s: %s", cases[i].columns, sr_status_text(status), err.text);
    }
    text_free(&text);
}

/* Every rule of struct sr_log_options has a failing case. */
static void refused_options(void **state)
{
    struct text text = {0};
    struct sr_log_options bad[20];
    struct sr_log log;
    struct sr_error err;
    size_t n = 0;
    (void)state;
    make(&text, "time_us,gyro_x,gyro_y,gyro_z\n", ',', 4);
    for (size_t i = 0; i < 20; i++)
        sr_log_options_init(&bad[i]);
    bad[n++].time_unit = "h";
    bad[n++].rate_unit = "rpm";
    bad[n++].sample_rate_hz = -1.0;
    bad[n++].sample_rate_hz = NAN;
    bad[n++].sample_rate_hz = 1e9;
    bad[n++].from_s = -1.0;
    bad[n++].from_s = INFINITY;
    bad[n++].to_s = 0.0;
    bad[n++].to_s = -INFINITY;
    bad[n].from_s = 2.0;
    bad[n++].to_s = 1.0;
    bad[n++].pole_pairs = -7;
    bad[n++].pole_pairs = NAN;
    bad[n++].speed_scale = -1;
    bad[n++].speed_scale = INFINITY;
    bad[n++].idle_throttle = 1.0;
    bad[n++].idle_throttle = -0.1;
    bad[n++].columns = "";
    for (size_t i = 0; i < n; i++) {
        if (text_read(&text, &bad[i], &log, &err) != SR_ERR_ARGUMENT || err.text[0] == '\0')
            fail_msg("option case %zu was accepted", i);
    }
    sr_log_options_init(&bad[0]);
    bad[0].from_s = 10.0;
    assert_int_equal(text_read(&text, &bad[0], &log, &err), SR_ERR_SHORT);
    assert_non_null(strstr(err.text, "3 s long"));
    text_free(&text);
}

static void span_asked_for(void **state)
{
    struct text text = {0};
    struct sr_log_options options;
    struct sr_log log;
    struct sr_error err;
    (void)state;
    make(&text, "time_us,gyro_x,gyro_y,gyro_z\n", ',', 4);
    sr_log_options_init(&options);
    options.from_s = 0.7;
    options.to_s = 99.0;
    assert_int_equal(text_read(&text, &options, &log, &err), SR_OK);
    assert_int_equal(log.airborne_how, SR_AIRBORNE_ASKED);
    assert_int_equal(log.n_airborne, 1);
    assert_near(log.airborne[0].from_s, 0.7, 0);
    assert_near(log.airborne[0].to_s, 3.0, 1e-9);
    sr_log_release(&log);
    text_free(&text);
}

static void bad_rows(void **state)
{
    struct text text = {0};
    struct sr_log log;
    struct sr_error err;
    (void)state;
    make(&text, "time_us,gyro_x,gyro_y,gyro_z\n", ',', 4);
    text_add(&text,
             "3000000,1,2,\n3002000,1e999,2,3\n3004000,1,2\n3006000,1,2,3x\ntime_us,gyro_x,gyro_y,gyro_z\n");
    text_add(&text,
             "3008000,,,\n3010000,1,2,3\n3012000,1,2"); /* a row without rates, a good one, a cut one */
    assert_int_equal(text_read(&text, NULL, &log, &err), SR_OK);
    assert_int_equal(log.quality.rows, ROWS + 8);
    assert_int_equal(log.quality.bad_rows, 6);
    assert_int_equal(log.quality.first_bad_line, ROWS + 2);
    assert_true(has_note(&log, "6 bad rows are dropped, the first in line 1502 ('(empty)')"));
    assert_true(has_note(&log, "1 row without rates"));
    assert_int_equal(log.quality.gaps, 1);
    assert_int_equal(log.quality.lost_rows, 5);
    assert_int_equal(log.n_runs, 2);
    assert_int_equal(log.runs[1].first, ROWS);
    assert_int_equal(log.runs[1].count, 1);
    assert_near(log.runs[1].start_s, 3.01, 1e-9);
    sr_log_release(&log);
    text_free(&text);
}

/* A last row without line end counts if it is whole, and not if a field is missing, needed or not. */
static void cut_last_row(void **state)
{
    static const struct {
        const char *tail;
        uint64_t bad;
    } cases[] = {{"3000000,1,2,3,9,9", 0},
                 {"3000000,1,2,3,9", 1},
                 {"3000000,1,2,3,", 1},
                 {"3000000,1", 1},
                 {"3000000,1,2,3,9\n", 0}};
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++)
        for (int plain = 0; plain < 2; plain++) {
            struct text text = {0};
            struct sr_log_options options;
            struct sr_log log;
            struct sr_error err;
            sr_log_options_init(&options);
            options.plain_path = plain == 1;
            text_add(&text, "time_us,gyro_x,gyro_y,gyro_z,a,b\n");
            for (int k = 0; k < ROWS; k++)
                text_add(&text, "%d,%d,%d,%d,4,5\n", 2000 * k, k % 9, k % 7, k % 5);
            text_add(&text, "%s", cases[i].tail);
            assert_int_equal(text_read(&text, &options, &log, &err), SR_OK);
            assert_int_equal(log.quality.bad_rows, cases[i].bad);
            assert_int_equal(log.quality.rows, ROWS + 1);
            sr_log_release(&log);
            text_free(&text);
        }
}

/* Zeros behind the last row are what a card keeps of a recorder that lost power. */
static void zeros_at_the_tail(void **state)
{
    static const size_t lengths[] = {1, 5000, 3000000};
    (void)state;
    for (size_t i = 0; i < 3; i++)
        for (int cut = 0; cut < 2; cut++) {
            struct text text = {0};
            struct sr_log log;
            struct sr_error err;
            char *zeros = calloc(lengths[i], 1);
            assert_non_null(zeros);
            make(&text, "time_us,gyro_x,gyro_y,gyro_z\n", ',', 4);
            while (text.size < 70000) /* beyond where zeros mean "binary" */
                text_add(&text, "\n");
            text_add(&text, "%s", cut ? "3000000,1," : "");
            text_bytes(&text, zeros, lengths[i]);
            if (text_read(&text, NULL, &log, &err) != SR_OK)
                fail_msg("%zu zeros: line %zu: %s", lengths[i], err.line, err.text);
            assert_int_equal(log.count, ROWS);
            assert_int_equal(log.quality.bad_rows, cut);
            sr_log_release(&log);
            text_free(&text);
            free(zeros);
        }
}

static void binary(void **state)
{
    struct text text = {0};
    struct sr_log log;
    struct sr_error err;
    (void)state;
    for (int i = 0; i < 3000; i++)
        text_bytes(&text, (const char[]){(char)(i * 7), (char)i, 0}, 3);
    assert_int_equal(text_read(&text, NULL, &log, &err), SR_ERR_FORMAT);
    assert_non_null(strstr(err.text, "binary"));
    text_free(&text);
}

/* Lines without an end are refused after a block or two, wherever they start. */
static void endless_line(void **state)
{
    (void)state;
    for (int where = 0; where < 3; where++) {
        struct text text = {0};
        struct sr_log log;
        struct sr_error err;
        char *line = malloc(5000000);
        assert_non_null(line);
        memset(line, where == 1 ? '1' : 'x', 5000000);
        if (where == 2)
            make(&text, "time_us,gyro_x,gyro_y,gyro_z\n", ',', 4);
        text_bytes(&text, line, 5000000);
        assert_int_equal(text_read(&text, NULL, &log, &err), SR_ERR_FORMAT);
        assert_non_null(strstr(err.text, "a line of more than"));
        assert_int_equal(err.line, where == 2 ? ROWS + 2 : 1);
        text_free(&text);
        free(line);
    }
}

static void files(void **state)
{
    char path[] = "/tmp/stillrow-log-XXXXXX";
    struct text text = {0};
    struct sr_log log = {0};
    struct sr_error err;
    (void)state;
    assert_int_equal(sr_log_read(&log, "/nowhere/at/all.csv", NULL, &err), SR_ERR_OPEN);
    assert_string_equal(err.file, "/nowhere/at/all.csv");
    assert_int_equal(sr_log_read(&log, "/tmp", NULL, &err), SR_ERR_OPEN);
    assert_non_null(strstr(err.text, "directory"));
    assert_int_equal(sr_log_read(&log, "/nowhere/at/all.csv", NULL, NULL), SR_ERR_OPEN);

    const int fd = mkstemp(path);
    assert_true(fd >= 0);
    make(&text, "time_us,gyro_x,gyro_y,gyro_z\n", ',', 4);
    assert_int_equal(write(fd, text.bytes, text.size), text.size);
    close(fd);
    assert_int_equal(sr_log_read(&log, path, NULL, &err), SR_OK);
    assert_string_equal(log.name, path);
    sr_log_release(&log);
    sr_log_release(&log); /* twice is fine */

    FILE *standard_input = freopen(path, "rb", stdin);
    assert_non_null(standard_input);
    assert_int_equal(sr_log_read(&log, "-", NULL, &err), SR_OK);
    assert_string_equal(log.name, "-");
    assert_int_equal(log.count, ROWS);
    sr_log_release(&log);
    unlink(path);
    text_free(&text);
}

static void on_progress(void *context, uint64_t done, uint64_t total)
{
    uint64_t *last = context;

    assert_true(done >= last[0]);
    last[0] = done;
    last[1] = total;
}

static void progress(void **state)
{
    uint64_t last[2] = {0, 1};
    struct text text = {0};
    struct sr_log_options options;
    struct sr_log log;
    struct sr_error err;
    (void)state;
    make(&text, "time_us,gyro_x,gyro_y,gyro_z\n", ',', 4);
    sr_log_options_init(&options);
    options.progress = on_progress;
    options.progress_context = last;
    assert_int_equal(text_read(&text, &options, &log, &err), SR_OK);
    assert_int_equal(last[0], text.size);
    assert_int_equal(last[1], 0);
    sr_log_release(&log);
    text_free(&text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(dialects),          cmocka_unit_test(line_ends),
        cmocka_unit_test(decimal_comma),     cmocka_unit_test(units),
        cmocka_unit_test(units_row),         cmocka_unit_test(named_columns),
        cmocka_unit_test(what_was_found),    cmocka_unit_test(slow_mean_at_the_end),
        cmocka_unit_test(refused),           cmocka_unit_test(refused_columns),
        cmocka_unit_test(refused_options),   cmocka_unit_test(span_asked_for),
        cmocka_unit_test(bad_rows),          cmocka_unit_test(cut_last_row),
        cmocka_unit_test(zeros_at_the_tail), cmocka_unit_test(binary),
        cmocka_unit_test(endless_line),      cmocka_unit_test(files),
        cmocka_unit_test(progress),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
