#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# Builds <work>/vmlinuz and <work>/initramfs.gz: a stock Debian kernel, the modules that the tests need, busybox, kmod,
# udev with its stock rules, guest/init, and the host's programs that are named, each with its shared libraries.
#
#   make_initramfs.sh <work folder> [<host file or folder>:<path in the guest> ...]
#
# Kernel and udev are downloaded (apt-get download), never installed, and kept unpacked in <work>/unpacked; delete that to
# take a newer kernel. Exit status 3: they could not be downloaded. Needs busybox-static, kmod, cpio.
set -eu
here=$(cd "$(dirname "$0")" && pwd)
[ $# -ge 1 ] || { sed -n '3,10s/^# \{0,1\}//p' "$0" >&2; exit 2; }
work=$1; shift
mkdir -p "$work"; work=$(cd "$work" && pwd)
PATH=$PATH:/usr/sbin:/sbin

# udev loads the drivers by modalias, as on a real machine; uinput, and the second line, are loaded by name.
modules="xhci_pci usbserial ftdi_sio cdc_acm usbhid hid_generic evdev uinput virtio_pci virtio_net
         dummy_hcd libcomposite g_serial usb_f_acm"

# --- 1. kernel and udev, from their packages ---
if [ ! -f "$work/unpacked/complete" ]; then
  rm -rf "$work/debs" "$work/unpacked"; mkdir -p "$work/debs" "$work/unpacked"
  kernel=$(apt-cache depends linux-image-amd64 2>/dev/null | awk '/Depends: linux-image-/ { print $2; exit }')
  [ -n "$kernel" ] || { echo "linux-image-amd64 is unknown here: run apt-get update first" >&2; exit 3; }
  (cd "$work/debs" && apt-get -q download "$kernel" udev >"$work/download.log" 2>&1) || {
    tail -5 "$work/download.log" >&2; exit 3; }
  for deb in "$work"/debs/*.deb; do dpkg-deb -x "$deb" "$work/unpacked"; done
  rm -rf "$work/debs" "$work/vmlinux"                  # vmlinux is what machine.py makes of vmlinuz
  : > "$work/unpacked/complete"
fi
release=$(cd "$work/unpacked/lib/modules" && echo *)
cp "$work/unpacked/boot/vmlinuz-$release" "$work/vmlinuz"
[ -f "$work/unpacked/lib/modules/$release/modules.dep.bin" ] || depmod -b "$work/unpacked" "$release"

# --- 2. the tree ---
root=$work/root
rm -rf "$root"
mkdir -p "$root/bin" "$root/dev" "$root/etc/udev" "$root/proc" "$root/sys" "$root/run" "$root/tmp" "$root/tallystick" \
         "$root/usr/lib" "$root/lib/systemd" "$root/lib/udev" "$root/lib/modules/$release"
ln -s bin "$root/sbin"; ln -s ../bin "$root/usr/bin"; ln -s ../bin "$root/usr/sbin"; ln -s ../run "$root/var"

# Copies a program and whatever ldd says that it loads; refuses one with a library missing. Folders as they are.
copy_program() { # <host path> <guest path>
  mkdir -p "$root$(dirname "$2")"
  if [ -d "$1" ]; then cp -r "$1" "$root$2"; return; fi
  # Without what only a debugger reads: the guest's memory holds it all.
  strip -o "$root$2" "$1" 2>/dev/null || cp -L "$1" "$root$2"
  libraries=$(ldd "$1" 2>/dev/null || true)          # "not a dynamic executable" is a static program or a script
  case $libraries in *"not found"*) echo "$1 lacks a library:" >&2; echo "$libraries" >&2; exit 1;; esac
  for library in $(echo "$libraries" | grep -o '/[^ ]*'); do
    [ -e "$root$library" ] || { mkdir -p "$root$(dirname "$library")"; cp -L "$library" "$root$library"; }
  done
}

copy_program "$(command -v busybox)" /bin/busybox
for applet in $("$root/bin/busybox" --list); do [ -e "$root/bin/$applet" ] || ln -s busybox "$root/bin/$applet"; done
copy_program "$(command -v kmod)" /bin/kmod
for name in modprobe insmod rmmod lsmod depmod; do ln -sf kmod "$root/bin/$name"; done

copy_program "$work/unpacked/bin/udevadm" /bin/udevadm
ln -s ../../bin/udevadm "$root/lib/systemd/systemd-udevd"      # one program; its name decides what it is
cp -r "$work/unpacked/lib/udev/rules.d" "$root/lib/udev/"
: > "$root/etc/udev/udev.conf"
# The groups that the stock rules name, and the daemon's own user, who is in two of them.
echo 'root:x:0:0:root:/:/bin/sh' > "$root/etc/passwd"
echo 'tallystick:x:500:500:daemon:/tmp:/bin/sh' >> "$root/etc/passwd"
id=0; for group in root tty disk lp dialout cdrom tape audio video kmem input render kvm sgx nogroup; do
  case $group in dialout|input) echo "$group:x:$id:tallystick";; *) echo "$group:x:$id:";; esac
  id=$((id + 1))
done > "$root/etc/group"
echo 'tallystick:x:500:' >> "$root/etc/group"

cp "$work/unpacked/lib/modules/$release/modules.builtin" "$work/unpacked/lib/modules/$release/modules.order" \
   "$work/unpacked/lib/modules/$release/modules.builtin.modinfo" "$root/lib/modules/$release/"
for module in $modules; do
  modprobe -d "$work/unpacked" -S "$release" --show-depends "$module" | awk '$1 == "insmod" { print $2 }'
done | sort -u | while read -r path; do
  target="$root${path#"$work/unpacked"}"; mkdir -p "$(dirname "$target")"; cp "$path" "$target"
done
depmod -b "$root" "$release"

cp "$here/guest/init" "$root/init"; chmod 755 "$root/init"
for program in "$@"; do copy_program "${program%%:*}" "${program#*:}"; done

# --- 3. pack ---
(cd "$root" && find . | LC_ALL=C sort | cpio --quiet -o -H newc -R 0:0) | gzip -1 > "$work/initramfs.gz"
rm -rf "$root"
echo "kernel $release, initramfs $(($(stat -c %s "$work/initramfs.gz") / 1024)) KiB"
