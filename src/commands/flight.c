/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "commands/flight.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "commands/commands.h"

/* The reader's options with a rig: what the log's columns do not say is in the rig. */
static void plan_log(struct sr_log_options *options, const struct log_args *args, const struct sr_rig *rig)
{
    *options = args->options;
    options->jobs = (size_t)args->jobs;
    options->pole_pairs = rig->pole_pairs;
    options->speed_scale = rig->speed_scale;
    options->idle_throttle = rig->idle_throttle;
}

bool flight_plan_make(struct flight_plan *plan, const struct flight_args *args)
{
    const double from_s = args->log.options.from_s, to_s = args->log.options.to_s;

    if (!isnan(from_s) && !isnan(to_s) && to_s <= from_s) {
        complain("--to: %g s is not after --from %g s", to_s, from_s);
        return false;
    }
    if (args->log.jobs != floor(args->log.jobs)) {
        complain("--jobs: %g is not a whole number", args->log.jobs);
        return false;
    }
    *plan = (struct flight_plan){.window = SR_WINDOW_HANN};
    if (!rig_from(&plan->rig, &args->rig))
        return false;
    plan_log(&plan->log, &args->log, &plan->rig);
    if (args->window != NULL)
        sr_window_find(args->window, &plan->window);
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

/* What comes after reading. */
static enum sr_status look_at(struct flight *f, const struct flight_plan *plan, struct sr_error *err)
{
    enum sr_status status = sr_slices_make(&f->slices, &f->log, &plan->rig, plan->window, err);

    if (status == SR_OK)
        status = sr_view_init(&f->view, &f->slices, &plan->rig.camera, err);
    if (status == SR_OK)
        status = sr_mount_apply(&f->view, &plan->rig, f->mount_note, sizeof f->mount_note, err);
    if (status == SR_OK)
        status = sr_score_make(&f->score, &f->slices, &f->view, sr_rig_threshold_px(&plan->rig), err);
    if (status == SR_OK)
        status = sr_causes_find(&f->causes, &f->score, &f->slices, &f->view, &plan->rig, err);
    return status;
}

enum sr_status flight_score(struct flight *flight, const char *path, const struct flight_plan *plan,
                            struct sr_error *err)
{
    struct flight f = {0};
    enum sr_status status = flight_read(&f.log, path, plan, err);

    if (status != SR_OK)
        return status;
    if (!plan->only_read)
        status = look_at(&f, plan, err);
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

struct sr_score_report flight_report(const struct flight *flight, const struct sr_rig *rig,
                                     double footage_offset_s)
{
    return (struct sr_score_report){.log = &flight->log,
                                    .rig = rig,
                                    .slices = &flight->slices,
                                    .score = &flight->score,
                                    .footage_offset_s = footage_offset_s,
                                    .mount_note = flight->mount_note};
}
