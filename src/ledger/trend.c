/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Has a build's wobble grown? Ranks only, so that one odd flight neither hides nor makes a trend. */
#include "stillrow/trend.h"

#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "private.h"
#include "rank_private.h"
#include "support/plain_locale.h"

#define KENDALL_MAX 20

/* Permutations of n by their inversions, as shares: of one more value, 0..n fall behind it equally likely. */
double sr_kendall_p(size_t n, long s)
{
    double share[KENDALL_MAX * (KENDALL_MAX - 1) / 2 + 1] = {1}, next[sizeof share / sizeof *share];
    long pairs = (long)(n * (n - 1) / 2), most = 0;
    double p = 0;

    for (size_t k = 2; k <= n; k++) {
        for (long i = 0; i <= most + (long)k - 1; i++) {
            next[i] = 0;
            for (long j = i < (long)k ? 0 : i - (long)k + 1; j <= i && j <= most; j++)
                next[i] += share[j] / (double)k;
        }
        most += (long)k - 1;
        memcpy(share, next, (size_t)(most + 1) * sizeof *share);
    }
    /* S = pairs - 2 inversions, so S >= s is inversions <= (pairs - s) / 2. */
    for (long i = 0; i <= most && 2 * i <= pairs - s; i++)
        p += share[i];
    return fmin(p, 1);
}

static bool same_number(double a, double b)
{
    return (isnan(a) && isnan(b)) || fabs(a - b) < 0.05;
}

/* A mount that got warmer is another mount; where nothing is known of this flight, all others count. */
static bool as_warm(const struct sr_ledger_row *row, const struct sr_ledger_row *like)
{
    return isnan(like->temperature_c) || fabs(row->temperature_c - like->temperature_c) <= SR_TREND_REACH_C;
}

/* A mount that came into the wobble makes it another, without any wear. Where a row does not say, it counts.
 */
static bool through_the_same(const struct sr_ledger_row *row, const struct sr_ledger_row *like)
{
    return row->mount_in == like->mount_in || row->mount_in == SR_MOUNT_IN_UNKNOWN ||
           like->mount_in == SR_MOUNT_IN_UNKNOWN;
}

static bool is_like(const struct sr_ledger_row *row, const struct sr_ledger_row *like)
{
    return row->readable && row->wobble_px > 0 && strcmp(row->verdict, sr_verdict_name(SR_UNPROVEN)) != 0 &&
           compare_names(row->build, like->build) == 0 && compare_names(row->motor, like->motor) == 0 &&
           compare_names(row->prop, like->prop) == 0 && compare_names(row->camera, like->camera) == 0 &&
           same_number(row->shore_a, like->shore_a) && as_warm(row, like) &&
           same_number(row->width_px, like->width_px) && through_the_same(row, like);
}

static int by_date(const void *x, const void *y)
{
    const struct sr_ledger_row *a = *(const struct sr_ledger_row *const *)x;
    const struct sr_ledger_row *b = *(const struct sr_ledger_row *const *)y;
    int order = strcmp(a->date, b->date);
    return order != 0 ? order : (a > b) - (a < b);
}

/* Flights like this one, oldest first. */
static size_t take_rows(const struct sr_ledger_row **rows, const struct sr_ledger *ledger,
                        const struct sr_ledger_row *like, bool *dated)
{
    size_t n = 0;

    *dated = true;
    for (size_t i = 0; i < ledger->n_rows; i++) {
        if (!is_like(&ledger->rows[i], like))
            continue;
        *dated = *dated && sr_ledger_is_date(ledger->rows[i].date);
        rows[n++] = &ledger->rows[i];
    }
    n = rows_once(rows, n);
    if (*dated)
        qsort(rows, n, sizeof *rows, by_date);
    return n;
}

static double level_db(const struct sr_ledger_row *row)
{
    return 20 * log10(row->wobble_px);
}

static int by_value(const void *x, const void *y)
{
    const double *a = x, *b = y;
    return (*a > *b) - (*a < *b);
}

static void look(struct sr_trend *trend, const struct sr_ledger_row *const *rows, size_t n)
{
    double slopes[SR_TREND_FLIGHTS_MAX * (SR_TREND_FLIGHTS_MAX - 1) / 2] = {0};
    size_t pairs = 0;
    long s = 0;

    for (size_t i = 0; i < n; i++) {
        trend->from_c = fmin(trend->from_c, rows[i]->temperature_c);
        trend->to_c = fmax(trend->to_c, rows[i]->temperature_c);
        for (size_t j = i + 1; j < n; j++) {
            double rise_db = level_db(rows[j]) - level_db(rows[i]);
            s += (rise_db > 0) - (rise_db < 0);
            slopes[pairs++] = rise_db / (double)(j - i);
        }
    }
    qsort(slopes, pairs, sizeof *slopes, by_value);
    trend->slope_db = (slopes[(pairs - 1) / 2] + slopes[pairs / 2]) / 2;
    trend->growth_db = trend->slope_db * (double)(n - 1);
    trend->p_value = sr_kendall_p(n, s);
    trend->grown = trend->p_value <= 0.05 && trend->growth_db >= SR_TREND_DB_MIN;
}

static void say(struct sr_trend *trend, const struct sr_ledger_row *like)
{
    char weather[120] = "";

    if (trend->to_c - trend->from_c >= 10)
        snprintf(weather, sizeof weather,
                 " (or the mount, as it got warmer or colder: these flights were at %.0f to %.0f C)",
                 trend->from_c, trend->to_c);
    snprintf(
        trend->text, sizeof trend->text,
        "the wobble of %.60s has grown over its last %zu flights, by about %.1f dB a flight, %.0f dB in all "
        "(p = %.2g): a wearing bearing, a bent bell or shaft, a nicked prop grow like this%s; props off "
        "before "
        "you look",
        like->build, trend->flights, trend->slope_db, trend->growth_db, trend->p_value, weather);
}

static enum sr_status find_plainly(struct sr_trend *trend, const struct sr_ledger *ledger,
                                   const struct sr_ledger_row *like, struct sr_error *err)
{
    struct sr_trend made = {.slope_db = NAN, .growth_db = NAN, .p_value = NAN, .from_c = NAN, .to_c = NAN};
    struct sr_ledger_row whole = *like;
    const struct sr_ledger_row **rows = NULL;

    /* A row that was made, not read, may lack texts. */
    const char **const texts[] = {&whole.build, &whole.motor, &whole.prop, &whole.camera};
    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++)
        *texts[i] = *texts[i] != NULL ? *texts[i] : "";
    if (compare_names(whole.build, "") == 0) {
        *trend = made;
        return SR_OK;
    }
    if (ledger->n_rows < SIZE_MAX / sizeof *rows)
        rows = calloc(ledger->n_rows + 1, sizeof *rows);
    if (rows == NULL)
        return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for the build's flights");
    size_t n = take_rows(rows, ledger, &whole, &made.by_date);
    made.flights = n < SR_TREND_FLIGHTS_MAX ? n : SR_TREND_FLIGHTS_MAX;
    if (made.flights >= SR_TREND_FLIGHTS_MIN)
        look(&made, rows + (n - made.flights), made.flights);
    if (made.grown)
        say(&made, &whole);
    free(rows);
    *trend = made;
    return SR_OK;
}

enum sr_status sr_trend_find(struct sr_trend *trend, const struct sr_ledger *ledger,
                             const struct sr_ledger_row *like, struct sr_error *err)
{
    struct sr_plain_locale locale;

    enum sr_status status = sr_plain_begin(&locale, err);
    if (status != SR_OK)
        return status;
    status = find_plainly(trend, ledger, like, err);
    sr_plain_end(&locale);
    return status;
}
