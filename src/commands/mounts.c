/* SPDX-License-Identifier: GPL-3.0-or-later */
/* stillrow mounts: what a flight would be on other pieces, and at other temperatures. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "commands/batch.h"
#include "commands/commands.h"
#include "commands/flight.h"
#include "stillrow/kappa.h"
#include "stillrow/mount_report.h"

struct mounts_args {
    struct option_numbers hardness;
    const char *temperature;
    struct key_texts flown; /* how it was flown, as the rig would say it */
    const char *other, *other_side;
    double other_hardness;
    struct picture_args picture;
    const char *ledger;
    struct flight_args flight;
};

/* What is tried, and on what. */
struct trying {
    struct flight_plan plan;
    struct mounts_args args;
    struct sr_mount_ask ask;
};

static const char *const materials[] = {"natural-rubber", "silicone", "tpu", NULL};
static const char *const sides[] = {"frame", "camera", NULL};

#define AT(member) offsetof(struct mounts_args, member)
static const struct cli_option mounts_options[] = {
    {.name = "hardness",
     .kind = OPTION_NUMBERS,
     .section = "mount",
     .key = "shore_a",
     .offset = AT(hardness),
     .argument = "A,A...",
     .help = "hardnesses to try",
     .fallback = "40,50,60,70"},
    {.name = "temperature",
     .kind = OPTION_TEXT,
     .offset = AT(temperature),
     .argument = "LOW:HIGH:STEP",
     .help = "temperatures to try, in C; one number alone, or a list with commas, will do",
     .fallback = "-5:35:10"},
    PICTURE_ROWS(AT(picture),
                 "draw what each hardness lets through over the spectrum, as FILE.png, .svg or .pdf"),
    WINDOW_ROW(AT(flight.window), ", as for score"),
};

#define KEY(section_name, key_name)                                                                          \
    .kind = OPTION_KEY, .section = (section_name), .key = (key_name), .offset = AT(flown)
static const struct cli_option flown_options[] = {
    {.name = "flown-on",
     KEY("mount", "shore_a"),
     .argument = "A",
     .help = "hardness of the pieces in this flight (shore_a of the rig)"},
    {.name = "flown-at",
     KEY("mount", "temperature_c"),
     .argument = "C",
     .unit = "C",
     .help = "their temperature in this flight (temperature_c)",
     .fallback = "20, and said so"},
    {.name = "material",
     KEY("mount", "material"),
     .argument = "NAME",
     .choices = materials,
     .help = "of the pieces: natural-rubber, silicone or tpu",
     .fallback = "unknown: a wide range"},
    {.name = "resonance-hz",
     KEY("mount", "resonance_hz"),
     .argument = "HZ",
     .help = "measured natural frequency of the camera on its mount (resonance_hz)",
     .fallback = "from --other, else from the pieces in the rig"},
    {.name = "damping",
     KEY("mount", "damping"),
     .argument = "RATIO",
     .help = "its damping ratio (damping)",
     .fallback = "from --other, else assumed"},
    {.name = "gyro-on",
     KEY("gyro", "on"),
     .argument = "SIDE",
     .help = "what the logged gyro is bolted to: frame or camera"},
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
             "mount, or, with --other-hardness, of the same build on other pieces"},
    {.name = "other-side",
     .kind = OPTION_CHOICE,
     .offset = AT(other_side),
     .argument = "SIDE",
     .choices = sides,
     .help = "what the gyro of --other is bolted to",
     .fallback = "the other side"},
    {.name = "other-hardness",
     .kind = OPTION_NUMBER,
     .section = "mount",
     .key = "shore_a",
     .offset = AT(other_hardness),
     .argument = "A",
     .help = "--other is another flight, on pieces of this hardness; both gyros are on the camera"},
};
#undef KEY
_Static_assert(ROWS(flown_options) <= KEY_ROWS_MAX, "raise KEY_ROWS_MAX");

static const struct option_group mounts_group = OPTION_GROUP("The question", mounts_options);
static const struct option_group flown_group = OPTION_GROUP("The mount as flown", flown_options);
static const struct option_use uses[] = {
    {&mounts_group, 0},
    {&flown_group, 0},
    LOG_GROUP(struct mounts_args),
    RIG_GROUP(struct mounts_args),
    OUTPUT_GROUP(struct mounts_args),
};
#undef AT

static const struct command_line line = {
    .verb = "mounts",
    .operands = "LOG...",
    .about = "Predicts, from one flight, how much the footage would wobble with the camera on pieces of "
             "other hardness and at other temperatures, and says which to fit. The gyro may be on the frame "
             "or on the camera.",
    .after =
        "The natural frequency of the mount as flown is needed: measured (a rig's resonance_hz), found\n"
        "from a second log (--other), or worked out from the pieces in the rig, which is a first guess.\n"
        "  stillrow mounts --rig heron.ini --other camera-gyro.csv frame-gyro.csv\n"
        "Exit status: 0 done; 1 a log failed, or nothing tells the natural frequency; 2 usage.\n",
    .uses = uses,
    .n_uses = ROWS(uses)};

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
                 "most %d of them",
                 args->temperature, SR_TEMPERATURES_MAX);
        return false;
    }
    return true;
}

/* The options that say how it was flown, laid over the rig. */
static bool lay_over(struct sr_rig *rig, struct mounts_args *args)
{
    if (!rig_lay_over(rig, &flown_group, &args->flown))
        return false;
    /* A hardness given for this flight speaks louder than the rig's modulus. */
    if (*key_text_of(&flown_group, &args->flown, "flown-on") != NULL)
        rig->mount.modulus_mpa = NAN;
    return true;
}

/* Whether what is said of --other goes together. */
static bool check_other(const struct mounts_args *args, const struct flight_plan *plan)
{
    bool other_camera = args->other_side != NULL && strcmp(args->other_side, "camera") == 0;
    bool camera = plan->rig.gyro_side == SR_GYRO_CAMERA, two_mounts = !isnan(args->other_hardness);

    if (args->other == NULL && (args->other_side != NULL || two_mounts))
        complain(
            "mounts: --other-side and --other-hardness say something of --other LOG, which is not given");
    else if (args->other != NULL && !two_mounts && args->other_side != NULL && other_camera == camera)
        complain("mounts: both gyros are on the %s; two logs of one flight tell the mount only from both "
                 "sides of it (for another flight on other pieces give --other-hardness)",
                 args->other_side);
    else if (two_mounts && (!camera || (args->other_side != NULL && !other_camera)))
        complain("mounts: two mounts are told apart by what the camera feels: both gyros need to be on the "
                 "camera (--gyro-on camera)");
    else
        return true;
    return false;
}

/* What does not go together. */
static bool check_args(const struct mounts_args *args, const struct flight_plan *plan, size_t n_logs)
{
    if (n_logs > 1 && (args->other != NULL || args->picture.plot != NULL)) {
        complain("mounts: --%s goes with one log at a time", args->other != NULL ? "other" : "plot");
        return false;
    }
    return check_other(args, plan) && picture_check(&args->picture, line.verb);
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

static enum sr_status draw(const struct flight *flight, const struct trying *batch,
                           const struct sr_mount_table *table, struct sr_error *err)
{
    const struct sr_plot_flight drawn = {.log_name = flight->log.name,
                                         .rig = &batch->plan.rig,
                                         .slices = &flight->slices,
                                         .view = &flight->view,
                                         .score = &flight->score};
    struct sr_plot_options options;

    picture_options(&options, &batch->args.picture);
    return sr_plot_mounts(&drawn, table, &options, err);
}

static enum sr_status report(const struct flight *flight, const struct trying *batch,
                             const struct sr_mount_table *table, const struct sr_identified *found,
                             bool first, struct sr_error *err)
{
    const struct output_args *output = &batch->args.flight.output;
    const struct sr_mount_report r = {
        .log = &flight->log, .rig = &batch->plan.rig, .table = table, .identified = found};
    struct sr_style style;

    if (output->json)
        return sr_mounts_json(stdout, &r, err);
    text_begin(&style, output, first);
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

static enum sr_status try_mounts(void *context, const struct flight *flight, bool first, struct sr_error *err)
{
    const struct trying *batch = context;
    const struct flight_plan *plan = &batch->plan;
    const struct mounts_args *args = &batch->args;
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
        status =
            sr_mount_table_make(&table, &batch->ask, &own, &flight->slices, &flight->score, &plan->rig, err);
    if (status != SR_OK)
        return status;
    status = report(flight, batch, &table, found, first, err);
    if (status == SR_OK && args->picture.plot != NULL)
        status = draw(flight, batch, &table, err);
    sr_mount_table_release(&table);
    return status;
}

int command_mounts(int argc, char **argv)
{
    struct trying batch = {.args = {.other_hardness = NAN}};
    struct mounts_args *args = &batch.args;
    size_t n_logs = 0;
    int status;

    flight_args_init(&args->flight);
    if (!options_take_logs(&line, args, argc, argv, &n_logs, &status))
        return status;
    if (!flight_plan_make(&batch.plan, &args->flight) || !lay_over(&batch.plan.rig, args) ||
        !read_ask(&batch.ask, args) || !check_args(args, &batch.plan, n_logs))
        return usage_hint(line.verb);
    return batch_run(argv + 1, n_logs, &batch.plan, try_mounts, &batch, NULL);
}
