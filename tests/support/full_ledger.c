/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/full_ledger.h"

#include <stdint.h>
#include <stdio.h>

#include "sim/flight.h"
#include "stillrow/ledger.h"

int full_ledger_write(const char *path, int rows)
{
    static const char *const motors[] = {"home-wound A", "home-wound B", "home-wound C", "bought D"};
    static const char *const props[] = {"3.5 inch, 3 blades", "4 inch, 3 blades", "5 inch, 2 blades"};
    uint64_t seed = 1;
    FILE *file = fopen(path, "w");

    if (file == NULL)
        return -1;
    for (size_t k = 0; sr_ledger_column_name(k) != NULL; k++)
        fprintf(file, "%s%s", k > 0 ? "," : "", sr_ledger_column_name(k));
    fputc('\n', file);
    for (int i = 0; i < rows; i++)
        fprintf(file,
                "1,%016x,regatta-%d.csv,2026-06-14,build %d,%s,\"%s\",3,%d,silicone,%.1f,,boathouse 1,1920,1,"
                "steady,%.4f,0.4012,0.6123,0.3456,0.4567,0.1234,0.2345,0.3456,0.4567,0.1234,123.4,212.3,0.61,"
                "order,1,%s,,logged\n",
                (unsigned)i, i, i % 500, motors[i % 4], props[i / 7 % 3], 40 + 10 * (i / 3 % 4),
                -5 + 40 * sim_uniform(&seed), 0.2 + sim_uniform(&seed), i % 5 == 0 ? "clean" : "");
    return fclose(file) == 0 ? 0 : -1;
}
