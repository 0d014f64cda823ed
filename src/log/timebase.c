/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "log/timebase.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "log/note.h"

#define GAP_STEPS    1.5   /* a step over so many median steps is a gap */
#define SAMPLED      65536 /* steps that medians are taken over */
#define STRETCH      1024  /* of them in a row */
#define EQUAL_SHARE  0.02  /* of rows whose stamp repeats while the rates move: a coarse clock */
#define COARSE_UNITS 8.0   /* a step of fewer stamp units than this cannot show its jitter */
#define UNEVEN_SHARE 0.1   /* of such steps that differ from the median: the clock is coarse */
#define HASTY_S      30e-6 /* [s] no gyro samples faster */
#define USABLE_S     2.0   /* [s] least length of a log */
#define RATE_LOW     1.0   /* [Hz] outside these the time column is not what it was taken for */
#define RATE_HIGH    1e6

/* What a sample of the steps says. */
struct steps {
    double median_s;    /* of the steps forward */
    double quantum_s;   /* stamps are multiples of it, 0: no such unit seen */
    double uneven;      /* share of steps below 2 medians that differ from the median */
    double short_share; /* share of steps under half a median */
    double gap_share;   /* share of steps that are gaps */
    double long_s;      /* a step that only 2 % are longer than */
};

static int by_value(const void *a, const void *b)
{
    const double x = *(const double *)a;
    const double y = *(const double *)b;

    return (x > y) - (x < y);
}

/*
 * The unit that all of the sorted steps are multiples of: the least step or the
 * least difference between steps, if that holds; 0 if there is none.
 */
static double quantum_of(const double *step, size_t n, double median)
{
    double unit = median;

    for (size_t i = 0; i < n; i++) {
        const double change = i > 0 ? step[i] - step[i - 1] : step[i];
        if (change > 1e-6 * median && change < unit)
            unit = change;
    }
    for (size_t i = 0; i < n && step[i] < 1e4 * unit; i++) {
        const double units = step[i] / unit;
        if (fabs(units - round(units)) > 0.02 + 1e-3 * units)
            return 0.0;
    }
    return unit;
}

/* Steps out of stretches spread evenly over the log; returns how many. (Single steps a
 * stride apart would miss a pattern that repeats with the stride.) */
static size_t gather_steps(const struct sr_store *store, double *step)
{
    const size_t total = store->count - 1;
    const size_t stretches = total > SAMPLED ? SAMPLED / STRETCH : 1;
    const size_t length = total > SAMPLED ? STRETCH : total;
    size_t n = 0;

    for (size_t s = 0; s < stretches; s++) {
        const size_t first = stretches > 1 ? (total - length) / (stretches - 1) * s : 0;
        for (size_t i = first; i < first + length; i++)
            step[n++] = store->time_s[i + 1] - store->time_s[i];
    }
    return n;
}

static bool sample_steps(const struct sr_store *store, struct steps *steps)
{
    double *step = malloc((store->count < SAMPLED ? store->count : SAMPLED) * sizeof *step);
    size_t zero = 0, uneven = 0, brief = 0, gaps = 0;

    *steps = (struct steps){0};
    if (step == NULL)
        return false;
    const size_t n = gather_steps(store, step);
    qsort(step, n, sizeof *step, by_value);
    while (zero < n && step[zero] <= 0.0)
        zero++;
    if (zero < n) {
        steps->median_s = step[zero + (n - zero) / 2];
        steps->quantum_s = quantum_of(step + zero, n - zero, steps->median_s);
        steps->long_s = step[zero + (size_t)(0.98 * (double)(n - zero - 1))];
        for (size_t i = zero; i < n; i++) {
            const double ratio = step[i] / steps->median_s;
            uneven += fabs(ratio - 1.0) > 0.01 && ratio < 2.01;
            brief += ratio < 0.5;
            gaps += ratio > GAP_STEPS;
        }
        steps->uneven = (double)uneven / (double)(n - zero);
        steps->short_share = (double)brief / (double)(n - zero);
        steps->gap_share = (double)gaps / (double)(n - zero);
    }
    free(step);
    return true;
}

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

/* ---- runs ----------------------------------------------------------------- */

static bool add_run(struct sr_log *log, size_t *room, size_t first, size_t count, double start_s)
{
    if (log->n_runs == *room) {
        const size_t more = *room == 0 ? 16 : *room * 2;
        struct sr_run *runs = realloc(log->runs, more * sizeof *runs);
        if (runs == NULL)
            return false;
        log->runs = runs;
        *room = more;
    }
    log->runs[log->n_runs++] = (struct sr_run){.first = first, .count = count, .start_s = start_s};
    return true;
}

/* Mean and scatter of the steps that are no gaps. */
static void measure_steps(struct sr_log *log, const struct sr_store *store, double about, double gap_s)
{
    double sum = 0.0, squares = 0.0;
    size_t n = 0;

    for (size_t i = 1; i < store->count; i++) {
        const double step = store->time_s[i] - store->time_s[i - 1];
        if (step > gap_s)
            continue;
        sum += step - about; /* about the median: no loss of digits */
        squares += (step - about) * (step - about);
        n++;
    }
    if (n == 0)
        return;
    const double mean = sum / (double)n;
    log->rate_hz = 1.0 / (about + mean);
    log->quality.jitter_us = 1e6 * sqrt(fmax(0.0, squares / (double)n - mean * mean));
}

static bool cut_at_gaps(struct sr_log *log, const struct sr_store *store, double gap_s)
{
    const double step_s = 1.0 / log->rate_hz;
    size_t room = 0;
    size_t first = 0;

    for (size_t i = 1; i <= store->count; i++) {
        const double step = i < store->count ? store->time_s[i] - store->time_s[i - 1] : INFINITY;
        if (step <= gap_s)
            continue;
        if (!add_run(log, &room, first, i - first, store->time_s[first]))
            return false;
        first = i;
        if (i < store->count) {
            log->quality.gaps++;
            log->quality.lost_rows += (uint64_t)fmax(1.0, round(step / step_s) - 1.0);
        }
    }
    return true;
}

/* ---- coarse stamps -------------------------------------------------------- */

/*
 * The step of a coarse clock: the median slope over windows long against its unit,
 * so that gaps, being few, do not matter.
 */
static bool coarse_step(const struct sr_store *store, double unit_s, double *step_s)
{
    const double *t = store->time_s;
    const size_t n = store->count;
    const double mean_s = (t[n - 1] - t[0]) / (double)(n - 1);
    size_t window = (size_t)fmin((double)(n - 1), ceil(200.0 * fmax(unit_s / mean_s, 1.0)));
    const size_t stride = (n - window) / SAMPLED + 1;
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

/* Mean of t - i step over rows [first, last): where the row count puts row 0. */
static double offset_of(const double *t, size_t first, size_t last, double step_s)
{
    double sum = 0.0;

    for (size_t i = first; i < last; i++)
        sum += t[i] - t[first] - (double)(i - first) * step_s;
    return t[first] + sum / (double)(last - first) - (double)first * step_s;
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

    if (jump <= step_s + 1.01 * unit_s || jump <= GAP_STEPS * step_s)
        return false;
    unit_s = fmax(unit_s, unit_near(store, i));
    if (jump <= step_s + 1.01 * unit_s)
        return false;
    const size_t window = 2 + (size_t)(3.0 * unit_s / step_s);
    const size_t from = i > window ? i - window : 0;
    const size_t to = store->count - i > window ? i + window : store->count;
    return offset_of(t, i, to, step_s) - offset_of(t, from, i, step_s) > 0.5 * (jump - step_s);
}

/* Least-squares slope of the stamps over row numbers, each run with its own offset. */
static double fit_step(const struct sr_log *log, const double *t)
{
    double over = 0.0;
    double under = 0.0;

    for (size_t r = 0; r < log->n_runs; r++) {
        const struct sr_run *run = &log->runs[r];
        const double middle = ((double)run->count - 1.0) / 2.0;
        for (size_t i = 0; i < run->count; i++) {
            over += ((double)i - middle) * (t[run->first + i] - t[run->first]);
            under += ((double)i - middle) * ((double)i - middle);
        }
    }
    return under > 0.0 ? over / under : 0.0;
}

/* Where the row counts put the start of each run, and how many rows are missing before it. */
static void place_runs(struct sr_log *log, const double *t, double step_s)
{
    double base_s = 0.0;
    double end_s = 0.0; /* where the next sample of the run before would have been */

    for (size_t r = 0; r < log->n_runs; r++) {
        struct sr_run *run = &log->runs[r];
        run->start_s =
            offset_of(t, run->first, run->first + run->count, step_s) + (double)run->first * step_s;
        if (r == 0)
            base_s = run->start_s;
        run->start_s = fmax(run->start_s - base_s, end_s);
        if (r > 0)
            log->quality.lost_rows += (uint64_t)round((run->start_s - end_s) / step_s);
        end_s = run->start_s + (double)run->count * step_s;
    }
    log->quality.gaps = log->n_runs - 1;
    log->quality.duration_s = end_s - step_s;
}

static bool cut_coarse(struct sr_log *log, const struct sr_store *store, double step_s, double unit_s)
{
    size_t room = 0;
    size_t first = 0;

    for (size_t i = 1; i <= store->count; i++) {
        if (i < store->count && !is_coarse_gap(store, i, step_s, unit_s))
            continue;
        if (!add_run(log, &room, first, i - first, 0.0))
            return false;
        first = i;
    }
    const double fitted_s = fit_step(log, store->time_s);
    log->rate_hz = 1.0 / (fitted_s > 0.0 ? fitted_s : step_s);
    place_runs(log, store->time_s, 1.0 / log->rate_hz);
    return true;
}

static enum sr_status rebuild(struct sr_log *log, struct sr_store *store, const struct steps *steps,
                              struct sr_error *err)
{
    double unit_s = steps->quantum_s > 0.0 ? steps->quantum_s : steps->median_s;
    double step_s;

    if (!coarse_step(store, fmax(unit_s, steps->long_s), &step_s))
        return sr_fail(err, SR_ERR_MEMORY, log->name, 0, "out of memory");
    if (steps->long_s > 2.0 * step_s) /* whole clumps of rows share a stamp, or come at once */
        unit_s = steps->long_s;
    if (!(step_s > 0.0))
        return sr_fail(err, SR_ERR_TIME, log->name, 0,
                       "the time '%s' hardly moves: name another column, or give --sample-rate HZ",
                       log->columns.time.name);
    measure_steps(log, store, step_s, GAP_STEPS * fmax(step_s, unit_s));
    log->quality.coarse_stamps = true;
    if (!cut_coarse(log, store, step_s, unit_s) ||
        !sr_log_note(log,
                     "time stamps of %.4g ms are too coarse for %.4g Hz: times are rebuilt from row counts",
                     unit_s * 1e3, log->rate_hz))
        return sr_fail(err, SR_ERR_MEMORY, log->name, 0, "out of memory");
    return SR_OK;
}

/* ---- all of it ------------------------------------------------------------- */

/*
 * Rows written in clumps: about as many hasty steps as late ones, or most steps
 * hastier than any gyro samples. (Rows that are really lost make no step shorter.)
 */
static bool is_bursty(const struct steps *steps)
{
    return steps->gap_share > UNEVEN_SHARE &&
           (steps->short_share > 0.5 * steps->gap_share || steps->median_s < HASTY_S);
}

static enum sr_status check(struct sr_log *log, struct sr_error *err)
{
    struct sr_quality *quality = &log->quality;
    double usable_s = 0.0;
    double longest_s = 0.0;

    if (!(log->rate_hz >= RATE_LOW && log->rate_hz <= RATE_HIGH))
        return sr_fail(
            err, SR_ERR_TIME, log->name, 0,
            "the time '%s' makes %.4g samples a second: give its unit with --time-unit, or the rate with "
            "--sample-rate",
            log->columns.time.name, log->rate_hz);
    for (size_t r = 0; r < log->n_runs; r++) {
        const double run_s = (double)log->runs[r].count / log->rate_hz;
        longest_s = fmax(longest_s, run_s);
        usable_s += run_s;
    }
    quality->rate_hz = log->rate_hz;
    quality->nyquist_hz = log->rate_hz / 2.0;
    if (usable_s < USABLE_S)
        return sr_fail(err, SR_ERR_SHORT, log->name, 0, "only %.3g s of samples, at least %.3g s are needed",
                       usable_s, USABLE_S);
    if (longest_s < 1.0)
        return sr_fail(err, SR_ERR_SHORT, log->name, 0,
                       "%zu gaps leave no whole second without one (the longest run is %.3g s)",
                       quality->gaps, longest_s);
    return SR_OK;
}

enum sr_status sr_timebase_make(struct sr_log *log, struct sr_store *store, struct sr_error *err)
{
    struct steps steps;
    size_t moving;

    if (store->count < 3)
        return sr_fail(err, SR_ERR_SHORT, log->name, 0, "only %zu usable rows", store->count);
    const size_t equal = count_equal(store, &moving);
    const bool coarse = (double)moving > EQUAL_SHARE * (double)store->count;
    if (equal > 0 && !coarse)
        drop_equal(store);
    if (store->count < 3)
        return sr_fail(err, SR_ERR_TIME, log->name, 0,
                       "the time '%s' does not move: name another column, or give --sample-rate HZ",
                       log->columns.time.name);
    if (!sample_steps(store, &steps))
        return sr_fail(err, SR_ERR_MEMORY, log->name, 0, "out of memory");
    const bool few_units = steps.quantum_s > 0.0 && steps.median_s < COARSE_UNITS * steps.quantum_s &&
                           steps.uneven > UNEVEN_SHARE;

    log->quality.duration_s = store->time_s[store->count - 1] - store->time_s[0];
    log->quality.backward_rows = store->backward;
    if (coarse || few_units || is_bursty(&steps)) {
        const enum sr_status status = rebuild(log, store, &steps, err);
        if (status != SR_OK)
            return status;
    } else {
        const double gap_s = GAP_STEPS * steps.median_s;
        measure_steps(log, store, steps.median_s, gap_s);
        if (!cut_at_gaps(log, store, gap_s))
            return sr_fail(err, SR_ERR_MEMORY, log->name, 0, "out of memory");
    }
    return check(log, err);
}
