/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Quantiles of the chi-square and F distributions.
 *
 * GSL's own inverses are not used: 2.7's chi-square one returns 60443 for the upper
 * 2.5 % point of 49050 degrees of freedom (it is 49666), and both inverses call GSL's
 * error handler, which ends the program, where they do not converge. GSL's
 * distribution functions are sound; these invert them by bisection.
 */
#ifndef STILLROW_SPECTRUM_QUANTILE_H
#define STILLROW_SPECTRUM_QUANTILE_H

/*
 * Quantile of chi-square / dof, the factor noise puts on a density: lower tail
 * below it (chi2_ratio_lower) or above it (chi2_ratio_upper). 0 < tail < 1, dof > 0.
 * To about 1e-12; above 1e6 degrees of freedom by Wilson and Hilferty 1931, to 1e-9.
 */
double sr_chi2_ratio_lower(double tail, double dof);
double sr_chi2_ratio_upper(double tail, double dof);

/*
 * Upper quantile of F, the ratio of two densities of the same level: 0 < tail < 1,
 * 0 < dof1, 0 < dof2.
 */
double sr_f_ratio_upper(double tail, double dof1, double dof2);

#endif
