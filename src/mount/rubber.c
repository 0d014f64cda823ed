/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Hardness and temperature to stiffness, with how far to trust it. */
#include "stillrow/mount.h"

#include <gsl/gsl_math.h>
#include <math.h>
#include <stdio.h>

#define ZERO_C_K 273.15 /* [K] 0 C */

/* Published conversions of hardness lie between these multiples of Gent's. */
#define GENT_LOW  0.8
#define GENT_HIGH 1.5
/* ... and between these powers of his ratio of two hardnesses. */
#define STEEP_LOW  0.8
#define STEEP_HIGH 1.45

#define FAMILIAR_LOW_C  5.0 /* natural rubber and silicone hardly change between these */
#define FAMILIAR_HIGH_C 40.0
#define BAND_STEP_K     10.0 /* the +- band is whole from this step on */
#define RIG_LOW_C       (-60.0)
#define RIG_HIGH_C      120.0

/* WLF about the glass transition, Williams, Landel and Ferry 1955. */
#define UNIVERSAL_C1     17.44
#define UNIVERSAL_C2_K   51.6
#define TPU_GLASS_LOW_C  (-50.0) /* [C] span of TPU grades, and a middling one */
#define TPU_GLASS_HIGH_C (-30.0)
#define TPU_GLASS_C      (-32.0)
#define TPU_LOSS_LOW     0.10
#define TPU_LOSS_HIGH    0.20
#define TPU_LOSS         0.15

/* One material whose stiffness hardly changes, and the model that widens its band outside. */
struct steady_rubber {
    double band;           /* +- share */
    double c1, c2_k, at_c; /* Ferry 1980, table 11-II */
    double loss_low, loss_high;
};

static const struct steady_rubber natural_rubber = {0.10, 5.94, 151.6, 298 - ZERO_C_K, 0.05, 0.20};
static const struct steady_rubber silicone = {0.05, 1.90, 222.0, 303 - ZERO_C_K, 0.05, 0.30};

static double gent_mpa(double shore_a)
{
    return 0.0981 * (56 + 7.62336 * shore_a) / (0.137505 * (254 - 2.54 * shore_a));
}

static enum sr_status check_shore(double shore_a, struct sr_error *err)
{
    if (shore_a >= SR_SHORE_LOW && shore_a <= SR_SHORE_HIGH)
        return SR_OK;
    return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0,
                   "hardness %g Shore A is outside %g to %g, where it tells a stiffness; give the maker's "
                   "modulus instead (modulus_mpa)",
                   shore_a, SR_SHORE_LOW, SR_SHORE_HIGH);
}

enum sr_status sr_rubber_modulus(double shore_a, struct sr_interval *modulus_mpa, struct sr_error *err)
{
    enum sr_status status = check_shore(shore_a, err);
    if (status != SR_OK)
        return status;
    modulus_mpa->value = gent_mpa(shore_a);
    modulus_mpa->low = GENT_LOW * modulus_mpa->value;
    modulus_mpa->high = GENT_HIGH * modulus_mpa->value;
    return SR_OK;
}

double sr_rubber_shore(double modulus_mpa)
{
    /* E a (254 - 2.54 S) = b (56 + 7.62336 S) */
    double a = 0.137505 * modulus_mpa, b = 0.0981;
    return (254 * a - 56 * b) / (7.62336 * b + 2.54 * a);
}

enum sr_status sr_rubber_hardness_ratio(double from_shore_a, double to_shore_a, struct sr_interval *ratio,
                                        struct sr_error *err)
{
    enum sr_status status = check_shore(from_shore_a, err);
    if (status == SR_OK)
        status = check_shore(to_shore_a, err);
    if (status != SR_OK)
        return status;
    double gent = gent_mpa(to_shore_a) / gent_mpa(from_shore_a);
    double mild = pow(gent, STEEP_LOW), steep = pow(gent, STEEP_HIGH);
    *ratio = (struct sr_interval){gent, fmin(mild, steep), fmax(mild, steep)};
    return SR_OK;
}

struct sr_rubber_law sr_rubber_law_of(const struct sr_mount_keys *mount)
{
    return (struct sr_rubber_law){mount->material, mount->kappa, NAN, NAN};
}

double sr_rubber_wlf_ratio(double c1, double c2_k, double reference_c, double loss_factor, double from_c,
                           double to_c)
{
    double from = from_c - reference_c, to = to_c - reference_c;
    if (!(c2_k + from > 0 && c2_k + to > 0))
        return NAN;
    double shift = -c1 * to / (c2_k + to) + c1 * from / (c2_k + from);
    return (to_c + ZERO_C_K) / (from_c + ZERO_C_K) * pow(10, shift * 2 / M_PI * atan(loss_factor));
}

static void widen(struct sr_interval *range, double value)
{
    range->low = fmin(range->low, value);
    range->high = fmax(range->high, value);
}

static bool familiar(double celsius)
{
    return celsius >= FAMILIAR_LOW_C && celsius <= FAMILIAR_HIGH_C;
}

static struct sr_interval steady_ratio(const struct steady_rubber *rubber, double from_c, double to_c)
{
    double band = rubber->band * fmin(1, fabs(to_c - from_c) / BAND_STEP_K);
    struct sr_interval ratio = {1, 1 - band, 1 + band};
    if (familiar(from_c) && familiar(to_c))
        return ratio;
    widen(&ratio,
          sr_rubber_wlf_ratio(rubber->c1, rubber->c2_k, rubber->at_c, rubber->loss_low, from_c, to_c));
    widen(&ratio,
          sr_rubber_wlf_ratio(rubber->c1, rubber->c2_k, rubber->at_c, rubber->loss_high, from_c, to_c));
    return ratio;
}

static double tpu_at(double glass_c, double loss, double from_c, double to_c)
{
    return sr_rubber_wlf_ratio(UNIVERSAL_C1, UNIVERSAL_C2_K, glass_c, loss, from_c, to_c);
}

static struct sr_interval tpu_ratio(double from_c, double to_c)
{
    double value = tpu_at(TPU_GLASS_C, TPU_LOSS, from_c, to_c);
    struct sr_interval ratio = {value, value, value};
    widen(&ratio, tpu_at(TPU_GLASS_LOW_C, TPU_LOSS_LOW, from_c, to_c));
    widen(&ratio, tpu_at(TPU_GLASS_LOW_C, TPU_LOSS_HIGH, from_c, to_c));
    widen(&ratio, tpu_at(TPU_GLASS_HIGH_C, TPU_LOSS_LOW, from_c, to_c));
    widen(&ratio, tpu_at(TPU_GLASS_HIGH_C, TPU_LOSS_HIGH, from_c, to_c));
    return ratio;
}

static struct sr_interval unknown_ratio(double from_c, double to_c)
{
    struct sr_interval most = tpu_ratio(from_c, to_c), ratio = steady_ratio(&natural_rubber, from_c, to_c);
    struct sr_interval least = steady_ratio(&silicone, from_c, to_c);
    ratio.value = sqrt(most.value);
    widen(&ratio, most.low);
    widen(&ratio, most.high);
    widen(&ratio, least.low);
    widen(&ratio, least.high);
    return ratio;
}

static struct sr_interval kappa_ratio(const struct sr_rubber_law *law, double from_c, double to_c)
{
    double step = to_c - from_c, value = exp(-law->kappa * step);
    struct sr_interval ratio = {value, value, value};
    if (isfinite(law->kappa_low))
        widen(&ratio, exp(-law->kappa_low * step));
    if (isfinite(law->kappa_high))
        widen(&ratio, exp(-law->kappa_high * step));
    return ratio;
}

/* Above its glass transition and below where the shift was ever fitted. */
static enum sr_status check_reach(const struct sr_rubber_law *law, double celsius, struct sr_error *err)
{
    bool glassy = law->material == SR_MATERIAL_TPU || law->material == SR_MATERIAL_UNKNOWN;
    double low = glassy ? -25 : -40, high = glassy ? 60 : 80;
    if (!(celsius >= RIG_LOW_C && celsius <= RIG_HIGH_C))
        return sr_fail(err, SR_ERR_ARGUMENT, NULL, 0, "temperature %g C is outside %g to %g", celsius,
                       RIG_LOW_C, RIG_HIGH_C);
    if (isfinite(law->kappa) || (celsius >= low && celsius <= high))
        return SR_OK;
    return sr_fail(
        err, SR_ERR_DATA, NULL, 0,
        "%g C is outside %g to %g C, where the stiffness of %s can be foretold; give a kappa measured there",
        celsius, low, high,
        law->material == SR_MATERIAL_UNKNOWN ? "an unknown material" : sr_material_name(law->material));
}

enum sr_status sr_rubber_temperature_ratio(const struct sr_rubber_law *law, double from_c, double to_c,
                                           struct sr_interval *ratio, bool *outside, struct sr_error *err)
{
    enum sr_status status = check_reach(law, from_c, err);
    if (status == SR_OK)
        status = check_reach(law, to_c, err);
    if (status != SR_OK)
        return status;

    if (to_c == from_c) /* NOLINT: exactly the same pieces */
        *ratio = (struct sr_interval){1, 1, 1};
    else if (isfinite(law->kappa))
        *ratio = kappa_ratio(law, from_c, to_c);
    else if (law->material == SR_MATERIAL_NATURAL_RUBBER)
        *ratio = steady_ratio(&natural_rubber, from_c, to_c);
    else if (law->material == SR_MATERIAL_SILICONE)
        *ratio = steady_ratio(&silicone, from_c, to_c);
    else if (law->material == SR_MATERIAL_TPU)
        *ratio = tpu_ratio(from_c, to_c);
    else
        *ratio = unknown_ratio(from_c, to_c);
    if (outside != NULL)
        *outside = !familiar(to_c) && !isfinite(law->kappa);
    return SR_OK;
}

void sr_rubber_law_text(const struct sr_rubber_law *law, char *text, size_t size)
{
    if (isfinite(law->kappa)) {
        snprintf(text, size, "stiffness falls by %.2g %% per kelvin (kappa)", 100 * law->kappa);
        return;
    }
    switch (law->material) {
    case SR_MATERIAL_NATURAL_RUBBER:
        snprintf(text, size,
                 "natural rubber is taken to keep its stiffness within 10 %% from %g to %g C; what it does "
                 "outside "
                 "is a wide guess",
                 FAMILIAR_LOW_C, FAMILIAR_HIGH_C);
        break;
    case SR_MATERIAL_SILICONE:
        snprintf(
            text, size,
            "silicone is taken to keep its stiffness within 5 %% from %g to %g C; what it does outside is a "
            "guess",
            FAMILIAR_LOW_C, FAMILIAR_HIGH_C);
        break;
    case SR_MATERIAL_TPU:
        snprintf(text, size,
                 "TPU stiffens in the cold by the WLF shift, for grades with a glass transition of %g to %g "
                 "C and a "
                 "loss factor of %g to %g",
                 TPU_GLASS_LOW_C, TPU_GLASS_HIGH_C, TPU_LOSS_LOW, TPU_LOSS_HIGH);
        break;
    case SR_MATERIAL_UNKNOWN:
        snprintf(
            text, size,
            "the material of the pieces is not given, so temperature counts half as much as for TPU, with a "
            "range from silicone to TPU");
        break;
    }
}

struct sr_interval sr_rubber_damping(enum sr_material material)
{
    switch (material) {
    case SR_MATERIAL_NATURAL_RUBBER:
        return (struct sr_interval){0.05, 0.025, 0.10};
    case SR_MATERIAL_SILICONE:
        return (struct sr_interval){0.07, 0.03, 0.15};
    case SR_MATERIAL_TPU:
        return (struct sr_interval){0.075, 0.05, 0.10};
    case SR_MATERIAL_UNKNOWN:
        break;
    }
    return (struct sr_interval){0.075, 0.025, 0.15};
}
