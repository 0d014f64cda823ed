/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The 1x line that a mount may amplify, from the motors' logged speeds: simulated flights whose speed is
 * known, logged as the motors turn, and as electrical speeds of motors with 7 pole pairs.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "sim/flight.h"
#include "stillrow/mount.h"
#include "support/near.h"
#include "support/worked.h"

#define MEAN_HZ (13000.0 / 60) /* told to the simulator, which wanders about it by some 3 % */

/* The 1x line of the table; order 0: none. logged_pairs: what the logged speed is a multiple by, 0: 1. */
static struct sr_mount_line first_order(const struct sim_flight *flight, double logged_pairs,
                                        double rig_pairs)
{
    const struct sim_log_columns columns = {true, true, logged_pairs};
    struct sr_mount_line line = {0};
    struct sr_rig rig;
    struct sr_mount_ask ask;
    struct sr_mount_own own;
    struct sr_mount_table table;

    sr_rig_init(&rig);
    rig.build.blades = 3;
    rig.pole_pairs = rig_pairs;
    rig.mount.shore_a = 60;
    rig.mount.resonance_hz = 80;
    sr_mount_ask_init(&ask);
    struct worked w = work_out(flight, &columns, &rig);
    assert_null(peak_of_order(&w, 1)); /* it is not to be had from the score */
    assert_int_equal(sr_mount_resolve(&own, &rig, NULL, NULL), SR_OK);
    assert_int_equal(sr_mount_table_make(&table, &ask, &own, &w.slices, &w.score, &rig, NULL), SR_OK);
    for (size_t i = 0; i < table.n_lines; i++)
        if (table.lines[i].order == 1)
            line = table.lines[i];
    sr_mount_table_release(&table);
    release(&w);
    return line;
}

static void is_the_motors_speed(struct sr_mount_line line)
{
    assert_near(line.order, 1, 0);
    assert_true(line.low_hz < MEAN_HZ && MEAN_HZ < line.high_hz);
    assert_ratio_near(line.low_hz, MEAN_HZ, 0.1);
    assert_ratio_near(line.high_hz, MEAN_HZ, 0.1);
}

static struct sim_flight balanced(double blade_dps)
{
    struct sim_flight flight = healthy(30);
    flight.blade_dps = blade_dps;
    memset(flight.imbalance_dps, 0, sizeof flight.imbalance_dps);
    return flight;
}

static void test_mechanical_speeds(void **state)
{
    (void)state;
    const struct sim_flight flight = balanced(0);
    is_the_motors_speed(first_order(&flight, 0, 0));
    /* Pole pairs in the rig: the reader of the log has divided by them where it had to. */
    is_the_motors_speed(first_order(&flight, 0, 7));
}

/* The rig does not give the pole pairs: blade pass gives them away, or nothing does, and no line is made up.
 */
static void test_electrical_speeds(void **state)
{
    (void)state;
    const struct sim_flight loud = balanced(60), quiet = balanced(0);
    is_the_motors_speed(first_order(&loud, 7, 0));
    assert_near(first_order(&quiet, 7, 0).order, 0, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_mechanical_speeds),
        cmocka_unit_test(test_electrical_speeds),
    };
    return cmocka_run_group_tests_name("mount lines", tests, NULL, NULL);
}
