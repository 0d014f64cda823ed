#!/bin/sh
# Scenario tests of the program: what it prints, where, and how it exits.
# SPDX-License-Identifier: GPL-3.0-or-later
#
# A scenario is one file, tests/cli/NAME.test: a shell script, then what is to
# come out of it:
#
#     # why this is tested
#     stillrow score missing.csv
#     --- stdout
#     --- stderr
#     stillrow: missing.csv: cannot open: No such file or directory
#     --- status 1
#
# The script runs in a directory of its own with `stillrow` on PATH, `samples`
# (the sample logs), and `inputs` (small files made by inputs.sh). Standard error
# of the script counts, and so does its last exit status.
#
#     sh tests/cli/run.sh [NAME...]            run all, or those named
#     UPDATE=1 sh tests/cli/run.sh [NAME...]   write what came out into the files
#
# BUILD: where the program is (build).
set -u
cli=$(cd "$(dirname "$0")" && pwd)
top=$(cd "$cli/../.." && pwd)
build=${BUILD:-build}
case $build in /*) ;; *) build=$top/$build ;; esac
if [ ! -x "$build/stillrow" ]; then
    echo "tests/cli: no program at $build/stillrow" >&2
    exit 1
fi

work=$(mktemp -d "${TMPDIR:-/tmp}/stillrow-cli.XXXXXX") || exit 1
trap 'rm -rf "$work"' EXIT
trap 'exit 1' HUP INT TERM
mkdir "$work/bin" "$work/inputs" || exit 1
ln -s "$build/stillrow" "$work/bin/stillrow" || exit 1
if ! (cd "$work/inputs" && sh "$cli/inputs.sh"); then
    echo "tests/cli: the inputs could not be made" >&2
    exit 1
fi

# The same answers whatever the caller's terminal and language.
unset NO_COLOR LANG LANGUAGE LC_CTYPE LC_NUMERIC LC_MESSAGES 2>/dev/null
LC_ALL=C TERM=xterm PATH=$work/bin:$PATH
export LC_ALL TERM PATH

# part FILE NAME: the lines of one part of a scenario.
part() {
    awk -v want="$2" '
        /^--- (stdout|stderr)$/ { now = $2; next }
        /^--- status [0-9]+$/ { if (want == "status") print $3; now = "end"; next }
        BEGIN { now = "script" }
        now == want { print }' "$1"
}

passed=0 failed=0
run() {
    file=$1
    name=$(basename "$file" .test)
    room=$work/$name
    mkdir "$room" && ln -s "$top/sample-logs" "$room/samples" && ln -s "$work/inputs" "$room/inputs" || return 1
    part "$file" script >"$work/script"
    (cd "$room" && exec sh "$work/script") >"$work/stdout" 2>"$work/stderr" </dev/null
    status=$?
    {
        cat "$work/script"
        echo "--- stdout"
        cat "$work/stdout"
        echo "--- stderr"
        cat "$work/stderr"
        echo "--- status $status"
    } >"$work/result"
    rm -rf "$room"
    if cmp -s "$file" "$work/result"; then
        passed=$((passed + 1))
    elif [ "${UPDATE:-}" = 1 ]; then
        cp "$work/result" "$file" && echo "updated: $name"
        passed=$((passed + 1))
    else
        failed=$((failed + 1))
        echo "FAILED: $name"
        diff -u "$file" "$work/result" | sed 's/^/    /'
    fi
}

if [ $# -eq 0 ]; then
    set -- "$cli"/*.test
else
    for name; do
        shift
        set -- "$@" "$cli/$name.test"
    done
fi
for file; do
    if [ -f "$file" ]; then
        run "$file"
    else
        echo "FAILED: there is no scenario $file"
        failed=$((failed + 1))
    fi
done
echo "scenarios: $passed passed, $failed failed"
[ "$failed" -eq 0 ] && [ "$passed" -gt 0 ]
