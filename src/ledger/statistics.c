/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "statistics.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdbool.h>

#include "support/students_t.h"

void moments_add(struct moments *m, double value)
{
    double off = value - m->mean;
    m->count++;
    m->mean += off / (double)m->count;
    m->squares += off * (value - m->mean);
}

static double variance(const struct moments *m)
{
    return m->count < 2 ? NAN : m->squares / (double)(m->count - 1);
}

double moments_sd(const struct moments *m)
{
    return sqrt(variance(m));
}

struct sr_interval mean_interval(const struct moments *m, double level)
{
    if (m->count < 2)
        return (struct sr_interval){m->mean, NAN, NAN};
    double t = gsl_cdf_tdist_Qinv((1 - level) / 2, (double)(m->count - 1));
    double reach = t * sqrt(variance(m) / (double)m->count);
    return (struct sr_interval){m->mean, m->mean - reach, m->mean + reach};
}

double welch_p(const struct moments *a, const struct moments *b)
{
    double va = variance(a) / (double)a->count, vb = variance(b) / (double)b->count;

    return sr_students_p(a->mean - b->mean, sqrt(va + vb), sr_students_dof(va, a->count, vb, b->count));
}

/*
 * Quantile of the beta distribution by bisection, the tail counted from above if `upper`. GSL's own inverse
 * is not used: 2.7's does not converge for some small counts (2 of 260 flights), and then ends the program.
 */
static double beta_quantile(double tail, double a, double b, bool upper)
{
    double low = 0, high = 1;

    for (int i = 0; i < 2000 && high - low > 1e-14 * high; i++) {
        double middle = low + (high - low) / 2;
        bool below = upper ? gsl_cdf_beta_Q(middle, a, b) > tail : gsl_cdf_beta_P(middle, a, b) < tail;
        *(below ? &low : &high) = middle;
    }
    return low + (high - low) / 2;
}

struct sr_interval share_interval(size_t k, size_t n, double level)
{
    double tail = (1 - level) / 2, hits = (double)k, misses = (double)(n - k);

    if (n == 0)
        return (struct sr_interval){NAN, NAN, NAN};
    return (struct sr_interval){hits / (hits + misses),
                                k == 0 ? 0 : beta_quantile(tail, hits, misses + 1, false),
                                k == n ? 1 : beta_quantile(tail, hits + 1, misses, true)};
}
