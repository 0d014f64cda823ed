/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Two natural frequencies from flights of one build on two mounts, by the ratio of what the camera felt. */
#include <gsl/gsl_math.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "mount/fit.h"
#include "mount/private.h"

#define LOW_HZ         5.0
#define HIGH_HZ        400.0
#define SLICES_MIN     8
#define BINS_MIN       12
#define THROTTLE_STEP  0.05 /* slices within one step of throttle are alike */
#define THROTTLES      24
#define ROUNDS         8   /* of reweighting */
#define GAIN_SIGMA     0.3 /* ln: two flights are not flown alike */
#define STARTS         18
#define EXPLAINED_MIN  0.5
#define WIDTH_MAX      0.15
#define APART_MIN      1.05 /* natural frequencies closer than this cannot be told apart */
#define NORMAL_95      1.96
#define CORRELATED     1.5
#define FAR            4.0
#define FLOOR_QUANTILE 0.1   /* of the densities: the sensor's own noise */
#define CLEAR          4.0   /* over it, from where a bin tells of the flight */
#define SPREAD         0.577 /* of a five-point binomial with the width of Hann's main lobe, 1/3 bin^2 */

enum { LN_FIRST = 0, LN_SECOND, LN_DAMPING, LN_GAIN, PARAMETERS };

struct twin {
    double bin_hz;
    size_t count;
    size_t *bin;         /* [count] bins used */
    const double *ratio; /* [bins] ln of density b over density a; NAN where either is noise */
    double *root_weight; /* [count] */
};

/* Mean |H|^2 as half-second Hann segments show it. */
static double windowed_power(const struct sr_isolator *isolator, double hz, double bin_hz)
{
    double sum = 0;
    for (int i = -2; i <= 2; i++) {
        static const double weight[5] = {1, 4, 6, 4, 1};
        sum += weight[i + 2] / 16 * sr_isolator_power(isolator, hz + SPREAD * i * bin_hz);
    }
    return sum;
}

static double expected(const double *parameter, double hz, double bin_hz)
{
    const struct sr_isolator a = {exp(parameter[LN_FIRST]), exp(parameter[LN_DAMPING])};
    const struct sr_isolator b = {exp(parameter[LN_SECOND]), exp(parameter[LN_DAMPING])};
    return parameter[LN_GAIN] + log(windowed_power(&b, hz, bin_hz) / windowed_power(&a, hz, bin_hz));
}

static void model(const void *context, const double *parameter, double *r)
{
    const struct twin *twin = context;
    for (size_t i = 0; i < twin->count; i++) {
        size_t k = twin->bin[i];
        r[i] = twin->root_weight[i] *
               (twin->ratio[k] - expected(parameter, (double)k * twin->bin_hz, twin->bin_hz));
    }
    r[twin->count] = parameter[LN_GAIN] / GAIN_SIGMA;
}

static int by_size(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* A prop's line that moved between the flights is an outlier: Cauchy weights by the median residual. */
static void reweight(struct twin *twin, const double *parameter, double *r, double *sorted)
{
    for (size_t i = 0; i < twin->count; i++) {
        size_t k = twin->bin[i];
        r[i] = twin->ratio[k] - expected(parameter, (double)k * twin->bin_hz, twin->bin_hz);
        sorted[i] = fabs(r[i]);
    }
    qsort(sorted, twin->count, sizeof *sorted, by_size);
    double scale = fmax(1.4826 * sorted[twin->count / 2], 0.02);
    for (size_t i = 0; i < twin->count; i++)
        twin->root_weight[i] = 1 / sqrt(1 + r[i] * r[i] / (4 * scale * scale)) / scale;
}

static void find_start(const struct twin *twin, double *r, double *parameter)
{
    double low = log(2 * LOW_HZ), high = log((double)twin->bin[twin->count - 1] * twin->bin_hz / 1.5);
    double least = INFINITY;
    for (int i = 0; i < STARTS; i++) {
        for (int j = 0; j < STARTS; j++) {
            double trial[PARAMETERS] = {low + (high - low) * i / (STARTS - 1),
                                        low + (high - low) * j / (STARTS - 1), log(0.1), 0};
            double sum = 0;
            model(twin, trial, r);
            for (size_t k = 0; k < twin->count; k++)
                sum += fabs(r[k]); /* not squares: the outliers are still among them */
            if (sum < least) {
                least = sum;
                memcpy(parameter, trial, sizeof trial);
            }
        }
    }
}

static enum sr_status fit_twin(struct fit *fit, struct twin *twin, struct sr_error *err)
{
    double *block = calloc(twin->count + 1, 2 * sizeof *block);
    if (block == NULL)
        return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory to fit %zu bins", twin->count);
    enum sr_status status = SR_OK;
    for (size_t i = 0; i < twin->count; i++)
        twin->root_weight[i] = 1;
    *fit =
        (struct fit){.parameters = PARAMETERS, .residuals = twin->count + 1, .model = model, .context = twin};
    find_start(twin, block, fit->value);
    for (int round = 0; round < ROUNDS && status == SR_OK; round++) {
        reweight(twin, fit->value, block, block + twin->count + 1);
        status = fit_run(fit, err);
    }
    free(block);
    return status;
}

static double explained(const struct twin *twin, const double *parameter)
{
    double weight = 0, mean = 0, total = 0, left = 0;
    for (size_t i = 0; i < twin->count; i++) {
        double w = twin->root_weight[i] * twin->root_weight[i];
        weight += w;
        mean += w * twin->ratio[twin->bin[i]];
    }
    mean /= weight;
    for (size_t i = 0; i < twin->count; i++) {
        size_t k = twin->bin[i];
        double w = twin->root_weight[i] * twin->root_weight[i];
        double apart = twin->ratio[k] - expected(parameter, (double)k * twin->bin_hz, twin->bin_hz);
        total += w * (twin->ratio[k] - mean) * (twin->ratio[k] - mean);
        left += w * apart * apart;
    }
    return total > 0 ? 1 - left / total : 0;
}

/* ---- Matching slices ---- */

static size_t throttle_step(double throttle)
{
    double step = floor(throttle / THROTTLE_STEP);
    return step >= 0 && step < THROTTLES ? (size_t)step : THROTTLES;
}

/* How many slices each step of throttle is worth: what both flights have of it. */
static size_t match(const struct sr_slices *a, const struct sr_slices *b, double *worth)
{
    size_t of_a[THROTTLES + 1] = {0}, of_b[THROTTLES + 1] = {0}, sum = 0;
    for (size_t i = 0; i < a->count; i++)
        of_a[throttle_step(a->slice[i].throttle)]++;
    for (size_t i = 0; i < b->count; i++)
        of_b[throttle_step(b->slice[i].throttle)]++;
    for (size_t s = 0; s < THROTTLES; s++) {
        size_t both = of_a[s] < of_b[s] ? of_a[s] : of_b[s];
        worth[s] = (double)both;
        sum += both;
    }
    return sum;
}

/* Density over the three axes, each step of throttle weighted by its worth; worth NULL: all alike. */
static void mean_density(const struct sr_slices *slices, const double *worth, double *density)
{
    double of[THROTTLES + 1] = {0};
    memset(density, 0, slices->bins * sizeof *density);
    for (size_t i = 0; i < slices->count; i++)
        of[throttle_step(slices->slice[i].throttle)]++;
    for (size_t i = 0; i < slices->count; i++) {
        size_t step = throttle_step(slices->slice[i].throttle);
        double weight = worth == NULL ? 1 : step < THROTTLES ? worth[step] / of[step] : 0;
        if (weight <= 0)
            continue;
        for (int axis = 0; axis < 3; axis++) {
            const double *psd = sr_slices_psd(slices, i, (enum sr_picture_axis)axis);
            for (size_t k = 0; k < slices->bins; k++)
                density[k] += weight * psd[k];
        }
    }
}

static enum sr_status check(const struct sr_slices *a, const struct sr_slices *b, struct sr_error *err)
{
    if (a->bins != b->bins || fabs(a->bin_hz / b->bin_hz - 1) > 0.01)
        return sr_fail(
            err, SR_ERR_ARGUMENT, NULL, 0,
            "the two flights were logged at different rates (%.4g and %.4g Hz); two mounts can only be told "
            "apart at the same one",
            a->rate_hz, b->rate_hz);
    if (a->count < SLICES_MIN || b->count < SLICES_MIN)
        return sr_fail(err, SR_ERR_SHORT, NULL, 0, "two mounts take %d s of flight on each, not %zu and %zu",
                       SLICES_MIN, a->count, b->count);
    return SR_OK;
}

/* ln of the ratio of densities into ratio[bins]. room: [bins]. */
static enum sr_status make_ratio(const struct sr_slices *a, const struct sr_slices *b, double *ratio,
                                 double *room, struct sr_error *err)
{
    double worth[THROTTLES];
    bool matched = a->has_throttle && b->has_throttle;
    size_t alike = matched ? match(a, b, worth) : 0;
    if (matched && alike < SLICES_MIN)
        return sr_fail(err, SR_ERR_SHORT, NULL, 0,
                       "the two flights have only %zu s at like throttle, and %d are needed", alike,
                       SLICES_MIN);
    double scale = matched ? 1 : (double)a->count / (double)b->count;
    mean_density(a, matched ? worth : NULL, room);
    mean_density(b, matched ? worth : NULL, ratio);
    double floor_a, floor_b;
    enum sr_status status = sr_quantile(room, a->bins, FLOOR_QUANTILE, &floor_a, err);
    if (status == SR_OK)
        status = sr_quantile(ratio, b->bins, FLOOR_QUANTILE, &floor_b, err);
    if (status != SR_OK)
        return status;
    for (size_t k = 0; k < a->bins; k++) {
        bool clear = room[k] > CLEAR * floor_a && ratio[k] > CLEAR * floor_b;
        ratio[k] = clear ? log(scale * (ratio[k] - floor_b) / (room[k] - floor_a)) : NAN;
    }
    return SR_OK;
}

static void choose_bins(struct twin *twin, size_t bins, double top_hz)
{
    twin->count = 0;
    for (size_t k = 0; k < bins; k++) {
        double hz = (double)k * twin->bin_hz;
        if (hz >= LOW_HZ && hz <= top_hz && isfinite(twin->ratio[k]))
            twin->bin[twin->count++] = k;
    }
}

/* ---- The answer ---- */

static void fill(struct sr_identified *found, const struct fit *fit, const struct twin *twin, int which)
{
    double factor = exp(NORMAL_95 * sqrt(CORRELATED) * fit->sigma[which]);
    double loose = exp(NORMAL_95 * sqrt(CORRELATED) * fit->sigma[LN_DAMPING]);
    double hz = exp(fit->value[which]), damping = exp(fit->value[LN_DAMPING]);
    *found =
        (struct sr_identified){.bins = twin->count, .coherence = NAN, .gain = exp(0.5 * fit->value[LN_GAIN])};
    found->fn_hz = (struct sr_interval){hz, hz / factor, hz * factor};
    found->damping = (struct sr_interval){damping, damping / loose, damping * loose};
    found->low_hz = (double)twin->bin[0] * twin->bin_hz;
    found->high_hz = (double)twin->bin[twin->count - 1] * twin->bin_hz;
    found->explained = explained(twin, fit->value);
    snprintf(found->text, sizeof found->text,
             "from flights on two mounts: %.4g and %.4g Hz, one damping for both, %zu bins from %.0f to %.0f "
             "Hz, fit "
             "explains %.0f %%",
             exp(fit->value[LN_FIRST]), exp(fit->value[LN_SECOND]), found->bins, found->low_hz,
             found->high_hz, 100 * found->explained);
}

static enum sr_status judge(const struct sr_identified *one, const struct sr_identified *two,
                            struct sr_error *err)
{
    double width = fmax(one->fn_hz.high / one->fn_hz.value, two->fn_hz.high / two->fn_hz.value) - 1;
    double apart = fabs(log(one->fn_hz.value / two->fn_hz.value));
    bool inside = true;
    const struct sr_identified *both[2] = {one, two};
    for (int i = 0; i < 2; i++)
        inside = inside && both[i]->fn_hz.value > 1.5 * both[i]->low_hz &&
                 both[i]->fn_hz.value < both[i]->high_hz / 1.3;
    if (one->explained >= EXPLAINED_MIN && width <= WIDTH_MAX && apart >= log(APART_MIN) && inside)
        return SR_OK;
    return sr_fail(
        err, SR_ERR_DATA, NULL, 0,
        "the two flights do not show two mounts: %.3g and %.3g Hz, +-%.0f %%, would explain %.0f %% of their "
        "difference (%.0f %% and +-%.0f %% are needed)",
        one->fn_hz.value, two->fn_hz.value, 100 * width, 100 * one->explained, 100 * EXPLAINED_MIN,
        100 * WIDTH_MAX);
}

enum sr_status sr_identify_mounts(struct sr_identified *first, struct sr_identified *second,
                                  const struct sr_slices *a, const struct sr_slices *b, struct sr_error *err)
{
    struct sr_identified one, two;
    struct fit fit = {0};
    enum sr_status status = check(a, b, err);
    if (status != SR_OK)
        return status;

    double *block = calloc(a->bins, 3 * sizeof *block);
    size_t *bin = calloc(a->bins, sizeof *bin);
    if (block == NULL || bin == NULL) {
        free(block);
        free(bin);
        return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for %zu bins", a->bins);
    }
    double top_hz = fmin(HIGH_HZ, 0.9 * fmin(a->sees_hz, b->sees_hz));
    struct twin twin = {a->bin_hz, 0, bin, block, block + 2 * a->bins};
    status = make_ratio(a, b, block, block + a->bins, err);
    /* First over everything, then without what lies too far above both. */
    for (int pass = 0; pass < 2 && status == SR_OK; pass++) {
        choose_bins(&twin, a->bins, top_hz);
        if (twin.count < BINS_MIN)
            status =
                sr_fail(err, SR_ERR_DATA, NULL, 0,
                        "only %zu bins rise out of the noise of both logs; %d are needed to tell two mounts",
                        twin.count, BINS_MIN);
        else
            status = fit_twin(&fit, &twin, err);
        if (status == SR_OK)
            top_hz = fmin(top_hz, FAR * exp(fmax(fit.value[LN_FIRST], fit.value[LN_SECOND])));
    }
    if (status == SR_OK) {
        fill(&one, &fit, &twin, LN_FIRST);
        fill(&two, &fit, &twin, LN_SECOND);
        status = judge(&one, &two, err);
    }
    free(block);
    free(bin);
    if (status == SR_OK) {
        *first = one;
        *second = two;
    }
    return status;
}
