/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/fake_flights.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "sim/flight.h"

#define BINS   101
#define BIN_HZ 4.0

/* A chi-square variate of 6 degrees of freedom over 6: the sum of three exponentials. */
static double estimate_scatter(uint64_t *seed)
{
    double sum = 0;
    for (int i = 0; i < 3; i++)
        sum -= log(1 - sim_uniform(seed));
    return sum / 3;
}

/* Energy at each bin [px^2] before scatter: broadband as 1 px, and the line. */
static void shape_of(const struct fake_flight *flight, size_t first_bin, double *shape)
{
    double total = 0, line = flight->line_hz > 0 ? pow(10, flight->line_db / 10) : 0;
    for (size_t k = first_bin; k < BINS; k++) {
        shape[k] = exp(-(double)k / 20);
        total += shape[k];
    }
    for (size_t k = first_bin; k < BINS; k++) {
        double off = ((double)k * BIN_HZ - flight->line_hz) / BIN_HZ;
        shape[k] = shape[k] / total + line * (fabs(off) <= 0.5 ? 0.5 : fabs(off) <= 1.5 ? 0.25 : 0);
    }
}

static void fill_slice(struct fake *fake, size_t i, const double *shape, double energy, uint64_t *seed)
{
    for (size_t a = 0; a < 3; a++) {
        double *psd = fake->slices.psd + (i * 3 + a) * BINS;
        for (size_t k = 0; k < BINS; k++) {
            double gain = fake->view.wobble[a][k];
            psd[k] = gain > 0 ? energy * shape[k] / 3 / gain / BIN_HZ * estimate_scatter(seed) : 0;
        }
    }
}

int fake_fly(struct fake *fake, const struct fake_flight *flight, uint64_t *seed)
{
    struct sr_camera camera;
    double shape[BINS] = {0}, quiet[BINS] = {0};
    struct fake_flight without = *flight;
    memset(fake, 0, sizeof *fake);
    sr_camera_init(&camera);
    fake->slices = (struct sr_slices){
        .count = flight->seconds,
        .bins = BINS,
        .bin_hz = BIN_HZ,
        .rate_hz = 2 * BIN_HZ * (BINS - 1),
        .sees_hz = BIN_HZ * (BINS - 1),
        .segment = 2 * (BINS - 1),
        .window = SR_WINDOW_HANN,
        .enbw_bins = 1.5,
        .dof = 5.785714,
        .has_throttle = flight->throttle_high > 0,
        .airborne_s = (double)flight->seconds,
        .slice = calloc(flight->seconds, sizeof(struct sr_slice)),
        .psd = calloc(flight->seconds, 3 * BINS * sizeof(double)),
    };
    if (fake->slices.slice == NULL || fake->slices.psd == NULL ||
        sr_view_init(&fake->view, &fake->slices, &camera, NULL) != SR_OK) {
        fake_release(fake);
        return -1;
    }

    without.line_hz = 0;
    shape_of(flight, fake->view.first_bin, shape);
    shape_of(&without, fake->view.first_bin, quiet);
    double z = sim_normal(seed), w = sim_normal(seed), phi = flight->correlation;
    for (size_t i = 0; i < flight->seconds; i++) {
        struct sr_slice *slice = &fake->slices.slice[i];
        z = phi * z + sqrt(1 - phi * phi) * sim_normal(seed);
        w = 0.8 * w + 0.6 * sim_normal(seed);
        double place = 0.5 * erfc(-w / sqrt(2)); /* uniform, and wandering */
        slice->from_s = (double)i;
        slice->to_s = (double)i + 1;
        slice->throttle = flight->throttle_high > 0
                              ? flight->throttle_low + place * (flight->throttle_high - flight->throttle_low)
                              : NAN;
        for (int m = 0; m < SR_MOTORS_MAX; m++)
            slice->motor_rpm[m] = NAN;
        double db = flight->level_db + flight->scatter_db * z;
        if (flight->throttle_high > 0)
            db += flight->throttle_db * slice->throttle / 0.1;
        bool lined = !(slice->throttle < flight->line_from);
        fill_slice(fake, i, lined ? shape : quiet, pow(10, db / 10), seed);
    }
    if (!flight->unscored && sr_score_make(&fake->score, &fake->slices, &fake->view, 1, NULL) != SR_OK) {
        fake_release(fake);
        return -1;
    }
    return 0;
}

void fake_release(struct fake *fake)
{
    sr_score_release(&fake->score);
    sr_view_release(&fake->view);
    sr_slices_release(&fake->slices);
}
