/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/students_t.h"

#include <gsl/gsl_cdf.h>
#include <math.h>

double sr_students_dof(double va, size_t na, double vb, size_t nb)
{
    double v = va + vb;

    if (!(v > 0))
        return (double)(na + nb - 2);
    double share = va / v, rest = vb / v; /* their squares do not leave the range of a double */
    return 1 / (share * share / (double)(na - 1) + rest * rest / (double)(nb - 1));
}

double sr_students_p(double difference, double error, double dof)
{
    if (!(error > 0))
        return fabs(difference) > 0 ? 0 : 1;
    return fmin(1, 2 * gsl_cdf_tdist_Q(fabs(difference) / error, dof));
}
