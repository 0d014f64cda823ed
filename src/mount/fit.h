/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Small nonlinear least squares: Levenberg 1944, Marquardt 1963. */
#ifndef MOUNT_FIT_H
#define MOUNT_FIT_H

#include <stddef.h>

#include "stillrow/status.h"

#define FIT_PARAMETERS_MAX 4

struct fit {
    size_t parameters; /* 1..FIT_PARAMETERS_MAX */
    size_t residuals;
    /* Residuals of a set of parameters into r[residuals]. */
    void (*model)(const void *context, const double *parameter, double *r);
    const void *context;
    double value[FIT_PARAMETERS_MAX]; /* in: start, out: best */
    double sigma[FIT_PARAMETERS_MAX]; /* standard errors, from the residuals' own size */
    double squares;                   /* sum of squared residuals at the best */
};

/* Errors: SR_ERR_MEMORY. A fit that does not settle stays where it was best. */
enum sr_status fit_run(struct fit *fit, struct sr_error *err);

#endif
