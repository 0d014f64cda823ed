#!/bin/sh
# Run the commands that the documents show, and compare what comes out with what they print.
# SPDX-License-Identifier: GPL-3.0-or-later
#
# In Markdown a checked block begins with ```console, in the man page with `.Bd -literal`, if its first line is a
# command. In it:
#
#     $ stillrow score flight.csv |     a command
#     > head -n 2                       its next line
#     flight.csv  STEADY                what it prints, standard error too
#     ...                               any lines, or none
#
# The commands of one document run one after another in one new directory, which holds the sample logs as
# `sample-logs`; what a command leaves there, the next one finds. Blocks of other kinds are not run.
#
#     sh tests/docs/examples.sh [FILE...]            all documents, or those named
#     UPDATE=1 sh tests/docs/examples.sh [FILE...]   write what came out into the documents
#
# BUILD: where the program is (build).
set -u
cd "$(dirname "$0")/../.." || exit 1
top=$PWD
build=${BUILD:-build}
case $build in /*) ;; *) build=$top/$build ;; esac
[ -x "$build/stillrow" ] || { echo "FAILED: examples: no program at $build/stillrow"; exit 1; }

work=$(mktemp -d "${TMPDIR:-/tmp}/stillrow-examples.XXXXXX") || exit 1
trap 'rm -rf "$work"' EXIT
trap 'exit 1' HUP INT TERM
mkdir "$work/bin" && ln -s "$build/stillrow" "$work/bin/stillrow" || exit 1
# The same answers whatever the caller's terminal, language and place.
unset NO_COLOR LANG LANGUAGE LC_CTYPE LC_NUMERIC LC_MESSAGES 2>/dev/null
LC_ALL=C TERM=dumb TZ=UTC PATH=$work/bin:$PATH
export LC_ALL TERM TZ PATH

# The commands of a document as a shell script that marks where each one's output begins.
script_of() {
    awk '
        function block_starts() { return man ? /^\.Bd -literal/ : /^ *```console/ }
        function block_ends() { return man ? /^\.Ed/ : /^ *```$/ }
        function plain(s) { if (man) gsub(/\\e/, "\\", s); return s }
        BEGIN { man = FILENAME ~ /\.1$/; print "status=0" }
        FNR == 1 { man = FILENAME ~ /\.1$/ }
        !inside && block_starts() { inside = 1; first = 1; checked = 0; indent = $0; sub(/[^ ].*/, "", indent); next }
        inside && block_ends() { inside = 0; next }
        !inside { next }
        { line = $0; if (!man) sub("^" indent, "", line) }
        first { checked = line ~ /^\$ /; first = 0 }
        !checked { next }
        line ~ /^\$ / {
            if (open)
                print "status=$?"
            printf "printf \"\\n@@@ %d\\n\"; (exit $status)\n", ++n
            print plain(substr(line, 3))
            open = 1
            next
        }
        line ~ /^> / { print plain(substr(line, 3)) }
        END { if (open) print "status=$?"; print "echo; echo @@@ end" }' "$1"
}

# The document with what really came out: FILE OUTPUT. A "..." that fits is kept, with the lines around it.
filled() {
    awk -v output="$2" '
        function block_starts() { return man ? /^\.Bd -literal/ : /^ *```console/ }
        function block_ends() { return man ? /^\.Ed/ : /^ *```$/ }
        function escaped(s) {
            if (man) {
                gsub(/\\/, "\\e", s)
                if (s ~ /^[.\x27]/)
                    s = "\\&" s
            }
            return s == "" ? "" : indent s
        }
        # Do shown lines i.. fit the real lines j.. of command k? "..." takes any number.
        function fits(i, j,    l) {
            for (; i <= n_shown; i++) {
                if (shown[i] == indent "...") {
                    if (i == n_shown)
                        return 1
                    for (l = j; l <= n_real[k] + 1; l++)
                        if (fits(i + 1, l))
                            return 1
                    return 0
                }
                if (j > n_real[k] || shown[i] != escaped(real[k, j]))
                    return 0
                j++
            }
            return j == n_real[k] + 1
        }
        function flush(    i) {
            if (!pending)
                return
            if (fits(1, 1))
                for (i = 1; i <= n_shown; i++)
                    print shown[i]
            else
                for (i = 1; i <= n_real[k]; i++)
                    print escaped(real[k, i])
            pending = 0
        }
        BEGIN {
            while ((getline line < output) > 0) {
                if (line ~ /^@@@ /) {
                    # The empty line before the mark is the mark of its own.
                    if (at > 0 && n_real[at] > 0 && real[at, n_real[at]] == "")
                        n_real[at]--
                    at = substr(line, 5) + 0
                    n_real[at] = 0
                } else if (at > 0)
                    real[at, ++n_real[at]] = line
            }
        }
        FNR == 1 { man = FILENAME ~ /\.1$/ }
        !inside && block_starts() { inside = 1; first = 1; indent = $0; sub(/[^ ].*/, "", indent); print; next }
        inside && block_ends() { flush(); inside = 0; print; next }
        !inside { print; next }
        { line = man ? $0 : substr($0, length(indent) + 1) }
        first { checked = line ~ /^\$ /; first = 0 }
        !checked { print; next }
        line ~ /^\$ / { flush(); print; k++; n_shown = 0; pending = 1; next }
        line ~ /^> / && n_shown == 0 { print; next }
        { shown[++n_shown] = $0 }' "$1"
}

[ $# -gt 0 ] || set -- $([ -f README.md ] && echo README.md) docs/tutorial.md docs/stillrow.1
commands=0 failed=0
for file; do
    [ -f "$file" ] || { echo "FAILED: examples: there is no $file"; failed=$((failed + 1)); continue; }
    room=$work/room
    rm -rf "$room"
    mkdir "$room" && ln -s "$top/sample-logs" "$room/sample-logs" || exit 1
    script_of "$file" >"$work/script"
    count=$(grep -c '^printf "\\n@@@' "$work/script")
    [ "$count" -gt 0 ] || { echo "FAILED: examples: $file shows no command"; failed=$((failed + 1)); continue; }
    if ! command -v gnuplot >/dev/null 2>&1 && grep -q 'stillrow plot\|--plot' "$work/script"; then
        echo "SKIPPED: examples: $file draws pictures, and there is no gnuplot"
        continue
    fi
    (cd "$room" && exec sh "$work/script") >"$work/output" 2>&1 </dev/null
    grep -q '^@@@ end$' "$work/output" || { echo "FAILED: examples: the commands of $file do not run to their end"; failed=$((failed + 1)); }
    filled "$file" "$work/output" >"$work/filled" || exit 1
    commands=$((commands + count))
    if ! cmp -s "$file" "$work/filled"; then
        if [ "${UPDATE:-}" = 1 ]; then
            cp "$work/filled" "$file" && echo "updated: $file"
        else
            echo "FAILED: examples: $file shows something else than what comes out"
            diff -u "$file" "$work/filled" | sed 's/^/    /'
            failed=$((failed + 1))
        fi
    fi
done
[ "$failed" -eq 0 ] || exit 1
echo "examples: $commands commands do what the documents show"
