/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * `make_log PATH`: a log of the size that people bring home, about 120 MB and 40
 * columns of which a score needs five.
 */
#include <stdio.h>

#include "sim/flight.h"

int main(int argc, char **argv)
{
    /* time, 3 rates, throttle, 4 motor speeds, and what else a controller writes down. */
    const struct sim_csv csv = {.throttle = true, .motor_rpm = true, .padding_columns = 31, .rate_digits = 2};
    struct sim_flight flight;
    struct sim_samples samples;

    if (argc != 2) {
        fputs("usage: make_log PATH\n", stderr);
        return 2;
    }
    sim_flight_init(&flight);
    flight.seed = 120;
    flight.rate_hz = 2000;
    flight.flight_s = 264;
    flight.profile = SIM_CHASE;
    FILE *out = fopen(argv[1], "wb");
    if (out == NULL) {
        perror(argv[1]);
        return 1;
    }
    if (sim_fly(&flight, &samples) != 0) {
        fputs("make_log: out of memory\n", stderr);
        fclose(out);
        return 1;
    }
    int failed = sim_write_csv(&samples, &csv, out);
    sim_samples_release(&samples);
    if (fclose(out) != 0 || failed != 0) {
        perror(argv[1]);
        return 1;
    }
    return 0;
}
