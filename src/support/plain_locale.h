/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Numbers with a point, whatever locale the program around the library has chosen. */
#ifndef SR_SUPPORT_PLAIN_LOCALE_H
#define SR_SUPPORT_PLAIN_LOCALE_H

#include <locale.h>
#include <stdbool.h>

#include "stillrow/status.h"

/* The C locale in this thread, from sr_plain_begin() to sr_plain_end(); may stand within itself. */
struct sr_plain_locale {
    locale_t plain, before;
};

/* Errors: SR_ERR_MEMORY, and then nothing has changed, and there is nothing to end. */
enum sr_status sr_plain_begin(struct sr_plain_locale *locale, struct sr_error *err);
void sr_plain_end(const struct sr_plain_locale *locale);

#endif
