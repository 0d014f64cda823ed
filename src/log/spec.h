/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * "time=NAME,x=NAME,y=3,…": the columns that the user names.
 * A value of digits alone is a 1-based column number, anything else a name.
 */
#ifndef SR_LOG_SPEC_H
#define SR_LOG_SPEC_H

#include <stdbool.h>
#include <stddef.h>

#include "log/names.h"
#include "stillrow/log.h"

enum sr_spec_key {
    SR_SPEC_TIME = 0,
    SR_SPEC_X,
    SR_SPEC_Y,
    SR_SPEC_Z,
    SR_SPEC_THROTTLE,
    SR_SPEC_MOTOR,
    SR_SPEC_KEYS = SR_SPEC_MOTOR + SR_MOTORS_MAX
};

struct sr_spec_item {
    const char *text; /* into the options' text, NULL: not given */
    size_t size;
    size_t number; /* 1-based column, 0: a name */
};

struct sr_spec {
    struct sr_spec_item item[SR_SPEC_KEYS];
    bool given;   /* anything at all */
    bool numbers; /* the rates (and the time, where one is named) are given by number */
};

/* Read `text` (NULL: nothing named). Errors: SR_ERR_ARGUMENT. */
enum sr_status sr_spec_read(struct sr_spec *spec, const char *text, struct sr_error *err);

/* What the user calls a key: "time", "x", "motor3". key below SR_SPEC_KEYS. */
const char *sr_spec_key_name(size_t key);

/*
 * The column an item means among name[count]: exact text, else without regard to
 * case, else the same words. -1: none, -2: more than one.
 */
int sr_spec_find(const struct sr_spec_item *item, const struct sr_name *name, size_t count);

#endif
