/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <string.h>

#include "json.h"
#include "ledger_notes.h"

static json_t *action(const char *name, const char *path, bool *failed)
{
    json_t *root = json_object();

    sr_json_set(root, "schema", sr_json_text("stillrow.ledger/1"), failed);
    sr_json_set(root, "action", sr_json_text(name), failed);
    if (path != NULL)
        sr_json_set(root, "ledger", sr_json_text(path), failed);
    return root;
}

static json_t *trend_object(const struct sr_trend *t, bool *failed)
{
    json_t *object = json_object();

    sr_json_set(object, "flights", sr_json_count(t->flights), failed);
    sr_json_set(object, "by_date", json_boolean(t->by_date), failed);
    sr_json_set(object, "slope_db", sr_json_number(t->slope_db), failed);
    sr_json_set(object, "growth_db", sr_json_number(t->growth_db), failed);
    sr_json_set(object, "p", sr_json_number(t->p_value), failed);
    sr_json_set(object, "grown", json_boolean(t->grown), failed);
    sr_json_set(object, "note", sr_json_text(t->text), failed);
    return object;
}

static json_t *mount_in(enum sr_mount_in mount_in)
{
    return mount_in != SR_MOUNT_IN_UNKNOWN ? sr_json_text(sr_mount_in_name(mount_in)) : json_null();
}

enum sr_status sr_recorded_json(FILE *out, const struct sr_recorded *recorded, struct sr_error *err)
{
    bool failed = false;
    json_t *root = action("add", recorded->path, &failed), *list = json_array();
    struct recorded_notes notes;

    sr_recorded_notes(&notes, recorded, true);
    for (size_t i = 0; i < notes.count; i++)
        sr_json_add(list, sr_json_text(notes.note[i]), &failed);
    sr_json_set(root, "log", sr_json_text(recorded->log), &failed);
    sr_json_set(root, "fingerprint", sr_json_text(recorded->fingerprint), &failed);
    sr_json_set(root, "added", json_boolean(recorded->added == SR_ADDED), &failed);
    sr_json_set(root, "other_rigs", sr_json_count(recorded->other_rigs), &failed);
    sr_json_set(root, "unreadable_line", sr_json_count(recorded->unreadable_line), &failed);
    sr_json_set(root, "mount_in", mount_in(recorded->mount_in), &failed);
    sr_json_set(root, "notes", list, &failed);
    sr_json_set(root, "trend", trend_object(recorded->trend, &failed), &failed);
    return sr_json_write(out, root, failed, err);
}

/* A row with every column of its ledger, unknown ones too, as texts; numbers that were understood as numbers.
 */
static json_t *row_object(const struct sr_ledger *ledger, size_t i, bool *failed)
{
    const struct sr_ledger_row *row = &ledger->rows[i];
    json_t *root = action("row", NULL, failed), *cells = json_object();

    for (size_t c = 0; c < ledger->n_columns; c++)
        if (ledger->columns[c][0] != '\0' && sr_ledger_cell(ledger, i, c)[0] != '\0')
            sr_json_set(cells, ledger->columns[c], sr_json_text(sr_ledger_cell(ledger, i, c)), failed);
    sr_json_set(root, "line", sr_json_count(row->line), failed);
    sr_json_set(root, "readable", json_boolean(row->readable), failed);
    sr_json_set(root, "problem", row->readable ? json_null() : sr_json_text(row->problem), failed);
    sr_json_set(root, "fingerprint", sr_json_text(row->fingerprint), failed);
    sr_json_set(root, "date", sr_json_text(row->date), failed);
    sr_json_set(root, "build", sr_json_text(row->build), failed);
    sr_json_set(root, "motor", sr_json_text(row->motor), failed);
    sr_json_set(root, "prop", sr_json_text(row->prop), failed);
    sr_json_set(root, "shore_a", sr_json_number(row->shore_a), failed);
    sr_json_set(root, "temperature_c", sr_json_number(row->temperature_c), failed);
    sr_json_set(root, "wobble_px", sr_json_number(row->wobble_px), failed);
    sr_json_set(root, "threshold_px", sr_json_number(row->threshold_px), failed);
    sr_json_set(root, "verdict", sr_json_text(row->verdict), failed);
    sr_json_set(root, "rating", sr_json_text(sr_rating_name(row->rating)), failed);
    sr_json_set(root, "mount_in", mount_in(row->mount_in), failed);
    sr_json_set(root, "cells", cells, failed);
    return root;
}

enum sr_status sr_ledger_list_json(FILE *out, const struct sr_ledger *ledger, const char *build,
                                   struct sr_error *err)
{
    enum sr_status status = SR_OK;

    for (size_t i = 0; i < ledger->n_rows && status == SR_OK; i++) {
        bool failed = false;
        if (build != NULL && strcmp(ledger->rows[i].build, build) != 0)
            continue;
        json_t *root = row_object(ledger, i, &failed);
        status = sr_json_write(out, root, failed, err);
    }
    return status;
}

enum sr_status sr_ledger_check_json(FILE *out, const struct sr_ledger_check_report *report,
                                    struct sr_error *err)
{
    const struct sr_ledger_counts *c = report->counts;
    bool failed = false;
    json_t *root = action("check", report->path, &failed), *bad = json_array(), *rated = json_object();

    for (int r = SR_RATED_CLEAN; r <= SR_RATED_BAD; r++)
        sr_json_set(rated, sr_rating_name((enum sr_rating)r), sr_json_count(c->rated[r]), &failed);
    for (size_t i = 0; i < report->ledger->n_rows; i++) {
        const struct sr_ledger_row *row = &report->ledger->rows[i];
        if (row->readable)
            continue;
        json_t *object = json_object();
        sr_json_set(object, "line", sr_json_count(row->line), &failed);
        sr_json_set(object, "problem", sr_json_text(row->problem), &failed);
        sr_json_add(bad, object, &failed);
    }
    sr_json_set(root, "delimiter", sr_json_text((char[2]){report->ledger->delimiter, '\0'}), &failed);
    sr_json_set(root, "decimal", sr_json_text((char[2]){report->ledger->decimal, '\0'}), &failed);
    sr_json_set(root, "rows", sr_json_count(c->rows), &failed);
    sr_json_set(root, "readable", sr_json_count(c->readable), &failed);
    sr_json_set(root, "builds", sr_json_count(c->builds), &failed);
    sr_json_set(root, "rated", rated, &failed);
    sr_json_set(root, "doubled", sr_json_count(c->doubled), &failed);
    sr_json_set(root, "first_doubled_line", sr_json_count(c->first_doubled_line), &failed);
    sr_json_set(root, "other_rigs", sr_json_count(c->other_rigs), &failed);
    sr_json_set(root, "odd_dates", sr_json_count(c->odd_dates), &failed);
    sr_json_set(root, "first_odd_date_line", sr_json_count(c->first_odd_date_line), &failed);
    sr_json_set(root, "no_hardness", sr_json_count(c->no_hardness), &failed);
    sr_json_set(root, "no_temperature", sr_json_count(c->no_temperature), &failed);
    sr_json_set(root, "no_mount", sr_json_count(c->no_mount), &failed);
    sr_json_set(root, "mount_unknown", sr_json_count(c->mount_unknown), &failed);
    sr_json_set(root, "unreadable", bad, &failed);
    return sr_json_write(out, root, failed, err);
}

enum sr_status sr_ledger_merge_json(FILE *out, const char *into, const char *from,
                                    const struct sr_merge_count *count, struct sr_error *err)
{
    bool failed = false;
    json_t *root = action("merge", into, &failed);

    sr_json_set(root, "from", sr_json_text(from), &failed);
    sr_json_set(root, "added", sr_json_count(count->added), &failed);
    sr_json_set(root, "known", sr_json_count(count->known), &failed);
    sr_json_set(root, "now_rated", sr_json_count(count->rated), &failed);
    sr_json_set(root, "rated_otherwise", sr_json_count(count->rated_otherwise), &failed);
    sr_json_set(root, "rated_otherwise_line", sr_json_count(count->rated_otherwise_line), &failed);
    sr_json_set(root, "filled", sr_json_count(count->filled), &failed);
    sr_json_set(root, "differ", sr_json_count(count->differ), &failed);
    sr_json_set(root, "differ_line", sr_json_count(count->differ_line), &failed);
    sr_json_set(root, "differ_column", count->differ > 0 ? sr_json_text(count->differ_column) : json_null(),
                &failed);
    sr_json_set(root, "unreadable", sr_json_count(count->unreadable), &failed);
    return sr_json_write(out, root, failed, err);
}

enum sr_status sr_threshold_json(FILE *out, const struct sr_threshold_report *report, struct sr_error *err)
{
    const struct sr_threshold *t = report->threshold;
    bool failed = false, fitted = t->kind == SR_THRESHOLD_FITTED;
    json_t *root = json_object(), *px = json_object(), *rated = json_object(), *left = json_object();

    sr_json_set(px, "value", sr_json_number(t->px.value), &failed);
    sr_json_set(px, "low", sr_json_number(t->px.low), &failed);
    sr_json_set(px, "high", sr_json_number(t->px.high), &failed);
    sr_json_set(rated, "clean", sr_json_count(t->clean), &failed);
    sr_json_set(rated, "slight", sr_json_count(t->slight), &failed);
    sr_json_set(rated, "bad", sr_json_count(t->bad), &failed);
    sr_json_set(rated, "with_mount", sr_json_count(t->with_mount), &failed);
    sr_json_set(rated, "without_mount", sr_json_count(t->without_mount), &failed);
    sr_json_set(left, "unrated", sr_json_count(t->unrated), &failed);
    sr_json_set(left, "unproven", sr_json_count(t->unproven), &failed);
    sr_json_set(left, "no_width", sr_json_count(t->no_width), &failed);
    sr_json_set(left, "no_wobble", sr_json_count(t->no_wobble), &failed);
    sr_json_set(left, "unreadable", sr_json_count(t->unreadable), &failed);

    sr_json_set(root, "schema", sr_json_text("stillrow.threshold/1"), &failed);
    sr_json_set(root, "ledger", sr_json_text(report->path), &failed);
    sr_json_set(root, "kind", sr_json_text(fitted ? "fitted" : "bracket"), &failed);
    sr_json_set(root, "px", px, &failed);
    sr_json_set(root, "width_px", sr_json_number(1920), &failed);
    sr_json_set(root, "worst_clean_px", sr_json_number(t->worst_clean_px), &failed);
    sr_json_set(root, "best_shown_px", sr_json_number(t->best_shown_px), &failed);
    sr_json_set(root, "intercept", sr_json_number(fitted ? t->logistic.intercept : NAN), &failed);
    sr_json_set(root, "slope", sr_json_number(fitted ? t->logistic.slope : NAN), &failed);
    sr_json_set(root, "p", sr_json_number(fitted ? t->logistic.p_value : NAN), &failed);
    sr_json_set(root, "quarter_to_three_quarters_db", sr_json_number(fitted ? t->slope_db : NAN), &failed);
    sr_json_set(root, "misrated", sr_json_count(t->misrated), &failed);
    sr_json_set(root, "rated", rated, &failed);
    sr_json_set(left, "doubled", sr_json_count(t->doubled), &failed);
    sr_json_set(root, "left_out", left, &failed);
    if (report->written != NULL) {
        sr_json_set(root, "written", sr_json_text(report->written), &failed);
        sr_json_set(root, "written_px", sr_json_number(report->written_px), &failed);
        sr_json_set(root, "written_width_px", sr_json_number(report->width_px), &failed);
    }
    return sr_json_write(out, root, failed, err);
}
