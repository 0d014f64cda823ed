/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A change of level within a flight. The log of the wobble, and of each line, is freed of what the speed
 * explains; the split that explains most of the rest is then held against what noise of the same kind gives
 * by chance.
 */
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "random.h"
#include "tracks.h"

#define TERMS         4   /* constant, and three powers of the log of speed */
#define END_SLICES    3   /* least slices before and after a change */
#define SERIES_MAX    7   /* the whole, and the strongest lines */
#define LIKENESS_MOST 0.8 /* of neighbours: above, a flight drifts, and has no level to change */
#define LIKENESS_STEP 0.1
#define LIKENESSES    9  /* 0, 0.1 ... 0.8 */
#define TRIES         60 /* series drawn to see what each looks like */
#define RUN_IN        20 /* draws before the first that counts: 0.8^20 of the start is left */
#define DRAWS         999
#define LEVEL         0.01 /* chance of a change this clear in a steady flight, all series together */
#define LEAST_DB      1.5  /* smaller changes are not worth a word */
#define TRACE         0.03 /* of a series' mean energy, added so that a line that is gone does not go to -inf */
#define SLICES_LEAST  (2 * END_SLICES + TERMS)

struct series {
    const double *px; /* [n] px RMS */
    double *rest;     /* [n] log energy, freed of the speed */
    double *noise;    /* [n] the same, freed of the best split */
    size_t split;     /* first slice after */
    double step;      /* change of log energy there */
    double clear;     /* how clear: explained over unexplained */
    double chance;    /* of one as clear */
};

struct splits {
    size_t n;
    double *basis;  /* [TERMS][n] orthonormal */
    size_t terms;   /* of them in use */
    double *weight; /* [n] squared length of each split, freed of the basis */
    double *work;   /* [n] */
};

static double dot(const double *a, const double *b, size_t n)
{
    double sum = 0;
    for (size_t i = 0; i < n; i++)
        sum += a[i] * b[i];
    return sum;
}

static void free_of(const struct splits *s, double *x)
{
    for (size_t t = 0; t < s->terms; t++) {
        const double *basis = s->basis + t * s->n;
        double part = dot(basis, x, s->n);
        for (size_t i = 0; i < s->n; i++)
            x[i] -= part * basis[i];
    }
}

/* Powers of the log of speed, made orthonormal one by one (Gram and Schmidt); those that add nothing are left
 * out. */
static void make_basis(struct splits *s, const struct sr_speeds *speeds)
{
    for (size_t power = 0; power < TERMS; power++) {
        double *basis = s->basis + s->terms * s->n;
        for (size_t i = 0; i < s->n; i++) {
            double speed = speeds->channels > 0 && speeds->known[i] ? speeds->mean[i * speeds->channels] : 1;
            basis[i] = pow(log(fmax(speed, 0.05)), (double)power);
        }
        double before = dot(basis, basis, s->n);
        free_of(s, basis);
        double length = dot(basis, basis, s->n);
        if (!(length > 1e-8 * before) || !(length > 0))
            continue;
        for (size_t i = 0; i < s->n; i++)
            basis[i] /= sqrt(length);
        s->terms++;
    }
    for (size_t split = 0; split < s->n; split++) {
        s->weight[split] = (double)(s->n - split);
        for (size_t t = 0; t < s->terms; t++) {
            double part = 0;
            for (size_t i = split; i < s->n; i++)
                part += s->basis[t * s->n + i];
            s->weight[split] -= part * part;
        }
    }
}

/* The split of x (freed of the basis) that explains most: its share of the squares. */
static double best_split(const struct splits *s, const double *x, size_t *split, double *step)
{
    double tail = 0, best = 0;
    for (size_t i = s->n; i-- > END_SLICES;) {
        tail += x[i];
        /* A split that the speed explains as well says nothing. */
        if (s->n - i < END_SLICES || s->weight[i] < 0.5)
            continue;
        double explained = tail * tail / s->weight[i];
        if (explained > best) {
            best = explained;
            *split = i;
            *step = tail / s->weight[i];
        }
    }
    return best;
}

static void prepare(const struct splits *s, struct series *series)
{
    double mean = 0, squares;
    for (size_t i = 0; i < s->n; i++)
        mean += series->px[i] * series->px[i] / (double)s->n;
    for (size_t i = 0; i < s->n; i++)
        series->rest[i] = log(series->px[i] * series->px[i] + TRACE * mean + 1e-300);
    free_of(s, series->rest);
    double explained = best_split(s, series->rest, &series->split, &series->step);
    squares = dot(series->rest, series->rest, s->n);
    series->clear = squares > explained ? explained / (squares - explained) : 0;
    for (size_t i = 0; i < s->n; i++)
        series->noise[i] = series->rest[i] - (i >= series->split ? series->step : 0);
    free_of(s, series->noise);
}

/* How alike neighbouring slices look; what a fit has taken out of x makes them look less alike than they are.
 */
static double likeness(const struct splits *s, const double *x)
{
    double square = dot(x, x, s->n);
    return square > 0 ? dot(x, x + 1, s->n - 1) / square : 0;
}

/* A series without a change, its neighbours truly as alike as `alike`, from the innovations of this one. */
static void draw_series(const struct splits *s, const struct series *series, double alike, uint64_t *state,
                        double *drawn)
{
    double looks = fmin(fmax(likeness(s, series->noise), 0), LIKENESS_MOST), level = 0;
    for (size_t i = 0; i < s->n + RUN_IN; i++) {
        size_t k = 1 + sr_random_below(state, s->n - 1);
        level = alike * level + series->noise[k] - looks * series->noise[k - 1];
        if (i >= RUN_IN)
            drawn[i - RUN_IN] = level;
    }
    free_of(s, drawn);
}

/* Mean and variance of how alike series look, whose neighbours are truly that alike, once treated as this
 * one. */
static void look_of(const struct splits *s, const struct series *series, double alike, uint64_t *state,
                    double *drawn, double *mean, double *variance)
{
    double sum = 0, squares = 0;
    for (size_t draw = 0; draw < TRIES; draw++) {
        size_t split = s->n;
        double step = 0;
        draw_series(s, series, alike, state, drawn);
        best_split(s, drawn, &split, &step);
        for (size_t i = split; i < s->n; i++)
            drawn[i] -= step;
        free_of(s, drawn);
        double looks = likeness(s, drawn);
        sum += looks / TRIES;
        squares += looks * looks / TRIES;
    }
    *mean = sum;
    *variance = fmax(squares - sum * sum, 1e-6);
}

/*
 * How likely each true likeness is, given how alike the neighbours look: a normal law about what series of
 * that likeness look like, all being as likely beforehand. Summed up, so that it ends with 1.
 */
static void weigh_likenesses(const struct splits *s, const struct series *series, uint64_t *state,
                             double *drawn, double sum[LIKENESSES])
{
    double looks = likeness(s, series->noise), log_weight[LIKENESSES], most = -INFINITY, all = 0;
    for (size_t g = 0; g < LIKENESSES; g++) {
        double mean, variance;
        look_of(s, series, LIKENESS_STEP * (double)g, state, drawn, &mean, &variance);
        log_weight[g] = -(looks - mean) * (looks - mean) / (2 * variance) - log(variance) / 2;
        most = fmax(most, log_weight[g]);
    }
    for (size_t g = 0; g < LIKENESSES; g++)
        sum[g] = all += exp(log_weight[g] - most);
    for (size_t g = 0; g < LIKENESSES; g++)
        sum[g] /= all;
}

/*
 * Chance of a split as clear as this where none is: noise as alike and as scattered as that of the flight is
 * made from its own innovations, drawn again (a sieve bootstrap of order 1, Buehlmann 1997). How alike it is
 * is only known so well from so few slices, and the more alike, the more it drifts; so each draw has a
 * likeness of its own, as often as it is likely.
 */
static void judge(const struct splits *s, struct series *series, uint64_t *state, double *drawn)
{
    double sum[LIKENESSES];
    size_t as_clear = 0;
    weigh_likenesses(s, series, state, drawn, sum);
    for (size_t draw = 0; draw < DRAWS; draw++) {
        size_t split = 0, g = 0;
        double step = 0, u = ((double)sr_random_below(state, 1U << 20) + 0.5) / (1U << 20);
        while (g + 1 < LIKENESSES && u > sum[g])
            g++;
        double within = (double)sr_random_below(state, 1000) / 1000 - 0.5;
        double alike = fmin(fmax(LIKENESS_STEP * ((double)g + within), 0), LIKENESS_MOST);
        draw_series(s, series, alike, state, drawn);
        double explained = best_split(s, drawn, &split, &step);
        double squares = dot(drawn, drawn, s->n);
        as_clear += squares > explained && explained / (squares - explained) >= series->clear;
    }
    series->chance = (1.0 + (double)as_clear) / (DRAWS + 1.0);
}

/* Mean energy [px^2] of px over [from, to). */
static double mean_energy(const double *px, size_t from, size_t to)
{
    return dot(px + from, px + from, to - from) / (double)(to - from);
}

/* The line whose energy changed most at the split, and the motor behind it. */
static enum sr_status name_line(struct sr_change *change, const struct sr_score *score,
                                const struct sr_slices *slices, const struct sr_view *view,
                                const struct sr_causes *causes, struct sr_speeds *speeds, size_t split,
                                struct sr_error *err)
{
    struct sr_gram gram;
    double most = 0, sign = change->ratio_db >= 0 ? 1 : -1;
    size_t line = SR_PEAKS_MAX;

    for (size_t t = 0; t < causes->n_tracks; t++) {
        const double *px = causes->tracks[t].wobble_px;
        double gained = sign * (mean_energy(px, split, slices->count) - mean_energy(px, 0, split));
        if (gained > most) {
            most = gained;
            line = t;
        }
    }
    if (line == SR_PEAKS_MAX)
        return SR_OK;
    const struct sr_peak *peak = &score->peaks[line];
    change->hz = peak->hz;
    if (!(peak->order >= 1) || fabs(peak->order - round(peak->order)) > 1e-9)
        return SR_OK;
    enum sr_status status = sr_gram_make(&gram, slices, view, err);
    if (status != SR_OK)
        return status;
    struct sr_motor_shares shares = {0};
    bool grew = sign > 0;
    status = sr_motors_split(&shares, &gram, speeds, slices, view, (size_t)peak->order, grew ? split : 0,
                             grew ? slices->count : split, err);
    change->motor = shares.motor;
    sr_gram_release(&gram);
    return status;
}

static void fill_change(struct sr_change *change, const struct sr_score *score,
                        const struct sr_slices *slices, const struct series *best)
{
    double before = mean_energy(score->slice_px, 0, best->split);
    double after = mean_energy(score->slice_px, best->split, slices->count);
    change->at_s = slices->slice[best->split].from_s;
    change->before_px = sqrt(before);
    change->after_px = sqrt(after);
    change->ratio_db = before > 0 && after > 0 ? 10 * log10(after / before) : 0;
    change->p_value = best->chance;
    change->found = best->chance <= LEVEL && fabs(best->step) * 10 / log(10) >= LEAST_DB;
}

static size_t collect(struct series series[SERIES_MAX], const struct sr_score *score,
                      const struct sr_causes *causes, double *block)
{
    size_t count = 0, n = score->slices;
    series[count++].px = score->slice_px;
    for (size_t t = 0; causes != NULL && t < causes->n_tracks && count < SERIES_MAX; t++)
        series[count++].px = causes->tracks[t].wobble_px;
    for (size_t k = 0; k < count; k++) {
        series[k].rest = block + 2 * k * n;
        series[k].noise = block + (2 * k + 1) * n;
    }
    return count;
}

enum sr_status sr_change_find(struct sr_change *change, const struct sr_score *score,
                              const struct sr_slices *slices, const struct sr_view *view,
                              const struct sr_causes *causes, struct sr_error *err)
{
    struct sr_change made = {.p_value = 1, .at_s = NAN};
    struct series series[SERIES_MAX] = {{0}}, *best = &series[0];
    struct sr_speeds speeds;
    size_t n = slices->count;

    if (n < SLICES_LEAST || score->slices != n) {
        *change = made;
        return SR_OK;
    }
    enum sr_status status = sr_speeds_make(&speeds, slices, err);
    if (status != SR_OK)
        return status;
    double *block = calloc(n, (TERMS + 3 + 2 * SERIES_MAX) * sizeof *block);
    uint64_t state = SR_RANDOM_SEED;
    if (block == NULL) {
        status = sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for %zu slices", n);
        goto done;
    }
    struct splits s = {n, block, 0, block + TERMS * n, block + (TERMS + 1) * n};
    make_basis(&s, &speeds);
    size_t count = collect(series, score, causes, block + (TERMS + 2) * n);
    for (size_t k = 0; k < count; k++) {
        prepare(&s, &series[k]);
        judge(&s, &series[k], &state, s.work);
        series[k].chance = fmin(series[k].chance * (double)count, 1);
        if (series[k].chance < best->chance ||
            (series[k].chance <= best->chance && series[k].clear > best->clear))
            best = &series[k];
    }
    fill_change(&made, score, slices, best);
    if (causes != NULL && causes->pole_pairs > 0)
        sr_speeds_gear(&speeds, causes->pole_pairs);
    if (made.found && causes != NULL)
        status = name_line(&made, score, slices, view, causes, &speeds, best->split, err);
    if (status == SR_OK)
        *change = made;

done:
    free(block);
    sr_speeds_release(&speeds);
    return status;
}
