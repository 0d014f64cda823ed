/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * `long_log SECONDS RATE_HZ COLUMNS`: a log of any length on standard output, written as it
 * is made up: a pilot's motion, a line at 97 Hz and noise, on the ground for two
 * seconds at both ends. For speed and memory, where it does not matter what a flight is
 * like; the other logs of the bench fly.
 */
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#define GROUND_S 2.0
#define TWO_PI   6.283185307179586

static char *put_unsigned(char *p, uint64_t value)
{
    char digits[20];
    size_t n = 0;

    do
        digits[n++] = (char)('0' + value % 10);
    while ((value /= 10) > 0);
    while (n > 0)
        *p++ = digits[--n];
    return p;
}

/* A number of hundredths. */
static char *put_hundredths(char *p, double value)
{
    const long hundredths = lround(value * 100);
    const unsigned long size = (unsigned long)labs(hundredths);

    if (hundredths < 0)
        *p++ = '-';
    p = put_unsigned(p, size / 100);
    *p++ = '.';
    *p++ = (char)('0' + size / 10 % 10);
    *p++ = (char)('0' + size % 10);
    return p;
}

/* -0.5 to 0.5; an LCG (Knuth's MMIX). */
static double noise(uint64_t *seed)
{
    *seed = *seed * 6364136223846793005U + 1442695040888963407U;
    return (double)(*seed >> 40) / 16777216.0 - 0.5;
}

static int write_row(double t, double seconds, size_t columns, uint64_t *seed)
{
    char row[16384];
    char *p = put_unsigned(row, (uint64_t)llround(t * 1e6));
    const int flies = t >= GROUND_S && t < seconds - GROUND_S;
    const double line = 20 * sin(TWO_PI * 97 * t), slow = 30 * sin(TWO_PI * 0.3 * t);
    const double rate[3] = {slow + 0.4 * line, 0.7 * slow + line, 0.3 * slow};

    for (size_t a = 0; a < 3; a++) {
        *p++ = ',';
        p = put_hundredths(p, (flies ? rate[a] : 0) + noise(seed));
    }
    *p++ = ',';
    p = put_hundredths(p, flies ? 42 + 5 * noise(seed) : 0);
    for (size_t c = 5; c < columns; c++) {
        *p++ = ',';
        p = put_unsigned(p, (*seed >> (c % 23)) % 10000);
    }
    *p++ = '\n';
    return fwrite(row, 1, (size_t)(p - row), stdout) == (size_t)(p - row) ? 0 : 1;
}

int main(int argc, char **argv)
{
    const double seconds = argc == 4 ? strtod(argv[1], NULL) : 0;
    const double rate_hz = argc == 4 ? strtod(argv[2], NULL) : 0;
    const size_t columns = argc == 4 ? strtoul(argv[3], NULL, 10) : 0;
    uint64_t seed = 97;
    int failed = 0;

    if (!(seconds >= 1 && rate_hz >= 1 && columns >= 5 && columns <= 1000)) {
        fputs("usage: long_log SECONDS RATE_HZ COLUMNS (5 to 1000)\n", stderr);
        return 2;
    }
    fputs("time (us),gyro x (deg/s),gyro y (deg/s),gyro z (deg/s),throttle (%)", stdout);
    for (size_t c = 5; c < columns; c++)
        printf(",spare %zu", c);
    putchar('\n');
    for (double i = 0; i < seconds * rate_hz && failed == 0; i++)
        failed = write_row(i / rate_hz, seconds, columns, &seed);
    if (fclose(stdout) != 0 || failed != 0) {
        perror("long_log");
        return 1;
    }
    return 0;
}
