/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Private to the room: a file that appears whole or not at all. */
#ifndef PRESENT_PLOT_FILE_H
#define PRESENT_PLOT_FILE_H

#include <stddef.h>

#include "stillrow/status.h"

/*
 * Write bytes beside `path`, flush them to disk, rename. An existing file is replaced only then; a link is
 * followed; what is no regular file (a pipe, a device) is written to as it stands.
 * Errors: SR_ERR_WRITE with file and reason; nothing new is left behind.
 */
enum sr_status sr_file_write(const char *path, const char *data, size_t length, struct sr_error *err);

#endif
