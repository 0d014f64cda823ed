/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Private to the room: text on its way into a forum's markup. */
#ifndef PRESENT_POST_TEXT_H
#define PRESENT_POST_TEXT_H

#include "stillrow/post.h"

/* Write a text so that it brings no markup of its own, whatever it holds. */
void sr_post_text(FILE *out, enum sr_post_format format, const char *text);

#endif
