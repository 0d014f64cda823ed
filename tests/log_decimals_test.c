/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Commas that part columns and commas that are decimal marks, in one file: the numbers
 * of a flight are written both ways, and what one of them would be taken for is known.
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

#include "stillrow/log.h"
#include "support/text_log.h"

#define TURN 6.283185307179586
#define ROWS 5000 /* at 1 kHz */

/* How a row is written: one letter a field. */
static void add_field(struct text *text, char kind, int i, int digits)
{
    const double t = i / 1000.0;
    const double scale = t < 1.0 ? 0.05 : 1.0; /* on the ground for a second */
    char number[64];

    switch (kind) {
    case 'u': /* time in whole microseconds */
        text_add(text, "%d", 1000 * i);
        return;
    case 's': /* time in seconds, with digits */
        snprintf(number, sizeof number, "%.3f", t);
        break;
    case 'd': /* year, month … millisecond */
        text_add(text, "2031,06,14,08,05,%02d,%03d", i / 1000, i % 1000);
        return;
    case 'n': /* a counter that is padded */
        text_add(text, "%05d", i);
        return;
    case 'f': /* a flag */
        text_add(text, "%d", i / 700 % 2);
        return;
    case 'm': /* a mode of flight */
        text_add(text, "%d", i / 300 % 5);
        return;
    case 'w':
        text_add(text, "READY");
        return;
    case 'r': /* a slow number */
        text_add(text, "%d", 1400 + (int)(200.0 * sin(t)));
        return;
    case 'X':
    case 'Y':
    case 'Z': /* whole rates */
        text_add(text, "%.0f",
                 scale * (40.0 * sin(TURN * 83.0 * t + kind) + 60.0 * sin(TURN * 0.7 * t + kind)));
        return;
    case 'x':
    case 'y':
    case 'z': /* rates with digits; below 0: so many, and zeros at the end are left out */
        snprintf(number, sizeof number, "%.*f", abs(digits),
                 scale * (40.0 * sin(TURN * 83.0 * t + kind) + 60.0 * sin(TURN * 0.7 * t + kind)));
        break;
    default:
        fail_msg("no such field: %c", kind);
    }
    char *mark = strchr(number, '.');
    size_t n = strlen(number);
    while (digits < 0 && number[n - 1] == '0')
        number[--n] = '\0';
    if (number[n - 1] == '.')
        number[--n] = '\0';
    else
        *mark = ',';
    text_add(text, "%s", number);
}

static void make(struct text *text, const char *header, const char *fields, int digits)
{
    text_add(text, "%s", header);
    for (int i = 0; i < ROWS; i++) {
        for (const char *kind = fields; *kind != '\0'; kind++) {
            add_field(text, *kind, i, digits);
            text_add(text, kind[1] != '\0' ? "," : "\n");
        }
    }
}

static enum sr_status read_it(const struct text *text, const char *columns, struct sr_log *log,
                              struct sr_error *err)
{
    struct sr_log_options options;

    sr_log_options_init(&options);
    options.columns = columns;
    options.rate_unit = "deg/s";
    if (strstr(columns, "time") == NULL)
        options.sample_rate_hz = 1000.0;
    return text_read(text, &options, log, err);
}

/* Decimal commas that fell apart are refused, whichever of the pieces are asked for. */
static void bare(void **state)
{
    static const struct {
        const char *header, *fields, *columns;
        int digits;
    } cases[] = {
        {"", "sxyz", "time=1,x=2,y=3,z=4", 3},
        {"", "sxyz", "time=1,x=3,y=5,z=7", 3}, /* the whole parts */
        {"", "sxyz", "time=2,x=4,y=6,z=8", 3},
        {"", "sxyz", "time=1,x=2,y=3,z=4", 1},
        {"", "sxyz", "time=1,x=2,y=3,z=4", -2}, /* 5 and 5,1 and 5,25: rows of many lengths */
        {"", "sxyz", "time=1,x=2,y=3,z=4", -4},
        {"", "uxyz", "time=1,x=2,y=3,z=4", 1},
        {"", "uxyz", "time=1,x=2,y=4,z=6", 1},
        {"", "uxyz", "time=1,x=2,y=3,z=4", 2},
        {"", "xyz", "x=1,y=2,z=3", 2},
        {"", "xyz", "x=1,y=3,z=5", 1},
        {"", "sXYZ", "time=1,x=2,y=3,z=4", 3}, /* the time alone */
        {"", "sfrxyzrrm", "time=1,x=4,y=5,z=6", 2},
        {"", "swxyzw", "time=1,x=4,y=5,z=6", 2},
        {"a,b,c,d\n", "sxyz", "time=1,x=2,y=3,z=4", 3},
        {"a,b,c,d\n", "uxyz", "time=1,x=2,y=3,z=4", 1},
        {"t,gx,gy,gz\n", "sxyz", "time=t,x=gx,y=gy,z=gz", -1},
        {"t,gx,gy,gz,mode\n", "sxyzw", "time=t,x=gx,y=gy,z=gz", 2}, /* a word among them */
        {"t,gx,gy,gz\n", "sXYZ", "time=t,x=gx,y=gy,z=gz", 3},
    };
    (void)state;
    for (size_t c = 0; c < sizeof cases / sizeof cases[0]; c++) {
        struct text text = {0};
        struct sr_log log;
        struct sr_error err;
        make(&text, cases[c].header, cases[c].fields, cases[c].digits);
        const enum sr_status status = read_it(&text, cases[c].columns, &log, &err);
        if (status != SR_ERR_COLUMNS || strstr(err.text, "decimal commas fall apart") == NULL)
            fail_msg("case %zu: status %d, '%s'", c, (int)status, err.text);
        sr_log_release(&log);
        text_free(&text);
    }
}

/* Whole numbers alone are no decimal commas; where that cannot be told, a note says what was taken. */
static void honest(void **state)
{
    static const struct {
        const char *header, *fields, *columns;
        bool noted;
    } cases[] = {
        {"", "uXYZ", "time=1,x=2,y=3,z=4", false},
        {"", "XYZ", "x=1,y=2,z=3", false},
        {"", "uXYZrrrrmmffrrrrXYZrrrrmmffrrrrXYZrrrrww", "time=1,x=2,y=3,z=4", false},
        {"", "dXYZrrn", "x=8,y=9,z=10", false}, /* the zeros of a date, a clock and a counter */
        {"", "ndXYZrmn", "x=9,y=10,z=11", false},
        {"", "uXfYfZ", "time=1,x=2,y=4,z=6", true},
        {"", "uXrYrZr", "time=1,x=2,y=4,z=6", true},
        {"c1,c2,c3,c4,c5,c6\n", "uXrYrZ", "time=1,x=2,y=4,z=6",
         false},                                                     /* so many names: nothing fell apart */
        {"t,gx,gy,gz\n", "uXYZrmf", "time=t,x=gx,y=gy,z=gz", false}, /* three columns that nobody named */
        {"t,gx,gy,gz\n", "uXYZrmf", "time=1,x=2,y=3,z=4", false},
    };
    (void)state;
    for (size_t c = 0; c < sizeof cases / sizeof cases[0]; c++) {
        struct text text = {0};
        struct sr_log log;
        struct sr_error err;
        make(&text, cases[c].header, cases[c].fields, 0);
        const enum sr_status status = read_it(&text, cases[c].columns, &log, &err);
        if (status != SR_OK || has_note(&log, "comma is taken to part two columns") != cases[c].noted)
            fail_msg("case %zu: status %d, '%s'", c, (int)status, err.text);
        assert_int_equal(log.count, ROWS);
        for (size_t i = 0; i < log.count; i += 97) {
            struct text field = {0};
            add_field(&field, 'Y', (int)i, 0);
            if (log.gyro_dps[1][i] != strtod(field.bytes, NULL))
                fail_msg("case %zu, row %zu: %g is not %s", c, i, log.gyro_dps[1][i], field.bytes);
            text_free(&field);
        }
        sr_log_release(&log);
        text_free(&text);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(bare),
        cmocka_unit_test(honest),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
