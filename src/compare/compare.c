/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Two groups of flights: which is quieter, by how much, and how sure that is. */
#include <math.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#include "matched.h"

#define FLIGHTS_FOR_T   3    /* from each side on, the scatter between flights is what counts */
#define SHOWN           0.05 /* adjusted p below which a difference counts as shown */
#define DB_PER_NEPER    (20 / 2.302585092994045684)
#define LEFT_OUT_REMARK 0.25 /* share of slices left out that is worth a remark */

static void note(struct sr_comparison *c, const char *format, ...) __attribute__((format(printf, 2, 3)));
static void note(struct sr_comparison *c, const char *format, ...)
{
    if (c->n_notes == sizeof c->notes / sizeof *c->notes)
        return;
    va_list args;
    va_start(args, format);
    vsnprintf(c->notes[c->n_notes++], SR_NOTE_MAX, format, args);
    va_end(args);
}

/* Flights of a group that take part, as ln px of one measure, into y. Returns how many. */
static size_t gather(const struct matched *m, int group, size_t measure, double *y)
{
    size_t n = 0;
    for (size_t f = 0; f < m->count; f++)
        if (m->flights[f].group == group && !m->flights[f].dropped)
            y[n++] = m->flights[f].log_px[measure];
    return n;
}

static double mean(const double *x, size_t n)
{
    double sum = 0;
    for (size_t i = 0; i < n; i++)
        sum += x[i];
    return sum / (double)n;
}

/* Standard error and degrees of freedom that the slices of these very flights leave (Satterthwaite 1946). */
static void error_from_slices(const struct matched *m, size_t measure, const size_t n[2],
                              struct sr_difference *d)
{
    double variance = 0, squares = 0;
    for (size_t f = 0; f < m->count; f++) {
        const struct matched_flight *flight = &m->flights[f];
        if (flight->dropped)
            continue;
        double share = flight->log_se[measure] / (double)n[flight->group];
        variance += share * share;
        squares += share * share * share * share / flight->dof[measure];
    }
    d->error = sqrt(variance);
    d->dof = squares > 0 ? variance * variance / squares : 1;
}

static enum sr_status ratio(struct sr_ratio *r, double *smallest_db, const struct matched *m, size_t measure,
                            enum sr_interval_from from, double *scratch, struct sr_error *err)
{
    double *a = scratch, *b = scratch + m->count;
    size_t n[2] = {gather(m, 0, measure, a), gather(m, 1, measure, b)};
    double mean_a = mean(a, n[0]), mean_b = mean(b, n[1]);
    struct sr_difference d = {.value = mean_b - mean_a};

    r->a_px = exp(mean_a);
    r->b_px = exp(mean_b);
    r->seen = isfinite(mean_a) && isfinite(mean_b);
    if (!r->seen) {
        r->db = r->low_db = r->high_db = NAN;
        r->p_value = r->p_adjusted = 1;
        return SR_OK;
    }
    if (from == SR_FROM_FLIGHTS) {
        enum sr_status status = sr_welch_t(a, n[0], b, n[1], &d, err);
        if (status != SR_OK)
            return status;
    } else {
        error_from_slices(m, measure, n, &d);
        sr_difference_finish(&d);
    }
    r->db = DB_PER_NEPER * d.value;
    r->low_db = DB_PER_NEPER * d.low;
    r->high_db = DB_PER_NEPER * d.high;
    r->p_value = r->p_adjusted = d.p_value;
    if (smallest_db != NULL)
        *smallest_db = DB_PER_NEPER * d.smallest;
    return SR_OK;
}

/* Adjust the p-values of `n` ratios that were seen, and say which are shown. */
static enum sr_status adjust(struct sr_ratio *ratios, size_t n, struct sr_error *err)
{
    double p[SR_BAND_COUNT], adjusted[SR_BAND_COUNT];
    size_t seen = 0;
    for (size_t i = 0; i < n; i++)
        if (ratios[i].seen)
            p[seen++] = ratios[i].p_value;
    enum sr_status status = sr_adjust_p(p, seen, adjusted, err);
    if (status != SR_OK)
        return status;
    seen = 0;
    for (size_t i = 0; i < n; i++) {
        if (ratios[i].seen)
            ratios[i].p_adjusted = adjusted[seen++];
        ratios[i].shown = ratios[i].seen && ratios[i].p_adjusted < SHOWN;
    }
    return SR_OK;
}

/* Whether chance can be told from these slices at all: see MATCHED_FEW. */
static enum sr_status check_enough(const struct sr_comparison *c, const struct matched *m,
                                   struct sr_error *err)
{
    size_t most = 0;
    for (size_t f = 0; f < m->count; f++)
        if (!m->flights[f].dropped && m->flights[f].kept > most)
            most = m->flights[f].kept;
    if (c->from == SR_FROM_FLIGHTS || most >= MATCHED_FEW)
        return SR_OK;
    return sr_fail(err, SR_ERR_DATA, NULL, 0,
                   "only %zu s of any flight can be compared; fewer than %d are too few to tell a difference "
                   "from chance",
                   most, MATCHED_FEW);
}

static enum sr_status fill_ratios(struct sr_comparison *c, const struct matched *m, struct sr_error *err)
{
    double *scratch = calloc(m->count, 2 * sizeof *scratch);
    if (scratch == NULL)
        return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for %zu flights", m->count);
    size_t na = gather(m, 0, 0, scratch), nb = gather(m, 1, 0, scratch);
    c->from = na >= FLIGHTS_FOR_T && nb >= FLIGHTS_FOR_T ? SR_FROM_FLIGHTS : SR_FROM_SLICES;

    enum sr_status status = check_enough(c, m, err);
    if (status == SR_OK)
        status = ratio(&c->whole, &c->smallest_db, m, MEASURE_WHOLE, c->from, scratch, err);
    for (size_t i = 0; i < SR_BAND_COUNT - 1 && status == SR_OK; i++)
        status = ratio(&c->band[i], NULL, m, MEASURE_BAND + i, c->from, scratch, err);
    for (size_t i = 0; i < 3 && status == SR_OK; i++)
        status = ratio(&c->axis[i], NULL, m, MEASURE_AXIS + i, c->from, scratch, err);
    free(scratch);
    if (status == SR_OK)
        status = adjust(&c->whole, 1, err);
    if (status == SR_OK)
        status = adjust(c->band, SR_BAND_COUNT - 1, err);
    if (status == SR_OK)
        status = adjust(c->axis, 3, err);
    if (status == SR_OK && !c->whole.seen)
        return sr_fail(err, SR_ERR_DATA, NULL, 0,
                       "one of the groups shows no wobble at all up to %.4g Hz; there is nothing to compare",
                       m->limit_hz);
    return status;
}

static void describe_match(struct sr_comparison *c, const struct matched *m)
{
    c->match = m->match;
    c->match_width = m->width;
    c->limit_hz = m->limit_hz;
    for (size_t b = 0; b < SR_COMPARE_BINS_MAX; b++)
        if (m->common[b])
            c->match_centre[c->match_bins++] = ((double)b + 0.5) * m->width;
    for (size_t f = 0; f < m->count; f++) {
        const struct matched_flight *flight = &m->flights[f];
        size_t kept = flight->dropped ? 0 : flight->kept;
        *(flight->group == 0 ? &c->slices_a : &c->slices_b) += kept;
        *(flight->group == 0 ? &c->left_out_a : &c->left_out_b) += flight->n - kept;
    }
}

static void remark(struct sr_comparison *c, const struct matched *m, const struct sr_camera *camera)
{
    double all = (double)(c->slices_a + c->slices_b + c->left_out_a + c->left_out_b);
    double out = (double)(c->left_out_a + c->left_out_b);

    if (c->match == SR_MATCH_NONE)
        note(c,
             "neither throttle nor motor speed is in all the logs: the flights are compared as flown, and a "
             "difference in flying shows as a difference in wobble");
    if (c->match == SR_MATCH_SPEED)
        note(c, "no throttle in all the logs: matched on motor speed");
    for (size_t f = 0; f < m->count; f++)
        if (m->flights[f].dropped)
            note(c, "'%s' was left out: it was flown at no %s that the others share",
                 m->flights[f].flight->name, c->match == SR_MATCH_SPEED ? "motor speed" : "throttle");
    if (out > LEFT_OUT_REMARK * all)
        note(c, "%.0f %% of the seconds lie outside the conditions that all flights share, and were left out",
             100 * out / all);
    if (c->limit_hz < sr_band_high_hz(camera, SR_BAND_WAVE))
        note(c, "the slowest log shows nothing above %.4g Hz: all flights are compared below that only",
             c->limit_hz);
    if (c->from == SR_FROM_SLICES)
        note(c,
             "fewer than 3 flights on a side: the interval speaks of these flights only, not of the combos; "
             "another flight of the same combo may differ by more");
}

enum sr_status sr_compare(struct sr_comparison *comparison, const struct sr_compare_group *a,
                          const struct sr_compare_group *b, struct sr_error *err)
{
    struct sr_comparison c = {0};
    struct matched m;

    enum sr_status status = matched_make(&m, a, b, err);
    if (status == SR_OK)
        status = matched_measure(&m, err);
    if (status == SR_OK)
        status = fill_ratios(&c, &m, err);
    if (status == SR_OK)
        status = compare_lines(&c, &m, err);
    if (status == SR_OK) {
        describe_match(&c, &m);
        remark(&c, &m, &a->flights[0].view->camera);
        *comparison = c;
    }
    matched_release(&m);
    return status;
}

enum sr_status sr_compare_adjust(struct sr_comparison *const *comparisons, size_t n, struct sr_error *err)
{
    double *p = n > SIZE_MAX / sizeof *p / 2 - 1 ? NULL : calloc(2 * n + 1, sizeof *p);
    if (p == NULL)
        return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for %zu comparisons", n);
    for (size_t i = 0; i < n; i++)
        p[i] = comparisons[i]->whole.p_value;
    enum sr_status status = sr_adjust_p(p, n, p + n, err);
    for (size_t i = 0; i < n && status == SR_OK; i++) {
        struct sr_ratio *whole = &comparisons[i]->whole;
        if (whole->shown && !(p[n + i] < SHOWN))
            note(comparisons[i],
                 "the interval is of this pair alone; of %zu pairs, one as clear as this comes about by "
                 "chance "
                 "too often (p %.2g for all of them)",
                 n, p[n + i]);
        whole->p_adjusted = p[n + i];
        whole->shown = whole->seen && whole->p_adjusted < SHOWN;
        compare_settle(comparisons[i]);
    }
    free(p);
    return status;
}
