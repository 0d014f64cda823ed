/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "commands/flight.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "commands/commands.h"

bool flight_plan_make(struct flight_plan *plan, const struct log_args *log, const struct rig_args *rig,
                      const char *window)
{
    if (!isnan(log->from_s) && !isnan(log->to_s) && log->to_s <= log->from_s) {
        complain("--to: %g s is not after --from %g s", log->to_s, log->from_s);
        return false;
    }
    if (log->jobs != floor(log->jobs)) {
        complain("--jobs: %g is not a whole number", log->jobs);
        return false;
    }
    if (!rig_from(&plan->rig, rig))
        return false;
    plan->quiet = false;
    log_options_from(&plan->log, log, &plan->rig);
    plan->window = SR_WINDOW_HANN;
    if (window != NULL)
        sr_window_find(window, &plan->window);
    return true;
}

enum sr_status flight_read(struct sr_log *log, const char *path, const struct flight_plan *plan,
                           struct sr_error *err)
{
    struct sr_log_options options = plan->log;
    struct sr_progress progress;

    sr_progress_start(&progress, plan->quiet ? NULL : stderr, path);
    options.progress = sr_progress_step;
    options.progress_context = &progress;
    enum sr_status status = sr_log_read(log, path, &options, err);
    sr_progress_end(&progress);
    return status;
}

enum sr_status flight_score(struct flight *flight, const char *path, const struct flight_plan *plan,
                            struct sr_error *err)
{
    struct flight f = {0};
    enum sr_status status = flight_read(&f.log, path, plan, err);

    if (status == SR_OK)
        status = sr_slices_make(&f.slices, &f.log, &plan->rig, plan->window, err);
    if (status == SR_OK)
        status = sr_view_init(&f.view, &f.slices, &plan->rig.camera, err);
    if (status == SR_OK)
        status = sr_mount_apply(&f.view, &plan->rig, f.mount_note, sizeof f.mount_note, err);
    if (status == SR_OK)
        status = sr_score_make(&f.score, &f.slices, &f.view, sr_rig_threshold_px(&plan->rig), err);
    if (status == SR_OK)
        status = sr_causes_find(&f.causes, &f.score, &f.slices, &f.view, &plan->rig, err);
    if (status != SR_OK) {
        /* Rooms past the reader do not know the name of the log. */
        if (err->file[0] == '\0')
            snprintf(err->file, sizeof err->file, "%s", path);
        flight_release(&f);
        return status;
    }
    *flight = f;
    return SR_OK;
}

void flight_release(struct flight *flight)
{
    sr_causes_release(&flight->causes);
    sr_score_release(&flight->score);
    sr_view_release(&flight->view);
    sr_slices_release(&flight->slices);
    sr_log_release(&flight->log);
    memset(flight, 0, sizeof *flight);
}
