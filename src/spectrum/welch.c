/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Welch's averaged periodogram. The only file of the library that knows FFTW. */
#include "stillrow/spectrum.h"

#include <fftw3.h>
#include <limits.h>
#include <math.h>
#include <pthread.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

/*
 * FFTW keeps one planner for the whole process, which one thread at a time may use;
 * plans themselves may run side by side. So this lock is FFTW's, not a state of ours.
 */
static pthread_mutex_t planner = PTHREAD_MUTEX_INITIALIZER;

struct sr_welch {
    enum sr_detrend detrend;
    size_t segment;
    size_t hop;
    double enbw_bins;
    double window_energy; /* sum of w^2 */
    double *window;       /* [segment] */
    double *ramp;         /* [segment] samples from the middle */
    double *in;           /* [segment] FFTW's, aligned */
    fftw_complex *out;    /* [bins] */
    fftw_plan plan;
};

static enum sr_status check_arguments(enum sr_window window, enum sr_detrend detrend, size_t segment,
                                      size_t hop, struct sr_error *err)
{
    if ((size_t)window >= SR_WINDOW_COUNT)
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "unknown window %d", (int)window);
    if (detrend != SR_DETREND_NONE && detrend != SR_DETREND_MEAN && detrend != SR_DETREND_LINEAR)
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "unknown detrending %d", (int)detrend);
    /* FFTW's plans count in int. */
    if (segment < 8 || segment > INT_MAX)
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "segment of %zu samples, needs 8 to %d", segment,
                       INT_MAX);
    if (hop < 1 || hop > segment)
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "hop of %zu samples, needs 1 to the segment's %zu", hop,
                       segment);
    return SR_OK;
}

enum sr_status sr_welch_new(struct sr_welch **welch, enum sr_window window, enum sr_detrend detrend,
                            size_t segment, size_t hop, struct sr_error *err)
{
    enum sr_status status = check_arguments(window, detrend, segment, hop, err);
    struct sr_welch *made;

    if (status != SR_OK)
        return status;
    made = calloc(1, sizeof *made);
    if (!made)
        goto no_memory;
    if (segment > SIZE_MAX / sizeof(fftw_complex) / 2)
        goto no_memory;
    made->detrend = detrend;
    made->segment = segment;
    made->hop = hop;
    made->window = malloc(2 * segment * sizeof *made->window);
    made->in = fftw_malloc(segment * sizeof *made->in);
    made->out = fftw_malloc((segment / 2 + 1) * sizeof *made->out);
    if (!made->window || !made->in || !made->out)
        goto no_memory;
    /* ESTIMATE: the same plan, so the same rounding, from run to run. */
    pthread_mutex_lock(&planner);
    made->plan = fftw_plan_dft_r2c_1d((int)segment, made->in, made->out, FFTW_ESTIMATE);
    pthread_mutex_unlock(&planner);
    if (!made->plan)
        goto no_memory;
    made->ramp = made->window + segment;
    for (size_t i = 0; i < segment; i++)
        made->ramp[i] = (double)i - 0.5 * (double)(segment - 1);
    sr_window_fill(window, made->window, segment);
    for (size_t i = 0; i < segment; i++)
        made->window_energy += made->window[i] * made->window[i];
    made->enbw_bins = sr_window_enbw_bins(made->window, segment);
    *welch = made;
    return SR_OK;

no_memory:
    sr_welch_free(made);
    return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "no memory for a spectrum of %zu samples", segment);
}

void sr_welch_free(struct sr_welch *welch)
{
    if (!welch)
        return;
    if (welch->plan) {
        pthread_mutex_lock(&planner);
        fftw_destroy_plan(welch->plan);
        pthread_mutex_unlock(&planner);
    }
    fftw_free(welch->out);
    fftw_free(welch->in);
    free(welch->window);
    free(welch);
}

size_t sr_welch_bins(const struct sr_welch *welch)
{
    return welch->segment / 2 + 1;
}

size_t sr_welch_segments(const struct sr_welch *welch, size_t count)
{
    return count < welch->segment ? 0 : (count - welch->segment) / welch->hop + 1;
}

double sr_welch_enbw_bins(const struct sr_welch *welch)
{
    return welch->enbw_bins;
}

double sr_welch_own_dof(const struct sr_welch *welch, size_t segments)
{
    return sr_welch_dof(welch->window, welch->segment, welch->hop, segments);
}

#define LANES 4 /* sums side by side, or each addition would wait for the one before */

/* What to take out of a segment: mean + slope * ramp, the least-squares line, or its mean alone. */
struct trend {
    double mean, slope;
};

/* The ramp is counted from the middle, so that the two are independent. */
static struct trend trend_of(const struct sr_welch *welch, const double *x)
{
    const size_t n = welch->segment;
    const double length = (double)n;
    struct trend trend = {0};
    double sum[LANES] = {0}, moment[LANES] = {0};
    size_t i = 0;

    if (welch->detrend == SR_DETREND_NONE)
        return trend;
    for (; i + LANES <= n; i += LANES)
        for (size_t lane = 0; lane < LANES; lane++) {
            sum[lane] += x[i + lane];
            moment[lane] += welch->ramp[i + lane] * x[i + lane];
        }
    for (; i < n; i++) {
        sum[0] += x[i];
        moment[0] += welch->ramp[i] * x[i];
    }
    trend.mean = (sum[0] + sum[1] + (sum[2] + sum[3])) / length;
    if (welch->detrend == SR_DETREND_LINEAR)
        trend.slope =
            (moment[0] + moment[1] + (moment[2] + moment[3])) * 12.0 / (length * (length * length - 1.0));
    return trend;
}

static void add_periodogram(struct sr_welch *welch, const double *x, double *power)
{
    const size_t n = welch->segment;
    const size_t bins = n / 2 + 1;
    const struct trend trend = trend_of(welch, x);

    for (size_t i = 0; i < n; i++)
        welch->in[i] = (x[i] - (trend.mean + trend.slope * welch->ramp[i])) * welch->window[i];
    fftw_execute(welch->plan);
    for (size_t k = 0; k < bins; k++)
        power[k] += welch->out[k][0] * welch->out[k][0] + welch->out[k][1] * welch->out[k][1];
}

enum sr_status sr_welch_psd(struct sr_welch *welch, const double *x, size_t count, double rate_hz,
                            double *psd, struct sr_error *err)
{
    size_t segments = sr_welch_segments(welch, count);
    size_t bins = sr_welch_bins(welch);
    double scale;

    if (!(rate_hz > 0.0) || !isfinite(rate_hz))
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "sample rate of %g Hz, needs to be above 0", rate_hz);
    if (segments == 0)
        return sr_fail(err, SR_ERR_SHORT, NULL, 0, "%zu samples, one segment takes %zu", count,
                       welch->segment);
    memset(psd, 0, bins * sizeof *psd);
    for (size_t s = 0; s < segments; s++)
        add_periodogram(welch, x + s * welch->hop, psd);
    scale = 1.0 / (rate_hz * welch->window_energy * (double)segments);
    for (size_t k = 0; k < bins; k++) {
        /* DC and an even segment's Nyquist have no mirror image to fold in. */
        bool single = k == 0 || (welch->segment % 2 == 0 && k == bins - 1);

        psd[k] *= single ? scale : 2.0 * scale;
    }
    return SR_OK;
}
