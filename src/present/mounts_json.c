/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <inttypes.h>
#include <math.h>

#include "json.h"
#include "stillrow/mount_report.h"

static json_t *interval(const struct sr_interval *i, bool *failed)
{
    json_t *object = json_object();

    sr_json_set(object, "value", sr_json_number(i->value), failed);
    sr_json_set(object, "low", sr_json_number(i->low), failed);
    sr_json_set(object, "high", sr_json_number(i->high), failed);
    return object;
}

static json_t *own(const struct sr_mount_table *table, bool *failed)
{
    const struct sr_mount_own *o = &table->own;
    json_t *object = json_object();

    sr_json_set(object, "shore_a", sr_json_number(o->shore_a), failed);
    sr_json_set(object, "modulus_mpa", sr_json_number(o->modulus_mpa), failed);
    sr_json_set(object, "temperature_c", sr_json_number(o->temperature_c), failed);
    sr_json_set(object, "temperature_assumed", json_boolean(o->temperature_assumed), failed);
    sr_json_set(object, "material", sr_json_text(sr_material_name(o->law.material)), failed);
    sr_json_set(object, "kappa", sr_json_number(o->law.kappa), failed);
    sr_json_set(object, "source", sr_json_text(sr_fn_source_name(o->source)), failed);
    sr_json_set(object, "fn_hz", interval(&o->fn_hz, failed), failed);
    sr_json_set(object, "damping", interval(&o->damping, failed), failed);
    sr_json_set(object, "damping_assumed", json_boolean(o->damping_assumed), failed);
    sr_json_set(object, "wobble_px", interval(&table->own_px, failed), failed);
    sr_json_set(object, "smear_px", sr_json_number(table->own_smear_px), failed);
    return object;
}

static json_t *identified(const struct sr_identified *found, bool *failed)
{
    if (found == NULL)
        return json_null();
    json_t *object = json_object();

    sr_json_set(object, "fn_hz", interval(&found->fn_hz, failed), failed);
    sr_json_set(object, "damping", interval(&found->damping, failed), failed);
    sr_json_set(object, "coherence", sr_json_number(found->coherence), failed);
    sr_json_set(object, "explained", sr_json_number(found->explained), failed);
    sr_json_set(object, "bins", sr_json_count(found->bins), failed);
    sr_json_set(object, "low_hz", sr_json_number(found->low_hz), failed);
    sr_json_set(object, "high_hz", sr_json_number(found->high_hz), failed);
    return object;
}

static json_t *cell(const struct sr_mount_table *table, size_t i, size_t j, bool *failed)
{
    const struct sr_mount_cell *c = sr_mount_cell_at(table, i, j);
    const struct sr_mount_pick *pick = &table->picks[j];
    json_t *object = json_object();

    sr_json_set(object, "shore_a", sr_json_number(c->shore_a), failed);
    sr_json_set(object, "temperature_c", sr_json_number(c->temperature_c), failed);
    sr_json_set(object, "known", json_boolean(c->known), failed);
    sr_json_set(object, "fn_hz", interval(&c->fn_hz, failed), failed);
    sr_json_set(object, "wobble_px", interval(&c->wobble_px, failed), failed);
    sr_json_set(object, "clears", json_boolean(c->clears), failed);
    sr_json_set(object, "best", json_boolean(pick->known && pick->best == i), failed);
    sr_json_set(object, "line_hz", c->line_hz > 0 ? sr_json_number(c->line_hz) : json_null(), failed);
    sr_json_set(object, "line_db", c->line_hz > 0 ? sr_json_number(c->line_db) : json_null(), failed);
    sr_json_set(object, "line_perhaps", json_boolean(c->line_perhaps), failed);
    sr_json_set(object, "outside_familiar_temperatures", json_boolean(c->outside), failed);
    return object;
}

/* Hardness of the least wobble without a resonance beside a strong line. */
static json_t *unmarked(const struct sr_mount_table *table, size_t j)
{
    const struct sr_mount_pick *pick = &table->picks[j];

    if (!pick->known || sr_mount_cell_at(table, pick->unmarked, j)->line_hz > 0)
        return json_null();
    return sr_json_number(table->ask.shore_a[pick->unmarked]);
}

static json_t *picks(const struct sr_mount_table *table, bool *failed)
{
    json_t *array = json_array();

    for (size_t j = 0; j < table->ask.n_temperature; j++) {
        const struct sr_mount_pick *pick = &table->picks[j];
        json_t *object = json_object();
        sr_json_set(object, "temperature_c", sr_json_number(table->ask.temperature_c[j]), failed);
        sr_json_set(object, "shore_a",
                    pick->known ? sr_json_number(table->ask.shore_a[pick->best]) : json_null(), failed);
        sr_json_set(object, "least_shore_a",
                    pick->known ? sr_json_number(table->ask.shore_a[pick->least]) : json_null(), failed);
        sr_json_set(object, "unmarked_shore_a", unmarked(table, j), failed);
        sr_json_set(object, "margin_db", sr_json_number(pick->known ? pick->margin_db : NAN), failed);
        sr_json_set(object, "sure", json_boolean(pick->known && pick->sure), failed);
        sr_json_add(array, object, failed);
    }
    return array;
}

static json_t *stretches(const struct sr_mount_table *table, bool *failed)
{
    json_t *array = json_array();

    for (size_t s = 0; s < table->n_stretches; s++) {
        json_t *object = json_object();
        sr_json_set(object, "shore_a", sr_json_number(table->ask.shore_a[table->stretches[s].best]), failed);
        sr_json_set(object, "from_c", sr_json_number(table->stretches[s].from_c), failed);
        sr_json_set(object, "to_c", sr_json_number(table->stretches[s].to_c), failed);
        sr_json_add(array, object, failed);
    }
    return array;
}

enum sr_status sr_mounts_json(FILE *out, const struct sr_mount_report *report, struct sr_error *err)
{
    const struct sr_mount_table *table = report->table;
    json_t *root = json_object(), *cells = json_array(), *notes = json_array();
    char fingerprint[20], advice[SR_MOUNT_ADVICE];
    bool failed = root == NULL;

    snprintf(fingerprint, sizeof fingerprint, "%016" PRIx64, report->log->fingerprint);
    sr_mount_advice(table, advice, sizeof advice);
    for (size_t j = 0; j < table->ask.n_temperature; j++)
        for (size_t i = 0; i < table->ask.n_shore; i++)
            sr_json_add(cells, cell(table, i, j, &failed), &failed);
    for (size_t i = 0; i < table->n_notes; i++)
        sr_json_add(notes, sr_json_text(table->notes[i]), &failed);

    sr_json_set(root, "schema", sr_json_text("stillrow.mounts/1"), &failed);
    sr_json_set(root, "log", sr_json_text(report->log->name), &failed);
    sr_json_set(root, "threshold_px", sr_json_number(table->threshold_px), &failed);
    sr_json_set(root, "gyro", sr_json_text(table->gyro_side == SR_GYRO_CAMERA ? "camera" : "frame"), &failed);
    sr_json_set(root, "own", own(table, &failed), &failed);
    sr_json_set(root, "identified", identified(report->identified, &failed), &failed);
    sr_json_set(root, "cells", cells, &failed);
    sr_json_set(root, "best", picks(table, &failed), &failed);
    sr_json_set(root, "stretches", stretches(table, &failed), &failed);
    sr_json_set(root, "advice", sr_json_text(advice), &failed);
    sr_json_set(root, "notes", notes, &failed);
    sr_json_set(root, "camera", sr_json_camera(report->rig, &failed), &failed);
    sr_json_set(root, "fingerprint", sr_json_text(fingerprint), &failed);
    return sr_json_write(out, root, failed, err);
}
