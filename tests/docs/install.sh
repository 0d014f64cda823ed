#!/bin/sh
# Install into an empty place, use what is there, uninstall: nothing may be missing, and nothing left.
# SPDX-License-Identifier: GPL-3.0-or-later
#
# BUILD: what to install (build). CC, SANITIZE: as the library was built with.
set -u
cd "$(dirname "$0")/../.." || exit 1
build=${BUILD:-build}
unset MAKEFLAGS MFLAGS MAKELEVEL MAKEOVERRIDES PREFIX DESTDIR 2>/dev/null

work=$(mktemp -d "${TMPDIR:-/tmp}/stillrow install.XXXXXX") || exit 1
trap 'rm -rf "$work"' EXIT
trap 'exit 1' HUP INT TERM

wrong=0
fail() {
    echo "FAILED: install: $*"
    wrong=$((wrong + 1))
}
run_make() { make -s --no-print-directory BUILD="$build" "$@" >"$work/make.log" 2>&1 || { cat "$work/make.log"; exit 1; }; }
files_in() { (cd "$1" && find . ! -type d | sort); }

# A packager's way: staged under DESTDIR, with a space in its name.
run_make install DESTDIR="$work/stage area" PREFIX=/opt/lake
files_in "$work/stage area/opt/lake" >"$work/staged"
for f in bin/stillrow lib/libstillrow.a lib/pkgconfig/stillrow.pc share/man/man1/stillrow.1 \
    share/bash-completion/completions/stillrow share/doc/stillrow/LICENSE share/doc/stillrow/docs/method.md \
    share/doc/stillrow/docs/json.md share/doc/stillrow/docs/tutorial.md share/doc/stillrow/docs/examples/score_one.c; do
    grep -qx "./$f" "$work/staged" || fail "$f is missing"
done
for f in include/stillrow/*.h; do
    grep -qx "./$f" "$work/staged" || fail "$f is missing"
done
find sample-logs -name '*.csv' -o -name '*.ini' -o -name README.md >"$work/samples"
while read -r f; do
    grep -qx "./share/doc/stillrow/$f" "$work/staged" || fail "$f is missing"
done <"$work/samples"
grep -qx 'prefix=/opt/lake' "$work/stage area/opt/lake/lib/pkgconfig/stillrow.pc" || fail "stillrow.pc has another prefix"
grep -rn '@[A-Z]*@' "$work/stage area/opt/lake/lib/pkgconfig" && fail "stillrow.pc still has a place to fill in"
[ -x "$work/stage area/opt/lake/bin/stillrow" ] || fail "the program cannot be run"

# Uninstall takes what is ours and leaves a neighbour's file.
neighbour="$work/stage area/opt/lake/include/stillrow/neighbour.h"
: >"$neighbour"
run_make uninstall DESTDIR="$work/stage area" PREFIX=/opt/lake
files_in "$work/stage area" >"$work/left"
echo ./opt/lake/include/stillrow/neighbour.h | diff - "$work/left" || fail "uninstall left or took too much"
rm -rf "$work/stage area"

# A user's way: into a prefix, then the library example from there alone. (pkg-config has no words for spaces.)
prefix=$(mktemp -d "${TMPDIR:-/tmp}/stillrow-prefix.XXXXXX") || exit 1
trap 'rm -rf "$work" "$prefix"' EXIT
run_make install PREFIX="$prefix"
files_in "$prefix" | diff "$work/staged" - || fail "PREFIX alone installs other files than DESTDIR does"
doc=$prefix/share/doc/stillrow
flags=$(PKG_CONFIG_PATH=$prefix/lib/pkgconfig pkg-config --cflags --static --libs stillrow) || fail "pkg-config does not know it"
# shellcheck disable=SC2086
(cd "$doc/docs/examples" && ${CC:-cc} -std=c11 -Wall -Wextra -Werror ${SANITIZE:+-fsanitize=$SANITIZE} \
    -o "$prefix/score_one" score_one.c $flags) || { fail "the example does not compile"; exit 1; }

for pair in heron-regatta-steady:heron dipper-bent-prop:dipper grebe-frame-resonance:grebe; do
    log=$doc/sample-logs/${pair%:*}.csv rig=$doc/sample-logs/${pair#*:}.ini
    "$prefix/score_one" "$log" "$rig" >"$work/library" || fail "the example failed on $log"
    "$prefix/bin/stillrow" score --json --rig "$rig" "$log" >"$work/program"
    # The same figures out of the program's JSON, which has six digits as well.
    sed 's/.*"verdict":"\([a-z]*\)","wobble_px":{"p95":\([^,]*\),"low":\([^,]*\),"high":\([^,]*\),.*/verdict \1 wobble_px \2 \3 \4/' \
        "$work/program" | awk '{ print $1, $2; printf "%s %.6g %.6g %.6g\n", $3, $4, $5, $6 }' >"$work/expected"
    grep -v '^line' "$work/library" | diff "$work/expected" - || fail "library and program disagree on ${pair%:*}"
done
"$prefix/score_one" "$work/none.csv" 2>/dev/null && fail "the example hides a missing log"

if command -v man >/dev/null 2>&1; then
    MANPATH=$prefix/share/man man stillrow >"$work/page" 2>/dev/null </dev/null || fail "man does not find the page"
    grep -q 'EXIT STATUS' "$work/page" || fail "man shows another page"
else
    echo "SKIPPED: install: no man program to look the page up with"
fi

run_make uninstall PREFIX="$prefix"
rm -f "$prefix/score_one"
[ -z "$(files_in "$prefix")" ] || { files_in "$prefix"; fail "uninstall left files"; }

[ "$wrong" -eq 0 ] || exit 1
echo "install: $(wc -l <"$work/staged" | tr -d ' ') files, the example agrees with the program on 3 flights"
