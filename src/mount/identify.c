/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Natural frequency and damping from a transfer function. */
#include <gsl/gsl_math.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#include "mount/fit.h"
#include "mount/private.h"

#define LOW_HZ         5.0  /* below, a flight is all pilot */
#define COHERENCE_MIN  0.5  /* of a bin that is used */
#define COHERENCE_GOOD 0.6  /* mean over the bins around the resonance */
#define BINS_MIN       12   /* used in all, and a third of it on each side */
#define ERROR_LEAST    0.02 /* of ln H: leakage and a mount's other ways of moving */
#define EXPLAINED_MIN  0.7
#define WIDTH_MAX      0.15 /* half the 95 % interval over fn */
#define AROUND         1.5  /* bins within this factor are around the resonance */
#define FAR            4.0  /* beyond this multiple of fn a frame bends, and one spring is not all */
#define GAIN_SIGMA     0.05 /* two sensors' scales */
#define LATE_MS        2.0  /* what the alignment may be off */
#define STARTS         30
#define NORMAL_95      1.96
#define CORRELATED     1.5 /* neighbouring Hann bins are not independent: ENBW */

struct data {
    const struct sr_transfer *transfer;
    size_t count;
    size_t *bin;   /* [count] bins used */
    double *error; /* [count] standard error of ln |H| and of its phase */
};

enum { LN_FN = 0, LN_DAMPING, LN_GAIN, LATE, PARAMETERS };

/* H as a Hann window shows it: its main lobe spreads a bin to each side. */
static void windowed_response(const struct sr_isolator *isolator, double hz, double bin_hz, double *re,
                              double *im)
{
    static const double weight[3] = {1.0 / 6, 4.0 / 6, 1.0 / 6};
    *re = *im = 0;
    for (int i = 0; i < 3; i++) {
        double one_re, one_im;
        sr_isolator_response(isolator, hz + (i - 1) * bin_hz, &one_re, &one_im);
        *re += weight[i] * one_re;
        *im += weight[i] * one_im;
    }
}

/* Residuals of ln H: size and phase of each bin, then what is known beforehand of gain and delay. */
static void model(const void *context, const double *parameter, double *r)
{
    const struct data *data = context;
    const struct sr_transfer *t = data->transfer;
    const struct sr_isolator isolator = {exp(parameter[LN_FN]), exp(parameter[LN_DAMPING])};
    for (size_t i = 0; i < data->count; i++) {
        size_t k = data->bin[i];
        double hz = (double)k * t->bin_hz, re, im;
        windowed_response(&isolator, hz, t->bin_hz, &re, &im);
        double size = 0.5 * log((t->re[k] * t->re[k] + t->im[k] * t->im[k]) / (re * re + im * im));
        double phase = atan2(t->im[k] * re - t->re[k] * im, t->re[k] * re + t->im[k] * im);
        phase = remainder(phase + 2 * M_PI * hz * parameter[LATE] * LATE_MS * 1e-3, 2 * M_PI);
        r[2 * i] = (size - parameter[LN_GAIN]) / data->error[i];
        r[2 * i + 1] = phase / data->error[i];
    }
    r[2 * data->count] = parameter[LN_GAIN] / GAIN_SIGMA;
    r[2 * data->count + 1] = parameter[LATE];
}

static void choose_bins(struct data *data, double high_hz)
{
    const struct sr_transfer *t = data->transfer;
    data->count = 0;
    for (size_t k = 1; k + 1 < t->bins; k++) {
        double hz = (double)k * t->bin_hz, c = t->coherence[k];
        if (hz < LOW_HZ || hz > high_hz || c < COHERENCE_MIN ||
            !(t->re[k] * t->re[k] + t->im[k] * t->im[k] > 0))
            continue;
        double spread = (1 - c) / (2 * c * t->averages);
        data->error[data->count] = sqrt(spread + ERROR_LEAST * ERROR_LEAST);
        data->bin[data->count++] = k;
    }
}

/* Least squares have many valleys: begin in the best of a grid. */
static void find_start(const struct data *data, double *r, size_t residuals, double *parameter)
{
    static const double dampings[] = {0.02, 0.06, 0.2};
    double low = log(LOW_HZ), high = log((double)data->bin[data->count - 1] * data->transfer->bin_hz);
    double least = INFINITY;
    for (int i = 0; i < STARTS; i++) {
        for (size_t d = 0; d < 3; d++) {
            double trial[PARAMETERS] = {low + (high - low) * i / (STARTS - 1), log(dampings[d]), 0, 0};
            double squares = 0;
            model(data, trial, r);
            for (size_t j = 0; j < residuals; j++)
                squares += fmin(r[j] * r[j], 100);
            if (squares < least) {
                least = squares;
                for (int p = 0; p < PARAMETERS; p++)
                    parameter[p] = trial[p];
            }
        }
    }
}

static enum sr_status fit_bins(struct fit *fit, const struct data *data, struct sr_error *err)
{
    size_t residuals = 2 * data->count + 2;
    double *r = calloc(residuals, sizeof *r);
    if (r == NULL)
        return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory to fit %zu bins", data->count);
    *fit = (struct fit){.parameters = PARAMETERS, .residuals = residuals, .model = model, .context = data};
    find_start(data, r, residuals, fit->value);
    free(r);
    return fit_run(fit, err);
}

/* Share of the weighted variance of ln |H| that the fit takes up. */
static double explained(const struct data *data, const struct fit *fit)
{
    const struct sr_transfer *t = data->transfer;
    const struct sr_isolator isolator = {exp(fit->value[LN_FN]), exp(fit->value[LN_DAMPING])};
    double weight = 0, mean = 0, total = 0, left = 0;
    for (int pass = 0; pass < 2; pass++) {
        for (size_t i = 0; i < data->count; i++) {
            size_t k = data->bin[i];
            double w = 1 / (data->error[i] * data->error[i]), re, im;
            double size = 0.5 * log(t->re[k] * t->re[k] + t->im[k] * t->im[k]);
            if (pass == 0) {
                weight += w;
                mean += w * size;
                continue;
            }
            windowed_response(&isolator, (double)k * t->bin_hz, t->bin_hz, &re, &im);
            double apart = size - fit->value[LN_GAIN] - 0.5 * log(re * re + im * im);
            total += w * (size - mean) * (size - mean);
            left += w * apart * apart;
        }
        if (pass == 0)
            mean /= weight;
    }
    return total > 0 ? 1 - left / total : 0;
}

static struct sr_interval log_interval(double ln_value, double sigma)
{
    double value = exp(ln_value), factor = exp(NORMAL_95 * sigma * sqrt(CORRELATED));
    return (struct sr_interval){value, value / factor, value * factor};
}

static void describe(struct sr_identified *found, const struct sr_transfer *transfer)
{
    snprintf(found->text, sizeof found->text,
             "from two logs of one flight: %.0f s in both, clocks %.3f s apart and drifting %.0f ppm, "
             "coherence %.2f "
             "over %zu bins from %.0f to %.0f Hz, fit explains %.0f %%",
             transfer->overlap_s, transfer->lag_s, transfer->drift_ppm, found->coherence, found->bins,
             found->low_hz, found->high_hz, 100 * found->explained);
}

static void fill(struct sr_identified *found, const struct data *data, const struct fit *fit)
{
    const struct sr_transfer *t = data->transfer;
    *found = (struct sr_identified){.bins = data->count};
    found->fn_hz = log_interval(fit->value[LN_FN], fit->sigma[LN_FN]);
    found->damping = log_interval(fit->value[LN_DAMPING], fit->sigma[LN_DAMPING]);
    found->gain = exp(fit->value[LN_GAIN]);
    found->explained = explained(data, fit);
    found->low_hz = (double)data->bin[0] * t->bin_hz;
    found->high_hz = (double)data->bin[data->count - 1] * t->bin_hz;
    for (size_t i = 0; i < data->count; i++)
        found->coherence += t->coherence[data->bin[i]] / (double)data->count;
    describe(found, t);
}

static enum sr_status too_few(const struct sr_transfer *t, size_t used, double high_hz, struct sr_error *err)
{
    double sum = 0, n = 0;
    for (size_t k = 1; k + 1 < t->bins; k++) {
        double hz = (double)k * t->bin_hz;
        if (hz >= LOW_HZ && hz <= high_hz) {
            sum += t->coherence[k];
            n++;
        }
    }
    return sr_fail(
        err, SR_ERR_DATA, NULL, 0,
        "coherence is poor: %zu of %.0f bins up to %.0f Hz reach %.1f (%d are needed), mean %.2f; the logs "
        "may not be of one flight, or one holds little but noise",
        used, n, high_hz, COHERENCE_MIN, BINS_MIN, n > 0 ? sum / n : 0);
}

/* Whether the resonance is where it can be seen: well covered on both sides. */
static enum sr_status check_cover(const struct sr_identified *found, const struct data *data,
                                  struct sr_error *err)
{
    const struct sr_transfer *t = data->transfer;
    double fn = found->fn_hz.value, sum = 0, n = 0;
    size_t below = 0, above = 0;
    for (size_t i = 0; i < data->count; i++) {
        double hz = (double)data->bin[i] * t->bin_hz;
        below += hz < fn;
        above += hz > fn;
    }
    for (size_t k = 1; k + 1 < t->bins; k++) {
        double hz = (double)k * t->bin_hz;
        if (hz >= fn / AROUND && hz <= fn * AROUND) {
            sum += t->coherence[k];
            n++;
        }
    }
    if (below < BINS_MIN / 3 || above < BINS_MIN / 3)
        return sr_fail(
            err, SR_ERR_DATA, NULL, 0,
            "no resonance between %.0f and %.0f Hz, where the two logs agree: the best fit, %.3g Hz, lies at "
            "the edge",
            found->low_hz, found->high_hz, fn);
    if (!(n > 0 && sum / n >= COHERENCE_GOOD))
        return sr_fail(
            err, SR_ERR_DATA, NULL, 0,
            "coherence around the likeliest resonance (%.3g Hz) is poor: %.2f, and %.1f is needed; a longer "
            "or livelier flight may show it",
            fn, n > 0 ? sum / n : 0, COHERENCE_GOOD);
    return SR_OK;
}

static enum sr_status check_fit(const struct sr_identified *found, struct sr_error *err)
{
    double width = found->fn_hz.high / found->fn_hz.value - 1;
    if (found->explained >= EXPLAINED_MIN && width <= WIDTH_MAX)
        return SR_OK;
    return sr_fail(
        err, SR_ERR_DATA, NULL, 0,
        "no single resonance fits: the best, %.3g Hz +-%.0f %%, explains %.0f %% of what happens between "
        "frame and camera (%.0f %% and +-%.0f %% are needed)",
        found->fn_hz.value, 100 * width, 100 * found->explained, 100 * EXPLAINED_MIN, 100 * WIDTH_MAX);
}

enum sr_status sr_identify_transfer(struct sr_identified *found, const struct sr_transfer *transfer,
                                    struct sr_error *err)
{
    struct data data = {.transfer = transfer};
    struct sr_identified made;
    struct fit fit = {0};
    double high_hz = 0.8 * (double)(transfer->bins - 1) * transfer->bin_hz;
    enum sr_status status = SR_OK;

    data.bin = calloc(transfer->bins, sizeof *data.bin);
    data.error = calloc(transfer->bins, sizeof *data.error);
    if (data.bin == NULL || data.error == NULL) {
        sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for %zu bins", transfer->bins);
        status = SR_ERR_MEMORY;
    }
    /* First over everything, then without what lies too far above the resonance. */
    for (int pass = 0; pass < 2 && status == SR_OK; pass++) {
        choose_bins(&data, high_hz);
        if (data.count < BINS_MIN)
            status = too_few(transfer, data.count, high_hz, err);
        else
            status = fit_bins(&fit, &data, err);
        if (status == SR_OK)
            high_hz = fmin(high_hz, FAR * exp(fit.value[LN_FN]));
    }
    if (status == SR_OK) {
        fill(&made, &data, &fit);
        status = check_cover(&made, &data, err);
    }
    if (status == SR_OK)
        status = check_fit(&made, err);
    free(data.bin);
    free(data.error);
    if (status == SR_OK)
        *found = made;
    return status;
}
