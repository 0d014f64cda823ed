#!/bin/sh
# Run every test program given, with them the scenario tests of tests/cli, what holds the documents against the
# program, and what lets its output fail; as many at once as there are processors. What was skipped is counted,
# and said again at the end. Fails if any fails, or if none ran.
#
# JOBS=1     one at a time
# SCRIPTS=   the programs only
# SPDX-License-Identifier: GPL-3.0-or-later
set -u
[ $# -gt 0 ] || { echo "run.sh: no test program given" >&2; exit 1; }
work=$(mktemp -d "${TMPDIR:-/tmp}/stillrow-tests.XXXXXX") || exit 1
trap 'rm -rf "$work"' EXIT
trap 'exit 130' INT TERM
scripts=${SCRIPTS-tests/cli/run.sh tests/docs/run.sh tests/harden/write_test.sh}
jobs=${JOBS:-$(getconf _NPROCESSORS_ONLN 2>/dev/null || echo 1)}

# The answer of a test is shown when it is complete, so that two at once do not mix.
cat >"$work/one" <<'EOF'
work=$1
shift
out=$(mktemp "$work/out.XXXXXX")
echo "== $*" >"$out"
since=$(date +%s)
[ -z "${COUNTS:-}" ] || export GCOV_PREFIX="$COUNTS/$(echo "$1" | tr / _)" # for tests/harden/coverage.sh
case $1 in
*.sh) sh "$@" >>"$out" 2>&1 ;;
*) "$@" >>"$out" 2>&1 ;;
esac
status=$?
took=$(($(date +%s) - since))
[ "$took" -lt 10 ] || echo "took $took s" >>"$out"
if [ "$status" -eq 0 ]; then
    echo "$*" >>"$work/passed"
else
    echo "$* (exit status $status)" >>"$work/failed"
    echo "FAILED: $*" >>"$out"
fi
cat "$out"
EOF
touch "$work/passed" "$work/failed"
# The scripts first: they take longest.
printf '%s\n' $scripts "$@" | xargs -P "$jobs" -I PROGRAM sh "$work/one" "$work" PROGRAM

passed=$(wc -l <"$work/passed") failed=$(wc -l <"$work/failed")
skipped=$(cat "$work"/out.* | grep -c '^ *SKIPPED')
if [ "$skipped" -gt 0 ]; then
    echo "$skipped checks were skipped:"
    cat "$work"/out.* | grep '^ *SKIPPED'
fi
sed 's/^/FAILED: /' "$work/failed"
echo "programs: $((passed)) passed, $((failed)) failed, $((skipped)) skipped"
[ "$failed" -eq 0 ] && [ "$passed" -gt 0 ]
