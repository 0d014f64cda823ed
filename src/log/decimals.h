/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Decimal commas in a file whose fields are parted by commas, too: quoted ones can be
 * read, bare ones have fallen apart into two fields each. What tells bare ones: no number
 * has a point; and there are more fields than names, by as many as could be the digits
 * behind a mark; or, whatever the names, a rate or three columns are like such digits,
 * with zeros in front and never a sign.
 */
#ifndef SR_LOG_DECIMALS_H
#define SR_LOG_DECIMALS_H

#include "log/header.h"

/*
 * Look at the first rows under the header, and set header->comma (a comma within a field
 * is a decimal mark) and header->comma_open. Errors: SR_ERR_COLUMNS (bare decimal commas), SR_ERR_MEMORY.
 */
enum sr_status sr_decimals_find(struct sr_header *header, const struct sr_head *head, struct sr_error *err);

#endif
