/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The fields of a score, which an explanation has too. */
#ifndef PRESENT_SCORE_JSON_H
#define PRESENT_SCORE_JSON_H

#include "json.h"
#include "stillrow/present.h"

/* An object with every field of a score and the given schema name; NULL or *failed on failure. */
json_t *sr_json_score(const struct sr_score_report *report, const char *schema, bool *failed);

#endif
