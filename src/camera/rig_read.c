/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Rig files: inih splits lines into key and value. The lines are handed to it by
 * next_line(), which also counts them (so that errors carry their line), takes
 * comments off, and reads the section headers, of which inih would cut long ones and
 * drop what follows the bracket without a word.
 */
#include "camera/rig_private.h"
#include "support/plain_locale.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <ini.h>

struct parse {
    const char *at; /* rest of the text */
    const char *name;
    size_t line; /* number of the line last handed out */
    char section[SR_TEXT_MAX + 16];
    size_t mode; /* of the section, SR_MODES_MAX: none */
    struct sr_rig rig;
    size_t set_on[SR_MODES_MAX + 1][RIG_KEYS_MAX]; /* line that set a key, 0: none yet */
    struct sr_error err;                           /* the first that was met */
};

static void fail_here(struct parse *parse, const char *text)
{
    if (parse->err.status == SR_OK)
        sr_fail(&parse->err, SR_ERR_RIG, parse->name, parse->line, "%s", text);
}

/* Length of what counts of a line: without the comment and the blanks before it. */
static size_t content_length(const char *line, size_t length)
{
    if (length > 0 && (line[0] == ';' || line[0] == '#'))
        return 0;
    for (size_t i = 1; i < length; i++) {
        if (line[i] == ';' && rig_is_blank(line[i - 1]))
            length = i;
    }
    while (length > 0 && rig_is_blank(line[length - 1]))
        length--;
    return length;
}

/* line: "[...", length bytes. */
static void open_section(struct parse *parse, const char *line, size_t length)
{
    struct sr_error err;
    size_t from = 1;
    size_t to = length - 1;
    if (length < 2 || line[length - 1] != ']' || memchr(line, ']', length - 1) != NULL) {
        char text[160];
        struct rig_quoted quoted;
        snprintf(text, sizeof text, "expected a [section] alone on its line, found %s",
                 rig_quote(line, length, &quoted));
        fail_here(parse, text);
        return;
    }
    while (from < to && rig_is_blank(line[from]))
        from++;
    while (to > from && rig_is_blank(line[to - 1]))
        to--;
    if (to - from >= sizeof parse->section) {
        fail_here(parse, "section name is too long");
        return;
    }
    memcpy(parse->section, line + from, to - from);
    parse->section[to - from] = '\0';
    const char *const mode = rig_mode_name(parse->section);
    if (mode != NULL && mode > parse->section + 5) /* one space will do before a mode's name */
        memmove(parse->section + 5, mode, strlen(mode) + 1);
    if (mode != NULL && parse->section[4] == '\t')
        parse->section[4] = ' ';
    if (rig_section(&parse->rig, parse->section, &parse->mode, &err) != SR_OK)
        fail_here(parse, err.text);
}

/* An ini_reader: the next line's content, newline added, NULL at the end. */
static char *next_line(char *buffer, int size, void *user)
{
    struct parse *const parse = user;
    const char *line = parse->at;
    if (*line == '\0')
        return NULL;
    size_t length = strcspn(line, "\n");
    parse->at = line + length + (line[length] == '\n' ? 1 : 0);
    parse->line++;
    while (length > 0 && rig_is_blank(*line)) {
        line++;
        length--;
    }
    length = content_length(line, length);
    if (length + 2 > (size_t)size) {
        char text[96];
        snprintf(text, sizeof text, "line of %zu bytes is longer than %d", length, size - 2);
        fail_here(parse, text);
        length = 0;
    }
    if (length > 0 && line[0] == '[')
        open_section(parse, line, length);
    memcpy(buffer, line, length);
    memcpy(buffer + length, "\n", 2);
    return buffer;
}

/* An ini_handler. Always content, so that inih's own verdict tells of syntax alone. */
static int take(void *user, const char *section, const char *name, const char *value)
{
    struct parse *const parse = user;
    struct sr_error err;
    (void)section; /* parse->section is whole */
    if (parse->err.status != SR_OK)
        return 1;
    if (name[0] == '\0' || value == NULL) {
        fail_here(parse, "expected 'key = value'");
        return 1;
    }
    if (parse->section[0] == '\0') {
        struct rig_quoted quoted;
        sr_fail(&parse->err, SR_ERR_RIG, parse->name, parse->line, "%s stands before the first [section]",
                rig_quote(name, strlen(name), &quoted));
        return 1;
    }
    if (rig_apply(&parse->rig, parse->section, name, value, &err) != SR_OK) {
        fail_here(parse, err.text);
        return 1;
    }
    size_t *const set_on = &parse->set_on[parse->mode][rig_target_find(parse->section, name)];
    if (*set_on != 0)
        sr_fail(&parse->err, SR_ERR_RIG, parse->name, parse->line,
                "%s is set twice in [%s], first on line %zu", name, parse->section, *set_on);
    *set_on = parse->line;
    return 1;
}

/* inih stopped making sense of a line: quote it. */
static enum sr_status fail_syntax(const char *text, const char *name, size_t line, struct sr_error *err)
{
    for (size_t i = 1; i < line; i++) {
        text += strcspn(text, "\n");
        text += *text == '\n' ? 1 : 0;
    }
    while (rig_is_blank(*text))
        text++;
    const size_t length = content_length(text, strcspn(text, "\n"));
    struct rig_quoted quoted;
    return sr_fail(err, SR_ERR_RIG, name, line, "expected 'key = value' or '[section]', found %s",
                   rig_quote(text, length, &quoted));
}

enum sr_status rig_parse(struct sr_rig *rig, const char *text, const char *name, struct sr_error *err)
{
    struct parse *const parse = calloc(1, sizeof *parse);
    if (parse == NULL)
        return sr_fail(err, SR_ERR_MEMORY, name, 0, "no memory for the rig");
    parse->at = text;
    parse->name = name;
    parse->rig = *rig;
    const int wrong = ini_parse_stream(next_line, parse, take, parse);
    enum sr_status status = SR_OK;
    if (wrong < 0)
        status = sr_fail(err, SR_ERR_MEMORY, name, 0, "no memory for a line of the rig");
    else if (wrong > 0 && (parse->err.status == SR_OK || (size_t)wrong < parse->err.line))
        status = fail_syntax(text, name, (size_t)wrong, err);
    else if (parse->err.status != SR_OK)
        status = sr_fail(err, parse->err.status, name, parse->err.line, "%s", parse->err.text);
    else
        *rig = parse->rig;
    free(parse);
    return status;
}

static enum sr_status read_plainly(struct sr_rig *rig, const char *path, struct sr_error *err)
{
    char *text = NULL;
    if (path == NULL)
        return sr_fail(err, SR_ERR_OPEN, NULL, 0, "no rig file named");
    enum sr_status status = rig_load(path, path, &text, err);
    if (status != SR_OK)
        return status;
    status = rig_parse(rig, rig_behind_mark(text), path, err);
    if (status == SR_OK)
        snprintf(rig->file, sizeof rig->file, "%s", path);
    free(text);
    return status;
}

enum sr_status sr_rig_read(struct sr_rig *rig, const char *path, struct sr_error *err)
{
    struct sr_plain_locale locale;

    enum sr_status status = sr_plain_begin(&locale, err);
    if (status != SR_OK)
        return status;
    status = read_plainly(rig, path, err);
    sr_plain_end(&locale);
    return status;
}
