/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The flight score: how much the footage wobbles, how sure that is, and where to look. */
#include "stillrow/wobble.h"

#include <math.h>
#include <stdlib.h>

#include "peaks.h"
#include "support/ordered.h"

#define MOMENT_SLICES 5   /* a moment to jump to is at most this long */
#define MOMENT_DROP   0.8 /* and ends where the wobble falls below this part of its worst */

/* Energy per band and axis, added up over the slices [px^2]. */
struct energies {
    double band[SR_BAND_COUNT];
    double axis[3];
};

/* Bin range [low, high) of a band in a view. What stands on the edge between two bands counts in the upper
 * one; at Nyquist in the lower one, since the log does not reach into the other. */
static void band_bins(const struct sr_view *view, double nyquist_hz, enum sr_band band, size_t *low,
                      size_t *high)
{
    double low_hz = sr_band_low_hz(&view->camera, band), top_hz = sr_band_high_hz(&view->camera, band);
    double bins = (double)view->bins;
    double low_bin = low_hz < nyquist_hz ? ceil(low_hz / view->bin_hz - 1e-9) : bins;
    double high_bin = top_hz < nyquist_hz ? ceil(top_hz / view->bin_hz - 1e-9) : bins;
    *low = (size_t)fmin(low_bin, bins);
    *high = (size_t)fmin(high_bin, bins);
}

static void add_slice(struct energies *e, const struct sr_view *view, const struct sr_slices *slices,
                      size_t i)
{
    for (int b = SR_BAND_BEND; b < SR_BAND_COUNT; b++) {
        size_t low, high;
        band_bins(view, slices->rate_hz / 2, (enum sr_band)b, &low, &high);
        for (int a = 0; a < 3; a++) {
            double energy = sr_view_energy(view, slices, i, (enum sr_picture_axis)a, low, high);
            e->band[b] += energy;
            e->axis[a] += energy;
        }
    }
}

static void score_bands(struct sr_score *score, const struct sr_slices *slices, const struct sr_view *view)
{
    struct energies e = {{0}, {0}};
    double n = (double)slices->count;

    for (size_t i = 0; i < slices->count; i++)
        add_slice(&e, view, slices, i);

    double total = e.axis[0] + e.axis[1] + e.axis[2];
    for (int b = SR_BAND_BEND; b < SR_BAND_COUNT; b++) {
        struct sr_band_score *band = &score->bands[b - SR_BAND_BEND];
        band->band = (enum sr_band)b;
        band->low_hz = sr_band_low_hz(&view->camera, band->band);
        band->high_hz = fmin(sr_band_high_hz(&view->camera, band->band), slices->rate_hz / 2);
        band->seen = band->low_hz < slices->sees_hz;
        band->wobble_px = sqrt(e.band[b] / n);
        band->share = total > 0 ? e.band[b] / total : 0;
    }
    for (int a = 0; a < 3; a++)
        score->axis_px[a] = sqrt(e.axis[a] / n);
    score->rms_px = sqrt(total / n);
    score->smear_px = sr_view_smear(view, slices);
}

/* Parts of a score that do not touch each other. */
struct parts {
    struct sr_score *score;
    const struct sr_slices *slices;
    const struct sr_view *view;
    enum sr_status status[2]; /* the interval's, and the lines' */
    struct sr_error err[2];
};

static void make_part(void *context, size_t item, size_t hand)
{
    struct parts *p = context;
    struct sr_score *score = p->score;

    (void)hand;
    if (item == 0)
        p->status[0] = sr_bootstrap_quantile(score->slice_px, score->slices, SR_SCORE_QUANTILE,
                                             SR_SCORE_LEVEL, SR_SCORE_DRAWS, &score->wobble_px, &p->err[0]);
    else
        p->status[1] = sr_peaks_find(score, p->slices, p->view, &p->err[1]);
}

static enum sr_status make_parts(struct sr_score *score, const struct sr_slices *slices,
                                 const struct sr_view *view, struct sr_error *err)
{
    struct parts p = {.score = score, .slices = slices, .view = view};

    sr_each(make_part, &p, 2, slices->jobs);
    for (size_t i = 0; i < 2; i++) {
        if (p.status[i] == SR_OK)
            continue;
        if (err != NULL)
            *err = p.err[i];
        return p.status[i];
    }
    return SR_OK;
}

static enum sr_status score_slices(struct sr_score *score, struct sr_error *err)
{
    size_t below = 0;
    enum sr_status status = sr_quantile(score->slice_px, score->slices, 0.5, &score->median_px, err);

    for (size_t i = 0; i < score->slices; i++)
        below += score->slice_px[i] < score->threshold_px;
    score->steady_share = (double)below / (double)score->slices;
    score->headroom_db = 20 * log10(score->threshold_px / score->wobble_px.value);
    return status;
}

static enum sr_verdict judge(const struct sr_score *score, const struct sr_camera *camera)
{
    if (score->wobble_px.low > score->threshold_px)
        return SR_WOBBLY;
    /* What a log cannot see, it cannot clear. */
    if (score->sees_hz < sr_band_high_hz(camera, SR_BAND_WAVE))
        return SR_UNPROVEN;
    return score->wobble_px.high < score->threshold_px ? SR_STEADY : SR_MARGINAL;
}

/* Whether slice j follows slice i in the air without a break. */
static bool adjoining(const struct sr_slices *slices, size_t i, size_t j)
{
    return fabs(slices->slice[j].from_s - slices->slice[i].to_s) < 0.01;
}

/* By the peaks' bins over slices [first, last], of which the whole has `total` energy. */
static void name_moment(struct sr_moment *moment, double total, const struct sr_score *score,
                        const struct sr_slices *slices, const struct sr_view *view, size_t first, size_t last)
{
    double energy[SR_PEAKS_MAX] = {0}, hz[SR_PEAKS_MAX] = {0};
    for (size_t p = 0; p < score->n_peaks; p++) {
        const struct sr_peak *peak = &score->peaks[p];
        hz[p] = peak->hz;
        for (size_t i = first; i <= last; i++)
            for (int a = 0; a < 3; a++)
                energy[p] += sr_view_energy(view, slices, i, (enum sr_picture_axis)a, peak->low_bin,
                                            peak->high_bin + 1);
    }
    sr_moment_name(moment, total, score->peaks, energy, hz, score->n_peaks);
}

/* Grow a moment around its worst slice, and mark what it takes. */
static void grow_moment(const struct sr_score *score, const struct sr_slices *slices, bool *taken,
                        size_t *first, size_t *last)
{
    double least = MOMENT_DROP * score->slice_px[*first];
    bool grew = true;
    taken[*first] = true;
    while (grew && *last - *first + 1 < MOMENT_SLICES) {
        size_t before = *first - 1, after = *last + 1;
        bool left = *first > 0 && !taken[before] && adjoining(slices, before, *first) &&
                    score->slice_px[before] >= least;
        bool right = after < score->slices && !taken[after] && adjoining(slices, *last, after) &&
                     score->slice_px[after] >= least;
        grew = left || right;
        if (left && (!right || score->slice_px[before] >= score->slice_px[after]))
            *first = before;
        else if (right)
            *last = after;
        taken[*first] = taken[*last] = true;
    }
}

static int louder_first(const void *x, const void *y)
{
    const struct sr_moment *a = x, *b = y;
    return (a->wobble_px < b->wobble_px) - (a->wobble_px > b->wobble_px);
}

static enum sr_status find_worst(struct sr_score *score, const struct sr_slices *slices,
                                 const struct sr_view *view, struct sr_error *err)
{
    bool *taken = calloc(score->slices, sizeof *taken);
    if (taken == NULL)
        return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for %zu slices", score->slices);

    score->n_worst = 0;
    while (score->n_worst < SR_WORST_MAX) {
        size_t worst = score->slices;
        for (size_t i = 0; i < score->slices; i++)
            if (!taken[i] && (worst == score->slices || score->slice_px[i] > score->slice_px[worst]))
                worst = i;
        if (worst == score->slices)
            break;

        size_t first = worst, last = worst;
        double energy = 0;
        grow_moment(score, slices, taken, &first, &last);
        for (size_t i = first; i <= last; i++)
            energy += score->slice_px[i] * score->slice_px[i];
        struct sr_moment *moment = &score->worst[score->n_worst++];
        moment->from_s = slices->slice[first].from_s;
        moment->to_s = slices->slice[last].to_s;
        moment->wobble_px = sqrt(energy / (double)(last - first + 1));
        name_moment(moment, energy, score, slices, view, first, last);
    }
    free(taken);
    qsort(score->worst, score->n_worst, sizeof *score->worst, louder_first);
    return SR_OK;
}

enum sr_status sr_score_make(struct sr_score *score, const struct sr_slices *slices,
                             const struct sr_view *view, double threshold_px, struct sr_error *err)
{
    if (!(threshold_px > 0 && isfinite(threshold_px)) || slices->count == 0 || view->bins != slices->bins)
        return sr_fail(
            err, SR_ERR_ARGUMENT, NULL, 0,
            "a score needs a threshold above 0 px, at least one slice, and a view made for the slices");

    struct sr_score made = {0};
    made.threshold_px = threshold_px;
    made.airborne_s = slices->airborne_s;
    made.sees_hz = slices->sees_hz;
    made.slices = slices->count;
    made.slice_px = calloc(slices->count, sizeof *made.slice_px);
    if (made.slice_px == NULL)
        return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for %zu slices", slices->count);

    sr_view_wobble(view, slices, made.slice_px);
    score_bands(&made, slices, view);
    enum sr_status status = make_parts(&made, slices, view, err);
    if (status == SR_OK)
        status = score_slices(&made, err);
    if (status == SR_OK)
        status = find_worst(&made, slices, view, err);
    if (status != SR_OK) {
        sr_score_release(&made);
        return status;
    }
    made.verdict = judge(&made, &view->camera);
    *score = made;
    return SR_OK;
}

void sr_score_release(struct sr_score *score)
{
    free(score->slice_px);
    score->slice_px = NULL;
    score->slices = 0;
}
