/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stillrow/present.h"

#include "json.h"

static json_t *three(const double value[3], bool *failed)
{
    json_t *object = json_object();

    sr_json_set(object, "roll", sr_json_number(value[SR_ROLL]), failed);
    sr_json_set(object, "pitch", sr_json_number(value[SR_PITCH]), failed);
    sr_json_set(object, "yaw", sr_json_number(value[SR_YAW]), failed);
    return object;
}

static json_t *bands(const struct sr_camera *camera, bool *failed)
{
    json_t *array = json_array();

    for (int i = 0; i < SR_BAND_COUNT; i++) {
        const enum sr_band band = (enum sr_band)i;
        json_t *object = json_object();
        sr_json_set(object, "name", sr_json_text(sr_band_name(band)), failed);
        sr_json_set(object, "low_hz", sr_json_number(sr_band_low_hz(camera, band)), failed);
        sr_json_set(object, "high_hz", sr_json_number(sr_band_high_hz(camera, band)), failed);
        sr_json_set(object, "wobble", json_boolean(band != SR_BAND_LEAN), failed);
        sr_json_add(array, object, failed);
    }
    return array;
}

static json_t *rows(const struct sr_camera_report *report, bool *failed)
{
    json_t *array = json_array();

    for (size_t i = 0; i < report->n_rows; i++) {
        const struct sr_camera_row *row = &report->rows[i];
        json_t *object = json_object();
        sr_json_set(object, "hz", sr_json_number(row->hz), failed);
        sr_json_set(object, "waves", sr_json_number(row->waves), failed);
        sr_json_set(object, "band", sr_json_text(sr_band_name(row->band)), failed);
        sr_json_set(object, "crawl_hz", sr_json_number(row->crawl_hz), failed);
        sr_json_set(object, "gain_px_per_dps", three(row->gain_px, failed), failed);
        sr_json_set(object, "allowance_dps", three(row->allowance_dps, failed), failed);
        sr_json_set(object, "least_allowance_dps", sr_json_number(row->least_dps), failed);
        sr_json_add(array, object, failed);
    }
    return array;
}

static json_t *modes(const struct sr_rig *rig, bool *failed)
{
    json_t *array = json_array();

    for (size_t i = 0; i < rig->n_modes; i++) {
        const struct sr_camera *camera = &rig->modes[i].camera;
        json_t *object = json_object();
        sr_json_set(object, "name", sr_json_text(rig->modes[i].name), failed);
        sr_json_set(object, "width_px", sr_json_number(camera->width_px), failed);
        sr_json_set(object, "height_px", sr_json_number(camera->height_px), failed);
        sr_json_set(object, "fps", sr_json_number(camera->fps), failed);
        sr_json_set(object, "readout_ms", sr_json_number(1e3 * camera->readout_s), failed);
        sr_json_set(object, "exposure_ms", sr_json_number(1e3 * camera->exposure_s), failed);
        sr_json_set(object, "hfov_deg", sr_json_number(camera->hfov_deg), failed);
        sr_json_add(array, object, failed);
    }
    return array;
}

static json_t *flicker(const struct sr_flicker_report *test, bool *failed)
{
    json_t *object = json_object();

    sr_json_set(object, "flicker_hz", sr_json_number(test->flicker_hz), failed);
    sr_json_set(object, "bands", sr_json_number(test->bands), failed);
    sr_json_set(object, "count_error", sr_json_number(test->count_error), failed);
    sr_json_set(object, "readout_ms", sr_json_number(1e3 * test->readout_s), failed);
    sr_json_set(object, "low_ms", sr_json_number(1e3 * test->low_s), failed);
    sr_json_set(object, "high_ms", sr_json_number(1e3 * test->high_s), failed);
    sr_json_set(object, "fits_frame", json_boolean(test->fits_frame), failed);
    return object;
}

enum sr_status sr_camera_json(FILE *out, const struct sr_camera_report *report, struct sr_error *err)
{
    json_t *root = json_object();
    bool failed = root == NULL;

    sr_json_set(root, "schema", sr_json_text("stillrow.camera/1"), &failed);
    sr_json_set(root, "camera", sr_json_camera(report->rig, &failed), &failed);
    sr_json_set(root, "focal_px", sr_json_number(report->focal_px), &failed);
    sr_json_set(root, "threshold_px", sr_json_number(report->threshold_px), &failed);
    sr_json_set(root, "bands", bands(&report->rig->camera, &failed), &failed);
    sr_json_set(root, "at", rows(report, &failed), &failed);
    sr_json_set(root, "modes", modes(report->rig, &failed), &failed);
    if (report->flicker != NULL)
        sr_json_set(root, "flicker", flicker(report->flicker, &failed), &failed);
    return sr_json_write(out, root, failed, err);
}
