/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Which natural frequency a mount has, and what it has on other pieces or at another temperature. */
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "mount/private.h"

#define ROOM_C        20.0 /* where no temperature is given */
#define MEASURED_BAND 0.03 /* +- share of a resonance read off by hand */
#define DISAGREE      1.1  /* measured and identified further apart than this are worth a word */

struct sr_interval mount_times(struct sr_interval a, struct sr_interval b)
{
    double value = a.value * b.value;
    double low = hypot(log(a.low / a.value), log(b.low / b.value));
    double high = hypot(log(a.high / a.value), log(b.high / b.value));
    return (struct sr_interval){value, value * exp(-low), value * exp(high)};
}

struct sr_interval mount_root(struct sr_interval a)
{
    return (struct sr_interval){sqrt(a.value), sqrt(a.low), sqrt(a.high)};
}

void mount_append(char *text, size_t size, const char *format, ...)
{
    size_t used = strlen(text);
    va_list arguments;
    va_start(arguments, format);
    if (used < size)
        vsnprintf(text + used, size - used, format, arguments);
    va_end(arguments);
}

const char *sr_fn_source_name(enum sr_fn_source source)
{
    switch (source) {
    case SR_FN_NONE:
        return "none";
    case SR_FN_GEOMETRY:
        return "geometry";
    case SR_FN_IDENTIFIED:
        return "identified";
    case SR_FN_MEASURED:
        return "measured";
    }
    return "unknown";
}

static bool given(double value)
{
    return isfinite(value) && value > 0;
}

static void take_measured(struct sr_mount_own *own, const struct sr_mount_keys *mount,
                          const struct sr_identified *identified)
{
    double hz = mount->resonance_hz;
    own->source = SR_FN_MEASURED;
    own->fn_hz = (struct sr_interval){hz, hz * (1 - MEASURED_BAND), hz * (1 + MEASURED_BAND)};
    snprintf(own->text, sizeof own->text, "natural frequency %.4g Hz as measured (resonance_hz of the rig)",
             hz);
    if (identified == NULL)
        return;
    double apart = identified->fn_hz.value / hz;
    if (apart > DISAGREE || apart < 1 / DISAGREE)
        mount_append(
            own->text, sizeof own->text,
            "; the logs show %.4g Hz, which does not agree: take resonance_hz out of the rig if it is old",
            identified->fn_hz.value);
}

static void take_identified(struct sr_mount_own *own, const struct sr_identified *identified)
{
    own->source = SR_FN_IDENTIFIED;
    own->fn_hz = identified->fn_hz;
    snprintf(own->text, sizeof own->text, "natural frequency %.4g Hz (%.4g to %.4g) identified from the logs",
             own->fn_hz.value, own->fn_hz.low, own->fn_hz.high);
}

static enum sr_status take_geometry(struct sr_mount_own *own, const struct sr_mount_keys *mount,
                                    struct sr_error *err)
{
    struct sr_mount_geometry geometry;
    enum sr_status status = sr_mount_geometry_make(&geometry, mount, err);
    if (status != SR_OK)
        return status;
    own->source = SR_FN_GEOMETRY;
    own->fn_hz = geometry.fn_hz;
    snprintf(own->text, sizeof own->text, "natural frequency %.3g Hz (%.3g to %.3g) ", own->fn_hz.value,
             own->fn_hz.low, own->fn_hz.high);
    mount_append(own->text, sizeof own->text, "%s", geometry.text);
    return SR_OK;
}

static void take_none(struct sr_mount_own *own)
{
    own->source = SR_FN_NONE;
    own->fn_hz = (struct sr_interval){NAN, NAN, NAN};
    snprintf(
        own->text, sizeof own->text,
        "nothing tells the natural frequency of this mount: give resonance_hz, or the pieces (count, "
        "outer_mm, "
        "thickness_mm, camera_g, shore_a), in [mount] of the rig, or a log from the other side of the mount");
}

static void find_damping(struct sr_mount_own *own, const struct sr_mount_keys *mount,
                         const struct sr_identified *identified)
{
    if (given(mount->damping)) {
        own->damping = (struct sr_interval){mount->damping, mount->damping, mount->damping};
    } else if (identified != NULL) {
        own->damping = identified->damping;
    } else {
        own->damping = sr_rubber_damping(mount->material);
        own->damping_assumed = true;
        if (own->source != SR_FN_NONE)
            mount_append(own->text, sizeof own->text, "; damping ratio assumed %g (%g to %g)",
                         own->damping.value, own->damping.low, own->damping.high);
    }
}

enum sr_status sr_mount_resolve(struct sr_mount_own *own, const struct sr_rig *rig,
                                const struct sr_identified *identified, struct sr_error *err)
{
    const struct sr_mount_keys *mount = &rig->mount;
    struct sr_mount_own made = {.shore_a = mount->shore_a, .modulus_mpa = mount->modulus_mpa};

    if (given(mount->resonance_hz)) {
        take_measured(&made, mount, identified);
    } else if (identified != NULL) {
        take_identified(&made, identified);
    } else if (sr_mount_has_geometry(mount)) {
        enum sr_status status = take_geometry(&made, mount, err);
        if (status != SR_OK)
            return status;
    } else {
        take_none(&made);
    }
    find_damping(&made, mount, identified);
    made.law = sr_rubber_law_of(mount);
    made.temperature_assumed = !isfinite(mount->temperature_c);
    made.temperature_c = made.temperature_assumed ? ROOM_C : mount->temperature_c;
    *own = made;
    return SR_OK;
}

/* Modulus of the new pieces against the own. */
static enum sr_status hardness_ratio(struct sr_interval *ratio, const struct sr_mount_own *own,
                                     double shore_a, struct sr_error *err)
{
    if (isnan(shore_a)) {
        *ratio = (struct sr_interval){1, 1, 1};
        return SR_OK;
    }
    if (given(own->modulus_mpa)) {
        struct sr_interval modulus;
        enum sr_status status = sr_rubber_modulus(shore_a, &modulus, err);
        if (status == SR_OK)
            *ratio = (struct sr_interval){modulus.value / own->modulus_mpa, modulus.low / own->modulus_mpa,
                                          modulus.high / own->modulus_mpa};
        return status;
    }
    if (isnan(own->shore_a))
        return sr_fail(
            err, SR_ERR_DATA, NULL, 0,
            "the hardness of the pieces flown is not known, so others cannot be compared with them: give "
            "shore_a or modulus_mpa in [mount] of the rig");
    return sr_rubber_hardness_ratio(own->shore_a, shore_a, ratio, err);
}

enum sr_status sr_mount_scale(struct sr_mount_other *other, const struct sr_mount_own *own, double shore_a,
                              double temperature_c, struct sr_error *err)
{
    struct sr_mount_other made = {0};
    if (own->source == SR_FN_NONE)
        return sr_fail(err, SR_ERR_DATA, NULL, 0, "%s", own->text);
    enum sr_status status = hardness_ratio(&made.hardness_ratio, own, shore_a, err);
    if (status == SR_OK)
        status = sr_rubber_temperature_ratio(&own->law, own->temperature_c, temperature_c,
                                             &made.temperature_ratio, &made.outside, err);
    if (status != SR_OK)
        return status;
    made.fn_hz = mount_times(mount_times(own->fn_hz, mount_root(made.hardness_ratio)),
                             mount_root(made.temperature_ratio));
    *other = made;
    return SR_OK;
}

struct sr_isolator mount_controller(const struct sr_rig *rig)
{
    const struct sr_mount_keys *mount = &rig->mount;
    struct sr_isolator controller = {0, 0};
    if (rig->gyro_side != SR_GYRO_FRAME || !given(mount->fc_resonance_hz))
        return controller;
    controller.fn_hz = mount->fc_resonance_hz;
    controller.damping =
        given(mount->fc_damping) ? mount->fc_damping : sr_rubber_damping(SR_MATERIAL_UNKNOWN).value;
    return controller;
}

/* The rig tells of pieces between frame and camera. */
static bool has_pieces(const struct sr_mount_keys *mount)
{
    return given(mount->shore_a) || given(mount->modulus_mpa) || given(mount->count) ||
           given(mount->outer_mm) || given(mount->thickness_mm) || mount->material != SR_MATERIAL_UNKNOWN;
}

static void say_applied(const struct sr_mount_own *own, bool through, const struct sr_rig *rig,
                        const struct sr_isolator *controller, char *text, size_t size)
{
    if (text == NULL || size == 0)
        return;
    text[0] = '\0';
    if (through)
        snprintf(text, size, "seen through the camera's mount: %s", own->text);
    else if (own->source == SR_FN_GEOMETRY)
        snprintf(text, size,
                 "the mount's natural frequency is only worked out from its pieces, so this is the wobble of "
                 "a camera "
                 "fixed to the frame; 'mounts' works with the guess");
    else if (rig->gyro_side == SR_GYRO_FRAME && has_pieces(&rig->mount))
        snprintf(text, size,
                 "the mount's natural frequency is not known, so this is the wobble of a camera fixed to the "
                 "frame; 'mounts' says what would tell it");
    if (controller->fn_hz > 0)
        mount_append(text, size,
                     "%sthe controller's own soft mount (%.4g Hz) is divided out, by at most 10 dB",
                     text[0] != '\0' ? "; " : "", controller->fn_hz);
}

enum sr_status sr_mount_apply(struct sr_view *view, const struct sr_rig *rig, char *text, size_t size,
                              struct sr_error *err)
{
    const struct sr_isolator controller = mount_controller(rig);
    struct sr_mount_own own = {.source = SR_FN_NONE};
    bool through = false;

    if (rig->gyro_side == SR_GYRO_FRAME) {
        /* A rig with impossible pieces scores like one without: 'mounts' is where it is refused. */
        if (sr_mount_resolve(&own, rig, NULL, NULL) != SR_OK)
            own.source = SR_FN_NONE;
        through = own.source == SR_FN_MEASURED;
    }
    if (through || controller.fn_hz > 0) {
        double *power = calloc(view->bins, sizeof *power);
        if (power == NULL)
            return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for a mount over %zu bins",
                           view->bins);
        const struct sr_isolator isolator = {own.fn_hz.value, own.damping.value};
        for (size_t k = 0; k < view->bins; k++)
            power[k] = 1;
        if (through)
            sr_isolator_bins(&isolator, view->bin_hz, view->bins, power);
        if (controller.fn_hz > 0)
            sr_isolator_undo(&controller, CONTROLLER_LEAST, view->bin_hz, view->bins, power);
        sr_view_scale(view, power);
        free(power);
    }
    say_applied(&own, through, rig, &controller, text, size);
    return SR_OK;
}
