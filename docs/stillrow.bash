# bash completion for stillrow. SPDX-License-Identifier: GPL-3.0-or-later
#
# Verbs and options are asked of the program's own help, so that they cannot differ from it.

# Words of an option that takes one of a few; tests/docs/options.sh compares them with the program.
_stillrow_choices()
{
    case $1 in
    --axes) echo frd flu ;;
    --color) echo auto always never ;;
    --format) echo png svg pdf text ;;
    --gyro-on | --other-side) echo frame camera ;;
    --lens) echo rectilinear equidistant ;;
    --material) echo natural-rubber silicone tpu ;;
    --post) echo md bbcode text ;;
    --rate-unit) echo deg/s rad/s ;;
    --rating) echo clean slight bad ;;
    --time-unit) echo ns us ms s ;;
    --window) echo hann rectangular hamming blackman blackman-harris hft95 ;;
    esac
}

_stillrow_verbs()
{
    "$1" --help 2>/dev/null | sed -n '/^Verbs:/,/^$/s/^  \([a-z][a-z]*\) .*/\1/p'
}

# Parts of a verb that has some: "add list ..." of ledger.
_stillrow_parts()
{
    "$1" "$2" --help 2>/dev/null | sed -n '/^Parts:/,/^$/s/^  \([a-z][a-z]*\) .*/\1/p'
}

# PROGRAM VERB [PART]
_stillrow_options()
{
    "$@" --help 2>/dev/null | sed -n 's/^  \(-[a-z]\|  \) \(--[a-z][a-z-]*\).*/\2/p'
}

# OPTION PROGRAM VERB [PART]: does the option want a value?
_stillrow_wants_value()
{
    "${@:2}" --help 2>/dev/null | grep -q "^  \(-[a-z]\|  \) $1 [A-Z]"
}

_stillrow()
{
    local program=$1 current=${COMP_WORDS[COMP_CWORD]} before=${COMP_WORDS[COMP_CWORD - 1]} verb=${COMP_WORDS[1]}
    local choices parts command=("$1" "${COMP_WORDS[1]}")

    COMPREPLY=()
    # Readline takes "--lens=flu" for three words.
    if [[ $current == '=' ]]; then
        current=
    elif [[ $before == '=' ]]; then
        before=${COMP_WORDS[COMP_CWORD - 2]}
    fi
    if ((COMP_CWORD == 1)) || { ((COMP_CWORD == 2)) && [[ $verb == help ]]; }; then
        mapfile -t COMPREPLY < <(compgen -W "$(_stillrow_verbs "$program") --help --version" -- "$current")
        return
    fi
    parts=$(_stillrow_parts "$program" "$verb")
    if [[ -n $parts ]]; then
        if ((COMP_CWORD == 2)); then
            mapfile -t COMPREPLY < <(compgen -W "$parts" -- "$current")
            return
        fi
        command+=("${COMP_WORDS[2]}")
    fi
    choices=$(_stillrow_choices "$before")
    if [[ -n $choices ]]; then
        mapfile -t COMPREPLY < <(compgen -W "$choices" -- "$current")
    elif [[ $before == --rig ]]; then
        mapfile -t COMPREPLY < <(compgen -f -X '!*.ini' -- "$current" && compgen -d -- "$current")
        compopt -o filenames 2>/dev/null
    elif [[ $before == --* ]] && _stillrow_wants_value "$before" "${command[@]}"; then
        return # the shell's own file names
    elif [[ $current == -* ]]; then
        mapfile -t COMPREPLY < <(compgen -W "$(_stillrow_options "${command[@]}")" -- "$current")
    fi
}

complete -o default -o bashdefault -F _stillrow stillrow
