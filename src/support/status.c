/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stillrow/status.h"

#include <stdarg.h>
#include <stdio.h>

const char *sr_status_text(enum sr_status status)
{
    switch (status) {
    case SR_OK:
        return "fine";
    case SR_ERR_ARGUMENT:
        return "value out of range";
    case SR_ERR_MEMORY:
        return "out of memory";
    case SR_ERR_OPEN:
        return "cannot open";
    case SR_ERR_READ:
        return "cannot read";
    case SR_ERR_WRITE:
        return "cannot write";
    case SR_ERR_FORMAT:
        return "not the kind of file expected";
    case SR_ERR_COLUMNS:
        return "a needed column is missing";
    case SR_ERR_TIME:
        return "the time base makes no sense";
    case SR_ERR_SHORT:
        return "too little usable data";
    case SR_ERR_RATE:
        return "sampled too slowly";
    case SR_ERR_RIG:
        return "rig file is wrong";
    case SR_ERR_DATA:
        return "the data cannot carry this";
    case SR_ERR_PLOT:
        return "cannot draw";
    case SR_ERR_LOCK:
        return "held by another writer";
    case SR_STATUS_COUNT:
        break;
    }
    return "unknown status";
}

enum sr_status sr_fail(struct sr_error *err, enum sr_status status, const char *file, size_t line,
                       const char *format, ...)
{
    if (err == NULL)
        return status;

    va_list args;
    err->status = status;
    err->line = line;
    snprintf(err->file, sizeof err->file, "%s", file != NULL ? file : "");
    va_start(args, format);
    vsnprintf(err->text, sizeof err->text, format, args);
    va_end(args);
    return status;
}
