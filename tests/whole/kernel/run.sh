#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# run.sh KERNEL-FOLDER WORK-FOLDER PROGRAMS [ARGUMENT...]: starts a Debian kernel in qemu (software
# emulation) with a file system of busybox, the CAN modules and PROGRAMS (paths with ',' between
# them), sets up vcan0, runs guest.sh there with the arguments, and ends as it ended. Whatever else
# happens is a failure.
set -eu
here=$(CDPATH='' cd -- "$(dirname -- "$0")" && pwd)
found=$(sh "$here/find.sh" "$1")
eval "$found" # root, release
work=$2
programs=$3
shift 3
for tool in qemu-system-x86_64 busybox timeout; do
    command -v $tool >/dev/null 2>&1 || {
        echo "$tool is not there (Debian: qemu-system-x86, busybox-static)" >&2
        exit 1
    }
done

rm -rf "$work"
mkdir -p "$work/files/bin" "$work/files/modules" "$work/files/proc" "$work/files/sys" \
    "$work/files/dev" "$work/files/tmp"
files=$work/files

add_program() { # PATH: with the libraries that it is linked with
    cp -L "$1" "$files/bin/"
    strip "$files/bin/${1##*/}" 2>/dev/null || true # only to be small
    ldd "$1" 2>/dev/null | grep -o '/[^ ]*' | while read -r library; do
        mkdir -p "$files${library%/*}"
        cp -L "$library" "$files$library"
    done
}
add_program "$(command -v busybox)"
for program in $(echo "$programs" | tr ',' ' '); do
    add_program "$program"
done
cp "$here/guest.sh" "$files/guest.sh"
arguments=
for argument in "$@"; do
    arguments="$arguments '$argument'"
done

number=10
for module in drivers/net/can/dev/can-dev net/can/can net/can/can-raw net/can/can-isotp \
    drivers/net/can/vcan drivers/net/can/slcan/slcan; do
    file=$(ls "$root/lib/modules/$release/kernel/$module".ko*)
    target=$files/modules/$number-${module##*/}.ko # in the order in which they are loaded
    case $file in
    *.xz) xz -dc "$file" >"$target" ;;
    *.zst) zstd -dcq "$file" >"$target" ;;
    *.gz) gzip -dc "$file" >"$target" ;;
    *) cp "$file" "$target" ;;
    esac
    number=$((number + 1))
done

cat >"$files/init" <<END
#!/bin/busybox sh
/bin/busybox --install -s /bin
mount -t proc none /proc
mount -t sysfs none /sys
mount -t devtmpfs none /dev
mkdir -p /dev/pts
mount -t devpts none /dev/pts
for module in /modules/*; do
    insmod \$module || echo "cannot load \$module"
done
ip link add dev vcan0 type vcan
ip link set vcan0 mtu 72
ip link set vcan0 up
ip link set lo up
sh /guest.sh $arguments
echo "program ended: \$?"
poweroff -f
END
chmod +x "$files/init"
(cd "$files" && find . | busybox cpio -o -H newc 2>/dev/null | gzip -1) >"$work/initramfs"

log=$work/console.log
timeout 380 qemu-system-x86_64 -machine pc -accel tcg -smp 1 -m 512 -nodefaults -display none \
    -no-reboot -serial stdio -kernel "$root/boot/vmlinuz-$release" -initrd "$work/initramfs" \
    -append 'console=ttyS0 quiet loglevel=3 mitigations=off panic=-1 no_timer_check' </dev/null | tr -d '\r' \
    >"$log" || true
cat "$log"
ended=$(sed -n 's/^program ended: //p' "$log")
if [ "$ended" != 0 ]; then
    echo "FAILED: the program ended with '$ended'"
    exit 1
fi
