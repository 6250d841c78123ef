#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# same.sh MAKE-DEMO BUNDLED SCRATCH: writes the dumps anew and compares them with the bundled ones.
set -eu
make_demo=$1
bundled=$2
scratch=$3
rm -rf "$scratch"
mkdir -p "$scratch"
"$make_demo" "$scratch"
for name in good bad; do
    cmp "$scratch/$name.pcapng" "$bundled/$name.pcapng"
done
