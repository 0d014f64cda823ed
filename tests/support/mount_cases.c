/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/mount_cases.h"

#include <math.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>

/* Benches and fuzzers are linked with this too, and have no cmocka. */
static void must(enum sr_status status, const char *what)
{
    if (status == SR_OK)
        return;
    fprintf(stderr, "mount cases: %s: %s\n", what, sr_status_text(status));
    abort();
}

struct sr_slices mount_case_flight(double (*density)(double hz))
{
    struct sr_slices slices = {.count = MOUNT_CASE_SLICES,
                               .bins = MOUNT_CASE_BINS,
                               .bin_hz = MOUNT_CASE_BIN_HZ,
                               .rate_hz = 2000,
                               .sees_hz = 1000,
                               .segment = 1000,
                               .enbw_bins = 1.5,
                               .dof = 5.2,
                               .airborne_s = MOUNT_CASE_SLICES};
    slices.slice = calloc(MOUNT_CASE_SLICES, sizeof *slices.slice);
    slices.psd = calloc((size_t)MOUNT_CASE_SLICES * 3 * MOUNT_CASE_BINS, sizeof *slices.psd);
    for (size_t i = 0; i < MOUNT_CASE_SLICES; i++) {
        slices.slice[i] = (struct sr_slice){.from_s = (double)i, .to_s = (double)i + 1, .throttle = NAN};
        for (size_t k = 0; k < MOUNT_CASE_BINS; k++)
            slices.psd[(i * 3 + SR_PITCH) * MOUNT_CASE_BINS + k] = density((double)k * MOUNT_CASE_BIN_HZ);
    }
    return slices;
}

struct sr_rig mount_case_rig(void)
{
    struct sr_rig rig;
    sr_rig_init(&rig);
    rig.mount.shore_a = 60;
    rig.mount.resonance_hz = 80;
    rig.mount.damping = 0.08;
    rig.mount.temperature_c = 20;
    rig.mount.material = SR_MATERIAL_TPU;
    return rig;
}

struct sr_score mount_case_score(const struct sr_slices *slices, const struct sr_rig *rig)
{
    struct sr_view view;
    struct sr_score score;
    must(sr_view_init(&view, slices, &rig->camera, NULL), "view");
    must(sr_score_make(&score, slices, &view, sr_rig_threshold_px(rig), NULL), "score");
    sr_view_release(&view);
    return score;
}

struct sr_mount_own mount_case_own(const struct sr_rig *rig, const struct sr_identified *identified)
{
    struct sr_mount_own own;
    must(sr_mount_resolve(&own, rig, identified, NULL), "mount");
    return own;
}

enum sr_status mount_case_table(struct sr_mount_table *table, const struct sr_slices *slices,
                                const struct sr_rig *rig, const struct sr_mount_ask *ask,
                                struct sr_error *err)
{
    struct sr_mount_own own = mount_case_own(rig, NULL);
    struct sr_score score = mount_case_score(slices, rig);
    enum sr_status status = sr_mount_table_make(table, ask, &own, slices, &score, rig, err);
    sr_score_release(&score);
    return status;
}
