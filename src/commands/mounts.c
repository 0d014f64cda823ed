/* SPDX-License-Identifier: GPL-3.0-or-later */
/* stillrow mounts: what a flight would be on other pieces, and at other temperatures. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "commands/commands.h"
#include "commands/flight.h"
#include "stillrow/kappa.h"
#include "stillrow/mount_report.h"

struct mounts_args {
    struct option_numbers hardness;
    const char *temperature;
    const char *flown_on, *flown_at, *material, *resonance, *damping, *gyro_on;
    const char *other, *other_side;
    double other_hardness;
    const char *plot, *script;
    bool dark;
    const char *window;
    const char *ledger;
};

static const char *const materials[] = {"natural-rubber", "silicone", "tpu", NULL};
static const char *const sides[] = {"frame", "camera", NULL};

#define AT(member) offsetof(struct mounts_args, member)
static const struct cli_option mounts_options[] = {
    {.name = "hardness",
     .kind = OPTION_NUMBERS,
     .offset = AT(hardness),
     .argument = "A,A...",
     .unit = "Shore A",
     .min = SR_SHORE_LOW,
     .max = SR_SHORE_HIGH,
     .help = "hardnesses to try",
     .fallback = "40,50,60,70"},
    {.name = "temperature",
     .kind = OPTION_TEXT,
     .offset = AT(temperature),
     .argument = "LOW:HIGH:STEP",
     .help = "temperatures to try, in C; one number alone, or a list with commas, will do",
     .fallback = "-5:35:10"},
    {.name = "plot",
     .kind = OPTION_TEXT,
     .offset = AT(plot),
     .argument = "FILE",
     .help = "draw what each hardness lets through over the spectrum, as FILE.png, .svg or .pdf"},
    {.name = "script",
     .kind = OPTION_TEXT,
     .offset = AT(script),
     .argument = "FILE",
     .help = "keep the gnuplot script of --plot"},
    {.name = "dark", .kind = OPTION_FLAG, .offset = AT(dark), .help = "draw on a dark page"},
    {.name = "window",
     .kind = OPTION_CHOICE,
     .offset = AT(window),
     .argument = "NAME",
     .choices = window_choices,
     .help = "window of the spectra, as for score",
     .fallback = "hann"},
};

static const struct cli_option flown_options[] = {
    {.name = "flown-on",
     .kind = OPTION_DIGITS,
     .offset = AT(flown_on),
     .argument = "A",
     .unit = "Shore A",
     .min = SR_SHORE_LOW,
     .max = SR_SHORE_HIGH,
     .help = "hardness of the pieces in this flight (shore_a of the rig)"},
    {.name = "flown-at",
     .kind = OPTION_DIGITS,
     .offset = AT(flown_at),
     .argument = "C",
     .unit = "C",
     .min = -60,
     .max = 120,
     .help = "their temperature in this flight (temperature_c)",
     .fallback = "20, and said so"},
    {.name = "material",
     .kind = OPTION_CHOICE,
     .offset = AT(material),
     .argument = "NAME",
     .choices = materials,
     .help = "of the pieces: natural-rubber, silicone or tpu",
     .fallback = "unknown: a wide range"},
    {.name = "resonance-hz",
     .kind = OPTION_DIGITS,
     .offset = AT(resonance),
     .argument = "HZ",
     .unit = "Hz",
     .min = 0,
     .above = true,
     .max = 10000,
     .help = "measured natural frequency of the camera on its mount (resonance_hz)",
     .fallback = "from --other, else from the pieces in the rig"},
    {.name = "damping",
     .kind = OPTION_DIGITS,
     .offset = AT(damping),
     .argument = "RATIO",
     .min = 0,
     .above = true,
     .max = 1,
     .help = "its damping ratio (damping)",
     .fallback = "from --other, else assumed"},
    {.name = "gyro-on",
     .kind = OPTION_CHOICE,
     .offset = AT(gyro_on),
     .argument = "SIDE",
     .choices = sides,
     .help = "what the logged gyro is bolted to: frame or camera",
     .fallback = "frame"},
    {.name = "ledger",
     .kind = OPTION_TEXT,
     .offset = AT(ledger),
     .argument = "FILE",
     .help =
         "take how the rubber changes with temperature (kappa) from the resonances measured in this ledger",
     .fallback = "kappa of the rig, else by material"},
    {.name = "other",
     .kind = OPTION_TEXT,
     .offset = AT(other),
     .argument = "LOG",
     .help = "a second log to find the natural frequency from: of the same flight from the other side of the "
             "mount, "
             "or, with --other-hardness, of the same build on other pieces"},
    {.name = "other-side",
     .kind = OPTION_CHOICE,
     .offset = AT(other_side),
     .argument = "SIDE",
     .choices = sides,
     .help = "what the gyro of --other is bolted to",
     .fallback = "the other side"},
    {.name = "other-hardness",
     .kind = OPTION_NUMBER,
     .offset = AT(other_hardness),
     .argument = "A",
     .unit = "Shore A",
     .min = SR_SHORE_LOW,
     .max = SR_SHORE_HIGH,
     .help = "--other is another flight, on pieces of this hardness; both gyros are on the camera"},
};
#undef AT

static const char about[] =
    "Predicts, from one flight, how much the footage would wobble with the camera on pieces of other "
    "hardness and at "
    "other temperatures, and says which to fit. The gyro may be on the frame or on the camera.";
static const char after[] =
    "The natural frequency of the mount as flown is needed: measured (a rig's resonance_hz), found\n"
    "from a second log (--other), or worked out from the pieces in the rig, which is a first guess.\n"
    "  stillrow mounts --rig heron.ini --other camera-gyro.csv frame-gyro.csv\n"
    "Exit status: 0 done; 1 a log failed, or nothing tells the natural frequency; 2 usage.\n";

/* ---- What was asked ---- */

static bool number(const char **text, double *value)
{
    char *end;
    *value = strtod(*text, &end);
    if (end == *text || !isfinite(*value))
        return false;
    *text = end;
    return true;
}

static bool add_temperature(struct sr_mount_ask *ask, double celsius)
{
    if (ask->n_temperature == SR_TEMPERATURES_MAX || !(celsius >= -60 && celsius <= 120))
        return false;
    ask->temperature_c[ask->n_temperature++] = celsius;
    return true;
}

static int ascending(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* "LOW:HIGH:STEP", "LOW:HIGH" in tens, or numbers with commas. */
static bool read_temperatures(struct sr_mount_ask *ask, const char *text)
{
    double low, high, step = 10;
    ask->n_temperature = 0;
    if (!number(&text, &low))
        return false;
    if (*text != ':') {
        bool good = add_temperature(ask, low);
        while (good && *text == ',') {
            text++;
            good = number(&text, &low) && add_temperature(ask, low);
        }
        qsort(ask->temperature_c, ask->n_temperature, sizeof *ask->temperature_c, ascending);
        return good && *text == '\0';
    }
    text++;
    if (!number(&text, &high) || high < low)
        return false;
    if (*text == ':') {
        text++;
        if (!number(&text, &step) || !(step > 0))
            return false;
    }
    bool good = *text == '\0';
    for (size_t i = 0; good && low + (double)i * step <= high + 1e-9 * step; i++)
        good = add_temperature(ask, low + (double)i * step);
    return good;
}

static bool read_ask(struct sr_mount_ask *ask, const struct mounts_args *args)
{
    sr_mount_ask_init(ask);
    if (args->hardness.count > SR_HARDNESSES_MAX) {
        complain("--hardness: more than %d hardnesses", SR_HARDNESSES_MAX);
        return false;
    }
    if (args->hardness.count > 0) {
        ask->n_shore = args->hardness.count;
        memcpy(ask->shore_a, args->hardness.value, ask->n_shore * sizeof *ask->shore_a);
        qsort(ask->shore_a, ask->n_shore, sizeof *ask->shore_a, ascending);
    }
    if (args->temperature != NULL && !read_temperatures(ask, args->temperature)) {
        complain("--temperature: '%s' is not LOW:HIGH:STEP, nor numbers with commas, of -60 to 120 C and at "
                 "most %d of "
                 "them",
                 args->temperature, SR_TEMPERATURES_MAX);
        return false;
    }
    return true;
}

/* The options that say how it was flown, laid over the rig. */
static bool lay_over(struct sr_rig *rig, const struct mounts_args *args)
{
    const struct {
        const char *option, *section, *key, *value;
    } keys[] = {
        {"flown-on", "mount", "shore_a", args->flown_on},
        {"flown-at", "mount", "temperature_c", args->flown_at},
        {"material", "mount", "material", args->material},
        {"resonance-hz", "mount", "resonance_hz", args->resonance},
        {"damping", "mount", "damping", args->damping},
        {"gyro-on", "gyro", "on", args->gyro_on},
    };
    struct sr_error err = {0};
    for (size_t i = 0; i < sizeof keys / sizeof keys[0]; i++) {
        if (keys[i].value == NULL)
            continue;
        if (sr_rig_set(rig, keys[i].section, keys[i].key, keys[i].value, &err) != SR_OK) {
            complain("--%s: %s", keys[i].option, err.text);
            return false;
        }
    }
    /* A hardness given for this flight speaks louder than the rig's modulus. */
    if (args->flown_on != NULL)
        rig->mount.modulus_mpa = NAN;
    return true;
}

/* What does not go together. */
static bool check_args(const struct mounts_args *args, const struct flight_plan *plan, size_t n_logs)
{
    enum sr_plot_format format;
    bool other_camera = args->other_side != NULL && strcmp(args->other_side, "camera") == 0;
    bool camera = plan->rig.gyro_side == SR_GYRO_CAMERA, two_mounts = !isnan(args->other_hardness);
    if (n_logs == 0)
        complain("mounts: no log given");
    else if (n_logs > 1 && (args->other != NULL || args->plot != NULL))
        complain("mounts: --%s goes with one log at a time", args->other != NULL ? "other" : "plot");
    else if (args->other == NULL && (args->other_side != NULL || two_mounts))
        complain(
            "mounts: --other-side and --other-hardness say something of --other LOG, which is not given");
    else if (args->other != NULL && !two_mounts && args->other_side != NULL && other_camera == camera)
        complain("mounts: both gyros are on the %s; two logs of one flight tell the mount only from both "
                 "sides of it "
                 "(for another flight on other pieces give --other-hardness)",
                 args->other_side);
    else if (two_mounts && (!camera || (args->other_side != NULL && !other_camera)))
        complain(
            "mounts: two mounts are told apart by what the camera feels: both gyros need to be on the camera "
            "(--gyro-on camera)");
    else if (args->plot != NULL && !picture_format(args->plot, &format))
        complain("--plot: '%s' does not end in .png, .svg or .pdf", args->plot);
    else if (args->plot == NULL && args->script != NULL)
        complain("mounts: --script keeps the script of --plot FILE, which is not given");
    else
        return true;
    return false;
}

/* ---- A second log ---- */

static enum sr_status from_both_sides(struct sr_identified *found, const struct sr_log *log,
                                      const struct sr_log *other, bool log_on_camera, struct sr_error *err)
{
    struct sr_transfer transfer;
    enum sr_status status =
        sr_transfer_make(&transfer, log_on_camera ? other : log, log_on_camera ? log : other, err);
    if (status != SR_OK)
        return status;
    status = sr_identify_transfer(found, &transfer, err);
    sr_transfer_release(&transfer);
    return status;
}

/* The stiffer pieces should have the higher resonance; if not, something was mixed up. */
static void doubt_order(const struct sr_identified *own, const struct sr_identified *second,
                        const struct sr_rig *rig, const struct mounts_args *args)
{
    bool stiffer = second->fn_hz.value > own->fn_hz.value;
    if (isfinite(rig->mount.shore_a) && (args->other_hardness > rig->mount.shore_a) != stiffer)
        complain("%s: %g A came out %s than %g A; are the two logs, or their hardnesses, mixed up?",
                 args->other, args->other_hardness, stiffer ? "stiffer" : "softer", rig->mount.shore_a);
}

static enum sr_status from_two_mounts(struct sr_identified *found, const struct flight *flight,
                                      const struct sr_log *other, const struct flight_plan *plan,
                                      const struct mounts_args *args, struct sr_error *err)
{
    struct sr_slices slices;
    struct sr_identified second;
    enum sr_status status = sr_slices_make(&slices, other, &plan->rig, plan->window, err);
    if (status != SR_OK)
        return status;
    status = sr_identify_mounts(found, &second, &flight->slices, &slices, err);
    if (status == SR_OK)
        doubt_order(found, &second, &plan->rig, args);
    sr_slices_release(&slices);
    return status;
}

static enum sr_status identify(struct sr_identified *found, const struct flight *flight,
                               const struct flight_plan *plan, const struct mounts_args *args,
                               struct sr_error *err)
{
    struct sr_log other;
    enum sr_status status = flight_read(&other, args->other, plan, err);
    if (status != SR_OK)
        return status;
    if (isnan(args->other_hardness))
        status = from_both_sides(found, &flight->log, &other, plan->rig.gyro_side == SR_GYRO_CAMERA, err);
    else
        status = from_two_mounts(found, flight, &other, plan, args, err);
    sr_log_release(&other);
    if (status != SR_OK && err->file[0] == '\0')
        snprintf(err->file, sizeof err->file, "%s", args->other);
    return status;
}

/* ---- One log ---- */

static enum sr_status draw(const struct flight *flight, const struct flight_plan *plan,
                           const struct sr_mount_table *table, const struct mounts_args *args,
                           struct sr_error *err)
{
    const struct sr_plot_flight drawn = {.log_name = flight->log.name,
                                         .rig = &plan->rig,
                                         .slices = &flight->slices,
                                         .view = &flight->view,
                                         .score = &flight->score};
    struct sr_plot_options options;
    sr_plot_options_init(&options);
    picture_format(args->plot, &options.format);
    options.output = args->plot;
    options.script = args->script;
    options.dark = args->dark;
    return sr_plot_mounts(&drawn, table, &options, err);
}

static enum sr_status report(const struct flight *flight, const struct flight_plan *plan,
                             const struct sr_mount_table *table, const struct sr_identified *found,
                             const struct output_args *output, bool first, struct sr_error *err)
{
    const struct sr_mount_report r = {
        .log = &flight->log, .rig = &plan->rig, .table = table, .identified = found};
    struct sr_style style;
    if (output->json)
        return sr_mounts_json(stdout, &r, err);
    style_from(&style, output);
    if (!first)
        putchar('\n');
    sr_mounts_text(stdout, &style, &r);
    return SR_OK;
}

/* ---- Temperature from a ledger ---- */

/* Kappa of the rig's material, where the ledger can tell it; where it cannot that is said, and the rig's own
 * law holds. */
static enum sr_status take_kappa(struct sr_mount_own *own, const struct flight_plan *plan,
                                 const struct mounts_args *args, struct sr_error *err)
{
    struct sr_ledger ledger;
    struct sr_kappa kappa;
    enum sr_status status = sr_ledger_read(&ledger, args->ledger, err);

    if (status != SR_OK)
        return status;
    status = sr_ledger_kappa(&kappa, &ledger, plan->rig.mount.material, err);
    sr_ledger_release(&ledger);
    if (status == SR_ERR_DATA) {
        complain("%s: %s; what the rig says of its rubber is used", args->ledger, err->text);
        return SR_OK;
    }
    if (status != SR_OK)
        return status;
    own->law.kappa = kappa.kappa.value;
    own->law.kappa_low = kappa.kappa.low;
    own->law.kappa_high = kappa.kappa.high;
    size_t used = strlen(own->text);
    snprintf(own->text + used, sizeof own->text - used,
             "; kappa %.4f (%.4f to %.4f) a kelvin from %zu resonances measured in %s", kappa.kappa.value,
             kappa.kappa.low, kappa.kappa.high, kappa.measured, args->ledger);
    return SR_OK;
}

static enum sr_status work_out(const struct flight *flight, const struct flight_plan *plan,
                               const struct mounts_args *args, const struct sr_mount_ask *ask,
                               const struct output_args *output, bool first, struct sr_error *err)
{
    struct sr_identified identified;
    const struct sr_identified *found = NULL;
    struct sr_mount_own own;
    struct sr_mount_table table;
    enum sr_status status = SR_OK;

    if (args->other != NULL) {
        status = identify(&identified, flight, plan, args, err);
        found = &identified;
    }
    if (status == SR_OK)
        status = sr_mount_resolve(&own, &plan->rig, found, err);
    if (status == SR_OK && args->ledger != NULL)
        status = take_kappa(&own, plan, args, err);
    if (status == SR_OK)
        status = sr_mount_table_make(&table, ask, &own, &flight->slices, &flight->score, &plan->rig, err);
    if (status != SR_OK)
        return status;
    status = report(flight, plan, &table, found, output, first, err);
    if (status == SR_OK && args->plot != NULL)
        status = draw(flight, plan, &table, args, err);
    sr_mount_table_release(&table);
    return status;
}

static bool one_log(const char *path, const struct flight_plan *plan, const struct mounts_args *args,
                    const struct sr_mount_ask *ask, const struct output_args *output, bool first)
{
    struct flight flight;
    struct sr_error err = {0};
    enum sr_status status = flight_score(&flight, path, plan, &err);

    if (status == SR_OK) {
        status = work_out(&flight, plan, args, ask, output, first, &err);
        flight_release(&flight);
    }
    if (status == SR_OK)
        return true;
    /* What cannot be written is no fault of the log. */
    if (err.file[0] == '\0' && err.status != SR_ERR_WRITE)
        snprintf(err.file, sizeof err.file, "%s", path);
    complain_error(&err);
    return false;
}

int command_mounts(int argc, char **argv)
{
    struct mounts_args args = {.other_hardness = NAN};
    struct log_args log;
    struct rig_args rig = {0};
    struct output_args output = {0};
    struct flight_plan plan;
    struct sr_mount_ask ask;
    size_t n_logs = 0, failed = 0;

    log_args_init(&log);
    const struct option_group groups[] = {
        {"The question", mounts_options, sizeof mounts_options / sizeof mounts_options[0], &args},
        {"The mount as flown", flown_options, sizeof flown_options / sizeof flown_options[0], &args},
        log_group(&log),
        rig_group(&rig),
        output_group(&output),
    };
    const struct command_line line = {.verb = "mounts",
                                      .operands = "LOG...",
                                      .about = about,
                                      .after = after,
                                      .groups = groups,
                                      .n_groups = sizeof groups / sizeof groups[0]};

    switch (options_parse(&line, argc, argv, &n_logs)) {
    case OPTIONS_DONE:
        return EXIT_DONE;
    case OPTIONS_WRONG:
        return EXIT_USAGE;
    case OPTIONS_RUN:
        break;
    }
    if (!flight_plan_make(&plan, &log, &rig, args.window) || !lay_over(&plan.rig, &args) ||
        !read_ask(&ask, &args) || !check_args(&args, &plan, n_logs))
        return usage_hint("mounts");
    for (size_t i = 0; i < n_logs; i++) {
        failed += !one_log(argv[1 + i], &plan, &args, &ask, &output, i == 0);
        if (!output_flush())
            return EXIT_FAILED;
    }
    return failed > 0 ? EXIT_FAILED : EXIT_DONE;
}
