/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "commands/options.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "commands/commands.h"
#include "stillrow/rig.h"

/* A command line under way. */
struct parser {
    const struct command_line *line;
    void *args; /* the verb's struct */
    int argc;
    char **argv;
    int at; /* the word it has come to */
};

struct found {
    struct cli_option option;
    void *target;
};

static const struct sr_rig_key *rig_key(const char *section, const char *name)
{
    const struct sr_rig_key *key = NULL;

    for (size_t i = 0; section != NULL && (key = sr_rig_key_at(i)) != NULL; i++)
        if (strcmp(key->section, section) == 0 && strcmp(key->name, name) == 0)
            return key;
    return NULL;
}

static enum option_kind kind_of(const struct sr_rig_key *key)
{
    if (key->kind == SR_KIND_CHOICE)
        return OPTION_CHOICE;
    return key->kind == SR_KIND_NUMBER || key->kind == SR_KIND_INTEGER ? OPTION_DIGITS : OPTION_TEXT;
}

struct cli_option option_row(const struct option_group *group, size_t i)
{
    struct cli_option option = group->options[i];
    const struct sr_rig_key *key = rig_key(option.section, option.key);

    if (key == NULL)
        return option;
    if (option.kind == OPTION_KEY) {
        option.kind = kind_of(key);
        if (option.fallback == NULL && key->fallback[0] != '\0')
            option.fallback = key->fallback;
    }
    if (option.unit == NULL && key->unit[0] != '\0')
        option.unit = key->unit;
    if (option.choices == NULL)
        option.choices = key->choices;
    option.min = key->low;
    option.max = key->high;
    option.above = key->low_open;
    return option;
}

const char **key_text_of(const struct option_group *group, struct key_texts *texts, const char *name)
{
    size_t i = 0;

    while (strcmp(group->options[i].name, name) != 0)
        i++;
    return &texts->text[i];
}

static bool out_of_range(const struct cli_option *option, double value)
{
    return value < option->min || value > option->max || (option->above && value <= option->min);
}

/* Whole text, decimal, finite: strtod() alone would take "nan", "inf", "0x10" and " 1". */
static bool read_number(const char *text, size_t length, double *value)
{
    char copy[64], *end = NULL;

    if (length == 0 || length >= sizeof copy || strspn(text, "+-.0123456789eE") < length)
        return false;
    memcpy(copy, text, length);
    copy[length] = '\0';
    *value = strtod(copy, &end);
    return end == copy + length && isfinite(*value);
}

/* "; write 15.5" for a decimal comma, "; 1/500 s is 2 ms" for a shutter's fraction; else "". */
static const char *number_hint(const struct cli_option *option, const char *text, size_t length, char *hint,
                               size_t size)
{
    char copy[32];
    double value;

    hint[0] = '\0';
    snprintf(copy, sizeof copy, "%s", text);
    char *comma = strlen(text) == length ? strchr(copy, ',') : NULL; /* in a list it parts numbers */
    if (comma != NULL)
        *comma = '.';
    if (comma != NULL && read_number(copy, strlen(copy), &value))
        snprintf(hint, size, "; write %s", copy);
    else if (strncmp(copy, "1/", 2) == 0 && read_number(copy + 2, strlen(copy + 2), &value) && value > 0 &&
             option->unit != NULL && strcmp(option->unit, "ms") == 0)
        snprintf(hint, size, "; %s s is %.4g ms", copy, 1e3 / value);
    return hint;
}

static bool check_number(const struct cli_option *option, const char *text, size_t length, double *value)
{
    char range[96], hint[96];

    option_range(option, range, sizeof range);
    if (!read_number(text, length, value)) {
        complain("--%s: '%.*s' is not a number (%s)%s", option->name, (int)(length < 80 ? length : 80), text,
                 range, number_hint(option, text, length, hint, sizeof hint));
        return false;
    }
    if (out_of_range(option, *value)) {
        complain("--%s: %.*s is out of range (%s)", option->name, (int)(length < 80 ? length : 80), text,
                 range);
        return false;
    }
    return true;
}

static bool set_numbers(const struct cli_option *option, struct option_numbers *numbers, const char *text)
{
    size_t count = 0;

    for (;;) {
        size_t length = strcspn(text, ",");
        if (count == OPTION_NUMBERS_MAX) {
            complain("--%s: more than %d numbers", option->name, OPTION_NUMBERS_MAX);
            return false;
        }
        if (!check_number(option, text, length, &numbers->value[count]))
            return false;
        count++;
        if (text[length] == '\0')
            break;
        text += length + 1;
    }
    numbers->count = count;
    return true;
}

static bool set_choice(const struct cli_option *option, const char **target, const char *text)
{
    char all[160] = "";

    for (const char *const *choice = option->choices; *choice != NULL; choice++) {
        if (strcmp(*choice, text) == 0) {
            *target = *choice;
            return true;
        }
        size_t used = strlen(all);
        snprintf(all + used, sizeof all - used, "%s%s", used > 0 ? ", " : "", *choice);
    }
    complain("--%s: '%s' is none of: %s", option->name, text, all);
    return false;
}

/* The last one of an option given twice holds; a value that is dropped for it is not dropped in silence. */
static void say_replaced(const struct cli_option *option, const char *before, const char *text)
{
    if (before != NULL && strcmp(before, text) != 0)
        complain("--%s is given twice: '%s' is taken, '%s' is not", option->name, text, before);
}

static bool set_value(const struct found *found, const char *text)
{
    const struct cli_option *option = &found->option;
    double number = 0.0;

    if (option->kind == OPTION_TEXT || option->kind == OPTION_DIGITS)
        say_replaced(option, *(const char **)found->target, text);
    switch (option->kind) {
    case OPTION_FLAG:
        *(bool *)found->target = true;
        return true;
    case OPTION_NUMBER:
        if (!check_number(option, text, strlen(text), &number))
            return false;
        *(double *)found->target = number;
        return true;
    case OPTION_NUMBERS:
        return set_numbers(option, found->target, text);
    case OPTION_DIGITS:
        if (!check_number(option, text, strlen(text), &number))
            return false;
        *(const char **)found->target = text;
        return true;
    case OPTION_TEXT:
        if (text[0] == '\0') {
            complain("--%s: an empty value (%s)", option->name, option->argument);
            return false;
        }
        *(const char **)found->target = text;
        return true;
    case OPTION_CHOICE:
        return set_choice(option, found->target, text);
    case OPTION_KEY:
        break;
    }
    complain("--%s: the rig has no key %s", option->name, option->key);
    return false;
}

static struct found found_in(const struct parser *parser, const struct option_use *use, size_t i)
{
    const struct cli_option *row = &use->group->options[i];
    char *target = (char *)parser->args + use->offset + row->offset;

    if (row->kind == OPTION_KEY)
        target += i * sizeof(const char *);
    return (struct found){option_row(use->group, i), target};
}

/* written: with its dashes, as it was given; name: without. */
static void complain_unknown(const struct command_line *line, const char *written, const char *name)
{
    const char *names[128];
    size_t count = 0;

    for (size_t u = 0; u < line->n_uses; u++)
        for (size_t i = 0; i < line->uses[u].group->count && count < 126; i++)
            names[count++] = line->uses[u].group->options[i].name;
    names[count++] = "help";
    names[count] = NULL;

    const char *near = nearest_word(name, names);
    if (near != NULL)
        complain("unknown option '%s' (did you mean '--%s'?)", written, near);
    else
        complain("unknown option '%s'", written);
}

/* The option whose name begins with name[0..length); a whole name wins over longer ones. */
static bool find_long(const struct parser *parser, const char *name, size_t length, struct found *found)
{
    char dashed[66], matches[200] = "";
    const char *text = dashed + 2;
    size_t n_matches = 0;

    snprintf(dashed, sizeof dashed, "--%.*s", (int)(length < 63 ? length : 63), name);
    for (size_t u = 0; u < parser->line->n_uses; u++) {
        const struct option_use *use = &parser->line->uses[u];
        for (size_t i = 0; i < use->group->count; i++) {
            const char *full = use->group->options[i].name;
            if (strncmp(full, name, length) != 0)
                continue;
            *found = found_in(parser, use, i);
            if (full[length] == '\0')
                return true;
            n_matches++;
            size_t used = strlen(matches);
            snprintf(matches + used, sizeof matches - used, " --%s", full);
        }
    }
    if (n_matches == 1)
        return true;
    if (n_matches == 0 || length == 0)
        complain_unknown(parser->line, dashed, text);
    else
        complain("option '%s' could be any of:%s", dashed, matches);
    return false;
}

static bool find_short(const struct parser *parser, char letter, struct found *found)
{
    for (size_t u = 0; u < parser->line->n_uses; u++) {
        const struct option_use *use = &parser->line->uses[u];
        for (size_t i = 0; i < use->group->count; i++) {
            if (use->group->options[i].letter == letter) {
                *found = found_in(parser, use, i);
                return true;
            }
        }
    }
    return false;
}

/* An option that wants a value and was the last word. */
static bool complain_missing(const struct cli_option *option)
{
    char range[96];

    if (option->kind == OPTION_TEXT || option->kind == OPTION_CHOICE)
        complain("--%s needs a value (%s)", option->name, option->argument);
    else
        complain("--%s needs a value (%s)", option->name, option_range(option, range, sizeof range));
    return false;
}

/* The value is the next word. */
static bool take_next(struct parser *parser, const struct found *found)
{
    if (parser->at + 1 >= parser->argc)
        return complain_missing(&found->option);
    parser->at++;
    return set_value(found, parser->argv[parser->at]);
}

static bool parse_long(struct parser *parser)
{
    const char *name = parser->argv[parser->at] + 2;
    size_t length = strcspn(name, "=");
    struct found found;

    if (!find_long(parser, name, length, &found))
        return false;
    if (found.option.kind == OPTION_FLAG) {
        if (name[length] == '=') {
            complain("--%s takes no value", found.option.name);
            return false;
        }
        return set_value(&found, NULL);
    }
    return name[length] == '=' ? set_value(&found, name + length + 1) : take_next(parser, &found);
}

/* Is this the whole name of a long option? */
static bool is_long(const struct command_line *line, const char *name, size_t length)
{
    for (size_t u = 0; u < line->n_uses; u++)
        for (size_t i = 0; i < line->uses[u].group->count; i++) {
            const char *full = line->uses[u].group->options[i].name;
            if (strlen(full) == length && strncmp(full, name, length) == 0)
                return true;
        }
    return false;
}

/* A word with one dash that is no short option: often a long one that lost its other dash. */
static bool complain_short(const struct parser *parser, const char *word, char letter)
{
    char name[64];

    snprintf(name, sizeof name, "%.*s", (int)strcspn(word + 1, "="), word + 1);
    if (strlen(name) > 1)
        complain_unknown(parser->line, word, name);
    else
        complain("unknown option '-%c'", letter);
    return false;
}

static bool parse_short(struct parser *parser)
{
    const char *word = parser->argv[parser->at];

    if (word[2] != '\0' && is_long(parser->line, word + 1, strcspn(word + 1, "=")))
        return complain_short(parser, word, word[1]);
    for (const char *letter = word + 1; *letter != '\0'; letter++) {
        struct found found;
        if (!find_short(parser, *letter, &found))
            return complain_short(parser, word, *letter);
        if (found.option.kind != OPTION_FLAG)
            return letter[1] != '\0' ? set_value(&found, letter + 1) : take_next(parser, &found);
        set_value(&found, NULL);
    }
    return true;
}

/*
 * Text editors and forums turn "--" into a dash: "\u2013rig" and "\u2014rig". What such a word is after its
 * dashes, NULL where it begins with none (U+2010 to U+2015, and the minus U+2212).
 */
static const char *after_long_dash(const char *word)
{
    const unsigned char *c = (const unsigned char *)word;
    const bool dash =
        c[0] == 0xE2 && ((c[1] == 0x80 && c[2] >= 0x90 && c[2] <= 0x95) || (c[1] == 0x88 && c[2] == 0x92));

    if (!dash)
        return NULL;
    word += 3;
    const char *more = after_long_dash(word);
    return more != NULL ? more : word + strspn(word, "-");
}

/* An operand that was meant as an option, unless there is such a file. */
static bool is_spoiled_option(const struct command_line *line, const char *word)
{
    const char *name = after_long_dash(word);

    if (name == NULL || !is_long(line, name, strcspn(name, "=")) || access(word, F_OK) == 0)
        return false;
    complain("'%s' begins with a long dash: type two hyphens, --%s", word, name);
    return true;
}

static bool asks_help(const char *word)
{
    const size_t length = strcspn(word, "=");

    return strcmp(word, "-h") == 0 || (length > 2 && strncmp(word, "--help", length) == 0);
}

enum options_result options_parse(const struct command_line *line, void *args, int argc, char **argv,
                                  size_t *n_operands)
{
    struct parser parser = {.line = line, .args = args, .argc = argc, .argv = argv};
    size_t operands = 0;
    bool options_end = false;

    for (parser.at = 1; parser.at < argc; parser.at++) {
        char *word = argv[parser.at];
        bool fine = true;
        if (options_end || word[0] != '-' || word[1] == '\0') {
            fine = options_end || !is_spoiled_option(line, word);
            argv[++operands] = word;
        } else if (strcmp(word, "--") == 0) {
            options_end = true;
        } else if (asks_help(word)) {
            options_help(line);
            return OPTIONS_DONE;
        } else {
            fine = word[1] == '-' ? parse_long(&parser) : parse_short(&parser);
        }
        if (!fine) {
            usage_hint(line->verb);
            return OPTIONS_WRONG;
        }
    }
    *n_operands = operands;
    return OPTIONS_RUN;
}

bool options_take(const struct command_line *line, void *args, int argc, char **argv, size_t *n_operands,
                  int *status)
{
    const enum options_result result = options_parse(line, args, argc, argv, n_operands);

    *status = result == OPTIONS_WRONG ? EXIT_USAGE : EXIT_DONE;
    return result == OPTIONS_RUN;
}

bool ends_in_ini(const char *path)
{
    const size_t length = strlen(path);

    return length > 4 && strcmp(path + length - 4, ".ini") == 0;
}

bool options_take_logs(const struct command_line *line, void *args, int argc, char **argv, size_t *n_logs,
                       int *status)
{
    if (!options_take(line, args, argc, argv, n_logs, status))
        return false;
    for (size_t i = 1; i <= *n_logs; i++) {
        if (!ends_in_ini(argv[i]))
            continue;
        complain("%s: '%s' is a rig file, not a log: it goes with --rig", line->verb, argv[i]);
        *status = usage_hint(line->verb);
        return false;
    }
    if (*n_logs > 0)
        return true;
    complain("%s: no log given", line->verb);
    *status = usage_hint(line->verb);
    return false;
}
