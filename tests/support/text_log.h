/* SPDX-License-Identifier: GPL-3.0-or-later */
/* CSV text built in memory, and read as a log. */
#ifndef SUPPORT_TEXT_LOG_H
#define SUPPORT_TEXT_LOG_H

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "stillrow/log.h"

struct text {
    char *bytes;
    size_t size;
    size_t room;
};

static inline void text_bytes(struct text *text, const char *bytes, size_t size)
{
    if (text->size + size + 1 > text->room) {
        text->room = 2 * (text->size + size) + 4096;
        text->bytes = realloc(text->bytes, text->room);
        if (text->bytes == NULL)
            abort();
    }
    memcpy(text->bytes + text->size, bytes, size);
    text->size += size;
    text->bytes[text->size] = '\0';
}

static inline void text_add(struct text *text, const char *format, ...) __attribute__((format(printf, 2, 3)));
static inline void text_add(struct text *text, const char *format, ...)
{
    char line[4096];
    va_list args;

    va_start(args, format);
    const int n = vsnprintf(line, sizeof line, format, args);
    va_end(args);
    if (n < 0 || (size_t)n >= sizeof line)
        abort();
    text_bytes(text, line, (size_t)n);
}

static inline void text_free(struct text *text)
{
    free(text->bytes);
    *text = (struct text){0};
}

/* Read it; the text stays. */
static inline enum sr_status text_read(const struct text *text, const struct sr_log_options *options,
                                       struct sr_log *log, struct sr_error *err)
{
    FILE *stream = text->size > 0 ? fmemopen(text->bytes, text->size, "rb") : fopen("/dev/null", "rb");

    memset(log, 0, sizeof *log);
    memset(err, 0, sizeof *err);
    if (stream == NULL)
        abort();
    const enum sr_status status = sr_log_read_stream(log, stream, "flight.csv", options, err);
    fclose(stream);
    return status;
}

/* A note of the log has this in it. */
static inline bool has_note(const struct sr_log *log, const char *part)
{
    for (size_t i = 0; i < log->n_notes; i++)
        if (strstr(log->notes[i], part) != NULL)
            return true;
    return false;
}

#endif
