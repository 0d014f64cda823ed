/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * GSL ends the program where one of its functions fails, unless that handler is changed for everybody, which
 * a library may not do. So nothing that the library asks of GSL may fail: here the handler is changed, for
 * this test, to one that counts, and the library is asked for extremes.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <gsl/gsl_errno.h>

#include "ledger/statistics.h"
#include "spectrum/quantile.h"
#include "stillrow/camera.h"
#include "stillrow/compare.h"
#include "stillrow/spectrum.h"
#include "stillrow/threshold.h"
#include "stillrow/wobble.h"
#include "support/near.h"

static size_t failures;
static const char *last_reason = "";

static void count_failure(const char *reason, const char *file, int line, int code)
{
    (void)file;
    (void)line;
    (void)code;
    last_reason = reason;
    failures++;
}

#define NONE_FAILED(...)                                                                                     \
    do {                                                                                                     \
        if (failures > 0) {                                                                                  \
            print_error("GSL: %s; at ", last_reason);                                                        \
            print_error(__VA_ARGS__);                                                                        \
            fail();                                                                                          \
        }                                                                                                    \
    } while (0)

static int watch(void **state)
{
    (void)state;
    failures = 0;
    gsl_set_error_handler(count_failure);
    return 0;
}

/* The handler that is counted on here works at all. */
static void test_handler(void **state)
{
    (void)state;
    gsl_error("asked for", __FILE__, __LINE__, GSL_EFAILED);
    assert_int_equal(failures, 1);
}

/* Oracle: the binomial tail itself, summed term by term in logarithms. P(X >= k), or P(X <= k). */
static double binomial_tail(size_t k, size_t n, double p, bool upper)
{
    double sum = 0;

    for (size_t i = upper ? k : 0; i <= (upper ? n : k); i++)
        sum += exp(lgamma((double)n + 1) - lgamma((double)i + 1) - lgamma((double)(n - i) + 1) +
                   (double)i * log(p) + (double)(n - i) * log1p(-p));
    return sum;
}

/* Clopper and Pearson 1934 define their limits by these tails. */
static void check_share(size_t k, size_t n)
{
    struct sr_interval share = share_interval(k, n, 0.95);

    NONE_FAILED("%zu of %zu\n", k, n);
    assert_true(share.low <= share.value && share.value <= share.high);
    assert_near(k == 0 ? 0.025 : binomial_tail(k, n, share.low, true), 0.025, 1e-9);
    assert_near(k == n ? 0.025 : binomial_tail(k, n, share.high, false), 0.025, 1e-9);
}

static void test_shares(void **state)
{
    (void)state;
    /* GSL 2.7's own inverse fails at 2 of 260, 258 of 260, 7 of 291. */
    for (size_t n = 1; n <= 300; n += n < 40 ? 1 : 20)
        for (size_t k = 0; k <= n; k++)
            check_share(k, n);
    check_share(7, 291);
    check_share(284, 291);
    check_share(3, 100000);
}

static void test_differences(void **state)
{
    (void)state;
    for (double dof = 1e-9; dof < 1e12; dof *= 1.7)
        for (double value = 1e-200; value < 1e200; value *= 1e40) {
            struct sr_difference d = {.value = value, .error = 1, .dof = dof};
            sr_difference_finish(&d);
            NONE_FAILED("%g degrees of freedom, a difference of %g\n", dof, value);
            assert_true(d.low <= d.value && d.value <= d.high && d.p_value >= 0 && d.p_value <= 1);
            assert_true(d.smallest > 0);
        }
}

/* Samples whose variances over- or underflow when they are squared. */
static void test_welch_t(void **state)
{
    static const double scales[] = {1e-300, 1e-160, 1e-80, 1, 1e80, 1e150};
    struct sr_difference d;

    (void)state;
    for (size_t i = 0; i < 6; i++)
        for (size_t j = 0; j < 6; j++) {
            const double a[] = {1 * scales[i], 2 * scales[i], 4 * scales[i]};
            const double b[] = {3 * scales[j], 5 * scales[j]};
            if (sr_welch_t(a, 3, b, 2, &d, NULL) == SR_OK)
                assert_true(d.p_value >= 0 && d.p_value <= 1 && d.dof >= 0.99 && d.dof < 3.01);
            NONE_FAILED("scales %g and %g\n", scales[i], scales[j]);
        }
}

static void test_moments(void **state)
{
    struct moments a = {0}, b = {0};

    (void)state;
    for (size_t n = 1; n < 20000; n = n * 3 / 2 + 1) {
        while (a.count < n)
            moments_add(&a, a.count % 2 == 0 ? 1.0 : -1.0);
        while (b.count < n)
            moments_add(&b, b.count % 3 == 0 ? 1e-9 : 0.0);
        mean_interval(&a, 0.95);
        mean_interval(&b, 0.999);
        if (n >= 2)
            assert_true(welch_p(&a, &b) >= 0);
        NONE_FAILED("%zu values\n", n);
    }
}

static void test_quantiles(void **state)
{
    static const double tails[] = {1e-12, 1e-6, 0.001, 0.025, 0.5, 0.975, 0.999};

    (void)state;
    for (size_t t = 0; t < sizeof tails / sizeof *tails; t++)
        for (double dof = 0.5; dof < 1e9; dof *= 4.3) {
            assert_true(sr_chi2_ratio_lower(tails[t], dof) >= 0);
            assert_true(sr_chi2_ratio_upper(tails[t], dof) >= 0);
            for (double dof2 = 0.7; dof2 < 1e9; dof2 *= 31)
                assert_true(sr_f_ratio_upper(tails[t], dof, dof2) >= 0);
            NONE_FAILED("tail %g, %g degrees of freedom\n", tails[t], dof);
        }
}

/* The spherical Bessel functions underflow near 0 and lose their digits far out. */
static void test_shutter(void **state)
{
    (void)state;
    for (double waves = 5e-324; waves < 1e308; waves *= 1.9) {
        const double g1 = sr_shutter_g1(waves), g2 = sr_shutter_g2(waves);
        NONE_FAILED("%g waves\n", waves);
        assert_true(g1 >= 0 && g1 <= 1 && g2 >= 0 && g2 <= 1);
    }
    assert_true(sr_shutter_g1(INFINITY) <= 1 && sr_shutter_g2(INFINITY) <= 1);
    NONE_FAILED("infinite waves\n");
}

static void test_bootstrap(void **state)
{
    static double x[5000];
    struct sr_interval interval;

    (void)state;
    for (size_t n = 1; n <= 5000; n = n * 2 + 1) {
        for (size_t i = 0; i < n; i++)
            x[i] = (double)(i * 7919 % 101);
        assert_int_equal(sr_bootstrap_quantile(x, n, 0.95, 0.95, 20, &interval, NULL), SR_OK);
        assert_int_equal(sr_bootstrap_quantile(x, n, 0, 1e-9, 20, &interval, NULL), SR_OK);
        assert_int_equal(sr_bootstrap_quantile(x, n, 1, 1 - 1e-9, 20, &interval, NULL), SR_OK);
        NONE_FAILED("a bootstrap over %zu values\n", n);
    }
}

/* Ratings that a fit separates hardly, well, and almost without end. */
static void test_logistic(void **state)
{
    static const double levels[] = {1e-300, 0.5, 0.95, 1 - 1e-12};
    struct sr_logistic fit;
    struct sr_interval half;
    double x[200];
    bool y[200];

    (void)state;
    for (size_t far = 0; far < 60; far += 7) {
        for (size_t i = 0; i < 200; i++) {
            x[i] = (double)i * 1e-3;
            y[i] = i >= 100 + far ? true : i >= 100 - far && i % 3 == 0;
        }
        if (sr_logistic_fit(&fit, x, y, 200, NULL) != SR_OK)
            continue;
        for (size_t l = 0; l < sizeof levels / sizeof *levels; l++)
            (void)sr_logistic_half(&fit, x, y, 200, levels[l], &half, NULL);
        NONE_FAILED("ratings that overlap by %zu\n", far);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(test_handler, watch),     cmocka_unit_test_setup(test_shares, watch),
        cmocka_unit_test_setup(test_differences, watch), cmocka_unit_test_setup(test_welch_t, watch),
        cmocka_unit_test_setup(test_moments, watch),     cmocka_unit_test_setup(test_quantiles, watch),
        cmocka_unit_test_setup(test_shutter, watch),     cmocka_unit_test_setup(test_bootstrap, watch),
        cmocka_unit_test_setup(test_logistic, watch),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
