/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Rig files for tests, in a folder of their own. Include after cmocka.h. */
#ifndef SUPPORT_RIG_FILE_H
#define SUPPORT_RIG_FILE_H

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "stillrow/rig.h"

static char folder[] = "/tmp/stillrow-rig-XXXXXX";

/* Group set-up: make the folder and go there. "rig.ini" is the file most tests write. */
static inline int enter_folder(void **state)
{
    (void)state;
    return mkdtemp(folder) != NULL && chdir(folder) == 0 ? 0 : -1;
}

/* Group tear-down: fails if a test left anything but rig.ini behind. */
static inline int leave_folder(void **state)
{
    (void)state;
    unlink("rig.ini");
    return chdir("/") == 0 && rmdir(folder) == 0 ? 0 : -1;
}

static inline void put(const char *text, size_t length)
{
    FILE *file = fopen("rig.ini", "wb");
    assert_non_null(file);
    assert_int_equal(fwrite(text, 1, length, file), length);
    assert_int_equal(fclose(file), 0);
}

static inline enum sr_status read_text(const char *text, struct sr_rig *rig, struct sr_error *err)
{
    put(text, strlen(text));
    sr_rig_init(rig);
    return sr_rig_read(rig, "rig.ini", err);
}

/* Read and finish; fails the test with the error's text. */
static inline void take_text(const char *text, struct sr_rig *rig)
{
    struct sr_error err;
    if (read_text(text, rig, &err) != SR_OK || sr_rig_finish(rig, &err) != SR_OK)
        fail_msg("line %zu: %s", err.line, err.text);
}

#endif
