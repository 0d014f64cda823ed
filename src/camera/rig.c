/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Rig keys into the rig: one value at a time, then the whole checked against itself. */
#include "stillrow/rig.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "camera/limits.h"
#include "camera/rig_private.h"
#include "support/plain_locale.h"

void sr_rig_init(struct sr_rig *rig)
{
    *rig = (struct sr_rig){.speed_scale = 1, .threshold_px = NAN};
    sr_camera_init(&rig->camera);
    rig->mount = (struct sr_mount_keys){
        .shore_a = NAN,
        .modulus_mpa = NAN,
        .temperature_c = NAN,
        .resonance_hz = NAN,
        .damping = NAN,
        .kappa = NAN,
        .outer_mm = NAN,
        .inner_mm = NAN,
        .thickness_mm = NAN,
        .camera_g = NAN,
        .arm_mm = NAN,
        .fc_resonance_hz = NAN,
        .fc_damping = NAN,
    };
    rig->build.mass_g = NAN;
}

const char *sr_material_name(enum sr_material material)
{
    switch (material) {
    case SR_MATERIAL_UNKNOWN:
        break;
    case SR_MATERIAL_NATURAL_RUBBER:
        return "natural-rubber";
    case SR_MATERIAL_SILICONE:
        return "silicone";
    case SR_MATERIAL_TPU:
        return "tpu";
    }
    return "unknown";
}

static enum sr_status refuse(struct sr_error *err, const struct sr_rig_key *key, const char *value,
                             const char *problem)
{
    struct rig_quoted quoted;
    return sr_fail(err, SR_ERR_RIG, NULL, 0, "%s: %s %s", key->name, rig_quote(value, strlen(value), &quoted),
                   problem);
}

/* Only plain decimal numbers: strtod alone would take "nan", "inf" and "0x10" too. */
static bool plain_number(const char *text, size_t length, double *number)
{
    if (length == 0 || strspn(text, "0123456789+-.eE") < length)
        return false;
    char *end;
    *number = strtod(text, &end);
    return end == text + length && isfinite(*number);
}

static bool in_range(const struct sr_rig_key *key, double number)
{
    const bool above = key->low_open ? number > key->low : number >= key->low;
    const bool below = key->high_open ? number < key->high : number <= key->high;
    return above && below;
}

static enum sr_status out_of_range(struct sr_error *err, const struct sr_rig_key *key, const char *value)
{
    char problem[96] = "is out of range, ";
    const size_t used = strlen(problem);
    sr_rig_key_range(key, problem + used, sizeof problem - used);
    return refuse(err, key, value, problem);
}

static enum sr_status not_a_number(struct sr_error *err, const struct sr_rig_key *key, const char *value)
{
    if (strchr(value, '#') != NULL)
        return refuse(err, key, value, "is not a number; a comment behind a value starts with ' ;'");
    if (strchr(value, ',') != NULL)
        return refuse(err, key, value, "is not a number; the decimal sign is a point");
    return refuse(err, key, value, "is not a number");
}

static enum sr_status set_number(char *field, const struct rig_target *target, const char *value,
                                 struct sr_error *err)
{
    double number;
    if (!plain_number(value, strlen(value), &number))
        return not_a_number(err, &target->key, value);
    if (!in_range(&target->key, number))
        return out_of_range(err, &target->key, value);
    if (target->key.kind == SR_KIND_INTEGER && number != floor(number))
        return refuse(err, &target->key, value, "is not a whole number");
    number *= target->scale;
    memcpy(field, &number, sizeof number);
    return SR_OK;
}

static enum sr_status set_size(char *field, const struct rig_target *target, const char *value,
                               struct sr_error *err)
{
    double side_px[2]; /* width_px and height_px lie side by side */
    const size_t cut = strcspn(value, "xX");
    const char *const rest = value[cut] != '\0' ? value + cut + 1 : value + cut;
    if (!plain_number(value, cut, &side_px[0]) || !plain_number(rest, strlen(rest), &side_px[1]))
        return refuse(err, &target->key, value, "is not WIDTHxHEIGHT, such as 1920x1080");
    if (!in_range(&target->key, side_px[0]) || !in_range(&target->key, side_px[1]))
        return out_of_range(err, &target->key, value);
    if (side_px[0] != floor(side_px[0]) || side_px[1] != floor(side_px[1]))
        return refuse(err, &target->key, value, "is not in whole pixels");
    memcpy(field, side_px, sizeof side_px);
    return SR_OK;
}
_Static_assert(offsetof(struct sr_camera, height_px) == offsetof(struct sr_camera, width_px) + sizeof(double),
               "set_size() writes both sides at once");

/* Choices are listed in the order of their enum, from 0. */
static enum sr_status set_choice(char *field, const struct rig_target *target, const char *value,
                                 struct sr_error *err)
{
    char problem[96] = "is not one of ";
    const size_t used = strlen(problem);
    for (int i = 0; target->key.choices[i] != NULL; i++) {
        if (strcmp(target->key.choices[i], value) == 0) {
            memcpy(field, &i, sizeof i);
            return SR_OK;
        }
    }
    sr_rig_key_range(&target->key, problem + used, sizeof problem - used);
    return refuse(err, &target->key, value, problem);
}
_Static_assert(sizeof(enum sr_lens) == sizeof(int) && sizeof(enum sr_axes) == sizeof(int) &&
                   sizeof(enum sr_gyro_side) == sizeof(int) && sizeof(enum sr_material) == sizeof(int),
               "set_choice() writes enums as int");

static enum sr_status set_text(char *field, const struct rig_target *target, const char *value,
                               struct sr_error *err)
{
    const char *problem = rig_text_problem(value);
    if (problem != NULL)
        return refuse(err, &target->key, value, problem);
    memcpy(field, value, strlen(value) + 1);
    return SR_OK;
}

static enum sr_status set_value(char *base, const struct rig_target *target, const char *value,
                                struct sr_error *err)
{
    char *const field = base + target->offset;
    if (value[0] == '\0' && target->key.kind != SR_KIND_TEXT)
        return sr_fail(err, SR_ERR_RIG, NULL, 0, "%s has no value", target->key.name);
    switch (target->key.kind) {
    case SR_KIND_NUMBER:
    case SR_KIND_INTEGER:
        return set_number(field, target, value, err);
    case SR_KIND_SIZE:
        return set_size(field, target, value, err);
    case SR_KIND_CHOICE:
        return set_choice(field, target, value, err);
    case SR_KIND_TEXT:
        break;
    }
    return set_text(field, target, value, err);
}

enum sr_status rig_section(struct sr_rig *rig, const char *section, size_t *mode, struct sr_error *err)
{
    struct rig_quoted quoted;
    const char *const name = rig_mode_name(section);
    *mode = SR_MODES_MAX;
    if (name == NULL && rig_section_known(section))
        return SR_OK;
    rig_quote(section, strlen(section), &quoted);
    if (name == NULL) {
        char hint[96];
        rig_suggest_section(section, hint, sizeof hint);
        return sr_fail(err, SR_ERR_RIG, NULL, 0, "unknown section %s; %s", quoted.text, hint);
    }
    const char *problem = name[0] == '\0' ? "has no name" : rig_text_problem(name);
    if (problem != NULL)
        return sr_fail(err, SR_ERR_RIG, NULL, 0, "section %s %s", quoted.text, problem);
    size_t slot = 0;
    while (slot < rig->n_modes && strcmp(rig->modes[slot].name, name) != 0)
        slot++;
    if (slot == SR_MODES_MAX)
        return sr_fail(err, SR_ERR_RIG, NULL, 0, "section %s is one mode too many, a rig holds %d",
                       quoted.text, SR_MODES_MAX);
    if (slot == rig->n_modes) {
        rig->modes[slot] = (struct sr_camera_mode){.camera = rig->camera};
        memcpy(rig->modes[slot].name, name, strlen(name) + 1);
        rig->n_modes++;
    }
    *mode = slot;
    return SR_OK;
}

enum sr_status rig_apply(struct sr_rig *rig, const char *section, const char *name, const char *value,
                         struct sr_error *err)
{
    size_t mode;
    enum sr_status status = rig_section(rig, section, &mode, err);
    if (status != SR_OK)
        return status;
    const size_t index = rig_target_find(section, name);
    if (index == rig_target_count) {
        char hint[96];
        struct rig_quoted quoted;
        rig_suggest_key(section, name, hint, sizeof hint);
        return sr_fail(err, SR_ERR_RIG, NULL, 0, "unknown key %s in [%s]; %s",
                       rig_quote(name, strlen(name), &quoted), section, hint);
    }
    const struct rig_target *const target = &rig_targets[index];
    const bool of_camera = strcmp(target->key.section, "camera") == 0;
    struct sr_camera *const camera = mode < SR_MODES_MAX ? &rig->modes[mode].camera : &rig->camera;
    status = set_value(of_camera ? (char *)camera : (char *)rig, target, value, err);
    if (status == SR_OK)
        *(mode < SR_MODES_MAX ? &rig->modes[mode].given : &rig->camera_given) |= target->bit;
    return status;
}

static enum sr_status set_plainly(struct sr_rig *rig, const char *section, const char *key, const char *value,
                                  struct sr_error *err)
{
    struct sr_rig changed = *rig;
    const enum sr_status status = rig_apply(&changed, section, key, value, err);
    if (status == SR_OK)
        *rig = changed;
    return status;
}

enum sr_status sr_rig_set(struct sr_rig *rig, const char *section, const char *key, const char *value,
                          struct sr_error *err)
{
    struct sr_plain_locale locale;

    enum sr_status status = sr_plain_begin(&locale, err);
    if (status != SR_OK)
        return status;
    status = set_plainly(rig, section, key, value, err);
    sr_plain_end(&locale);
    return status;
}

/* What was assumed gives way to what was given: an assumed time is cut to fit the frame. */
static void fit_frame(struct sr_camera *camera, unsigned given)
{
    const double frame_s = 1 / camera->fps;
    if (!(given & SR_KEY_READOUT) && camera->readout_s > frame_s)
        camera->readout_s = ASSUMED_READOUT_SHARE * frame_s;
    if (!(given & SR_KEY_EXPOSURE) && camera->exposure_s > frame_s)
        camera->exposure_s = ASSUMED_READOUT_SHARE * frame_s;
}

static void overlay(struct sr_camera *camera, const struct sr_camera *over, unsigned given)
{
    if (given & SR_KEY_SIZE) {
        camera->width_px = over->width_px;
        camera->height_px = over->height_px;
    }
    if (given & SR_KEY_FPS)
        camera->fps = over->fps;
    if (given & SR_KEY_READOUT)
        camera->readout_s = over->readout_s;
    if (given & SR_KEY_EXPOSURE)
        camera->exposure_s = over->exposure_s;
    if (given & SR_KEY_HFOV)
        camera->hfov_deg = over->hfov_deg;
    if (given & SR_KEY_LENS)
        camera->lens = over->lens;
    if (given & SR_KEY_TILT)
        camera->tilt_deg = over->tilt_deg;
}

/* Fit and check one camera; `where` names it in the error, "" for the rig's own. */
static enum sr_status settle(struct sr_camera *camera, unsigned given, unsigned own, const char *where,
                             const char *file, struct sr_error *err)
{
    struct sr_error local;
    fit_frame(camera, given);
    if (sr_camera_check(camera, &local) == SR_OK)
        return SR_OK;
    const char *const hint = strncmp(local.text, "readout", 7) != 0 && strncmp(local.text, "exposure", 8) != 0
                                 ? ""
                             : !(given & SR_KEY_FPS) ? "; the frame rate is assumed, give fps too"
                             : where[0] != '\0' && (own & SR_KEY_FPS)
                                 ? "; a mode with its own fps needs its own readout_ms and exposure_ms"
                                 : "";
    return sr_fail(err, SR_ERR_RIG, file, 0, "%s%s%s%s", where, where[0] != '\0' ? ": " : "", local.text,
                   hint);
}

static enum sr_status check_mount(const struct sr_rig *rig, struct sr_error *err)
{
    const struct sr_mount_keys *const mount = &rig->mount;
    if (mount->inner_mm >= mount->outer_mm) /* false while either is NAN */
        return sr_fail(err, SR_ERR_RIG, rig->file, 0, "inner_mm %g is not below outer_mm %g", mount->inner_mm,
                       mount->outer_mm);
    return SR_OK;
}

enum sr_status sr_rig_finish(struct sr_rig *rig, struct sr_error *err)
{
    struct sr_rig done = *rig;
    const struct sr_camera base = rig->camera;
    enum sr_status status = settle(&done.camera, done.camera_given, 0, "", done.file, err);
    if (status == SR_OK)
        status = check_mount(&done, err);
    for (size_t i = 0; i < done.n_modes && status == SR_OK; i++) {
        struct sr_camera_mode *const mode = &done.modes[i];
        struct sr_camera camera = base;
        char where[SR_TEXT_MAX + 8];
        snprintf(where, sizeof where, "[mode %s]", mode->name);
        overlay(&camera, &mode->camera, mode->given);
        status = settle(&camera, done.camera_given | mode->given, mode->given, where, done.file, err);
        mode->camera = camera;
    }
    if (status == SR_OK)
        *rig = done;
    return status;
}

double sr_rig_threshold_px(const struct sr_rig *rig)
{
    return isnan(rig->threshold_px) ? sr_camera_default_threshold_px(&rig->camera) : rig->threshold_px;
}
