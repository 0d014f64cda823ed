/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Welch's t and the Benjamini-Hochberg procedure against published worked examples. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "stillrow/compare.h"
#include "support/near.h"

/*
 * Y. Benjamini, Y. Hochberg, "Controlling the false discovery rate", J. R. Statist. Soc. B 57 (1995) 289-300:
 * the fifteen p-values of the thrombolysis trial. At 0.05 their procedure rejects the first four.
 */
static void test_benjamini_hochberg_thrombolysis(void **state)
{
    (void)state;
    const double p[15] = {0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344,
                          0.0459, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.0000};
    /* min over j >= i of p(j) 15 / j, by hand from the definition. */
    const double expected[15] = {0.0015, 0.003, 0.0095,   0.035625, 0.0603,   0.063857, 0.063857, 0.0645,
                                 0.0765, 0.486, 0.581182, 0.714875, 0.753231, 0.813214, 1};
    double adjusted[15];
    size_t rejected = 0;
    assert_int_equal(sr_adjust_p(p, 15, adjusted, NULL), SR_OK);
    for (size_t i = 0; i < 15; i++) {
        assert_near(adjusted[i], expected[i], 5e-7);
        rejected += adjusted[i] < 0.05;
    }
    assert_int_equal(rejected, 4);

    /* Any order in, the same values out. */
    const double shuffled[3] = {0.04, 0.001, 0.03};
    assert_int_equal(sr_adjust_p(shuffled, 3, adjusted, NULL), SR_OK);
    assert_near(adjusted[0], 0.04, 1e-12);
    assert_near(adjusted[1], 0.003, 1e-12);
    assert_near(adjusted[2], 0.04, 1e-12);

    const double bad[1] = {1.5};
    assert_int_equal(sr_adjust_p(bad, 1, adjusted, NULL), SR_ERR_ARGUMENT);
    assert_int_equal(sr_adjust_p(NULL, 0, adjusted, NULL), SR_OK);
}

/*
 * Student, "The probable error of a mean", Biometrika 6 (1908) 1-25: hours of sleep gained under two drugs.
 * As two independent samples, Welch's t = -1.8608 on 17.776 degrees of freedom, p = 0.07939, 95 % interval
 * -3.3654832 to 0.2054832 (the worked example in the documentation of R's t.test; figures from memory).
 */
static void test_welch_t_student_sleep(void **state)
{
    (void)state;
    const double first[10] = {0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0};
    const double second[10] = {1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4};
    struct sr_difference d;
    assert_int_equal(sr_welch_t(second, 10, first, 10, &d, NULL), SR_OK);
    assert_near(d.value / d.error, -1.8608, 5e-5);
    assert_near(d.dof, 17.776, 5e-4);
    assert_near(d.p_value, 0.07939, 5e-6);
    assert_near(d.low, -3.3654832, 5e-8);
    assert_near(d.high, 0.2054832, 5e-8);
}

static void test_welch_t_edges(void **state)
{
    (void)state;
    const double same[3] = {2, 2, 2}, other[3] = {3, 3, 3}, bad[2] = {1, NAN};
    struct sr_difference d = {.value = 7};
    assert_int_equal(sr_welch_t(same, 1, other, 3, &d, NULL), SR_ERR_ARGUMENT);
    assert_int_equal(sr_welch_t(same, 3, bad, 2, &d, NULL), SR_ERR_ARGUMENT);
    assert_near(d.value, 7, 0);

    assert_int_equal(sr_welch_t(same, 3, other, 3, &d, NULL), SR_OK);
    assert_near(d.p_value, 0, 0);
    assert_near(d.value, 1, 0);
    assert_near(d.low, 1, 0);
    assert_near(d.high, 1, 0);
    assert_near(d.smallest, 0, 0);
    assert_int_equal(sr_welch_t(same, 3, same, 3, &d, NULL), SR_OK);
    assert_near(d.p_value, 1, 0);
    assert_near(d.low, 0, 0);
    assert_near(d.high, 0, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_benjamini_hochberg_thrombolysis),
        cmocka_unit_test(test_welch_t_student_sleep),
        cmocka_unit_test(test_welch_t_edges),
    };
    return cmocka_run_group_tests_name("published: statistics", tests, NULL, NULL);
}
