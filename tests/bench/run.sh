#!/bin/sh
# Speed and memory: stillrow and a pandas + SciPy script, on the same log, turn about; then longer logs
# through a pipe. Fails if the two do not give the same wobble, if one could not be run, if stillrow
# is less than 8 times as fast, if it takes more than 5 times as long as `wc -l` in the same round, or if
# it takes more than 48 bytes of memory for each row more. The bounds are the project's own aim.
#
# SR_BENCH_ROUNDS=9      rounds, of which the best counts
# SR_BENCH_MIN_RATIO=8   another bound
# SR_BENCH_MAX_WC=5      another bound: times `wc -l`, the middle one of all rounds; for two processors
# SR_BENCH_LONG_S=2700   length of the longest log in seconds, 0.4 MB each: 10000 makes 4 GB
# SPDX-License-Identifier: GPL-3.0-or-later
set -eu
here=$(dirname "$0")
build=${BUILD:-build}
python=${PYTHON:-/usr/bin/python3}
rounds=${SR_BENCH_ROUNDS:-9}
least=${SR_BENCH_MIN_RATIO:-8}
most_wc=${SR_BENCH_MAX_WC:-5}
long_s=${SR_BENCH_LONG_S:-2700}
most_bytes=48
work=$build/bench
log=$work/flight.csv
from=2.5 to=265.5

mkdir -p "$work"
if [ ! -s "$log" ]; then
    echo "making $log (kept for the next time)"
    "$build/tests/bench/make_log" "$log.part"
    mv "$log.part" "$log"
fi
bytes=$(wc -c <"$log")
columns=$(head -n 1 "$log" | awk -F, '{ print NF }')
echo "log: $bytes bytes, $columns columns, $(wc -l <"$log") lines"

"$build/tests/bench/rank_ledger" "$work/ledger.csv"

with_python=1
if ! "$python" -c 'import numpy, pandas, scipy' 2>/dev/null; then
    with_python=0
    echo "NOT MEASURED: $python has no numpy, pandas and scipy, so there is nothing to compare with" >&2
    echo "NOT MEASURED: speed ratio, agreement of the two results" >&2
fi

# one NAME COMMAND...: run once; keeps the report and the output, and says what it took.
one() {
    name=$1
    shift
    "$build/tests/bench/measure" "$work/report" "$@" >"$work/$name.out"
    cat "$work/report" >>"$work/$name.times"
}

# number NAME KEY: the first number after "KEY": in an output.
number() {
    grep -o "\"$2\": *[-+.0-9eE]*" "$work/$1.out" | head -n 1 | sed 's/.*: *//'
}

rm -f "$work"/*.times
round=1
while [ "$round" -le "$rounds" ]; do
    one wc wc -l "$log"
    one stillrow "$build/stillrow" score --json --from "$from" --to "$to" "$log"
    if [ "$with_python" -eq 1 ]; then
        one script "$python" "$here/bench.py" "$log" "$from" "$to"
        number script work_s >>"$work/work.times"
    fi
    round=$((round + 1))
done

# best NAME: the shortest time, the most memory, and the least processor time of all rounds.
best() {
    awk 'NR == 1 || $1 < t { t = $1 } $2 > m { m = $2 } NR == 1 || $3 < c { c = $3 } END { print t, m, c }' "$work/$1.times"
}
# memory SECONDS COLUMNS: the most memory [KiB] for a log at 2 kHz that comes through a pipe, so that
# neither its size nor its end is known before.
memory() {
    "$build/tests/bench/long_log" "$1" 2000 "$2" |
        "$build/tests/bench/measure" "$work/report" "$build/stillrow" score --quiet -
    read -r _ kib _ <"$work/report"
    awk -v s="$1" -v c="$2" -v k="$kib" 'BEGIN {
        printf "memory:   %.1f MB for %d rows of %d columns through a pipe\n", k / 1024, s * 2000, c }' >&2
    echo "$kib"
}

failed=0 # the other figures are of use all the same
best wc >"$work/wc.best"
best stillrow >"$work/stillrow.best"
read -r wc_s _ _ <"$work/wc.best"
read -r ours_s ours_kib ours_cpu <"$work/stillrow.best"
# Both of one round, as a busy machine slows both down (a line of each file is a round); and the middle
# of those, as the least would be the round in which wc was held up.
times_wc=$(paste "$work/stillrow.times" "$work/wc.times" | awk '{ print $1 / $4 }' | sort -n |
    awk '{ r[NR] = $1 } END { printf "%.2f", NR % 2 ? r[(NR + 1) / 2] : (r[NR / 2] + r[NR / 2 + 1]) / 2 }')
awk -v b="$bytes" -v t="$ours_s" -v m="$ours_kib" -v c="$ours_cpu" -v r="$times_wc" -v w="$wc_s" 'BEGIN {
    printf "stillrow: %.3f s, %.0f MB/s, %.1f MB of memory, %.1f times wc -l (%.3f s)\n", t, b / t / 1e6, m / 1024, r, w
    printf "threads:  %.3f s of processor time: %.2f processors busy on average\n", c, c / t }'
if [ "$(getconf _NPROCESSORS_ONLN)" -ge 2 ]; then
    awk -v r="$times_wc" -v n="$most_wc" 'BEGIN {
        if (r > n) { printf "FAILED: more than %g times wc -l\n", n; exit 1 } }' || failed=1
else
    echo "NOT CHECKED: the bound of $most_wc times wc -l is for two processors, and here is one" >&2
fi
[ "$with_python" -eq 1 ] || exit 1

best script >"$work/script.best"
read -r script_s script_kib script_cpu <"$work/script.best"
work_s=$(sort -n "$work/work.times" | head -n 1)
awk -v b="$bytes" -v t="$script_s" -v m="$script_kib" -v k="$work_s" 'BEGIN {
    printf "script:   %.3f s, %.0f MB/s, %.1f MB of memory (its imports left out: %.3f s)\n", t, b / t / 1e6, m / 1024, k }'
awk -v a="$ours_s" -v s="$script_s" -v k="$work_s" -v p="$ours_cpu" -v q="$script_cpu" 'BEGIN {
    printf "ratio:    stillrow is %.1f times as fast (%.1f times, imports of the script left out)\n", s / a, k / a
    printf "          and takes %.2f s of processor time against %.2f s: %.1f times less\n", p, q, q / p }'

ours_px=$(number stillrow p95)
script_px=$(number script p95)
awk -v a="$ours_px" -v b="$script_px" 'BEGIN {
    if (a == "" || b == "" || !(b > 0)) { print "FAILED: no result to compare"; exit 1 }
    off = a / b - 1; if (off < 0) off = -off
    printf "result:   stillrow %.6f px, script %.6f px: %.4f %% apart\n", a, b, 100 * off
    if (off > 0.001) { print "FAILED: the results differ by more than 0.1 %"; exit 1 } }'
awk -v a="$ours_s" -v s="$script_s" -v n="$least" 'BEGIN {
    if (s / a < n) { printf "FAILED: less than %g times as fast\n", n; exit 1 } }'

short_kib=$(memory 60 40)
long_kib=$(memory "$long_s" 40)
narrow_kib=$(memory "$long_s" 9)
awk -v a="$short_kib" -v b="$long_kib" -v n="$narrow_kib" -v s="$long_s" -v most="$most_bytes" 'BEGIN {
    each = (b - a) * 1024 / ((s - 60) * 2000)
    printf "memory:   %.1f bytes for each row more, on top of %.1f MB; %.1f with 9 columns\n", each,
        (a * 1024 - 60 * 2000 * each) / 1048576, (n - a) * 1024 / ((s - 60) * 2000)
    if (each > most) { printf "FAILED: more than %d bytes a row\n", most; exit 1 } }'
exit "$failed"
