/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The table of verbs, and what holds for all of them. */
#include <fcntl.h>
#include <locale.h>
#include <signal.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include "commands/commands.h"

struct verb {
    const char *name;
    const char *help; /* one line */
    int (*run)(int argc, char **argv);
};

static const struct verb verbs[] = {
    {"score", "how much the footage of a flight wobbles, in pixels, and when", command_score},
    {"explain", "why a flight wobbles, and what to try", command_explain},
    {"plot", "pictures of a flight, and the lines to paste beside them", command_plot},
    {"compare", "which of two motor and prop combos is quieter, and how sure that is", command_compare},
    {"mounts", "which mount hardness to fit, and over which temperatures", command_mounts},
    {"ledger", "a record of many flights, and which mount suits which craft", command_ledger},
    {"threshold", "where wobble starts to show, from rated footage", command_threshold},
    {"inspect", "what was understood of a log: columns, units, time base, quality", command_inspect},
    {"camera", "which frequencies a camera turns into wobble; its readout time from a lamp", command_camera},
};
enum { N_VERBS = sizeof verbs / sizeof verbs[0] };

static void print_help(void)
{
    puts("Usage: stillrow VERB [options] LOG...\n"
         "\n"
         "Reads the gyro log of a small multirotor and tells how much a rolling-shutter\n"
         "camera on it wobbles, in picture pixels, why, and when.\n"
         "\n"
         "Verbs:");
    for (size_t i = 0; i < N_VERBS; i++)
        printf("  %-10s %s\n", verbs[i].name, verbs[i].help);
    puts("  help VERB  the options of a verb, as VERB --help does\n"
         "\n"
         "Options:\n"
         "  --help     this text\n"
         "  --version  the version\n"
         "\n"
         "A first look at a flight:  stillrow score flight.csv\n"
         "\n"
         "Exit status: 0 done; 1 a log failed, the others were still done; 2 the command\n"
         "line or the rig file is wrong; 3 with --gate, a flight is not steady.");
}

static const struct verb *find_verb(const char *name)
{
    for (size_t i = 0; i < N_VERBS; i++)
        if (strcmp(verbs[i].name, name) == 0)
            return &verbs[i];
    return NULL;
}

static int unknown_verb(const char *name)
{
    const char *names[N_VERBS + 4] = {"help", "--help", "--version"};

    for (size_t i = 0; i < N_VERBS; i++)
        names[3 + i] = verbs[i].name;

    const char *near = nearest_word(name, names);
    const char *kind = name[0] == '-' && name[1] != '\0' ? "option" : "verb";
    if (near != NULL)
        complain("unknown %s '%s' (did you mean '%s'?)", kind, name, near);
    else if (access(name, F_OK) == 0)
        complain("'%s' is no verb but a file: say what to do with it, such as 'stillrow score %s'", name,
                 name);
    else if (kind[0] == 'o')
        complain("unknown option '%s': the verb comes first, and its options after it", name);
    else
        complain("unknown %s '%s'", kind, name);
    return usage_hint(NULL);
}

static int help_verb(int argc, char **argv)
{
    if (argc < 2) {
        print_help();
        return EXIT_DONE;
    }
    const struct verb *verb = find_verb(argv[1]);
    if (verb == NULL)
        return unknown_verb(argv[1]);
    char option[] = "--help";
    char *asked[] = {argv[1], option, NULL};
    return verb->run(2, asked);
}

static int run(int argc, char **argv)
{
    if (argc < 2) {
        complain("no verb given");
        return usage_hint(NULL);
    }
    const char *first = argv[1];
    if (strcmp(first, "--help") == 0 || strcmp(first, "-h") == 0) {
        print_help();
        return EXIT_DONE;
    }
    if (strcmp(first, "--version") == 0) {
        puts("stillrow " SR_VERSION);
        return EXIT_DONE;
    }
    if (strcmp(first, "help") == 0)
        return help_verb(argc - 1, argv + 1);
    const struct verb *verb = find_verb(first);
    return verb != NULL ? verb->run(argc - 1, argv + 1) : unknown_verb(first);
}

/*
 * A standard stream that was closed by the caller is opened on nothing, so that no
 * file of ours lands on its number; writing to it then fails, and is noticed.
 */
static int hold_standard_streams(void)
{
    int fd;

    do {
        fd = open("/dev/null", O_RDONLY);
        if (fd < 0)
            return -1;
    } while (fd <= STDERR_FILENO);
    return close(fd);
}

int main(int argc, char **argv)
{
    if (hold_standard_streams() != 0)
        return EXIT_FAILED;
    /* A reader that went away is seen by the write that fails, not by a signal. */
    signal(SIGPIPE, SIG_IGN);
#ifdef SIGXFSZ
    /* Likewise a file that grows over the limit: death would leave half of it beside the whole one. */
    signal(SIGXFSZ, SIG_IGN);
#endif
    /* Character set of the terminal only: numbers are read and written with a point everywhere. */
    setlocale(LC_CTYPE, "");
    return output_close(run(argc, argv));
}
