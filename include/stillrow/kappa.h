/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * How rubber changes with temperature, from natural frequencies that people measured
 * on their mounts. Belongs to the ledger room.
 */
#ifndef STILLROW_KAPPA_H
#define STILLROW_KAPPA_H

#include <stddef.h>

#include "stillrow/ledger.h"
#include "stillrow/rig.h"
#include "stillrow/status.h"
#include "stillrow/wobble.h"

#ifdef __cplusplus
extern "C" {
#endif

#define SR_KAPPA_MEASURED_MIN 5    /* measured resonances, of mounts measured at two temperatures or more */
#define SR_KAPPA_SPREAD_MIN_C 10.0 /* [K] between the coldest and the warmest of one mount */

struct sr_kappa {
    struct sr_interval kappa; /* [1/K] of E(T) = E(T0) exp(-kappa (T - T0)); 95 % interval by Student's t */
    size_t measured;          /* resonances used; the same one of several flights counts once */
    size_t mounts;            /* they are from: build, motor, prop, hardness, material and camera alike */
    double from_c, to_c;      /* [deg C] coldest and warmest */
    double scatter;           /* standard deviation of a resonance about the fit, relative */
};

/*
 * Fit kappa to the rows with a resonance_hz and a temperature_c. A natural frequency goes with the root of
 * the modulus, so ln(fn) falls by kappa / 2 a kelvin: least squares with one slope for all mounts and a level
 * for each, since masses and shapes differ. material: rows of this one; SR_MATERIAL_UNKNOWN: all, if they
 * name no more than one.
 *
 * Errors: SR_ERR_DATA (too few, too little spread in temperature, several materials; the text says what it
 * takes), SR_ERR_MEMORY.
 */
enum sr_status sr_ledger_kappa(struct sr_kappa *kappa, const struct sr_ledger *ledger,
                               enum sr_material material, struct sr_error *err);

#ifdef __cplusplus
}
#endif
#endif
