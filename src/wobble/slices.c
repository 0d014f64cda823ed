/* SPDX-License-Identifier: GPL-3.0-or-later */
/* From a log to slices: the airborne part, a second at a time, as spectra about the picture axes. */
#include "stillrow/wobble.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <gsl/gsl_math.h>

#include "support/ordered.h"
#include "support/pages.h"

#define SLICES_LEAST 2 /* of one second nobody knows how it scatters */

/* Where slices lie in one run and one airborne span. */
struct cut {
    size_t first; /* index into the log's samples of the first slice */
    size_t last;  /* index of the last sample that a slice may begin at */
    size_t count; /* slices */
    double start_s;
};

/*
 * Slices begin a second apart, to the nearest sample, whatever the rate. Two whole segments are up to two
 * samples more than a second, which the next slice then shares: a window hardly sees its ends.
 */
static struct cut cut_run(const struct sr_log *log, const struct sr_run *run, const struct sr_span *span,
                          size_t length)
{
    const double slack = 1e-6; /* of a sample: stamps are decimal, the rate is not */
    struct cut cut = {0};
    double from = (span->from_s - run->start_s) * log->rate_hz;
    double to = (span->to_s - run->start_s) * log->rate_hz;
    double first = fmax(0, ceil(from - slack));
    /* A span ends with its last sample, and a sample lasts until the next. */
    double last = fmin((double)run->count, floor(to + slack) + 1);

    if (length == 0 || last - first < (double)length)
        return cut;
    cut.first = run->first + (size_t)first;
    cut.last = run->first + (size_t)last - length;
    /* A second that lacks one sample is one: rates are measured. */
    cut.count = (size_t)((last - first + 1 + slack) / (log->rate_hz * SR_SLICE_S));
    cut.start_s = run->start_s + first / log->rate_hz;
    return cut;
}

static size_t count_slices(const struct sr_log *log, size_t length)
{
    size_t count = 0;
    for (size_t s = 0; s < log->n_airborne; s++)
        for (size_t r = 0; r < log->n_runs; r++)
            count += cut_run(log, &log->runs[r], &log->airborne[s], length).count;
    return count;
}

/* Means over the steps of a slice; the slice's own mean where a step has nothing logged. */
static void fill_steps(double step[SR_SLICE_STEPS], const struct sr_log *log, const double *grid,
                       double from_s, double mean)
{
    const double step_s = SR_SLICE_S / SR_SLICE_STEPS;
    for (int j = 0; j < SR_SLICE_STEPS; j++) {
        double value = NAN;
        if (grid != NULL)
            value = sr_log_slow_mean(log, grid, from_s + j * step_s, from_s + (j + 1) * step_s);
        step[j] = isfinite(value) ? value : mean;
    }
}

static void describe_slice(struct sr_slice *slice, const struct sr_log *log, double from_s)
{
    slice->from_s = from_s;
    slice->to_s = from_s + SR_SLICE_S;
    slice->throttle = log->throttle != NULL ? sr_log_slow_mean(log, log->throttle, from_s, slice->to_s) : NAN;
    for (size_t m = 0; m < SR_MOTORS_MAX; m++)
        slice->motor_rpm[m] =
            m < log->n_motors ? sr_log_slow_mean(log, log->motor_rpm[m], from_s, slice->to_s) : NAN;
    fill_steps(slice->throttle_step, log, log->throttle, from_s, slice->throttle);
    for (size_t m = 0; m < SR_MOTORS_MAX; m++)
        fill_steps(slice->motor_step_rpm[m], log, m < log->n_motors ? log->motor_rpm[m] : NULL, from_s,
                   slice->motor_rpm[m]);
}

/* What one thread needs for slice after slice. */
struct worker {
    struct sr_welch *welch;
    double *picture[3]; /* [length] each, one block */
    double *psd;        /* [welch_bins] in the same block */
    enum sr_status status;
    struct sr_error err;
};

/* All of the flight, a slice at a time by whoever is free. */
struct making {
    const struct sr_log *log;
    const struct sr_rig *rig;
    enum sr_window window;
    struct sr_slices *slices;
    size_t length;         /* samples a slice */
    size_t welch_bins;     /* up to half the rate of the rows; the slices end where the gyro's own does */
    size_t *first;         /* [slices] its first sample */
    struct worker *worker; /* [workers] */
    size_t workers;
};

/*
 * What the gyro can have seen. One that repeats each value over n rows until the next is read
 * filters its motion by the mean of n: sin(n x) / (n sin x), x = pi f / row rate (closed form of the
 * geometric sum), which is undone here; the images that it makes above half its own rate are no
 * motion, and are left out.
 */
static void keep_seen(const struct making *m, const double *psd, double *kept)
{
    const struct sr_slices *slices = m->slices;
    const double repeats = m->log->rate_hz / slices->rate_hz;

    memcpy(kept, psd, slices->bins * sizeof *kept);
    if (slices->bins == m->welch_bins)
        return;
    for (size_t k = 1; k < slices->bins; k++) {
        const double x = M_PI * (double)k * slices->bin_hz / m->log->rate_hz;
        const double lift = repeats * sin(x) / sin(repeats * x);
        kept[k] *= lift * lift;
    }
}

static void make_slice(void *context, size_t i, size_t hand)
{
    const struct making *m = context;
    const struct sr_slices *slices = m->slices;
    struct worker *w = &m->worker[hand];
    const double *body[3];

    for (int a = 0; a < 3; a++)
        body[a] = m->log->gyro_dps[a] + m->first[i];
    sr_camera_rates(&m->rig->camera, m->rig->axes, body, m->length, w->picture);
    for (size_t a = 0; a < 3 && w->status == SR_OK; a++) {
        w->status = sr_welch_psd(w->welch, w->picture[a], m->length, m->log->rate_hz, w->psd, &w->err);
        keep_seen(m, w->psd, slices->psd + (i * 3 + a) * slices->bins);
    }
}

/* Where each slice starts. */
static void place_slices(struct making *m)
{
    size_t i = 0;
    for (size_t s = 0; s < m->log->n_airborne; s++) {
        for (size_t r = 0; r < m->log->n_runs; r++) {
            struct cut cut = cut_run(m->log, &m->log->runs[r], &m->log->airborne[s], m->length);
            for (size_t k = 0; k < cut.count; k++, i++) {
                size_t at = cut.first + (size_t)lround((double)k * SR_SLICE_S * m->log->rate_hz);
                m->first[i] = at < cut.last ? at : cut.last;
                m->slices->slice[i].from_s = cut.start_s + (double)k * SR_SLICE_S;
            }
        }
    }
}

static enum sr_status check_rate(const struct sr_log *log, const struct sr_rig *rig, struct sr_error *err)
{
    double first_hz = sr_band_low_hz(&rig->camera, SR_BAND_BEND);
    double nyquist_hz = sr_log_nyquist_hz(log);
    if (nyquist_hz > first_hz && nyquist_hz * SR_SEGMENT_S >= 8)
        return SR_OK;
    return sr_fail(
        err, SR_ERR_RATE, log->name, 0,
        "logged at %.4g Hz, which shows nothing above %.4g Hz, but this camera begins to wobble at "
        "%.4g Hz; log the gyro at %.4g Hz or faster",
        2 * nyquist_hz, nyquist_hz, first_hz, 2 * sr_band_high_hz(&rig->camera, SR_BAND_WAVE));
}

static enum sr_status allocate(struct making *m, struct sr_error *err)
{
    struct sr_slices *slices = m->slices;
    size_t densities = 3 * slices->bins;
    size_t room = 3 * m->length + m->welch_bins;
    if (densities == 0 || slices->count > SIZE_MAX / sizeof(double) / densities ||
        m->length > SIZE_MAX / sizeof(double) / 4)
        return sr_fail(err, SR_ERR_MEMORY, m->log->name, 0, "too many slices for this machine's memory");
    slices->slice = calloc(slices->count, sizeof *slices->slice);
    slices->psd = sr_pages_alloc(slices->count * densities * sizeof *slices->psd);
    m->first = calloc(slices->count, sizeof *m->first);
    bool ok = slices->slice != NULL && slices->psd != NULL && m->first != NULL;
    for (size_t n = 0; ok && n < m->workers; n++) {
        double *picture = malloc(room * sizeof *picture);
        for (size_t a = 0; a < 3 && picture != NULL; a++)
            m->worker[n].picture[a] = picture + a * m->length;
        m->worker[n].psd = picture != NULL ? picture + 3 * m->length : NULL;
        ok = picture != NULL;
    }
    if (!ok)
        return sr_fail(err, SR_ERR_MEMORY, m->log->name, 0, "out of memory for %zu slices", slices->count);
    return SR_OK;
}

static enum sr_status too_few(const struct sr_log *log, size_t count, struct sr_error *err)
{
    const char *seconds = count == 0 ? "no whole second" : "only one whole second";

    if (log->airborne_how == SR_AIRBORNE_ASKED)
        return sr_fail(
            err, SR_ERR_SHORT, log->name, 0,
            "%s without a gap between %.4g and %.4g s of it, as asked, and a score needs %d; the log is "
            "%.4g s long",
            seconds, log->airborne[0].from_s, log->airborne[0].to_s, SLICES_LEAST,
            log->quality.duration_s + 1 / log->rate_hz);
    return sr_fail(
        err, SR_ERR_SHORT, log->name, 0,
        "%s in the air without a gap, and a score needs %d; give the time in the air with --from and "
        "--to",
        seconds, SLICES_LEAST);
}

/* Count and measure what is to come. */
static enum sr_status plan_slices(struct making *m, struct sr_error *err)
{
    struct sr_slices *made = m->slices;
    const struct sr_log *log = m->log;

    made->segment = 2 * (size_t)lround(log->rate_hz * SR_SEGMENT_S / 2);
    m->length = 2 * made->segment;
    made->rate_hz = 2 * sr_log_nyquist_hz(log);
    made->sees_hz = sr_log_sees_hz(log);
    made->window = m->window;
    made->n_motors = log->n_motors;
    made->has_throttle = log->throttle != NULL;
    made->jobs = log->jobs;
    made->count = count_slices(log, m->length);
    if (made->count < SLICES_LEAST)
        return too_few(log, made->count, err);
    m->workers = m->workers < made->count ? m->workers : made->count;
    made->airborne_s = (double)made->count * SR_SLICE_S;
    m->welch_bins = made->segment / 2 + 1;
    made->bin_hz = log->rate_hz / (double)made->segment;
    made->bins = (size_t)(made->rate_hz / 2 / made->bin_hz + 1e-6) + 1;
    made->bins = made->bins < m->welch_bins ? made->bins : m->welch_bins;
    return SR_OK;
}

static void make_estimators(struct making *m)
{
    for (size_t n = 0; n < m->workers; n++) {
        struct worker *w = &m->worker[n];
        w->status = sr_welch_new(&w->welch, m->window, SR_DETREND_LINEAR, m->slices->segment,
                                 m->slices->segment / 2, &w->err);
    }
}

/* The first estimator of a process takes a while (FFTW gets ready): what the channels tell is looked at
 * beside it. */
static void prepare(void *context, size_t item, size_t hand)
{
    struct making *m = context;

    (void)hand;
    if (item == 0) {
        make_estimators(m);
        return;
    }
    place_slices(m);
    for (size_t i = 0; i < m->slices->count; i++)
        describe_slice(&m->slices->slice[i], m->log, m->slices->slice[i].from_s);
}

/* That of the first worker that failed. */
static enum sr_status work_status(const struct making *m, struct sr_error *err)
{
    for (size_t n = 0; n < m->workers; n++) {
        if (m->worker[n].status == SR_OK)
            continue;
        if (err != NULL)
            *err = m->worker[n].err;
        return m->worker[n].status;
    }
    return SR_OK;
}

static enum sr_status fill_slices(struct making *m, struct sr_error *err)
{
    sr_each(prepare, m, 2, m->log->jobs);
    enum sr_status status = work_status(m, err);
    if (status != SR_OK)
        return status;
    const struct sr_welch *welch = m->worker[0].welch;
    m->slices->enbw_bins = sr_welch_enbw_bins(welch);
    m->slices->dof = sr_welch_own_dof(welch, sr_welch_segments(welch, m->length));
    sr_each(make_slice, m, m->slices->count, m->workers);
    return work_status(m, err);
}

enum sr_status sr_slices_make(struct sr_slices *slices, const struct sr_log *log, const struct sr_rig *rig,
                              enum sr_window window, struct sr_error *err)
{
    enum sr_status status = check_rate(log, rig, err);
    if (status != SR_OK)
        return status;

    struct sr_slices made = {0};
    struct making m = {
        .log = log, .rig = rig, .window = window, .slices = &made, .workers = log->jobs > 1 ? log->jobs : 1};
    m.worker = calloc(m.workers, sizeof *m.worker);
    status =
        m.worker != NULL ? plan_slices(&m, err) : sr_fail(err, SR_ERR_MEMORY, log->name, 0, "out of memory");
    if (status == SR_OK)
        status = allocate(&m, err);
    if (status == SR_OK)
        status = fill_slices(&m, err);
    for (size_t n = 0; m.worker != NULL && n < m.workers; n++) {
        free(m.worker[n].picture[0]);
        sr_welch_free(m.worker[n].welch);
    }
    free(m.worker);
    free(m.first);
    if (status != SR_OK)
        sr_slices_release(&made);
    else
        *slices = made;
    return status;
}

void sr_slices_release(struct sr_slices *slices)
{
    free(slices->slice);
    free(slices->psd);
    slices->slice = NULL;
    slices->psd = NULL;
    slices->count = 0;
}

const double *sr_slices_psd(const struct sr_slices *slices, size_t i, enum sr_picture_axis axis)
{
    return slices->psd + (i * 3 + (size_t)axis) * slices->bins;
}

void sr_slices_mean(const struct sr_slices *slices, enum sr_picture_axis axis, size_t first, size_t last,
                    const bool *keep, double *psd)
{
    size_t taken = 0;
    memset(psd, 0, slices->bins * sizeof *psd);
    for (size_t i = first; i < last && i < slices->count; i++) {
        if (keep != NULL && !keep[i])
            continue;
        const double *one = sr_slices_psd(slices, i, axis);
        for (size_t k = 0; k < slices->bins; k++)
            psd[k] += one[k];
        taken++;
    }
    for (size_t k = 0; taken > 0 && k < slices->bins; k++)
        psd[k] /= (double)taken;
}
