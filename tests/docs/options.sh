#!/bin/sh
# Every option of --help is in the man page, with the same argument, unit, range and default, and the other
# way round; the completion offers the same verbs, options and words.
# SPDX-License-Identifier: GPL-3.0-or-later
#
# BUILD: where the program is (build).
set -u
cd "$(dirname "$0")/../.." || exit 1
build=${BUILD:-build}
case $build in /*) ;; *) build=$PWD/$build ;; esac
PATH=$build:$PATH
LC_ALL=C
export PATH LC_ALL

work=$(mktemp -d "${TMPDIR:-/tmp}/stillrow-options.XXXXXX") || exit 1
trap 'rm -rf "$work"' EXIT
trap 'exit 1' HUP INT TERM
wrong=0
fail() {
    echo "FAILED: options: $*"
    wrong=$((wrong + 1))
}

# Groups that several verbs share; each has a part of its own in the man page.
shared='Reading the log|The rig|The answer|The ledger'

# Options in --help: "PART|--name ARGUMENT|(unit, range; default)" where PART is a shared group or the verb.
in_help() {
    # shellcheck disable=SC2086
    stillrow $1 --help | awk -v verb="Verb $1" -v shared="$shared" '
        function flush() {
            if (name == "" || name ~ /^--help/)
                return
            # The last bracket, if it is the one that closes the text: it may hold brackets itself.
            tail = ""
            if (text ~ /\)$/) {
                depth = 0
                for (i = length(text); i > 0; i--) {
                    c = substr(text, i, 1)
                    depth += (c == ")") - (c == "(")
                    if (depth == 0)
                        break
                }
                tail = substr(text, i)
            }
            print part "|" name "|" tail
            name = ""
        }
        /^[A-Z].*:$/ { flush(); group = substr($0, 1, length($0) - 1); part = group ~ "^(" shared ")$" ? group : verb; next }
        /^  (-[a-z]|  ) --/ {
            flush()
            line = substr($0, 6)
            name = line
            sub(/  .*/, "", name)
            text = length(line) > length(name) ? substr(line, length(name) + 1) : ""
            sub(/^ */, "", text)
            next
        }
        /^                          [^ ]/ && name != "" { more = $0; sub(/^ */, "", more); text = text (text == "" ? "" : " ") more; next }
        /^$/ || /^[A-Z]/ { flush() }
        END { flush() }'
}

# The same in the man page, with the whole text of each item.
awk '
    function flush() { if (name != "") print part "|" name "|" text; name = "" }
    /^\.S[sh] / { flush(); part = substr($0, 5); next }
    /^\.It Fl / {
        flush()
        name = $0
        sub(/^\.It (Fl [a-z] , )?Fl -/, "--", name)
        sub(/ Ar /, " ", name)
        text = ""
        next
    }
    /^\.(El|It)/ { flush(); next }
    name != "" { line = $0; gsub(/\\&/, "", line); text = text (text == "" ? "" : " ") line }
    END { flush() }' docs/stillrow.1 >"$work/man"

# Verbs, and in place of a verb that has parts, the verb with each part.
verbs=$(stillrow --help | sed -n '/^Verbs:/,/^$/s/^  \([a-z][a-z]*\) .*/\1/p' | grep -v '^help$')
[ -n "$verbs" ] || fail "--help names no verbs"
for verb in $verbs; do
    stillrow "$verb" --help | sed -n "/^Parts:/,/^\$/s/^  \([a-z][a-z]*\) .*/$verb \1/p" >"$work/with-parts"
    [ -s "$work/with-parts" ] || echo "$verb" >"$work/with-parts"
    cat "$work/with-parts"
done >"$work/verbs"
mkdir "$work/of"
while read -r verb; do
    in_help "$verb" >"$work/of/$verb"
    grep -q "^\.Ss Verb $verb\$" docs/stillrow.1 || fail "the man page has no part on '$verb'"
    grep -q "^\.Cm $verb\$" docs/stillrow.1 || fail "the man page's synopsis lacks '$verb'"
    while IFS='|' read -r part name tail; do
        item=$(grep -F "$part|$name|" "$work/man")
        if [ -z "$item" ]; then
            fail "$verb: '$name' is not in the man page under '$part'"
        elif [ -n "$tail" ] && ! printf '%s\n' "$item" | grep -qF -e "$tail"; then
            fail "$verb: the man page says of '$name' something else than '$tail'"
        fi
    done <"$work/of/$verb"
done <"$work/verbs"
cat "$work/of/"* | cut -d '|' -f 1,2 | sort -u >"$work/known"
[ -s "$work/known" ] || fail "no --help shows options"
cut -d '|' -f 1,2 "$work/man" | sort | comm -13 "$work/known" - >"$work/extra"
[ -s "$work/extra" ] && { cat "$work/extra"; fail "the man page has options that no --help shows"; }
sed -n 's/^\.Ss Verb //p' docs/stillrow.1 | sort >"$work/parts"
sort "$work/verbs" | diff - "$work/parts" || fail "verbs of the program and of the man page differ"

if command -v mandoc >/dev/null 2>&1; then
    # Which other pages this machine has is no fault of this one; the style is .ci/lint's to judge.
    mandoc -T lint -W warning docs/stillrow.1 2>&1 | grep -v 'mandoc\.db\|referenced manual' && fail "mandoc finds fault with the man page"
else
    echo "SKIPPED: options: no mandoc to check the man page's markup with"
fi

if command -v bash >/dev/null 2>&1; then
    cat >"$work/complete.bash" <<'B'
source docs/stillrow.bash
COMP_WORDS=("$@") COMP_CWORD=$(($# - 1)) COMPREPLY=()
_stillrow stillrow
printf '%s\n' "${COMPREPLY[@]}"
B
    offers() { bash "$work/complete.bash" stillrow "$@" | sort; }
    { echo help; echo --help; echo --version; for verb in $verbs; do echo "$verb"; done; } | sort >"$work/words"
    offers '' | diff "$work/words" - || fail "the completion offers other verbs"
    while read -r verb; do
        { echo --help; cut -d '|' -f 2 "$work/of/$verb" | cut -d ' ' -f 1; } | sort -u >"$work/words"
        # shellcheck disable=SC2086
        offers $verb -- </dev/null | diff "$work/words" - || fail "the completion offers other options for '$verb'"
        case $verb in
        *' '*)
            sed -n "s/^${verb% *} //p" "$work/verbs" | sort >"$work/words"
            offers "${verb% *}" '' </dev/null | diff "$work/words" - || fail "the completion offers other parts of ${verb% *}"
            ;;
        esac
    done <"$work/verbs"
    # A word that no list holds makes the program say the list.
    cat >"$work/choices.bash" <<'B'
while IFS='|' read -r verb name; do
    offered=$(_stillrow_choices "$name" | tr ' ' '\n' | sort)
    wanted=$(stillrow $verb "$name=?" 2>&1 </dev/null | sed -n "s/.* is none of: //p" | tr -d ' ' | tr , '\n' | sort)
    [[ $offered == "$wanted" ]] || echo "$verb $name: offered ($offered), wanted ($wanted)"
done
B
    cat docs/stillrow.bash "$work/choices.bash" >"$work/both.bash"
    while read -r verb; do sed -n "s/^[^|]*|\(--[^ |]*\) .*/$verb|\1/p" "$work/of/$verb"; done <"$work/verbs" |
        sort -u -t '|' -k 2,2 | (cd "$work" && exec bash both.bash) >"$work/bad"
    [ -s "$work/bad" ] && { cat "$work/bad"; fail "the completion offers other words"; }
else
    echo "SKIPPED: options: no bash to try the completion with"
fi

[ "$wrong" -eq 0 ] || exit 1
echo "options: $(wc -l <"$work/known" | tr -d ' ') options agree in --help, man page and completion"
