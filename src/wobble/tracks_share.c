/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What each line carries: energy where lines cross is shared out, and axes, rates and centres are summed up.
 */
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "tracks.h"

struct sharing {
    struct sr_picks *picks;
    const struct sr_gram *gram;
    double
        *alone; /* [picks][bins] mean excess of a fixed line where nothing crosses it, NAN: always crossed */
    double *density; /* [picks] mean excess a bin of a moving line in this slice, where it is alone */
    double *weight;  /* [picks] px^2 of its positive parts, that its middle is the mean over */
};

static bool holds(const struct sr_pick *pick, size_t i, size_t k)
{
    return k >= pick->low[i] && k <= pick->high[i];
}

static size_t holders(const struct sr_picks *picks, size_t i, size_t k)
{
    size_t count = 0;
    for (size_t p = 0; p < picks->count; p++)
        count += holds(&picks->pick[p], i, k);
    return count;
}

static void measure_alone(struct sharing *s, size_t p)
{
    const struct sr_pick *pick = &s->picks->pick[p];
    for (size_t k = 0; k < s->gram->bins; k++) {
        double sum = 0;
        size_t n = 0;
        for (size_t i = 0; i < s->gram->slices; i++) {
            if (!holds(pick, i, k) || holders(s->picks, i, k) > 1)
                continue;
            sum += s->gram->excess[i * s->gram->bins + k];
            n++;
        }
        s->alone[p * s->gram->bins + k] = n > 0 ? fmax(sum / (double)n, 0) : NAN;
    }
}

static void measure_density(struct sharing *s, size_t i)
{
    for (size_t p = 0; p < s->picks->count; p++) {
        const struct sr_pick *pick = &s->picks->pick[p];
        double sum = 0;
        size_t n = 0;
        for (size_t k = pick->low[i]; k <= pick->high[i]; k++) {
            if (holders(s->picks, i, k) > 1)
                continue;
            sum += s->gram->excess[i * s->gram->bins + k];
            n++;
        }
        /* A trace for a line that is nowhere alone, so that it gets what no other claims. */
        s->density[p] = n > 0 && sum > 0 ? sum / (double)n : s->gram->total * 1e-12;
    }
}

/* Part of the excess of a cell that pick p gets. */
static double part_of(const struct sharing *s, size_t p, size_t i, size_t k)
{
    const struct sr_gram *gram = s->gram;
    double excess = gram->excess[i * gram->bins + k], fixed = 0, mine = NAN, moving = 0;
    bool any_moving = false, first_fixed = true, taken = false;

    for (size_t q = 0; q < s->picks->count; q++) {
        const struct sr_pick *other = &s->picks->pick[q];
        if (!holds(other, i, k))
            continue;
        if (other->channel != SR_CHANNEL_NONE) {
            any_moving = true;
            moving += s->density[q];
            continue;
        }
        double alone = s->alone[q * gram->bins + k];
        /* Never alone: the better explained of the two, which was found first, has it. */
        double gets = isnan(alone) ? (any_moving || !first_fixed ? 0 : excess - fixed) : alone;
        taken = taken || isnan(alone);
        first_fixed = false;
        fixed += gets;
        if (q == p)
            mine = gets;
    }
    if (isnan(mine))
        return (excess - fixed) * s->density[p] / moving;
    return any_moving || taken || fixed <= 0 ? mine : excess * mine / fixed;
}

static void share_slice(struct sharing *s, size_t p, size_t i, const struct sr_slices *slices,
                        const struct sr_view *view)
{
    const struct sr_gram *gram = s->gram;
    struct sr_pick *pick = &s->picks->pick[p];
    double energy = 0, moment = 0, weight = 0, floor = 0;

    for (size_t k = pick->low[i]; k <= pick->high[i]; k++) {
        double all = gram->energy[i * gram->bins + k], excess = gram->excess[i * gram->bins + k];
        double part = holders(s->picks, i, k) > 1 ? part_of(s, p, i, k) : excess;
        energy += part;
        floor += all - excess;
        moment += fmax(part, 0) * (double)k * gram->bin_hz;
        weight += fmax(part, 0);
        for (int a = 0; a < 3 && all > 0; a++) {
            double psd = sr_slices_psd(slices, i, (enum sr_picture_axis)a)[k] * gram->bin_hz;
            pick->axis[a] += psd * view->wobble[a][k] * part / all;
            pick->rate_energy += psd * part / all;
        }
    }
    pick->energy[i] = energy;
    pick->centre_hz[i] = energy > floor && weight > 0 ? moment / weight : NAN;
    pick->share += energy / gram->total;
    pick->seen_hz += moment;
    s->weight[p] += weight;
}

enum sr_status sr_picks_share(struct sr_picks *picks, const struct sr_gram *gram,
                              const struct sr_slices *slices, const struct sr_view *view,
                              struct sr_error *err)
{
    double *alone = calloc(picks->count + 1, (gram->bins + 2) * sizeof *alone);
    if (alone == NULL)
        return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for %zu lines", picks->count);
    double *density = alone + picks->count * gram->bins;
    struct sharing s = {picks, gram, alone, density, density + picks->count};

    for (size_t p = 0; p < picks->count; p++)
        if (picks->pick[p].channel == SR_CHANNEL_NONE)
            measure_alone(&s, p);
    for (size_t i = 0; i < gram->slices; i++) {
        measure_density(&s, i);
        for (size_t p = 0; p < picks->count; p++)
            share_slice(&s, p, i, slices, view);
    }
    for (size_t p = 0; p < picks->count; p++) {
        struct sr_pick *pick = &picks->pick[p];
        pick->seen_hz = s.weight[p] > 0 ? pick->seen_hz / s.weight[p] : sr_fold_hz(pick->f0, gram->rate_hz);
    }
    free(alone);
    return SR_OK;
}
