/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Clocks and axes of two recorders, from what both see alike: far below its
 * resonance a mount turns with the frame. Offset from the size of the slow turning
 * (which no mounting angle changes), then the mounting angle, then the drift.
 */
#include "mount/align.h"

#include <gsl/gsl_fft_complex.h>
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#define CELL_S     0.02 /* slow turning is averaged over this */
#define MATCH_MIN  0.6  /* correlation from where two logs are taken for one flight */
#define BLOCK_S    10.0 /* the drift is read from offsets of blocks this long */
#define BLOCK_MIN  0.7
#define BLOCKS_MIN 3
#define REACH      12 /* cells that a block may be off */
#define DRIFT_MAX  1e-3
#define SQUARINGS  40

/* Mean rates over cells, and where there are any. */
struct slow {
    size_t count;
    double *rate[3];
    double *seen; /* 1 where the cell has samples, else 0 */
};

static void slow_release(struct slow *slow)
{
    free(slow->seen);
    memset(slow, 0, sizeof *slow);
}

static enum sr_status slow_make(struct slow *slow, const struct sr_log *log, struct sr_error *err)
{
    const struct sr_run *last = &log->runs[log->n_runs - 1];
    double length_s = last->start_s + (double)last->count / log->rate_hz;
    struct slow made = {.count = (size_t)(length_s / CELL_S) + 1};
    double *block =
        made.count <= SIZE_MAX / (4 * sizeof(double)) ? calloc(made.count, 4 * sizeof *block) : NULL;
    if (block == NULL) {
        sr_fail(err, SR_ERR_MEMORY, log->name, 0, "out of memory to line up %zu steps", made.count);
        return SR_ERR_MEMORY;
    }

    made.seen = block;
    for (size_t a = 0; a < 3; a++)
        made.rate[a] = block + (a + 1) * made.count;
    for (size_t r = 0; r < log->n_runs; r++) {
        const struct sr_run *run = &log->runs[r];
        for (size_t i = 0; i < run->count; i++) {
            size_t cell = (size_t)((run->start_s + (double)i / log->rate_hz) / CELL_S);
            if (cell >= made.count)
                continue;
            made.seen[cell]++;
            for (int a = 0; a < 3; a++)
                made.rate[a][cell] += log->gyro_dps[a][run->first + i];
        }
    }
    double filled = 0, mean[3] = {0};
    for (size_t c = 0; c < made.count; c++) {
        for (int a = 0; a < 3 && made.seen[c] > 0; a++) {
            made.rate[a][c] /= made.seen[c];
            mean[a] += made.rate[a][c];
        }
        made.seen[c] = made.seen[c] > 0;
        filled += made.seen[c];
    }
    /* A gyro's bias is no turning, and differs between two. */
    for (size_t c = 0; c < made.count; c++)
        for (int a = 0; a < 3 && filled > 0; a++)
            made.rate[a][c] -= made.seen[c] * mean[a] / filled;
    *slow = made;
    return SR_OK;
}

/* How fast it turns, about any axis, its mean taken out, packed as complex numbers. */
static void pack_speed(const struct slow *slow, double *packed)
{
    double mean = 0, filled = 0;
    for (size_t c = 0; c < slow->count; c++) {
        packed[2 * c] = sqrt(slow->rate[0][c] * slow->rate[0][c] + slow->rate[1][c] * slow->rate[1][c] +
                             slow->rate[2][c] * slow->rate[2][c]);
        mean += packed[2 * c];
        filled += slow->seen[c];
    }
    for (size_t c = 0; c < slow->count; c++)
        packed[2 * c] = slow->seen[c] * (packed[2 * c] - mean / filled);
}

/* Offset [cells] of the camera's log at which the speeds of turning agree best. */
static enum sr_status coarse_offset(const struct slow *frame, const struct slow *camera, long *offset,
                                    struct sr_error *err)
{
    size_t n = 8;
    while (n < frame->count + camera->count)
        n *= 2;
    double *x = calloc(n, 2 * sizeof *x), *y = calloc(n, 2 * sizeof *y);
    if (x == NULL || y == NULL) {
        free(x);
        free(y);
        return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory to line up %zu steps", n);
    }
    pack_speed(frame, x);
    pack_speed(camera, y);
    gsl_fft_complex_radix2_forward(x, 1, n);
    gsl_fft_complex_radix2_forward(y, 1, n);
    for (size_t k = 0; k < n; k++) {
        double re = x[2 * k] * y[2 * k] + x[2 * k + 1] * y[2 * k + 1];
        double im = x[2 * k] * y[2 * k + 1] - x[2 * k + 1] * y[2 * k];
        x[2 * k] = re;
        x[2 * k + 1] = im;
    }
    gsl_fft_complex_radix2_inverse(x, 1, n);
    size_t best = 0;
    for (size_t k = 1; k < n; k++)
        if (x[2 * k] > x[2 * best])
            best = k;
    *offset = best < camera->count ? (long)best : (long)best - (long)n;
    free(x);
    free(y);
    return SR_OK;
}

/* Sums over the cells both have, [first, last) of the frame's, the camera's `offset` cells on. */
struct overlap {
    double product[3][3]; /* frame axis, camera axis */
    double frame, camera; /* energies */
};

static struct overlap overlap_of(const struct slow *frame, const struct slow *camera, long first, long last,
                                 long offset)
{
    struct overlap o = {{{0}}, 0, 0};
    if (last > (long)frame->count)
        last = (long)frame->count;
    if (first < -offset)
        first = -offset;
    for (long c = first; c < last && c + offset < (long)camera->count; c++) {
        long d = c + offset;
        if (frame->seen[c] * camera->seen[d] <= 0)
            continue;
        for (int a = 0; a < 3; a++) {
            o.frame += frame->rate[a][c] * frame->rate[a][c];
            o.camera += camera->rate[a][d] * camera->rate[a][d];
            for (int b = 0; b < 3; b++)
                o.product[a][b] += frame->rate[a][c] * camera->rate[b][d];
        }
    }
    return o;
}

static double correlation(const struct overlap *o, const double turn[3][3])
{
    double sum = 0, power = o->frame * o->camera;
    for (int a = 0; a < 3; a++)
        for (int b = 0; b < 3; b++)
            sum += turn[a][b] * o->product[a][b];
    return power > 0 ? sum / sqrt(power) : 0;
}

/* m = m^2 over its largest element: the largest eigenvalue's vector takes over. */
static void square(double m[4][4])
{
    double next[4][4], largest = 0;
    for (int i = 0; i < 4; i++) {
        for (int j = 0; j < 4; j++) {
            next[i][j] = 0;
            for (int k = 0; k < 4; k++)
                next[i][j] += m[i][k] * m[k][j];
            largest = fmax(largest, fabs(next[i][j]));
        }
    }
    for (int i = 0; i < 4; i++)
        for (int j = 0; j < 4; j++)
            m[i][j] = largest > 0 ? next[i][j] / largest : i == j;
}

/*
 * The rotation that best turns the camera's rates into the frame's, as the unit
 * quaternion of Horn 1987: the vector of the largest eigenvalue of a symmetric 4 x 4
 * matrix. A mirror image cannot come out, and nothing can fail to converge.
 */
static void find_turn(const struct overlap *o, double turn[3][3])
{
    /* s[a][b]: camera axis a, frame axis b. */
    double s[3][3], m[4][4], q[4] = {1, 0, 0, 0}, shift = 0;
    for (int a = 0; a < 3; a++) {
        for (int b = 0; b < 3; b++) {
            s[a][b] = o->product[b][a];
            shift += fabs(s[a][b]);
        }
    }
    m[0][0] = s[0][0] + s[1][1] + s[2][2];
    for (int i = 0; i < 3; i++) {
        int j = (i + 1) % 3, k = (i + 2) % 3;
        m[0][i + 1] = m[i + 1][0] = s[j][k] - s[k][j];
        m[i + 1][i + 1] = s[i][i] - s[j][j] - s[k][k];
        m[i + 1][j + 1] = m[j + 1][i + 1] = s[i][j] + s[j][i];
    }
    for (int i = 0; i < 4; i++)
        m[i][i] += 2 * shift; /* so that the largest eigenvalue is also the largest in size */
    for (int i = 0; i < SQUARINGS; i++)
        square(m);
    /* All columns point the same way now; the longest is the cleanest. */
    double longest = 0;
    for (int i = 0; i < 4; i++) {
        double length = sqrt(m[0][i] * m[0][i] + m[1][i] * m[1][i] + m[2][i] * m[2][i] + m[3][i] * m[3][i]);
        for (int k = 0; k < 4 && length > longest; k++)
            q[k] = m[k][i] / length;
        longest = fmax(longest, length);
    }
    for (int i = 0; i < 3; i++) {
        int j = (i + 1) % 3, k = (i + 2) % 3;
        turn[i][i] = q[0] * q[0] + q[i + 1] * q[i + 1] - q[j + 1] * q[j + 1] - q[k + 1] * q[k + 1];
        turn[i][j] = 2 * (q[i + 1] * q[j + 1] - q[0] * q[k + 1]);
        turn[j][i] = 2 * (q[i + 1] * q[j + 1] + q[0] * q[k + 1]);
    }
}

/* Offset [cells] near `offset` where [first, last) agrees best, between the cells; its correlation. */
static double best_offset(const struct slow *frame, const struct slow *camera, long first, long last,
                          long offset, const double turn[3][3], double *match)
{
    double c[2 * REACH + 1];
    int best = 0;
    for (int i = 0; i <= 2 * REACH; i++) {
        struct overlap o = overlap_of(frame, camera, first, last, offset + i - REACH);
        c[i] = correlation(&o, turn);
        if (c[i] > c[best])
            best = i;
    }
    *match = c[best];
    double at = (double)(offset + best - REACH);
    if (best == 0 || best == 2 * REACH)
        return at;
    double bend = c[best - 1] - 2 * c[best] + c[best + 1];
    return bend < 0 ? at + 0.5 * (c[best - 1] - c[best + 1]) / bend : at;
}

/* Straight line through the offsets of the blocks. */
static void find_drift(struct alignment *al, const struct slow *frame, const struct slow *camera, long offset)
{
    const long block = (long)(BLOCK_S / CELL_S);
    double n = 0, t = 0, y = 0, tt = 0, ty = 0;
    for (long first = 0; first < (long)frame->count; first += block) {
        double match;
        double lag_s = CELL_S * best_offset(frame, camera, first, first + block, offset,
                                            (const double(*)[3])al->turn, &match);
        double at_s = ((double)first + 0.5 * (double)block) * CELL_S - al->at_s;
        if (match < BLOCK_MIN)
            continue;
        n++;
        t += at_s;
        y += lag_s - al->lag_s;
        tt += at_s * at_s;
        ty += at_s * (lag_s - al->lag_s);
    }
    double spread = tt - (n > 0 ? t * t / n : 0);
    if (n < BLOCKS_MIN || !(spread > 0))
        return;
    double drift = (ty - t * y / n) / spread;
    if (fabs(drift) > DRIFT_MAX)
        return;
    al->drift = drift;
    al->lag_s += (y - drift * t) / n;
}

enum sr_status align_logs(struct alignment *alignment, const struct sr_log *frame,
                          const struct sr_log *camera, struct sr_error *err)
{
    struct slow x = {0}, y = {0};
    struct alignment al = {0};
    long offset = 0;
    enum sr_status status = slow_make(&x, frame, err);
    if (status == SR_OK)
        status = slow_make(&y, camera, err);
    if (status == SR_OK)
        status = coarse_offset(&x, &y, &offset, err);
    if (status == SR_OK) {
        struct overlap o = overlap_of(&x, &y, 0, (long)x.count, offset);
        find_turn(&o, al.turn);
        al.lag_s =
            CELL_S * best_offset(&x, &y, 0, (long)x.count, offset, (const double(*)[3])al.turn, &al.match);
        al.at_s = 0.5 * (double)x.count * CELL_S;
        if (al.match < MATCH_MIN)
            status = sr_fail(
                err, SR_ERR_DATA, camera->name, 0,
                "this does not look like the flight of '%s': at the best offset the two turn alike only "
                "by %.2f (%.2f is needed)",
                frame->name, al.match, MATCH_MIN);
        else
            find_drift(&al, &x, &y, (long)lround(al.lag_s / CELL_S));
    }
    slow_release(&x);
    slow_release(&y);
    if (status == SR_OK)
        *alignment = al;
    return status;
}
