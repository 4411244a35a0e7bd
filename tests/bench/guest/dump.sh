#!/bin/bash
# dump.sh DIR: write down what this machine shows of its USB devices, without radiocheck.
# It is the independent record that is kept beside every verdict that came out wrong.
out=$1; mkdir -p "$out"; cd "$out" || exit 1
udevadm info --export-db >udev-db.txt 2>&1
journalctl -k -o json --no-pager >journal-kernel.json 2>&1
journalctl -o json --no-pager >journal.json 2>&1
dmesg >dmesg.txt 2>&1
lsusb -t >lsusb-t.txt 2>&1
lsusb -v >lsusb-v.txt 2>&1
lspci -nnk >lspci.txt 2>&1
ls -lR /dev/serial /run/udev/links >links.txt 2>&1
# One file for all attributes: PATH, then its text, as sysfs shows it.
python3 - >sysfs.txt 2>/dev/null <<'PY'
import os, glob
roots = [os.path.realpath(p) for p in glob.glob("/sys/bus/usb/devices/*") + glob.glob("/sys/class/tty/tty[AU]*")]
seen = set()
for root in sorted(roots):
    for folder, folders, files in os.walk(root):
        for name in sorted(files + [f for f in folders if os.path.islink(os.path.join(folder, f))]):
            path = os.path.join(folder, name)
            if path in seen:
                continue
            seen.add(path)
            if os.path.islink(path):
                print(f"{path} -> {os.readlink(path)}")
            elif name not in ("uevent", "descriptors", "bos_descriptors"):
                try:
                    with open(path, "rb") as f:
                        print(f"{path} = {f.read(4096).decode('utf-8', 'replace').rstrip()}")
                except OSError as error:
                    print(f"{path} ! {error.strerror}")
PY
tar cf sysfs.tar --ignore-failed-read -h /sys/bus/usb/devices/*/{idVendor,idProduct,serial,product,manufacturer,busnum,devnum,devpath,speed,bMaxPower,bConfigurationValue,authorized,uevent,descriptors} 2>/dev/null
for n in /dev/tty[AU]* /dev/bus/usb/*/*; do
    [ -e "$n" ] && { stat -c '%n %A %U:%G %t:%T' "$n"; getfacl -p "$n" 2>/dev/null; }
done >nodes.txt
virsh list --all >virsh-list.txt 2>&1
for vm in $(virsh list --all --name 2>/dev/null); do
    virsh dumpxml "$vm" >"virsh-$vm-live.xml" 2>&1
    virsh dumpxml --inactive "$vm" >"virsh-$vm-inactive.xml" 2>&1
done
mkdir -p etc-libvirt run-libvirt log-libvirt
cp /etc/libvirt/qemu/*.xml etc-libvirt/ 2>/dev/null
cp /run/libvirt/qemu/*.xml run-libvirt/ 2>/dev/null
cp /var/log/libvirt/qemu/*.log log-libvirt/ 2>/dev/null
for pid in $(pgrep -f qemu-system); do
    [ "$(readlink "/proc/$pid/exe")" = /usr/bin/qemu-system-x86_64 ] || continue
    mkdir -p "qemu-$pid"
    cp "/proc/$pid/cmdline" "qemu-$pid/cmdline"
    tr '\0' '\n' <"/proc/$pid/cmdline" >"qemu-$pid/cmdline.txt"
    ls -l "/proc/$pid/fd" >"qemu-$pid/fd.txt" 2>&1
    cp "/proc/$pid/status" "/proc/$pid/cgroup" "qemu-$pid/"
    ls -lR "/proc/$pid/root/dev/bus/usb" >"qemu-$pid/its-own-dev.txt" 2>&1
done
# Whoever has a serial or USB node open.
python3 - >holders.txt <<'PY'
import glob, os
for fd in sorted(glob.glob("/proc/[0-9]*/fd/*")):
    try:
        target = os.readlink(fd)
    except OSError:
        continue
    if target.startswith(("/dev/ttyU", "/dev/ttyA", "/dev/bus/usb/", "/dev/vfio/")):
        pid = fd.split("/")[2]
        with open(f"/proc/{pid}/comm") as comm:
            print(pid, comm.read().strip(), fd, "->", target)
PY
systemctl list-units --all --no-pager --plain >units.txt 2>&1
exit 0
