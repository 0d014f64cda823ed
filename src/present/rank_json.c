/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>

#include "json.h"
#include "stillrow/ledger_report.h"

static json_t *cell(const struct sr_rank_cell *c, bool *failed)
{
    json_t *object = json_object();

    sr_json_set(object, "shore_a", sr_json_number(c->shore_a), failed);
    sr_json_set(object, "flights", sr_json_count(c->flights), failed);
    sr_json_set(object, "builds", sr_json_count(c->builds), failed);
    sr_json_set(object, "level_db", sr_json_number(c->level_db.value), failed);
    sr_json_set(object, "low_db", sr_json_number(c->level_db.low), failed);
    sr_json_set(object, "high_db", sr_json_number(c->level_db.high), failed);
    sr_json_set(object, "enough", json_boolean(c->enough), failed);
    return object;
}

static json_t *setup(const struct sr_rank_setup *s, bool *failed)
{
    json_t *object = json_object(), *cells = json_array();

    for (size_t c = 0; c < s->n_cells; c++)
        sr_json_add(cells, cell(&s->cells[c], failed), failed);
    sr_json_set(object, "motor", sr_json_text(s->motor), failed);
    sr_json_set(object, "prop", sr_json_text(s->prop), failed);
    sr_json_set(object, "from_c", sr_json_number(s->from_c), failed);
    sr_json_set(object, "to_c", sr_json_number(s->to_c), failed);
    sr_json_set(object, "flights", sr_json_count(s->flights), failed);
    sr_json_set(object, "hardness", cells, failed);
    sr_json_set(object, "best_shore_a",
                s->best != SR_RANK_NONE ? sr_json_number(s->cells[s->best].shore_a) : json_null(), failed);
    sr_json_set(object, "clear", json_boolean(s->clear), failed);
    sr_json_set(object, "margin_db", sr_json_number(s->margin_db), failed);
    sr_json_set(object, "p", sr_json_number(s->p_value), failed);
    sr_json_set(object, "no_build_flew_both", json_boolean(s->apart), failed);
    return object;
}

static json_t *choice(const struct sr_rank_choice *c, bool *failed)
{
    json_t *object = json_object(), *hardness = json_array();

    for (size_t i = 0; i < c->count; i++)
        sr_json_add(hardness, sr_json_number(c->shore_a[i]), failed);
    sr_json_set(object, "shore_a", hardness, failed);
    sr_json_set(object, "under", sr_json_count(c->under), failed);
    sr_json_set(object, "over", sr_json_count(c->over), failed);
    sr_json_set(object, "unknown", sr_json_count(c->unknown), failed);
    sr_json_set(object, "share", sr_json_number(c->share.value), failed);
    sr_json_set(object, "share_low", sr_json_number(c->share.low), failed);
    sr_json_set(object, "share_high", sr_json_number(c->share.high), failed);
    sr_json_set(object, "worst_regret_db", sr_json_number(c->worst_regret_db), failed);
    sr_json_set(object, "mean_regret_db", sr_json_number(c->mean_regret_db), failed);
    sr_json_set(object, "worst_setup",
                c->worst_setup != SR_RANK_NONE ? sr_json_count(c->worst_setup) : json_null(), failed);
    return object;
}

static json_t *choices(const struct sr_rank_choice *all, size_t n, bool *failed)
{
    json_t *array = json_array();

    for (size_t i = 0; i < n; i++)
        sr_json_add(array, choice(&all[i], failed), failed);
    return array;
}

static json_t *kappas(const struct sr_rank_report *report, bool *failed)
{
    json_t *array = json_array();

    for (size_t i = 0; i < report->n_kappas; i++) {
        const struct sr_kappa_report *k = &report->kappas[i];
        json_t *object = json_object();
        sr_json_set(object, "material", sr_json_text(k->material), failed);
        sr_json_set(object, "kappa", sr_json_number(k->known ? k->kappa.kappa.value : NAN), failed);
        sr_json_set(object, "low", sr_json_number(k->known ? k->kappa.kappa.low : NAN), failed);
        sr_json_set(object, "high", sr_json_number(k->known ? k->kappa.kappa.high : NAN), failed);
        sr_json_set(object, "measured", sr_json_count(k->known ? k->kappa.measured : 0), failed);
        sr_json_set(object, "mounts", sr_json_count(k->known ? k->kappa.mounts : 0), failed);
        sr_json_set(object, "reason", k->known ? json_null() : sr_json_text(k->reason), failed);
        sr_json_add(array, object, failed);
    }
    return array;
}

enum sr_status sr_rank_json(FILE *out, const struct sr_rank_report *report, struct sr_error *err)
{
    const struct sr_rank *rank = report->rank;
    bool failed = false;
    json_t *root = json_object(), *setups = json_array(), *left = json_object();

    for (size_t s = 0; s < rank->n_setups; s++)
        sr_json_add(setups, setup(&rank->setups[s], &failed), &failed);
    sr_json_set(left, "unreadable", sr_json_count(rank->unreadable), &failed);
    sr_json_set(left, "unproven", sr_json_count(rank->unproven), &failed);
    sr_json_set(left, "no_hardness", sr_json_count(rank->no_hardness), &failed);
    sr_json_set(left, "no_level", sr_json_count(rank->no_level), &failed);
    sr_json_set(left, "no_mount", sr_json_count(rank->no_mount), &failed);

    sr_json_set(root, "schema", sr_json_text("stillrow.rank/1"), &failed);
    sr_json_set(root, "ledger", sr_json_text(report->path), &failed);
    sr_json_set(root, "flights", sr_json_count(rank->flights), &failed);
    sr_json_set(left, "doubled", sr_json_count(rank->doubled), &failed);
    sr_json_set(root, "left_out", left, &failed);
    sr_json_set(root, "mount_unknown", sr_json_count(rank->mount_unknown), &failed);
    sr_json_set(root, "setups", setups, &failed);
    sr_json_set(root, "counted_setups", sr_json_count(rank->n_counted), &failed);
    sr_json_set(root, "compared_setups", sr_json_count(rank->n_compared), &failed);
    sr_json_set(root, "single", choices(rank->single, rank->n_single, &failed), &failed);
    sr_json_set(root, "single_settled", json_boolean(rank->single_settled), &failed);
    sr_json_set(root, "pair", choices(rank->pair, rank->n_pair, &failed), &failed);
    sr_json_set(root, "pair_settled", json_boolean(rank->pair_settled), &failed);
    sr_json_set(root, "kappa", kappas(report, &failed), &failed);
    return sr_json_write(out, root, failed, err);
}
