/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The lines of a flight, one after another: of all the places a line could be, fixed or moving, the one
 * best borne out is taken, and what lies along it is taken out of the search.
 */
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "support/ordered.h"
#include "tracks.h"

#define CHUNK           16     /* places looked at by a thread at a time */
#define SEARCH_SHARE    0.01   /* least share of the energy along a track that is looked at */
#define LIVE_LEAST      0.15   /* a fixed line that is crossed more of the time is not made up for */
#define GAIN_LEAST      40.0   /* least gain, and... */
#define STAND_LEAST     0.5    /* ...least mean stand of a line */
#define EDGE_SHARE      0.1    /* a line ends where its density falls to this part of its top */
#define EDGE_BINS_MAX   24     /* or this far off */
#define EDGE_PART_MAX   0.15   /* or this part of its frequency off, if fixed; */
#define EDGE_SPEED_MAX  0.035  /* if moving: motors of one craft differ by that */
#define OWN_STAND       0.6    /* a rival that stands out this well without the line's bins... */
#define OWN_CELLS       0.1    /* ...in this part of its own is a line itself */
#define THROTTLE_TOP_HZ 2500.0 /* [Hz] highest true frequency looked for without a motor speed */

struct candidate {
    int channel;
    double f0, gain, stand;
    double rank; /* gain, less where the reading asks for more to be believed */
};

struct search {
    struct sr_gram *gram;
    const struct sr_speeds *speeds;
    double max_order;
    double least_energy; /* [px^2] */
    bool *spent; /* [scanned][bins of true frequency] where there was too little to look again: it only gets
                    less */
    struct candidate *chunk; /* [chunks] the best of each */
};

/* Of readings that explain a line about as well, the plainer is taken. */
static double plainness(const struct search *s, int channel, double f0)
{
    bool folded = f0 > s->gram->rate_hz / 2;
    if (channel == SR_CHANNEL_NONE)
        return 1;
    if (s->speeds->source != SR_SPEED_MOTORS)
        return folded ? 0.85 : 1;
    bool whole = sr_whole_order(s->gram, s->speeds, f0, s->speeds->mean_hz) > 0;
    return (whole ? 1 : 0.85) * (folded ? 0.9 : 1);
}

/* [px^2] energy along a track, made up for what others have claimed of a fixed one. */
static double energy_along(const struct search *s, int channel, double f0)
{
    double energy = sr_track_energy(s->gram, s->speeds, channel, f0), live = 0;
    if (channel != SR_CHANNEL_NONE || !(energy > 0))
        return energy;
    size_t k = (size_t)(f0 / s->gram->bin_hz + 0.5);
    for (size_t i = 0; i < s->gram->slices; i++)
        live += s->gram->weight[i * s->gram->bins + k];
    return energy / fmax(live / (double)s->gram->slices, LIVE_LEAST);
}

/* False where there is not energy enough for a line. */
static bool try_track(const struct search *s, int channel, double f0, struct candidate *best)
{
    struct candidate c = {channel, f0, 0, 0, 0};
    if (energy_along(s, channel, f0) < s->least_energy)
        return false;
    c.gain = sr_track_gain(s->gram, s->speeds, channel, f0, &c.stand);
    if (!(c.gain > best->rank) || c.stand < STAND_LEAST)
        return true;
    c.rank = c.gain * plainness(s, channel, f0);
    if (c.rank > best->rank)
        *best = c;
    return true;
}

static double top_hz(const struct search *s)
{
    double nyquist = s->gram->rate_hz / 2;
    if (s->speeds->mean_hz > 0)
        return fmin(s->max_order * s->speeds->mean_hz * 1.02, 8 * nyquist);
    return fmin(fmax(nyquist, THROTTLE_TOP_HZ), 3 * nyquist);
}

/* True frequencies that are tried along a scanned channel. */
static size_t scan_count(const struct search *s)
{
    return (size_t)(top_hz(s) / s->gram->bin_hz) + 1;
}

/* How many places there are: fixed ones, along scanned channels, and at whole multiples of single motors. */
struct places {
    size_t fixed, along, scanned, orders, all;
};

static struct places places_of(const struct search *s)
{
    const struct sr_speeds *speeds = s->speeds;
    const size_t first = s->gram->first, count = scan_count(s);
    struct places n = {
        .fixed = s->gram->bins > first ? s->gram->bins - first : 0,
        .along = count > first ? count - first : 0,
        .scanned = speeds->scanned < speeds->channels ? speeds->scanned : speeds->channels,
        .orders = s->max_order >= 1 ? (size_t)s->max_order : 0,
    };

    n.all = n.fixed + n.scanned * n.along;
    if (speeds->channels > speeds->scanned)
        n.all += (speeds->channels - speeds->scanned) * n.orders;
    return n;
}

static void try_place(const struct search *s, const struct places *n, size_t place, struct candidate *best)
{
    const struct sr_gram *gram = s->gram;

    if (place < n->fixed) {
        try_track(s, SR_CHANNEL_NONE, (double)(gram->first + place) * gram->bin_hz, best);
        return;
    }
    place -= n->fixed;
    if (place < n->scanned * n->along) {
        const size_t channel = place / n->along, k = gram->first + place % n->along;
        bool *spent = &s->spent[channel * scan_count(s) + k];
        if (!*spent)
            *spent = !try_track(s, (int)channel, (double)k * gram->bin_hz, best);
        return;
    }
    place -= n->scanned * n->along;
    if (n->orders == 0) /* there is no such place */
        return;
    try_track(s, (int)(s->speeds->scanned + place / n->orders),
              (double)(1 + place % n->orders) * s->speeds->mean_hz, best);
}

static void try_chunk(void *context, size_t chunk, size_t hand)
{
    const struct search *s = context;
    const struct places n = places_of(s);
    struct candidate best = {SR_CHANNEL_NONE, 0, 0, 0, 0};

    (void)hand;
    for (size_t place = chunk * CHUNK; place < n.all && place < (chunk + 1) * CHUNK; place++)
        try_place(s, &n, place, &best);
    s->chunk[chunk] = best;
}

static size_t chunks_of(const struct search *s)
{
    return places_of(s).all / CHUNK + 1;
}

/* The first of those with the highest rank, however many threads look. */
static struct candidate best_candidate(struct search *s)
{
    struct candidate best = {SR_CHANNEL_NONE, 0, 0, 0, 0};
    const size_t chunks = chunks_of(s);

    sr_each(try_chunk, s, chunks, s->gram->jobs);
    for (size_t i = 0; i < chunks; i++)
        if (s->chunk[i].rank > best.rank)
            best = s->chunk[i];
    return best;
}

/* Closer than a bin, where the track moves over the bins anyway. */
static void refine(const struct search *s, struct candidate *best)
{
    struct candidate found = *best;
    if (best->channel == SR_CHANNEL_NONE || (size_t)best->channel >= s->speeds->scanned)
        return;
    for (int step = -3; step <= 3; step++)
        try_track(s, best->channel, best->f0 + step * s->gram->bin_hz / 4, &found);
    *best = found;
}

/* [px^2] live excess on the middle of a track alone. */
static double ridge_energy(const struct search *s, int channel, double f0)
{
    double sum = 0;
    for (size_t i = 0; i < s->gram->slices; i++) {
        size_t low, high;
        const double *cum = s->gram->cum + i * (s->gram->bins + 1);
        sr_track_window(s->gram, s->speeds, channel, f0, f0, 0, i, &low, &high);
        if (low <= high)
            sum += (cum[high + 1] - cum[low]) / (double)(high - low + 1);
    }
    return sum;
}

/* How far a line reaches from f0 in one direction, before it fades or another begins. */
static double edge(const struct search *s, int channel, double f0, double direction)
{
    double step = s->gram->bin_hz, top = ridge_energy(s, channel, f0), last = top, reach = 0;
    double limit = fmin(EDGE_BINS_MAX * step,
                        fmax(f0 * (channel == SR_CHANNEL_NONE ? EDGE_PART_MAX : EDGE_SPEED_MAX), 2 * step));
    for (size_t n = 1; (double)n * step <= limit + 1e-9; n++) {
        double off = (double)n * step, here = ridge_energy(s, channel, f0 + direction * off);
        if (here < EDGE_SHARE * top || here > 1.5 * last)
            break;
        reach = off;
        last = here;
    }
    return f0 + direction * reach;
}

size_t sr_whole_order(const struct sr_gram *gram, const struct sr_speeds *speeds, double f0, double mean_hz)
{
    if (speeds->source != SR_SPEED_MOTORS)
        return 0;
    double n = round(f0 / mean_hz), low = 1, high = 1;
    if (n < 1)
        return 0;
    for (size_t c = 1; c < speeds->channels; c++) {
        low = fmin(low, speeds->level[c]);
        high = fmax(high, speeds->level[c]);
    }
    double slack = fmin(gram->bin_hz / 2 + 0.002 * f0, 0.05 * mean_hz);
    bool is = f0 >= n * mean_hz * low - slack && f0 <= n * mean_hz * high + slack;
    return is ? (size_t)n : 0;
}

static void pick_window(const struct search *s, const struct sr_pick *pick, size_t i, size_t *low,
                        size_t *high)
{
    if (pick->order > 0)
        sr_order_window(s->gram, s->speeds, pick->order, SR_LOBE_BINS, i, low, high);
    else
        sr_track_window(s->gram, s->speeds, pick->channel, pick->f_lo, pick->f_hi, SR_LOBE_BINS, i, low,
                        high);
}

static void claim(const struct search *s, const struct sr_pick *pick)
{
    for (size_t i = 0; i < s->gram->slices; i++)
        for (size_t k = pick->low[i]; k <= pick->high[i]; k++)
            s->gram->live[i * s->gram->bins + k] = false;
    sr_gram_refresh(s->gram);
}

/* Most of its frequencies over the flight lie above Nyquist. */
static bool mostly_folded(const struct search *s, const struct sr_pick *pick)
{
    return pick->channel != SR_CHANNEL_NONE && pick->f0 > s->gram->rate_hz / 2;
}

/* Another reading of what a pick stands on. */
static void try_rival(const struct search *s, int channel, double f0, struct candidate *best)
{
    struct candidate c = {channel, f0, 0, 0, 0};
    c.gain = sr_track_gain(s->gram, s->speeds, channel, f0, &c.stand);
    if (c.gain > best->gain)
        *best = c;
}

/* The best fixed line that the pick passes. */
static struct candidate fixed_rival(const struct search *s, const struct sr_pick *pick)
{
    struct candidate best = {SR_CHANNEL_NONE, 0, 0, 0, 0};
    size_t low = s->gram->bins, high = 0;
    for (size_t i = 0; i < s->gram->slices; i++) {
        if (pick->low[i] > pick->high[i])
            continue;
        low = pick->low[i] < low ? pick->low[i] : low;
        high = pick->high[i] > high ? pick->high[i] : high;
    }
    for (size_t k = low; k <= high && k < s->gram->bins; k++)
        try_rival(s, SR_CHANNEL_NONE, (double)k * s->gram->bin_hz, &best);
    return best;
}

/* The best moving line, other than the pick itself, that shows about where it does at the mean speed. */
static struct candidate moving_rival(const struct search *s, const struct sr_pick *pick)
{
    const struct sr_gram *gram = s->gram;
    struct candidate best = {SR_CHANNEL_NONE, 0, 0, 0, 0};
    double seen = sr_fold_hz(pick->f0, gram->rate_hz);
    double reach = fmax(3 * gram->bin_hz, seen * s->speeds->spread / 2);

    for (size_t c = 0; c < s->speeds->scanned && c < s->speeds->channels; c++) {
        for (size_t k = gram->first; k < scan_count(s); k++) {
            double f0 = (double)k * gram->bin_hz;
            bool near = fabs(sr_fold_hz(f0, gram->rate_hz) - seen) <= reach;
            bool self = pick->channel != SR_CHANNEL_NONE && fabs(f0 - pick->f0) <= 0.1 * pick->f0;
            if (near && !self && !s->spent[c * scan_count(s) + k])
                try_rival(s, (int)c, f0, &best);
        }
    }
    return best;
}

/* Keep a rival's gain, unless it stands without the pick's bins as well: then it is another line. */
static void weigh_rival(const struct search *s, struct sr_pick *pick, const struct candidate *rival)
{
    if (!(rival->gain > pick->rival_gain))
        return;
    double stand, left = sr_track_gain(s->gram, s->speeds, rival->channel, rival->f0, &stand);
    double cells = rival->stand > 0 ? rival->gain / (rival->stand * rival->stand) : 0;
    double cells_left = stand > 0 ? left / (stand * stand) : 0;
    if (stand > OWN_STAND * rival->stand && cells_left > OWN_CELLS * cells)
        return;
    pick->rival_gain = rival->gain;
    pick->rival_moves = rival->channel != SR_CHANNEL_NONE;
}

static void fill_pick(const struct search *s, const struct candidate *c, struct sr_pick *pick)
{
    pick->channel = c->channel;
    pick->f0 = c->f0;
    pick->gain = c->gain;
    pick->order =
        c->channel == SR_CHANNEL_NONE ? 0 : sr_whole_order(s->gram, s->speeds, c->f0, s->speeds->mean_hz);
    if (pick->order > 0)
        pick->f0 = (double)pick->order * s->speeds->mean_hz;
    pick->f_lo = pick->order > 0 ? pick->f0 : edge(s, c->channel, c->f0, -1);
    pick->f_hi = pick->order > 0 ? pick->f0 : edge(s, c->channel, c->f0, 1);
    pick->folded = mostly_folded(s, pick);
    pick->moves_hz = pick->f0 * s->speeds->spread;
    for (size_t i = 0; i < s->gram->slices; i++)
        pick_window(s, pick, i, &pick->low[i], &pick->high[i]);
}

static enum sr_status allocate(struct sr_picks *picks, size_t slices, struct sr_error *err)
{
    picks->bins = calloc(slices, 2 * SR_PEAKS_MAX * sizeof *picks->bins);
    picks->values = calloc(slices, 2 * SR_PEAKS_MAX * sizeof *picks->values);
    if (picks->bins == NULL || picks->values == NULL)
        return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for %zu slices", slices);
    for (size_t p = 0; p < SR_PEAKS_MAX; p++) {
        picks->pick[p].low = picks->bins + 2 * p * slices;
        picks->pick[p].high = picks->bins + (2 * p + 1) * slices;
        picks->pick[p].energy = picks->values + 2 * p * slices;
        picks->pick[p].centre_hz = picks->values + (2 * p + 1) * slices;
    }
    return SR_OK;
}

enum sr_status sr_picks_find(struct sr_picks *picks, struct sr_gram *gram, const struct sr_speeds *speeds,
                             double max_order, struct sr_error *err)
{
    struct search s = {gram, speeds, max_order, SEARCH_SHARE * gram->total, NULL, NULL};
    memset(picks, 0, sizeof *picks);
    enum sr_status status = allocate(picks, gram->slices, err);
    s.spent = calloc(scan_count(&s), speeds->scanned + 1);
    s.chunk = calloc(chunks_of(&s), sizeof *s.chunk);
    if (status == SR_OK && (s.spent == NULL || s.chunk == NULL))
        status = sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for %zu slices", gram->slices);
    if (status != SR_OK || s.spent == NULL || s.chunk == NULL) {
        free(s.chunk);
        free(s.spent);
        sr_picks_release(picks);
        return status;
    }
    while (picks->count < SR_PEAKS_MAX && gram->total > 0) {
        struct candidate best = best_candidate(&s), fixed = {0}, moving = {0};
        struct sr_pick *pick = &picks->pick[picks->count];
        if (best.gain < GAIN_LEAST)
            break;
        refine(&s, &best);
        fill_pick(&s, &best, pick);
        if (pick->channel != SR_CHANNEL_NONE)
            fixed = fixed_rival(&s, pick);
        moving = moving_rival(&s, pick);
        claim(&s, pick);
        weigh_rival(&s, pick, &fixed);
        weigh_rival(&s, pick, &moving);
        picks->count++;
    }
    free(s.chunk);
    free(s.spent);
    return SR_OK;
}

bool sr_picks_add(struct sr_picks *picks, struct sr_gram *gram, size_t low_bin, size_t high_bin)
{
    double energy = 0;
    size_t live = 0;
    for (size_t i = 0; i < gram->slices; i++) {
        const double *cum = gram->cum + i * (gram->bins + 1);
        energy += cum[high_bin + 1] - cum[low_bin];
        for (size_t k = low_bin; k <= high_bin; k++)
            live += gram->live[i * gram->bins + k];
    }
    if (picks->count >= SR_PEAKS_MAX || energy < SR_PEAK_SHARE_MIN * gram->total ||
        2 * live < gram->slices * (high_bin - low_bin + 1))
        return false;
    struct sr_pick *pick = &picks->pick[picks->count++];
    pick->channel = SR_CHANNEL_NONE;
    pick->open = true;
    pick->f_lo = (double)low_bin * gram->bin_hz;
    pick->f_hi = (double)high_bin * gram->bin_hz;
    pick->f0 = (pick->f_lo + pick->f_hi) / 2;
    for (size_t i = 0; i < gram->slices; i++) {
        pick->low[i] = low_bin;
        pick->high[i] = high_bin;
        memset(gram->live + i * gram->bins + low_bin, false, high_bin - low_bin + 1);
    }
    sr_gram_refresh(gram);
    return true;
}

void sr_picks_release(struct sr_picks *picks)
{
    free(picks->bins);
    free(picks->values);
    memset(picks, 0, sizeof *picks);
}
