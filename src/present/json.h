/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Building JSON without checking every step: a builder remembers the first failure
 * (memory is the only one), takes ownership of every value given to it, and is
 * checked once, when it is written.
 */
#ifndef PRESENT_JSON_H
#define PRESENT_JSON_H

#include <jansson.h>
#include <stdbool.h>
#include <stdio.h>

#include "stillrow/camera.h"
#include "stillrow/log.h"
#include "stillrow/rig.h"
#include "stillrow/status.h"

/* A number; null if it is not finite. */
json_t *sr_json_number(double value);
/* A count. */
json_t *sr_json_count(uint64_t value);
/* A text; bytes that are no UTF-8 become U+FFFD. */
json_t *sr_json_text(const char *text);

/* object[key] = value, array += value; the value is taken over. *failed is set on failure, incl. a NULL
 * value. */
void sr_json_set(json_t *object, const char *key, json_t *value, bool *failed);
void sr_json_add(json_t *array, json_t *value, bool *failed);

/* Write `root` (taken over) as one line, numbers with 6 significant digits. Errors: SR_ERR_MEMORY,
 * SR_ERR_WRITE. */
enum sr_status sr_json_write(FILE *out, json_t *root, bool failed, struct sr_error *err);

/* Parts that several schemas share. NULL on failure. */
json_t *sr_json_camera(const struct sr_rig *rig, bool *failed);
json_t *sr_json_quality(const struct sr_log *log, bool *failed);

#endif
