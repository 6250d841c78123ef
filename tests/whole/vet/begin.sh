# SPDX-License-Identifier: Apache-2.0
# Sourced by the tests of the vet command, NAME.sh BIN WORK: from here on `here` is their folder, `bin`
# that of the programs, and the folder to work in is WORK, emptied.
here=$(CDPATH='' cd -- "$(dirname -- "$0")" && pwd)
bin=$(CDPATH='' cd -- "$1" && pwd)
rm -rf "$2"
mkdir -p "$2"
cd "$2"
