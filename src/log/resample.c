/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "log/note.h"
#include "log/slots.h"
#include "log/timebase.h"

#define LAG_S        0.02  /* [s] jitter is measured against neighbours so far away: slower wander is drift */
#define JITTER_RMS   0.01  /* [steps] RMS scatter that is left alone: under -40 dB at a quarter of the rate */
#define JITTER_MOST  0.25  /* [steps] most that a single row may be off */
#define DRIFT_S      0.005 /* [s] most that a run may drift from its uniform times */
#define LAG_LEAST    8.0   /* [rows] */
#define UNIT_RMS     0.4   /* [stamp units] of scatter that rounding makes, at most */
#define UNIT_MOST    2.0   /* [stamp units] of a single row */
#define UNIT_ASKED   4096  /* steps that are asked for the unit */
#define UNIT_LEAST_S 1e-10 /* [s] less is rounding of the doubles */
#define END_SLACK    1e-3  /* [steps] that a run's last row may be short of its slot */
#define KNOTS        4096  /* knots of a spline at a time */
#define MARGIN       32    /* knots beyond them on each side: a spline forgets by 0.27 a knot */
#define BLOCK        (KNOTS + 2 * MARGIN)

/* The most [s] that a run's rows are off from their uniform times. */
static double drift_of(const struct sr_store *store, const struct sr_run *run, double step_s)
{
    const double *t = store->time_s + run->first;
    double drift = 0.0;
    double slot = 0.0;

    for (size_t i = 1; i < run->count; i++) {
        slot += (double)sr_slots_to(store, run->first + i);
        const double off = fabs(t[i] - t[0] - slot * step_s);
        drift = off > drift ? off : drift;
    }
    return drift;
}

/* [s] Scatter of a run's rows against those about them. */
struct scatter {
    double rms, most;
};

/* Against the mean of those `lag` rows before and after; 2 lag < count. */
static struct scatter scatter_of(const struct sr_store *store, const struct sr_run *run, size_t lag)
{
    const double *t = store->time_s + run->first;
    const size_t n = run->count;
    struct scatter scatter = {0};
    double before = 0.0; /* slots from row i - lag to i, and from i to i + lag */
    double after = 0.0;
    double squares = 0.0;

    for (size_t k = 1; k <= 2 * lag; k++)
        *(k <= lag ? &before : &after) += (double)sr_slots_to(store, run->first + k);
    for (size_t i = lag; i + lag < n; i++) {
        const double off = t[i] - (after * t[i - lag] + before * t[i + lag]) / (before + after);
        squares += off * off;
        scatter.most = fabs(off) > scatter.most ? fabs(off) : scatter.most;
        const double passed = (double)sr_slots_to(store, run->first + i + 1);
        before += passed - (double)sr_slots_to(store, run->first + i - lag + 1);
        after += (i + lag + 1 < n ? (double)sr_slots_to(store, run->first + i + lag + 1) : 0.0) - passed;
    }
    scatter.rms = sqrt(squares / (double)(n - 2 * lag) / 1.5);
    return scatter;
}

/*
 * Does the run need resampling, for its drift (part 0) or its scatter? Only what the stamps can show counts:
 * a scatter within their own unit is the clock's, not the sampling's.
 */
static bool is_uneven(const struct sr_store *store, const struct sr_run *run, double step_s, double unit_s,
                      size_t part)
{
    const size_t lag = (size_t)fmax(LAG_LEAST, LAG_S / step_s);

    if (part == 0)
        return drift_of(store, run, step_s) > fmax(DRIFT_S, unit_s);
    if (run->count < 2 * lag + 1)
        return false;
    const struct scatter scatter = scatter_of(store, run, lag);
    return scatter.rms > fmax(JITTER_RMS * step_s, UNIT_RMS * unit_s) ||
           scatter.most > fmax(JITTER_MOST * step_s, UNIT_MOST * unit_s);
}

/* Rows that stand evenly but for missing ones are put right on their slots: interpolation then leaves them
 * alone. */
static void snap(struct sr_store *store, const struct sr_run *run, double step_s)
{
    double *t = store->time_s + run->first;
    size_t slot = 0;

    for (size_t i = 1; i < run->count; i++) {
        slot += sr_slots_to(store, run->first + i);
        t[i] = t[0] + (double)slot * step_s;
    }
}

/* Second derivatives m[n] of the natural cubic spline through (t, y); work[n]. */
static void spline_solve(const double *t, const double *y, size_t n, double *m, double *work)
{
    m[0] = work[0] = 0.0;
    for (size_t i = 1; i + 1 < n; i++) {
        const double before = t[i] - t[i - 1];
        const double after = t[i + 1] - t[i];
        const double left = before / (before + after);
        const double curve =
            6.0 * ((y[i + 1] - y[i]) / after - (y[i] - y[i - 1]) / before) / (before + after);
        const double pivot = 2.0 + left * work[i - 1];
        work[i] = (left - 1.0) / pivot;
        m[i] = (curve - left * m[i - 1]) / pivot;
    }
    m[n - 1] = 0.0;
    for (size_t i = n - 1; i-- > 1;)
        m[i] += work[i] * m[i + 1];
}

static double spline_at(const double *t, const double *y, const double *m, size_t i, double x)
{
    const double h = t[i + 1] - t[i];
    const double b = (x - t[i]) / h;
    const double a = 1.0 - b;

    return a * y[i] + b * y[i + 1] + ((a * a * a - a) * m[i] + (b * b * b - b) * m[i + 1]) * h * h / 6.0;
}

/* A run's n samples y at times t onto count samples at t[0] + k step. work: 2 * BLOCK. */
static void resample_run(const double *t, const double *y, size_t n, double step_s, double *out, size_t count,
                         double *work)
{
    size_t k = 0;

    for (size_t from = 0; from + 1 < n && k < count; from += KNOTS) {
        const size_t low = from > MARGIN ? from - MARGIN : 0;
        const size_t high = n - from > KNOTS + MARGIN ? from + KNOTS + MARGIN : n;
        const size_t stop = n - from > KNOTS ? from + KNOTS : n - 1;
        size_t i = from;
        spline_solve(t + low, y + low, high - low, work, work + BLOCK);
        for (; k < count; k++) {
            const double x = t[0] + (double)k * step_s;
            while (i < stop && x > t[i + 1])
                i++;
            if (i == stop && stop < n - 1)
                break;
            if (i == n - 1)
                i--;
            out[k] = spline_at(t + low, y + low, work, i - low, fmin(x, t[n - 1]));
        }
    }
}

/* Samples of a run on the uniform base. */
static size_t uniform_count(const double *t, const struct sr_run *run, double step_s)
{
    return (size_t)floor((t[run->first + run->count - 1] - t[run->first]) / step_s + END_SLACK) + 1;
}

static bool resample_axis(const struct sr_log *log, const struct sr_store *store, const bool *uneven,
                          const size_t *count, double *out, size_t axis)
{
    double *work = malloc(2 * (size_t)BLOCK * sizeof *work);
    const double step_s = 1.0 / log->rate_hz;

    if (work == NULL)
        return false;
    for (size_t r = 0; r < log->n_runs; r++) {
        const struct sr_run *run = &log->runs[r];
        if (uneven[r])
            resample_run(store->time_s + run->first, store->rate[axis] + run->first, run->count, step_s, out,
                         count[r], work);
        else
            memcpy(out, store->rate[axis] + run->first, run->count * sizeof *out);
        out += count[r];
    }
    free(work);
    return true;
}

/* Axis by axis, so that one axis' copy is all that is needed on top. */
static bool resample_all(struct sr_log *log, struct sr_store *store, const bool *uneven, const size_t *count,
                         size_t total)
{
    for (size_t axis = 0; axis < 3; axis++) {
        double *out = malloc(total * sizeof *out);
        if (out == NULL)
            return false;
        if (!resample_axis(log, store, uneven, count, out, axis)) {
            free(out);
            return false;
        }
        free(store->rate[axis]);
        store->rate[axis] = out;
    }
    for (size_t r = 0, first = 0; r < log->n_runs; first += count[r], r++) {
        log->runs[r].first = first;
        log->runs[r].count = count[r];
    }
    store->count = total;
    return true;
}

/* The unit of the stamps, as far as the steps show one. */
static double stamp_unit(const struct sr_store *store)
{
    double least = INFINITY;
    double unit = 0.0;

    for (size_t i = 1; i < store->count && i < UNIT_ASKED; i++) {
        const double change = fabs((store->time_s[i] - store->time_s[i - 1]) -
                                   (store->time_s[i > 1 ? i - 1 : i] - store->time_s[i > 1 ? i - 2 : i - 1]));
        if (change > UNIT_LEAST_S && change < least)
            least = change;
    }
    if (least < INFINITY)
        unit = least;
    return unit;
}

bool sr_evenness_init(struct sr_evenness *evenness, const struct sr_log *log, const struct sr_store *store)
{
    *evenness = (struct sr_evenness){.unit_s = stamp_unit(store)};
    for (size_t part = 0; part < SR_EVENNESS_PARTS; part++)
        if ((evenness->uneven[part] = calloc(log->n_runs, sizeof *evenness->uneven[part])) == NULL)
            return false;
    return true;
}

void sr_evenness_release(struct sr_evenness *evenness)
{
    for (size_t part = 0; part < SR_EVENNESS_PARTS; part++)
        free(evenness->uneven[part]);
}

void sr_evenness_look(struct sr_evenness *evenness, const struct sr_log *log, const struct sr_store *store,
                      size_t part)
{
    for (size_t r = 0; r < log->n_runs; r++)
        evenness->uneven[part][r] =
            !log->quality.coarse_stamps && log->runs[r].count >= 4 &&
            is_uneven(store, &log->runs[r], 1.0 / log->rate_hz, evenness->unit_s, part);
}

/* Which runs are to be interpolated, and how many samples each will have; true if any jitters. */
static bool plan(struct sr_log *log, struct sr_store *store, const struct sr_evenness *evenness, bool *uneven,
                 size_t *count)
{
    const double step_s = 1.0 / log->rate_hz;
    bool jitters = false;

    for (size_t r = 0; r < log->n_runs; r++) {
        const struct sr_run *run = &log->runs[r];
        const size_t missing = sr_slots_missing(store, run);
        uneven[r] = evenness->uneven[0][r] || evenness->uneven[1][r];
        count[r] = uneven[r] ? uniform_count(store->time_s, run, step_s) : run->count + missing;
        jitters = jitters || uneven[r];
        if (!uneven[r] && missing > 0) {
            snap(store, run, step_s);
            uneven[r] = true;
        }
    }
    return jitters;
}

enum sr_status sr_timebase_resample(struct sr_log *log, struct sr_store *store,
                                    const struct sr_evenness *evenness, struct sr_error *err)
{
    bool *uneven = calloc(log->n_runs, sizeof *uneven);
    size_t *count = calloc(log->n_runs, sizeof *count);
    size_t total = 0;
    bool any = false;
    bool ok = uneven != NULL && count != NULL && sr_bridge_note(log, store);

    if (ok)
        log->quality.resampled = plan(log, store, evenness, uneven, count);
    for (size_t r = 0; ok && r < log->n_runs; r++) {
        any = any || uneven[r];
        total += count[r];
    }
    if (ok && any)
        ok = resample_all(log, store, uneven, count, total);
    if (ok && log->quality.resampled)
        ok =
            sr_log_note(log, "steps vary by %.3g us: samples are interpolated onto even times (cubic spline)",
                        log->quality.jitter_us);
    free(uneven);
    free(count);
    if (!ok)
        return sr_fail(err, SR_ERR_MEMORY, log->name, 0, "out of memory");
    log->count = store->count;
    for (size_t axis = 0; axis < 3; axis++) {
        log->gyro_dps[axis] = store->rate[axis];
        store->rate[axis] = NULL;
    }
    return SR_OK;
}
