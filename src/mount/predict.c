/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "mount/predict.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#define FLOOR_QUANTILE 0.1 /* of the densities: the log's noise floor */
#define FLOOR_NEAR     2.0 /* a density within 3 dB of it may be noise */
#define RAISED         4.0 /* a factor that lifts noise into the result */

/* Where in its range, -1 to 1, each doubt stands. */
struct world {
    double at[DOUBT_COUNT];
};

static double within(struct sr_interval range, double at)
{
    double end = at < 0 ? range.low : range.high;
    return range.value * pow(end / range.value, fabs(at));
}

static enum sr_status allocate(struct predictor *p, struct sr_error *err)
{
    size_t bins = p->bins, n = p->slices->count;
    if (n > SIZE_MAX / sizeof(double) / bins) {
        sr_fail(err, SR_ERR_MEMORY, NULL, 0, "too many slices for this machine's memory");
        return SR_ERR_MEMORY;
    }
    p->density = calloc(n * bins, sizeof *p->density);
    p->px = calloc(n, sizeof *p->px);
    /* One block, owned through smear. */
    p->smear = calloc(bins, 5 * sizeof *p->smear);
    if (p->density == NULL || p->px == NULL || p->smear == NULL) {
        sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for a mount over %zu slices", n);
        return SR_ERR_MEMORY;
    }
    p->rate = p->smear + bins;
    p->base = p->smear + 2 * bins;
    p->power = p->smear + 3 * bins;
    p->old = p->smear + 4 * bins;
    return SR_OK;
}

/* A mount does not tell the axes apart, so what they add up to is all a case needs. */
static void add_up(struct predictor *p, const struct sr_view *view)
{
    double n = (double)p->slices->count;
    for (size_t i = 0; i < p->slices->count; i++) {
        double *density = p->density + i * p->bins;
        for (int a = 0; a < 3; a++) {
            const double *psd = sr_slices_psd(p->slices, i, (enum sr_picture_axis)a);
            for (size_t k = view->first_bin; k < p->bins; k++) {
                density[k] += psd[k] * view->wobble[a][k];
                p->smear[k] += psd[k] * view->smear[a][k] / n;
                p->rate[k] += psd[k] / n;
            }
        }
    }
}

enum sr_status predictor_init(struct predictor *p, const struct sr_slices *slices,
                              const struct sr_mount_own *own, const struct sr_rig *rig, struct sr_error *err)
{
    struct predictor made = {.slices = slices, .own = own, .gyro_side = rig->gyro_side, .bins = slices->bins};
    const struct sr_isolator controller = mount_controller(rig);
    struct sr_view view;
    enum sr_status status = sr_view_init(&view, slices, &rig->camera, err);
    if (status != SR_OK)
        return status;

    made.first_bin = view.first_bin;
    status = allocate(&made, err);
    if (status == SR_OK) {
        add_up(&made, &view);
        for (size_t k = 0; k < made.bins; k++)
            made.base[k] = 1;
        if (controller.fn_hz > 0)
            sr_isolator_undo(&controller, CONTROLLER_LEAST, slices->bin_hz, made.bins, made.base);
        *p = made;
    } else {
        predictor_release(&made);
    }
    sr_view_release(&view);
    return status;
}

void predictor_release(struct predictor *p)
{
    free(p->density);
    free(p->px);
    free(p->smear);
    memset(p, 0, sizeof *p);
}

static void set_power(struct predictor *p, const struct sr_mount_other *other, const struct world *world)
{
    double own_hz = within(p->own->fn_hz, world->at[DOUBT_OWN]);
    double stiffer = within(other->hardness_ratio, world->at[DOUBT_HARDNESS]) *
                     within(other->temperature_ratio, world->at[DOUBT_TEMPERATURE]);
    double damping = within(p->own->damping, world->at[DOUBT_DAMPING]);
    const struct sr_isolator was = {own_hz, damping}, is = {own_hz * sqrt(stiffer), damping};

    sr_isolator_bins(&is, p->slices->bin_hz, p->bins, p->power);
    if (p->gyro_side == SR_GYRO_CAMERA) {
        /* Both are held, so that the own pieces come out as they were flown. */
        sr_isolator_bins(&was, p->slices->bin_hz, p->bins, p->old);
        for (size_t k = 0; k < p->bins; k++)
            p->power[k] = fmax(p->power[k], OWN_LEAST) / fmax(p->old[k], OWN_LEAST);
    }
    for (size_t k = 0; k < p->bins; k++)
        p->power[k] *= p->base[k];
}

static enum sr_status run_case(struct predictor *p, const struct sr_mount_other *other,
                               const struct world *world, double *px, struct sr_error *err)
{
    set_power(p, other, world);
    for (size_t i = 0; i < p->slices->count; i++) {
        const double *density = p->density + i * p->bins;
        double sum = 0;
        for (size_t k = p->first_bin; k < p->bins; k++)
            sum += density[k] * p->power[k];
        p->px[i] = sqrt(sum * p->slices->bin_hz);
    }
    return sr_quantile(p->px, p->slices->count, SR_SCORE_QUANTILE, px, err);
}

enum sr_status predict_value(struct predictor *p, const struct sr_mount_other *other, double *px,
                             struct sr_error *err)
{
    const struct world likeliest = {{0}};
    return run_case(p, other, &likeliest, px, err);
}

/* Whether a doubt has any range: without it every step would be the likeliest case again. */
static bool doubtful(const struct predictor *p, const struct sr_mount_other *other, enum doubt doubt)
{
    const struct sr_interval *ranges[DOUBT_COUNT] = {&p->own->fn_hz, &other->hardness_ratio,
                                                     &other->temperature_ratio, &p->own->damping};
    return ranges[doubt]->low < ranges[doubt]->value || ranges[doubt]->high > ranges[doubt]->value;
}

/* The steps of a doubt leave out the middle, which is the likeliest case: -1, -2/3, -1/3, 1/3, 2/3, 1. */
static double step_at(int step)
{
    int half = DOUBT_STEPS / 2;
    return (double)(step < half ? step - half : step - half + 1) / half;
}

/*
 * Wobble is not monotone in the natural frequency (a line may stand within the
 * range), so each doubt is walked through; the doubts are independent, so their
 * spans join as squares of logs.
 */
static void join(const double *cases, const struct sr_interval *flight, struct sr_interval *px)
{
    double value = cases[0], low = log(flight->low / flight->value), high = log(flight->high / flight->value);
    double down = low * low, up = high * high;
    *px = (struct sr_interval){value, value, value};
    if (!(value > 0 && flight->low > 0))
        return;
    for (int d = 0; d < DOUBT_COUNT; d++) {
        double least = 0, most = 0;
        for (int s = 0; s < DOUBT_STEPS; s++) {
            double apart = log(cases[1 + d * DOUBT_STEPS + s] / value);
            least = fmin(least, apart);
            most = fmax(most, apart);
        }
        down += least * least;
        up += most * most;
    }
    px->low = value * exp(-sqrt(down));
    px->high = value * exp(sqrt(up));
}

enum sr_status predict(struct predictor *p, const struct sr_mount_other *other, double *cases,
                       struct sr_interval *px, struct sr_error *err)
{
    struct sr_interval flight;
    double value;

    for (int d = 0; d < DOUBT_COUNT; d++) {
        for (int s = 0; s < DOUBT_STEPS; s++) {
            struct world world = {{0}};
            world.at[d] = doubtful(p, other, (enum doubt)d) ? step_at(s) : 0;
            enum sr_status status = run_case(p, other, &world, &cases[1 + d * DOUBT_STEPS + s], err);
            if (status != SR_OK)
                return status;
        }
    }
    /* The likeliest case comes last, so that it is the one at hand afterwards. */
    enum sr_status status = predict_value(p, other, &value, err);
    if (status == SR_OK)
        status = sr_bootstrap_quantile(p->px, p->slices->count, SR_SCORE_QUANTILE, SR_SCORE_LEVEL,
                                       SR_SCORE_DRAWS, &flight, err);
    if (status != SR_OK)
        return status;
    cases[0] = value;
    join(cases, &flight, px);
    return SR_OK;
}

double predicted_smear(const struct predictor *p)
{
    double sum = 0;
    for (size_t k = p->first_bin; k < p->bins; k++)
        sum += p->smear[k] * p->power[k];
    return sqrt(sum * p->slices->bin_hz);
}

double predicted_noise_share(const struct predictor *p)
{
    double floor = 0, noise = 0, total = 0;
    if (p->first_bin >= p->bins ||
        sr_quantile(p->rate + p->first_bin, p->bins - p->first_bin, FLOOR_QUANTILE, &floor, NULL) != SR_OK)
        return 0;
    for (size_t k = p->first_bin; k < p->bins; k++) {
        double energy = 0;
        for (size_t i = 0; i < p->slices->count; i++)
            energy += p->density[i * p->bins + k];
        energy *= p->power[k];
        total += energy;
        if (p->power[k] > RAISED && p->rate[k] < FLOOR_NEAR * floor)
            noise += energy;
    }
    return total > 0 ? noise / total : 0;
}
