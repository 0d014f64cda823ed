#!/bin/sh
# Run every test program given, then the scenario tests of tests/cli, then hold the documents against the
# program, then let its output fail.
# Fails if any fails, or if none ran.
# SPDX-License-Identifier: GPL-3.0-or-later
set -u
passed=0 failed=0
for t in "$@"; do
    echo "== ${t##*/}"
    if "$t"; then passed=$((passed + 1)); else failed=$((failed + 1)); echo "FAILED: $t"; fi
done
if [ -f tests/cli/run.sh ]; then
    echo "== cli"
    if sh tests/cli/run.sh; then passed=$((passed + 1)); else failed=$((failed + 1)); echo "FAILED: tests/cli"; fi
fi
echo "== docs"
if sh tests/docs/run.sh; then passed=$((passed + 1)); else failed=$((failed + 1)); echo "FAILED: tests/docs"; fi
echo "== harden"
if sh tests/harden/write_test.sh; then passed=$((passed + 1)); else failed=$((failed + 1)); echo "FAILED: tests/harden"; fi
echo "programs: $passed passed, $failed failed"
[ "$failed" -eq 0 ] && [ "$passed" -gt 0 ]
