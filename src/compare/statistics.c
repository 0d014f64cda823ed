/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The two textbook procedures that a comparison rests on. */
#include "stillrow/compare.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_sort.h>
#include <gsl/gsl_statistics_double.h>
#include <math.h>
#include <stdint.h>
#include <stdlib.h>

#include "support/students_t.h"

enum sr_status sr_adjust_p(const double *p, size_t n, double *adjusted, struct sr_error *err)
{
    for (size_t i = 0; i < n; i++)
        if (!(p[i] >= 0 && p[i] <= 1))
            return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "a p-value lies between 0 and 1");
    if (n == 0)
        return SR_OK;

    size_t *order = n > SIZE_MAX / sizeof *order ? NULL : malloc(n * sizeof *order);
    if (order == NULL)
        return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for %zu p-values", n);

    gsl_sort_index(order, p, 1, n);
    double least = 1;
    for (size_t rank = n; rank > 0; rank--) {
        size_t i = order[rank - 1];
        least = fmin(least, p[i] * (double)n / (double)rank);
        adjusted[i] = least;
    }
    free(order);
    return SR_OK;
}

enum sr_status sr_welch_t(const double *a, size_t na, const double *b, size_t nb,
                          struct sr_difference *difference, struct sr_error *err)
{
    if (na < 2 || nb < 2)
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "a t test needs at least two values on each side");

    double va = gsl_stats_variance(a, 1, na) / (double)na;
    double vb = gsl_stats_variance(b, 1, nb) / (double)nb;
    struct sr_difference d = {.value = gsl_stats_mean(b, 1, nb) - gsl_stats_mean(a, 1, na)};
    d.error = sqrt(va + vb);
    d.dof = sr_students_dof(va, na, vb, nb);
    if (!isfinite(d.value) || !isfinite(d.error))
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "a t test needs finite values");
    sr_difference_finish(&d);
    *difference = d;
    return SR_OK;
}

/* Below so few degrees of freedom a quantile is of the order of 1e80; GSL's search for it does not end below
 * 0.013, which would end the program. */
#define DOF_LEAST 0.02

static double t_quantile(double level, double dof)
{
    return dof < DOF_LEAST ? INFINITY : gsl_cdf_tdist_Pinv(level, dof);
}

void sr_difference_finish(struct sr_difference *d)
{
    double half = t_quantile(0.975, d->dof) * d->error;
    d->low = d->value - half;
    d->high = d->value + half;
    d->p_value = sr_students_p(d->value, d->error, d->dof);
    d->smallest = (t_quantile(0.975, d->dof) + t_quantile(0.8, d->dof)) * d->error;
}
