/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Results put on the scales that pictures have. */
#include "present/plot_kinds.h"

#include <math.h>
#include <stdio.h>

#include "present/notes.h"
#include "present/plot_words.h"

void sr_plot_rates(const struct sr_slices *slices, double *rate, double *scratch)
{
    double cell_hz = slices->enbw_bins * slices->bin_hz;

    for (size_t k = 0; k < slices->bins; k++)
        rate[k] = 0;
    for (int a = 0; a < 3; a++) {
        sr_slices_mean(slices, (enum sr_picture_axis)a, 0, slices->count, NULL, scratch);
        for (size_t k = 0; k < slices->bins; k++)
            rate[k] += scratch[k];
    }
    for (size_t k = 0; k < slices->bins; k++)
        rate[k] = sqrt(rate[k] * cell_hz);
}

void sr_plot_worst_rates(const struct sr_slices *slices, double *rate)
{
    double cell_hz = slices->enbw_bins * slices->bin_hz;

    for (size_t k = 0; k < slices->bins; k++)
        rate[k] = 0;
    for (size_t i = 0; i < slices->count; i++) {
        const double *roll = sr_slices_psd(slices, i, SR_ROLL), *pitch = sr_slices_psd(slices, i, SR_PITCH);
        const double *yaw = sr_slices_psd(slices, i, SR_YAW);
        for (size_t k = 0; k < slices->bins; k++)
            rate[k] = fmax(rate[k], roll[k] + pitch[k] + yaw[k]);
    }
    for (size_t k = 0; k < slices->bins; k++)
        rate[k] = sqrt(rate[k] * cell_hz);
}

size_t sr_plot_worst_second(const struct sr_plot_flight *flight, const struct sr_moment *moment)
{
    size_t worst = flight->slices->count;
    double top = 0;

    for (size_t i = 0; i < flight->slices->count; i++) {
        const struct sr_slice *slice = &flight->slices->slice[i];
        double middle = (slice->from_s + slice->to_s) / 2;
        if (middle > moment->from_s && middle < moment->to_s && flight->score->slice_px[i] > top) {
            top = flight->score->slice_px[i];
            worst = i;
        }
    }
    return worst;
}

char *sr_plot_moment_text(const struct sr_plot_flight *flight, const struct sr_moment *moment, double shift_s,
                          char *text, size_t size)
{
    size_t i = sr_plot_worst_second(flight, moment);
    bool found = i < flight->slices->count;
    char clock[24], px[24];

    sr_words_clock((found ? flight->slices->slice[i].from_s : moment->from_s) + shift_s, false, clock,
                   sizeof clock);
    sr_words_px(found ? flight->score->slice_px[i] : moment->wobble_px, px, sizeof px);
    snprintf(text, size, "%s, %s", clock, px);
    return text;
}

size_t sr_plot_moments(const struct sr_plot_flight *flight)
{
    const struct sr_score *score = flight->score;
    size_t n = score->n_worst > 0 ? 1 : 0;

    if (!sr_moments_stand_out(score))
        return n;
    while (n < score->n_worst && score->worst[n].wobble_px > score->threshold_px)
        n++;
    return n;
}

struct sr_moment sr_plot_moment(const struct sr_plot_flight *flight, size_t i)
{
    const struct sr_score *score = flight->score;
    struct sr_moment moment = score->worst[i];

    if (i > 0 || flight->slices->count == 0 ||
        (sr_moments_stand_out(score) && moment.wobble_px > score->threshold_px))
        return moment;
    /* Moments are means: the highest of them need not hold the highest second. */
    moment.from_s = flight->slices->slice[0].from_s;
    moment.to_s = flight->slices->slice[flight->slices->count - 1].to_s;
    return moment;
}

double sr_slice_rpm(const struct sr_slice *slice)
{
    double sum = 0;
    int n = 0;

    for (int m = 0; m < SR_MOTORS_MAX; m++)
        if (isfinite(slice->motor_rpm[m])) {
            sum += slice->motor_rpm[m];
            n++;
        }
    return n > 0 ? sum / n : NAN;
}

double sr_plot_rpm(const struct sr_plot_flight *flight, size_t i)
{
    double rpm = sr_slice_rpm(&flight->slices->slice[i]);
    return flight->causes != NULL && flight->causes->pole_pairs > 0 ? rpm / flight->causes->pole_pairs : rpm;
}

bool sr_plot_speeds(const struct sr_plot_flight *flight, double *low_rpm, double *high_rpm)
{
    double low = INFINITY, high = 0;

    for (size_t i = 0; i < flight->slices->count; i++) { /* fmin() and fmax() pass over NAN */
        low = fmin(low, sr_plot_rpm(flight, i));
        high = fmax(high, sr_plot_rpm(flight, i));
    }
    if (!(high > 0))
        return false;
    double middle = (low + high) / 2, half = fmax((high - low) / 2 * 1.04, 0.03 * middle);
    *low_rpm = middle - half;
    *high_rpm = middle + half;
    return true;
}

double sr_plot_allowance(const struct sr_plot_flight *flight, size_t k)
{
    double gain = 0;

    if (k < flight->view->first_bin)
        return NAN;
    for (int a = 0; a < 3; a++)
        gain = fmax(gain, flight->view->wobble[a][k]);
    return fmin(flight->score->threshold_px / sqrt(gain), 1e9);
}

double sr_slice_cell_px(const struct sr_plot_flight *flight, size_t i, size_t k)
{
    double px2 = 0;

    for (int a = 0; a < 3; a++)
        px2 += sr_slices_psd(flight->slices, i, (enum sr_picture_axis)a)[k] * flight->view->wobble[a][k];
    return sqrt(px2 * flight->slices->enbw_bins * flight->slices->bin_hz);
}
