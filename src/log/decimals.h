/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Decimal commas in a file whose fields are parted by commas, too: quoted ones can be
 * read, bare ones have fallen apart into two fields each.
 */
#ifndef SR_LOG_DECIMALS_H
#define SR_LOG_DECIMALS_H

#include "log/header.h"

/*
 * Look at the first rows under the header, and set header->comma: a comma within a field
 * is a decimal mark. Errors: SR_ERR_COLUMNS (bare decimal commas), SR_ERR_MEMORY.
 */
enum sr_status sr_decimals_find(struct sr_header *header, const struct sr_head *head, struct sr_error *err);

#endif
