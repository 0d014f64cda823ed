/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The main job as a library call: a log read, cut, scored, explained and reported, as `stillrow score` and
 * `stillrow explain` do it. For the tests that make it hard.
 */
#ifndef HARDEN_JOB_H
#define HARDEN_JOB_H

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "stillrow/explain.h"
#include "stillrow/explain_report.h"
#include "stillrow/log.h"
#include "stillrow/present.h"
#include "stillrow/rig.h"
#include "stillrow/wobble.h"

/* A flight as far as it came; all zero at first. */
struct job {
    struct sr_log log;
    struct sr_slices slices;
    struct sr_view view;
    struct sr_score score;
    struct sr_causes causes;
    struct sr_change change;
    struct sr_trial trials[SR_TRIALS_MAX];
    size_t n_trials;
};

static inline void job_release(struct job *job)
{
    sr_causes_release(&job->causes);
    sr_score_release(&job->score);
    sr_view_release(&job->view);
    sr_slices_release(&job->slices);
    sr_log_release(&job->log);
    memset(job, 0, sizeof *job);
}

/* job->log is read. On failure the caller still releases. */
static inline enum sr_status job_score(struct job *job, const struct sr_rig *rig, enum sr_window window,
                                       struct sr_error *err)
{
    enum sr_status status = sr_slices_make(&job->slices, &job->log, rig, window, err);

    if (status == SR_OK)
        status = sr_view_init(&job->view, &job->slices, &rig->camera, err);
    if (status == SR_OK)
        status = sr_score_make(&job->score, &job->slices, &job->view, sr_rig_threshold_px(rig), err);
    if (status == SR_OK)
        status = sr_causes_find(&job->causes, &job->score, &job->slices, &job->view, rig, err);
    return status;
}

static inline enum sr_status job_explain(struct job *job, const struct sr_rig *rig, struct sr_error *err)
{
    enum sr_status status =
        sr_change_find(&job->change, &job->score, &job->slices, &job->view, &job->causes, err);

    if (status == SR_OK)
        status = sr_trials_make(job->trials, &job->n_trials, &job->score, &job->causes, &job->slices,
                                &job->view, rig, err);
    return status;
}

static inline struct sr_explain_report job_report(const struct job *job, const struct sr_rig *rig)
{
    return (struct sr_explain_report){.score = {.log = &job->log,
                                                .rig = rig,
                                                .slices = &job->slices,
                                                .score = &job->score,
                                                .footage_offset_s = NAN},
                                      .causes = &job->causes,
                                      .change = &job->change,
                                      .trials = job->trials,
                                      .n_trials = job->n_trials};
}

/* Every report of it, as text and as JSON. */
static inline enum sr_status job_print(FILE *out, const struct job *job, const struct sr_rig *rig,
                                       struct sr_error *err)
{
    const struct sr_explain_report report = job_report(job, rig);
    const struct sr_style style = {.utf8 = true, .color = true};

    sr_score_text(out, &style, &report.score);
    sr_explain_text(out, &style, &report);
    enum sr_status status = sr_score_json(out, &report.score, err);
    return status == SR_OK ? sr_explain_json(out, &report, err) : status;
}

#endif
