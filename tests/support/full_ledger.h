/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A long ledger with every column filled in, invented: for what is asked of its length. */
#ifndef SUPPORT_FULL_LEDGER_H
#define SUPPORT_FULL_LEDGER_H

/*
 * Writes a ledger of so many rows, always the same, over what is at `path`: 60 setups (motors, props, bands
 * of temperature) from 500 builds, four hardnesses each. 0, or -1 if it could not be written.
 */
int full_ledger_write(const char *path, int rows);

#endif
