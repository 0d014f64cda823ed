/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * cmocka compares floats only, which hides errors below 1e-7. These compare doubles.
 * Include after cmocka.h.
 */
#ifndef SUPPORT_NEAR_H
#define SUPPORT_NEAR_H

#include <math.h>

/* |value - expected| <= tolerance; a NAN fails. */
#define assert_near(value, expected, tolerance)                                                              \
    do {                                                                                                     \
        double near_value = (value), near_expected = (expected), near_tolerance = (tolerance);               \
        if (!(fabs(near_value - near_expected) <= near_tolerance)) {                                         \
            print_error("%s: got %.17g, expected %.17g within %g\n", #value, near_value, near_expected,      \
                        near_tolerance);                                                                     \
            fail();                                                                                          \
        }                                                                                                    \
    } while (0)

/* |value / expected - 1| <= tolerance; expected is not 0. */
#define assert_ratio_near(value, expected, tolerance) assert_near((value) / (expected), 1.0, (tolerance))

#endif
