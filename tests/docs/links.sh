#!/bin/sh
# Every link of the documents leads somewhere, and every file that they name is there.
# SPDX-License-Identifier: GPL-3.0-or-later
set -u
cd "$(dirname "$0")/../.." || exit 1
wrong=0 seen=0
fail() {
    echo "FAILED: links: $*"
    wrong=$((wrong + 1))
}

# A heading's anchor: lower case, spaces to dashes, other punctuation gone.
anchors() {
    awk '/^```/ { code = !code } !code && /^#+ / {
        sub(/^#+ /, ""); s = tolower($0); gsub(/[^a-z0-9_ -]/, "", s); gsub(/ /, "-", s); print s }' "$1"
}

for file in README.md DEVELOPERS.md docs/*.md sample-logs/README.md; do
    [ -f "$file" ] || continue
    dir=$(dirname "$file")
    for link in $(awk '/^```/ { code = !code } !code' "$file" | grep -o '](#*[^) ]*)' | sed 's/^](//; s/)$//' | sort -u); do
        seen=$((seen + 1))
        target=${link%%#*}
        case $link in
        http:* | https:*) continue ;;
        esac
        if [ -n "$target" ] && [ ! -e "$dir/$target" ]; then
            fail "$file: there is no $target"
        elif [ "$link" != "$target" ]; then
            anchors "${target:+$dir/}${target:-$file}" | grep -qxF -e "${link#*#}" || fail "$file: nothing is called #${link#*#}"
        fi
    done
    # Files named in backticks, also as src/{a,b}.c.
    awk '/^```/ { code = !code } !code' "$file" | grep -o '`\(src\|tests\|include\|docs\|sample-logs\|\.ci\)/[^` ]*`' | tr -d '`' | sort -u |
        while read -r name; do
            case $name in
            *'{'*)
                stem=${name%%\{*} rest=${name#*\}} list=${name#*\{}
                for part in $(echo "${list%%\}*}" | tr , ' '); do echo "$stem$part$rest"; done
                ;;
            *[A-Z][A-Z][A-Z]* | *'*'*) ;; # a place to fill in
            *) echo "$name" ;;
            esac
        done | while read -r name; do [ -e "$name" ] || echo "FAILED: links: $file: there is no $name"; done >"${TMPDIR:-/tmp}/stillrow-links.$$"
    cat "${TMPDIR:-/tmp}/stillrow-links.$$"
    [ -s "${TMPDIR:-/tmp}/stillrow-links.$$" ] && wrong=$((wrong + 1))
    rm -f "${TMPDIR:-/tmp}/stillrow-links.$$"
done
[ "$seen" -gt 0 ] || fail "no link was found in any document"
[ "$wrong" -eq 0 ] || exit 1
echo "links: $seen links lead somewhere"
