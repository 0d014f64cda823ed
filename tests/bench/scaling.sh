#!/bin/sh
# The tables of docs/scaling.md: time and memory over the length of a log, its rate, the number of logs and
# threads. Takes some minutes and 2 GB of disk under BUILD; not part of `make bench`.
# SPDX-License-Identifier: GPL-3.0-or-later
#
# SR_SCALING_ROUNDS=2   runs, of which the best counts
set -eu
build=${BUILD:-build}
rounds=${SR_SCALING_ROUNDS:-2}
work=$build/bench
mkdir -p "$work"

# took JOBS LOG...: the shortest time, the least processor time and the most memory of the rounds: "S S KIB"
took() {
    jobs=$1
    shift
    : >"$work/scaling.times"
    round=1
    while [ "$round" -le "$rounds" ]; do
        "$build/tests/bench/measure" "$work/report" "$build/stillrow" score --json --jobs "$jobs" "$@" >/dev/null
        cat "$work/report" >>"$work/scaling.times"
        round=$((round + 1))
    done
    awk 'NR == 1 || $1 < t { t = $1 } NR == 1 || $3 < c { c = $3 } $2 > m { m = $2 } END { print t, c, m }' \
        "$work/scaling.times"
}

echo '| length | rate | rows | file | 1 thread | 2 threads | processor time | memory |'
echo '|-------:|-----:|-----:|-----:|---------:|----------:|---------------:|-------:|'
for minutes in 1 5 20 60; do
    for rate in 1000 2000 4000 8000; do
        log=$work/scaling.csv
        "$build/tests/bench/long_log" $((minutes * 60)) "$rate" 9 >"$log"
        bytes=$(wc -c <"$log")
        set -- $(took 1 "$log") $(took 2 "$log")
        awk -v m="$minutes" -v r="$rate" -v b="$bytes" -v t1="$1" -v c="$2" -v k="$3" -v t2="$4" 'BEGIN {
            printf "| %d min | %d kHz | %.2g million | %.0f MB | %.2f s | %.2f s | %.2f s | %.0f MB |\n",
                m, r / 1000, m * 60 * r / 1e6, b / 1e6, t1, t2, c, k / 1024 }'
    done
done
rm -f "$work/scaling.csv"

echo
echo '| logs | 1 thread | 2 threads | processor time | a log | memory, 1 thread | memory, 2 threads |'
echo '|-----:|---------:|----------:|---------------:|------:|-----------------:|------------------:|'
log=$work/scaling-1.csv
"$build/tests/bench/long_log" 60 2000 9 >"$log"
for count in 1 10 100 1000; do
    # The same log again and again, under as many names.
    rm -rf "$work/scaling-logs"
    mkdir "$work/scaling-logs"
    i=1
    while [ "$i" -le "$count" ]; do
        ln "$log" "$work/scaling-logs/$i.csv"
        i=$((i + 1))
    done
    set -- $(took 1 "$work"/scaling-logs/*.csv) $(took 2 "$work"/scaling-logs/*.csv)
    awk -v n="$count" -v t1="$1" -v c="$2" -v k1="$3" -v t2="$4" -v k2="$6" 'BEGIN {
        printf "| %d | %.2f s | %.2f s | %.2f s | %.0f ms | %.0f MB | %.0f MB |\n",
            n, t1, t2, c, 1000 * t2 / n, k1 / 1024, k2 / 1024 }'
done
rm -rf "$work/scaling-logs" "$log"
