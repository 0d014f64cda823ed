/* SPDX-License-Identifier: GPL-3.0-or-later */
/* stillrow compare: which of two motor and prop combos is quieter, and how sure that is. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "commands/commands.h"
#include "commands/groups.h"
#include "stillrow/compare_report.h"

struct compare_args {
    const char *by, *title, *post;
    bool per_axis;
    struct picture_args picture;
    struct flight_args flight;
};

#define AT(member) offsetof(struct compare_args, member)
static const struct cli_option compare_options[] = {
    {.name = "by",
     .kind = OPTION_TEXT,
     .offset = AT(by),
     .argument = "KEYS",
     .help =
         "group the logs by what their rig files say, instead of --with: motor, prop, blades, name, camera, "
         "hardness, temperature, with commas"},
    {.name = "per-axis", .kind = OPTION_FLAG, .offset = AT(per_axis), .help = "roll, pitch and yaw too"},
    PICTURE_ROWS(AT(picture),
                 "draw both spectra and their ratio, as FILE.png, .svg or .pdf; two groups only"),
    {.name = "title",
     .kind = OPTION_TEXT,
     .offset = AT(title),
     .argument = "TEXT",
     .help = "title of the picture",
     .fallback = "names of the groups"},
    {.name = "post",
     .kind = OPTION_CHOICE,
     .offset = AT(post),
     .argument = "KIND",
     .choices = post_choices,
     .help = "print the lines to paste beside the picture instead of the report: md, bbcode or text"},
    WINDOW_ROW(AT(flight.window), ", as for score"),
};
#undef AT
static const struct option_group compare_group = OPTION_GROUP("The comparison", compare_options);
static const struct option_use uses[] = {
    {&compare_group, 0},
    LOG_GROUP(struct compare_args),
    RIG_GROUP(struct compare_args),
    OUTPUT_GROUP(struct compare_args),
};

static const struct command_line line = {
    .verb = "compare",
    .operands = "LOG... --with LOG...",
    .about = "Compares groups of flights: the logs before --with are group A, those after it group B (and "
             "after another --with group C…); what tells their rigs apart gives them names. Seconds flown at "
             "the same throttle, or motor speed, are set "
             "against each other. With 3 flights or more on both sides the interval speaks of the combos; "
             "with fewer, of these flights only.",
    .after = "A file ending in .ini among the logs is the rig of the logs after it:\n"
             "  stillrow compare --by prop heron.ini h1.csv h2.csv dipper.ini d1.csv d2.csv\n"
             "More than two groups give every pair, and a ranking.\n",
    .uses = uses,
    .n_uses = ROWS(uses)};

/* What is kept of each pair for the ranking. */
struct pair {
    size_t a, b;
    struct sr_comparison comparison;
    bool done;
};

static enum sr_status draw_pair(const struct sr_compare_report *report, const struct compare_args *args,
                                struct sr_error *err)
{
    struct sr_plot_options options;
    struct sr_compare_spectra spectra;

    picture_options(&options, &args->picture);
    options.title = args->title;
    enum sr_status status = sr_compare_spectra(&spectra, report->a, report->b, report->comparison, err);
    if (status != SR_OK)
        return status;
    status = sr_plot_compare(report, &spectra, &options, err);
    sr_compare_spectra_release(&spectra);
    return status;
}

static enum sr_status print_pair(const struct sr_compare_report *report, const struct compare_args *args,
                                 bool first, struct sr_error *err)
{
    struct sr_style style;
    enum sr_post_format format;

    if (args->flight.output.json)
        return sr_compare_json(stdout, report, err);
    if (!first)
        putchar('\n');
    if (args->post != NULL && sr_post_format_find(args->post, &format)) {
        sr_compare_post(stdout, format, report);
        return SR_OK;
    }
    style_from(&style, &args->flight.output);
    sr_compare_text(stdout, &style, report);
    return SR_OK;
}

static int report_pair(const struct entries *all, const struct pair *pair, const struct compare_args *args,
                       bool first)
{
    const struct sr_compare_report report = {.rig = &all->entry[0].plan.rig,
                                             .a = &all->groups[pair->a],
                                             .b = &all->groups[pair->b],
                                             .comparison = &pair->comparison,
                                             .per_axis = args->per_axis};
    struct sr_error err = {0};

    enum sr_status status = print_pair(&report, args, first, &err);
    if (status == SR_OK && args->picture.plot != NULL)
        status = draw_pair(&report, args, &err);
    if (status == SR_OK)
        return EXIT_DONE;
    complain_error(&err);
    return EXIT_FAILED;
}

static int by_wobble(const void *x, const void *y)
{
    const struct sr_compare_rank *a = x, *b = y;
    return (a->mean_px > b->mean_px) - (a->mean_px < b->mean_px);
}

static double mean_wobble(const struct sr_compare_group *group)
{
    double sum = 0;
    for (size_t i = 0; i < group->count; i++)
        sum += log(group->flights[i].score->wobble_px.value);
    return exp(sum / (double)group->count);
}

/* Correct the pairs' p-values for how many pairs there are, and what follows from them. */
static bool adjust_pairs(struct pair *pairs, size_t count)
{
    struct sr_comparison **done = calloc(count, sizeof *done);
    struct sr_error err = {0};
    size_t n = 0;

    if (done == NULL) {
        complain("%s", sr_status_text(SR_ERR_MEMORY));
        return false;
    }
    for (size_t i = 0; i < count; i++)
        if (pairs[i].done)
            done[n++] = &pairs[i].comparison;
    bool fine = sr_compare_adjust(done, n, &err) == SR_OK;
    if (!fine)
        complain_error(&err);
    free(done);
    return fine;
}

static int report_ranking(const struct entries *all, const struct pair *pairs, size_t count,
                          const struct compare_args *args)
{
    struct sr_compare_rank *ranks = calloc(all->n_groups, sizeof *ranks);
    struct sr_style style;
    struct sr_error err = {0};
    int status = EXIT_DONE;

    if (ranks == NULL) {
        complain("%s", sr_status_text(SR_ERR_MEMORY));
        return EXIT_FAILED;
    }
    for (size_t g = 0; g < all->n_groups; g++)
        ranks[g] = (struct sr_compare_rank){all->group_name[g], all->groups[g].count,
                                            mean_wobble(&all->groups[g]), 0, 0};
    for (size_t i = 0; i < count; i++) {
        if (!pairs[i].done || pairs[i].comparison.winner == SR_NO_DIFFERENCE)
            continue;
        bool a_quieter = pairs[i].comparison.winner == SR_A_QUIETER;
        ranks[a_quieter ? pairs[i].a : pairs[i].b].beats++;
        ranks[a_quieter ? pairs[i].b : pairs[i].a].beaten++;
    }
    qsort(ranks, all->n_groups, sizeof *ranks, by_wobble);
    if (!args->flight.output.json) {
        style_from(&style, &args->flight.output);
        sr_compare_ranking_text(stdout, &style, ranks, all->n_groups);
    } else if (sr_compare_ranking_json(stdout, ranks, all->n_groups, &err) != SR_OK) {
        complain_error(&err);
        status = EXIT_FAILED;
    }
    free(ranks);
    return status;
}

/* Compare every pair; what could not be is said on stderr. */
static void make_pairs(const struct entries *all, struct pair *pairs)
{
    for (size_t a = 0; a < all->n_groups; a++) {
        for (size_t b = a + 1; b < all->n_groups; b++) {
            struct pair *pair = pairs++;
            struct sr_error err = {0};
            pair->a = a;
            pair->b = b;
            pair->done = sr_compare(&pair->comparison, &all->groups[a], &all->groups[b], &err) == SR_OK;
            if (!pair->done)
                complain("%s against %s: %s%s%s", all->group_name[a], all->group_name[b], err.file,
                         err.file[0] != '\0' ? ": " : "", err.text);
        }
    }
}

/* All are compared before any is reported: what counts as shown depends on how many pairs there are. */
static int compare_pairs(const struct entries *all, const struct compare_args *args)
{
    size_t count = all->n_groups * (all->n_groups - 1) / 2;
    struct pair *pairs = calloc(count, sizeof *pairs);
    int status = EXIT_DONE;
    bool first = true;

    if (pairs == NULL) {
        complain("%s", sr_status_text(SR_ERR_MEMORY));
        return EXIT_FAILED;
    }
    make_pairs(all, pairs);
    if (!adjust_pairs(pairs, count)) {
        free(pairs);
        return EXIT_FAILED;
    }
    for (size_t i = 0; i < count; i++) {
        if (!pairs[i].done || report_pair(all, &pairs[i], args, first) != EXIT_DONE)
            status = EXIT_FAILED;
        first = first && !pairs[i].done;
    }
    if (all->n_groups > 2 && args->post == NULL && report_ranking(all, pairs, count, args) != EXIT_DONE)
        status = EXIT_FAILED;
    free(pairs);
    return status;
}

static int compare_entries(struct entries *all, const struct compare_args *args)
{
    if (args->by != NULL) {
        if (all->n_groups > 1) {
            complain("compare: --by and --with are two ways to group the logs; give one of them");
            return EXIT_USAGE;
        }
        int status = entries_group_by(all, args->by);
        if (status != EXIT_DONE)
            return status;
    }
    if (all->n_groups < 2) {
        if (args->by != NULL && strspn(all->group_name[0], "?, ") == strlen(all->group_name[0])) {
            complain("compare: no rig says a %s to group by: put each rig file before its logs", args->by);
            return EXIT_FAILED;
        }
        complain(args->by != NULL
                     ? "compare: the rigs all say the same of %s, so there is one group only; give --by "
                       "another key, or --with"
                     : "compare: nothing to compare with; put the other logs after --with%s",
                 args->by != NULL ? args->by : "");
        return args->by != NULL ? EXIT_FAILED : usage_hint(line.verb);
    }
    if (args->picture.plot != NULL && all->n_groups > 2) {
        complain("compare: --plot draws two groups, and there are %zu", all->n_groups);
        return EXIT_USAGE;
    }
    size_t failed = entries_score(all);
    if (!entries_groups(all))
        return EXIT_FAILED;
    int status = compare_pairs(all, args);
    return failed > 0 ? EXIT_FAILED : status;
}

/* Where the words of the next group end: at the next --with, or at the end. */
static int next_with(int argc, char **argv, int from)
{
    for (int i = from; i < argc; i++)
        if (strcmp(argv[i], "--with") == 0)
            return i;
    return argc;
}

/* The operands of one group. */
struct part {
    char **operands;
    size_t count;
};

/* Options may stand in any group's part and hold for all, so all parts are parsed before any log is taken. */
static bool parse_parts(struct compare_args *args, int argc, char **argv, struct part *parts, size_t *n_parts,
                        int *status)
{
    for (int start = 0; start < argc;) {
        int end = next_with(argc, argv, start + 1);
        const char *rig = args->flight.rig.file;
        argv[start] = argv[0];
        if (!options_take(&line, args, end - start, argv + start, &parts[*n_parts].count, status))
            return false;
        if (rig != NULL && strcmp(rig, args->flight.rig.file) != 0) {
            complain("compare: --rig holds for all groups; a rig of its own for each goes before its logs: "
                     "compare %s LOG... --with %s LOG...",
                     rig, args->flight.rig.file);
            *status = usage_hint(line.verb);
            return false;
        }
        parts[(*n_parts)++].operands = argv + start + 1;
        start = end;
    }
    return true;
}

static int take_parts(struct entries *all, const struct part *parts, struct compare_args *args)
{
    for (size_t i = 0; i < all->n_groups; i++) {
        if (parts[i].count == 0) {
            complain(i == 0 ? "compare: no log given" : "compare: no log after --with");
            return usage_hint(line.verb);
        }
        int status = entries_take(all, parts[i].operands, parts[i].count, i, &args->flight);
        if (status != EXIT_DONE)
            return status;
    }
    return EXIT_DONE;
}

int command_compare(int argc, char **argv)
{
    struct compare_args args = {0};
    struct entries all = {0};
    int status;

    struct part *parts = calloc((size_t)argc + 1, sizeof *parts);
    if (parts == NULL) {
        complain("%s", sr_status_text(SR_ERR_MEMORY));
        return EXIT_FAILED;
    }
    flight_args_init(&args.flight);
    if (parse_parts(&args, argc, argv, parts, &all.n_groups, &status)) {
        status = picture_check(&args.picture, line.verb) ? take_parts(&all, parts, &args) : EXIT_USAGE;
        if (status == EXIT_DONE)
            status = compare_entries(&all, &args);
    }
    entries_release(&all);
    free(parts);
    return status;
}
