/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Logistic regression on one variable, and the interval of its half-way point. */
#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdlib.h>

#include "stillrow/threshold.h"
#include "support/plain_locale.h"

#define STEPS_MAX 100
#define TIGHT     1e-12 /* of the log likelihood, where another step is worth nothing */

/* The data with x centred and scaled, so that one step size suits all. */
struct sample {
    const double *x;
    const bool *y;
    size_t n;
    double centre, scale;
};

static double scaled(const struct sample *s, size_t i)
{
    return (s->x[i] - s->centre) / s->scale;
}

/* log(1 + exp(t)) without overflow. */
static double softplus(double t)
{
    return t > 0 ? t + log1p(exp(-t)) : log1p(exp(t));
}

static double probability(double t)
{
    return t > 0 ? 1 / (1 + exp(-t)) : exp(t) / (1 + exp(t));
}

/* Log likelihood of the line a + b z, and its derivatives. */
struct slope_of {
    double value;
    double da, db;        /* first derivatives */
    double daa, dab, dbb; /* minus the second ones: the information */
};

static struct slope_of likelihood(const struct sample *s, double a, double b)
{
    struct slope_of at = {0, 0, 0, 0, 0, 0};
    for (size_t i = 0; i < s->n; i++) {
        double z = scaled(s, i), t = a + b * z, p = probability(t), w = p * (1 - p);
        double off = (s->y[i] ? 1 : 0) - p;
        at.value -= s->y[i] ? softplus(-t) : softplus(t);
        at.da += off;
        at.db += off * z;
        at.daa += w;
        at.dab += w * z;
        at.dbb += w * z * z;
    }
    return at;
}

/* Newton's step from here: false if there is none. */
static bool newton(const struct slope_of *at, double *da, double *db)
{
    double det = at->daa * at->dbb - at->dab * at->dab;

    *da = (at->dbb * at->da - at->dab * at->db) / det;
    *db = (at->daa * at->db - at->dab * at->da) / det;
    return det > 0 && isfinite(*da) && isfinite(*db);
}

/* A last step where the likelihood is level to its last digit, half of all digits from the top: its slope
 * still tells the way. */
static bool finish(const struct sample *s, double *a, double *b, struct slope_of *at)
{
    double da, db;

    if (!newton(at, &da, &db) || fabs(da) + fabs(db) > 1e-4 * (1 + fabs(*a) + fabs(*b)))
        return false;
    *a += da;
    *b += db;
    *at = likelihood(s, *a, *b);
    return true;
}

/* Newton's steps, halved until they climb: the likelihood is concave, so this cannot go astray. */
static bool climb(const struct sample *s, double *a, double *b, struct slope_of *at)
{
    double da, db;

    *at = likelihood(s, *a, *b);
    for (int step = 0; step < STEPS_MAX && newton(at, &da, &db); step++) {
        struct slope_of next = likelihood(s, *a + da, *b + db);
        for (int half = 0; half < 60 && !(next.value >= at->value); half++) {
            da /= 2;
            db /= 2;
            next = likelihood(s, *a + da, *b + db);
        }
        double gain = next.value - at->value;
        if (gain >= 0) {
            *a += da;
            *b += db;
            *at = next;
        }
        if (!(gain > TIGHT * (1 + fabs(at->value))))
            return finish(s, a, b, at);
    }
    return false;
}

/* Smallest and largest x of one kind. */
static struct sr_interval range_of(const struct sample *s, bool kind)
{
    struct sr_interval range = {NAN, INFINITY, -INFINITY};
    for (size_t i = 0; i < s->n; i++) {
        if (s->y[i] != kind)
            continue;
        range.low = fmin(range.low, s->x[i]);
        range.high = fmax(range.high, s->x[i]);
    }
    return range;
}

static enum sr_status check(struct sample *s, size_t *ones, struct sr_error *err)
{
    double sum = 0, squares = 0;

    *ones = 0;
    if (s->n == 0)
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "nothing to fit");
    for (size_t i = 0; i < s->n; i++) {
        if (!isfinite(s->x[i]))
            return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "value %zu is not finite", i + 1);
        sum += s->x[i];
        *ones += s->y[i];
    }
    s->centre = sum / (double)s->n;
    for (size_t i = 0; i < s->n; i++)
        squares += (s->x[i] - s->centre) * (s->x[i] - s->centre);
    s->scale = sqrt(squares / (double)s->n);
    if (*ones == 0 || *ones == s->n)
        return sr_fail(err, SR_ERR_DATA, NULL, 0, "all are of one kind, so there is nothing to tell apart");
    if (!(s->scale > 0) || !isfinite(s->scale))
        return sr_fail(err, SR_ERR_DATA, NULL, 0, "all values are the same");
    struct sr_interval zeros = range_of(s, false), ones_range = range_of(s, true);
    if (zeros.high <= ones_range.low || ones_range.high <= zeros.low)
        return sr_fail(err, SR_ERR_DATA, NULL, 0, "the two kinds do not overlap, so any steep slope fits");
    return SR_OK;
}

enum sr_status sr_logistic_fit(struct sr_logistic *fit, const double *x, const bool *y, size_t n,
                               struct sr_error *err)
{
    struct sample s = {x, y, n, 0, 1};
    struct slope_of at;
    size_t ones;

    enum sr_status status = check(&s, &ones, err);
    if (status != SR_OK)
        return status;
    double share = (double)ones / (double)n, a = log(share / (1 - share)), b = 0;
    double null_value = likelihood(&s, a, 0).value;
    if (!climb(&s, &a, &b, &at))
        return sr_fail(err, SR_ERR_DATA, NULL, 0, "the logistic fit does not settle");

    double det = at.daa * at.dbb - at.dab * at.dab;
    double aa = at.dbb / det, ab = -at.dab / det, bb = at.daa / det; /* covariances of a and b */
    double shift = s.centre / s.scale;
    *fit = (struct sr_logistic){
        .intercept = a - b * shift,
        .slope = b / s.scale,
        .intercept_error = sqrt(aa - 2 * shift * ab + shift * shift * bb),
        .slope_error = sqrt(bb) / s.scale,
        .log_likelihood = at.value,
        .null_log_likelihood = null_value,
        .p_value = gsl_cdf_chisq_Q(fmax(0, 2 * (at.value - null_value)), 1),
        .n = n,
        .ones = ones,
    };
    return SR_OK;
}

/*
 * Largest log likelihood of lines through one half at z = h: t = b (z - h), Newton in b alone. Steep lines
 * far from the data are as good as flat ones, so a step that does not climb ends the search.
 */
static double profile(const struct sample *s, double h)
{
    double b = 0, value = -(double)s->n * log(2);
    for (int step = 0; step < STEPS_MAX; step++) {
        double first = 0, second = 0;
        for (size_t i = 0; i < s->n; i++) {
            double off = scaled(s, i) - h, p = probability(b * off);
            first += ((s->y[i] ? 1 : 0) - p) * off;
            second += p * (1 - p) * off * off;
        }
        double by = first / second;
        if (!isfinite(by))
            break;
        double next = likelihood(s, -(b + by) * h, b + by).value;
        for (int half = 0; half < 60 && !(next >= value); half++) {
            by /= 2;
            next = likelihood(s, -(b + by) * h, b + by).value;
        }
        double gain = next - value;
        if (!(gain > 0))
            break;
        b += by;
        value = next;
        if (gain < TIGHT * (1 + fabs(value)))
            break;
    }
    return value;
}

/* Where, on one side of the maximum, the likelihood has fallen to `floor`; in scaled units. */
static double end_of(const struct sample *s, double middle, double direction, double floor)
{
    double inside = middle, reach = 0.1, outside = middle + direction * reach;

    while (profile(s, outside) > floor && reach < 1e9) {
        inside = outside;
        reach *= 2;
        outside = middle + direction * reach;
    }
    for (int i = 0; i < 200 && fabs(outside - inside) > 1e-13 * (1 + fabs(middle)); i++) {
        double half = inside + (outside - inside) / 2;
        if (profile(s, half) > floor)
            inside = half;
        else
            outside = half;
    }
    return inside + (outside - inside) / 2;
}

static enum sr_status half_plainly(const struct sr_logistic *fit, const double *x, const bool *y, size_t n,
                                   double level, struct sr_interval *half, struct sr_error *err)
{
    struct sample s = {x, y, n, 0, 1};
    size_t ones;

    enum sr_status status = check(&s, &ones, err);
    if (status != SR_OK)
        return status;
    if (!(fit->p_value < 1 - level))
        return sr_fail(err, SR_ERR_DATA, NULL, 0,
                       "no relation is shown (p = %.2g), so there is no half-way point", fit->p_value);
    /* The chi-square quantile of one degree of freedom is a normal one squared; GSL's own may not converge.
     */
    double z = gsl_cdf_ugaussian_Qinv((1 - level) / 2), floor = fit->log_likelihood - z * z / 2;
    double at = -fit->intercept / fit->slope, middle = (at - s.centre) / s.scale;
    *half = (struct sr_interval){at, s.centre + s.scale * end_of(&s, middle, -1, floor),
                                 s.centre + s.scale * end_of(&s, middle, 1, floor)};
    return SR_OK;
}

enum sr_status sr_logistic_half(const struct sr_logistic *fit, const double *x, const bool *y, size_t n,
                                double level, struct sr_interval *half, struct sr_error *err)
{
    struct sr_plain_locale locale;

    enum sr_status status = sr_plain_begin(&locale, err);
    if (status != SR_OK)
        return status;
    status = half_plainly(fit, x, y, n, level, half, err);
    sr_plain_end(&locale);
    return status;
}
