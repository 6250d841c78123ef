#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# find.sh FOLDER: prints the root (`` for the system's, or FOLDER) and the release of a kernel whose
# image and CAN modules are there and readable. The newest one wins; FOLDER goes first.
set -eu
for root in "$1" ''; do
    for image in $(ls "$root"/boot/vmlinuz-* 2>/dev/null | sort -rV); do
        release=${image##*/vmlinuz-}
        modules=$root/lib/modules/$release/kernel
        whole=yes
        [ -r "$image" ] || whole=no
        for module in net/can/can net/can/can-raw net/can/can-isotp drivers/net/can/vcan \
            drivers/net/can/dev/can-dev drivers/net/can/slcan/slcan; do
            ls "$modules/$module".ko* >/dev/null 2>&1 || whole=no
        done
        if [ "$whole" = yes ]; then
            echo "root='$root' release='$release'"
            exit 0
        fi
    done
done
echo "no kernel with CAN modules; run tests/whole/kernel/fetch.sh $1 (Debian: linux-image-amd64)" >&2
exit 1
