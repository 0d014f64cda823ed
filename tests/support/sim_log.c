/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/sim_log.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Mean of x over each cell of the slow grid, times scale; NULL if memory ran out. */
static double *slow_grid(const struct sim_samples *s, const double *x, size_t cells, double scale)
{
    double *grid = calloc(cells, sizeof *grid);
    size_t *held = calloc(cells, sizeof *held);

    if (grid != NULL && held != NULL) {
        for (size_t i = 0; i < s->count; i++) {
            size_t cell = (size_t)(s->time_s[i] / SR_SLOW_STEP_S + 1e-9);
            if (cell < cells) {
                grid[cell] += x[i] * scale;
                held[cell]++;
            }
        }
        for (size_t c = 0; c < cells; c++)
            grid[c] = held[c] > 0 ? grid[c] / (double)held[c] : NAN;
        free(held);
        return grid;
    }
    free(held);
    free(grid);
    return NULL;
}

static bool add_slow_channels(struct sr_log *log, const struct sim_samples *s,
                              const struct sim_log_columns *columns)
{
    bool complete = true;
    double scale = columns->pole_pairs > 0 ? columns->pole_pairs : 1;

    log->slow_count = (size_t)ceil((double)s->count / s->rate_hz / SR_SLOW_STEP_S - 1e-9);
    if (columns->throttle) {
        log->throttle = slow_grid(s, s->throttle, log->slow_count, 1);
        complete = log->throttle != NULL;
    }
    for (size_t m = 0; columns->motor_rpm && m < SIM_MOTORS; m++) {
        if ((int)m + 1 == columns->left_out)
            continue;
        double *grid = log->motor_rpm[log->n_motors++] =
            slow_grid(s, s->motor_rpm[m], log->slow_count, scale);
        complete = complete && grid != NULL;
    }
    return complete;
}

int sim_log_make(struct sr_log *log, const struct sim_samples *s, const struct sim_log_columns *columns)
{
    static const struct sim_log_columns all = {true, true, 1, 0};
    static const char name[] = "simulated";
    struct sr_log made = {.rate_hz = s->rate_hz, .count = s->count, .n_runs = 1, .n_airborne = 1};
    bool complete = true;

    made.name = malloc(sizeof name);
    made.runs = calloc(1, sizeof *made.runs);
    made.airborne = calloc(1, sizeof *made.airborne);
    for (size_t a = 0; a < 3; a++) {
        made.gyro_dps[a] = malloc((s->count + 1) * sizeof(double));
        complete = complete && made.gyro_dps[a] != NULL;
        if (made.gyro_dps[a] != NULL)
            memcpy(made.gyro_dps[a], s->gyro_dps[a], s->count * sizeof(double));
    }
    complete = add_slow_channels(&made, s, columns != NULL ? columns : &all) && complete;
    if (made.name == NULL || made.runs == NULL || made.airborne == NULL || !complete) {
        sr_log_release(&made);
        return -1;
    }
    memcpy(made.name, name, sizeof name);
    made.runs[0] = (struct sr_run){0, s->count, 0};
    made.airborne[0] = (struct sr_span){s->airborne_from_s, s->airborne_to_s};
    made.airborne_how = SR_AIRBORNE_ASKED;
    made.quality.rate_hz = s->rate_hz;
    made.quality.duration_s = (double)(s->count - 1) / s->rate_hz;
    made.quality.rows = s->count;
    made.quality.nyquist_hz = s->rate_hz / 2;
    *log = made;
    return 0;
}

int sim_log_fly(struct sr_log *log, const struct sim_flight *flight, const struct sim_log_columns *columns)
{
    struct sim_samples samples;
    if (sim_fly(flight, &samples) != 0)
        return -1;
    int result = sim_log_make(log, &samples, columns);
    sim_samples_release(&samples);
    return result;
}
