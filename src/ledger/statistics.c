/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "statistics.h"

#include <gsl/gsl_cdf.h>
#include <math.h>

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
    double va = variance(a) / (double)a->count, vb = variance(b) / (double)b->count, v = va + vb;

    if (!(v > 0))
        return 1;
    double dof = v * v / (va * va / (double)(a->count - 1) + vb * vb / (double)(b->count - 1));
    return 2 * gsl_cdf_tdist_Q(fabs(a->mean - b->mean) / sqrt(v), dof);
}

struct sr_interval share_interval(size_t k, size_t n, double level)
{
    double tail = (1 - level) / 2, hits = (double)k, misses = (double)(n - k);

    if (n == 0)
        return (struct sr_interval){NAN, NAN, NAN};
    return (struct sr_interval){hits / (hits + misses),
                                k == 0 ? 0 : gsl_cdf_beta_Pinv(tail, hits, misses + 1),
                                k == n ? 1 : gsl_cdf_beta_Qinv(tail, hits + 1, misses)};
}
