/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The mount room: which natural frequency is used, what a view becomes, and the table of
 * what-ifs. Oracles: the transmissibility written out in complex numbers, sums over the
 * spectrum worked out here, and common practice where it is named.
 */
#include <complex.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "stillrow/mount.h"
#include "support/mount_cases.h"
#include "support/near.h"

/* |H|^2 of a mass on a damped spring, from its impedances. */
static double transmitted(double fn_hz, double damping, double hz)
{
    double complex h = (fn_hz * fn_hz + 2 * I * damping * fn_hz * hz) /
                       (fn_hz * fn_hz - hz * hz + 2 * I * damping * fn_hz * hz);
    return creal(h * conj(h));
}

/* Prop wash up to 75 Hz, the 1x line about 230 Hz. */
static double wash_and_line(double hz)
{
    return (hz < 75 ? 0.4 : 1e-4) + (fabs(hz - 230) < 5 ? 60 : 0);
}

static double line_only(double hz)
{
    return 1e-6 + (fabs(hz - 100) < 5 ? 10 : 0);
}

static double flat(double hz)
{
    (void)hz;
    return 0.05;
}

/* Wobble of alike seconds behind |H|^2, summed up here: the pitch gain of the camera times the density. */
static double wobble_behind(double (*density)(double hz), const struct sr_camera *camera, double fn_hz,
                            double damping)
{
    double sum = 0;
    size_t first = (size_t)ceil(sr_band_low_hz(camera, SR_BAND_BEND) / MOUNT_CASE_BIN_HZ - 1e-9);
    for (size_t k = first; k < MOUNT_CASE_BINS; k++) {
        double hz = (double)k * MOUNT_CASE_BIN_HZ;
        sum += density(hz) * sr_camera_wobble_gain(camera, SR_PITCH, hz) * transmitted(fn_hz, damping, hz) *
               MOUNT_CASE_BIN_HZ;
    }
    return sqrt(sum);
}

/* ---- Which natural frequency ---- */

static void give_pieces(struct sr_rig *rig)
{
    rig->mount.count = 4;
    rig->mount.outer_mm = 6;
    rig->mount.thickness_mm = 9;
    rig->mount.camera_g = 30;
}

static void test_measured_beats_identified_beats_pieces(void **state)
{
    (void)state;
    struct sr_rig rig = mount_case_rig();
    struct sr_identified found = {.fn_hz = {70, 68, 72}, .damping = {0.12, 0.11, 0.13}};
    give_pieces(&rig);

    struct sr_mount_own own = mount_case_own(&rig, &found);
    assert_int_equal(own.source, SR_FN_MEASURED);
    assert_near(own.fn_hz.value, 80, 0);
    assert_near(own.damping.value, 0.08, 0);
    assert_non_null(strstr(own.text, "as measured"));
    assert_non_null(strstr(own.text, "does not agree")); /* 70 against 80 */

    rig.mount.resonance_hz = NAN;
    rig.mount.damping = NAN;
    own = mount_case_own(&rig, &found);
    assert_int_equal(own.source, SR_FN_IDENTIFIED);
    assert_near(own.fn_hz.low, 68, 0);
    assert_near(own.damping.high, 0.13, 0);
    assert_false(own.damping_assumed);

    own = mount_case_own(&rig, NULL);
    assert_int_equal(own.source, SR_FN_GEOMETRY);
    assert_true(own.fn_hz.high / own.fn_hz.low > 1.5);
    assert_true(own.damping_assumed);
    assert_non_null(strstr(own.text, "damping ratio assumed"));

    rig.mount.count = 0;
    own = mount_case_own(&rig, NULL);
    assert_int_equal(own.source, SR_FN_NONE);
    assert_true(isnan(own.fn_hz.value));
    assert_non_null(strstr(own.text, "resonance_hz"));
    assert_string_equal(sr_fn_source_name(SR_FN_MEASURED), "measured");
}

static void test_impossible_pieces_are_an_error(void **state)
{
    (void)state;
    struct sr_rig rig = mount_case_rig();
    struct sr_mount_own own = {.shore_a = 7};
    give_pieces(&rig);
    rig.mount.resonance_hz = NAN;
    rig.mount.inner_mm = 7;
    assert_int_equal(sr_mount_resolve(&own, &rig, NULL, NULL), SR_ERR_ARGUMENT);
    assert_near(own.shore_a, 7, 0);
}

/* fn goes with the square root of the modulus: 60 to 50 A is Gent's 2.4558 / 3.6049 MPa. */
static void test_scale(void **state)
{
    (void)state;
    struct sr_rig rig = mount_case_rig();
    struct sr_mount_own own = mount_case_own(&rig, NULL);
    struct sr_mount_other other;
    assert_int_equal(sr_mount_scale(&other, &own, 50, 20, NULL), SR_OK);
    assert_near(other.fn_hz.value, 80 * sqrt(2.45581 / 3.60492), 0.01);
    assert_true(other.fn_hz.low < other.fn_hz.value && other.fn_hz.value < other.fn_hz.high);

    /* The own pieces at their own temperature: only the reading's own doubt is left. */
    assert_int_equal(sr_mount_scale(&other, &own, 60, 20, NULL), SR_OK);
    assert_near(other.fn_hz.value, 80, 1e-9);
    assert_near(other.fn_hz.high, 80 * 1.03, 1e-9);

    /* kappa 1 %/K over -15 K: e^0.15 in modulus, its root in frequency. */
    rig.mount.kappa = 0.01;
    own = mount_case_own(&rig, NULL);
    assert_int_equal(sr_mount_scale(&other, &own, NAN, 5, NULL), SR_OK);
    assert_near(other.fn_hz.value, 80 * 1.0778842, 1e-5);

    /* A modulus given: Gent's for the new hardness over it. */
    rig.mount.modulus_mpa = 4;
    own = mount_case_own(&rig, NULL);
    assert_int_equal(sr_mount_scale(&other, &own, 50, 20, NULL), SR_OK);
    assert_near(other.hardness_ratio.value, 2.45581 / 4, 1e-5);
    assert_near(other.hardness_ratio.high, 1.5 * 2.45581 / 4, 1e-5);

    struct sr_error err;
    assert_int_equal(sr_mount_scale(&other, &own, 90, 20, &err), SR_ERR_ARGUMENT);
    rig.mount.modulus_mpa = rig.mount.shore_a = NAN;
    own = mount_case_own(&rig, NULL);
    assert_int_equal(sr_mount_scale(&other, &own, 50, 20, &err), SR_ERR_DATA);
    assert_non_null(strstr(err.text, "shore_a"));
    rig.mount.resonance_hz = NAN;
    own = mount_case_own(&rig, NULL);
    assert_int_equal(sr_mount_scale(&other, &own, NAN, 20, &err), SR_ERR_DATA);
    assert_non_null(strstr(err.text, "resonance_hz"));
}

/* ---- Apply ---- */

static double gain_ratio(const struct sr_slices *slices, const struct sr_rig *rig, double hz, char *text,
                         size_t size)
{
    struct sr_view bare, through;
    assert_int_equal(sr_view_init(&bare, slices, &rig->camera, NULL), SR_OK);
    assert_int_equal(sr_view_init(&through, slices, &rig->camera, NULL), SR_OK);
    assert_int_equal(sr_mount_apply(&through, rig, text, size, NULL), SR_OK);
    size_t k = (size_t)lround(hz / MOUNT_CASE_BIN_HZ);
    double ratio = through.wobble[SR_PITCH][k] / bare.wobble[SR_PITCH][k];
    assert_near(through.smear[SR_ROLL][k] / bare.smear[SR_ROLL][k], ratio, 1e-12);
    sr_view_release(&bare);
    sr_view_release(&through);
    return ratio;
}

static void test_apply(void **state)
{
    (void)state;
    char text[SR_MOUNT_TEXT];
    struct sr_slices slices = mount_case_flight(flat);
    struct sr_rig rig = mount_case_rig();

    assert_ratio_near(gain_ratio(&slices, &rig, 230, text, sizeof text), transmitted(80, 0.08, 230), 2e-3);
    assert_ratio_near(gain_ratio(&slices, &rig, 80, NULL, 0), transmitted(80, 0.08, 80), 1e-2);
    assert_non_null(strstr(text, "80 Hz as measured"));

    /* Behind the mount already. */
    rig.gyro_side = SR_GYRO_CAMERA;
    assert_near(gain_ratio(&slices, &rig, 230, text, sizeof text), 1, 0);
    assert_string_equal(text, "");

    /* A guess from the pieces is no ground for a score. */
    rig.gyro_side = SR_GYRO_FRAME;
    rig.mount.resonance_hz = NAN;
    give_pieces(&rig);
    assert_near(gain_ratio(&slices, &rig, 230, text, sizeof text), 1, 0);
    assert_non_null(strstr(text, "fixed to the frame"));
    /* Nor are pieces that do not tell a frequency, and they are not passed over in silence. */
    rig.mount.count = 0;
    assert_near(gain_ratio(&slices, &rig, 230, text, sizeof text), 1, 0);
    assert_non_null(strstr(text, "natural frequency is not known"));
    rig.gyro_side = SR_GYRO_CAMERA;
    assert_near(gain_ratio(&slices, &rig, 230, text, sizeof text), 1, 0);
    assert_string_equal(text, "");
    rig.gyro_side = SR_GYRO_FRAME;
    sr_rig_init(&rig);
    assert_near(gain_ratio(&slices, &rig, 230, text, sizeof text), 1, 0);
    assert_string_equal(text, "");

    /* A soft controller: its own |H|^2 undone, where that is more than a tenth. */
    rig.mount.fc_resonance_hz = 120;
    rig.mount.fc_damping = 0.1;
    assert_ratio_near(gain_ratio(&slices, &rig, 100, text, sizeof text), 1 / transmitted(120, 0.1, 100),
                      2e-3);
    assert_near(gain_ratio(&slices, &rig, 600, text, sizeof text), 10, 1e-9);
    assert_non_null(strstr(text, "10 dB"));
    sr_slices_release(&slices);
}

/* ---- The table ---- */

static void test_cells_are_the_flight_behind_each_mount(void **state)
{
    (void)state;
    struct sr_slices slices = mount_case_flight(wash_and_line);
    struct sr_rig rig = mount_case_rig();
    struct sr_mount_ask ask;
    struct sr_mount_table table;
    sr_mount_ask_init(&ask);
    assert_int_equal(mount_case_table(&table, &slices, &rig, &ask, NULL), SR_OK);

    for (size_t j = 0; j < ask.n_temperature; j++) {
        for (size_t i = 0; i < ask.n_shore; i++) {
            const struct sr_mount_cell *cell = sr_mount_cell_at(&table, i, j);
            assert_true(cell->known);
            assert_ratio_near(cell->wobble_px.value,
                              wobble_behind(wash_and_line, &rig.camera, cell->fn_hz.value, 0.08), 5e-3);
            /* The ends of the range of fn are within the interval, one doubt at a time being tried. */
            assert_true(cell->wobble_px.low <= cell->wobble_px.value &&
                        cell->wobble_px.value <= cell->wobble_px.high);
        }
    }
    assert_ratio_near(table.own_px.value, wobble_behind(wash_and_line, &rig.camera, 80, 0.08), 5e-3);
    /* 60 A at 20 C are the own pieces: nothing but the reading's own 3 % is in doubt. */
    double low = wobble_behind(wash_and_line, &rig.camera, 80 * 0.97, 0.08);
    double high = wobble_behind(wash_and_line, &rig.camera, 80 * 1.03, 0.08);
    assert_ratio_near(table.own_px.low, fmin(fmin(low, high), table.own_px.value), 0.01);
    assert_ratio_near(table.own_px.high, fmax(fmax(low, high), table.own_px.value), 0.01);
    sr_mount_table_release(&table);
    sr_slices_release(&slices);
}

/* Gyro on the camera: what it logged, times the ratio of the mounts. */
static double behind_own(double hz)
{
    return wash_and_line(hz) * transmitted(80, 0.08, hz);
}

static void test_either_side_gives_the_same_answer(void **state)
{
    (void)state;
    struct sr_slices frame = mount_case_flight(wash_and_line), camera = mount_case_flight(behind_own);
    struct sr_rig rig = mount_case_rig(), clean = mount_case_rig();
    struct sr_mount_ask ask;
    struct sr_mount_table a, b;
    clean.gyro_side = SR_GYRO_CAMERA;
    sr_mount_ask_init(&ask);
    assert_int_equal(mount_case_table(&a, &frame, &rig, &ask, NULL), SR_OK);
    assert_int_equal(mount_case_table(&b, &camera, &clean, &ask, NULL), SR_OK);
    for (size_t i = 0; i < ask.n_shore * ask.n_temperature; i++)
        assert_ratio_near(b.cells[i].wobble_px.value, a.cells[i].wobble_px.value, 0.02);
    /* The own pieces come out as flown, exactly, and without any doubt but the flight's own. */
    struct sr_score score = mount_case_score(&camera, &clean);
    assert_ratio_near(b.own_px.value, score.wobble_px.value, 1e-9);
    assert_ratio_near(b.own_px.low, score.wobble_px.low, 1e-9);
    assert_ratio_near(b.own_px.high, score.wobble_px.high, 1e-9);
    /* The hump of the own resonance is a peak of what the camera felt, but no line of the frame. */
    assert_true(score.n_peaks >= 1 && score.peaks[0].hz > 60 && score.peaks[0].hz < 100);
    assert_true(a.n_lines >= 1);
    for (size_t i = 0; i < b.n_lines; i++)
        assert_true(b.lines[i].low_hz > 100);
    sr_score_release(&score);
    sr_mount_table_release(&a);
    sr_mount_table_release(&b);
    sr_slices_release(&frame);
    sr_slices_release(&camera);
}

/*
 * Common practice: rubber stiffens in the cold, so the pick moves to softer pieces there, and to stiffer
 * ones in the heat.
 */
static void test_the_pick_moves_softer_in_the_cold(void **state)
{
    (void)state;
    const enum sr_material materials[] = {SR_MATERIAL_TPU, SR_MATERIAL_UNKNOWN};
    struct sr_slices slices = mount_case_flight(wash_and_line);
    for (int m = 0; m < 2; m++) {
        struct sr_rig rig = mount_case_rig();
        struct sr_mount_ask ask;
        struct sr_mount_table table;
        char advice[SR_MOUNT_ADVICE];
        rig.mount.material = materials[m];
        rig.mount.resonance_hz = 110;
        sr_mount_ask_init(&ask);
        assert_int_equal(mount_case_table(&table, &slices, &rig, &ask, NULL), SR_OK);
        size_t coldest = table.picks[0].best, hottest = table.picks[ask.n_temperature - 1].best;
        for (size_t j = 1; j < ask.n_temperature; j++)
            assert_true(table.picks[j].best >= table.picks[j - 1].best);
        assert_true(ask.shore_a[coldest] < ask.shore_a[hottest]);

        /* The stretches go softer to harder, end to end, and hold nothing worse than 0.25 dB. */
        assert_true(table.n_stretches >= (materials[m] == SR_MATERIAL_TPU ? 2 : 1));
        assert_near(table.stretches[0].from_c, -5, 0);
        assert_near(table.stretches[table.n_stretches - 1].to_c, 35, 0);
        for (size_t s = 1; s < table.n_stretches; s++) {
            assert_near(table.stretches[s].from_c, table.stretches[s - 1].to_c + 1, 1e-9);
            assert_true(table.stretches[s].best > table.stretches[s - 1].best);
        }
        for (size_t j = 0; j < ask.n_temperature; j++) {
            size_t s = 0;
            while (ask.temperature_c[j] > table.stretches[s].to_c)
                s++;
            double least = sr_mount_cell_at(&table, table.picks[j].best, j)->wobble_px.value;
            assert_true(sr_mount_cell_at(&table, table.stretches[s].best, j)->wobble_px.value <=
                        1.0292 * least);
        }

        /* Each pick is the least of its row, by the sums worked out here. */
        for (size_t j = 0; j < ask.n_temperature; j++) {
            double best = wobble_behind(wash_and_line, &rig.camera,
                                        sr_mount_cell_at(&table, table.picks[j].best, j)->fn_hz.value, 0.08);
            for (size_t i = 0; i < ask.n_shore; i++)
                assert_true(best <= 1.01 * wobble_behind(wash_and_line, &rig.camera,
                                                         sr_mount_cell_at(&table, i, j)->fn_hz.value, 0.08));
        }
        sr_mount_advice(&table, advice, sizeof advice);
        assert_non_null(strstr(advice, "fit "));
        assert_non_null(strstr(advice, "from -5 to "));
        sr_mount_table_release(&table);
    }
    sr_slices_release(&slices);
}

/* A line at 100 Hz: 3 dB and more where |H|^2 >= 2 by the formula written out here. */
static void test_resonance_near_a_line_is_flagged(void **state)
{
    (void)state;
    struct sr_slices slices = mount_case_flight(line_only);
    struct sr_rig rig = mount_case_rig();
    struct sr_mount_ask ask;
    struct sr_mount_table table;
    bool flagged = false, free_of_it = false;
    sr_mount_ask_init(&ask);
    assert_int_equal(mount_case_table(&table, &slices, &rig, &ask, NULL), SR_OK);
    assert_true(table.n_lines >= 1);
    for (size_t i = 0; i < ask.n_shore * ask.n_temperature; i++) {
        const struct sr_mount_cell *cell = &table.cells[i];
        double least = INFINITY, most = 0;
        for (double hz = 94; hz <= 106; hz += 0.5) {
            most = fmax(most, transmitted(cell->fn_hz.value, 0.08, hz));
            least = fmin(least, transmitted(cell->fn_hz.value, 0.08, hz));
        }
        if (least >= 2) {
            flagged = true;
            assert_false(cell->line_perhaps);
            assert_near(cell->line_hz, 100, 6);
            assert_true(cell->line_db >= 3);
        } else if (most < 1.9 && !cell->line_perhaps) {
            free_of_it = true;
            assert_near(cell->line_hz, 0, 0);
        }
    }
    assert_true(flagged && free_of_it);
    sr_mount_table_release(&table);

    sr_slices_release(&slices);
}

static bool noted(const struct sr_mount_table *table, const char *word)
{
    for (size_t i = 0; i < table->n_notes; i++)
        if (strstr(table->notes[i], word) != NULL)
            return true;
    return false;
}

static void test_what_is_assumed_is_said(void **state)
{
    (void)state;
    struct sr_slices slices = mount_case_flight(wash_and_line);
    struct sr_rig rig = mount_case_rig();
    struct sr_mount_ask ask;
    struct sr_mount_table table;
    sr_mount_ask_init(&ask);
    ask.temperature_c[0] = -40; /* TPU has no number there */
    rig.mount.temperature_c = NAN;
    rig.mount.damping = NAN;
    assert_int_equal(mount_case_table(&table, &slices, &rig, &ask, NULL), SR_OK);
    assert_true(noted(&table, "as measured"));
    assert_true(noted(&table, "damping ratio assumed"));
    assert_true(noted(&table, "20 C assumed"));
    assert_true(noted(&table, "Gent"));
    assert_true(noted(&table, "glass transition"));
    assert_true(noted(&table, "left out"));
    assert_false(table.picks[0].known);
    assert_false(sr_mount_cell_at(&table, 0, 0)->known);
    assert_true(isnan(sr_mount_cell_at(&table, 0, 0)->wobble_px.value));
    assert_true(table.picks[1].known);
    assert_near(table.stretches[0].from_c, -25, 0);
    sr_mount_table_release(&table);

    /* A camera-side log of noise above 120 Hz: stiffer pieces would raise that noise, and it says so. */
    rig = mount_case_rig();
    rig.gyro_side = SR_GYRO_CAMERA;
    rig.mount.resonance_hz = 30;
    struct sr_slices noise = mount_case_flight(flat);
    sr_mount_ask_init(&ask);
    assert_int_equal(mount_case_table(&table, &noise, &rig, &ask, NULL), SR_OK);
    assert_true(noted(&table, "little but noise"));
    sr_mount_table_release(&table);
    sr_slices_release(&noise);
    sr_slices_release(&slices);
}

static void test_bad_questions_are_refused(void **state)
{
    (void)state;
    struct sr_slices slices = mount_case_flight(flat);
    struct sr_rig rig = mount_case_rig();
    struct sr_mount_ask ask;
    struct sr_mount_table table = {.n_lines = 77};
    struct sr_error err;

    sr_mount_ask_init(&ask);
    ask.n_shore = 0;
    assert_int_equal(mount_case_table(&table, &slices, &rig, &ask, &err), SR_ERR_ARGUMENT);
    sr_mount_ask_init(&ask);
    ask.n_temperature = SR_TEMPERATURES_MAX + 1;
    assert_int_equal(mount_case_table(&table, &slices, &rig, &ask, &err), SR_ERR_ARGUMENT);
    sr_mount_ask_init(&ask);
    ask.temperature_c[2] = 5;
    assert_int_equal(mount_case_table(&table, &slices, &rig, &ask, &err), SR_ERR_ARGUMENT);
    sr_mount_ask_init(&ask);
    ask.shore_a[1] = 95;
    assert_int_equal(mount_case_table(&table, &slices, &rig, &ask, &err), SR_ERR_ARGUMENT);

    sr_mount_ask_init(&ask);
    rig.mount.shore_a = NAN;
    assert_int_equal(mount_case_table(&table, &slices, &rig, &ask, &err), SR_ERR_DATA);
    rig.mount.resonance_hz = NAN;
    assert_int_equal(mount_case_table(&table, &slices, &rig, &ask, &err), SR_ERR_DATA);
    assert_non_null(strstr(err.text, "resonance_hz"));

    rig = mount_case_rig();
    struct sr_mount_own own = mount_case_own(&rig, NULL);
    struct sr_score score = mount_case_score(&slices, &rig);
    slices.count--;
    assert_int_equal(sr_mount_table_make(&table, &ask, &own, &slices, &score, &rig, &err), SR_ERR_ARGUMENT);
    slices.count++;
    assert_int_equal(table.n_lines, 77);
    sr_score_release(&score);
    sr_slices_release(&slices);
}

/* ---- As something to try ---- */

static void test_trial(void **state)
{
    (void)state;
    struct sr_slices slices = mount_case_flight(wash_and_line);
    struct sr_rig rig = mount_case_rig();
    struct sr_trial trial = {.mode = 77};
    bool worth = false;

    /* 80 A pieces at 120 Hz pass the 230 Hz line on: softer ones are worth trying. */
    rig.mount.shore_a = 80;
    rig.mount.resonance_hz = 150;
    struct sr_score score = mount_case_score(&slices, &rig);
    assert_int_equal(sr_mount_trial(&trial, &worth, &slices, &score, &rig, NULL), SR_OK);
    assert_true(worth);
    assert_int_equal(trial.kind, SR_TRIAL_MOUNT);
    assert_int_equal(trial.peak, -1);
    assert_non_null(strstr(trial.what, " A pieces"));
    double now = wobble_behind(wash_and_line, &rig.camera, 150, 0.08);
    assert_near(trial.gain_db, 20 * log10(now / trial.wobble_px), 0.05);
    assert_true(trial.gain_db > 0.5 && trial.smear_px > 0);

    /* The best already, or nothing known: nothing to try. */
    trial.mode = 77;
    rig.mount.resonance_hz = NAN;
    assert_int_equal(sr_mount_trial(&trial, &worth, &slices, &score, &rig, NULL), SR_OK);
    assert_false(worth);
    give_pieces(&rig); /* a guess, which the score does not hold */
    assert_int_equal(sr_mount_trial(&trial, &worth, &slices, &score, &rig, NULL), SR_OK);
    assert_false(worth);
    rig.mount.resonance_hz = 150;
    rig.mount.shore_a = NAN;
    assert_int_equal(sr_mount_trial(&trial, &worth, &slices, &score, &rig, NULL), SR_OK);
    assert_false(worth);
    assert_int_equal(trial.mode, 77);
    sr_score_release(&score);
    sr_slices_release(&slices);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_measured_beats_identified_beats_pieces),
        cmocka_unit_test(test_impossible_pieces_are_an_error),
        cmocka_unit_test(test_scale),
        cmocka_unit_test(test_apply),
        cmocka_unit_test(test_cells_are_the_flight_behind_each_mount),
        cmocka_unit_test(test_either_side_gives_the_same_answer),
        cmocka_unit_test(test_the_pick_moves_softer_in_the_cold),
        cmocka_unit_test(test_resonance_near_a_line_is_flagged),
        cmocka_unit_test(test_what_is_assumed_is_said),
        cmocka_unit_test(test_bad_questions_are_refused),
        cmocka_unit_test(test_trial),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
