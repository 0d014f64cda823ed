/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Options as tables. A verb lists its options once, in groups; the table feeds
 * the parser, the range checks, the messages and --help.
 *
 * Understood: --name=VALUE, --name VALUE, unambiguous beginnings of a name, -x,
 * -xVALUE, options and operands in any order, "--" before operands that begin
 * with a dash; "-" is an operand. --help and -h belong to every verb.
 */
#ifndef COMMANDS_OPTIONS_H
#define COMMANDS_OPTIONS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

enum option_kind {
    OPTION_FLAG,    /* bool: set to true */
    OPTION_NUMBER,  /* double */
    OPTION_NUMBERS, /* struct option_numbers: a list with commas */
    OPTION_DIGITS,  /* const char *: checked as a number, kept as it was written */
    OPTION_TEXT,    /* const char *: anything but nothing */
    OPTION_CHOICE   /* const char *: one of `choices` */
};

#define OPTION_NUMBERS_MAX 64

struct option_numbers {
    double value[OPTION_NUMBERS_MAX];
    size_t count;
};

struct cli_option {
    const char *name; /* without its dashes */
    enum option_kind kind;
    size_t offset;        /* of the target in the group's struct */
    const char *argument; /* "HZ"; NULL for a flag */
    const char *help;
    const char *fallback;       /* what holds without the option, in words; NULL: nothing to say */
    const char *unit;           /* of a number; NULL: a bare number */
    double min, max;            /* of a number */
    bool above;                 /* min itself is out of range */
    char letter;                /* short form, 0: none */
    const char *const *choices; /* ended by NULL */
};

struct option_group {
    const char *title;
    const struct cli_option *options;
    size_t count;
    void *target; /* the struct that the offsets are in; defaults are its values before parsing */
};

struct command_line {
    const char *verb;
    const char *operands; /* "LOG..." */
    const char *about;    /* a paragraph */
    const char *after;    /* further help, printed as it stands; may be NULL */
    const struct option_group *groups;
    size_t n_groups;
};

enum options_result {
    OPTIONS_RUN,  /* go on */
    OPTIONS_DONE, /* help was printed */
    OPTIONS_WRONG /* said on stderr; EXIT_USAGE */
};

/*
 * Parse argv[1..argc-1]. On OPTIONS_RUN argv[1..*n_operands] are the operands in
 * their order (argv is rearranged).
 */
enum options_result options_parse(const struct command_line *line, int argc, char **argv, size_t *n_operands);

/* The text of --help on stdout. */
void options_help(const struct command_line *line);

/* "Hz, 1 to 10000" of a numeric option into text[size]; returns text. */
const char *option_range(const struct cli_option *option, char *text, size_t size);

#endif
