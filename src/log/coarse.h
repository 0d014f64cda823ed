/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Stamps too coarse, or too late, to be gone by: times are rebuilt from row counts. */
#ifndef SR_LOG_COARSE_H
#define SR_LOG_COARSE_H

#include "log/steps.h"
#include "stillrow/log.h"

/* Make runs, rate and time figures of a log whose stamps are coarse. Errors: SR_ERR_TIME, SR_ERR_MEMORY. */
enum sr_status sr_coarse_rebuild(struct sr_log *log, struct sr_store *store, const struct sr_steps *steps,
                                 struct sr_error *err);

#endif
