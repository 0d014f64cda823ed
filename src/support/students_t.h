/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Two means compared by Student's t without equal variances: B. L. Welch, Biometrika 34 (1947) 28-35;
 * degrees of freedom: F. E. Satterthwaite, Biometrics Bull. 2 (1946) 110-114. One rule for all rooms.
 */
#ifndef SR_SUPPORT_STUDENTS_T_H
#define SR_SUPPORT_STUDENTS_T_H

#include <stddef.h>

/*
 * Degrees of freedom of the difference of two means of na and nb values, 2 or more each. va, vb: the means'
 * squared standard errors, variance / count. na + nb - 2 where neither scatters.
 */
double sr_students_dof(double va, size_t na, double vb, size_t nb);

/*
 * Two-sided p-value of no difference, 0..1, for a difference with its standard error. Without any scatter
 * (error 0) a difference is certain: 0, and where there is none: 1.
 */
double sr_students_p(double difference, double error, double dof);

#endif
