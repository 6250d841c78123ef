#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# run.sh SOURCE PROGRAM-FOLDER SCRATCH [write]: runs every command of README.md's `console` blocks
# (the lines that start with "$ ") in the source folder, and compares what they print with what
# README.md shows below each; with `write`, puts what they print there instead.
set -eu
source=$1
programs=$2
scratch=$3
write=${4:-}
rm -rf "$scratch"
mkdir -p "$scratch"
cd "$source"
PATH=$programs:$PATH
export PATH

# README.md as it would be if all outputs were fresh.
inside=no
while IFS= read -r line || [ -n "$line" ]; do
    case $inside$line in
    'no```console')
        inside=yes
        printf '%s\n' "$line"
        ;;
    'yes```')
        inside=no
        printf '%s\n' "$line"
        ;;
    'yes$ '*)
        printf '%s\n' "$line"
        # Messages go to standard error, which README.md does not show.
        sh -c "${line#??}" 2>>"$scratch/messages" </dev/null || echo "(exit status $?)"
        ;;
    yes*) ;;
    *) printf '%s\n' "$line" ;;
    esac
done <README.md >"$scratch/README.md"

if [ "$write" = write ]; then
    cp "$scratch/README.md" README.md
elif ! diff -u README.md "$scratch/README.md"; then
    cat "$scratch/messages"
    echo "README.md does not show what the commands print now. If the new output is right:"
    echo "sh tests/whole/readme/run.sh $source $programs $scratch write"
    exit 1
fi
