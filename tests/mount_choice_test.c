/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Which pieces are chosen where some of them resonate with a strong line, and what is said of it. Oracle: the
 * rule of the header written out here, over flights with lines from weak to strong.
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

#include "support/mount_cases.h"
#include "support/near.h"

/* Rumble up to 60 Hz, and a line at 100 Hz of this strength. */
static double line_strength;
static double rumble_and_line(double hz)
{
    return (hz < 60 ? 1 : 1e-5) + (fabs(hz - 100) < 5 ? line_strength : 0);
}

static int mark_at(const struct sr_mount_table *table, size_t i, size_t j)
{
    const struct sr_mount_cell *cell = sr_mount_cell_at(table, i, j);
    return !(cell->line_hz > 0) ? 0 : cell->line_perhaps ? 1 : 2;
}

static double px_at(const struct sr_mount_table *table, size_t i, size_t j)
{
    return sr_mount_cell_at(table, i, j)->wobble_px.value;
}

/* The choice as the header has it, written out: of all within 3 dB of the least, the one marked least. */
static size_t careful_choice(const struct sr_mount_table *table, size_t j)
{
    const size_t n = table->ask.n_shore;
    size_t least = 0;
    for (size_t i = 1; i < n; i++)
        least = px_at(table, i, j) < px_at(table, least, j) ? i : least;
    for (int mark = 0; mark < mark_at(table, least, j); mark++) {
        size_t best = n;
        for (size_t i = 0; i < n; i++)
            if (mark_at(table, i, j) == mark && 20 * log10(px_at(table, i, j) / px_at(table, least, j)) < 3 &&
                (best == n || px_at(table, i, j) < px_at(table, best, j)))
                best = i;
        if (best < n)
            return best;
    }
    return least;
}

/* One temperature's choice, and all that hangs on it. */
static void check_choice(const struct sr_mount_table *table)
{
    const struct sr_mount_pick *pick = &table->picks[0];
    const size_t fit = table->stretches[0].best;
    char advice[SR_MOUNT_ADVICE];

    assert_int_equal(pick->best, careful_choice(table, 0));
    assert_int_equal(table->now_best, pick->best);
    assert_int_equal(table->now_resonates, mark_at(table, pick->best, 0) == 2);
    assert_near(table->now_px, px_at(table, pick->best, 0), 1e-9);
    assert_true(fit == pick->best || (mark_at(table, fit, 0) <= mark_at(table, pick->best, 0) &&
                                      px_at(table, fit, 0) <= 1.0292 * px_at(table, pick->best, 0)));
    assert_true((pick->margin_db < 0) == (pick->best != pick->least));
    assert_false(pick->best != pick->least && pick->sure);

    sr_mount_advice(table, advice, sizeof advice);
    assert_true((strstr(advice, "would make less") != NULL) == (pick->best != pick->least));
    assert_true((strstr(advice, "careful: ") != NULL) == (mark_at(table, fit, 0) > 0));
    if (mark_at(table, fit, 0) > 0 && mark_at(table, pick->unmarked, 0) == 0) {
        char spare[64];
        snprintf(spare, sizeof spare, "%g A, which does not, would make", table->ask.shore_a[pick->unmarked]);
        assert_non_null(strstr(advice, spare));
    }
}

/*
 * Hard pieces pass the rumble on without raising it, but resonate with the line; soft ones the other way
 * round. A weak line: the hard ones would make the least, and are left for others that cost little. Where the
 * others cost 3 dB and more the hard ones stay, with a warning that names the best of the others.
 */
static void test_a_resonance_beside_a_line_is_avoided_where_that_costs_little(void **state)
{
    (void)state;
    const struct sr_mount_ask ask = {
        .shore_a = {40, 50, 60, 70, 80}, .n_shore = 5, .temperature_c = {20}, .n_temperature = 1};
    size_t decided = 0, kept = 0;
    for (double hz = 50; hz <= 100; hz += 10) {
        struct sr_rig rig = mount_case_rig();
        rig.mount.resonance_hz = hz;
        rig.mount.material = SR_MATERIAL_SILICONE;
        for (line_strength = 0.3; line_strength < 30; line_strength *= 2) {
            struct sr_slices slices = mount_case_flight(rumble_and_line);
            struct sr_mount_table table;
            assert_int_equal(mount_case_table(&table, &slices, &rig, &ask, NULL), SR_OK);
            check_choice(&table);
            decided += table.picks[0].best != table.picks[0].least;
            kept += mark_at(&table, table.picks[0].best, 0) == 2 &&
                    mark_at(&table, table.picks[0].unmarked, 0) == 0;
            sr_mount_table_release(&table);
            sr_slices_release(&slices);
        }
    }
    assert_true(decided >= 3 && kept >= 3);
}

/* A trial whose pieces resonate with a strong line says so; one whose do not, does not. */
static void test_a_trial_says_that_its_pieces_resonate(void **state)
{
    (void)state;
    size_t said = 0, quiet = 0;
    for (line_strength = 0.3; line_strength < 30; line_strength *= 2)
        for (double hz = 80; hz <= 200; hz += 20) {
            struct sr_slices slices = mount_case_flight(rumble_and_line);
            struct sr_rig rig = mount_case_rig();
            struct sr_mount_ask ask;
            struct sr_mount_table table;
            struct sr_trial trial;
            bool worth;
            rig.mount.resonance_hz = hz;
            struct sr_score score = mount_case_score(&slices, &rig);
            sr_mount_ask_init(&ask);
            ask.n_temperature = 1;
            ask.temperature_c[0] = rig.mount.temperature_c;
            assert_int_equal(mount_case_table(&table, &slices, &rig, &ask, NULL), SR_OK);
            assert_int_equal(sr_mount_trial(&trial, &worth, &slices, &score, &rig, NULL), SR_OK);
            if (worth) {
                const bool resonates = mark_at(&table, table.picks[0].best, 0) == 2;
                assert_true((strstr(trial.caution, "resonate with a strong line") != NULL) == resonates);
                assert_non_null(strstr(trial.caution, "props off"));
                said += resonates;
                quiet += !resonates;
            }
            sr_mount_table_release(&table);
            sr_score_release(&score);
            sr_slices_release(&slices);
        }
    assert_true(said > 0 && quiet > 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_a_resonance_beside_a_line_is_avoided_where_that_costs_little),
        cmocka_unit_test(test_a_trial_says_that_its_pieces_resonate),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
