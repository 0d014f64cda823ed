/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How far an averaged density can be trusted: degrees of freedom and intervals. */
#include "spectrum/quantile.h"
#include "stillrow/spectrum.h"

#include <math.h>

double sr_welch_dof(const double *w, size_t n, size_t hop, size_t segments)
{
    double energy = 0.0;
    double spread = 1.0;

    if (segments == 0 || hop == 0 || n == 0)
        return 0.0;
    for (size_t i = 0; i < n; i++)
        energy += w[i] * w[i];
    for (size_t j = 1; j < segments && j <= (n - 1) / hop; j++) {
        size_t lag = j * hop;
        double overlap = 0.0;

        for (size_t i = lag; i < n; i++)
            overlap += w[i] * w[i - lag];
        overlap /= energy;
        spread += 2.0 * (1.0 - (double)j / (double)segments) * overlap * overlap;
    }
    return 2.0 * (double)segments / spread;
}

enum sr_status sr_chi2_interval(double dof, double level, double *low, double *high, struct sr_error *err)
{
    double tail = 0.5 * (1.0 - level);

    if (!(dof > 0.0) || !isfinite(dof))
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "%g degrees of freedom, needs more than 0", dof);
    if (!(level > 0.0 && level < 1.0))
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "confidence level of %g, needs 0 to 1", level);
    *low = 1.0 / sr_chi2_ratio_upper(tail, dof);
    *high = 1.0 / sr_chi2_ratio_lower(tail, dof);
    return SR_OK;
}
