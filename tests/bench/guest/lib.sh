# Helpers for the shell lines of a scenario.  Sourced by bash inside the bench machine.
# Every helper fails loudly: a set-up that did not happen must not look like one that did.

GADGETS=/sys/kernel/config/usb_gadget
BENCH=${BENCH:-/bench/guest}
. "$BENCH/lib-vm.sh"
. "$BENCH/lib-inner.sh"
. "$BENCH/lib-outer.sh"
. "$BENCH/lib-reset.sh"

say() { echo "bench: $*" >&2; }

# wait_for SECONDS COMMAND…: until the command succeeds.
wait_for() {
    local limit=$1; shift
    local end=$((SECONDS + limit))
    until "$@" >/dev/null 2>&1; do
        if ((SECONDS >= end)); then say "waited ${limit}s in vain for: $*"; return 1; fi
        sleep 0.2
    done
}

settle() { udevadm settle --timeout=30; }

# ---- adapters made by the gadget stack -------------------------------------------------

# adapter NAME [vid= pid= serial= product= maker= udc= func= speed= power=]
# Makes an adapter and plugs it into the virtual controller number udc.  An empty serial
# means none.  func is acm (cdc_acm takes it), acm2 (two of them), gser (no driver knows
# it), or disk (a mass storage device).
adapter() {
    local name=$1; shift
    local vid=1209 pid=7a01 serial=A1B2C3D4 product='Mesh stick' maker=Lindenhof
    local udc=0 func=acm speed=high-speed power=100 word
    for word in "$@"; do local "${word%%=*}=${word#*=}"; done
    local g=$GADGETS/$name
    mkdir "$g" && mkdir -p "$g/strings/0x409" "$g/configs/c.1/strings/0x409" || return 1
    echo "0x$vid" >"$g/idVendor"; echo "0x$pid" >"$g/idProduct"; echo 0x0103 >"$g/bcdDevice"
    echo "$speed" >"$g/max_speed"
    # CDC with one function names its class at the device, as real adapters do.
    if [ "$func" = acm ]; then echo 0x02 >"$g/bDeviceClass"; fi
    if [ "$func" = acm2 ]; then
        echo 0xef >"$g/bDeviceClass"; echo 2 >"$g/bDeviceSubClass"; echo 1 >"$g/bDeviceProtocol"
    fi
    [ -n "$maker" ] && echo "$maker" >"$g/strings/0x409/manufacturer"
    [ -n "$product" ] && echo "$product" >"$g/strings/0x409/product"
    [ -n "$serial" ] && echo "$serial" >"$g/strings/0x409/serialnumber"
    echo "$power" >"$g/configs/c.1/MaxPower"
    case $func in
        acm) _function "$g" acm.$name ;;
        acm2) _function "$g" acm.$name; _function "$g" acm.${name}b ;;
        gser) _function "$g" gser.$name ;;
        disk)
            truncate -s 8M "/run/bench-$name.img"
            _function "$g" mass_storage.$name
            echo "/run/bench-$name.img" >"$g/functions/mass_storage.$name/lun.0/file" ;;
        *) say "unknown function $func"; return 1 ;;
    esac
    echo "$udc" >"/run/bench-$name.udc"
    replug "$name"
}

_function() { mkdir "$1/functions/$2" && ln -s "$1/functions/$2" "$1/configs/c.1/"; }

# unplug NAME, replug NAME [UDC]: pull it out, put it (back) in.
unplug() {
    local dev; dev=$(sysfs_of "$1")
    echo "" >"$GADGETS/$1/UDC"
    wait_for 10 test ! -e "$dev"; settle
}
replug() {
    local udc; udc=${2:-$(cat "/run/bench-$1.udc")}
    echo "$udc" >"/run/bench-$1.udc"
    [ -n "$(cat "$GADGETS/$1/UDC")" ] && unplug "$1"
    echo "dummy_udc.$udc" >"$GADGETS/$1/UDC"
    wait_for 15 sysfs_of "$1"; settle
}

# ---- where things are -------------------------------------------------------------------

# sysfs_of NAME: the USB device directory of an adapter (by `adapter`, `vusb` or `stick`).
sysfs_of() {
    local udc d; udc=$(cat "/run/bench-$1.udc" 2>/dev/null) || udc=
    if [ "$udc" = vhci ]; then
        # Behind a hub it is on the first port; a hub is not the adapter.
        for d in /sys/devices/platform/vhci_hcd.0/usb*/*-1/*-1.1 /sys/devices/platform/vhci_hcd.0/usb*/*-1; do
            [ -e "$d/idVendor" ] && echo "$d" && return 0
        done
        return 1
    fi
    if [ -n "$udc" ]; then
        for d in /sys/devices/platform/dummy_hcd."$udc"/usb*/*-1; do
            case $d in *:*) continue ;; esac
            [ -e "$d/idVendor" ] && echo "$d" && return 0
        done
        return 1
    fi
    d=$(grep -lx -- "$1" /sys/bus/usb/devices/*/serial 2>/dev/null | head -1)
    [ -n "$d" ] && readlink -f "${d%/serial}"
}
port_of() { basename "$(sysfs_of "$1")"; }
busnum() { cat "$(sysfs_of "$1")/busnum"; }
devnum() { cat "$(sysfs_of "$1")/devnum"; }
node_of() { printf '/dev/bus/usb/%03d/%03d\n' "$(busnum "$1")" "$(devnum "$1")"; }
tty_of() {
    local d; d=$(sysfs_of "$1") || return 1
    d=$(find "$d" -path '*/tty/tty*' -name 'tty[AU]*' -maxdepth 5 -type d | sort | head -1)
    [ -n "$d" ] && echo "/dev/${d##*/}"
}
driver_of() {
    local l; l=$(readlink "$(sysfs_of "$1")/$(port_of "$1"):1.0/driver") && basename "$l" || echo none
}

# ---- others who want the adapter ------------------------------------------------------------

# in_background NAME [user=U] COMMAND…
in_background() {
    local name=$1; shift
    local as=()
    case ${1:-} in user=*) as=(--uid="${1#user=}"); shift ;; esac
    systemd-run -q --unit="bench-$name" --collect "${as[@]}" "$@"
}
# hold NAME [user=U] PATH: keep a node open, as a forgotten program does.
hold() {
    local name=$1; shift
    local as=()
    case ${1:-} in user=*) as=("$1"); shift ;; esac
    in_background "$name" "${as[@]}" python3 "$BENCH/hold.py" "$1"
    wait_for 10 sh -c "ls -l /proc/[0-9]*/fd 2>/dev/null | grep -q -- '-> $1\$'"
}

# ---- looking without radiocheck ------------------------------------------------------------

# driven NAME DRIVER: is this the driver of the adapter's first interface (or `none`)?
driven() { [ "$(driver_of "$1")" = "$2" ] || { say "driver is $(driver_of "$1")"; return 1; }; }
# vm_has VM NAME: does the machine's QEMU hold the adapter's node of this moment?
vm_has() { holds "$(vm_pid "$1")" "$(node_of "$2")"; }
# logged TEXT [COUNT]: has the kernel said so, that often?
logged() { [ "$(dmesg | grep -c -- "$1")" -ge "${2:-1}" ]; }
# may USER PATH: may that user read and write it?
may() { runuser -u "$1" -- test -r "$2" -a -w "$2"; }
by_id() { find -L /dev/serial/by-id -samefile "$(tty_of "$1")" 2>/dev/null | head -1; }
held_by() { ls -l /proc/[0-9]*/fd 2>/dev/null | grep -c -- "-> $1\$"; }
in_use() { [ "$(held_by "$1")" != 0 ]; }
