/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "log/steps.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define SAMPLED      65536 /* steps that are looked at */
#define STRETCH      1024  /* of them in a row */
#define FEW_KINDS    64    /* lengths that a clock of few has at most */
#define GAP_STEPS    1.5   /* a step over so many base steps has rows missing */
#define SHARP        0.8   /* mean cosine of the steps' phases from which steps count as multiples */
#define PARTS        4     /* the median step may be so many base steps */
#define PART_SHARE   0.1   /* of all steps must be base steps, then */
#define ODD_SHARE    0.02  /* of steps that may be no multiples where rows are missing */
#define COARSE_UNITS 8.0   /* a step of fewer stamp units than this cannot show its jitter */
#define UNEVEN_SHARE 0.1   /* of such steps that differ from the base: the clock is coarse */
#define NO_CHANGE    1e-6  /* [median steps] less is rounding of the doubles */
#define UNIT_MISS    0.02  /* [units] that a multiple of the unit may be off, ... */
#define UNIT_DRIFT   1e-3  /* ... and so much more for each unit it has */
#define UNITS_MOST   1e4   /* longer steps are not asked */
#define PART_REACH   0.25  /* [parts] about a part, in which a step is one */
#define PART_STEPS   10.0  /* longer steps, in parts, are not asked */
#define LONG_SHARE   0.98  /* of the steps are no longer than the long one */
#define EVEN_MISS    0.01  /* [base steps] that an even step may be off */
#define ODD_MISS     0.1   /* [base steps] that a multiple may be off */
#define BRIEF        0.5   /* [base steps] under which a step is brief */
#define HASTY_S      30e-6 /* [s] no gyro samples faster */

static int by_value(const void *a, const void *b)
{
    const double x = *(const double *)a;
    const double y = *(const double *)b;

    return (x > y) - (x < y);
}

/* Steps are taken out of stretches spread evenly over the log. (Single steps a stride apart would miss a
 * pattern that repeats with the stride.) */
struct sample {
    size_t stretches, length, stride;
};

static struct sample sample_of(const struct sr_store *store)
{
    const size_t total = store->count - 1;

    if (total <= SAMPLED)
        return (struct sample){.stretches = 1, .length = total};
    const size_t stretches = SAMPLED / STRETCH;
    return (struct sample){stretches, STRETCH, (total - STRETCH) / (stretches - 1)};
}

/* Steps by their length, in ascending order. */
struct kinds {
    double *step_s, *count; /* [room] */
    size_t n;
};

/* The place of a length, or where it belongs. */
static size_t find_kind(const struct kinds *kinds, double step_s)
{
    size_t low = 0, high = kinds->n;

    while (low < high) {
        const size_t middle = (low + high) / 2;
        if (kinds->step_s[middle] < step_s)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

static void insert_kind(struct kinds *kinds, size_t at, double step_s)
{
    const size_t behind = kinds->n++ - at;

    memmove(kinds->step_s + at + 1, kinds->step_s + at, behind * sizeof *kinds->step_s);
    memmove(kinds->count + at + 1, kinds->count + at, behind * sizeof *kinds->count);
    kinds->step_s[at] = step_s;
    kinds->count[at] = 0.0;
}

/* Most clocks make few lengths, which need no sorting. False: they are too many. */
static bool count_few(struct kinds *kinds, const struct sr_store *store, const struct sample *sample)
{
    size_t at = 0; /* of the step before: many are as long */

    for (size_t s = 0; s < sample->stretches; s++) {
        const double *t = store->time_s + s * sample->stride;
        for (size_t i = 0; i < sample->length; i++) {
            const double step_s = t[i + 1] - t[i];
            if (kinds->n == 0 || kinds->step_s[at] != step_s) {
                at = find_kind(kinds, step_s);
                if (at == kinds->n || kinds->step_s[at] != step_s) {
                    if (kinds->n == FEW_KINDS)
                        return false;
                    insert_kind(kinds, at, step_s);
                }
            }
            kinds->count[at]++;
        }
    }
    return true;
}

/* Any number of lengths; step has room for the sample. */
static void count_many(struct kinds *kinds, const struct sr_store *store, const struct sample *sample,
                       double *step)
{
    const size_t n = sample->stretches * sample->length;

    for (size_t s = 0; s < sample->stretches; s++) {
        const double *t = store->time_s + s * sample->stride;
        for (size_t i = 0; i < sample->length; i++)
            step[s * sample->length + i] = t[i + 1] - t[i];
    }
    qsort(step, n, sizeof *step, by_value);
    kinds->n = 0;
    for (size_t i = 0; i < n; i++) {
        if (i == 0 || step[i] != step[i - 1])
            insert_kind(kinds, kinds->n, step[i]);
        kinds->count[kinds->n - 1]++;
    }
}

/* Leave out those that are no step ahead. Returns how many steps are left. */
static size_t drop_zeros(struct kinds *kinds)
{
    size_t zeros = 0;
    double left = 0.0;

    while (zeros < kinds->n && kinds->step_s[zeros] <= 0.0)
        zeros++;
    kinds->step_s += zeros;
    kinds->count += zeros;
    kinds->n -= zeros;
    for (size_t i = 0; i < kinds->n; i++)
        left += kinds->count[i];
    return (size_t)left;
}

/* Step number `place` of all in ascending order. */
static double step_at(const struct kinds *kinds, size_t place)
{
    double before = kinds->count[0];
    size_t i = 0;

    while (before <= (double)place && i + 1 < kinds->n)
        before += kinds->count[++i];
    return kinds->step_s[i];
}

/*
 * The unit that all of the steps are multiples of: the least step or the
 * least difference between steps, if that holds; 0 if there is none.
 */
static double quantum_of(const struct kinds *kinds, double median)
{
    double unit = median;

    for (size_t i = 0; i < kinds->n; i++) {
        const double change = i > 0 ? kinds->step_s[i] - kinds->step_s[i - 1] : kinds->step_s[i];
        if (change > NO_CHANGE * median && change < unit)
            unit = change;
    }
    for (size_t i = 0; i < kinds->n && kinds->step_s[i] < UNITS_MOST * unit; i++) {
        const double units = kinds->step_s[i] / unit;
        if (fabs(units - round(units)) > UNIT_MISS + UNIT_DRIFT * units)
            return 0.0;
    }
    return unit;
}

/*
 * How well the steps fit multiples of `part`: the mean cosine of their phases,
 * 1 if all do. *near_s is the mean of those within a quarter of it, *near their share.
 */
static double fit_multiples(const struct kinds *kinds, double part, double *near_s, double *near)
{
    const double turn = 6.283185307179586;
    double sum = 0.0, close = 0.0;
    double all = 0.0, taken = 0.0, hits = 0.0;

    for (size_t i = 0; i < kinds->n; i++) {
        const double step_s = kinds->step_s[i], count = kinds->count[i];
        all += count;
        if (step_s >= PART_STEPS * part)
            continue;
        taken += count;
        sum += count * cos(turn * step_s / part);
        if (fabs(step_s - part) < PART_REACH * part) {
            close += count * step_s;
            hits += count;
        }
    }
    *near = hits / all;
    *near_s = hits > 0.0 ? close / hits : part;
    return taken > 0.0 ? sum / taken : 0.0;
}

/* The median step, or where that already skips, the part of it that all are multiples of. */
static double base_of(const struct kinds *kinds, double median, double quantum)
{
    for (int parts = 1; parts <= PARTS; parts++) {
        double near_s, near;
        const double part = median / parts;
        if (part < (1.0 - EVEN_MISS) * quantum)
            break;
        const double fit = fit_multiples(kinds, part, &near_s, &near);
        if (fit >= SHARP && near >= PART_SHARE)
            return parts == 1 ? median : near_s;
    }
    return median;
}

static void count_steps(const struct kinds *kinds, struct sr_steps *steps)
{
    double all = 0.0, uneven = 0.0, brief = 0.0, gaps = 0.0, odd = 0.0;

    for (size_t i = 0; i < kinds->n; i++) {
        const double ratio = kinds->step_s[i] / steps->base_s, count = kinds->count[i];
        all += count;
        if (fabs(ratio - 1.0) > EVEN_MISS && ratio < 2.0 + EVEN_MISS)
            uneven += count;
        if (ratio < BRIEF)
            brief += count;
        if (ratio > GAP_STEPS)
            gaps += count;
        if (ratio < SR_HOLE_STEPS && fabs(ratio - round(ratio)) > ODD_MISS)
            odd += count;
    }
    steps->uneven = uneven / all;
    steps->short_share = brief / all;
    steps->gap_share = gaps / all;
    steps->odd_share = odd / all;
}

static void look_at(struct kinds *kinds, struct sr_steps *steps)
{
    const size_t n = drop_zeros(kinds);

    if (n == 0)
        return;
    const double median = step_at(kinds, n / 2);
    steps->long_s = step_at(kinds, (size_t)(LONG_SHARE * (double)(n - 1)));
    steps->quantum_s = quantum_of(kinds, median);
    steps->base_s = base_of(kinds, median, steps->quantum_s);
    count_steps(kinds, steps);
}

bool sr_steps_sample(const struct sr_store *store, struct sr_steps *steps)
{
    const struct sample sample = sample_of(store);
    double few_steps[FEW_KINDS] = {0}, few_counts[FEW_KINDS] = {0}, *many = NULL;
    struct kinds kinds = {.step_s = few_steps, .count = few_counts};

    *steps = (struct sr_steps){0};
    if (!count_few(&kinds, store, &sample)) {
        const size_t room = sample.stretches * sample.length;
        many = malloc(3 * room * sizeof *many);
        if (many == NULL)
            return false;
        kinds = (struct kinds){.step_s = many + room, .count = many + 2 * room};
        count_many(&kinds, store, &sample, many);
    }
    look_at(&kinds, steps);
    free(many);
    return true;
}

/*
 * Rows written in clumps: about as many hasty steps as late ones, or most steps
 * hastier than any gyro samples. (Rows that are really lost make no step shorter.)
 */
static bool is_bursty(const struct sr_steps *steps)
{
    return steps->gap_share > UNEVEN_SHARE &&
           (steps->short_share > 0.5 * steps->gap_share || steps->base_s < HASTY_S);
}

/* The stamps skip just about as many rows as were dropped for a bad field. */
static bool bad_rows_explain(const struct sr_store *store, double base_s)
{
    double missing = 0.0;

    if (store->bad == 0)
        return false;
    for (size_t i = 1; i < store->count; i++) {
        const double step = store->time_s[i] - store->time_s[i - 1];
        if (step > GAP_STEPS * base_s)
            missing += round(step / base_s) - 1.0;
    }
    return fabs(missing - (double)store->bad) <= 2.0 + 0.02 * (double)store->bad;
}

bool sr_steps_are_coarse(const struct sr_store *store, const struct sr_steps *steps, size_t moving)
{
    const bool few_units = steps->quantum_s > 0.0 && steps->base_s < COARSE_UNITS * steps->quantum_s;

    if ((double)moving > SR_EQUAL_SHARE * (double)store->count)
        return true;
    if (is_bursty(steps))
        return sr_steps_ask_rates(store, steps->base_s) >= 0;
    if (!few_units || (steps->uneven <= 0.0 && steps->gap_share <= 0.0 && moving == 0))
        return false;
    if (steps->odd_share > ODD_SHARE)
        return steps->uneven > UNEVEN_SHARE;
    if (bad_rows_explain(store, steps->base_s))
        return false;
    const int even = sr_steps_ask_rates(store, steps->base_s);
    return even != 0 ? even > 0 : sr_steps_uniform(store, steps);
}
