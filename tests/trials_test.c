/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What another setting of the camera would do. Oracle: the score of the same slices through the camera that
 * the trial asks for. What taking out a line would do is held to flights in tests/support/cause_cases.c,
 * tests/shapes_test.c and tests/crossing_test.c.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "support/near.h"
#include "support/worked.h"

static const struct sr_trial *trial_of(const struct sr_trial *trials, size_t count, enum sr_trial_kind kind,
                                       int index)
{
    for (size_t k = 0; k < count; k++)
        if (trials[k].kind == kind && (kind == SR_TRIAL_REMOVE ? trials[k].peak : trials[k].mode) == index)
            return &trials[k];
    return NULL;
}

/* Exposure and modes, against scoring the slices with that camera. */
static void test_camera_trials(void **state)
{
    (void)state;
    struct sim_flight flight = healthy(30);
    flight.imbalance_dps[0] = 15;
    struct sr_rig rig;
    sr_rig_init(&rig);
    rig.n_modes = 1;
    strcpy(rig.modes[0].name, "fast");
    rig.modes[0].camera = rig.camera;
    rig.modes[0].camera.width_px = 1280;
    rig.modes[0].camera.height_px = 720;
    rig.modes[0].camera.fps = 120;
    rig.modes[0].camera.readout_s = 0.008;
    struct worked w = work_out(&flight, NULL, &rig);
    struct sr_trial trials[SR_TRIALS_MAX];
    size_t count = 0;
    assert_int_equal(sr_trials_make(trials, &count, &w.score, &w.causes, &w.slices, &w.view, &w.rig, NULL),
                     SR_OK);
    for (size_t k = 1; k < count; k++)
        assert_true(trials[k - 1].wobble_px <= trials[k].wobble_px);

    struct sr_camera cameras[2] = {rig.camera, rig.modes[0].camera};
    cameras[0].exposure_s = 1.0 / 120; /* half of 1/60 s */
    for (int c = 0; c < 2; c++) {
        struct sr_view view;
        struct sr_score score;
        const struct sr_trial *trial =
            trial_of(trials, count, c == 0 ? SR_TRIAL_EXPOSURE : SR_TRIAL_MODE, c == 0 ? -1 : 0);
        assert_non_null(trial);
        assert_int_equal(sr_view_init(&view, &w.slices, &cameras[c], NULL), SR_OK);
        assert_int_equal(sr_score_make(&score, &w.slices, &view, 0.2, NULL), SR_OK);
        assert_ratio_near(trial->wobble_px, score.wobble_px.value, 1e-9);
        assert_ratio_near(trial->smear_px, score.smear_px, 1e-9);
        assert_near(trial->exposure_s, cameras[c].exposure_s, 1e-12);
        if (c == 0) {
            /* 1 ms to 8.33 ms is log2(8.33) stops. */
            assert_near(trial->nd_stops, 3.0589, 1e-4);
            assert_non_null(strstr(trial->caution, "ND filter of 3.1 stops"));
            assert_int_equal(trial->clears, score.wobble_px.value < 0.2);
        } else {
            /* No threshold in the rig: the mode's own default, W / 1920. */
            assert_int_equal(trial->clears, score.wobble_px.value < 1280.0 / 1920);
        }
        sr_score_release(&score);
        sr_view_release(&view);
    }
    release(&w);
}

/* A mount laid over the view stays in what other settings are predicted to do. */
static void test_camera_trials_keep_the_mount(void **state)
{
    (void)state;
    struct sim_flight flight = healthy(30);
    flight.imbalance_dps[0] = 15;
    struct worked w = work_out(&flight, NULL, NULL), mounted = w;
    double *quarter = calloc(w.slices.bins, sizeof *quarter);
    struct sr_trial plain[SR_TRIALS_MAX], soft[SR_TRIALS_MAX];
    size_t plain_count, soft_count;
    for (size_t k = 0; k < w.slices.bins; k++)
        quarter[k] = 0.25;
    assert_int_equal(
        sr_trials_make(plain, &plain_count, &w.score, &w.causes, &w.slices, &w.view, &w.rig, NULL), SR_OK);
    sr_view_scale(&mounted.view, quarter);
    assert_int_equal(sr_score_make(&mounted.score, &w.slices, &mounted.view, 0.2, NULL), SR_OK);
    assert_int_equal(sr_causes_find(&mounted.causes, &mounted.score, &w.slices, &mounted.view, &w.rig, NULL),
                     SR_OK);
    assert_int_equal(sr_trials_make(soft, &soft_count, &mounted.score, &mounted.causes, &w.slices,
                                    &mounted.view, &w.rig, NULL),
                     SR_OK);
    const struct sr_trial *a = trial_of(plain, plain_count, SR_TRIAL_EXPOSURE, -1);
    const struct sr_trial *b = trial_of(soft, soft_count, SR_TRIAL_EXPOSURE, -1);
    assert_non_null(a);
    assert_non_null(b);
    assert_ratio_near(b->wobble_px, a->wobble_px / 2, 1e-9);
    free(quarter);
    sr_causes_release(&mounted.causes);
    sr_score_release(&mounted.score);
    release(&w);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_camera_trials),
        cmocka_unit_test(test_camera_trials_keep_the_mount),
    };
    return cmocka_run_group_tests_name("trials", tests, NULL, NULL);
}
