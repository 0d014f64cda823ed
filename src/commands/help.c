/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "commands/options.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "stillrow/present.h"

enum { HELP_COLUMN = 26 };

const char *option_range(const struct cli_option *option, char *text, size_t size)
{
    const char *unit = option->unit != NULL ? option->unit : "";
    const char *comma = option->unit != NULL ? ", " : "";

    if (isinf(option->max))
        snprintf(text, size, "%s%s%s %.10g", unit, comma, option->above ? "above" : "at least", option->min);
    else
        snprintf(text, size, "%s%s%s%.10g to %.10g", unit, comma, option->above ? "above " : "", option->min,
                 option->max);
    return text;
}

static bool is_numeric(const struct cli_option *option)
{
    return option->kind == OPTION_NUMBER || option->kind == OPTION_NUMBERS || option->kind == OPTION_DIGITS;
}

/* "frames a second (Hz, 1 to 10000; default: 60)" */
static void print_option(const struct cli_option *option)
{
    char head[64], range[96] = "", text[600];
    const char *separator = "";

    snprintf(head, sizeof head, "  %c%c --%s%s%s", option->letter != 0 ? '-' : ' ',
             option->letter != 0 ? option->letter : ' ', option->name, option->argument != NULL ? " " : "",
             option->argument != NULL ? option->argument : "");
    if (is_numeric(option))
        option_range(option, range, sizeof range);
    if (range[0] != '\0' && option->fallback != NULL)
        separator = "; ";
    const bool extra = range[0] != '\0' || option->fallback != NULL;
    snprintf(text, sizeof text, "%s%s%s%s%s%s%s", option->help, extra ? " (" : "", range, separator,
             option->fallback != NULL ? "default: " : "", option->fallback != NULL ? option->fallback : "",
             extra ? ")" : "");

    size_t column = strlen(head);
    fputs(head, stdout);
    if (column + 2 > HELP_COLUMN) {
        putchar('\n');
        column = 0;
    }
    printf("%*s", (int)(HELP_COLUMN - column), "");
    sr_print_wrapped(stdout, text, HELP_COLUMN, HELP_COLUMN, SR_TEXT_WIDTH);
}

void options_help(const struct command_line *line)
{
    printf("Usage: stillrow %s [options]%s%s\n\n", line->verb, line->operands[0] != '\0' ? " " : "",
           line->operands);
    sr_print_wrapped(stdout, line->about, 0, 0, SR_TEXT_WIDTH);
    for (size_t u = 0; u < line->n_uses; u++) {
        const struct option_group *group = line->uses[u].group;
        printf("\n%s:\n", group->title);
        for (size_t i = 0; i < group->count; i++) {
            const struct cli_option option = option_row(group, i);
            print_option(&option);
        }
    }
    printf("  -h --help%*s%s\n", HELP_COLUMN - 11, "", "this text");
    if (line->after != NULL)
        printf("\n%s", line->after);
}
