/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "log/timebase.h"

#include <float.h>
#include <math.h>

#include "log/coarse.h"
#include "log/names.h"
#include "log/note.h"
#include "log/slots.h"
#include "log/steps.h"

#define NEAR_LOW     0.49 /* [base steps] a step from here on ... */
#define NEAR_HIGH    1.51 /* ... to here is one step, not more */
#define MANY         0.2  /* share of such steps that their mean is trusted from */
#define COARSE_UNITS 8.0  /* [stamp units] steps under this cannot tell two rows in a slot from rounding */
#define STAMP_PARTS  2.0  /* of its double's resolution, that a step between two stamps is good to */
#define BACK_SHARE   0.3  /* of rows whose time went back: of a third, every second row may be lost */
#define USABLE_S     2.0  /* [s] least length of a log */

/* Rows with the stamp of the row before: all of them, and those whose rates differ from it. */
static size_t count_equal(const struct sr_store *store, size_t *moving)
{
    size_t equal = 0;

    *moving = 0;
    for (size_t i = 1; i < store->count; i++) {
        if (store->time_s[i] > store->time_s[i - 1])
            continue;
        equal++;
        *moving += store->rate[0][i] != store->rate[0][i - 1] || store->rate[1][i] != store->rate[1][i - 1] ||
                   store->rate[2][i] != store->rate[2][i - 1];
    }
    return equal;
}

static void drop_equal(struct sr_store *store)
{
    size_t kept = 1;

    for (size_t i = 1; i < store->count; i++) {
        if (store->time_s[i] <= store->time_s[kept - 1])
            continue;
        store->time_s[kept] = store->time_s[i];
        for (size_t axis = 0; axis < 3; axis++)
            store->rate[axis][kept] = store->rate[axis][i];
        kept++;
    }
    store->backward += store->count - kept;
    store->count = kept;
}

/* ---- stamps that are good ---------------------------------------------------- */

#define LANES 4 /* sums side by side, or each addition would wait for the one before */

/* What a look at every step tells. */
struct look {
    double single_s; /* from one row to the next where none is missing */
    bool skips;      /* some rows are missing, ... */
    bool gaps;       /* ... or so many that the run ends there */
};

static struct look look_at(const struct sr_store *store, double base, double gap_s)
{
    const double *t = store->time_s;
    double sum[LANES] = {0}, near[LANES] = {0};
    unsigned skips = 0, gaps = 0;

    for (size_t i = 1; i < store->count; i++) {
        const double step = t[i] - t[i - 1];
        const bool is_near = step > NEAR_LOW * base && step < NEAR_HIGH * base;
        sum[i % LANES] += is_near ? step - base : 0.0; /* about the base: no loss of digits */
        near[i % LANES] += is_near ? 1.0 : 0.0;
        skips |= step >= 1.5 * base && step <= gap_s;
        gaps |= step > gap_s;
    }
    const double n = near[0] + near[1] + near[2] + near[3], all = sum[0] + sum[1] + (sum[2] + sum[3]);
    return (struct look){.single_s = n > MANY * (double)store->count ? base + all / n : base,
                         .skips = skips != 0,
                         .gaps = gaps != 0};
}

/* Where there are no gaps, it is all one run. */
static bool cut_at_gaps(struct sr_log *log, const struct sr_store *store, double gap_s, bool gaps)
{
    size_t room = 0;
    size_t first = 0;

    for (size_t i = gaps ? 1 : store->count; i <= store->count; i++) {
        if (i < store->count && store->time_s[i] - store->time_s[i - 1] <= gap_s)
            continue;
        if (!sr_runs_add(log, &room, first, i - first, store->time_s[first]))
            return false;
        first = i;
    }
    log->quality.gaps = log->n_runs - 1;
    return true;
}

/* Rate and jitter from the steps within runs, each taken over the slots it spans. */
static void measure_steps(struct sr_log *log, const struct sr_store *store, double about)
{
    double sum = 0.0, squares = 0.0;
    double slots = 0.0;
    size_t n = 0;

    for (size_t r = 0; r < log->n_runs; r++)
        for (size_t i = log->runs[r].first + 1; i < log->runs[r].first + log->runs[r].count; i++) {
            const double to = (double)sr_slots_to(store, i);
            const double off = store->time_s[i] - store->time_s[i - 1] - to * about;
            sum += off;
            squares += off * off;
            slots += to;
            n++;
        }
    if (n == 0)
        return;
    const double mean = sum / (double)n;
    log->rate_hz = 1.0 / (about + sum / slots);
    log->quality.jitter_us = 1e6 * sqrt(fmax(0.0, squares / (double)n - mean * mean));
}

static void count_lost(struct sr_log *log, const struct sr_store *store)
{
    for (size_t r = 0; r < log->n_runs; r++) {
        const size_t first = log->runs[r].first;
        log->quality.lost_rows += sr_slots_missing(store, &log->runs[r]);
        if (r > 0) {
            const double step = store->time_s[first] - store->time_s[first - 1];
            log->quality.lost_rows += (uint64_t)fmax(1.0, round(step * log->rate_hz) - 1.0);
        }
    }
}

/* Stamps are gone by: long holes cut, short ones are marked. */
static bool go_by_stamps(struct sr_log *log, struct sr_store *store, const struct sr_steps *steps)
{
    const double gap_s = SR_HOLE_STEPS * steps->base_s;
    const struct look look = look_at(store, steps->base_s, gap_s);
    const double unit_s = steps->base_s < COARSE_UNITS * steps->quantum_s ? steps->quantum_s : 0.0;

    if (!cut_at_gaps(log, store, gap_s, look.gaps))
        return false;
    if (look.skips && !sr_store_mark(store))
        return false;
    for (size_t r = 0; look.skips && r < log->n_runs; r++)
        sr_slots_walk(store, &log->runs[r], look.single_s, unit_s);
    measure_steps(log, store, steps->base_s);
    count_lost(log, store);
    return true;
}

/* ---- all of it ------------------------------------------------------------- */

/* The unit that would make the rate one that gyros have, or NULL. */
static const char *likely_unit(const struct sr_log *log)
{
    static const char *const units[] = {"us", "ms", "s"};
    const double now_s = sr_unit_seconds(log->columns.time.unit);

    for (size_t u = 0; u < sizeof units / sizeof units[0] && now_s > 0.0; u++) {
        const double longer = sr_unit_seconds(units[u]) / now_s;
        if (longer > 1.5 && log->rate_hz / longer >= SR_GYRO_LOW_HZ &&
            log->rate_hz / longer <= SR_GYRO_HIGH_HZ)
            return units[u];
    }
    return NULL;
}

static enum sr_status too_short(const struct sr_log *log, double usable_s, struct sr_error *err)
{
    const char *unit = log->rate_hz > SR_GYRO_HIGH_HZ ? likely_unit(log) : NULL;

    if (unit != NULL)
        return sr_fail(
            err, SR_ERR_SHORT, log->name, 0,
            "only %.3g s of samples, at %.4g a second: the time %s is hardly in %s; try --time-unit "
            "%s",
            usable_s, log->rate_hz, sr_column_words(&log->columns.time).text, log->columns.time.unit, unit);
    return sr_fail(err, SR_ERR_SHORT, log->name, 0, "only %.3g s of samples, at least %.3g s are needed",
                   usable_s, USABLE_S);
}

static enum sr_status check(struct sr_log *log, const struct sr_store *store, struct sr_error *err)
{
    struct sr_quality *quality = &log->quality;
    double usable_s = 0.0;
    double longest_s = 0.0;

    if (!(log->rate_hz >= SR_RATE_LOW_HZ && log->rate_hz <= SR_RATE_HIGH_HZ))
        return sr_fail(
            err, SR_ERR_TIME, log->name, 0,
            "the time %s makes %.4g samples a second: give its unit with --time-unit, or the rate with "
            "--sample-rate",
            sr_column_words(&log->columns.time).text, log->rate_hz);
    for (size_t r = 0; r < log->n_runs; r++) {
        const double run_s =
            (double)(log->runs[r].count + sr_slots_missing(store, &log->runs[r])) / log->rate_hz;
        longest_s = fmax(longest_s, run_s);
        usable_s += run_s;
    }
    /* Even an even clock's decimal stamps scatter by what a double of that size rounds off. */
    if (quality->jitter_us < 1e6 * STAMP_PARTS * DBL_EPSILON * fmax(quality->duration_s, 1.0))
        quality->jitter_us = 0.0;
    quality->rate_hz = log->rate_hz;
    quality->nyquist_hz = log->rate_hz / 2.0;
    if (usable_s < USABLE_S)
        return too_short(log, usable_s, err);
    if (longest_s < 1.0)
        return sr_fail(err, SR_ERR_SHORT, log->name, 0,
                       "%zu gap%s no whole second without one (the longest run is %.3g s)", quality->gaps,
                       quality->gaps == 1 ? " leaves" : "s leave", longest_s);
    return SR_OK;
}

/* Times that run backwards, or enough rows to speak of? */
static enum sr_status check_order(const struct sr_log *log, const struct sr_store *store,
                                  struct sr_error *err)
{
    if ((double)store->backward > BACK_SHARE * (double)store->rows)
        return sr_fail(err, SR_ERR_TIME, log->name, store->backward_line,
                       "the time %s runs backwards: %llu of %llu rows are earlier than one before; sort the "
                       "rows by time, name another column, or give --sample-rate HZ",
                       sr_column_words(&log->columns.time).text, (unsigned long long)store->backward,
                       (unsigned long long)store->rows);
    if (store->count < 3)
        return sr_fail(err, SR_ERR_SHORT, log->name, 0, "only %zu usable row%s", store->count,
                       store->count == 1 ? "" : "s");
    return SR_OK;
}

enum sr_status sr_timebase_make(struct sr_log *log, struct sr_store *store, struct sr_error *err)
{
    struct sr_steps steps;
    size_t moving;
    enum sr_status status = check_order(log, store, err);

    if (status != SR_OK)
        return status;
    const size_t equal = count_equal(store, &moving);
    if (2 * moving < equal && (double)moving <= SR_EQUAL_SHARE * (double)store->count) {
        drop_equal(store); /* rows that were written twice */
        moving = 0;
    }
    if (store->count < 3)
        return sr_fail(err, SR_ERR_TIME, log->name, 0,
                       "the time %s does not move: name another column, or give --sample-rate HZ",
                       sr_column_words(&log->columns.time).text);
    if (!sr_steps_sample(store, &steps))
        return sr_fail(err, SR_ERR_MEMORY, log->name, 0, "out of memory");
    const bool coarse = sr_steps_are_coarse(store, &steps, moving);
    if (moving > 0 && !coarse)
        drop_equal(store);
    log->quality.duration_s = store->time_s[store->count - 1] - store->time_s[0];
    log->quality.backward_rows = store->backward;
    if (coarse)
        status = sr_coarse_rebuild(log, store, &steps, err);
    else if (!go_by_stamps(log, store, &steps))
        status = sr_fail(err, SR_ERR_MEMORY, log->name, 0, "out of memory");
    return status == SR_OK ? check(log, store, err) : status;
}
