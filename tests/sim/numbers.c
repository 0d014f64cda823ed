/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Random numbers and a sine of our own. The C library's sin and log may differ in
 * the last bit from machine to machine, and committed sample logs must come out
 * byte for byte, so only IEEE additions, products, quotients and roots are used.
 */
#include "sim/flight.h"

#include <math.h>

/* clang may fuse a product and a sum where the machine can; gcc does not under -std=c11. */
#ifdef __clang__
#pragma STDC FP_CONTRACT OFF
#endif

#define TWO_PI 6.283185307179586476925
#define LN_2   0.693147180559945309417

/* splitmix64, Steele, Lea and Flood 2014. */
static uint64_t next_bits(uint64_t *state)
{
    uint64_t z = *state += UINT64_C(0x9e3779b97f4a7c15);
    z = (z ^ (z >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94d049bb133111eb);
    return z ^ (z >> 31);
}

double sim_uniform(uint64_t *state)
{
    return (double)(next_bits(state) >> 11) * 0x1p-53;
}

/* Natural logarithm of x > 0: exponent taken off, then 2 artanh((m - 1) / (m + 1)) as its series. */
static double natural_log(double x)
{
    int exponent;
    double m = frexp(x, &exponent);
    if (m < 0.70710678118654752) {
        m *= 2;
        exponent--;
    }
    double s = (m - 1) / (m + 1), s2 = s * s, sum = 0;
    for (int k = 23; k >= 1; k -= 2)
        sum = sum * s2 + 1.0 / k;
    return 2 * s * sum + exponent * LN_2;
}

/* Marsaglia's polar method; the second of the pair is thrown away to keep the state one number. */
double sim_normal(uint64_t *state)
{
    double u, v, s;
    do {
        u = 2 * sim_uniform(state) - 1;
        v = 2 * sim_uniform(state) - 1;
        s = u * u + v * v;
    } while (s >= 1 || s == 0);
    return u * sqrt(-2 * natural_log(s) / s);
}

double sim_sine(double turns)
{
    /* Into [-1/4, 1/4] turns, where the Taylor series to x^21 is good to the last bit or two. */
    double u = turns - floor(turns + 0.5);
    if (u > 0.25)
        u = 0.5 - u;
    else if (u < -0.25)
        u = -0.5 - u;
    double x = TWO_PI * u, x2 = x * x, sum = 1;
    for (int k = 20; k >= 2; k -= 2)
        sum = 1 - sum * x2 / (k * (k + 1));
    return x * sum;
}
