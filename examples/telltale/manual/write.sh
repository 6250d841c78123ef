#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# write.sh TELLTALE FOLDER: the program's manual pages and completions, as they are installed. Pages
# are compressed where there is gzip, as Debian wants them.
set -eu
telltale=$1
folder=$2
rm -rf "$folder"
mkdir -p "$folder/man1" "$folder/bash" "$folder/zsh" "$folder/fish"
"$telltale" manual >"$folder/man1/telltale.1"
for command in $("$telltale" manual | sed -n 's/^\.BR telltale\\-\([a-z]*\) (1)$/\1/p' | sort -u); do
    "$telltale" manual "$command" >"$folder/man1/telltale-$command.1"
done
! command -v gzip >/dev/null || gzip -9n "$folder"/man1/*.1
"$telltale" manual --as bash >"$folder/bash/telltale"
"$telltale" manual --as zsh >"$folder/zsh/_telltale"
"$telltale" manual --as fish >"$folder/fish/telltale.fish"
: >"$folder/done"
