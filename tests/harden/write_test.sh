#!/bin/sh
# Every way in which the program's output can fail: a full disk, a reader that leaves, closed streams, a limit on
# the size of files, and a gnuplot that is missing, hangs, dies or draws nonsense. What must hold each time: the
# exit status says so, one message does (but for a reader that left), what was there before is whole, and
# nothing half-written lies about. HARDEN=full also waits out a gnuplot that hangs (a minute).
# BUILD: where the program is (build). SPDX-License-Identifier: GPL-3.0-or-later
set -u
top=$(cd "$(dirname "$0")/../.." && pwd)
build=${BUILD:-build}
case $build in /*) ;; *) build=$top/$build ;; esac
[ -x "$build/stillrow" ] || { echo "harden: no program at $build/stillrow" >&2; exit 1; }
work=$(mktemp -d "${TMPDIR:-/tmp}/stillrow-write.XXXXXX") || exit 1
trap 'rm -rf "$work"' EXIT
trap 'exit 1' HUP INT TERM
cd "$work" || exit 1
unset NO_COLOR LANG LANGUAGE LC_CTYPE LC_NUMERIC LC_MESSAGES 2>/dev/null
LC_ALL=C TERM=xterm
export LC_ALL TERM

log=$top/sample-logs/coot-logged-too-slowly.csv
combo=$top/sample-logs/combos/teal
passed=0 failed=0 skipped=0

fail() {
    failed=$((failed + 1))
    echo "FAILED: $*" >&2
    [ ! -s err ] || head -n 3 err | cut -c 1-200 | sed 's/^/    stderr: /' >&2
}
pass() { passed=$((passed + 1)); }
skip() { skipped=$((skipped + 1)); echo "SKIPPED: $*" >&2; }

# $path: PATH for the program alone.
path=$work/fake:$PATH
stillrow() { PATH=$path "$build/stillrow" "$@"; }

# Files of the work folder with their contents: what a failed command must leave as it was.
state() { (cd room && find . ! -name '*.lock' -type f -exec cksum {} + | sort -k 3); }

# expect STATUS PATTERN NAME: $got is the status, err what was said. That a picture was written is no complaint.
expect() {
    grep -v ': wrote ' err >said
    mv said err
    if [ "$got" -ne "$1" ]; then
        fail "$3: exit status $got, not $1"
    elif [ -n "$2" ] && ! grep -q "$2" err; then
        fail "$3: no message with '$2'"
    elif [ -z "$2" ] && [ -s err ]; then
        fail "$3: a message where none was expected"
    elif [ "$(grep -c . err)" -gt 1 ]; then
        fail "$3: more than one message"
    else
        pass
    fi
}

# unchanged NAME: against the state before.
unchanged() {
    if [ "$(state)" != "$before" ]; then
        fail "$1: a file was touched, or something was left behind"
        state >now
        echo "$before" | diff - now | sed 's/^/    /' >&2
        restore
    else
        pass
    fi
}

mkdir room fake
restore() { rm -rf room && cp -R kept room; }
{
    echo 'fingerprint,width_px,wobble_px,rating,motor,prop,shore_a,note'
    i=0
    while [ $i -lt 40 ]; do
        rating=clean
        [ $((i + i % 5)) -lt 22 ] || rating=bad
        printf '%016x,1920,%d.%d,%s,A,4 inch,50,"a note that takes room in this ledger"\n' $((i + 1)) $((i / 10)) $((i % 10)) $rating
        i=$((i + 1))
    done
} >room/club.csv
sed 's/^0/1/' room/club.csv >room/other.csv
{ echo '[threshold]'; echo 'px = 1'; i=0; while [ $i -lt 60 ]; do echo "; a line of thoughts on the threshold"; i=$((i + 1)); done; } >room/rig.ini
echo 'an older picture' >room/p.svg
echo 'an older script' >room/p.gp
cat >fake/gnuplot <<'SH'
#!/bin/sh
cat >/dev/null
echo '<?xml version="1.0"?><svg>'
awk 'BEGIN { for (i = 0; i < 2000; i++) print "<!-- a picture of some size -->" }'
echo '</svg>'
SH
chmod +x fake/gnuplot

cp -R room kept

# What the verbs print, one command a line.
cat >commands <<LINES
--help
--version
help score
score $log
score --json $log
score --quiet $log /no/such.csv
explain $log
explain --json $log
inspect $log
inspect --json $log
camera
camera --json
mounts --resonance-hz 60 --flown-on 50 $log
mounts --json --resonance-hz 60 --flown-on 50 $log
compare $combo-two-blades-1.csv --with $combo-three-blades-1.csv
compare --json $combo-two-blades-1.csv --with $combo-three-blades-1.csv
ledger list room/club.csv
ledger list --json room/club.csv
ledger check room/club.csv
ledger rank room/club.csv
ledger rank --json room/club.csv
threshold room/club.csv
threshold --json room/club.csv
plot --text $log
plot -o - --format svg $log
plot -o room/p.svg --post md $log
LINES

# ---- Standard streams ----

streams() {
    while read -r line; do
        case $line in *--quiet*) continue ;; esac
        # shellcheck disable=SC2086
        stillrow $line >/dev/full 2>err </dev/null
        got=$?
        expect 1 'standard output: cannot write' "full disk: $line"
        # shellcheck disable=SC2086
        stillrow $line >&- 2>err </dev/null
        got=$?
        expect 1 'standard output: cannot write' "closed output: $line"
        # The reader is gone before the first byte is written; with and without the signal for that.
        # shellcheck disable=SC2086
        { { sleep 0.1; stillrow $line 2>err </dev/null; echo $? >status; } | true; }
        got=$(cat status)
        expect 1 '' "reader left: $line"
        # shellcheck disable=SC2086
        { { sleep 0.1; trap '' PIPE; stillrow $line 2>err </dev/null; echo $? >status; } | true; }
        got=$(cat status)
        expect 1 '' "reader left, signal ignored: $line"
    done <commands
    restore
}
streams

stillrow score /no/such.csv >out 2>/dev/full
got=$?
: >err
expect 1 '' "full disk for messages"
stillrow score --json "$log" /no/such.csv >out 2>&-
got=$?
expect 1 '' "closed standard error"
[ "$(grep -c . out)" -eq 1 ] && pass || fail "closed standard error: the output is not the report alone"
stillrow score - <&- >out 2>err
got=$?
expect 1 '.' "closed standard input"
stillrow score - <. >out 2>err
got=$?
expect 1 'cannot read' "a folder as standard input"

# ---- Files ----

before=$(state)
# writes NAME PATTERN COMMAND...: fails, says so, and leaves everything as it was.
writes() {
    name=$1 pattern=$2
    shift 2
    stillrow "$@" >out 2>err </dev/null
    got=$?
    expect "${status:-1}" "$pattern" "$name"
    unchanged "$name"
}
# The same with files limited to $blocks of 512 bytes; the message goes through a pipe, which has no such limit.
limited() {
    name=$1 pattern=$2
    shift 2
    { (ulimit -f "$blocks" && stillrow "$@" 2>&1 >/dev/null </dev/null; echo "status $?") | cat; } >both
    got=$(sed -n 's/^status //p' both)
    grep -v '^status ' both >err
    expect 1 "$pattern" "$name, files of at most $blocks blocks"
    unchanged "$name, files of at most $blocks blocks"
}

for blocks in 0 1; do
    limited "picture" 'File too large' plot -o room/p.svg "$log"
    limited "new picture" 'File too large' plot -o room/new.svg "$log"
    limited "script" 'File too large' plot -o room/p.svg --script room/p.gp "$log"
    limited "text picture" 'File too large' plot --format text -o room/p.txt "$log"
    limited "picture of mounts" 'File too large' mounts --resonance-hz 60 --flown-on 50 --plot room/p.svg "$log"
    limited "ledger add" 'File too large' ledger add room/club.csv "$log"
    limited "ledger add while scoring" 'File too large' score --ledger room/club.csv "$log"
    limited "ledger merge" 'File too large' ledger merge room/club.csv room/other.csv
    limited "ledger rate" 'File too large' ledger rate room/club.csv 0000000000000001 bad
    limited "threshold into a rig" 'File too large' threshold --write room/rig.ini room/club.csv
done
blocks=0
limited "new ledger" 'File too large' ledger add room/new.csv "$log"

writes "picture on a full disk" 'No space left' plot -o /dev/full --format svg "$log"
writes "script on a full disk" 'No space left' plot -o room/p.svg --script /dev/full "$log"
writes "picture in no folder" 'there is no such folder' plot -o room/none/p.svg "$log"
writes "script in no folder" 'there is no such folder' plot -o room/p.svg --script room/none/p.gp "$log"
writes "picture on a folder" '.' plot -o room --format svg "$log"
writes "ledger on a full disk" 'not a regular file' ledger add /dev/full "$log"
writes "ledger in no folder" 'there is no folder' ledger add room/none/l.csv "$log"
writes "ledger without a name" 'needs a name' ledger add '' "$log"
[ ! -e .lock ] && pass || fail "ledger without a name: a lock file was left"
writes "ledger on a folder" '.' ledger add room "$log"
status=2
writes "rig on a full disk" 'no rig file' threshold --write /dev/full room/club.csv
status=1
writes "rig in no folder" 'No such file' threshold --write room/none/r.ini room/club.csv
if [ "$(id -u)" -ne 0 ]; then
    chmod a-w room
    writes "picture in a read-only folder" 'Permission denied' plot -o room/p.svg "$log"
    writes "ledger in a read-only folder" 'Permission denied' ledger add room/club.csv "$log"
    writes "rig in a read-only folder" 'Permission denied' threshold --write room/rig.ini room/club.csv
    chmod u+w room
else
    skip "the superuser may write anywhere; NOT CHECKED: read-only folders"
fi
chmod a-w room/club.csv room/rig.ini
writes "read-only ledger" 'read-only' ledger add room/club.csv "$log"
writes "read-only rig" 'read-only' threshold --write room/rig.ini room/club.csv
chmod u+w room/club.csv room/rig.ini

# ---- gnuplot ----

# draws NAME PATTERN: with the gnuplot on standard input.
draws() {
    cat >fake/gnuplot
    chmod +x fake/gnuplot
    writes "$1" "$2" plot -o room/p.svg "$log"
}

cp fake/gnuplot good-gnuplot
rm fake/gnuplot
full_path=$path
path=$work/fake
writes "no gnuplot" 'gnuplot is not installed' plot -o room/p.svg "$log"
mkdir fake/gnuplot
writes "gnuplot is a folder" 'gnuplot' plot -o room/p.svg "$log"
rmdir fake/gnuplot
echo 'not executable' >fake/gnuplot
writes "gnuplot is not executable" 'gnuplot' plot -o room/p.svg "$log"
path=
writes "no PATH" 'gnuplot' plot -o room/p.svg "$log"
path=$full_path
rm fake/gnuplot

draws "gnuplot that fails" 'exit status 3: it is broken' <<'SH'
#!/bin/sh
echo 'it is broken' >&2
exit 3
SH
draws "gnuplot that dies" 'killed by signal 9' <<'SH'
#!/bin/sh
echo '<?xml version="1.0"?><svg>'
kill -9 $$
SH
draws "gnuplot that draws nothing" 'drew nothing' <<'SH'
#!/bin/sh
cat >/dev/null
SH
draws "gnuplot that draws half" 'no whole svg' <<'SH'
#!/bin/sh
cat >/dev/null
echo '<?xml version="1.0"?><svg><path'
SH
draws "gnuplot that draws something else" 'no whole svg' <<'SH'
#!/bin/sh
cat >/dev/null
head -c 100000 /dev/zero
SH
draws "gnuplot that does not read" 'gnuplot' <<'SH'
#!/bin/sh
exec <&-
echo 'I will not read this' >&2
exit 1
SH
draws "gnuplot that does not stop" 'writes without end' <<'SH'
#!/bin/sh
exec cat /dev/zero
SH
draws "gnuplot that complains without end" 'exit status 1' <<'SH'
#!/bin/sh
head -c 3000000 /dev/zero | tr '\0' 'x' >&2
exit 1
SH
draws "gnuplot for another machine" 'gnuplot' <<'SH'
no program at all
SH
if [ "${HARDEN:-}" = full ]; then
    draws "gnuplot that hangs" 'did not finish within 60 s' <<'SH'
#!/bin/sh
sleep 1000
SH
else
    skip "a gnuplot that hangs takes a minute (HARDEN=full); its time limit is tested in gnuplot_pipe_test"
fi
cp good-gnuplot fake/gnuplot

# All of it works where nothing fails.
stillrow plot -o room/p.svg --script room/p.gp "$log" >out 2>err </dev/null
got=$?
expect 0 '' "a picture after all"
grep -q '</svg>' room/p.svg && pass || fail "a picture after all: it is not there"
stillrow ledger add room/club.csv "$log" >out 2>err </dev/null
got=$?
expect 0 '' "a flight after all"

echo "write: $passed passed, $failed failed, $skipped skipped"
[ "$failed" -eq 0 ] && [ "$passed" -gt 100 ]
