/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The lines that a mount may amplify: simulated flights whose speed is known. Those of the score, named as
 * there; and where none of them is 1x, that from the motors' logged speeds, logged as the motors turn, and as
 * electrical speeds of motors with 7 pole pairs.
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

static void make_table(struct sr_mount_table *table, const struct worked *w)
{
    struct sr_mount_ask ask;
    struct sr_mount_own own;

    sr_mount_ask_init(&ask);
    assert_int_equal(sr_mount_resolve(&own, &w->rig, NULL, NULL), SR_OK);
    assert_int_equal(sr_mount_table_make(table, &ask, &own, &w->slices, &w->score, &w->rig, NULL), SR_OK);
}

static struct worked fly(const struct sim_flight *flight, double logged_pairs, double rig_pairs)
{
    const struct sim_log_columns columns = {true, true, logged_pairs};
    struct sr_rig rig;

    sr_rig_init(&rig);
    rig.build.blades = 3;
    rig.pole_pairs = rig_pairs;
    rig.mount.shore_a = 60;
    rig.mount.resonance_hz = 80;
    return work_out(flight, &columns, &rig);
}

/* The 1x line of the table; order 0: none. logged_pairs: what the logged speed is a multiple by, 0: 1. */
static struct sr_mount_line first_order(const struct sim_flight *flight, double logged_pairs,
                                        double rig_pairs)
{
    struct sr_mount_line line = {0};
    struct sr_mount_table table;
    struct worked w = fly(flight, logged_pairs, rig_pairs);

    assert_null(peak_of_order(&w, 1)); /* it is not to be had from the score */
    make_table(&table, &w);
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

/*
 * The motors speed up as the craft takes off, and the peak's bins reach down to where they came from. The
 * line is where it was flown, and has the score's frequency.
 */
static void test_take_off_is_no_line(void **state)
{
    (void)state;
    const double flown_hz = 5100.0 / 60;
    struct sr_mount_table table;
    struct sim_flight flight = healthy(20);
    flight.ground_s = 2;
    flight.profile = SIM_HOVER;
    flight.hover_rpm = 5100;
    for (int k = 0; k < SIM_MOTORS; k++)
        flight.imbalance_dps[k] = 15;
    struct worked w = fly(&flight, 0, 0);
    const struct sr_peak *peak = &w.score.peaks[0];

    assert_true(w.score.n_peaks > 0);
    assert_ratio_near(peak->hz, flown_hz, 0.05);
    assert_true((double)peak->low_bin * w.slices.bin_hz < 0.8 * flown_hz);
    make_table(&table, &w);
    const struct sr_mount_line *line = &table.lines[0];
    assert_near(line->hz, peak->hz, 0);
    assert_ratio_near(line->low_hz, flown_hz, 0.1);
    assert_ratio_near(line->high_hz, flown_hz, 0.1);
    assert_true(line->low_hz <= line->hz && line->hz <= line->high_hz);
    sr_mount_table_release(&table);
    release(&w);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_mechanical_speeds),
        cmocka_unit_test(test_electrical_speeds),
        cmocka_unit_test(test_take_off_is_no_line),
    };
    return cmocka_run_group_tests_name("mount lines", tests, NULL, NULL);
}
