/* SPDX-License-Identifier: GPL-3.0-or-later */
/* stillrow ledger: many flights in one file, added, listed, merged, rated, checked, ranked. */
#include "commands/ledger.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "commands/batch.h"
#include "commands/commands.h"
#include "commands/record.h"
#include "stillrow/ledger_report.h"

struct part {
    const char *name, *operands, *help;
    int (*run)(int argc, char **argv);
};

static const struct part parts[] = {
    {"add", "LEDGER LOG...", "score flights and write them down", ledger_add},
    {"list", "LEDGER", "the flights, one a line", ledger_list},
    {"rate", "LEDGER PRINT RATING", "say of a flight what its footage looks like", ledger_rate},
    {"merge", "LEDGER OTHER...", "take over the flights of other people's ledgers", ledger_merge},
    {"check", "LEDGER", "which rows cannot be read, or stand there twice", ledger_check},
    {"rank", "LEDGER", "which mount hardness for which setup; which one or two to ship", ledger_rank},
};
enum { N_PARTS = sizeof parts / sizeof parts[0] };

static void print_help(void)
{
    puts("Usage: stillrow ledger PART [options] LEDGER...\n"
         "\n"
         "A ledger is a CSV file of one row a flight, which a spreadsheet opens. Several\n"
         "programs may add to it at once; rows and columns of others stay as they are.\n"
         "\n"
         "Parts:");
    for (size_t i = 0; i < N_PARTS; i++)
        printf("  %-6s %-20s %s\n", parts[i].name, parts[i].operands, parts[i].help);
    puts("\n"
         "'stillrow ledger PART --help' has the options of each. 'stillrow score --ledger FILE'\n"
         "adds while it scores; 'stillrow threshold' works on the rated flights.\n"
         "\n"
         "Exit status: 0 done; 1 something failed, or a check found something wrong; 2 the\n"
         "command line is wrong.");
}

int command_ledger(int argc, char **argv)
{
    const char *names[N_PARTS + 1] = {NULL};

    if (argc < 2) {
        complain("ledger: say what to do with it: add, list, rate, merge, check or rank");
        return usage_hint("ledger");
    }
    if (strcmp(argv[1], "--help") == 0 || strcmp(argv[1], "-h") == 0) {
        print_help();
        return EXIT_DONE;
    }
    for (size_t i = 0; i < N_PARTS; i++) {
        if (strcmp(argv[1], parts[i].name) == 0)
            return parts[i].run(argc - 1, argv + 1);
        names[i] = parts[i].name;
    }
    const char *near = nearest_word(argv[1], names);
    if (near != NULL)
        complain("ledger: unknown part '%s' (did you mean '%s'?)", argv[1], near);
    else
        complain("ledger: unknown part '%s': first add, list, rate, merge, check or rank, then the ledger",
                 argv[1]);
    return usage_hint("ledger");
}

int ledger_failed(const struct sr_error *err)
{
    complain_error(err);
    return EXIT_FAILED;
}

bool ledger_options(const struct command_line *line, void *args, int argc, char **argv, size_t least,
                    size_t most, size_t *n, int *status)
{
    if (!options_take(line, args, argc, argv, n, status))
        return false;
    if (*n >= least && *n <= most)
        return true;
    complain(*n < least ? "%s: needs %s" : "%s: takes %s only", line->verb, line->operands);
    *status = usage_hint(line->verb);
    return false;
}

/* ---- list ----------------------------------------------------------------- */

struct list_args {
    const char *build;
    struct output_args output;
};

static const struct cli_option list_options[] = {
    {.name = "build",
     .kind = OPTION_TEXT,
     .offset = offsetof(struct list_args, build),
     .argument = "NAME",
     .help = "flights of this build only"},
};
static const struct option_group list_group = OPTION_GROUP("The list", list_options);
static const struct option_use list_uses[] = {
    {&list_group, 0},
    {&output_group, offsetof(struct list_args, output)},
};
static const struct option_use answer_uses[] = {{&output_group, 0}}; /* of parts with a struct output_args */

int ledger_list(int argc, char **argv)
{
    struct list_args args = {0};
    struct sr_ledger ledger;
    struct sr_style style;
    struct sr_error err = {0};
    size_t n = 0;
    int status;

    static const struct command_line line = {
        .verb = "ledger list",
        .operands = "LEDGER",
        .about = "Lists the flights of a ledger, in the order in which they stand there. "
                 "PRINT is the beginning of each log's fingerprint.",
        .uses = list_uses,
        .n_uses = ROWS(list_uses)};
    if (!ledger_options(&line, &args, argc, argv, 1, 1, &n, &status))
        return status;
    if (sr_ledger_read(&ledger, argv[1], &err) != SR_OK)
        return ledger_failed(&err);
    if (!args.output.json) {
        style_from(&style, &args.output);
        sr_ledger_list_text(stdout, &style, &ledger, args.build);
    } else if (sr_ledger_list_json(stdout, &ledger, args.build, &err) != SR_OK) {
        status = ledger_failed(&err);
    }
    sr_ledger_release(&ledger);
    return status;
}

/* ---- check ---------------------------------------------------------------- */

int ledger_check(int argc, char **argv)
{
    struct output_args output = {0};
    struct sr_ledger ledger;
    struct sr_ledger_counts counts;
    struct sr_style style;
    struct sr_error err = {0};
    size_t n = 0;
    int status;

    static const struct command_line line = {
        .verb = "ledger check",
        .operands = "LEDGER",
        .about = "Names the rows that cannot be read and what is wrong with each, and "
                 "counts what rankings will leave out. Nothing is changed.",
        .after = "Exit status: 1 when a row cannot be read or stands there twice.\n",
        .uses = answer_uses,
        .n_uses = ROWS(answer_uses)};
    if (!ledger_options(&line, &output, argc, argv, 1, 1, &n, &status))
        return status;
    if (sr_ledger_read(&ledger, argv[1], &err) != SR_OK)
        return ledger_failed(&err);
    if (sr_ledger_count(&counts, &ledger, &err) != SR_OK) {
        sr_ledger_release(&ledger);
        return ledger_failed(&err);
    }
    const struct sr_ledger_check_report report = {argv[1], &ledger, &counts};
    status = counts.readable < counts.rows || counts.doubled > 0 ? EXIT_FAILED : EXIT_DONE;
    if (!output.json) {
        style_from(&style, &output);
        sr_ledger_check_text(stdout, &style, &report);
    } else if (sr_ledger_check_json(stdout, &report, &err) != SR_OK) {
        status = ledger_failed(&err);
    }
    sr_ledger_release(&ledger);
    return status;
}

/* ---- merge ---------------------------------------------------------------- */

int ledger_merge(int argc, char **argv)
{
    struct output_args output = {0};
    size_t n = 0, failed = 0;
    int status;

    static const struct command_line line = {
        .verb = "ledger merge",
        .operands = "LEDGER OTHER...",
        .about = "Takes the rows of other ledgers over into LEDGER, which is made if "
                 "missing. Flights that are there already are not doubled; columns that "
                 "only others have come along. What the row of such a flight lacks is filled in "
                 "from the other; what differs is told, and left.",
        .uses = answer_uses,
        .n_uses = ROWS(answer_uses)};
    if (!ledger_options(&line, &output, argc, argv, 2, SIZE_MAX, &n, &status))
        return status;
    for (size_t i = 2; i <= n; i++) {
        struct sr_merge_count count;
        struct sr_error err = {0};
        enum sr_status result = sr_ledger_merge(argv[1], argv[i], &count, &err);
        if (result == SR_OK && output.json)
            result = sr_ledger_merge_json(stdout, argv[1], argv[i], &count, &err);
        else if (result == SR_OK)
            sr_ledger_merge_text(stdout, argv[1], argv[i], &count);
        if (result != SR_OK)
            complain_error(&err);
        failed += result != SR_OK;
        if (!output_flush())
            break;
    }
    return failed > 0 ? EXIT_FAILED : EXIT_DONE;
}

/* ---- rate ----------------------------------------------------------------- */

static size_t count_print(const struct sr_ledger *ledger, const char *print)
{
    size_t count = 0;

    for (size_t i = 0; i < ledger->n_rows; i++)
        count += ledger->rows[i].readable && sr_ledger_has_print(&ledger->rows[i], print);
    return count;
}

int ledger_rate(int argc, char **argv)
{
    struct sr_ledger ledger;
    struct sr_error err = {0};
    enum sr_rating rating = SR_UNRATED;
    size_t n = 0;
    int status;

    static const struct command_line line = {
        .verb = "ledger rate",
        .operands = "LEDGER PRINT RATING",
        .about = "Sets the rating of a flight's footage: clean, slight, bad, or none. PRINT is its "
                 "fingerprint, or a beginning of it that no other flight shares; 'ledger list' has them. "
                 "Rate with your eyes: do not look at the score first, or the threshold comes out as you "
                 "expect it."};
    if (!ledger_options(&line, NULL, argc, argv, 3, 3, &n, &status))
        return status;
    if (strcmp(argv[3], "none") != 0 && (argv[3][0] == '\0' || !sr_rating_find(argv[3], &rating))) {
        complain("ledger rate: '%s' is none of clean, slight, bad, none", argv[3]);
        return usage_hint("ledger rate");
    }
    if (sr_ledger_rate(argv[1], argv[2], rating, &err) != SR_OK ||
        sr_ledger_read(&ledger, argv[1], &err) != SR_OK)
        return ledger_failed(&err);
    size_t rows = count_print(&ledger, argv[2]);
    printf("%zu row%s rated %s\n", rows, rows == 1 ? "" : "s", argv[3]);
    sr_ledger_release(&ledger);
    return EXIT_DONE;
}

/* ---- add ------------------------------------------------------------------ */

struct add_args {
    bool quiet;
    struct flight_args flight;
    struct record_args record;
};

#define AT(member) offsetof(struct add_args, member)
static const struct cli_option add_options[] = {
    QUIET_ROW(AT(quiet), "say nothing of what went well"),
    WINDOW_ROW(AT(flight.window), ", as for score"),
};
static const struct option_group add_group = OPTION_GROUP("Adding", add_options);
static const struct option_use add_uses[] = {
    {&record_beside_group, AT(record)}, {&add_group, 0},
    LOG_GROUP(struct add_args),         RIG_GROUP(struct add_args),
    OUTPUT_GROUP(struct add_args),
};
#undef AT

/* Logs on their way into the ledger. */
struct adding {
    struct flight_plan plan;
    struct add_args args;
};

static enum sr_status add_flight(void *context, const struct flight *flight, bool first, struct sr_error *err)
{
    const struct adding *adding = context;
    const struct add_args *args = &adding->args;
    struct record_args record = args->record;

    record.alone = true;
    record.rig_told = !first;
    if (!args->quiet && !args->flight.output.json) {
        sr_print_safe(stdout, flight->log.name);
        printf("  %s, %.3g px\n", sr_verdict_name(flight->score.verdict), flight->score.wobble_px.value);
    }
    return record_flight(&record, flight, &adding->plan, &args->flight.output, args->quiet, err);
}

int ledger_add(int argc, char **argv)
{
    static const struct command_line line = {
        .verb = "ledger add",
        .operands = "LEDGER LOG...",
        .about = "Scores each log as 'stillrow score' does, and adds it to LEDGER, which "
                 "is made if missing. A log that is there already, known by its content "
                 "whatever its file is called, is not added again with the same build, "
                 "hardness and camera; with another of them it is another row, and that is said.",
        .uses = add_uses,
        .n_uses = ROWS(add_uses)};
    struct adding adding = {.args = {.quiet = false}};
    struct add_args *args = &adding.args;
    size_t n = 0;
    int status;

    flight_args_init(&args->flight);
    record_args_init(&args->record);
    if (!ledger_options(&line, args, argc, argv, 2, SIZE_MAX, &n, &status))
        return status;
    for (size_t i = 1; i <= n; i++)
        if (ends_in_ini(argv[i])) {
            complain("%s: '%s' is a rig file: it goes with --rig", line.verb, argv[i]);
            return usage_hint(line.verb);
        }
    args->record.ledger = argv[1];
    args->record.operand = true;
    if (!record_ready(&args->record))
        return EXIT_FAILED;
    if (!record_check(&args->record))
        return usage_hint(line.verb);
    if (!flight_plan_make(&adding.plan, &args->flight))
        return EXIT_USAGE;
    return batch_run(argv + 2, n - 1, &adding.plan, add_flight, &adding, NULL);
}
