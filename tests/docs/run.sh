#!/bin/sh
# Hold the documents against the program. SPDX-License-Identifier: GPL-3.0-or-later
# BUILD: where the program is (build). (tests/docs_test.c looks at JSON fields and rig keys.)
set -u
docs=$(cd "$(dirname "$0")" && pwd)
failed=0
for part in links options examples install; do
    sh "$docs/$part.sh" || failed=$((failed + 1))
done
[ "$failed" -eq 0 ]
