/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Two aligned logs brought to the same instants by a windowed sinc that keeps what both rates can hold. */
#include <gsl/gsl_math.h>
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "mount/align.h"

#define RATE_MAX_HZ 1000.0 /* mounts resonate far below half of this */
#define PASS        0.45   /* cut-off over the common rate */
#define LOBES       12     /* zero crossings of the sinc on each side */
#define STEPS       256    /* table steps a zero crossing; linear between */

struct kernel {
    double value[LOBES * STEPS + 2];
};

static void kernel_init(struct kernel *kernel)
{
    const size_t last = LOBES * STEPS;
    kernel->value[0] = 1;
    for (size_t i = 1; i <= last; i++) {
        double x = (double)i / STEPS;
        kernel->value[i] = sin(M_PI * x) / (M_PI * x) * (0.5 + 0.5 * cos(M_PI * (double)i / (double)last));
    }
    kernel->value[last + 1] = 0;
}

static double kernel_at(const struct kernel *kernel, double lobes)
{
    double at = fabs(lobes) * STEPS;
    size_t i = (size_t)at;
    if (i > LOBES * STEPS)
        return 0;
    return kernel->value[i] + (at - (double)i) * (kernel->value[i + 1] - kernel->value[i]);
}

/* The three rates at time t; false where the log has not all samples around it. */
static bool sample(const struct sr_log *log, const struct kernel *kernel, double lobe_samples, double t_s,
                   size_t *run_hint, double out[3])
{
    const double reach = LOBES * lobe_samples;
    while (*run_hint + 1 < log->n_runs && t_s >= log->runs[*run_hint + 1].start_s)
        (*run_hint)++;
    const struct sr_run *run = &log->runs[*run_hint];
    double at = (t_s - run->start_s) * log->rate_hz;
    if (!(at >= reach && at + reach <= (double)run->count - 1))
        return false;

    double weight = 0;
    size_t first = (size_t)ceil(at - reach), last = (size_t)floor(at + reach);
    out[0] = out[1] = out[2] = 0;
    for (size_t i = first; i <= last; i++) {
        double k = kernel_at(kernel, ((double)i - at) / lobe_samples);
        weight += k;
        for (int a = 0; a < 3; a++)
            out[a] += k * log->gyro_dps[a][run->first + i];
    }
    for (int a = 0; a < 3; a++)
        out[a] /= weight;
    return true;
}

static bool flying(const struct sr_log *log, double t_s)
{
    for (size_t s = 0; s < log->n_airborne; s++)
        if (t_s >= log->airborne[s].from_s && t_s <= log->airborne[s].to_s)
            return true;
    return false;
}

static enum sr_status allocate(struct aligned *al, const struct sr_log *frame, struct sr_error *err)
{
    const struct sr_run *last = &frame->runs[frame->n_runs - 1];
    double length_s = last->start_s + (double)last->count / frame->rate_hz;
    al->count = (size_t)(length_s * al->rate_hz) + 1;
    double *block =
        al->count <= SIZE_MAX / (6 * sizeof(double)) ? calloc(al->count, 6 * sizeof *block) : NULL;
    al->both = calloc(al->count, sizeof *al->both);
    al->frame[0] = block;
    if (block == NULL || al->both == NULL) {
        sr_fail(err, SR_ERR_MEMORY, frame->name, 0, "out of memory to line up %zu samples", al->count);
        return SR_ERR_MEMORY;
    }
    for (size_t a = 0; a < 3; a++) {
        al->frame[a] = block + a * al->count;
        al->camera[a] = block + (3 + a) * al->count;
    }
    return SR_OK;
}

enum sr_status align_resample(struct aligned *aligned, const struct alignment *alignment,
                              const struct sr_log *frame, const struct sr_log *camera, struct sr_error *err)
{
    struct aligned al = {.rate_hz = fmin(RATE_MAX_HZ, fmin(frame->rate_hz, camera->rate_hz))};
    struct kernel kernel;
    enum sr_status status = allocate(&al, frame, err);
    if (status != SR_OK) {
        aligned_release(&al);
        return status;
    }

    /* Samples of each log between two zero crossings of the sinc. */
    double frame_lobe = frame->rate_hz / (2 * PASS * al.rate_hz);
    double camera_lobe = camera->rate_hz / (2 * PASS * al.rate_hz);
    size_t frame_run = 0, camera_run = 0;
    kernel_init(&kernel);
    for (size_t i = 0; i < al.count; i++) {
        double t_s = (double)i / al.rate_hz;
        double camera_s = t_s + alignment->lag_s + alignment->drift * (t_s - alignment->at_s);
        double x[3], y[3];
        if (!flying(frame, t_s) || !sample(frame, &kernel, frame_lobe, t_s, &frame_run, x) ||
            !sample(camera, &kernel, camera_lobe, camera_s, &camera_run, y))
            continue;
        al.both[i] = true;
        for (int a = 0; a < 3; a++) {
            const double *turn = alignment->turn[a];
            al.frame[a][i] = x[a];
            al.camera[a][i] = turn[0] * y[0] + turn[1] * y[1] + turn[2] * y[2];
        }
    }
    *aligned = al;
    return SR_OK;
}

void aligned_release(struct aligned *aligned)
{
    free(aligned->frame[0]);
    free(aligned->both);
    memset(aligned, 0, sizeof *aligned);
}
