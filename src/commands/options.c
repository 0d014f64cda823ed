/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "commands/options.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "commands/commands.h"

struct found {
    const struct cli_option *option;
    void *target;
};

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

static bool check_number(const struct cli_option *option, const char *text, size_t length, double *value)
{
    char range[96];

    option_range(option, range, sizeof range);
    if (!read_number(text, length, value)) {
        complain("--%s: '%.*s' is not a number (%s)", option->name, (int)(length < 80 ? length : 80), text,
                 range);
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

static bool set_value(const struct found *found, const char *text)
{
    const struct cli_option *option = found->option;
    double number = 0.0;

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
    }
    return false;
}

static struct found found_in(const struct option_group *group, size_t i)
{
    return (struct found){&group->options[i], (char *)group->target + group->options[i].offset};
}

static void complain_unknown(const struct command_line *line, const char *name)
{
    const char *names[128];
    size_t count = 0;

    for (size_t g = 0; g < line->n_groups; g++)
        for (size_t i = 0; i < line->groups[g].count && count < 126; i++)
            names[count++] = line->groups[g].options[i].name;
    names[count++] = "help";
    names[count] = NULL;

    const char *near = nearest_word(name, names);
    if (near != NULL)
        complain("unknown option '--%s' (did you mean '--%s'?)", name, near);
    else
        complain("unknown option '--%s'", name);
}

/* The option whose name begins with name[0..length); a whole name wins over longer ones. */
static bool find_long(const struct command_line *line, const char *name, size_t length, struct found *found)
{
    char text[64], matches[200] = "";
    size_t n_matches = 0;

    snprintf(text, sizeof text, "%.*s", (int)(length < 63 ? length : 63), name);
    for (size_t g = 0; g < line->n_groups; g++) {
        for (size_t i = 0; i < line->groups[g].count; i++) {
            const char *full = line->groups[g].options[i].name;
            if (strncmp(full, name, length) != 0)
                continue;
            *found = found_in(&line->groups[g], i);
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
        complain_unknown(line, text);
    else
        complain("option '--%s' could be any of:%s", text, matches);
    return false;
}

static bool find_short(const struct command_line *line, char letter, struct found *found)
{
    for (size_t g = 0; g < line->n_groups; g++) {
        for (size_t i = 0; i < line->groups[g].count; i++) {
            if (line->groups[g].options[i].letter == letter) {
                *found = found_in(&line->groups[g], i);
                return true;
            }
        }
    }
    complain("unknown option '-%c'", letter);
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

static bool parse_long(const struct command_line *line, int argc, char **argv, int *at)
{
    const char *name = argv[*at] + 2;
    size_t length = strcspn(name, "=");
    struct found found;

    if (!find_long(line, name, length, &found))
        return false;
    if (found.option->kind == OPTION_FLAG) {
        if (name[length] == '=') {
            complain("--%s takes no value", found.option->name);
            return false;
        }
        return set_value(&found, NULL);
    }
    if (name[length] == '=')
        return set_value(&found, name + length + 1);
    if (*at + 1 >= argc)
        return complain_missing(found.option);
    *at += 1;
    return set_value(&found, argv[*at]);
}

static bool parse_short(const struct command_line *line, int argc, char **argv, int *at)
{
    for (const char *letter = argv[*at] + 1; *letter != '\0'; letter++) {
        struct found found;
        if (!find_short(line, *letter, &found))
            return false;
        if (found.option->kind == OPTION_FLAG) {
            set_value(&found, NULL);
            continue;
        }
        if (letter[1] != '\0')
            return set_value(&found, letter + 1);
        if (*at + 1 >= argc)
            return complain_missing(found.option);
        *at += 1;
        return set_value(&found, argv[*at]);
    }
    return true;
}

static bool asks_help(const char *word)
{
    const size_t length = strcspn(word, "=");

    return strcmp(word, "-h") == 0 || (length > 2 && strncmp(word, "--help", length) == 0);
}

enum options_result options_parse(const struct command_line *line, int argc, char **argv, size_t *n_operands)
{
    size_t operands = 0;
    bool options_end = false;

    for (int i = 1; i < argc; i++) {
        char *word = argv[i];
        bool fine = true;
        if (options_end || word[0] != '-' || word[1] == '\0') {
            argv[++operands] = word;
        } else if (strcmp(word, "--") == 0) {
            options_end = true;
        } else if (asks_help(word)) {
            options_help(line);
            return OPTIONS_DONE;
        } else if (word[1] == '-') {
            fine = parse_long(line, argc, argv, &i);
        } else {
            fine = parse_short(line, argc, argv, &i);
        }
        if (!fine) {
            usage_hint(line->verb);
            return OPTIONS_WRONG;
        }
    }
    *n_operands = operands;
    return OPTIONS_RUN;
}
