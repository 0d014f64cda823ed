/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The shutter's shares G1 and G2 against things that are not their closed forms:
 * least squares on quadrature nodes, exact anchors, sums of squares of spherical
 * Bessel functions (NIST DLMF 10.60.12), and 30-digit quadrature.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <gsl/gsl_fit.h>
#include <gsl/gsl_integration.h>
#include <gsl/gsl_math.h>
#include <gsl/gsl_sf_bessel.h>

#include "stillrow/camera.h"
#include "support/near.h"

#define NODES  256 /* GSL holds these to 27 digits; for other counts it makes them to about 1e-10 */
#define PHASES 8
#define ORDERS 120

struct nodes {
    double at[NODES], weight[NODES];
};

static void make_nodes(struct nodes *nodes)
{
    gsl_integration_glfixed_table *table = gsl_integration_glfixed_table_alloc(NODES);
    assert_non_null(table);
    for (size_t i = 0; i < NODES; i++)
        gsl_integration_glfixed_point(-1, 1, i, &nodes->at[i], &nodes->weight[i], table);
    gsl_integration_glfixed_table_free(table);
}

/* sin(x xi + phase) less its own least-squares line: mean square, plain and weighted 3 xi^2, over all phases.
 */
static void brute_force(const struct nodes *nodes, double waves, double *g1, double *g2)
{
    *g1 = 0;
    *g2 = 0;
    for (int k = 0; k < PHASES; k++) {
        double angle[NODES], c0, c1, cov00, cov01, cov11, chisq;
        for (size_t i = 0; i < NODES; i++)
            angle[i] = sin(M_PI * waves * nodes->at[i] + k * M_PI / PHASES);
        gsl_fit_wlinear(nodes->at, 1, nodes->weight, 1, angle, 1, NODES, &c0, &c1, &cov00, &cov01, &cov11,
                        &chisq);
        for (size_t i = 0; i < NODES; i++) {
            const double rest = angle[i] - c0 - c1 * nodes->at[i];
            const double power = nodes->weight[i] / 2 * rest * rest;
            /* A sinusoid's own mean square is 1/2. */
            *g1 += 2 * power / PHASES;
            *g2 += 2 * power * 3 * nodes->at[i] * nodes->at[i] / PHASES;
        }
    }
}

static void matches_least_squares_on_quadrature_nodes(void **state)
{
    struct nodes nodes;
    (void)state;
    make_nodes(&nodes);
    for (int i = 0; i < 500; i++) {
        const double waves = 0.01 * pow(2000, i / 499.0); /* 0.01 to 20, log spaced */
        double g1, g2;
        brute_force(&nodes, waves, &g1, &g2);
        assert_near(sr_shutter_g1(waves), g1, 1e-12);
        assert_near(sr_shutter_g2(waves), g2, 1e-12);
    }
}

/* Quadrature of the definition at 30 digits (mpmath, 40 digits carried), rounded to 14 digits. */
static void matches_thirty_digit_quadrature(void **state)
{
    static const double table[][3] = {
        {0.01, 2.1644023184746e-8, 3.401131564388e-8}, {0.02, 3.4618720516107e-7, 5.4396234835521e-7},
        {0.05, 1.34909423076e-5, 2.1188816434521e-5},  {0.1, 0.00021403636544017, 0.00033562906077481},
        {0.25, 0.0078795488207085, 0.012216673708982}, {0.5, 0.1019481172058, 0.15141322223103},
        {0.75, 0.36173429742821, 0.49535877754064},    {1, 0.69603644907299, 0.83207916961245},
        {1.5, 0.94888481778581, 0.71048483638923},     {2, 0.92400911226825, 0.75013365174576},
        {3, 0.96622627211922, 0.87183831924031},       {4, 0.98100227806706, 0.92454052914535},
        {6, 0.99155656802981, 0.96539308424641},       {8, 0.99525056951677, 0.9803230770494},
        {12, 0.99788914200745, 0.99118786508887},      {16, 0.99881264237919, 0.99503001581004},
        {20, 0.99924009112268, 0.99681531225329},
    };
    (void)state;
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        assert_ratio_near(sr_shutter_g1(table[i][0]), table[i][1], 3e-13);
        assert_ratio_near(sr_shutter_g2(table[i][0]), table[i][2], 3e-13);
    }
}

/* At whole waves j0 = 0 and j1 = -cos(x)/x, so both shares are polynomials in 1/x^2. */
static void exact_anchors(void **state)
{
    (void)state;
    for (int n = 1; n <= 200; n++) {
        const double x2 = n * M_PI * n * M_PI;
        assert_near(sr_shutter_g1(n), 1 - 3 / x2, 1e-14);
        assert_near(sr_shutter_g2(n), 1 - 63 / (5 * x2) + 108 / (x2 * x2), 1e-14);
    }
    assert_near(sr_shutter_g1(0.5), 1 - 4 / pow(M_PI, 2) - 48 / pow(M_PI, 4), 1e-14);
}

/*
 * The same shares as sums of squares, which cancel nowhere: the terms the trend does
 * not take. With DLMF 10.60.12 the l = 0 and l = 1 terms are what the closed form
 * subtracts from 1.
 */
static void sums(double waves, double *one, double *g1, double *g2)
{
    double j[ORDERS + 1];
    /* Beyond x + 30 the terms are below 1e-40 of the sum, and would underflow at small x. */
    const int orders = (int)(M_PI * waves) + 30;
    assert_true(orders <= ORDERS);
    assert_int_equal(gsl_sf_bessel_jl_array(orders, M_PI * waves, j), 0);
    *one = 0;
    *g1 = 0;
    *g2 = 4 * j[2] * j[2] / 3 + 9 * j[3] * j[3] / 5;
    for (int l = orders - 1; l >= 0; l--) {
        const double term = (2 * l + 1) * j[l] * j[l];
        *one += term;
        *g1 += l >= 2 ? term : 0;
        if (l >= 3) {
            const double mixed = l * j[l - 1] - (l + 1) * j[l + 1];
            *g2 += mixed * mixed / (2 * l + 1);
        }
    }
    *g2 *= 3;
}

static void matches_sums_of_squares(void **state)
{
    (void)state;
    for (int i = 0; i <= 400; i++) {
        const double waves = 0.003 * pow(20 / 0.003, i / 400.0);
        double one, g1, g2;
        sums(waves, &one, &g1, &g2);
        assert_near(one, 1, 1e-13); /* DLMF 10.60.12: the sums themselves are right */
        assert_ratio_near(sr_shutter_g1(waves), g1, 1e-12);
        assert_ratio_near(sr_shutter_g2(waves), g2, 1e-12);
    }
}

static void no_step_where_the_series_ends(void **state)
{
    const double edge = 0.6 / M_PI;
    (void)state;
    for (int i = 1; i <= 12; i++) {
        const double step = pow(10, -i);
        double one, g1, g2;
        sums(edge * (1 - step), &one, &g1, &g2);
        assert_ratio_near(sr_shutter_g1(edge * (1 - step)), g1, 3e-13);
        assert_ratio_near(sr_shutter_g2(edge * (1 - step)), g2, 3e-13);
        sums(edge * (1 + step), &one, &g1, &g2);
        assert_ratio_near(sr_shutter_g1(edge * (1 + step)), g1, 3e-13);
        assert_ratio_near(sr_shutter_g2(edge * (1 + step)), g2, 3e-13);
    }
}

/* Leading terms: residual of a parabola, x^4/45 and 11 x^4/315, down to the smallest frequencies. */
static void small_frequencies(void **state)
{
    (void)state;
    for (int i = 3; i <= 60; i++) {
        const double waves = pow(10, -i);
        const double x4 = pow(M_PI * waves, 4);
        assert_ratio_near(sr_shutter_g1(waves), x4 / 45, 1e-5);
        assert_ratio_near(sr_shutter_g2(waves), 11 * x4 / 315, 1e-5);
    }
}

static void ends_and_bounds(void **state)
{
    (void)state;
    assert_true(sr_shutter_g1(0) == 0 && sr_shutter_g2(0) == 0);
    assert_true(sr_shutter_g1(1e300) == 1 && sr_shutter_g2(1e300) == 1);
    assert_true(sr_shutter_g1(INFINITY) == 1 && sr_shutter_g2(INFINITY) == 1);
    for (int i = 0; i < 200000; i++) {
        const double waves = i * 1e-4;
        assert_true(sr_shutter_g1(waves) >= 0 && sr_shutter_g1(waves) <= 1);
        assert_true(sr_shutter_g2(waves) >= 0 && sr_shutter_g2(waves) <= 1);
    }
    /* 1 - G1 tends to (2 + cos 2x) / x^2; nothing jumps where the closed form hands over to 1. */
    for (int i = 3; i <= 12; i++) {
        const double waves = pow(10, i) + 0.3;
        assert_near(sr_shutter_g1(waves), 1, 3.1 / pow(M_PI * waves, 2) + 1e-15);
        assert_near(sr_shutter_g2(waves), 1, 21 / pow(M_PI * waves, 2) + 1e-15);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(matches_least_squares_on_quadrature_nodes),
        cmocka_unit_test(matches_thirty_digit_quadrature),
        cmocka_unit_test(exact_anchors),
        cmocka_unit_test(matches_sums_of_squares),
        cmocka_unit_test(no_step_where_the_series_ends),
        cmocka_unit_test(small_frequencies),
        cmocka_unit_test(ends_and_bounds),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
