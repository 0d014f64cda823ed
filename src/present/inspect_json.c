/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stillrow/present.h"

#include <inttypes.h>

#include "json.h"

static const char *const axis_names[3] = {"x", "y", "z"};

/* Columns count from 1, as --columns does. */
static json_t *column(const struct sr_column_use *use, bool *failed)
{
    if (use->index < 0)
        return json_null();
    json_t *object = json_object();
    sr_json_set(object, "column", json_integer(use->index + 1), failed);
    sr_json_set(object, "name", sr_json_text(use->name), failed);
    sr_json_set(object, "unit", sr_json_text(use->unit), failed);
    sr_json_set(object, "assumed_unit", json_boolean(use->assumed_unit), failed);
    return object;
}

static json_t *three(const struct sr_column_use use[3], bool *failed)
{
    json_t *object = json_object();

    for (int i = 0; i < 3; i++)
        sr_json_set(object, axis_names[i], column(&use[i], failed), failed);
    return object;
}

static json_t *columns(const struct sr_columns *c, bool *failed)
{
    const char delimiter[2] = {c->delimiter, '\0'};
    json_t *object = json_object(), *motors = json_array();

    sr_json_set(object, "count", sr_json_count(c->n_columns), failed);
    sr_json_set(object, "header_line", c->header_line > 0 ? sr_json_count(c->header_line) : json_null(),
                failed);
    sr_json_set(object, "delimiter", sr_json_text(delimiter), failed);
    sr_json_set(object, "decimal_comma", json_boolean(c->decimal_comma), failed);
    sr_json_set(object, "time", column(&c->time, failed), failed);
    sr_json_set(object, "rate", three(c->rate, failed), failed);
    sr_json_set(object, "throttle", column(&c->throttle, failed), failed);
    sr_json_set(object, "throttle_from_outputs", json_boolean(c->throttle_from_outputs), failed);
    for (size_t i = 0; i < c->n_motors; i++)
        sr_json_add(motors, column(&c->motor[i], failed), failed);
    sr_json_set(object, "motors", motors, failed);
    sr_json_set(object, "electrical_rpm", json_boolean(c->electrical_rpm), failed);
    sr_json_set(object, "accelerometer", three(c->accel, failed), failed);
    return object;
}

static json_t *airborne(const struct sr_log *log, bool *failed)
{
    json_t *object = json_object(), *spans = json_array();

    sr_json_set(object, "how", sr_json_text(sr_airborne_how_text(log->airborne_how)), failed);
    for (size_t i = 0; i < log->n_airborne; i++) {
        json_t *span = json_object();
        sr_json_set(span, "from_s", sr_json_number(log->airborne[i].from_s), failed);
        sr_json_set(span, "to_s", sr_json_number(log->airborne[i].to_s), failed);
        sr_json_add(spans, span, failed);
    }
    sr_json_set(object, "spans", spans, failed);
    return object;
}

static json_t *gyro(const struct sr_inspect_report *report, bool *failed)
{
    json_t *object = json_object();

    for (int i = 0; i < 3; i++) {
        json_t *axis = json_object();
        sr_json_set(axis, "mean_dps", sr_json_number(report->axis[i].mean_dps), failed);
        sr_json_set(axis, "sd_dps", sr_json_number(report->axis[i].sd_dps), failed);
        sr_json_set(axis, "peak_dps", sr_json_number(report->axis[i].peak_dps), failed);
        sr_json_set(object, axis_names[i], axis, failed);
    }
    return object;
}

enum sr_status sr_inspect_json(FILE *out, const struct sr_inspect_report *report, struct sr_error *err)
{
    const struct sr_log *log = report->log;
    json_t *root = json_object();
    char fingerprint[20];
    bool failed = root == NULL;

    snprintf(fingerprint, sizeof fingerprint, "%016" PRIx64, log->fingerprint);
    sr_json_set(root, "schema", sr_json_text("stillrow.inspect/1"), &failed);
    sr_json_set(root, "log", sr_json_text(log->name), &failed);
    sr_json_set(root, "columns", columns(&log->columns, &failed), &failed);
    sr_json_set(root, "samples", sr_json_count(log->count), &failed);
    sr_json_set(root, "runs", sr_json_count(log->n_runs), &failed);
    sr_json_set(root, "gyro", gyro(report, &failed), &failed);
    sr_json_set(root, "airborne", airborne(log, &failed), &failed);
    sr_json_set(root, "sees_hz", sr_json_number(report->sees_hz), &failed);
    sr_json_set(root, "highest_band", sr_json_text(sr_band_name(report->highest_band)), &failed);
    sr_json_set(root, "clear_hz", sr_json_number(report->clear_hz), &failed);
    sr_json_set(root, "quality", sr_json_quality(log, &failed), &failed);
    sr_json_set(root, "camera", sr_json_camera(report->rig, &failed), &failed);
    sr_json_set(root, "fingerprint", sr_json_text(fingerprint), &failed);
    return sr_json_write(out, root, failed, err);
}
