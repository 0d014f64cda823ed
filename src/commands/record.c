/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "commands/record.h"

#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>

#include "commands/commands.h"
#include "stillrow/ledger_report.h"

static const char *const ratings[] = {"clean", "slight", "bad", NULL};

#define AT(member) offsetof(struct record_args, member)
static const struct cli_option record_options[] = {
    {.name = "ledger",
     .kind = OPTION_TEXT,
     .offset = AT(ledger),
     .argument = "FILE",
     .help = "add each flight to this ledger, a CSV file, made if missing; says when wobble has grown over "
             "the build's last flights"},
    {.name = "date",
     .kind = OPTION_TEXT,
     .offset = AT(date),
     .argument = "DATE",
     .help = "day of the flight in the ledger, as 2026-06-14, or 'today'",
     .fallback = "none"},
    {.name = "rating",
     .kind = OPTION_CHOICE,
     .offset = AT(rating),
     .argument = "WORD",
     .choices = ratings,
     .help = "what the footage looks like: clean, slight or bad",
     .fallback = "not rated"},
    {.name = "temperature",
     .kind = OPTION_NUMBER,
     .offset = AT(temperature_c),
     .argument = "C",
     .unit = "C",
     .section = "mount",
     .key = "temperature_c",
     .help = "temperature of the mount in the ledger; a resonance that the rig has of another one is not "
             "taken over",
     .fallback = "temperature_c of the rig"},
    {.name = "note",
     .kind = OPTION_TEXT,
     .offset = AT(note),
     .argument = "TEXT",
     .help = "a remark for the ledger"},
};
#undef AT

void record_args_init(struct record_args *args)
{
    *args = (struct record_args){.temperature_c = NAN};
}

const struct option_group record_group = OPTION_GROUP("The ledger", record_options);
const struct option_group record_beside_group = {"The ledger", record_options + 1, ROWS(record_options) - 1};

static bool set_date(struct record_args *args)
{
    if (strcmp(args->date, "today") == 0) {
        time_t now = time(NULL);
        struct tm local;
        if (localtime_r(&now, &local) == NULL ||
            strftime(args->today, sizeof args->today, "%Y-%m-%d", &local) == 0) {
            complain("--date: the clock of this machine gives no date");
            return false;
        }
        args->date = args->today;
    }
    if (sr_ledger_is_date(args->date))
        return true;
    complain("--date: '%s' is no day as 2026-06-14", args->date);
    return false;
}

bool record_check(struct record_args *args)
{
    if (args->ledger == NULL) {
        const char *option = args->date != NULL                   ? "date"
                             : args->rating != NULL               ? "rating"
                             : args->note != NULL                 ? "note"
                             : isfinite(args->temperature_c) != 0 ? "temperature"
                                                                  : NULL;
        if (option != NULL)
            complain("--%s says something for a ledger; give that with --ledger FILE", option);
        return option == NULL;
    }
    return args->date == NULL || set_date(args);
}

/* The folder that a file is to be made in is there; its name in folder[size]. */
static bool has_folder(const char *path, char *folder, size_t size)
{
    const char *slash = strrchr(path, '/');
    struct stat info;

    if (slash == NULL || slash == path)
        return true;
    snprintf(folder, size, "%.*s", (int)(slash - path), path);
    return stat(folder, &info) == 0 || errno != ENOENT;
}

bool record_ready(const struct record_args *args)
{
    char folder[4096];
    struct stat info;
    struct sr_ledger ledger;
    struct sr_error err = {0};

    if (args->ledger == NULL)
        return true;
    if (!has_folder(args->ledger, folder, sizeof folder)) {
        complain("%s: cannot make the ledger: there is no folder '%s'", args->ledger, folder);
        return false;
    }
    if (stat(args->ledger, &info) != 0 || !S_ISREG(info.st_mode) || info.st_size == 0)
        return true;
    if (sr_ledger_read(&ledger, args->ledger, &err) == SR_OK) {
        sr_ledger_release(&ledger);
        return true;
    }
    complain_error(&err);
    if (err.status == SR_ERR_FORMAT && err.line == 1 && args->operand)
        complain("ledger add: the ledger comes first, then the logs; is '%s' one of those?", args->ledger);
    return false;
}

static struct sr_ledger_row row_of(const struct record_args *args, const struct flight *flight,
                                   const struct flight_plan *plan, char hex[SR_FINGERPRINT_SIZE])
{
    struct sr_ledger_row row;

    sr_ledger_row_from(&row, hex, &flight->log, &plan->rig, &flight->score);
    if (args->date != NULL)
        row.date = args->date;
    if (args->rating != NULL)
        sr_rating_find(args->rating, &row.rating);
    if (args->note != NULL)
        row.note = args->note;
    if (isfinite(args->temperature_c)) {
        /* The rig's resonance was measured at the rig's temperature, if anywhere. */
        if (!(fabs(args->temperature_c - row.temperature_c) < 0.05))
            row.resonance_hz = NAN;
        row.temperature_c = args->temperature_c;
    }
    return row;
}

/* What else the ledger has of this log; where it was added before, whether that row is of the same side. */
static void find_twins(struct sr_recorded *recorded, const struct sr_ledger *ledger,
                       const struct sr_ledger_row *row)
{
    for (size_t i = 0; i < ledger->n_rows; i++) {
        const struct sr_ledger_row *other = &ledger->rows[i];
        if (!sr_ledger_has_print(other, row->fingerprint))
            continue;
        if (!other->readable && recorded->unreadable_line == 0)
            recorded->unreadable_line = other->line;
        bool same = sr_ledger_same_flight(other, row);
        recorded->other_rigs += other->readable && !same;
        if (other->readable && same && recorded->otherwise_line == 0 && other->mount_in != row->mount_in) {
            recorded->otherwise = other->mount_in;
            recorded->otherwise_line = other->line;
        }
    }
}

enum sr_status record_flight(const struct record_args *args, const struct flight *flight,
                             const struct flight_plan *plan, const struct output_args *output, bool quiet,
                             struct sr_error *err)
{
    char hex[SR_FINGERPRINT_SIZE], assumed[SR_NOTE_MAX];
    struct sr_ledger ledger;
    struct sr_trend trend;
    struct sr_recorded recorded = {.path = args->ledger,
                                   .log = flight->log.name,
                                   .fingerprint = hex,
                                   .trend = &trend,
                                   .rig_told = args->rig_told};
    struct sr_style style;

    if (args->ledger == NULL)
        return SR_OK;
    struct sr_ledger_row row = row_of(args, flight, plan, hex);
    recorded.mount_in = row.mount_in;
    if (args->alone) {
        sr_rig_assumption(&plan->rig, assumed, sizeof assumed);
        recorded.assumed = assumed;
        recorded.mount_note = flight->mount_note;
    }
    enum sr_status status = sr_ledger_add(args->ledger, &row, &recorded.added, err);
    if (status == SR_OK)
        status = sr_ledger_read(&ledger, args->ledger, err);
    if (status == SR_OK) {
        find_twins(&recorded, &ledger, &row);
        status = sr_trend_find(&trend, &ledger, &row, err);
        sr_ledger_release(&ledger);
    }
    if (status == SR_OK && !quiet && output->json) {
        status = sr_recorded_json(stdout, &recorded, err);
    } else if (status == SR_OK && !quiet) {
        style_from(&style, output);
        sr_recorded_text(stdout, &style, &recorded);
    }
    if (status != SR_OK && err->file[0] == '\0')
        snprintf(err->file, sizeof err->file, "%s", args->ledger);
    return status;
}
