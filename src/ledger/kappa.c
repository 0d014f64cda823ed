/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Stiffness against temperature, from measured resonances. */
#include "stillrow/kappa.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "rank_private.h"
#include "support/plain_locale.h"

/* Rows of one mount: the same pieces under the same mass. */
static int compare_mounts(const struct sr_ledger_row *a, const struct sr_ledger_row *b)
{
    int order = compare_names(a->build, b->build);
    if (order == 0)
        order = compare_names(a->motor, b->motor);
    if (order == 0)
        order = compare_names(a->prop, b->prop);
    if (order == 0)
        order = compare_names(a->material, b->material);
    if (order == 0)
        order = compare_names(a->camera, b->camera);
    return order != 0 ? order : compare_numbers(a->shore_a, b->shore_a);
}

static int by_mount(const void *x, const void *y)
{
    const struct sr_ledger_row *a = *(const struct sr_ledger_row *const *)x;
    const struct sr_ledger_row *b = *(const struct sr_ledger_row *const *)y;
    int order = compare_mounts(a, b);
    if (order == 0)
        order = compare_numbers(a->temperature_c, b->temperature_c);
    return order != 0 ? order : compare_numbers(a->resonance_hz, b->resonance_hz);
}

/* What one rig file says of its mount is in every flight's row: that is one measurement. */
static bool same_measurement(const struct sr_ledger_row *a, const struct sr_ledger_row *b)
{
    return compare_mounts(a, b) == 0 && compare_numbers(a->temperature_c, b->temperature_c) == 0 &&
           compare_numbers(a->resonance_hz, b->resonance_hz) == 0;
}

/* Rows with a measurement, sorted, each once. */
static size_t take_rows(const struct sr_ledger_row **rows, const struct sr_ledger *ledger,
                        enum sr_material material)
{
    size_t n = 0, kept = 0;

    for (size_t i = 0; i < ledger->n_rows; i++) {
        const struct sr_ledger_row *row = &ledger->rows[i];
        bool wanted =
            material == SR_MATERIAL_UNKNOWN || compare_names(row->material, sr_material_name(material)) == 0;
        if (row->readable && wanted && isfinite(row->temperature_c) && row->resonance_hz > 0)
            rows[n++] = row;
    }
    qsort(rows, n, sizeof *rows, by_mount);
    for (size_t i = 0; i < n; i++)
        if (kept == 0 || !same_measurement(rows[kept - 1], rows[i]))
            rows[kept++] = rows[i];
    return kept;
}

static bool several_materials(const struct sr_ledger_row *const *rows, size_t n)
{
    for (size_t i = 1; i < n; i++)
        if (compare_names(rows[i]->material, rows[0]->material) != 0)
            return true;
    return false;
}

/* Sums over mounts, each about its own means. */
struct sums {
    double tt, ty, yy;
    size_t n, mounts;
    double spread_c, from_c, to_c;
};

/* A mount measured at one temperature only says nothing of the slope. Rows of a mount are sorted by it. */
static void add_mount(struct sums *sums, const struct sr_ledger_row *const *rows, size_t n)
{
    double t = 0, y = 0, coldest = rows[0]->temperature_c, warmest = rows[n - 1]->temperature_c;

    if (!(warmest > coldest))
        return;
    for (size_t i = 0; i < n; i++) {
        t += rows[i]->temperature_c / (double)n;
        y += log(rows[i]->resonance_hz) / (double)n;
    }
    for (size_t i = 0; i < n; i++) {
        double dt = rows[i]->temperature_c - t, dy = log(rows[i]->resonance_hz) - y;
        sums->tt += dt * dt;
        sums->ty += dt * dy;
        sums->yy += dy * dy;
    }
    sums->n += n;
    sums->mounts++;
    sums->spread_c = fmax(sums->spread_c, warmest - coldest);
    sums->from_c = fmin(sums->from_c, coldest);
    sums->to_c = fmax(sums->to_c, warmest);
}

static enum sr_status check(const struct sums *sums, size_t measured, struct sr_error *err)
{
    if (sums->n < SR_KAPPA_MEASURED_MIN)
        return sr_fail(
            err, SR_ERR_DATA, NULL, 0,
            "too few measured resonances to tell how the rubber changes with temperature: %zu, of which "
            "%zu on mounts measured at two temperatures or more; it takes %d of those",
            measured, sums->n, SR_KAPPA_MEASURED_MIN);
    if (sums->spread_c < SR_KAPPA_SPREAD_MIN_C)
        return sr_fail(
            err, SR_ERR_DATA, NULL, 0,
            "measured resonances of one mount lie within %.3g C at most; it takes %g C to tell how the "
            "rubber changes with temperature",
            sums->spread_c, SR_KAPPA_SPREAD_MIN_C);
    return SR_OK;
}

/* With n values on mounts of two or more each, degrees of freedom are n / 2 - 1 at least. */
static void fit(struct sr_kappa *kappa, const struct sums *s)
{
    double slope = s->ty / s->tt, dof = (double)(s->n - s->mounts - 1);
    double rest = fmax(0, s->yy - slope * s->ty) / dof;
    double reach = gsl_cdf_tdist_Qinv(0.025, dof) * sqrt(rest / s->tt);

    *kappa = (struct sr_kappa){.kappa = {-2 * slope, -2 * (slope + reach), -2 * (slope - reach)},
                               .measured = s->n,
                               .mounts = s->mounts,
                               .from_c = s->from_c,
                               .to_c = s->to_c,
                               .scatter = sqrt(rest)};
}

static enum sr_status find_plainly(struct sr_kappa *kappa, const struct sr_ledger *ledger,
                                   enum sr_material material, struct sr_error *err)
{
    const struct sr_ledger_row **rows = NULL;
    struct sums sums = {.from_c = INFINITY, .to_c = -INFINITY};
    enum sr_status status;

    if (ledger->n_rows < SIZE_MAX / sizeof *rows)
        rows = calloc(ledger->n_rows + 1, sizeof *rows);
    if (rows == NULL)
        return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for the measured resonances");
    size_t n = take_rows(rows, ledger, material);
    for (size_t i = 0, end; i < n; i = end) {
        for (end = i + 1; end < n && compare_mounts(rows[i], rows[end]) == 0;)
            end++;
        add_mount(&sums, rows + i, end - i);
    }
    if (material == SR_MATERIAL_UNKNOWN && several_materials(rows, n))
        status =
            sr_fail(err, SR_ERR_DATA, NULL, 0,
                    "measured resonances are of several materials, which change with temperature each in its "
                    "own way; name one");
    else
        status = check(&sums, n, err);
    if (status == SR_OK)
        fit(kappa, &sums);
    free(rows);
    return status;
}

enum sr_status sr_ledger_kappa(struct sr_kappa *kappa, const struct sr_ledger *ledger,
                               enum sr_material material, struct sr_error *err)
{
    struct sr_plain_locale locale;

    enum sr_status status = sr_plain_begin(&locale, err);
    if (status != SR_OK)
        return status;
    status = find_plainly(kappa, ledger, material, err);
    sr_plain_end(&locale);
    return status;
}
