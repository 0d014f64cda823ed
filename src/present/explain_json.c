/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>

#include "json.h"
#include "notes.h"
#include "score_json.h"
#include "stillrow/explain_report.h"

static const char *source_name(enum sr_speed_source source)
{
    switch (source) {
    case SR_SPEED_NONE:
        return "none";
    case SR_SPEED_MOTORS:
        return "motor-speed";
    case SR_SPEED_THROTTLE:
        return "throttle";
    }
    return "none";
}

static const char *kind_name(enum sr_trial_kind kind)
{
    switch (kind) {
    case SR_TRIAL_REMOVE:
        return "remove";
    case SR_TRIAL_EXPOSURE:
        return "exposure";
    case SR_TRIAL_MODE:
        return "mode";
    case SR_TRIAL_MOUNT:
        return "mount";
    }
    return "";
}

static json_t *change(const struct sr_change *c, double footage_offset_s, bool *failed)
{
    if (!c->found)
        return json_null();
    json_t *object = json_object();

    sr_json_set(object, "at_s", sr_json_number(c->at_s), failed);
    if (!isnan(footage_offset_s))
        sr_json_set(object, "footage_at_s", sr_json_number(c->at_s + footage_offset_s), failed);
    sr_json_set(object, "before_px", sr_json_number(c->before_px), failed);
    sr_json_set(object, "after_px", sr_json_number(c->after_px), failed);
    sr_json_set(object, "ratio_db", sr_json_number(c->ratio_db), failed);
    sr_json_set(object, "p", sr_json_number(c->p_value), failed);
    sr_json_set(object, "motor", c->motor > 0 ? json_integer(c->motor) : json_null(), failed);
    sr_json_set(object, "hz", c->hz > 0 ? sr_json_number(c->hz) : json_null(), failed);
    return object;
}

/* What the trials are for. */
static const char *purpose(enum sr_verdict verdict)
{
    switch (verdict) {
    case SR_STEADY:
    case SR_UNPROVEN:
        return "reference";
    case SR_MARGINAL:
    case SR_WOBBLY:
        return "remedy";
    }
    return "";
}

static json_t *log_first(const struct sr_score_report *report)
{
    const struct sr_quality *quality = &report->log->quality;
    char text[SR_NOTE_MAX];

    if (report->score->verdict != SR_UNPROVEN)
        return json_null();
    return sr_json_text(sr_log_first_words(report->score, &report->rig->camera, quality->nyquist_hz,
                                           quality->bridged_hz, text, sizeof text));
}

static json_t *trial(const struct sr_trial *t, bool *failed)
{
    json_t *object = json_object();

    sr_json_set(object, "kind", sr_json_text(kind_name(t->kind)), failed);
    sr_json_set(object, "what", sr_json_text(t->what), failed);
    sr_json_set(object, "caution", sr_json_text(t->caution), failed);
    sr_json_set(object, "wobble_px", sr_json_number(t->wobble_px), failed);
    sr_json_set(object, "gain_db", sr_json_number(t->gain_db), failed);
    sr_json_set(object, "smear_px", sr_json_number(t->smear_px), failed);
    sr_json_set(object, "exposure_ms", sr_json_number(1e3 * t->exposure_s), failed);
    sr_json_set(object, "nd_stops", sr_json_number(t->nd_stops), failed);
    sr_json_set(object, "peak", t->peak >= 0 ? json_integer(t->peak) : json_null(), failed);
    sr_json_set(object, "clears", json_boolean(t->clears), failed);
    return object;
}

enum sr_status sr_explain_json(FILE *out, const struct sr_explain_report *report, struct sr_error *err)
{
    bool failed = false;
    json_t *root = sr_json_score(&report->score, "stillrow.explain/1", &failed);
    json_t *against = json_object(), *trials = json_array();

    sr_json_set(against, "source", sr_json_text(source_name(report->causes->source)), &failed);
    sr_json_set(against, "speed_spread", sr_json_number(report->causes->speed_spread), &failed);
    sr_json_set(against, "mean_rpm", sr_json_number(report->causes->mean_rpm), &failed);
    sr_json_set(against, "electrical", json_boolean(report->causes->electrical), &failed);
    for (size_t i = 0; i < report->n_trials; i++)
        sr_json_add(trials, trial(&report->trials[i], &failed), &failed);
    sr_json_set(root, "against", against, &failed);
    sr_json_set(root, "change", change(report->change, report->score.footage_offset_s, &failed), &failed);
    sr_json_set(root, "try", trials, &failed);
    sr_json_set(root, "try_purpose", sr_json_text(purpose(report->score.score->verdict)), &failed);
    sr_json_set(root, "log_first", log_first(&report->score), &failed);
    return sr_json_write(out, root, failed, err);
}
