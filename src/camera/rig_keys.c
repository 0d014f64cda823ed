/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The one table of rig keys, and the guesses at what a misspelt one meant. */
#include "camera/rig_private.h"

#include <ctype.h>
#include <stdio.h>
#include <string.h>

#include "camera/limits.h"

static const char *const lens_choices[] = {"rectilinear", "equidistant", NULL};
static const char *const axes_choices[] = {"frd", "flu", NULL};
static const char *const side_choices[] = {"frame", "camera", NULL};
static const char *const material_choices[] = {"unknown", "natural-rubber", "silicone", "tpu", NULL};

#define CAMERA(field) offsetof(struct sr_camera, field)
#define RIG(field)    offsetof(struct sr_rig, field)

/* clang-format off */
#define NUMBER(section, name, unit, low, high, low_open, high_open, fallback, help, offset, scale, bit) \
    {{section, name, SR_KIND_NUMBER, unit, low, high, low_open, high_open, NULL, fallback, help}, offset, scale, bit}
#define INTEGER(section, name, low, high, help, offset) \
    {{section, name, SR_KIND_INTEGER, "", low, high, false, false, NULL, "", help}, offset, 1, 0}
#define CHOICE(section, name, choices, fallback, help, offset, bit) \
    {{section, name, SR_KIND_CHOICE, "", 0, 0, false, false, choices, fallback, help}, offset, 1, bit}
#define TEXT(section, name, help, offset) \
    {{section, name, SR_KIND_TEXT, "", 0, 0, false, false, NULL, "", help}, offset, 1, 0}

const struct rig_target rig_targets[] = {
    {{"camera", "size", SR_KIND_SIZE, "px", SIZE_LOW_PX, SIZE_HIGH_PX, false, false, NULL, "1920x1080",
      "picture width x height; rows are read along the height"}, CAMERA(width_px), 1, SR_KEY_SIZE},
    NUMBER("camera", "fps", "Hz", FPS_LOW, FPS_HIGH, false, false, "60",
           "frames a second", CAMERA(fps), 1, SR_KEY_FPS),
    NUMBER("camera", "readout_ms", "ms", 0, FRAME_HIGH_MS, true, false, "16",
           "time from the first row's reading to the last's; at most one frame", CAMERA(readout_s), 1e-3, SR_KEY_READOUT),
    NUMBER("camera", "exposure_ms", "ms", 0, FRAME_HIGH_MS, false, false, "1",
           "exposure of one row; at most one frame", CAMERA(exposure_s), 1e-3, SR_KEY_EXPOSURE),
    NUMBER("camera", "hfov_deg", "deg", HFOV_LOW_DEG, HFOV_HIGH_DEG, false, false, "95",
           "field of view across the width; at most 170 for a rectilinear lens", CAMERA(hfov_deg), 1, SR_KEY_HFOV),
    CHOICE("camera", "lens", lens_choices, "rectilinear",
           "straight lines stay straight, or fisheye with equal angles", CAMERA(lens), SR_KEY_LENS),
    NUMBER("camera", "tilt_deg", "deg", -TILT_HIGH_DEG, TILT_HIGH_DEG, false, false, "20",
           "camera tilted up against the gyro's x axis", CAMERA(tilt_deg), 1, SR_KEY_TILT),

    CHOICE("gyro", "axes", axes_choices, "frd",
           "the log's body axes: forward-right-down or forward-left-up", RIG(axes), SR_KEY_AXES),
    CHOICE("gyro", "on", side_choices, "frame",
           "what the logged gyro is bolted to", RIG(gyro_side), SR_KEY_GYRO_SIDE),
    INTEGER("gyro", "pole_pairs", 1, 100, "of the motors, where the log has electrical speed", RIG(pole_pairs)),
    NUMBER("gyro", "speed_scale", "", 0, 1e6, true, false, "1",
           "the log's motor speed times this is rpm (electrical rpm with pole_pairs)", RIG(speed_scale), 1, 0),
    NUMBER("gyro", "idle", "", 0, 1, true, true, "0.1",
           "throttle as a fraction, below which the craft is taken to stand", RIG(idle_throttle), 1, 0),

    NUMBER("mount", "shore_a", "Shore A", 20, 85, false, false, "", "hardness of the pieces", RIG(mount.shore_a), 1, 0),
    NUMBER("mount", "modulus_mpa", "MPa", 0, 1000, true, false, "",
           "Young's modulus, instead of one worked out from the hardness", RIG(mount.modulus_mpa), 1, 0),
    NUMBER("mount", "temperature_c", "deg C", -60, 120, false, false, "",
           "of the pieces in this flight", RIG(mount.temperature_c), 1, 0),
    CHOICE("mount", "material", material_choices, "unknown", "of the pieces", RIG(mount.material), 0),
    NUMBER("mount", "resonance_hz", "Hz", 0, 10000, true, false, "",
           "measured natural frequency of the camera on this mount", RIG(mount.resonance_hz), 1, 0),
    NUMBER("mount", "damping", "", 0, 1, true, true, "", "damping ratio", RIG(mount.damping), 1, 0),
    NUMBER("mount", "kappa", "1/K", -0.2, 0.2, false, false, "",
           "fall of the modulus per kelvin, E(T) = E(T0) exp(-kappa (T - T0))", RIG(mount.kappa), 1, 0),
    INTEGER("mount", "count", 1, 100, "number of pieces", RIG(mount.count)),
    NUMBER("mount", "outer_mm", "mm", 0, 1000, true, false, "", "outer diameter of a piece", RIG(mount.outer_mm), 1, 0),
    NUMBER("mount", "inner_mm", "mm", 0, 1000, false, false, "",
           "bore of a piece, below outer_mm; 0 for a solid disc", RIG(mount.inner_mm), 1, 0),
    NUMBER("mount", "thickness_mm", "mm", 0, 1000, true, false, "",
           "of a piece, along the load", RIG(mount.thickness_mm), 1, 0),
    NUMBER("mount", "camera_g", "g", 0, 10000, true, false, "", "mass carried by the mount", RIG(mount.camera_g), 1, 0),
    NUMBER("mount", "arm_mm", "mm", 0, 1000, true, false, "",
           "distance of the pieces from the axis the camera turns about", RIG(mount.arm_mm), 1, 0),
    NUMBER("mount", "fc_resonance_hz", "Hz", 0, 10000, true, false, "",
           "natural frequency of a soft-mounted flight controller", RIG(mount.fc_resonance_hz), 1, 0),
    NUMBER("mount", "fc_damping", "", 0, 1, true, true, "", "damping ratio of the same", RIG(mount.fc_damping), 1, 0),

    TEXT("build", "name", "of the craft", RIG(build.name)),
    TEXT("build", "motor", "motor type", RIG(build.motor)),
    TEXT("build", "prop", "propeller type", RIG(build.prop)),
    INTEGER("build", "blades", 1, 12, "blades of one propeller", RIG(build.blades)),
    TEXT("build", "camera", "camera type", RIG(build.camera)),
    TEXT("build", "pilot", "who flew", RIG(build.pilot)),
    NUMBER("build", "mass_g", "g", 0, 100000, true, false, "", "take-off mass", RIG(build.mass_g), 1, 0),

    NUMBER("threshold", "px", "px RMS", 0, 10000, true, false, "",
           "wobble at which footage starts to show it; without it width / 1920", RIG(threshold_px), 1, 0),
};
/* clang-format on */

const size_t rig_target_count = sizeof rig_targets / sizeof rig_targets[0];
_Static_assert(sizeof rig_targets / sizeof rig_targets[0] <= RIG_KEYS_MAX, "raise RIG_KEYS_MAX");

const struct sr_rig_key *sr_rig_key_at(size_t index)
{
    return index < rig_target_count ? &rig_targets[index].key : NULL;
}

static void choices_text(const char *const *choices, const char *between, char *text, size_t size)
{
    size_t used = 0;
    for (size_t i = 0; choices[i] != NULL && used < size; i++) {
        const int n = snprintf(text + used, size - used, "%s%s", i > 0 ? between : "", choices[i]);
        used += n > 0 ? (size_t)n : 0;
    }
}

void sr_rig_key_range(const struct sr_rig_key *key, char *text, size_t size)
{
    const char *gap = key->unit[0] != '\0' ? " " : "";
    if (size == 0)
        return;
    text[0] = '\0';
    if (key->kind == SR_KIND_CHOICE)
        choices_text(key->choices, " | ", text, size);
    else if (key->kind == SR_KIND_TEXT)
        snprintf(text, size, "up to %d bytes", SR_TEXT_MAX - 1);
    else if (key->kind == SR_KIND_SIZE)
        snprintf(text, size, "%.10g..%.10g %s a side", key->low, key->high, key->unit);
    else if (key->low_open)
        snprintf(text, size, "above %.10g, %s %.10g%s%s", key->low, key->high_open ? "below" : "up to",
                 key->high, gap, key->unit);
    else
        snprintf(text, size, "%.10g..%.10g%s%s", key->low, key->high, gap, key->unit);
}

size_t rig_target_find(const char *section, const char *name)
{
    const char *const home = rig_mode_name(section) != NULL ? "camera" : section;
    for (size_t i = 0; i < rig_target_count; i++) {
        if (strcmp(rig_targets[i].key.section, home) == 0 && strcmp(rig_targets[i].key.name, name) == 0)
            return i;
    }
    return rig_target_count;
}

bool rig_section_known(const char *section)
{
    for (size_t i = 0; i < rig_target_count; i++) {
        if (strcmp(rig_targets[i].key.section, section) == 0)
            return true;
    }
    return false;
}

const char *rig_mode_name(const char *section)
{
    if (strncmp(section, "mode", 4) != 0)
        return NULL;
    if (section[4] != '\0' && section[4] != ' ' && section[4] != '\t')
        return NULL;
    return section + 4 + strspn(section + 4, " \t");
}

/* Words longer than this are not a slip of any key. */
#define WORD_MAX 32

static int folded(char c)
{
    return c == '-' || c == ' ' ? '_' : tolower((unsigned char)c);
}

/* Levenshtein distance, case and dashes folded; WORD_MAX for overlong words. */
static size_t distance(const char *a, const char *b)
{
    const size_t na = strlen(a);
    const size_t nb = strlen(b);
    size_t row[WORD_MAX + 1];
    if (na > WORD_MAX || nb > WORD_MAX)
        return WORD_MAX;
    for (size_t j = 0; j <= nb; j++)
        row[j] = j;
    for (size_t i = 1; i <= na; i++) {
        size_t corner = row[0];
        row[0] = i;
        for (size_t j = 1; j <= nb; j++) {
            const size_t change = corner + (folded(a[i - 1]) != folded(b[j - 1]));
            const size_t least = row[j] < row[j - 1] ? row[j] : row[j - 1];
            corner = row[j];
            row[j] = change < least + 1 ? change : least + 1;
        }
    }
    return row[nb];
}

/* Whether two words are made of the same letters, as those are of which some were swapped. */
static bool same_letters(const char *a, const char *b)
{
    int count[256] = {0};
    size_t off = 0;

    for (; *a != '\0'; a++)
        count[(unsigned char)folded(*a)]++;
    for (; *b != '\0'; b++)
        count[(unsigned char)folded(*b)]--;
    for (size_t i = 0; i < 256; i++)
        off += count[i] != 0;
    return off == 0;
}

/* A guess further off than half the word would only puzzle. */
static bool near_enough(const char *word, const char *guess, size_t d)
{
    return d * 2 <= strlen(word) || same_letters(word, guess);
}

void rig_suggest_section(const char *section, char *text, size_t size)
{
    const char *best = "mode NAME";
    size_t least = strncmp(section, "mod", 3) == 0 ? 1 : WORD_MAX;
    for (size_t i = 0; i < rig_target_count; i++) {
        const size_t d = distance(section, rig_targets[i].key.section);
        if (d < least) {
            least = d;
            best = rig_targets[i].key.section;
        }
    }
    if (near_enough(section, best, least))
        snprintf(text, size, "did you mean [%s]?", best);
    else
        snprintf(text, size, "known: [camera] [gyro] [mount] [build] [threshold] [mode NAME]");
}

void rig_suggest_key(const char *section, const char *name, char *text, size_t size)
{
    const char *const home = rig_mode_name(section) != NULL ? "camera" : section;
    const struct sr_rig_key *best = NULL;
    size_t least = 2 * WORD_MAX; /* in half steps: a key of this section wins over an equally near one */
    for (size_t i = 0; i < rig_target_count; i++) {
        const struct sr_rig_key *key = &rig_targets[i].key;
        const size_t d = 2 * distance(name, key->name) + (strcmp(key->section, home) != 0);
        if (d < least) {
            least = d;
            best = key;
        }
    }
    if (best == NULL || !near_enough(name, best->name, least / 2))
        snprintf(text, size, "no known key is like it");
    else if (strcmp(best->section, home) == 0)
        snprintf(text, size, "did you mean '%s'?", best->name);
    else
        snprintf(text, size, "did you mean '%s' of [%s]?", best->name, best->section);
}
