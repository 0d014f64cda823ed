/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Matching: which slices of which flights were flown alike. */
#include "matched.h"

#include <gsl/gsl_sort.h>
#include <gsl/gsl_statistics_double.h>
#include <math.h>
#include <stdint.h>
#include <stdlib.h>

#define THROTTLE_WIDTH 0.05 /* of full throttle */
#define SPEED_WIDTH    0.05 /* of the median motor speed */

/* Mean motor speed of a slice [rpm], NAN where none was logged. */
static double slice_speed(const struct sr_slices *slices, size_t i)
{
    double sum = 0;
    size_t n = 0;
    for (size_t m = 0; m < slices->n_motors; m++) {
        if (isfinite(slices->slice[i].motor_rpm[m])) {
            sum += slices->slice[i].motor_rpm[m];
            n++;
        }
    }
    return n > 0 ? sum / (double)n : NAN;
}

double matched_condition(const struct sr_slices *slices, size_t i, enum sr_match match)
{
    switch (match) {
    case SR_MATCH_THROTTLE:
        return slices->slice[i].throttle;
    case SR_MATCH_SPEED:
        return slice_speed(slices, i);
    case SR_MATCH_NONE:
        break;
    }
    return 0;
}

static enum sr_match choose_match(const struct matched *m)
{
    bool throttle = true, speed = true;
    for (size_t f = 0; f < m->count; f++) {
        throttle = throttle && m->flights[f].flight->slices->has_throttle;
        speed = speed && m->flights[f].flight->slices->n_motors > 0;
    }
    return throttle ? SR_MATCH_THROTTLE : speed ? SR_MATCH_SPEED : SR_MATCH_NONE;
}

static enum sr_status median_speed(const struct matched *m, double *median, struct sr_error *err)
{
    size_t total = 0, n = 0;
    for (size_t f = 0; f < m->count; f++)
        total += m->flights[f].n;
    double *all = malloc((total > 0 ? total : 1) * sizeof *all);
    if (all == NULL)
        return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for %zu slices", total);
    for (size_t f = 0; f < m->count; f++) {
        for (size_t i = 0; i < m->flights[f].n; i++) {
            double speed = slice_speed(m->flights[f].flight->slices, i);
            if (isfinite(speed))
                all[n++] = speed;
        }
    }
    if (n > 0) {
        gsl_sort(all, 1, n);
        *median = gsl_stats_median_from_sorted_data(all, 1, n);
    }
    free(all);
    return n > 0 ? SR_OK : sr_fail(err, SR_ERR_DATA, NULL, 0, "the motor speeds are empty");
}

size_t matched_bin(const struct sr_slices *slices, size_t i, enum sr_match match, double width)
{
    double at = matched_condition(slices, i, match) / width;
    return isfinite(at) && at >= 0 && at < SR_COMPARE_BINS_MAX ? (size_t)at : NO_BIN;
}

static void bin_slices(struct matched *m)
{
    for (size_t f = 0; f < m->count; f++) {
        struct matched_flight *flight = &m->flights[f];
        for (size_t i = 0; i < flight->n; i++) {
            flight->bin[i] = matched_bin(flight->flight->slices, i, m->match, m->width);
            if (flight->bin[i] != NO_BIN)
                flight->visited[flight->bin[i]] = true;
        }
    }
}

/* The bins that every flight visited, one left out (count: none left out). Returns how many. */
static size_t common_without(const struct matched *m, size_t left_out, bool common[SR_COMPARE_BINS_MAX])
{
    size_t bins = 0;
    for (size_t b = 0; b < SR_COMPARE_BINS_MAX; b++) {
        common[b] = true;
        for (size_t f = 0; f < m->count && common[b]; f++)
            common[b] = m->flights[f].dropped || f == left_out || m->flights[f].visited[b];
        bins += common[b];
    }
    return bins;
}

/* The most other flights that one met in any bin. */
static size_t company(const struct matched *m, size_t one)
{
    size_t most = 0;
    for (size_t b = 0; b < SR_COMPARE_BINS_MAX; b++) {
        size_t met = 0;
        for (size_t f = 0; f < m->count && m->flights[one].visited[b]; f++)
            met += f != one && !m->flights[f].dropped && m->flights[f].visited[b];
        most = met > most ? met : most;
    }
    return most;
}

static size_t flights_left(const struct matched *m, int group)
{
    size_t n = 0;
    for (size_t f = 0; f < m->count; f++)
        n += m->flights[f].group == group && !m->flights[f].dropped;
    return n;
}

/* The flight to leave out: the one without which the others share most; where that settles nothing, the one
 * that met the fewest others. count: none can be spared. */
static size_t least_alike(const struct matched *m)
{
    size_t worst = m->count, most = 0, fewest = 0;
    for (size_t f = 0; f < m->count; f++) {
        bool trial[SR_COMPARE_BINS_MAX];
        if (m->flights[f].dropped || flights_left(m, m->flights[f].group) < 2)
            continue;
        size_t bins = common_without(m, f, trial), met = company(m, f);
        if (worst == m->count || bins > most || (bins == most && met < fewest)) {
            worst = f;
            most = bins;
            fewest = met;
        }
    }
    return worst;
}

/*
 * Whoever was left out before another that was to blame may share bins with those that remain: take back the
 * one that costs the fewest bins, until nobody left out shares any. Then no slice of theirs lies in a common
 * bin either.
 */
static void take_back(struct matched *m)
{
    for (;;) {
        size_t best = m->count, most = 0;
        for (size_t f = 0; f < m->count; f++) {
            size_t bins = 0;
            for (size_t b = 0; b < SR_COMPARE_BINS_MAX && m->flights[f].dropped; b++)
                bins += m->common[b] && m->flights[f].visited[b];
            if (bins > most) {
                most = bins;
                best = f;
            }
        }
        if (best == m->count)
            return;
        m->flights[best].dropped = false;
        m->common_bins = common_without(m, m->count, m->common);
    }
}

/*
 * Find the common bins. Where there are none, flights that were flown unlike the others may be to blame: they
 * are left out, as long as their group has another.
 */
static enum sr_status find_common(struct matched *m, struct sr_error *err)
{
    while ((m->common_bins = common_without(m, m->count, m->common)) == 0) {
        size_t worst = least_alike(m);
        if (worst == m->count)
            return sr_fail(err, SR_ERR_DATA, NULL, 0,
                           "the two groups were never flown at the same %s; fly both at a like pace",
                           m->match == SR_MATCH_SPEED ? "motor speed" : "throttle");
        m->flights[worst].dropped = true;
    }
    take_back(m);
    return SR_OK;
}

/* Energy of one slice up to the common limit, for every measure. */
static void measure_slice(const struct matched *m, struct matched_flight *flight, size_t i)
{
    const struct sr_slices *slices = flight->flight->slices;
    const struct sr_view *view = flight->flight->view;
    double *energy = flight->energy + i * MEASURES;
    double stop = fmin(floor(m->limit_hz / view->bin_hz + 1e-9) + 1, (double)view->bins);

    for (size_t band = SR_BAND_BEND; band < SR_BAND_COUNT; band++) {
        double low = ceil(sr_band_low_hz(&view->camera, (enum sr_band)band) / view->bin_hz - 1e-9);
        double high = ceil(sr_band_high_hz(&view->camera, (enum sr_band)band) / view->bin_hz - 1e-9);
        size_t first = (size_t)fmin(low, stop), last = (size_t)fmin(high, stop);
        for (size_t a = 0; a < 3; a++) {
            double e = sr_view_energy(view, slices, i, (enum sr_picture_axis)a, first, last);
            energy[MEASURE_WHOLE] += e;
            energy[MEASURE_BAND + band - SR_BAND_BEND] += e;
            energy[MEASURE_AXIS + a] += e;
        }
    }
}

static bool same_picture(const struct sr_camera *a, const struct sr_camera *b)
{
    const double x[] = {a->width_px,   a->height_px, a->fps,     a->readout_s,
                        a->exposure_s, a->hfov_deg,  a->tilt_deg};
    const double y[] = {b->width_px,   b->height_px, b->fps,     b->readout_s,
                        b->exposure_s, b->hfov_deg,  b->tilt_deg};
    for (size_t i = 0; i < sizeof x / sizeof *x; i++)
        if (fabs(x[i] - y[i]) > 1e-9 * fmax(fabs(x[i]), fabs(y[i])))
            return false;
    return a->lens == b->lens;
}

static enum sr_status take_flight(struct matched_flight *f, const struct sr_compare_flight *flight, int group,
                                  struct sr_error *err)
{
    f->flight = flight;
    f->group = group;
    f->n = flight->slices->count;
    f->bin = calloc(f->n, sizeof *f->bin);
    f->energy = calloc(f->n, MEASURES * sizeof *f->energy);
    if (f->bin == NULL || f->energy == NULL)
        return sr_fail(err, SR_ERR_MEMORY, flight->name, 0, "out of memory for %zu slices", f->n);
    return SR_OK;
}

static enum sr_status take_group(struct matched *m, const struct sr_compare_group *g, int group,
                                 struct sr_error *err)
{
    const struct sr_camera *camera = &m->flights[0].flight->view->camera;
    for (size_t i = 0; i < g->count; i++) {
        enum sr_status status = take_flight(&m->flights[m->count++], &g->flights[i], group, err);
        if (status != SR_OK)
            return status;
        if (m->count == 1)
            camera = &g->flights[i].view->camera;
        if (!same_picture(camera, &g->flights[i].view->camera))
            return sr_fail(err, SR_ERR_DATA, g->flights[i].name, 0,
                           "seen by another camera than the first flight; compare with one camera for all "
                           "(one --rig, or camera options)");
        m->limit_hz = fmin(m->limit_hz, g->flights[i].slices->sees_hz);
    }
    return SR_OK;
}

enum sr_status matched_make(struct matched *m, const struct sr_compare_group *a,
                            const struct sr_compare_group *b, struct sr_error *err)
{
    *m = (struct matched){.limit_hz = INFINITY, .width = 1};
    if (a->count == 0 || b->count == 0)
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "a comparison needs at least one flight on each side");
    m->flights = calloc(a->count + b->count, sizeof *m->flights);
    if (m->flights == NULL)
        return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for %zu flights", a->count + b->count);
    m->flights[0].flight = &a->flights[0];

    enum sr_status status = take_group(m, a, 0, err);
    if (status == SR_OK)
        status = take_group(m, b, 1, err);
    if (status != SR_OK)
        return status;

    m->match = choose_match(m);
    if (m->match == SR_MATCH_THROTTLE)
        m->width = THROTTLE_WIDTH;
    if (m->match == SR_MATCH_SPEED) {
        status = median_speed(m, &m->width, err);
        m->width *= SPEED_WIDTH;
    }
    if (status == SR_OK) {
        bin_slices(m);
        status = find_common(m, err);
    }
    for (size_t f = 0; f < m->count && status == SR_OK; f++) {
        for (size_t i = 0; i < m->flights[f].n; i++) {
            measure_slice(m, &m->flights[f], i);
            m->flights[f].kept += matched_keeps(m, &m->flights[f], i);
        }
    }
    return status;
}

void matched_release(struct matched *m)
{
    for (size_t f = 0; f < m->count; f++) {
        free(m->flights[f].bin);
        free(m->flights[f].energy);
    }
    free(m->flights);
    m->flights = NULL;
    m->count = 0;
}

bool matched_keeps(const struct matched *m, const struct matched_flight *f, size_t i)
{
    return !f->dropped && f->bin[i] != NO_BIN && m->common[f->bin[i]];
}

void matched_weights(const struct matched *m, const struct matched_flight *f,
                     double weight[SR_COMPARE_BINS_MAX])
{
    size_t count[SR_COMPARE_BINS_MAX] = {0};
    for (size_t i = 0; i < f->n; i++)
        if (matched_keeps(m, f, i))
            count[f->bin[i]]++;
    for (size_t b = 0; b < SR_COMPARE_BINS_MAX; b++)
        weight[b] = count[b] > 0 ? 1 / ((double)m->common_bins * (double)count[b]) : 0;
}
