#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# fetch.sh FOLDER: sees to it that there is a Debian kernel for the test `kernel`. Where none is
# installed whose files can be read, takes the few files that are needed out of the newest kernel
# package into FOLDER: nothing is installed and no boot image built, and it works for every user.
set -eu
here=$(CDPATH='' cd -- "$(dirname -- "$0")" && pwd)
[ "$(uname -m)" = x86_64 ] || exit 0 # the test is for this machine only
if sh "$here/find.sh" "$1" >/dev/null 2>&1; then
    exit 0
fi
mkdir -p "$1"
folder=$(CDPATH='' cd -- "$1" && pwd)
newest() {
    apt-cache depends linux-image-amd64 2>/dev/null |
        sed -n 's/.*Depends: *\(linux-image-[0-9][^ ]*\).*/\1/p' | head -n 1
}
take() { # apt's own user may not write here, which gives a warning and no more
    (cd "$folder/download" && apt-get download -q "$package" >&2 </dev/null)
}
renew() {
    root=
    [ "$(id -u)" -eq 0 ] || root=sudo
    $root apt-get update -q >&2 </dev/null
}
package=$(newest)
[ -n "$package" ] || {
    renew
    package=$(newest)
}
[ -n "$package" ] || {
    echo "apt knows no linux-image-amd64" >&2
    exit 1
}
echo "Taking the kernel out of $package" >&2
rm -rf "$folder/download"
mkdir "$folder/download"
take || {
    renew
    package=$(newest)
    take
}
(
    cd "$folder/download"
    dpkg-deb --fsys-tarfile ./*.deb | tar -x -f - --wildcards './boot/vmlinuz-*' \
        './lib/modules/*/kernel/net/can/*' './lib/modules/*/kernel/drivers/net/can/*'
)
rm -rf "$folder/boot" "$folder/lib"
mv "$folder/download/boot" "$folder/download/lib" "$folder"
rm -rf "$folder/download"
sh "$here/find.sh" "$folder" >/dev/null
