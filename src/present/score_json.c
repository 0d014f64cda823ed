/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stillrow/present.h"

#include <inttypes.h>
#include <math.h>

#include "score_json.h"

static json_t *interval(const struct sr_score *score, bool *failed)
{
    json_t *object = json_object();

    sr_json_set(object, "p95", sr_json_number(score->wobble_px.value), failed);
    sr_json_set(object, "low", sr_json_number(score->wobble_px.low), failed);
    sr_json_set(object, "high", sr_json_number(score->wobble_px.high), failed);
    sr_json_set(object, "median", sr_json_number(score->median_px), failed);
    sr_json_set(object, "rms", sr_json_number(score->rms_px), failed);
    return object;
}

static json_t *axes(const struct sr_score *score, bool *failed)
{
    json_t *object = json_object();

    sr_json_set(object, "roll", sr_json_number(score->axis_px[SR_ROLL]), failed);
    sr_json_set(object, "pitch", sr_json_number(score->axis_px[SR_PITCH]), failed);
    sr_json_set(object, "yaw", sr_json_number(score->axis_px[SR_YAW]), failed);
    return object;
}

static json_t *bands(const struct sr_score *score, bool *failed)
{
    json_t *array = json_array();

    for (size_t i = 0; i < SR_BAND_COUNT - 1; i++) {
        const struct sr_band_score *band = &score->bands[i];
        json_t *object = json_object();
        sr_json_set(object, "name", sr_json_text(sr_band_name(band->band)), failed);
        sr_json_set(object, "low_hz", sr_json_number(band->low_hz), failed);
        sr_json_set(object, "high_hz", sr_json_number(band->seen ? band->high_hz : NAN), failed);
        sr_json_set(object, "seen", json_boolean(band->seen), failed);
        sr_json_set(object, "wobble_px", sr_json_number(band->seen ? band->wobble_px : NAN), failed);
        sr_json_set(object, "share", sr_json_number(band->seen ? band->share : NAN), failed);
        sr_json_add(array, object, failed);
    }
    return array;
}

static const char *axis_name(enum sr_picture_axis axis)
{
    switch (axis) {
    case SR_ROLL:
        return "roll";
    case SR_PITCH:
        return "pitch";
    case SR_YAW:
        return "yaw";
    }
    return "";
}

static json_t *peaks(const struct sr_score *score, bool *failed)
{
    json_t *array = json_array();

    for (size_t i = 0; i < score->n_peaks; i++) {
        const struct sr_peak *peak = &score->peaks[i];
        json_t *object = json_object();
        sr_json_set(object, "hz", sr_json_number(peak->hz), failed);
        sr_json_set(object, "rate_dps", sr_json_number(peak->rate_dps), failed);
        sr_json_set(object, "wobble_px", sr_json_number(peak->wobble_px), failed);
        sr_json_set(object, "share", sr_json_number(peak->share), failed);
        sr_json_set(object, "waves", sr_json_number(peak->waves), failed);
        sr_json_set(object, "crawl_hz", sr_json_number(peak->crawl_hz), failed);
        sr_json_set(object, "axis", sr_json_text(axis_name(peak->axis)), failed);
        sr_json_set(object, "cause", sr_json_text(sr_cause_name(peak->cause)), failed);
        sr_json_set(object, "order", peak->order > 0.0 ? sr_json_number(peak->order) : json_null(), failed);
        sr_json_set(object, "motor", peak->motor > 0 ? json_integer(peak->motor) : json_null(), failed);
        sr_json_set(object, "true_hz", sr_json_number(peak->true_hz), failed);
        sr_json_set(object, "evidence", sr_json_text(peak->evidence), failed);
        sr_json_add(array, object, failed);
    }
    return array;
}

static json_t *worst(const struct sr_score_report *report, bool *failed)
{
    const struct sr_score *score = report->score;
    const double offset_s = report->footage_offset_s;
    json_t *array = json_array();

    for (size_t i = 0; i < score->n_worst; i++) {
        const struct sr_moment *moment = &score->worst[i];
        json_t *object = json_object();
        sr_json_set(object, "from_s", sr_json_number(moment->from_s), failed);
        sr_json_set(object, "to_s", sr_json_number(moment->to_s), failed);
        if (!isnan(offset_s)) {
            sr_json_set(object, "footage_from_s", sr_json_number(moment->from_s + offset_s), failed);
            sr_json_set(object, "footage_to_s", sr_json_number(moment->to_s + offset_s), failed);
        }
        sr_json_set(object, "wobble_px", sr_json_number(moment->wobble_px), failed);
        sr_json_set(object, "hz", moment->hz > 0.0 ? sr_json_number(moment->hz) : json_null(), failed);
        sr_json_set(object, "cause", sr_json_text(sr_cause_name(moment->cause)), failed);
        sr_json_add(array, object, failed);
    }
    return array;
}

json_t *sr_json_score(const struct sr_score_report *report, const char *schema, bool *failed)
{
    const struct sr_score *score = report->score;
    json_t *root = json_object();
    char fingerprint[20];

    snprintf(fingerprint, sizeof fingerprint, "%016" PRIx64, report->log->fingerprint);
    sr_json_set(root, "schema", sr_json_text(schema), failed);
    sr_json_set(root, "log", sr_json_text(report->log->name), failed);
    sr_json_set(root, "verdict", sr_json_text(sr_verdict_name(score->verdict)), failed);
    sr_json_set(root, "wobble_px", interval(score, failed), failed);
    sr_json_set(root, "threshold_px", sr_json_number(score->threshold_px), failed);
    sr_json_set(root, "headroom_db", sr_json_number(score->headroom_db), failed);
    sr_json_set(root, "steady_share", sr_json_number(score->steady_share), failed);
    sr_json_set(root, "airborne_s", sr_json_number(score->airborne_s), failed);
    sr_json_set(root, "slices", sr_json_count(score->slices), failed);
    sr_json_set(root, "smear_px", sr_json_number(score->smear_px), failed);
    sr_json_set(root, "axis_px", axes(score, failed), failed);
    sr_json_set(root, "bands", bands(score, failed), failed);
    sr_json_set(root, "peaks", peaks(score, failed), failed);
    sr_json_set(root, "rest_share", sr_json_number(score->rest_share), failed);
    sr_json_set(root, "worst", worst(report, failed), failed);
    sr_json_set(root, "quality", sr_json_quality(report->log, failed), failed);
    sr_json_set(root, "camera", sr_json_camera(report->rig, failed), failed);
    bool mounted = report->mount_note != NULL && report->mount_note[0] != '\0';
    sr_json_set(root, "mount", mounted ? sr_json_text(report->mount_note) : json_null(), failed);
    sr_json_set(root, "window", sr_json_text(sr_window_name(report->slices->window)), failed);
    sr_json_set(root, "fingerprint", sr_json_text(fingerprint), failed);
    return root;
}

enum sr_status sr_score_json(FILE *out, const struct sr_score_report *report, struct sr_error *err)
{
    bool failed = false;
    json_t *root = sr_json_score(report, "stillrow.score/1", &failed);

    return sr_json_write(out, root, failed, err);
}
