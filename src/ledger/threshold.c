/* SPDX-License-Identifier: GPL-3.0-or-later */
/* From rated footage to the threshold. */
#include "stillrow/threshold.h"
#include "private.h"
#include "support/plain_locale.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

/* Rated flights: ln of the wobble on a picture 1920 px wide, and whether it shows. */
struct rated {
    const struct sr_ledger_row **rows;
    double *x;
    bool *shows;
    size_t n;
};

static enum sr_status rated_init(struct rated *rated, size_t rows, struct sr_error *err)
{
    *rated = (struct rated){NULL, NULL, NULL, 0};
    if (rows < SIZE_MAX / sizeof(double)) {
        rated->rows = calloc(rows + 1, sizeof *rated->rows);
        rated->x = calloc(rows + 1, sizeof *rated->x);
        rated->shows = calloc(rows + 1, sizeof *rated->shows);
    }
    return rated->rows != NULL && rated->x != NULL && rated->shows != NULL
               ? SR_OK
               : sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for the rated flights");
}

static void rated_release(struct rated *rated)
{
    free(rated->rows);
    free(rated->x);
    free(rated->shows);
}

/* [px RMS] on a picture 1920 px wide */
static double wide_px(const struct sr_ledger_row *row)
{
    return row->wobble_px * 1920 / row->width_px;
}

static void take_rows(struct sr_threshold *t, struct rated *rated, const struct sr_ledger *ledger)
{
    size_t n = 0;

    for (size_t i = 0; i < ledger->n_rows; i++) {
        const struct sr_ledger_row *row = &ledger->rows[i];
        if (!row->readable)
            t->unreadable++;
        else if (row->rating == SR_UNRATED)
            t->unrated++;
        else if (strcmp(row->verdict, sr_verdict_name(SR_UNPROVEN)) == 0)
            t->unproven++;
        else if (isnan(row->width_px))
            t->no_width++;
        else if (!(wide_px(row) > 0))
            t->no_wobble++;
        else /* NOLINTNEXTLINE(clang-analyzer-core.NullDereference): the caller made room for every row */
            rated->rows[n++] = row;
    }
    rated->n = rows_once(rated->rows, n);
    t->doubled = n - rated->n;
    t->worst_clean_px = t->best_shown_px = NAN;
    for (size_t i = 0; i < rated->n; i++) {
        const struct sr_ledger_row *row = rated->rows[i];
        double px = wide_px(row);
        rated->x[i] = log(px);
        rated->shows[i] = row->rating != SR_RATED_CLEAN;
        t->clean += row->rating == SR_RATED_CLEAN;
        t->slight += row->rating == SR_RATED_SLIGHT;
        t->bad += row->rating == SR_RATED_BAD;
        t->with_mount += row->mount_in == SR_MOUNT_IN_LOGGED || row->mount_in == SR_MOUNT_IN_MODELLED;
        t->without_mount += row->mount_in == SR_MOUNT_IN_NO;
        if (rated->shows[i])
            t->best_shown_px = fmin(t->best_shown_px, px);
        else
            t->worst_clean_px = fmax(t->worst_clean_px, px);
    }
}

static enum sr_status too_few(const struct sr_threshold *t, struct sr_error *err)
{
    return sr_fail(
        err, SR_ERR_DATA, NULL, 0,
        "too few rated flights: %zu clean, %zu slight or bad; it takes %d of each, and %d in all where "
        "their wobble overlaps",
        t->clean, t->slight + t->bad, SR_THRESHOLD_EACH_MIN, SR_THRESHOLD_FLIGHTS_MIN);
}

static enum sr_status wrong_way(struct sr_error *err)
{
    return sr_fail(
        err, SR_ERR_DATA, NULL, 0,
        "footage rated clean wobbles more than footage rated slight or bad; are ratings and flights "
        "mixed up?");
}

static enum sr_status all_alike(struct sr_error *err)
{
    return sr_fail(
        err, SR_ERR_DATA, NULL, 0,
        "all rated flights wobble alike, so nothing tells where it begins to show; rate calmer and "
        "shakier ones");
}

static enum sr_status fit(struct sr_threshold *t, const struct rated *rated, struct sr_error *err)
{
    struct sr_interval half;

    if (rated->n < SR_THRESHOLD_FLIGHTS_MIN)
        return too_few(t, err);
    enum sr_status status = sr_logistic_fit(&t->logistic, rated->x, rated->shows, rated->n, err);
    if (status != SR_OK)
        return status;
    if (!(t->logistic.p_value < 0.05))
        return sr_fail(
            err, SR_ERR_DATA, NULL, 0,
            "no relation is shown between wobble and rating in %zu flights (p = %.2g; below 0.05 is asked "
            "for); rate more flights, calm and wobbly ones",
            rated->n, t->logistic.p_value);
    if (t->logistic.slope < 0)
        return wrong_way(err);
    status = sr_logistic_half(&t->logistic, rated->x, rated->shows, rated->n, 0.95, &half, err);
    if (status != SR_OK)
        return status;
    t->kind = SR_THRESHOLD_FITTED;
    t->px = (struct sr_interval){exp(half.value), exp(half.low), exp(half.high)};
    /* From odds of 1 to 3 to odds of 3 to 1: 2 ln 3 / slope in ln(px). */
    t->slope_db = 20 / log(10) * 2 * log(3) / t->logistic.slope;
    return SR_OK;
}

static enum sr_status find(struct sr_threshold *t, const struct rated *rated, struct sr_error *err)
{
    size_t shown = t->slight + t->bad;
    enum sr_status status = SR_OK;

    if (t->clean < SR_THRESHOLD_EACH_MIN || shown < SR_THRESHOLD_EACH_MIN)
        return too_few(t, err);
    double least = INFINITY, most = -INFINITY; /* clean ones from below, shown ones from above */
    for (size_t i = 0; i < rated->n; i++) {
        least = rated->shows[i] ? least : fmin(least, rated->x[i]);
        most = rated->shows[i] ? fmax(most, rated->x[i]) : most;
    }
    if (most <= least && t->worst_clean_px >= t->best_shown_px)
        return t->worst_clean_px > t->best_shown_px ? wrong_way(err) : all_alike(err);
    if (t->worst_clean_px <= t->best_shown_px) {
        t->kind = SR_THRESHOLD_BRACKET;
        t->px = (struct sr_interval){sqrt(t->worst_clean_px * t->best_shown_px), t->worst_clean_px,
                                     t->best_shown_px};
    } else {
        status = fit(t, rated, err);
    }
    for (size_t i = 0; i < rated->n && status == SR_OK; i++)
        t->misrated += rated->shows[i] != (rated->x[i] > log(t->px.value));
    return status;
}

static enum sr_status find_plainly(struct sr_threshold *threshold, const struct sr_ledger *ledger,
                                   struct sr_error *err)
{
    struct sr_threshold made = {0};
    struct rated rated;

    enum sr_status status = rated_init(&rated, ledger->n_rows, err);
    if (status == SR_OK) {
        take_rows(&made, &rated, ledger);
        status = find(&made, &rated, err);
    }
    rated_release(&rated);
    if (status == SR_OK)
        *threshold = made;
    return status;
}

enum sr_status sr_threshold_find(struct sr_threshold *threshold, const struct sr_ledger *ledger,
                                 struct sr_error *err)
{
    struct sr_plain_locale locale;

    enum sr_status status = sr_plain_begin(&locale, err);
    if (status != SR_OK)
        return status;
    status = find_plainly(threshold, ledger, err);
    sr_plain_end(&locale);
    return status;
}
