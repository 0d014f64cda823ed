/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "mount/fit.h"

#include <math.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#define P           FIT_PARAMETERS_MAX
#define ROUNDS      60
#define STEP        1e-6 /* of the derivatives: parameters are logs, or scaled to about 1 */
#define SETTLED     1e-10
#define DAMPING_MAX 1e12

struct equations {
    double a[P][P]; /* J^T J */
    double b[P];    /* J^T r */
};

static double sum_squares(const double *r, size_t n)
{
    double sum = 0;
    for (size_t i = 0; i < n; i++)
        sum += r[i] * r[i];
    return sum;
}

/* columns: [parameters][residuals], r: at the parameters. */
static void derive(const struct fit *fit, const double *r, double *columns, struct equations *eq)
{
    for (size_t p = 0; p < fit->parameters; p++) {
        double moved[P], *column = columns + p * fit->residuals;
        memcpy(moved, fit->value, sizeof moved);
        moved[p] += STEP;
        fit->model(fit->context, moved, column);
        for (size_t i = 0; i < fit->residuals; i++)
            column[i] = (column[i] - r[i]) / STEP;
    }
    for (size_t p = 0; p < fit->parameters; p++) {
        const double *one = columns + p * fit->residuals;
        eq->b[p] = 0;
        for (size_t i = 0; i < fit->residuals; i++)
            eq->b[p] += one[i] * r[i];
        for (size_t q = 0; q < fit->parameters; q++) {
            const double *other = columns + q * fit->residuals;
            eq->a[p][q] = 0;
            for (size_t i = 0; i < fit->residuals; i++)
                eq->a[p][q] += one[i] * other[i];
        }
    }
}

/* Solve a x = b for a symmetric, positive a by Cholesky; false if it is not positive. */
static bool solve(const double a[P][P], const double *b, size_t n, double *x)
{
    double l[P][P] = {{0}}, y[P];
    for (size_t i = 0; i < n; i++) {
        for (size_t j = 0; j <= i; j++) {
            double sum = a[i][j];
            for (size_t k = 0; k < j; k++)
                sum -= l[i][k] * l[j][k];
            if (i == j && !(sum > 0))
                return false;
            l[i][j] = i == j ? sqrt(sum) : sum / l[j][j];
        }
    }
    for (size_t i = 0; i < n; i++) {
        y[i] = b[i];
        for (size_t k = 0; k < i; k++)
            y[i] -= l[i][k] * y[k];
        y[i] /= l[i][i];
    }
    for (size_t i = n; i-- > 0;) {
        x[i] = y[i];
        for (size_t k = i + 1; k < n; k++)
            x[i] -= l[k][i] * x[k];
        x[i] /= l[i][i];
    }
    return true;
}

/* Variance of parameter p for residuals of unit variance: the p-th diagonal element of the inverse. */
static double variance(const struct equations *eq, size_t n, size_t p)
{
    double unit[P] = {0}, x[P];
    unit[p] = 1;
    return solve((const double(*)[P])eq->a, unit, n, x) ? x[p] : INFINITY;
}

/* One damped step; true if it made the fit better. trial: room for the residuals. */
static bool advance(struct fit *fit, const struct equations *eq, double damping, double *trial)
{
    double a[P][P], step[P], before[P];
    memcpy(a, eq->a, sizeof a);
    memcpy(before, fit->value, sizeof before);
    for (size_t p = 0; p < fit->parameters; p++)
        a[p][p] += damping * (eq->a[p][p] + 1e-12);
    if (!solve((const double(*)[P])a, eq->b, fit->parameters, step))
        return false;
    for (size_t p = 0; p < fit->parameters; p++)
        fit->value[p] -= step[p];
    fit->model(fit->context, fit->value, trial);
    double squares = sum_squares(trial, fit->residuals);
    if (squares < fit->squares) {
        fit->squares = squares;
        return true;
    }
    memcpy(fit->value, before, sizeof before);
    return false;
}

enum sr_status fit_run(struct fit *fit, struct sr_error *err)
{
    size_t n = fit->residuals;
    double *block = n <= SIZE_MAX / ((P + 2) * sizeof(double)) ? calloc(n, (P + 2) * sizeof *block) : NULL;
    if (block == NULL)
        return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory to fit %zu points", n);
    double *r = block, *trial = block + n, *columns = block + 2 * n;
    double damping = 1e-3;
    struct equations eq = {{{0}}, {0}};

    fit->model(fit->context, fit->value, r);
    fit->squares = sum_squares(r, n);
    for (int round = 0; round < ROUNDS && damping < DAMPING_MAX; round++) {
        double before = fit->squares;
        derive(fit, r, columns, &eq);
        while (damping < DAMPING_MAX && !advance(fit, &eq, damping, trial))
            damping *= 10;
        memcpy(r, trial, n * sizeof *r);
        damping = fmax(damping / 10, 1e-12);
        if (before - fit->squares <= SETTLED * before)
            break;
    }
    fit->model(fit->context, fit->value, r);
    derive(fit, r, columns, &eq);
    double unit = n > fit->parameters ? fit->squares / (double)(n - fit->parameters) : INFINITY;
    for (size_t p = 0; p < fit->parameters; p++)
        fit->sigma[p] = sqrt(unit * variance(&eq, fit->parameters, p));
    free(block);
    return SR_OK;
}
