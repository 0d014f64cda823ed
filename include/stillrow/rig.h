/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The rig: everything about a craft that its log does not say. An INI file with
 * the sections [camera] [gyro] [mount] [build] [threshold] and up to SR_MODES_MAX
 * [mode NAME] sections (other modes of the same camera: any [camera] key).
 * Unknown keys and sections, and a key set twice, are errors, so that a typing
 * slip is not ignored.
 *
 * A line is `key = value`, a `[section]`, blank, or a comment. A comment starts
 * with ';' or '#' at the start of a line, or with ';' after a space behind a value
 * ('#' behind a value belongs to it). Spaces around keys and values do not count,
 * quotes have no meaning, letters' case does. Texts are UTF-8. A line holds up to
 * 198 bytes without its comment, a file up to 1 MiB. Numbers are read and written with
 * a point in every locale; texts for people follow the program's LC_NUMERIC.
 */
#ifndef STILLROW_RIG_H
#define STILLROW_RIG_H

#include <stdbool.h>
#include <stddef.h>

#include "stillrow/camera.h"
#include "stillrow/status.h"

#ifdef __cplusplus
extern "C" {
#endif

#define SR_TEXT_MAX  96 /* bytes of a short text, with its terminator */
#define SR_MODES_MAX 8

enum sr_gyro_side { SR_GYRO_FRAME = 0, SR_GYRO_CAMERA }; /* what the logged gyro is bolted to */
enum sr_material {
    SR_MATERIAL_UNKNOWN = 0,
    SR_MATERIAL_NATURAL_RUBBER,
    SR_MATERIAL_SILICONE,
    SR_MATERIAL_TPU
};

/* Keys of [camera], used to tell what was given from what is assumed. */
enum sr_camera_key {
    SR_KEY_SIZE = 1 << 0,
    SR_KEY_FPS = 1 << 1,
    SR_KEY_READOUT = 1 << 2,
    SR_KEY_EXPOSURE = 1 << 3,
    SR_KEY_HFOV = 1 << 4,
    SR_KEY_LENS = 1 << 5,
    SR_KEY_TILT = 1 << 6,
    SR_KEY_ALL = (1 << 7) - 1,
    SR_KEY_AXES = 1 << 7,     /* [gyro] axes; not part of SR_KEY_ALL */
    SR_KEY_GYRO_SIDE = 1 << 8 /* [gyro] on */
};

/*
 * One key of a rig file. The table of them feeds the parser, its error texts, the
 * program's help and the reference table of docs/method.md.
 */
enum sr_key_kind { SR_KIND_NUMBER = 0, SR_KIND_INTEGER, SR_KIND_SIZE, SR_KIND_CHOICE, SR_KIND_TEXT };

struct sr_rig_key {
    const char *section; /* "camera" for keys that [mode NAME] takes too */
    const char *name;
    enum sr_key_kind kind;
    const char *unit;           /* "ms", "" where there is none */
    double low, high;           /* of numbers, and of each side of a size */
    bool low_open, high_open;   /* true: that end is not in the range itself */
    const char *const *choices; /* of SR_KIND_CHOICE, NULL after the last */
    const char *fallback;       /* value in force where none is given, "" for none */
    const char *help;           /* one line */
};

/* [mount]: numbers are NAN and counts 0 where not given. */
struct sr_mount_keys {
    double shore_a;                          /* hardness = 20..85 */
    double modulus_mpa;                      /* modulus_mpa: given instead of a hardness */
    double temperature_c;                    /* temperature_c: of the rubber in this flight */
    enum sr_material material;               /* material = natural-rubber | silicone | tpu */
    double resonance_hz;                     /* resonance_hz: measured natural frequency of this mount */
    double damping;                          /* damping: ratio zeta, 0 < zeta < 1 */
    double kappa;                            /* kappa [1/K] of E(T) = E(T0) exp(-kappa (T - T0)) */
    double count;                            /* pieces */
    double outer_mm, inner_mm, thickness_mm; /* of one piece; inner 0 or NAN: solid disc */
    double camera_g;                         /* mass carried */
    double arm_mm; /* distance of the pieces from the axis the camera turns about, if known */
    double fc_resonance_hz, fc_damping; /* of a soft-mounted flight controller */
};

/* [build]: texts, "" where not given. */
struct sr_build_keys {
    char name[SR_TEXT_MAX];
    char motor[SR_TEXT_MAX];
    char prop[SR_TEXT_MAX];
    char camera[SR_TEXT_MAX];
    char pilot[SR_TEXT_MAX];
    double blades; /* 0: not given, 1..12 */
    double mass_g; /* NAN: not given */
};

struct sr_camera_mode {
    char name[SR_TEXT_MAX];
    struct sr_camera camera; /* the rig's camera with this mode's keys laid over it, after sr_rig_finish() */
    unsigned given;          /* enum sr_camera_key bits this mode sets itself */
};

struct sr_rig {
    char file[256]; /* "" where no rig was read */
    struct sr_camera camera;
    unsigned camera_given;       /* enum sr_camera_key bits that were set by a file or an option */
    enum sr_axes axes;           /* [gyro] axes = frd | flu */
    enum sr_gyro_side gyro_side; /* [gyro] on = frame | camera */
    double pole_pairs;           /* [gyro] pole_pairs, 0: unknown */
    double speed_scale;   /* [gyro] speed_scale: motor speed column times this is (electrical) rpm; 1 */
    double idle_throttle; /* [gyro] idle [fraction], 0: default */
    struct sr_mount_keys mount;
    struct sr_build_keys build;
    double threshold_px; /* [threshold] px; NAN: default for the camera */
    struct sr_camera_mode modes[SR_MODES_MAX];
    size_t n_modes;
};

/* The assumed rig of docs: generic camera, FRD, gyro on the frame, no mount model. */
void sr_rig_init(struct sr_rig *rig);

/*
 * Read an INI file over *rig (so options given earlier may be overlaid again).
 * Errors: SR_ERR_OPEN, SR_ERR_READ, SR_ERR_MEMORY, SR_ERR_RIG with file and line;
 * *rig untouched.
 */
enum sr_status sr_rig_read(struct sr_rig *rig, const char *path, struct sr_error *err);

/*
 * Set one key as a rig file would: section "camera", key "readout_ms", value "16".
 * The same code serves the command line's camera options.
 * Keys of [camera]: size = WxH, fps, readout_ms, exposure_ms, hfov_deg, lens, tilt_deg.
 * Errors: SR_ERR_RIG; *rig untouched.
 */
enum sr_status sr_rig_set(struct sr_rig *rig, const char *section, const char *key, const char *value,
                          struct sr_error *err);

/*
 * Check the camera, and build the modes from it. Call once after the last key was set.
 * An assumed (not given) readout or exposure that would outlast a frame is shortened
 * to 0.96 of it, and sr_rig_assumption() says so; a given one is an error, unless it
 * is over by less than 0.5 % (16.67 ms at 60 fps is a rounded figure).
 * Errors: SR_ERR_RIG; *rig untouched.
 */
enum sr_status sr_rig_finish(struct sr_rig *rig, struct sr_error *err);

/*
 * Set px under [threshold] in the rig file at `path`, keeping every other line and
 * comment: written beside the file, flushed to disk, renamed. The file is made if missing.
 * A symbolic link is followed and stays a link; permissions stay. Refused: a file that
 * is no valid rig, that is not a regular file, or that nobody may write to.
 * Errors: SR_ERR_ARGUMENT, SR_ERR_OPEN, SR_ERR_READ, SR_ERR_WRITE, SR_ERR_MEMORY,
 * SR_ERR_RIG; the old file is kept on failure.
 */
enum sr_status sr_rig_write_threshold(const char *path, double threshold_px, struct sr_error *err);

/* Threshold in force [px RMS]: the rig's, or the camera's default. */
double sr_rig_threshold_px(const struct sr_rig *rig);

/*
 * One line that says what was assumed of the camera and of the gyro's axes and place,
 * "" if all was given. Call after sr_rig_finish(). About 200 bytes are needed.
 */
void sr_rig_assumption(const struct sr_rig *rig, char *text, size_t size);

/* The table of keys, one after another; NULL past the last. */
const struct sr_rig_key *sr_rig_key_at(size_t index);

/* A key's range as text: "1..10000 Hz", "above 0, up to 1000 ms", "frd | flu". */
void sr_rig_key_range(const struct sr_rig_key *key, char *text, size_t size);

/* "natural-rubber", "silicone", "tpu", "unknown". */
const char *sr_material_name(enum sr_material material);

#ifdef __cplusplus
}
#endif
#endif
