#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# run.sh TELLTALE SOURCE SCRATCH
set -eu
telltale=$1
source=$2
scratch=$3

fail() {
    echo "FAILED: $*"
    exit 1
}

rm -rf "$scratch"
mkdir -p "$scratch/here"
cd "$scratch"
sh "$source/examples/telltale/manual/write.sh" "$telltale" "$scratch/made"
gunzip -f made/man1/*.gz 2>/dev/null || true

# ---- manual pages ---------------------------------------------------------------------------
commands=$("$telltale" --help | sed -n '/^Subcommands:/,/^$/s/^  \([a-z]*\) .*/\1/p')
[ "$(echo "$commands" | wc -l)" -ge 7 ] || fail "commands of --help: $commands"
for command in $commands; do
    page=made/man1/telltale-$command.1
    [ -s "$page" ] || fail "no page of $command"
    # Every option of the help is in the page.
    "$telltale" "$command" --help | sed -n 's/^  \(-[a-zA-Z],\)\{0,1\}\(--[a-z0-9-]*\|-[a-z]\)[ ,].*/\2/p' |
        sed 's/-/\\-/g' >options
    [ -s options ] || fail "no options in the help of $command"
    while read -r option; do
        grep -qF -- "$option" "$page" || fail "$page is without $option"
    done <options
done
[ "$(find made/man1 -type f | wc -l)" -eq $(($(echo "$commands" | wc -l) + 1)) ] || fail "number of pages"
if command -v groff >/dev/null; then
    for page in made/man1/*.1; do
        groff -man -Tutf8 -ww -z "$page" 2>warnings || fail "groff and $page"
        [ ! -s warnings ] || { cat warnings; fail "groff warns of $page"; }
        groff -man -Tascii -P-c -P-b -P-u "$page" >shown
        grep -q 'SYNOPSIS' shown || fail "$page shows nothing"
    done
else
    echo "skipped: groff is not here"
fi
if command -v mandoc >/dev/null; then
    mandoc -Tlint -Wwarning made/man1/*.1 || fail "mandoc warns"
else
    echo "skipped: mandoc is not here"
fi
"$telltale" manual nonsense >out 2>err && fail "a command that is not there"
grep -q nonsense err || fail "nobody says that there is no such command"

# ---- completion ----------------------------------------------------------------------------
# In a real shell in a real terminal: keys are typed, and what then stands on the line is read.
: >here/drive.pcapng
: >"here/my drive.log"
mkdir -p bin
ln -s "$telltale" bin/telltale
if ! command -v tmux >/dev/null; then
    echo "skipped: tmux is not here"
    exit 0
fi
tmux=:
trap '$tmux kill-server 2>/dev/null || true' EXIT
shown() {
    $tmux capture-pane -p -t 0 | sed 's/ *$//' | grep '^%%' | tail -n 1
}
# completes KEYS RESULT: types them and two tabs' worth of patience
completes() {
    $tmux send-keys -t 0 C-u
    $tmux send-keys -t 0 -l "$1"
    $tmux send-keys -t 0 Tab
    tries=0
    until [ "$(shown)" = "%% $2" ]; do
        tries=$((tries + 1))
        [ "$tries" -lt 600 ] || { $tmux capture-pane -p -t 0; fail "$shell: '$1' became '$(shown)', not '%% $2'"; }
        sleep 0.05
    done
}
start() { # COMMAND...: in the terminal, with %% as its prompt
    # Each shell has a server of its own: one that is about to end takes no new session.
    tmux="tmux -L telltale-manual-$$-$shell -f /dev/null"
    $tmux new-session -d -x 160 -y 50 -c "$scratch/here" "$@"
    tries=0
    until [ "$(shown)" = '%%' ]; do
        tries=$((tries + 1))
        [ "$tries" -lt 600 ] || { $tmux capture-pane -p -t 0; fail "$shell does not start"; }
        sleep 0.05
    done
}
common() {
    completes 'telltale rech' 'telltale recheck'
    completes 'telltale contrast --mark' 'telltale contrast --mark'
    completes 'telltale decode --addressing normal-' 'telltale decode --addressing normal-fixed'
    completes 'telltale report --skip cold' 'telltale report --skip cold-soak'
    completes 'telltale vet -o dr' 'telltale vet -o drive.pcapng'
    completes 'telltale decode --watch charg' 'telltale decode --watch charging'
    completes 'telltale decode dr' 'telltale decode drive.pcapng'
    completes 'telltale manual catal' 'telltale manual catalogue'
    $tmux kill-server
}

PATH=$scratch/bin:$PATH
export PATH
shell=bash
if command -v bash >/dev/null; then
    printf '%s\n' "PS1='%% '" "PATH='$PATH'" "bind 'set enable-bracketed-paste off'" ". '$scratch/made/bash/telltale'" >bashrc
    bash -n made/bash/telltale || fail "bash cannot read its completion"
    start "bash --noprofile --rcfile '$scratch/bashrc' -i"
    completes 'telltale decode --as=js' 'telltale decode --as=jsonl'
    completes 'telltale decode my' 'telltale decode my\ drive.log'
    completes 'telltale record sl' 'telltale record slcan:'
    common
else
    echo "skipped: bash is not here"
fi
shell=zsh
if command -v zsh >/dev/null; then
    mkdir -p zdot
    printf '%s\n' "PS1='%%%% '" "PATH='$PATH'" "fpath=('$scratch/made/zsh' \$fpath)" \
        "autoload -U compinit && compinit -D -u" >zdot/.zshrc
    start "env ZDOTDIR='$scratch/zdot' zsh -d -i"
    common
else
    echo "skipped: zsh is not here"
fi
shell=fish
if command -v fish >/dev/null; then
    mkdir -p home
    start "env HOME='$scratch/home' XDG_CONFIG_HOME='$scratch/home' fish -N -i -C 'function fish_prompt; echo -n \"%% \"; end; function fish_greeting; end; set -g fish_autosuggestion_enabled 0; set -gx PATH $scratch/bin \$PATH; source $scratch/made/fish/telltale.fish'"
    common
else
    echo "skipped: fish is not here"
fi
