/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the reader says: the sentence must name the thing that is wrong, and the way out. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "stillrow/log.h"
#include "support/text_log.h"

#define TURN 6.283185307179586

/* Four seconds of rates, with a header, what stands around the seconds, and a separator. */
static void make(struct text *text, const char *header, const char *before, const char *after, char separator)
{
    text_add(text, "%s", header);
    for (int i = 0; i < 4000; i++) {
        text_add(text, "%s%02d.%03d%s", before, i / 1000, i % 1000, after);
        for (int axis = 0; axis < 3; axis++)
            text_add(text, "%c%.3f", separator, 20.0 * sin(TURN * 0.03 * i + axis));
        text_add(text, "\n");
    }
}

static void refusals(void **state)
{
    static const struct {
        const char *header, *before, *after, *columns;
        char separator;
        enum sr_status status;
        const char *says[3];
    } cases[] = {
        {"t (s),alpha,beta,gamma\n",
         "",
         "",
         "time=1,x=alpha,y=nosuch,z=gamma",
         ',',
         SR_ERR_COLUMNS,
         {"without 'nosuch' (y)", "it has: t (s), alpha, beta, gamma", ""}},
        {"t (s),alpha,beta,gamma\n",
         "",
         "",
         "time=1,x=2,y=3,z=7",
         ',',
         SR_ERR_COLUMNS,
         {"without column 7 (z)", "it has: t (s), alpha, beta, gamma", ""}},
        {"t (s),alpha,beta,gamma\n",
         "",
         "",
         "time=1,x=2,y=2,z=4",
         ',',
         SR_ERR_COLUMNS,
         {"column 2 'alpha' would play two parts, x and y", "--columns", ""}},
        {"t (s),alpha,beta,gamma\n",
         "",
         "",
         "time=t,x=alpha,y=beta,z=t",
         ',',
         SR_ERR_COLUMNS,
         {"column 1 't (s)' would play two parts, time and z", "", ""}},
        {"t|gyro x|gyro y|gyro z\n",
         "",
         "",
         NULL,
         '|',
         SR_ERR_COLUMNS,
         {"the fields are apart by '|'", "a comma, a semicolon or a tab", ""}},
        {"t gyro_x gyro_y gyro_z\n",
         "",
         "",
         NULL,
         ' ',
         SR_ERR_COLUMNS,
         {"the fields are apart by blanks", "a comma, a semicolon or a tab", ""}},
        {"",
         "",
         "",
         "time=1,x=2,y=3,z=4",
         ' ',
         SR_ERR_COLUMNS,
         {"the fields are apart by blanks", "a comma, a semicolon or a tab", ""}},
        {"time,gyro x,gyro y,gyro z\n",
         "12:00:",
         "",
         NULL,
         ',',
         SR_ERR_FORMAT,
         {"'12:00:00.000', is a clock's text", "--sample-rate HZ", "--columns"}},
        {"time,gyro x,gyro y,gyro z\n",
         "2031-06-14T12:00:",
         "Z",
         NULL,
         ',',
         SR_ERR_FORMAT,
         {"'2031-06-14T12:00:00.000Z', is a clock's text", "--sample-rate HZ", "--columns"}},
        {"time,gyro x,gyro y,gyro z\n",
         "row: ",
         "",
         NULL,
         ',',
         SR_ERR_FORMAT,
         {"the first one has no number in 'row: 00.000'", "", ""}},
    };
    (void)state;
    for (size_t c = 0; c < sizeof cases / sizeof cases[0]; c++) {
        struct text text = {0};
        struct sr_log_options options;
        struct sr_log log;
        struct sr_error err;
        sr_log_options_init(&options);
        options.columns = cases[c].columns;
        make(&text, cases[c].header, cases[c].before, cases[c].after, cases[c].separator);
        const enum sr_status status = text_read(&text, &options, &log, &err);
        for (size_t s = 0; s < 3; s++)
            if (status != cases[c].status || strstr(err.text, cases[c].says[s]) == NULL)
                fail_msg("case %zu: status %d, '%s'", c, (int)status, err.text);
        sr_log_release(&log);
        text_free(&text);
    }
}

/* The way out that is named does lead out. */
static void clock_text_counted(void **state)
{
    struct text text = {0};
    struct sr_log_options options;
    struct sr_log log;
    struct sr_error err;
    (void)state;
    sr_log_options_init(&options);
    options.sample_rate_hz = 1000.0;
    make(&text, "time,gyro x,gyro y,gyro z\n", "12:00:", "", ',');
    assert_int_equal(text_read(&text, &options, &log, &err), SR_OK);
    assert_int_equal(log.count, 4000);
    sr_log_release(&log);
    text_free(&text);
}

/* A file without a header has no name to quote. */
static void time_without_name(void **state)
{
    struct text text = {0};
    struct sr_log_options options;
    struct sr_log log;
    struct sr_error err;
    (void)state;
    sr_log_options_init(&options);
    options.columns = "time=1,x=2,y=3,z=4";
    make(&text, "", "", "", ',');
    assert_int_equal(text_read(&text, &options, &log, &err), SR_OK);
    assert_true(has_note(&log, "no unit is written for the time in column 1: taken as s"));
    sr_log_release(&log);
    text_free(&text);
}

/*
 * Electrical speeds in hundreds, divided by the pole pairs, come out at 180 rpm. Of the
 * motors that stand still on the ground only, or run at a right speed, nothing is said.
 */
static void slow_motors(void **state)
{
    static const struct {
        const char *name;
        double ground, air;
        double pole_pairs, scale;
        const char *says; /* NULL: nothing */
    } cases[] = {
        {"erpm", 0, 1260, 7, 0,
         "'erpm 1'… would be 180 rpm in flight, too slow for a motor, and is not used: see "
         "whether the rig's speed_scale and pole_pairs are right"},
        {"rpm", 0, 180, 7, 0,
         "'rpm 1'… would be 180 rpm in flight, too slow for a motor, and is not used: see "
         "whether the rig's speed_scale is right"},
        {"erpm", 0, 1260, 7, 100, NULL},
        {"rpm", 0, 18000, 7, 0, NULL},
        {"rpm", 0, 301, 0, 0, NULL},
    };
    (void)state;
    for (size_t c = 0; c < sizeof cases / sizeof cases[0]; c++) {
        struct text text = {0};
        struct sr_log_options options;
        struct sr_log log;
        struct sr_error err;
        sr_log_options_init(&options);
        options.pole_pairs = cases[c].pole_pairs;
        options.speed_scale = cases[c].scale;
        text_add(&text, "t (s),gyro x (deg/s),gyro y (deg/s),gyro z (deg/s),throttle (%%),%s 1,%s 2\n",
                 cases[c].name, cases[c].name);
        for (int i = 0; i < 9000; i++) {
            const bool air = i >= 5000;
            const double speed = air ? cases[c].air : cases[c].ground;
            text_add(&text, "%d.%03d,%d,%d,%d,%d,%g,%g\n", i / 1000, i % 1000, i % 97, i % 91, i % 83,
                     air ? 40 : 0, speed, speed);
        }
        if (text_read(&text, &options, &log, &err) != SR_OK)
            fail_msg("case %zu: %s", c, err.text);
        if (has_note(&log, "too slow for a motor") != (cases[c].says != NULL) ||
            (cases[c].says != NULL && !has_note(&log, cases[c].says)))
            fail_msg("case %zu: not said, or for nothing", c);
        sr_log_release(&log);
        text_free(&text);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(refusals),
        cmocka_unit_test(clock_text_counted),
        cmocka_unit_test(time_without_name),
        cmocka_unit_test(slow_motors),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
