/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A table of mounts in a pilot's words: what it rests on, what to fit, what to try. */
#include "mount/words.h"
#include "mount/choice.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>

#define NOISE_SHARE_MIN 0.3 /* of a prediction, from where it is worth a warning */
#define WORTH_DB        0.5 /* less gain is no trial */

static void note(struct sr_mount_table *table, const char *format, ...) __attribute__((format(printf, 2, 3)));

static void note(struct sr_mount_table *table, const char *format, ...)
{
    va_list arguments;
    if (table->n_notes >= SR_MOUNT_NOTES_MAX)
        return;
    va_start(arguments, format);
    vsnprintf(table->notes[table->n_notes++], SR_MOUNT_TEXT, format, arguments);
    va_end(arguments);
}

static void note_side(struct sr_mount_table *table, const struct sr_rig *rig)
{
    const struct sr_isolator controller = mount_controller(rig);
    if (rig->gyro_side == SR_GYRO_FRAME)
        note(table, "the gyro is on the frame%s: the camera sees what each mount lets through",
             (rig->camera_given & SR_KEY_GYRO_SIDE) != 0 ? "" : " (assumed)");
    else
        note(table,
             "the gyro is on the camera: other pieces change what it logged by the ratio of the two mounts");
    if (controller.fn_hz > 0)
        note(table,
             "the controller's own soft mount (%.4g Hz, damping %.2g%s) is divided out, by at most 10 dB",
             controller.fn_hz, controller.damping, isfinite(rig->mount.fc_damping) ? "" : " assumed");
}

static void note_hardness(struct sr_mount_table *table)
{
    if (isfinite(table->own.modulus_mpa) && table->own.modulus_mpa > 0)
        note(table,
             "the pieces flown have %.3g MPa as given; other hardnesses have Gent's stiffness, times 0.8 to "
             "1.5",
             table->own.modulus_mpa);
    else
        note(table,
             "the pieces flown are %.3g A as given; hardness turns into stiffness by Gent's formula, and the "
             "range "
             "covers other published ones; pieces of one mark may differ by 5 A, which is not in the range",
             table->own.shore_a);
}

static void note_temperature(struct sr_mount_table *table)
{
    char law[SR_MOUNT_TEXT];
    bool outside = false, unknown = false;
    size_t cells = table->ask.n_shore * table->ask.n_temperature;

    sr_rubber_law_text(&table->own.law, law, sizeof law);
    if (table->own.temperature_assumed)
        note(table, "the temperature of this flight is not given: %g C assumed (temperature_c of the rig)",
             table->own.temperature_c);
    note(table, "%s", law);
    for (size_t i = 0; i < cells; i++) {
        outside = outside || table->cells[i].outside;
        unknown = unknown || !table->cells[i].known;
    }
    if (unknown)
        note(table, "some temperatures are beyond what can be foretold of this material, and are left out");
    else if (outside && table->own.law.material != SR_MATERIAL_TPU)
        note(table, "outside 5 to 40 C the material's stiffness is a guess with a wide range: measure there "
                    "if it matters");
}

void mount_notes(struct sr_mount_table *table, const struct sr_rig *rig, double noise_share)
{
    note(table, "%s", table->own.text);
    note_side(table, rig);
    note_hardness(table);
    note_temperature(table);
    if (noise_share > NOISE_SHARE_MIN)
        note(table,
             "up to %.0f %% of a predicted wobble comes from frequencies where this log holds little but "
             "noise: it is "
             "rather too high; log the frame's side as well",
             100 * noise_share);
    note(
        table,
        "one camera on one spring, the same in all directions: pieces that tear, sag or touch are not in it");
}

/* ---- Advice ---- */

/* "fit 40 A from -5 to 8 C, then 50 A to 35 C" */
static void say_stretches(const struct sr_mount_table *table, char *text, size_t size)
{
    for (size_t i = 0; i < table->n_stretches; i++) {
        const struct sr_mount_stretch *stretch = &table->stretches[i];
        double shore_a = table->ask.shore_a[stretch->best];
        mount_append(text, size, "%s%g A", i == 0 ? "fit " : ", ", shore_a);
        if (stretch->to_c > stretch->from_c)
            mount_append(text, size, " from %.0f to %.0f C", stretch->from_c, stretch->to_c);
        else
            mount_append(text, size, " at %.0f C", stretch->from_c);
    }
}

/* At the flight's own temperature, which is where the footage can be compared; and whether to look further.
 */
static void say_now(const struct sr_mount_table *table, char *text, size_t size)
{
    double best_a = table->ask.shore_a[table->now_best];
    if (fabs(best_a - table->own.shore_a) < 0.5)
        mount_append(text, size, "; at %.3g C the %g A flown are the best of them (%.3g px)",
                     table->own.temperature_c, best_a, table->now_px);
    else
        mount_append(text, size, "; at %.3g C %g A would make %.3g px of the %.3g px flown",
                     table->own.temperature_c, best_a, table->now_px, table->own_px.value);
    if (table->ask.n_shore > 1 && table->now_best == 0 && table->ask.shore_a[0] > SR_SHORE_LOW)
        mount_append(text, size, ", and softer ones than were asked for may do better still");
    if (table->ask.n_shore > 1 && table->now_best == table->ask.n_shore - 1 &&
        table->ask.shore_a[table->now_best] < SR_SHORE_HIGH)
        mount_append(text, size, ", and harder ones than were asked for may do better still");
}

/* What the caution costs, where a piece with less wobble was passed over for its resonance. */
static void say_passed_over(const struct sr_mount_table *table, char *text, size_t size)
{
    const struct sr_mount_pick *dearest = NULL;
    size_t at = 0;

    for (size_t j = 0; j < table->ask.n_temperature; j++) {
        const struct sr_mount_pick *pick = &table->picks[j];
        if (!pick->known || pick->best == pick->least ||
            (dearest != NULL && !(pick->margin_db < dearest->margin_db)))
            continue;
        dearest = pick;
        at = j;
    }
    if (dearest == NULL)
        return;
    const struct sr_mount_cell *cell = sr_mount_cell_at(table, dearest->least, at);
    mount_append(text, size,
                 "; %g A would make less at %.3g C (%.3g px, by %.1f dB), but %s a strong line (%.0f Hz)",
                 cell->shore_a, cell->temperature_c, cell->wobble_px.value, -dearest->margin_db,
                 cell->line_perhaps ? "may resonate with" : "resonates with", cell->line_hz);
}

/* The hardness that the stretches name at temperature j; none: where nothing can be foretold. */
static const struct sr_mount_cell *advised(const struct sr_mount_table *table, size_t j)
{
    const double celsius = table->ask.temperature_c[j];

    for (size_t s = 0; s < table->n_stretches && table->picks[j].known; s++)
        if (celsius < table->stretches[s].to_c + 0.5)
            return sr_mount_cell_at(table, table->stretches[s].best, j);
    return NULL;
}

/* "40 A (0 to 40 C)" of a hardness, where it is advised and marked; whether it is. */
static bool name_marked(const struct sr_mount_table *table, size_t i, const char *before, char *text,
                        size_t size)
{
    double low_c = NAN, high_c = NAN;

    for (size_t j = 0; j < table->ask.n_temperature; j++) {
        const struct sr_mount_cell *cell = advised(table, j);
        if (cell == NULL || cell != sr_mount_cell_at(table, i, j) || mark_of(cell) == MARK_NONE)
            continue;
        low_c = isnan(low_c) ? cell->temperature_c : low_c;
        high_c = cell->temperature_c;
    }
    if (isnan(low_c))
        return false;
    mount_append(text, size, "%s%g A (%g", before, table->ask.shore_a[i], low_c);
    if (high_c > low_c)
        mount_append(text, size, " to %g", high_c);
    mount_append(text, size, " C)");
    return true;
}

/* Where what is advised is marked: the warning, and what there is without a mark. */
static void say_marked(const struct sr_mount_table *table, char *text, size_t size)
{
    const struct sr_mount_cell *worst = NULL, *spare = NULL;
    size_t named = 0;

    for (size_t j = 0; j < table->ask.n_temperature; j++) {
        const struct sr_mount_cell *cell = advised(table, j);
        if (cell == NULL || mark_of(cell) == MARK_NONE)
            continue;
        if (worst == NULL || mark_of(cell) > mark_of(worst))
            worst = cell;
        const size_t unmarked = table->picks[j].unmarked;
        if (spare == NULL && mark_of(sr_mount_cell_at(table, unmarked, j)) == MARK_NONE)
            spare = sr_mount_cell_at(table, unmarked, j);
    }
    if (worst == NULL)
        return;
    for (size_t i = 0; i < table->ask.n_shore; i++)
        named += name_marked(table, i, named > 0 ? ", " : "; careful: ", text, size);
    mount_append(
        text, size,
        " %sresonate%s with a strong line (%.0f Hz), and other speeds or a little cold can make more of it; ",
        worst->line_perhaps ? "may " : "", named > 1 || worst->line_perhaps ? "" : "s", worst->line_hz);
    if (spare != NULL)
        mount_append(text, size, "%g A, which does not, would make %.3g px at %.3g C", spare->shore_a,
                     spare->wobble_px.value, spare->temperature_c);
    else
        mount_append(text, size, "none of the others is free of that there");
}

/* Pieces are not changed where there is no need, nor is it known where the log sees too little. */
static void say_need(const struct sr_mount_table *table, char *text, size_t size)
{
    if (table->sees_hz < table->clear_hz)
        mount_append(
            text, size,
            "; this log sees nothing above %.0f Hz, and these figures hold none of it: it takes sight "
            "up to %.0f Hz (explain says what to log)",
            table->sees_hz, table->clear_hz);
    else if (table->own_px.high < table->threshold_px)
        mount_append(text, size, "; what was flown stays below %.3g px at %.3g C, so nothing needs to change",
                     table->threshold_px, table->own.temperature_c);
}

void sr_mount_advice(const struct sr_mount_table *table, char *text, size_t size)
{
    bool sure = true, alike = table->ask.n_shore > 1, clears = false, some = false;
    if (size == 0)
        return;
    text[0] = '\0';
    for (size_t j = 0; j < table->ask.n_temperature; j++) {
        const struct sr_mount_pick *pick = &table->picks[j];
        if (!pick->known)
            continue;
        const struct sr_mount_cell *cell = sr_mount_cell_at(table, pick->least, j);
        some = true;
        sure = sure && (pick->sure || pick->best != pick->least);
        alike = alike && !(fabs(pick->margin_db) >= SR_ALIKE_DB);
        clears = clears || cell->wobble_px.value < table->threshold_px;
    }
    if (!some) {
        snprintf(text, size, "nothing can be foretold at these temperatures");
        return;
    }
    say_stretches(table, text, size);
    say_now(table, text, size);
    say_passed_over(table, text, size);
    say_marked(table, text, size);
    if (alike)
        mount_append(text, size,
                     "; but they differ by less than %g dB, so hardness hardly matters for this flight",
                     SR_ALIKE_DB);
    else if (!sure)
        mount_append(text, size, "; that is the likeliest choice, not a sure one%s",
                     table->own.source == SR_FN_GEOMETRY
                         ? ": a log from the other side of the mount (--other) would tell"
                         : ": how hardness and cold change the pieces is only known within a range");
    say_need(table, text, size);
    if (!clears)
        mount_append(
            text, size,
            "; none of them brings the wobble below %.3g px, so look for its cause first (explain; props off "
            "before you touch a motor)",
            table->threshold_px);
}

enum sr_status sr_mount_trial(struct sr_trial *trial, bool *worth, const struct sr_slices *slices,
                              const struct sr_score *score, const struct sr_rig *rig, struct sr_error *err)
{
    struct sr_mount_own own;
    struct sr_mount_ask ask;
    struct sr_mount_table table;

    *worth = false;
    sr_mount_ask_init(&ask);
    if (sr_mount_resolve(&own, rig, NULL, NULL) != SR_OK || own.source == SR_FN_NONE)
        return SR_OK;
    /* On the frame a guess does not enter the score, so what it promises cannot be held against it. */
    if (rig->gyro_side == SR_GYRO_FRAME && own.source != SR_FN_MEASURED)
        return SR_OK;
    ask.n_temperature = 1;
    ask.temperature_c[0] = own.temperature_c;
    enum sr_status status = sr_mount_table_make(&table, &ask, &own, slices, score, rig, err);
    if (status == SR_ERR_DATA || status == SR_ERR_ARGUMENT)
        return SR_OK; /* hardness of the own pieces unknown: nothing to try */
    if (status != SR_OK)
        return status;

    double gain_db = 20 * log10(table.own_px.value / table.now_px);
    *worth = isfinite(gain_db) && gain_db >= WORTH_DB;
    if (*worth) {
        struct sr_trial made = {.kind = SR_TRIAL_MOUNT, .peak = -1, .mode = -1};
        snprintf(made.what, sizeof made.what, "mount the camera on %g A pieces%s",
                 ask.shore_a[table.now_best],
                 table.now_sure ? "" : " (the likeliest choice, not a sure one; see 'mounts')");
        snprintf(made.caution, sizeof made.caution, "%s%sprops off before you change the pieces",
                 table.now_resonates ? "they resonate with a strong line, see 'mounts'; " : "",
                 own.source == SR_FN_GEOMETRY
                     ? "the mount's natural frequency is only worked out from its pieces; "
                     : "");
        made.wobble_px = table.now_px;
        made.gain_db = gain_db;
        made.smear_px = table.now_smear_px;
        made.exposure_s = rig->camera.exposure_s;
        made.clears = table.now_px < table.threshold_px;
        *trial = made;
    }
    sr_mount_table_release(&table);
    return SR_OK;
}
