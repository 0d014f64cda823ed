/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "present/plot_script.h"

#include <locale.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "present/plot_words.h"

enum { TEXT_MOST = 400 }; /* characters of one text: no picture shows more */

/*
 * Characters that never stand in a string of ours, and the variables that stand for
 * them. gnuplot 5.4 misreads its own way, two single quotes for one, where two such
 * pairs meet ('a''''b'): the rest of the text would run as commands. A quote within
 * double quotes makes it lose count of what is quoted, and expand @macros.
 */
static const struct {
    char c;
    const char *name, *code; /* code: an octal escape */
} kept_out[] = {{'\'', "apostrophe", "\\047"}, {'`', "backtick", "\\140"}, {'@', "at", "\\100"}};
#define N_KEPT_OUT (sizeof kept_out / sizeof kept_out[0])

static bool reserve(struct sr_script *script, size_t more)
{
    if (script->failed)
        return false;
    if (script->data != NULL && script->length + more < script->room)
        return true;
    size_t room = script->room < 4096 ? 4096 : script->room * 2;
    while (room <= script->length + more)
        room *= 2;
    char *data = realloc(script->data, room);
    if (data == NULL) {
        script->failed = true;
        return false;
    }
    script->data = data;
    script->room = room;
    return true;
}

static void append(struct sr_script *script, const char *text, size_t n)
{
    if (!reserve(script, n))
        return;
    memcpy(script->data + script->length, text, n);
    script->length += n;
    script->data[script->length] = '\0';
}

/* The caller's locale may write a comma; our own formats hold none that follows a digit and precedes one. */
static void point_out(char *text, size_t n)
{
    const char *point = localeconv()->decimal_point;

    if (strcmp(point, ",") != 0)
        return;
    for (size_t i = 1; i + 1 < n; i++)
        if (text[i] == ',' && strchr("0123456789", text[i - 1]) != NULL &&
            strchr("0123456789", text[i + 1]) != NULL)
            text[i] = '.';
}

void sr_script_add(struct sr_script *script, const char *format, ...)
{
    char line[1024]; /* no line of ours is longer: texts and data do not come this way */
    va_list args;

    va_start(args, format);
    int n = vsnprintf(line, sizeof line, format, args);
    va_end(args);
    if (n < 0 || (size_t)n >= sizeof line) {
        script->failed = true;
        return;
    }
    point_out(line, (size_t)n);
    append(script, line, (size_t)n);
}

void sr_script_begin(struct sr_script *script)
{
    for (size_t k = 0; k < N_KEPT_OUT; k++)
        sr_script_add(script, "%s = \"%s\"\n", kept_out[k].name, kept_out[k].code);
}

void sr_script_text(struct sr_script *script, const char *text)
{
    char clean[TEXT_MOST * 4 + 1];

    sr_words_clean(text, TEXT_MOST, clean, sizeof clean);
    append(script, "'", 1);
    for (const char *s = clean; *s != '\0'; s++) {
        size_t k = 0;
        while (k < N_KEPT_OUT && kept_out[k].c != *s)
            k++;
        if (k < N_KEPT_OUT)
            sr_script_add(script, "' . %s . '", kept_out[k].name);
        else
            append(script, s, 1);
    }
    append(script, "'", 1);
}

void sr_script_number(struct sr_script *script, double value)
{
    if (isfinite(value))
        sr_script_add(script, "%.5g", value);
    else
        append(script, "NaN", 3);
}

enum sr_status sr_script_check(const struct sr_script *script, struct sr_error *err)
{
    if (script->failed || script->data == NULL)
        return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "no memory for a plot's script");
    return SR_OK;
}

void sr_script_release(struct sr_script *script)
{
    free(script->data);
    script->data = NULL;
    script->length = script->room = 0;
    script->failed = false;
}
