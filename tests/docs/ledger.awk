# A ledger of invented flights: three motors on two props, four hardnesses, three temperatures; ratings that follow
# the wobble roughly, resonances that fall with the temperature, a column of somebody's own, and a row that cannot
# be read. SPDX-License-Identifier: GPL-3.0-or-later
BEGIN {
    OFS = ","
    print "ledger", "fingerprint", "log", "date", "build", "motor", "prop", "shore_a", "material", "temperature_c", \
        "resonance_hz", "camera", "width_px", "threshold_px", "verdict", "wobble_px", "rating", "boat"
    n = 0
    for (motor = 1; motor <= 3; motor++)
        for (prop = 1; prop <= 2; prop++)
            for (shore = 40; shore <= 70; shore += 10)
                for (t = 0; t <= 30; t += 15)
                    for (k = 1; k <= 4; k++) {
                        n++
                        # Scatter that is the same everywhere: a small congruential generator.
                        seed = (seed * 1103 + 12345) % 65536
                        away = (shore - 45 - 5 * motor + t / 3) / 12
                        px = 0.5 * exp(0.25 * away * away + 0.5 * (seed / 65536 - 0.5))
                        shows = px * exp(0.8 * ((seed * 7 % 65536) / 65536 - 0.5))
                        rating = k > 2 ? "" : shows > 1.4 ? "bad" : shows > 0.9 ? "slight" : "clean"
                        print 1, sprintf("%016x", 1000 + n), "flight-" n ".csv", sprintf("2026-%02d-%02d", 4 + k, 1 + n % 28), \
                            "craft " motor, "motor " motor, "prop " prop, shore, "natural-rubber", t, \
                            sprintf("%.2f", (30 + shore) * exp(-0.002 * (t - 15) + 0.01 * (seed / 65536 - 0.5))), "boathouse 1", \
                            1920, 1, px < 1 ? "steady" : "wobbly", sprintf("%.4f", px), rating, "double " k
                    }
    print 1, "00000000000003ff", "odd.csv", "2026-06-01", "craft 1", "motor 1", "prop 1", "soft", "", "", "", "", 1920, 1, "", "0.5", "", ""
}
