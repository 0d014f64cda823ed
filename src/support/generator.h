/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * GSL's Mersenne twister on memory of our own. gsl_rng_alloc() is not used: where there is no memory it calls
 * GSL's error handler, which ends the program, and a library may not change that handler for everybody.
 */
#ifndef SR_SUPPORT_GENERATOR_H
#define SR_SUPPORT_GENERATOR_H

#include <gsl/gsl_rng.h>
#include <stdbool.h>
#include <stdlib.h>

/* Start from `seed`; the numbers are gsl_rng_mt19937's. false: out of memory. Release in any case. */
static inline bool sr_generator_init(gsl_rng *generator, unsigned long seed)
{
    *generator = (gsl_rng){.type = gsl_rng_mt19937, .state = calloc(1, gsl_rng_mt19937->size)};
    if (generator->state == NULL)
        return false;
    gsl_rng_set(generator, seed);
    return true;
}

static inline void sr_generator_release(gsl_rng *generator)
{
    free(generator->state);
    generator->state = NULL;
}

#endif
