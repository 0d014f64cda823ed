/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Transmissibility against textbooks and against the equation of motion.
 * Sources: W. T. Thomson, Theory of Vibration with Applications, sec. 3.5 (support
 * motion) and 3.6 (isolation); S. S. Rao, Mechanical Vibrations, sec. 9.10; J. P. Den
 * Hartog, Mechanical Vibrations, sec. 2.12; C. M. Harris and A. G. Piersol, Harris'
 * Shock and Vibration Handbook, 5th ed. 2002, ch. 30. Figures of worked examples are
 * from memory and were recomputed by hand.
 */
#include <complex.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "stillrow/mount.h"
#include "support/near.h"

#define PI 3.14159265358979323846

static double gain(double fn_hz, double damping, double hz)
{
    const struct sr_isolator isolator = {fn_hz, damping};
    return sqrt(sr_isolator_power(&isolator, hz));
}

/* Thomson 3.5: at r = sqrt(2) every damping gives 1; below it amplifies, above it isolates. */
static void test_crossover(void **state)
{
    (void)state;
    const double dampings[] = {0.001, 0.01, 0.05, 0.1, 0.2, 0.5, 0.7071, 1, 2};
    for (size_t i = 0; i < sizeof dampings / sizeof dampings[0]; i++) {
        const struct sr_isolator isolator = {47, dampings[i]};
        double at_hz = sr_isolator_crossover_hz(&isolator);
        assert_near(at_hz, 47 * 1.41421356237309505, 1e-12);
        assert_near(gain(47, dampings[i], at_hz), 1, 1e-13);
        assert_true(gain(47, dampings[i], 0.98 * at_hz) > 1);
        assert_true(gain(47, dampings[i], 1.02 * at_hz) < 1);
    }
    /* Den Hartog 2.12: above it damping does harm, below it helps. */
    assert_true(gain(50, 0.3, 150) > gain(50, 0.1, 150));
    assert_true(gain(50, 0.3, 50) < gain(50, 0.1, 50));
}

/* The curves of the textbooks' figure, worked out from m, c, k by hand calculator: T(r, zeta). */
static void test_curve(void **state)
{
    (void)state;
    const double table[][3] = {
        {0.5, 0.05, 1.3320421}, {0.5, 0.5, 1.2403473}, {1, 0.1, 5.0990195}, {1, 0.5, 1.4142136},
        {1.25, 0.2, 1.4855627}, {2, 0.01, 0.3335702},  {2, 0.1, 0.3558617}, {3, 0.2, 0.1930960},
        {5, 0.05, 0.0465746},   {10, 0.1, 0.0225819},  {20, 1, 0.0997818},  {0.9, 0.05, 4.7757400},
    };
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++)
        assert_near(gain(80, table[i][1], 80 * table[i][0]), table[i][2], 6e-8);
    assert_near(gain(80, 0.1, 0), 1, 1e-15);
}

/* |(k + i c w) / (k - m w^2 + i c w)| in complex arithmetic: the law of motion, not the formula in r and
 * zeta. */
static void test_response_is_that_of_mass_spring_and_damper(void **state)
{
    (void)state;
    const double m = 0.03, k = 3500, fn_hz = sqrt(k / m) / (2 * PI);
    for (double damping = 0.01; damping < 1; damping *= 1.7) {
        const struct sr_isolator isolator = {fn_hz, damping};
        double c = 2 * damping * sqrt(k * m);
        for (double hz = 1; hz < 1000; hz *= 1.23) {
            double w = 2 * PI * hz, re, im;
            double complex h = (k + I * c * w) / (k - m * w * w + I * c * w);
            sr_isolator_response(&isolator, hz, &re, &im);
            assert_near(re, creal(h), 1e-11 * cabs(h));
            assert_near(im, cimag(h), 1e-11 * cabs(h));
            assert_near(sr_isolator_power(&isolator, hz), creal(h * conj(h)), 1e-11 * creal(h * conj(h)));
        }
    }
}

/*
 * The peak against a golden-section search, and against the handbook's form where that
 * still has digits: T = 4 z^2 / sqrt(16 z^4 - 8 z^2 - 2 + 2 sqrt(1 + 8 z^2)).
 */
static void test_peak(void **state)
{
    (void)state;
    const double dampings[] = {0.005, 0.02, 0.05, 0.1, 0.2, 0.5, 1};
    for (size_t i = 0; i < sizeof dampings / sizeof dampings[0]; i++) {
        const struct sr_isolator isolator = {60, dampings[i]};
        double low = 0.5, high = 1.1, golden = 0.61803398874989485, z = dampings[i];
        while (high - low > 1e-9) {
            double a = high - golden * (high - low), b = low + golden * (high - low);
            if (gain(1, z, a) > gain(1, z, b))
                high = b;
            else
                low = a;
        }
        assert_near(sr_isolator_peak_hz(&isolator) / 60, low, 1e-7);
        assert_ratio_near(sr_isolator_peak_gain(&isolator), gain(1, z, low), 1e-12);
        assert_ratio_near(sr_isolator_peak_gain(&isolator), gain(60, z, sr_isolator_peak_hz(&isolator)),
                          1e-12);
        if (z >= 0.05)
            assert_ratio_near(sr_isolator_peak_gain(&isolator),
                              4 * z * z / sqrt(16 * pow(z, 4) - 8 * z * z - 2 + 2 * sqrt(1 + 8 * z * z)),
                              1e-8);
    }
    /* Light damping, where the handbook's form is NAN: series 1/(2z) (1 + 5 z^2 / 2 ...), here to first
     * order. */
    const struct sr_isolator light = {60, 1e-4};
    assert_near(sr_isolator_peak_gain(&light), 5000.000125, 1e-6);
}

/* Thomson 3.6: 100 kg on 700 kN/m with zeta 0.2, unbalance force 350 N at 3000 rpm: TR 0.137, 47.89 N pass.
 */
static void test_thomson_machine(void **state)
{
    (void)state;
    double fn_hz = sqrt(700e3 / 100) / (2 * PI), t = gain(fn_hz, 0.2, 3000.0 / 60);
    assert_near(fn_hz, 13.32, 0.005);
    assert_near(t, 0.137, 0.0005);
    assert_near(350 * t, 47.89, 0.02);
}

/* Rao 9.10: a fan of 40 kg at 1000 rpm, four springs, 10 % let through, no damping: about 9970 N/m each. */
static void test_rao_fan(void **state)
{
    (void)state;
    double wn = sqrt(4 * 9969.3 / 40);
    assert_near(gain(wn / (2 * PI), 1e-9, 1000.0 / 60), 0.1, 2e-6);
}

/* Rao 9.10: a turntable of 1 kg isolated by 80 % at 3 Hz, no damping: 59.2179 N/m. */
static void test_rao_turntable(void **state)
{
    (void)state;
    assert_near(gain(sqrt(59.2179 / 1) / (2 * PI), 1e-9, 3), 0.2, 2e-5);
}

/* Handbook ch. 30: far above, a viscous mount falls by 20 dB a decade, and by 40 while damping does not show.
 */
static void test_slopes(void **state)
{
    (void)state;
    assert_near(20 * log10(gain(10, 0.3, 1000) / gain(10, 0.3, 10000)), 20, 0.1);
    assert_near(20 * log10(gain(10, 1e-6, 100) / gain(10, 1e-6, 1000)), 40, 0.1);
}

/* The equation of motion, stepped by Runge-Kutta 4 until it is steady: base turns by sin(w t). */
static void test_equation_of_motion(void **state)
{
    (void)state;
    const double fn_hz = 50, damping = 0.1, hz = 100, w = 2 * PI * hz, wn = 2 * PI * fn_hz, h = 1e-5;
    double y = 0, v = 0, most = 0;
    for (int i = 0; i < 100000; i++) {
        double k[4][2], t = i * h;
        for (int s = 0; s < 4; s++) {
            double part = s == 0 ? 0 : s == 3 ? h : h / 2;
            double ys = y + (s > 0 ? part * k[s - 1][0] : 0), vs = v + (s > 0 ? part * k[s - 1][1] : 0);
            double base = sin(w * (t + part)), turn = w * cos(w * (t + part));
            k[s][0] = vs;
            k[s][1] = wn * wn * (base - ys) + 2 * damping * wn * (turn - vs);
        }
        y += h / 6 * (k[0][0] + 2 * k[1][0] + 2 * k[2][0] + k[3][0]);
        v += h / 6 * (k[0][1] + 2 * k[1][1] + 2 * k[2][1] + k[3][1]);
        if (t > 0.9)
            most = fmax(most, fabs(y));
    }
    assert_ratio_near(gain(fn_hz, damping, hz), most, 1e-5);
}

/* The mean over bins: what white noise through the mount has in each, by a thousand points a bin. */
static void test_bins(void **state)
{
    (void)state;
    double power[101], undone[101];
    const struct sr_isolator isolator = {61, 0.02};
    sr_isolator_bins(&isolator, 2, 101, power);
    for (size_t k = 0; k < 101; k++) {
        double sum = 0;
        for (int i = 0; i < 1000; i++)
            sum += pow(gain(61, 0.02, 2 * ((double)k + (i + 0.5) / 1000 - 0.5)), 2);
        assert_ratio_near(power[k], sum / 1000, 0.02);
        undone[k] = 1;
    }
    sr_isolator_undo(&isolator, 0.1, 2, 101, undone);
    for (size_t k = 0; k < 101; k++)
        assert_ratio_near(undone[k], 1 / fmax(power[k], 0.1), 1e-12);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_crossover),
        cmocka_unit_test(test_curve),
        cmocka_unit_test(test_response_is_that_of_mass_spring_and_damper),
        cmocka_unit_test(test_peak),
        cmocka_unit_test(test_thomson_machine),
        cmocka_unit_test(test_rao_fan),
        cmocka_unit_test(test_rao_turntable),
        cmocka_unit_test(test_slopes),
        cmocka_unit_test(test_equation_of_motion),
        cmocka_unit_test(test_bins),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
