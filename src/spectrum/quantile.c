/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Quantiles by bisection on the logarithm: every one of these is a ratio, and positive. */
#include "spectrum/quantile.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdbool.h>

/* Beyond this GSL's incomplete gamma function runs out of iterations. */
static const double many_dof = 1e6;

struct distribution {
    double dof1;
    double dof2; /* 0: chi-square / dof1 */
    bool upper;  /* tail counted from above */
};

static double tail_at(const struct distribution *distribution, double ratio)
{
    double dof = distribution->dof1;

    if (distribution->dof2 > 0.0)
        return gsl_cdf_fdist_Q(ratio, dof, distribution->dof2);
    return distribution->upper ? gsl_cdf_chisq_Q(ratio * dof, dof) : gsl_cdf_chisq_P(ratio * dof, dof);
}

static double invert(const struct distribution *distribution, double tail)
{
    double low = -0.5;
    double high = 0.5;

    /* Towards `low` the upper tail grows and the lower one shrinks. The ends are those of double. */
    while (low > -700.0 && (tail_at(distribution, exp(low)) < tail) == distribution->upper)
        low *= 2.0;
    while (high < 700.0 && (tail_at(distribution, exp(high)) > tail) == distribution->upper)
        high *= 2.0;
    while (high - low > 1e-13 * (1.0 + fabs(low))) {
        double middle = 0.5 * (low + high);

        if ((tail_at(distribution, exp(middle)) > tail) == distribution->upper)
            low = middle;
        else
            high = middle;
    }
    return exp(0.5 * (low + high));
}

/* (chi-square / dof)^(1/3) is close to normal (Wilson and Hilferty 1931), the closer the larger dof is. */
static double wilson_hilferty(double normal, double dof)
{
    double spread = 2.0 / (9.0 * dof);

    return pow(1.0 - spread + normal * sqrt(spread), 3.0);
}

double sr_chi2_ratio_lower(double tail, double dof)
{
    if (dof > many_dof)
        return wilson_hilferty(gsl_cdf_ugaussian_Pinv(tail), dof);
    return invert(&(struct distribution){.dof1 = dof}, tail);
}

double sr_chi2_ratio_upper(double tail, double dof)
{
    if (dof > many_dof)
        return wilson_hilferty(gsl_cdf_ugaussian_Qinv(tail), dof);
    return invert(&(struct distribution){.dof1 = dof, .upper = true}, tail);
}

double sr_f_ratio_upper(double tail, double dof1, double dof2)
{
    /* A denominator of that many is as good as exact. */
    if (dof2 > many_dof)
        return sr_chi2_ratio_upper(tail, dof1);
    return invert(&(struct distribution){.dof1 = dof1, .dof2 = dof2, .upper = true}, tail);
}
