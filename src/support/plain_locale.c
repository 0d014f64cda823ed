/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/plain_locale.h"

enum sr_status sr_plain_begin(struct sr_plain_locale *locale, struct sr_error *err)
{
    locale->plain = newlocale(LC_ALL_MASK, "C", (locale_t)0);
    if (locale->plain == (locale_t)0)
        return sr_fail(err, SR_ERR_MEMORY, NULL, 0, "out of memory for the locale");
    locale->before = uselocale(locale->plain);
    return SR_OK;
}

void sr_plain_end(const struct sr_plain_locale *locale)
{
    uselocale(locale->before);
    freelocale(locale->plain);
}
