/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Logistic regression against two printed fits, and against SciPy (BSD-licensed, https://scipy.org), which is
 * run here on the same samples with another method: a trust region for the fit, Brent's minimum and Brent's
 * root for the interval of the half-way point. Where no python3 has SciPy that part is skipped, and says so.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <string.h>

#include "sim/flight.h"
#include "stillrow/threshold.h"
#include "support/near.h"
#include "support/python.h"

/* Hours of study and whether the examination was passed: the worked example of 20 students that many
 * introductions print, with intercept -4.0777 (error 1.7610) and slope 1.5046 (0.6287). From memory. */
static const double hours[] = {0.50, 0.75, 1.00, 1.25, 1.50, 1.75, 1.75, 2.00, 2.25, 2.50,
                               2.75, 3.00, 3.25, 3.50, 4.00, 4.25, 4.50, 4.75, 5.00, 5.50};
static const bool passed[] = {0, 0, 0, 0, 0, 0, 1, 0, 1, 0, 1, 0, 1, 0, 1, 1, 1, 1, 1, 1};

/* Temperature [F] at launch and whether an O-ring showed distress, 23 flights before January 1986: Dalal,
 * Fowlkes and Hoadley 1989, Journal of the American Statistical Association 84, table 1. Its fit, as
 * textbooks print it: intercept 15.0429 (7.3786), slope -0.2322 (0.1082). Data and fit from memory. */
static const double fahrenheit[] = {66, 70, 69, 68, 67, 72, 73, 70, 57, 63, 70, 78,
                                    67, 53, 67, 75, 70, 81, 76, 79, 75, 76, 58};
static const bool distress[] = {0, 1, 0, 0, 0, 0, 0, 0, 1, 1, 1, 0, 0, 1, 0, 0, 0, 0, 0, 0, 1, 0, 1};

enum { CASES = 14, SAMPLE_MAX = 400 };

struct sample {
    double x[SAMPLE_MAX];
    bool y[SAMPLE_MAX];
    size_t n;
};

static struct sample sample_of(const double *x, const bool *y, size_t n)
{
    struct sample s = {.n = n};
    memcpy(s.x, x, n * sizeof *x);
    memcpy(s.y, y, n * sizeof *y);
    return s;
}

static struct sr_logistic fit(const struct sample *s)
{
    struct sr_logistic made;
    struct sr_error err = {0};
    if (sr_logistic_fit(&made, s->x, s->y, s->n, &err) != SR_OK)
        fail_msg("%s", err.text);
    return made;
}

static void printed_fits(void **state)
{
    (void)state;
    struct sample s = sample_of(hours, passed, 20);
    struct sr_logistic l = fit(&s);
    assert_near(l.intercept, -4.0777, 5e-5);
    assert_near(l.slope, 1.5046, 5e-5);
    assert_near(l.intercept_error, 1.7610, 5e-5);
    assert_near(l.slope_error, 0.6287, 5e-5);
    assert_int_equal(l.n, 20);
    assert_int_equal(l.ones, 10);

    s = sample_of(fahrenheit, distress, 23);
    l = fit(&s);
    assert_near(l.intercept, 15.0429, 5e-5);
    assert_near(l.slope, -0.2322, 5e-5);
    assert_near(l.intercept_error, 7.3786, 5e-5);
    assert_near(l.slope_error, 0.1082, 5e-5);
}

/* Two values of x: the fit goes through the two shares, so it and its errors have a closed form (Woolf 1955).
 */
static void two_groups(void **state)
{
    (void)state;
    struct sample s = {.n = 0};
    const double cells[4] = {17, 5, 8, 21}; /* zeros and ones at 1, zeros and ones at 3 */
    for (int cell = 0; cell < 4; cell++) {
        for (int i = 0; i < (int)cells[cell]; i++) {
            s.x[s.n] = cell < 2 ? 1 : 3;
            s.y[s.n++] = cell % 2 == 1;
        }
    }
    struct sr_logistic l = fit(&s);
    double low = log(5.0 / 17), high = log(21.0 / 8);
    assert_near(l.slope, (high - low) / 2, 1e-9);
    assert_near(l.intercept, low - (high - low) / 2, 1e-9);
    assert_near(l.slope_error, sqrt(1.0 / 17 + 1.0 / 5 + 1.0 / 8 + 1.0 / 21) / 2, 1e-9);
    double full = 17 * log(17.0 / 22) + 5 * log(5.0 / 22) + 8 * log(8.0 / 29) + 21 * log(21.0 / 29);
    double null = 25 * log(25.0 / 51) + 26 * log(26.0 / 51);
    assert_near(l.log_likelihood, full, 1e-9);
    assert_near(l.null_log_likelihood, null, 1e-9);
    assert_near(l.p_value, erfc(sqrt(full - null)), 1e-9); /* chi-square of 1 degree of freedom */
}

/* Samples of all sorts: few and many, steep and flat, far from 0, falling, with ties. */
static struct sample make_case(int which)
{
    static const struct {
        size_t n;
        double centre, scale, slope;
    } kinds[CASES - 2] = {{10, 0, 1, 1},    {12, 0, 1, 2},      {30, -0.3, 0.8, 3}, {30, -0.3, 0.8, 8},
                          {60, 5, 0.1, 20}, {60, 1e4, 1, 1},    {400, 0, 1, 1},     {400, 0, 1, 30},
                          {100, 0, 1, -2},  {25, 0, 1e-5, 3e5}, {300, 2, 1, 0.6},   {40, 0, 1, 1.5}};
    if (which == 0)
        return sample_of(hours, passed, 20);
    if (which == 1)
        return sample_of(fahrenheit, distress, 23);
    struct sample s = {.n = kinds[which - 2].n};
    struct sr_logistic l;
    uint64_t seed = 1000 + (uint64_t)which;
    do { /* a sample that can be fitted, and shows something */
        for (size_t i = 0; i < s.n; i++) {
            double z = sim_normal(&seed);
            if (which % 3 == 0)
                z = floor(4 * z + 0.5) / 4;
            s.x[i] = kinds[which - 2].centre + kinds[which - 2].scale * z;
            double t = kinds[which - 2].slope * (s.x[i] - kinds[which - 2].centre);
            s.y[i] = sim_uniform(&seed) < 1 / (1 + exp(-t));
        }
    } while (sr_logistic_fit(&l, s.x, s.y, s.n, NULL) != SR_OK || l.p_value > 0.04);
    return s;
}

/* SciPy's search ends some 1e-8 from the top, so Newton's steps take it there.
 * For each line "n x y x y ...": intercept, slope, their errors, p, half-way point and its interval. */
static const char script[] =
    "import sys, numpy\n"
    "from scipy import optimize, stats\n"
    "for line in open(sys.argv[1]):\n"
    "    v = numpy.array([float(w) for w in line.split()[1:]])\n"
    "    x, y = v[0::2], v[1::2]\n"
    "    m, s = x.mean(), x.std()\n"
    "    z = numpy.stack([numpy.ones(len(x)), (x - m) / s])\n"
    "    nll = lambda b: numpy.sum(numpy.logaddexp(0, numpy.where(y > 0, -1, 1) * (b @ z)))\n"
    "    p = lambda b: 1 / (1 + numpy.exp(-(b @ z)))\n"
    "    jac = lambda b: z @ (p(b) - y)\n"
    "    hess = lambda b: (z * (p(b) * (1 - p(b)))) @ z.T\n"
    "    r = optimize.minimize(nll, [0, 0], jac=jac, hess=hess, method='trust-exact', options={'gtol': "
    "1e-11})\n"
    "    for step in range(3):\n"
    "        r.x = r.x - numpy.linalg.solve(hess(r.x), jac(r.x))\n"
    "    r.fun = nll(r.x)\n"
    "    turn = numpy.array([[1, -m / s], [0, 1 / s]])\n"
    "    b = turn @ r.x\n"
    "    cov = turn @ numpy.linalg.inv(hess(r.x)) @ turn.T\n"
    "    k = y.mean()\n"
    "    null = -len(y) * (k * numpy.log(k) + (1 - k) * numpy.log(1 - k))\n"
    "    def fall(t):\n"
    "        f = lambda g: nll(numpy.array([-g * t, g]))\n"
    "        best = min(optimize.minimize_scalar(f, bracket=(0, q), options={'xtol': 1e-12}).fun\n"
    "                   for q in (r.x[1], r.x[1] / (1 + abs(t)), -r.x[1] / (1 + abs(t))))\n"
    "        return 2 * (best - r.fun) - stats.chi2.ppf(0.95, 1)\n"
    "    half = -r.x[0] / r.x[1]\n"
    "    ends = []\n"
    "    for side in (-1, 1):\n"
    "        far = 0.1\n"
    "        while fall(half + side * far) < 0:\n"
    "            far *= 1.5\n"
    "        ends.append(optimize.brentq(fall, half, half + side * far, xtol=1e-12))\n"
    "    out = [b[0], b[1], cov[0, 0] ** 0.5, cov[1, 1] ** 0.5, stats.chi2.sf(2 * (null - r.fun), 1),\n"
    "           m + s * half, m + s * ends[0], m + s * ends[1]]\n"
    "    print(*['%.17g' % o for o in out])\n";

static int remove_files(void **state)
{
    static const char *const names[] = {"cases", "logistic.py", NULL};
    (void)state;
    return remove_python_folder(names);
}

static void write_cases(struct sample *samples)
{
    char path[200];
    python_path("cases", path, sizeof path);
    FILE *file = fopen(path, "w");
    assert_non_null(file);
    for (int c = 0; c < CASES; c++) {
        samples[c] = make_case(c);
        fprintf(file, "%zu", samples[c].n);
        for (size_t i = 0; i < samples[c].n; i++)
            fprintf(file, " %.17g %d", samples[c].x[i], samples[c].y[i]);
        fputc('\n', file);
    }
    assert_int_equal(fclose(file), 0);
}

static void same_as_scipy(void **state)
{
    static struct sample samples[CASES];
    const char *python = find_python("numpy, scipy.optimize, scipy.stats");
    char command[500];
    double worst[2] = {0, 0}; /* of the fit, of the interval */

    (void)state;
    if (python == NULL) {
        print_message(
            "SKIPPED: no python3 here imports scipy; NOT CHECKED: logistic fits and the interval of "
            "their half-way point against scipy.optimize, %d cases\n",
            CASES);
        skip();
    }
    write_cases(samples);
    python_write("logistic.py", script, sizeof script - 1);
    snprintf(command, sizeof command, "%s %s/logistic.py %s/cases", python, python_folder, python_folder);
    FILE *scipy = popen(command, "r");
    assert_non_null(scipy);
    for (int c = 0; c < CASES; c++) {
        struct sr_logistic l = fit(&samples[c]);
        struct sr_interval half = {0, 0, 0};
        double theirs[8];
        assert_int_equal(sr_logistic_half(&l, samples[c].x, samples[c].y, samples[c].n, 0.95, &half, NULL),
                         SR_OK);
        const double ours[8] = {l.intercept, l.slope,    l.intercept_error, l.slope_error,
                                l.p_value,   half.value, half.low,          half.high};
        for (int k = 0; k < 8; k++) {
            assert_int_equal(fscanf(scipy, "%lf", &theirs[k]), 1);
            /* Places are compared on the scale of the interval, everything else on its own. */
            double scale = k >= 5 ? fabs(theirs[5]) * 1e-9 + (half.high - half.low) : fabs(theirs[k]);
            double off = fabs(ours[k] - theirs[k]) / scale;
            worst[k >= 5] = fmax(worst[k >= 5], off);
            if (!(off <= 1e-10)) /* what docs/method.md says */
                fail_msg("case %d, value %d: %.12g, scipy %.12g", c, k, ours[k], theirs[k]);
        }
    }
    assert_int_equal(pclose(scipy), 0);
    print_message("  %s: %d cases, largest relative difference %.1g in fits, %.1g in half-way points\n",
                  python, CASES, worst[0], worst[1]);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(printed_fits),
        cmocka_unit_test(two_groups),
        cmocka_unit_test_setup_teardown(same_as_scipy, make_python_folder, remove_files),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
