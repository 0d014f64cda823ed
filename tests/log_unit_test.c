/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Rates whose unit is not written, and rates that were not logged at all. */
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

#define TURN   6.283185307179586
#define ROWS   16000
#define UP     2000 /* first row in the air */
#define DOWN   14000
#define RADIAN (TURN / 360.0)

/* A flight between two spells on the ground, in deg/s, and how it is written. */
struct plan {
    const char *name;                /* of the columns, an axis letter for the % */
    double motion, vibration, noise; /* [deg/s] amplitude, amplitude, standard deviation */
    double bump;                     /* [deg/s] a knock of 60 ms at the landing */
    double step;                     /* [deg/s] the gyro's count, 0: none */
    bool radians;
    int decimals;
};

static double knock(const struct plan *plan, int i)
{
    return i >= DOWN && i < DOWN + 60 ? plan->bump * sin(TURN / 2.0 * (i - DOWN) / 60.0) : 0.0;
}

static void fly(const struct plan *plan, struct text *text)
{
    static const double share[3] = {0.4, 1.0, 0.6};
    uint64_t seed = 21;

    text_add(text, "time (ms)");
    for (int axis = 0; axis < 3; axis++) {
        const char *mark = strchr(plan->name, '%');
        const char letter = strlen(plan->name) == 1 ? "pqr"[axis] : "xyz"[axis];
        text_add(text, ",%.*s%c%s", (int)(mark - plan->name), plan->name, letter, mark + 1);
    }
    text_add(text, "\n");
    for (int i = 0; i < ROWS; i++) {
        const double up = i >= UP && i < DOWN ? 1.0 : 0.0;
        text_add(text, "%d", i);
        for (int axis = 0; axis < 3; axis++) {
            double x = up * (plan->motion * sin(TURN * 0.0004 * i + axis) +
                             plan->vibration * share[axis] * sin(TURN * 0.170 * i) +
                             plan->noise * sim_normal(&seed)) +
                       0.08 * sim_normal(&seed) + knock(plan, i);
            if (plan->step > 0.0)
                x = round(x / plan->step) * plan->step;
            text_add(text, ",%.*f", plan->decimals, plan->radians ? x * RADIAN : x);
        }
        text_add(text, "\n");
    }
}

/* unit: what it must be read as; NULL: refused, with the way out named. */
static void expect_unit(const struct plan *plan, const char *unit)
{
    struct text text = {0};
    struct sr_log log;
    struct sr_error err;

    fly(plan, &text);
    const enum sr_status status = text_read(&text, NULL, &log, &err);
    if (unit == NULL) {
        if (status != SR_ERR_COLUMNS || strstr(err.text, "give --rate-unit deg/s or rad/s") == NULL)
            fail_msg("'%s' of %g, %g deg/s: not refused, but %s, %s", plan->name, plan->motion,
                     plan->vibration, status == SR_OK ? log.columns.rate[0].unit : "-", err.text);
    } else if (status != SR_OK || strcmp(log.columns.rate[0].unit, unit) != 0) {
        fail_msg("'%s' of %g, %g deg/s: not %s, but %s %s", plan->name, plan->motion, plan->vibration, unit,
                 status == SR_OK ? log.columns.rate[0].unit : "-", err.text);
    } else {
        assert_true(log.columns.rate[0].assumed_unit &&
                    has_note(&log, "no unit is written for the rates: taken as"));
    }
    sr_log_release(&log);
    text_free(&text);
}

/* One hard landing, 16 rad/s for a moment, must not turn the unit of the whole flight over. */
static void hard_landing(void **state)
{
    struct plan plan = {
        .name = "gyro_%", .motion = 12.0, .vibration = 10.0, .noise = 2.0, .radians = true, .decimals = 6};
    (void)state;
    expect_unit(&plan, "rad/s");
    plan.bump = 16.0 / RADIAN;
    expect_unit(&plan, "rad/s");
    plan.radians = false;
    expect_unit(&plan, "deg/s");
}

/* A hover that never exceeds 9 deg/s might be a wild one in rad/s: it is not guessed at. */
static void calm_hover(void **state)
{
    struct plan plan = {.name = "gyro_%", .motion = 2.0, .vibration = 3.0, .noise = 1.0, .decimals = 6};
    struct text text = {0};
    struct sr_log log;
    struct sr_error err;
    struct sr_log_options options;
    (void)state;
    expect_unit(&plan, NULL);
    fly(&plan, &text);
    sr_log_options_init(&options);
    for (int radians = 0; radians < 2; radians++) {
        options.rate_unit = radians ? "rad/s" : "deg/s";
        assert_int_equal(text_read(&text, &options, &log, &err), SR_OK);
        assert_string_equal(log.columns.rate[0].unit, options.rate_unit);
        assert_false(has_note(&log, "no unit is written"));
        sr_log_release(&log);
    }
    text_free(&text);
    plan.radians = true; /* as numbers this is beyond what deg/s can be */
    expect_unit(&plan, "rad/s");
}

/* The gyro's own count tells where the level does not: 2000 deg/s over 15 bits; or one decimal. */
static void step_of_values(void **state)
{
    struct plan plan = {
        .name = "gyro_%", .motion = 2.0, .vibration = 3.0, .noise = 1.0, .step = 0.061, .decimals = 6};
    (void)state;
    expect_unit(&plan, "deg/s");
    plan.step = 0.0;
    plan.decimals = 1;
    expect_unit(&plan, "deg/s");
    plan = (struct plan){.name = "gyro_%",
                         .motion = 60.0,
                         .vibration = 20.0,
                         .noise = 2.0,
                         .step = 0.061,
                         .radians = true,
                         .decimals = 7};
    expect_unit(&plan, "rad/s");
}

/* A log that ends as it takes off is ground to its level; what its last moment reaches, no gyro has in rad/s.
 */
static void take_off_only(void **state)
{
    struct plan plan = {.name = "gyro_%", .bump = 99.0, .decimals = 4};
    (void)state;
    expect_unit(&plan, NULL);
    plan.bump = 50.0; /* but a knock of 50 rad/s there could be */
    expect_unit(&plan, "rad/s");
}

/* The same numbers under other names: formula letters go with rad/s, and none goes against the numbers. */
static void names(void **state)
{
    static const char *const letters[] = {"omega_%", "angular velocity %", "w%", "%"};
    struct plan wild = {.motion = 120.0, .vibration = 60.0, .noise = 3.0, .radians = true, .decimals = 6};
    struct plan loud = {.motion = 180.0, .vibration = 40.0, .noise = 5.0, .decimals = 6};
    (void)state;
    wild.name = "gyro %"; /* peaks of 3 rad/s: as "gyro" they might be a sleepy hover in deg/s */
    expect_unit(&wild, NULL);
    for (size_t i = 0; i < sizeof letters / sizeof letters[0]; i++) {
        wild.name = loud.name = letters[i];
        expect_unit(&wild, "rad/s");
        expect_unit(&loud, "deg/s");
    }
    wild.name = "omega_%"; /* 12 rad/s at times, by a flight of 5 rad/s RMS */
    wild.motion = 380.0;
    expect_unit(&wild, NULL);
}

/* A gyro, or an axis of it, that never moves was not logged. */
static void dead_gyro(void **state)
{
    static const struct {
        const char *still[3]; /* of an axis, NULL: it moves */
        const char *text;
    } cases[] = {{{"0", "0", "-0"}, "the rates never change: the gyro was not logged"},
                 {{"3.3", "-1", "2.5"}, "the rates never change: the gyro was not logged"},
                 {{NULL, "0", NULL}, "the rate in column 3 'gyro y (deg/s)' never changes"},
                 {{"7.25", NULL, NULL}, "the rate in column 2 'gyro x (deg/s)' never changes"}};
    (void)state;
    for (size_t c = 0; c < sizeof cases / sizeof cases[0]; c++) {
        struct text text = {0};
        struct sr_log log;
        struct sr_error err;
        text_add(&text, "time (ms),gyro x (deg/s),gyro y (deg/s),gyro z (deg/s)\n");
        for (int i = 0; i < 4000; i++) {
            text_add(&text, "%d", i);
            for (int axis = 0; axis < 3; axis++)
                if (cases[c].still[axis] != NULL)
                    text_add(&text, ",%s", cases[c].still[axis]);
                else
                    text_add(&text, ",%.2f", 20.0 * sin(TURN * 0.03 * i + axis));
            text_add(&text, "\n");
        }
        assert_int_equal(text_read(&text, NULL, &log, &err), SR_ERR_FORMAT);
        if (strstr(err.text, cases[c].text) == NULL)
            fail_msg("case %zu: %s", c, err.text);
        text_free(&text);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(hard_landing),  cmocka_unit_test(calm_hover), cmocka_unit_test(step_of_values),
        cmocka_unit_test(take_off_only), cmocka_unit_test(names),      cmocka_unit_test(dead_gyro),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
