/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>

#include "json.h"
#include "stillrow/compare_report.h"

static const char *match_name(enum sr_match match)
{
    switch (match) {
    case SR_MATCH_NONE:
        return "none";
    case SR_MATCH_THROTTLE:
        return "throttle";
    case SR_MATCH_SPEED:
        return "motor-speed";
    }
    return "none";
}

static const char *winner_name(enum sr_winner winner)
{
    switch (winner) {
    case SR_NO_DIFFERENCE:
        return "none-shown";
    case SR_A_QUIETER:
        return "a";
    case SR_B_QUIETER:
        return "b";
    }
    return "none-shown";
}

static json_t *group(const struct sr_compare_group *g, size_t kept, size_t left_out, bool *failed)
{
    json_t *object = json_object(), *logs = json_array();

    sr_json_set(object, "name", sr_json_text(g->name), failed);
    for (size_t i = 0; i < g->count; i++)
        sr_json_add(logs, sr_json_text(g->flights[i].name), failed);
    sr_json_set(object, "logs", logs, failed);
    sr_json_set(object, "slices", sr_json_count(kept), failed);
    sr_json_set(object, "left_out", sr_json_count(left_out), failed);
    return object;
}

static json_t *match(const struct sr_comparison *c, bool *failed)
{
    json_t *object = json_object(), *centres = json_array();

    for (size_t i = 0; i < c->match_bins; i++)
        sr_json_add(centres, sr_json_number(c->match_centre[i]), failed);
    sr_json_set(object, "on", sr_json_text(match_name(c->match)), failed);
    sr_json_set(object, "bin_width", sr_json_number(c->match_width), failed);
    sr_json_set(object, "bin_centres", centres, failed);
    return object;
}

static json_t *ratio(const char *name, const struct sr_ratio *r, bool *failed)
{
    json_t *object = json_object();

    sr_json_set(object, "name", sr_json_text(name), failed);
    sr_json_set(object, "seen", json_boolean(r->seen), failed);
    sr_json_set(object, "a_px", sr_json_number(r->seen ? r->a_px : NAN), failed);
    sr_json_set(object, "b_px", sr_json_number(r->seen ? r->b_px : NAN), failed);
    sr_json_set(object, "b_over_a_db", sr_json_number(r->db), failed);
    sr_json_set(object, "low_db", sr_json_number(r->low_db), failed);
    sr_json_set(object, "high_db", sr_json_number(r->high_db), failed);
    sr_json_set(object, "p", sr_json_number(r->p_value), failed);
    sr_json_set(object, "p_adjusted", sr_json_number(r->p_adjusted), failed);
    sr_json_set(object, "shown", json_boolean(r->shown), failed);
    return object;
}

static json_t *line(const struct sr_compare_line *l, bool *failed)
{
    json_t *object = json_object();

    sr_json_set(object, "hz_a", sr_json_number(l->hz_a), failed);
    sr_json_set(object, "hz_b", sr_json_number(l->hz_b), failed);
    sr_json_set(object, "px_a", sr_json_number(l->px_a), failed);
    sr_json_set(object, "px_b", sr_json_number(l->px_b), failed);
    sr_json_set(object, "order", l->order > 0 ? sr_json_number(l->order) : json_null(), failed);
    sr_json_set(object, "share", sr_json_number(l->share), failed);
    sr_json_set(object, "change", sr_json_text(l->change), failed);
    return object;
}

enum sr_status sr_compare_json(FILE *out, const struct sr_compare_report *report, struct sr_error *err)
{
    static const char *const axis_names[3] = {"roll", "pitch", "yaw"};
    const struct sr_comparison *c = report->comparison;
    json_t *root = json_object(), *bands = json_array(), *axes = json_array();
    json_t *lines = json_array(), *notes = json_array();
    bool failed = root == NULL;

    for (size_t i = 0; i < SR_BAND_COUNT - 1; i++)
        sr_json_add(bands, ratio(sr_band_name((enum sr_band)(SR_BAND_BEND + i)), &c->band[i], &failed),
                    &failed);
    for (size_t i = 0; i < 3; i++)
        sr_json_add(axes, ratio(axis_names[i], &c->axis[i], &failed), &failed);
    for (size_t i = 0; i < c->n_lines; i++)
        sr_json_add(lines, line(&c->lines[i], &failed), &failed);
    for (size_t i = 0; i < c->n_notes; i++)
        sr_json_add(notes, sr_json_text(c->notes[i]), &failed);

    sr_json_set(root, "schema", sr_json_text("stillrow.compare/1"), &failed);
    sr_json_set(root, "a", group(report->a, c->slices_a, c->left_out_a, &failed), &failed);
    sr_json_set(root, "b", group(report->b, c->slices_b, c->left_out_b, &failed), &failed);
    sr_json_set(root, "quieter", sr_json_text(winner_name(c->winner)), &failed);
    sr_json_set(root, "match", match(c, &failed), &failed);
    sr_json_set(root, "interval_from",
                sr_json_text(c->from == SR_FROM_FLIGHTS ? "between-flights" : "these-flights-only"), &failed);
    sr_json_set(root, "smallest_db", sr_json_number(c->smallest_db), &failed);
    sr_json_set(root, "limit_hz", sr_json_number(c->limit_hz), &failed);
    sr_json_set(root, "whole", ratio("whole", &c->whole, &failed), &failed);
    sr_json_set(root, "bands", bands, &failed);
    sr_json_set(root, "axes", axes, &failed);
    sr_json_set(root, "lines", lines, &failed);
    sr_json_set(root, "notes", notes, &failed);
    sr_json_set(root, "camera", sr_json_camera(report->rig, &failed), &failed);
    return sr_json_write(out, root, failed, err);
}

enum sr_status sr_compare_ranking_json(FILE *out, const struct sr_compare_rank *ranks, size_t count,
                                       struct sr_error *err)
{
    json_t *root = json_object(), *groups = json_array();
    bool failed = root == NULL;

    for (size_t i = 0; i < count; i++) {
        json_t *object = json_object();
        sr_json_set(object, "name", sr_json_text(ranks[i].name), &failed);
        sr_json_set(object, "flights", sr_json_count(ranks[i].flights), &failed);
        sr_json_set(object, "mean_px", sr_json_number(ranks[i].mean_px), &failed);
        sr_json_set(object, "quieter_than", sr_json_count(ranks[i].beats), &failed);
        sr_json_set(object, "louder_than", sr_json_count(ranks[i].beaten), &failed);
        sr_json_add(groups, object, &failed);
    }
    sr_json_set(root, "schema", sr_json_text("stillrow.ranking/1"), &failed);
    sr_json_set(root, "groups", groups, &failed);
    return sr_json_write(out, root, failed, err);
}
