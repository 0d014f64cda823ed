/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Window shapes, their samples and figures of merit. */
#include "spectrum/window.h"

#include <gsl/gsl_math.h>
#include <math.h>
#include <string.h>

static const struct sr_window_shape shapes[SR_WINDOW_COUNT] = {
    [SR_WINDOW_HANN] = {"hann", {0.5, -0.5}, 2},
    [SR_WINDOW_RECTANGULAR] = {"rectangular", {1.0}, 1},
    [SR_WINDOW_HAMMING] = {"hamming", {0.54, -0.46}, 2},
    [SR_WINDOW_BLACKMAN] = {"blackman", {0.42, -0.50, 0.08}, 3},
    [SR_WINDOW_BLACKMAN_HARRIS] = {"blackman-harris", {0.35875, -0.48829, 0.14128, -0.01168}, 4},
    [SR_WINDOW_HFT95] = {"hft95", {1.0, -1.9383379, 1.3045202, -0.4028270, 0.0350665}, 5},
};

const struct sr_window_shape *sr_window_shape(enum sr_window window)
{
    return (size_t)window < SR_WINDOW_COUNT ? &shapes[window] : NULL;
}

const char *sr_window_name(enum sr_window window)
{
    const struct sr_window_shape *shape = sr_window_shape(window);

    return shape ? shape->name : "unknown";
}

bool sr_window_find(const char *name, enum sr_window *window)
{
    if (!name)
        return false;
    for (size_t i = 0; i < SR_WINDOW_COUNT; i++) {
        if (strcmp(name, shapes[i].name) == 0) {
            *window = (enum sr_window)i;
            return true;
        }
    }
    return false;
}

void sr_window_fill(enum sr_window window, double *w, size_t n)
{
    const struct sr_window_shape *shape = sr_window_shape(window);

    for (size_t i = 0; i < n; i++) {
        /* Take the angle from the nearer end: the two halves are then mirror images to the last bit. */
        size_t from_end = i <= n - i ? i : n - i;
        double z = 2.0 * M_PI * (double)from_end / (double)n;

        w[i] = 0.0;
        for (size_t j = 0; shape && j < shape->terms; j++)
            w[i] += shape->a[j] * cos((double)j * z);
    }
    /* A single sample has no taper: most windows would make it zero. */
    if (shape && n == 1)
        w[0] = 1.0;
}

double sr_window_enbw_bins(const double *w, size_t n)
{
    double sum = 0.0;
    double squares = 0.0;

    for (size_t i = 0; i < n; i++) {
        sum += w[i];
        squares += w[i] * w[i];
    }
    return (double)n * squares / (sum * sum);
}

double sr_window_coherent_gain(const double *w, size_t n)
{
    double sum = 0.0;

    for (size_t i = 0; i < n; i++)
        sum += w[i];
    return sum / (double)n;
}

static double sinc(double u)
{
    /* Next to zero sin(pi u) / (pi u) is 1 to double precision. */
    return fabs(u) < 1e-9 ? 1.0 : sin(M_PI * u) / (M_PI * u);
}

double sr_window_response(const struct sr_window_shape *shape, double offset)
{
    double sum = shape->a[0] * sinc(offset);
    double sign = -1.0;

    /* The half-length delay of the window turns every second cosine's transform round. */
    for (size_t j = 1; j < shape->terms; j++) {
        sum += 0.5 * sign * shape->a[j] * (sinc(offset - (double)j) + sinc(offset + (double)j));
        sign = -sign;
    }
    return sum;
}

double sr_window_mean_square(const struct sr_window_shape *shape)
{
    double sum = shape->a[0] * shape->a[0];

    for (size_t j = 1; j < shape->terms; j++)
        sum += 0.5 * shape->a[j] * shape->a[j];
    return sum;
}
