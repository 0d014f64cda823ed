/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Samples of a simulated flight as CSV. */
#include "sim/flight.h"

#include <inttypes.h>
#include <math.h>

/* No "-0.0": a recorder would not write one either. */
static double tidy(double value, int digits)
{
    double half = 0.5;
    for (int k = 0; k < digits; k++)
        half /= 10;
    return fabs(value) < half ? 0 : value;
}

static void write_header(const struct sim_csv *csv, FILE *out)
{
    if (csv->preamble != NULL)
        fputs(csv->preamble, out);
    fputs("time (us),gyro x (deg/s),gyro y (deg/s),gyro z (deg/s)", out);
    if (csv->throttle)
        fputs(",throttle (%)", out);
    for (int k = 0; csv->motor_rpm && k < SIM_MOTORS; k++)
        fprintf(out, ",motor %d speed (rpm)", k + 1);
    for (int k = 0; k < csv->padding_columns; k++)
        fprintf(out, ",spare %c%c", 'a' + k / 26 % 26, 'a' + k % 26);
    fputc('\n', out);
}

int sim_write_csv(const struct sim_samples *samples, const struct sim_csv *csv, FILE *out)
{
    uint64_t padding = 1;
    write_header(csv, out);
    for (size_t i = 0; i < samples->count; i++) {
        fprintf(out, "%" PRIu64, (uint64_t)(samples->time_s[i] * 1e6 + 0.5));
        for (int a = 0; a < 3; a++)
            fprintf(out, ",%.*f", csv->rate_digits, tidy(samples->gyro_dps[a][i], csv->rate_digits));
        if (csv->throttle)
            fprintf(out, ",%.1f", samples->throttle[i] * 100);
        for (int k = 0; csv->motor_rpm && k < SIM_MOTORS; k++)
            fprintf(out, ",%.0f", samples->motor_rpm[k][i]);
        for (int k = 0; k < csv->padding_columns; k++)
            fprintf(out, ",%d", (int)(sim_uniform(&padding) * 20000) - 10000);
        fputc('\n', out);
    }
    return fflush(out) == 0 && !ferror(out) ? 0 : -1;
}
