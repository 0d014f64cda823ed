/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Rounded stamps or missing rows: what the rates say, and what the stamps themselves. */
#include <math.h>

#include "log/steps.h"

#define REACH       3     /* rows on each side that a row is foretold from */
#define ASKED_MOST  65536 /* rows that are foretold */
#define ASKED_LEAST 48    /* fewer decide nothing */
#define CLEAR       1.25  /* the one must foretell so much better than the other */
#define SKILL       0.5   /* and leave no more than this of what varies */
#define TINY        1e-12 /* (deg/s)^2, so that what is foretold exactly has a logarithm */
#define EVENTS      8     /* fewer double or equal steps show no regularity */
#define PER_STRETCH 24    /* of them in a stretch */
#define SPAN_UNITS  2.0   /* a rounded clock's stamps stay within one unit; late stamps a little more */
#define LEAST_STEP  0.01  /* [base steps] a shorter one between rows is none to foretell by */
#define UNLIKE                                                                                               \
    1.01 /* the longest of steps over the shortest, or a step over the base, from which they differ */
#define STRETCH  1024.0 /* rows that a stretch may have, however many events are in it */
#define STRAIGHT 0.8    /* share of the rows that must lie in straight stretches */
#define SHORTEST 64     /* rows of a stretch that is worth a look */

/* Weights of the Lagrange polynomial through the other 2 REACH nodes, at the middle one. */
static void weigh(const double *node, double *weight)
{
    for (size_t j = 0; j <= 2 * REACH; j++) {
        weight[j] = j == REACH ? 0.0 : 1.0;
        for (size_t k = 0; k <= 2 * REACH && j != REACH; k++)
            if (k != j && k != REACH)
                weight[j] *= (node[REACH] - node[k]) / (node[j] - node[k]);
    }
}

/* Squared miss of the foretold middle sample, over what noise alone would make of it. */
static double miss(const struct sr_store *store, size_t i, const double *weight)
{
    double noise = 1.0;
    double sum = 0.0;

    for (size_t j = 0; j <= 2 * REACH; j++)
        noise += weight[j] * weight[j];
    for (size_t axis = 0; axis < 3; axis++) {
        const double *y = store->rate[axis] + i - REACH;
        double off = y[REACH];
        for (size_t j = 0; j <= 2 * REACH; j++)
            off -= weight[j] * y[j];
        sum += off * off;
    }
    return sum / noise;
}

/* Variance of the samples about row i, the axes together. */
static double scatter(const struct sr_store *store, size_t i)
{
    double sum = 0.0;

    for (size_t axis = 0; axis < 3; axis++) {
        const double *y = store->rate[axis] + i - REACH;
        double mean = 0.0;
        for (size_t j = 0; j <= 2 * REACH; j++)
            mean += y[j] / (2 * REACH + 1);
        for (size_t j = 0; j <= 2 * REACH; j++)
            sum += (y[j] - mean) * (y[j] - mean) / (2 * REACH);
    }
    return sum;
}

/* Times about row i in base steps; false where the two time bases do not differ, or cannot be compared. */
static bool nodes_about(const struct sr_store *store, size_t i, double base_s, double *node)
{
    const double *t = store->time_s + i - REACH;
    double least = INFINITY;
    double most = 0.0;

    for (size_t j = 0; j <= 2 * REACH; j++) {
        node[j] = (t[j] - t[REACH]) / base_s;
        if (j > 0) {
            least = fmin(least, node[j] - node[j - 1]);
            most = fmax(most, node[j] - node[j - 1]);
        }
    }
    return least > LEAST_STEP && most > UNLIKE * least && most < SR_HOLE_STEPS;
}

int sr_steps_ask_rates(const struct sr_store *store, double base_s)
{
    const size_t stride = store->count / ASKED_MOST + 1;
    double even_weight[2 * REACH + 1], weight[2 * REACH + 1], node[2 * REACH + 1];
    double even = 0.0, stamped = 0.0, varies = 0.0;
    size_t asked = 0;

    for (size_t j = 0; j <= 2 * REACH; j++)
        node[j] = (double)j;
    weigh(node, even_weight);
    for (size_t i = REACH; i + REACH < store->count; i += stride) {
        if (!nodes_about(store, i, base_s, node))
            continue;
        weigh(node, weight);
        /* logarithms: one row lost among even ones, or one late stamp among good ones, does not decide */
        even += log(miss(store, i, even_weight) + TINY);
        stamped += log(miss(store, i, weight) + TINY);
        varies += log(scatter(store, i) + TINY);
        asked++;
    }
    const double n = (double)asked;
    if (asked < ASKED_LEAST || fmin(even, stamped) > varies + n * log(SKILL))
        return 0;
    return fabs(even - stamped) < n * log(CLEAR) ? 0 : even < stamped ? 1 : -1;
}

static bool is_event(double step_s, double base_s)
{
    return step_s <= 0.0 || (step_s > UNLIKE * base_s && step_s < SR_HOLE_STEPS * base_s);
}

/* Does a straight line through the stamps leave no more than SPAN_UNITS of their unit? */
static bool is_straight(const double *t, size_t n, double unit_s)
{
    const double middle = ((double)n - 1.0) / 2.0;
    double over = 0.0, under = 0.0;
    double low = INFINITY, high = -INFINITY;

    for (size_t i = 0; i < n; i++) {
        const double x = (double)i - middle;
        over += x * (t[i] - t[0]);
        under += x * x;
    }
    for (size_t i = 0; i < n; i++) {
        const double off = t[i] - t[0] - over / under * (double)i;
        low = fmin(low, off);
        high = fmax(high, off);
    }
    return high - low <= SPAN_UNITS * unit_s;
}

bool sr_steps_uniform(const struct sr_store *store, const struct sr_steps *steps)
{
    const double *t = store->time_s;
    size_t events = 0, first = 0, seen = 0;
    size_t rows = 0, straight = 0;

    for (size_t i = 1; i < store->count; i++)
        events += is_event(t[i] - t[i - 1], steps->base_s);
    if (events < EVENTS)
        return false;
    const double about = (double)store->count / (double)events * PER_STRETCH;
    const size_t longest = (size_t)fmax(STRETCH, about);
    for (size_t i = 1; i <= store->count; i++) {
        const double step = i < store->count ? t[i] - t[i - 1] : INFINITY;
        if (step < SR_HOLE_STEPS * steps->base_s && i - first < longest) {
            seen += is_event(step, steps->base_s);
            continue;
        }
        if (i - first >= SHORTEST && seen > 0) {
            rows += i - first;
            straight += is_straight(t + first, i - first, steps->quantum_s) ? i - first : 0;
        }
        first = i;
        seen = 0;
    }
    return rows > 0 && (double)straight >= STRAIGHT * (double)rows;
}
