#!/bin/sh
# Fuzz: each target named (all of them if none is), FUZZ_SECONDS long, from its committed corpus. What is found
# on the way is kept in build-fuzz/found/NAME, so that the next run goes on from there; what breaks a target is
# left in build-fuzz/broken and ends the run with status 1.
#     FUZZ_SECONDS=600 sh tests/fuzz/run.sh log rig
# Needs clang with libFuzzer. SPDX-License-Identifier: GPL-3.0-or-later
set -u
cd "$(dirname "$0")/../.." || exit 1
seconds=${FUZZ_SECONDS:-20} build=build-fuzz
[ $# -gt 0 ] || set -- header ledger log rig

probe=$(mktemp -d /dev/shm/stillrow-fuzz.XXXXXX 2>/dev/null || mktemp -d "${TMPDIR:-/tmp}/stillrow-fuzz.XXXXXX") || exit 1
trap 'rm -rf "$probe"' EXIT
echo 'int LLVMFuzzerTestOneInput(const unsigned char *d, unsigned long n) { return d == 0 && n > 0; }' >"$probe/t.c"
if ! clang -fsanitize=fuzzer,address,undefined -o "$probe/t" "$probe/t.c" 2>"$probe/why"; then
    echo "SKIPPED: no clang with libFuzzer here; NOT FUZZED: $*" >&2
    sed 's/^/    /' "$probe/why" >&2
    exit 0
fi

programs=
for name in "$@"; do programs="$programs $build/tests/fuzz/${name}_fuzz"; done
# shellcheck disable=SC2086
${MAKE:-make} -s --no-print-directory BUILD=$build CC=clang SANITIZE=fuzzer,address,undefined CFLAGS='-O1 -g' \
    CPPFLAGS=-DSR_LIBFUZZER $programs || exit 1
mkdir -p $build/broken
broken=0
for name in "$@"; do
    mkdir -p "$build/found/$name"
    if FUZZ_FOLDER=$probe ASAN_OPTIONS=quarantine_size_mb=16:detect_leaks=1 "$build/tests/fuzz/${name}_fuzz" \
        -max_total_time="$seconds" -timeout=30 -rss_limit_mb=2048 -max_len=8000 -print_final_stats=1 \
        -artifact_prefix="$build/broken/$name-" "$build/found/$name" "tests/fuzz/corpus/$name" >"$build/$name.log" 2>&1
    then
        runs=$(sed -n 's/^stat::number_of_executed_units: *//p' "$build/$name.log")
        cover=$(sed -n 's/.*DONE *cov: \([0-9]*\).*/\1/p' "$build/$name.log")
        echo "fuzz $name: $runs inputs in $seconds s, $cover edges, nothing broken"
    else
        broken=1
        echo "fuzz $name: BROKEN, see $build/$name.log" >&2
        grep -E 'broken:|runtime error|ERROR:|SUMMARY|Test unit' "$build/$name.log" >&2
    fi
done
exit $broken
