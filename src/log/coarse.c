/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "log/coarse.h"

#include <math.h>
#include <stdlib.h>

#include "log/note.h"
#include "log/slots.h"

#define GAP_STEPS  1.5   /* a step over so many steps of the clock may be a gap */
#define SLOPES     65536 /* slopes that a median is taken over */
#define UNITS_WIDE 200.0 /* [units] a window that a slope is taken over */
#define UNIT_OVER  1.01  /* [units] a step may be so much over, by rounding */
#define UNITS_NEAR 3.0   /* [units] on each side of a jump, that tell whether rows after it stay late */
#define FINE_UNIT  0.55  /* [steps] a unit below this shows a single missing row */

static int by_value(const void *a, const void *b)
{
    const double x = *(const double *)a;
    const double y = *(const double *)b;

    return (x > y) - (x < y);
}

/*
 * The step of a coarse clock: the median slope over windows long against its unit,
 * so that gaps, being few, do not matter.
 */
static bool coarse_step(const struct sr_store *store, double unit_s, double *step_s)
{
    const double *t = store->time_s;
    const size_t n = store->count;
    const double mean_s = (t[n - 1] - t[0]) / (double)(n - 1);
    size_t window = (size_t)fmin((double)(n - 1), ceil(UNITS_WIDE * fmax(unit_s / mean_s, 1.0)));
    const size_t stride = (n - window) / SLOPES + 1;
    double *slope = malloc(((n - window) / stride + 1) * sizeof *slope);
    size_t count = 0;

    if (slope == NULL)
        return false;
    for (size_t i = 0; i + window < n; i += stride)
        slope[count++] = (t[i + window] - t[i]) / (double)window;
    qsort(slope, count, sizeof *slope, by_value);
    *step_s = slope[count / 2];
    free(slope);
    return true;
}

/* Scatter of the steps that are no gaps. */
static void measure_jitter(struct sr_log *log, const struct sr_store *store, double about, double gap_s)
{
    double sum = 0.0, squares = 0.0;
    size_t n = 0;

    for (size_t i = 1; i < store->count; i++) {
        const double step = store->time_s[i] - store->time_s[i - 1];
        if (step > gap_s)
            continue;
        sum += step - about; /* about the clock's own: no loss of digits */
        squares += (step - about) * (step - about);
        n++;
    }
    if (n == 0)
        return;
    const double mean = sum / (double)n;
    log->quality.jitter_us = 1e6 * sqrt(fmax(0.0, squares / (double)n - mean * mean));
}

/* Mean of t - i step over rows [first, last): where the row count puts row 0. */
static double offset_of(const double *t, size_t first, size_t last, double step_s)
{
    double sum = 0.0;

    for (size_t i = first; i < last; i++)
        sum += t[i] - t[first] - (double)(i - first) * step_s;
    return t[first] + sum / (double)(last - first) - (double)first * step_s;
}

/* Where the slots put a run's first row: the mean over its rows. */
static double start_of(const struct sr_store *store, const struct sr_run *run, double step_s)
{
    const double *t = store->time_s + run->first;
    double slot = 0.0;
    double sum = 0.0;

    for (size_t i = 0; i < run->count; i++) {
        slot += i > 0 ? (double)sr_slots_to(store, run->first + i) : 0.0;
        sum += t[i] - t[0] - slot * step_s;
    }
    return t[0] + sum / (double)run->count;
}

/* The nearest step that is not zero before row i and after it: the clock's unit thereabouts. */
static double unit_near(const struct sr_store *store, size_t i)
{
    const double *t = store->time_s;
    double before = 0.0;
    double after = 0.0;

    for (size_t k = i - 1; k > 0 && before <= 0.0; k--)
        before = t[k] - t[k - 1];
    for (size_t k = i + 1; k < store->count && after <= 0.0; k++)
        after = t[k] - t[k - 1];
    return before > 0.0 && after > 0.0 ? fmin(before, after) : 0.0;
}

/*
 * A gap in coarse stamps: a stamp further on than a step and a unit allow, and the
 * rows after it stay late (a row that was only written late does not count).
 */
static bool is_coarse_gap(const struct sr_store *store, size_t i, double step_s, double unit_s)
{
    const double *t = store->time_s;
    const double jump = t[i] - t[i - 1];

    if (jump <= step_s + UNIT_OVER * unit_s || jump <= GAP_STEPS * step_s)
        return false;
    unit_s = fmax(unit_s, unit_near(store, i));
    if (jump <= step_s + UNIT_OVER * unit_s)
        return false;
    const size_t window = 2 + (size_t)(UNITS_NEAR * unit_s / step_s);
    const size_t from = i > window ? i - window : 0;
    const size_t to = store->count - i > window ? i + window : store->count;
    return offset_of(t, i, to, step_s) - offset_of(t, from, i, step_s) > 0.5 * (jump - step_s);
}

/*
 * Where the row counts put the start of each run, and how many rows are missing
 * before it; runs that only a few are missing between become one.
 */
static void place_runs(struct sr_log *log, struct sr_store *store, double step_s)
{
    double base_s = 0.0;
    double end_s = 0.0; /* where the next sample of the run before would have been */
    size_t kept = 0;

    for (size_t r = 0; r < log->n_runs; r++) {
        struct sr_run run = log->runs[r];
        run.start_s = start_of(store, &run, step_s);
        if (r == 0)
            base_s = run.start_s;
        run.start_s = fmax(run.start_s - base_s, end_s);
        const double lost = r > 0 ? round((run.start_s - end_s) / step_s) : 0.0;
        const size_t within = sr_slots_missing(store, &run);
        log->quality.lost_rows += (uint64_t)lost + within;
        if (r > 0 && lost <= SR_BRIDGE_ROWS && store->skipped != NULL) {
            store->skipped[run.first] = (unsigned char)lost;
            log->runs[kept - 1].count += run.count;
            end_s += (lost + (double)(run.count + within)) * step_s;
            continue;
        }
        log->runs[kept++] = run;
        end_s = run.start_s + (double)(run.count + within) * step_s;
    }
    log->n_runs = kept;
    log->quality.gaps = kept - 1;
    log->quality.duration_s = end_s - step_s;
}

static bool cut_coarse(struct sr_log *log, struct sr_store *store, double step_s, double unit_s, bool fine)
{
    size_t room = 0;
    size_t first = 0;

    for (size_t i = 1; i <= store->count; i++) {
        if (i < store->count &&
            (fine ? store->time_s[i] - store->time_s[i - 1] <= SR_HOLE_STEPS * step_s + 0.5 * unit_s
                  : !is_coarse_gap(store, i, step_s, unit_s)))
            continue;
        if (!sr_runs_add(log, &room, first, i - first, 0.0))
            return false;
        first = i;
    }
    return true;
}

/*
 * The rate and the missing rows, of a clock whose unit is well under a step: once with
 * the step as the steps of one and two units show it, and again with the one fitted then.
 */
static double walk_twice(const struct sr_log *log, struct sr_store *store, double step_s, double unit_s)
{
    for (int pass = 0; pass < 2; pass++) {
        for (size_t r = 0; r < log->n_runs; r++)
            sr_slots_walk(store, &log->runs[r], step_s, unit_s);
        const double fitted_s = sr_slots_fit(log, store);
        step_s = fitted_s > 0.0 ? fitted_s : step_s;
    }
    return step_s;
}

/* Mean of the steps up to a unit longer than the base. */
static double mean_step(const struct sr_store *store, const struct sr_steps *steps)
{
    double sum = 0.0;
    size_t n = 0;

    for (size_t i = 1; i < store->count; i++) {
        const double step = store->time_s[i] - store->time_s[i - 1];
        if (step > steps->base_s + UNIT_OVER * steps->quantum_s)
            continue;
        sum += step;
        n++;
    }
    return n > 0 ? sum / (double)n : steps->base_s;
}

enum sr_status sr_coarse_rebuild(struct sr_log *log, struct sr_store *store, const struct sr_steps *steps,
                                 struct sr_error *err)
{
    double unit_s = steps->quantum_s > 0.0 ? steps->quantum_s : steps->base_s;
    const double single_s = mean_step(store, steps);
    const bool fine = steps->short_share <= 0.0 && unit_s < FINE_UNIT * single_s;
    double step_s;

    if (!coarse_step(store, fmax(unit_s, steps->long_s), &step_s) || !sr_store_mark(store))
        return sr_fail(err, SR_ERR_MEMORY, log->name, 0, "out of memory");
    if (steps->long_s > 2.0 * step_s && !fine) /* whole clumps of rows share a stamp, or come at once */
        unit_s = steps->long_s;
    if (!(step_s > 0.0))
        return sr_fail(err, SR_ERR_TIME, log->name, 0,
                       "the time %s hardly moves: name another column, or give --sample-rate HZ",
                       sr_column_words(&log->columns.time).text);
    step_s = fine ? single_s : step_s;
    measure_jitter(log, store, step_s, GAP_STEPS * fmax(step_s, unit_s));
    log->quality.coarse_stamps = true;
    if (!cut_coarse(log, store, step_s, unit_s, fine))
        return sr_fail(err, SR_ERR_MEMORY, log->name, 0, "out of memory");
    if (fine)
        step_s = walk_twice(log, store, step_s, unit_s);
    const double fitted_s = sr_slots_fit(log, store);
    log->rate_hz = 1.0 / (fitted_s > 0.0 ? fitted_s : step_s);
    place_runs(log, store, 1.0 / log->rate_hz);
    return sr_log_note(log,
                       "time stamps of %.4g ms are too coarse for %.4g Hz: times are rebuilt from row counts",
                       unit_s * 1e3, log->rate_hz)
               ? SR_OK
               : sr_fail(err, SR_ERR_MEMORY, log->name, 0, "out of memory");
}
