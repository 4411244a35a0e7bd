#!/bin/sh
# Runs once while the image is built; $1 is the new root directory, $2 this folder.
set -eu
root=$1 here=$2

echo hearthbox > "$root/etc/hostname"
printf '127.0.0.1 localhost hearthbox\n' > "$root/etc/hosts"
: > "$root/etc/fstab"
install -m 644 "$here/bench.service" "$root/etc/systemd/system/bench.service"

# mira runs the programs of the house; tove is another person on the same host;
# owl is the service user who has no business with serial ports.
chroot "$root" useradd --create-home --groups dialout mira
chroot "$root" useradd --create-home tove
chroot "$root" useradd --system owl
chroot "$root" passwd -q -d root

chroot "$root" systemctl -q enable bench.service
# A console login to look around in when the machine is booted by hand.
chroot "$root" systemctl -q enable serial-getty@ttyS0.service

# Everything that could take an adapter is off until a scenario turns it on, so
# that a fault has one cause.  Timers would only cost emulated seconds.
for unit in ModemManager gpsd gpsd.socket brltty usbguard usbguard-dbus \
            libvirt-guests virtlockd.socket virtlockd-admin.socket \
            apt-daily.timer apt-daily-upgrade.timer e2scrub_all.timer \
            e2scrub_reap dpkg-db-backup.timer fstrim.timer; do
    chroot "$root" systemctl -q disable "$unit" 2>/dev/null || true
done

# The package's default network needs dnsmasq and iptables, which no scenario uses.
rm -f "$root/etc/libvirt/qemu/networks/autostart/default.xml"

# The journal stays in memory, and nothing of it is dropped during a storm of messages.
mkdir -p "$root/etc/systemd/journald.conf.d"
printf '[Journal]\nStorage=volatile\nRateLimitIntervalSec=0\n' \
    > "$root/etc/systemd/journald.conf.d/bench.conf"
rm -rf "$root/var/lib/apt/lists"/* "$root/var/cache/apt"/* "$root/usr/share/doc" \
       "$root/usr/share/locale" "$root/usr/share/man"
