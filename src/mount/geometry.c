/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Natural frequency worked out from the pieces: a first guess, and said so. */
#include <gsl/gsl_math.h>
#include <math.h>
#include <stdio.h>

#include "mount/private.h"

/*
 * Lindley, Engineering Design with Natural Rubber: k of E (1 + 2 k S^2), and the bulk
 * modulus that bounds it [MPa], by hardness 30 to 75 in steps of 5.
 */
#define LINDLEY_FIRST 30.0
#define LINDLEY_STEP  5.0
#define LINDLEY_COUNT 10
static const double lindley_k[LINDLEY_COUNT] = {0.93, 0.89, 0.85, 0.80, 0.73, 0.64, 0.57, 0.54, 0.53, 0.52};
static const double lindley_bulk_mpa[LINDLEY_COUNT] = {1000, 1000, 1000, 1000, 1030,
                                                       1090, 1150, 1210, 1270, 1330};

/* The camera's own inertia is not in a rig: a cube of about this density, and how far cameras differ. */
#define CAMERA_G_CM3 1.2
#define TURN_LOW     0.75
#define TURN_HIGH    1.35
/* Without an arm, turning is taken to be as fast as shifting. */
#define NO_ARM_LOW  0.7
#define NO_ARM_HIGH 1.5

static double by_hardness(const double *table, double shore_a)
{
    double at = fmin(fmax((shore_a - LINDLEY_FIRST) / LINDLEY_STEP, 0), LINDLEY_COUNT - 1);
    size_t i = (size_t)fmin(floor(at), LINDLEY_COUNT - 2);
    return table[i] + (at - (double)i) * (table[i + 1] - table[i]);
}

static bool above_zero(double value)
{
    return isfinite(value) && value > 0;
}

bool sr_mount_has_geometry(const struct sr_mount_keys *mount)
{
    return mount->count >= 1 && above_zero(mount->outer_mm) && above_zero(mount->thickness_mm) &&
           above_zero(mount->camera_g) && (above_zero(mount->modulus_mpa) || isfinite(mount->shore_a));
}

static enum sr_status check(const struct sr_mount_keys *mount, double bore_mm, struct sr_error *err)
{
    if (!sr_mount_has_geometry(mount))
        return sr_fail(
            err, SR_ERR_ARGUMENT, NULL, 0,
            "a natural frequency from the pieces takes count, outer_mm, thickness_mm, camera_g, and "
            "shore_a or modulus_mpa in [mount]");
    if (!(bore_mm >= 0 && bore_mm < mount->outer_mm))
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "a piece with a bore of %g mm in %g mm has no rubber",
                       bore_mm, mount->outer_mm);
    return SR_OK;
}

static enum sr_status find_modulus(const struct sr_mount_keys *mount, struct sr_interval *modulus_mpa,
                                   double *shore_a, struct sr_error *err)
{
    if (above_zero(mount->modulus_mpa)) {
        *modulus_mpa = (struct sr_interval){mount->modulus_mpa, mount->modulus_mpa, mount->modulus_mpa};
        *shore_a = sr_rubber_shore(mount->modulus_mpa);
        return SR_OK;
    }
    *shore_a = mount->shore_a;
    return sr_rubber_modulus(mount->shore_a, modulus_mpa, err);
}

/* fn of a spring [N/mm] under a mass [g], over the modulus' range. */
static struct sr_interval frequency(double stiffness_n_mm, double mass_g, struct sr_interval modulus)
{
    double hz = sqrt(stiffness_n_mm * 1e3 / (mass_g * 1e-3)) / (2 * M_PI);
    return (struct sr_interval){hz, hz * sqrt(modulus.low / modulus.value),
                                hz * sqrt(modulus.high / modulus.value)};
}

/*
 * Turning frequency over shifting frequency: arm over radius of gyration, since
 * stiffness turns with the arm squared and inertia with the other.
 */
static struct sr_interval turning(const struct sr_mount_keys *mount, double gyration_mm)
{
    if (!above_zero(mount->arm_mm))
        return (struct sr_interval){1, NO_ARM_LOW, NO_ARM_HIGH};
    double ratio = mount->arm_mm / gyration_mm;
    return (struct sr_interval){ratio, ratio * TURN_LOW, ratio * TURN_HIGH};
}

static void describe(struct sr_mount_geometry *g, const struct sr_mount_keys *mount)
{
    snprintf(g->text, sizeof g->text,
             "worked out from the pieces: %g of them, %.0f Hz if all shear, %.0f Hz if all are pressed",
             mount->count, g->shear_hz.value, g->compression_hz.value);
    if (above_zero(mount->arm_mm))
        mount_append(g->text, sizeof g->text,
                     "; the camera is taken to turn like a cube of %.1f g/cm3 (radius of gyration %.0f mm)",
                     CAMERA_G_CM3, g->gyration_mm);
    else
        mount_append(g->text, sizeof g->text, "; without arm_mm it is taken to turn as fast as it shifts");
    mount_append(
        g->text, sizeof g->text,
        "; rubber is stiffer when shaken than its hardness tells, so the true one may be higher; a measured "
        "resonance_hz is far better");
}

enum sr_status sr_mount_geometry_make(struct sr_mount_geometry *geometry, const struct sr_mount_keys *mount,
                                      struct sr_error *err)
{
    struct sr_mount_geometry g = {0};
    struct sr_interval modulus;
    double shore_a, bore_mm = isfinite(mount->inner_mm) ? mount->inner_mm : 0;
    enum sr_status status = check(mount, bore_mm, err);
    if (status == SR_OK)
        status = find_modulus(mount, &modulus, &shore_a, err);
    if (status != SR_OK)
        return status;

    g.area_mm2 = M_PI / 4 * (mount->outer_mm * mount->outer_mm - bore_mm * bore_mm);
    g.shape_factor = (mount->outer_mm - bore_mm) / (4 * mount->thickness_mm);
    double pressed =
        modulus.value * (1 + 2 * by_hardness(lindley_k, shore_a) * g.shape_factor * g.shape_factor);
    double bulk = by_hardness(lindley_bulk_mpa, shore_a);
    double size_mm = mount->count * g.area_mm2 / mount->thickness_mm;
    g.shear_n_mm = modulus.value / 3 * size_mm;
    g.compression_n_mm = pressed * bulk / (pressed + bulk) * size_mm;
    g.shear_hz = frequency(g.shear_n_mm, mount->camera_g, modulus);
    g.compression_hz = frequency(g.compression_n_mm, mount->camera_g, modulus);
    g.gyration_mm = 10 * cbrt(mount->camera_g / CAMERA_G_CM3) / sqrt(6);

    /* Turning presses some pieces and shears others: half way, and as unsure as the two ends. */
    struct sr_interval turn = turning(mount, g.gyration_mm);
    struct sr_interval soft = mount_times(g.shear_hz, turn), hard = mount_times(g.compression_hz, turn);
    g.fn_hz = (struct sr_interval){sqrt(soft.value * hard.value), soft.low, hard.high};
    describe(&g, mount);
    *geometry = g;
    return SR_OK;
}
