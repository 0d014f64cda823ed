/* SPDX-License-Identifier: GPL-3.0-or-later */
/* An explanation as text or JSON. Belongs to the present room. */
#ifndef STILLROW_EXPLAIN_REPORT_H
#define STILLROW_EXPLAIN_REPORT_H

#include <stdio.h>

#include "stillrow/explain.h"
#include "stillrow/present.h"

#ifdef __cplusplus
extern "C" {
#endif

/* A scored flight with its causes, and what to try. Nothing is owned. */
struct sr_explain_report {
    struct sr_score_report score;
    const struct sr_causes *causes;
    const struct sr_change *change;
    const struct sr_trial *trials; /* [n_trials] best first */
    size_t n_trials;
};

void sr_explain_text(FILE *out, const struct sr_style *style, const struct sr_explain_report *report);

/* One line of JSON, schema "stillrow.explain/1" (docs/json.md). Errors: SR_ERR_MEMORY, SR_ERR_WRITE. */
enum sr_status sr_explain_json(FILE *out, const struct sr_explain_report *report, struct sr_error *err);

#ifdef __cplusplus
}
#endif
#endif
