/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Text that comes in from outside: whole files, and words that go on into tables, JSON and plots. */
#include "camera/rig_private.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define FILE_MAX ((size_t)1 << 20)

/* Bytes of the UTF-8 character at s, 0 if it is none: RFC 3629, table 3-7 of Unicode. */
static size_t utf8_length(const unsigned char *s)
{
    const unsigned char low = s[0] == 0xE0 ? 0xA0 : s[0] == 0xF0 ? 0x90 : 0x80;
    const unsigned char high = s[0] == 0xED ? 0x9F : s[0] == 0xF4 ? 0x8F : 0xBF;
    const size_t n = s[0] < 0x80                    ? 1
                     : s[0] >= 0xC2 && s[0] <= 0xDF ? 2
                     : (s[0] & 0xF0) == 0xE0        ? 3
                     : s[0] >= 0xF0 && s[0] <= 0xF4 ? 4
                                                    : 0;
    if (n > 1 && (s[1] < low || s[1] > high))
        return 0;
    for (size_t i = 2; i < n; i++) {
        if ((s[i] & 0xC0) != 0x80)
            return 0;
    }
    return n;
}

/* C0, DEL and C1 (U+0080 to U+009F): what could steer a terminal. */
static bool control(const unsigned char *s)
{
    return s[0] < 0x20 || s[0] == 0x7F || (s[0] == 0xC2 && s[1] < 0xA0);
}

const char *rig_text_problem(const char *text)
{
    if (strlen(text) >= SR_TEXT_MAX)
        return "is longer than 95 bytes";
    for (size_t n; *text != '\0'; text += n) {
        n = utf8_length((const unsigned char *)text);
        if (n == 0)
            return "is not UTF-8";
        if (control((const unsigned char *)text))
            return "holds a control character";
    }
    return NULL;
}
_Static_assert(SR_TEXT_MAX == 96, "the text above says 95");

const char *rig_quote(const char *text, size_t length, struct rig_quoted *quoted)
{
    size_t used = 0;
    size_t at = 0;
    quoted->text[used++] = '\'';
    while (at < length && text[at] != '\0' && used < sizeof quoted->text - 9) {
        const unsigned char *const s = (const unsigned char *)text + at;
        size_t n = utf8_length(s);
        const bool shown = n > 0 && n <= length - at && !control(s);
        n = shown ? n : 1;
        memcpy(quoted->text + used, shown ? text + at : "?", n);
        used += n;
        at += n;
    }
    memcpy(quoted->text + used, at < length ? "...'" : "'", at < length ? 5 : 2);
    return quoted->text;
}

static enum sr_status read_all(FILE *file, const char *name, char *text, struct sr_error *err)
{
    const size_t length = fread(text, 1, FILE_MAX + 1, file);
    if (ferror(file))
        return sr_fail(err, SR_ERR_READ, name, 0, "cannot read: %s", strerror(errno));
    if (length > FILE_MAX)
        return sr_fail(err, SR_ERR_RIG, name, 0, "larger than 1 MiB, so no rig file");
    text[length] = '\0';
    const char *const zero = memchr(text, '\0', length);
    if (zero == NULL)
        return SR_OK;
    size_t line = 1;
    for (const char *c = text; c < zero; c++)
        line += *c == '\n';
    return sr_fail(err, SR_ERR_RIG, name, line, "holds a zero byte, so no text file");
}

enum sr_status rig_load(const char *path, const char *name, char **text, struct sr_error *err)
{
    char *room = malloc(FILE_MAX + 2);
    if (room == NULL)
        return sr_fail(err, SR_ERR_MEMORY, name, 0, "no memory to read a rig file");
    FILE *file = fopen(path, "rb");
    enum sr_status status;
    if (file == NULL) {
        status = sr_fail(err, SR_ERR_OPEN, name, 0, "cannot open: %s", strerror(errno));
        goto no_file;
    }
    status = read_all(file, name, room, err);
    fclose(file);
    if (status == SR_OK) {
        *text = room;
        return SR_OK;
    }
no_file:
    free(room);
    return status;
}

const char *rig_behind_mark(const char *text)
{
    return strncmp(text, "\xEF\xBB\xBF", 3) == 0 ? text + 3 : text;
}
