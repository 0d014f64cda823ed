/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the rig's files share: the table of keys with its targets, and file text. */
#ifndef SR_CAMERA_RIG_PRIVATE_H
#define SR_CAMERA_RIG_PRIVATE_H

#include <stdbool.h>
#include <stddef.h>

#include "stillrow/rig.h"

/* Room for the table to grow; a test holds the table to it. */
#define RIG_KEYS_MAX 48

/* What does not count around a key, a value or a section's name. */
#define RIG_BLANKS " \t\r\v\f"
static inline bool rig_is_blank(char c)
{
    return c == ' ' || c == '\t' || c == '\r' || c == '\v' || c == '\f';
}

/* Where a key's value goes. */
struct rig_target {
    struct sr_rig_key key; /* first, so that the public pointer is this one's */
    size_t offset;         /* in struct sr_camera for [camera], in struct sr_rig else */
    double scale;          /* field = value * scale: 1e-3 from ms to s */
    unsigned bit;          /* enum sr_camera_key, 0 where not recorded */
};

extern const struct rig_target rig_targets[];
extern const size_t rig_target_count;

/* Index of a key, or rig_target_count. */
size_t rig_target_find(const char *section, const char *name);

/* "[camera]"-type section known? Modes are told by the caller. */
bool rig_section_known(const char *section);

/* Fill text with what an unknown section or key should have been. */
void rig_suggest_section(const char *section, char *text, size_t size);
void rig_suggest_key(const char *section, const char *name, char *text, size_t size);

/* NAME of "mode NAME", NULL if the section is no mode. "" where the name is missing. */
const char *rig_mode_name(const char *section);

/*
 * Check a section's name; for [mode NAME] make the mode if it is new and set *mode to
 * its index, else SR_MODES_MAX. Errors: SR_ERR_RIG.
 */
enum sr_status rig_section(struct sr_rig *rig, const char *section, size_t *mode, struct sr_error *err);

/* Set one key. Errors: SR_ERR_RIG; *rig may then be half changed, so hand in a copy. */
enum sr_status rig_apply(struct sr_rig *rig, const char *section, const char *name, const char *value,
                         struct sr_error *err);

/* NULL if the text can be shown anywhere, else what is wrong with it: too long, control characters, no UTF-8.
 */
const char *rig_text_problem(const char *text);

/* A word from outside, in single quotes, cut to 60 bytes, safe to print. Returns quoted->text. */
struct rig_quoted {
    char text[72];
};
const char *rig_quote(const char *text, size_t length, struct rig_quoted *quoted);

/*
 * A whole text file as one string with its terminator; the caller frees *text.
 * path is what to open, name what to call it in errors. Errors: SR_ERR_OPEN,
 * SR_ERR_READ, SR_ERR_MEMORY, SR_ERR_RIG (over 1 MiB, or a zero byte).
 */
enum sr_status rig_load(const char *path, const char *name, char **text, struct sr_error *err);

/* The text behind a UTF-8 byte-order mark, if it starts with one. */
const char *rig_behind_mark(const char *text);

/* Parse the text of a rig file over *rig. Errors: SR_ERR_RIG, SR_ERR_MEMORY; *rig untouched. */
enum sr_status rig_parse(struct sr_rig *rig, const char *text, const char *name, struct sr_error *err);

#endif
