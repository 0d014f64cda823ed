#!/bin/sh
# Which lines of src/ do the tests reach? Builds with counters, runs all tests, prints a table of the files, and
# fails below COVERAGE_LEAST percent (90). The tests' own result is shown but does not count here: the counters
# slow things down. Needs gcc's gcov. SPDX-License-Identifier: GPL-3.0-or-later
set -u
cd "$(dirname "$0")/../.." || exit 1
build=build-coverage least=${COVERAGE_LEAST:-90}
for tool in gcc gcov gcov-tool; do
    command -v $tool >/dev/null || { echo "SKIPPED: no $tool here; NOT MEASURED: line coverage" >&2; exit 0; }
done
counts=$PWD/$build.counts
rm -rf "$counts" "$counts.sum" "$counts.next"
find $build -name '*.gcda' -exec rm -f {} + 2>/dev/null
# Each test counts in a folder of its own: some kill what they started, and counts that are half written spoil all
# that is added to them. Left out: what lets every write fail (the counters' own too), and the documents' check.
COUNTS=$counts SCRIPTS=tests/cli/run.sh ${MAKE:-make} -s --no-print-directory BUILD=$build CC=gcc \
    CFLAGS='-O1 -g --coverage -fprofile-update=atomic -fno-inline' ${COVERAGE_TARGET:-test} >$build.log 2>&1
echo "tests, exit status $?: $(tail -n 1 $build.log)"
for test in "$counts"/*; do
    own=$test$PWD/$build
    [ -d "$own" ] || continue
    if [ ! -d "$counts.sum" ]; then
        cp -R "$own" "$counts.sum"
    elif gcov-tool merge "$own" "$counts.sum" -o "$counts.next" >/dev/null 2>&1; then
        rm -rf "$counts.sum"
        mv "$counts.next" "$counts.sum"
    else
        echo "${test##*/}: its counts are spoiled, and left out"
        rm -rf "$counts.next"
    fi
done
cp -R "$counts.sum/." $build
rm -rf "$counts" "$counts.sum"

# Lines of each .c file of src/, as gcov counts them.
find $build/src -name '*.gcno' | sort | while read -r notes; do
    gcov -n -o "${notes%/*}" "$notes" 2>/dev/null | awk -v want="${notes#"$build"/}" '
        BEGIN { sub(/\.gcno$/, ".c", want) }
        /^File / { file = substr($0, 7, length($0) - 7) }
        /^Lines executed:/ && file == want { split($0, part, /[:% ]+/); print part[3], part[5], file; seen = 1; file = "" }
        /^No executable lines/ && file == want { seen = 1; file = "" }
        END { if (!seen) print 0, 1, want }'
done >$build.lines
sort -n $build.lines | awk '$1 < 90 { printf "%6.1f %% of %4d lines  %s\n", $1, $2, $3 }'
awk -v least="$least" '
    { reached += $1 / 100 * $2; lines += $2 }
    END {
        share = lines > 0 ? 100 * reached / lines : 0
        printf "coverage: %.1f %% of %d lines of src/ (%d files); at least %s %% are wanted\n", share, lines, NR, least
        exit !(share >= least)
    }' $build.lines
