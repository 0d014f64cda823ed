/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a rolling shutter leaves of an orientation sinusoid once the best
 * constant-rate motion over the readout is taken off.
 *
 * Over the readout, xi = -1..1, a sinusoid is a sum of Legendre polynomials whose
 * coefficients are spherical Bessel functions of x = pi f T (plane-wave expansion,
 * NIST DLMF 10.60.7). Constant and slope are the polynomials of degree 0 and 1, so
 * what remains has a closed form. docs/method.md derives both.
 */
#include <math.h>
#include <stddef.h>

#include <gsl/gsl_math.h>
#include <gsl/gsl_sf_bessel.h>

#include "stillrow/camera.h"

/*
 * Below this x the closed forms are differences of numbers near 1 and lose digits
 * as x^-4; the Taylor series converges fast there. Above HUGE_X both are 1 to the
 * last bit (1 - G falls as 3 / x^2, and 9 / x^2 at most).
 */
#define SERIES_BELOW_X 0.6
#define HUGE_X         3e8

/* Coefficients of x^4, x^6, ... x^16; exact rationals of the expansion. */
static const double g1_series[] = {
    1.0 / 45, -4.0 / 1575, 2.0 / 14175, -16.0 / 3274425, 1.0 / 8513505, -4.0 / 1915538625, 2.0 / 69780335625,
};
static const double g2_series[] = {
    11.0 / 315,       -16.0 / 3375,          1618.0 / 5457375,        -68.0 / 6081075,
    61.0 / 212837625, -872.0 / 162820783125, 5578.0 / 72920450728125,
};

static double series(const double *coefficient, size_t count, double x)
{
    const double x2 = x * x;
    double sum = 0;
    for (size_t i = count; i-- > 0;)
        sum = sum * x2 + coefficient[i];
    return sum * x2 * x2;
}

/* A closed form may pass its bounds by a rounding error; a share may not. */
static double share(double value)
{
    return fmin(1, fmax(0, value));
}

double sr_shutter_g1(double waves)
{
    const double x = M_PI * waves;
    if (!(x > 0))
        return 0;
    if (x < SERIES_BELOW_X)
        return series(g1_series, sizeof g1_series / sizeof g1_series[0], x);
    if (x > HUGE_X)
        return 1;
    const double j0 = gsl_sf_bessel_j0(x);
    const double j1 = gsl_sf_bessel_j1(x);
    return share(1 - j0 * j0 - 3 * j1 * j1);
}

double sr_shutter_g2(double waves)
{
    const double x = M_PI * waves;
    if (!(x > 0))
        return 0;
    if (x < SERIES_BELOW_X)
        return series(g2_series, sizeof g2_series / sizeof g2_series[0], x);
    if (x > HUGE_X)
        return 1;
    const double j0 = gsl_sf_bessel_j0(x);
    const double j1 = gsl_sf_bessel_j1(x);
    const double j2 = gsl_sf_bessel_j2(x);
    const double j3 = 5 * j2 / x - j1; /* DLMF 10.51.1; upward is stable enough for one step */
    const double even = j0 - 2 * j2;
    const double odd = 2 * j1 - 3 * j3;
    return share(1 - 3 * (j1 * j1 + (even * even - 4 * j2 * j2) / 3 + (odd * odd - 9 * j3 * j3) / 5));
}
