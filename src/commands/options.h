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

enum option_kind {
    OPTION_FLAG,    /* bool: set to true */
    OPTION_NUMBER,  /* double */
    OPTION_NUMBERS, /* struct option_numbers: a list with commas */
    OPTION_DIGITS,  /* const char *: checked as a number, kept as it was written */
    OPTION_TEXT,    /* const char *: anything but nothing */
    OPTION_CHOICE,  /* const char *: one of `choices` */
    OPTION_KEY      /* struct key_texts: a key of the rig file, checked as such, kept as it was written */
};

#define OPTION_NUMBERS_MAX 64

struct option_numbers {
    double value[OPTION_NUMBERS_MAX];
    size_t count;
};

/* What was given for a group's rows of OPTION_KEY, each in the place of its row; NULL where nothing was. */
#define KEY_ROWS_MAX 16
struct key_texts {
    const char *text[KEY_ROWS_MAX];
};

struct cli_option {
    const char *name; /* without its dashes */
    enum option_kind kind;
    /*
     * A key of the rig file, or NULL: unit, range, choices and, for OPTION_KEY, the default are the key's
     * where the row gives none.
     */
    const char *section, *key;
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

/* Options under one title of --help. */
struct option_group {
    const char *title;
    const struct cli_option *options;
    size_t count;
};

#define ROWS(table) (sizeof(table) / sizeof((table)[0]))
#define OPTION_GROUP(title, rows)                                                                            \
    {                                                                                                        \
        title, rows, ROWS(rows)                                                                              \
    }

/* A group among those of a verb. */
struct option_use {
    const struct option_group *group;
    size_t offset; /* of the group's struct in the verb's; its defaults are its values before parsing */
};

struct command_line {
    const char *verb;
    const char *operands; /* "LOG..." */
    const char *about;    /* a paragraph */
    const char *after;    /* further help, printed as it stands; may be NULL */
    const struct option_use *uses;
    size_t n_uses;
};

enum options_result {
    OPTIONS_RUN,  /* go on */
    OPTIONS_DONE, /* help was printed */
    OPTIONS_WRONG /* said on stderr; EXIT_USAGE */
};

/*
 * Parse argv[1..argc-1] into the verb's struct `args`. On OPTIONS_RUN argv[1..*n_operands] are the operands
 * in their order (argv is rearranged).
 */
enum options_result options_parse(const struct command_line *line, void *args, int argc, char **argv,
                                  size_t *n_operands);

/* How a verb starts. true: go on. Else *status is the exit status, and all is said. */
bool options_take(const struct command_line *line, void *args, int argc, char **argv, size_t *n_operands,
                  int *status);

/* Is it the name of a rig file? */
bool ends_in_ini(const char *path);

/* The same for a verb that works on logs: one is needed at the least, and none may be a rig file. */
bool options_take_logs(const struct command_line *line, void *args, int argc, char **argv, size_t *n_logs,
                       int *status);

/* The text of --help on stdout. */
void options_help(const struct command_line *line);

/* A row as it holds: with what it has of a rig key. OPTION_KEY has become the kind of its key. */
struct cli_option option_row(const struct option_group *group, size_t i);

/* "Hz, 1 to 10000" of a numeric option into text[size]; returns text. */
const char *option_range(const struct cli_option *option, char *text, size_t size);

/* Where a group's OPTION_KEY of this name, which it has, keeps what was given. */
const char **key_text_of(const struct option_group *group, struct key_texts *texts, const char *name);

#endif
