# Helpers for the shell lines of a scenario.  Sourced by bash inside the bench machine.
# Every helper fails loudly: a set-up that did not happen must not look like one that did.

GADGETS=/sys/kernel/config/usb_gadget
BENCH=${BENCH:-/bench/guest}

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

# sysfs_of NAME: the USB device directory of an adapter (made here or by `stick`).
sysfs_of() {
    local udc d; udc=$(cat "/run/bench-$1.udc" 2>/dev/null) || udc=
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

# ---- virtual machines --------------------------------------------------------------------

# vm_define NAME [ids=V:P | address=BUS.DEV | pci=BDF | serial=PATH | chardev…]… [optional] [usb=MODEL]
# A libvirt machine without disk or operating system.
vm_define() {
    local name=$1; shift
    python3 "$BENCH/domain.py" "$name" "$@" >"/run/bench-$name.xml" &&
        virsh -q define "/run/bench-$name.xml"
}
vm_start() { virsh -q start "$1"; }
vm_pid() { cat "/run/libvirt/qemu/$1.pid" 2>/dev/null || cat "/run/bench-vm-$1.pid"; }

# qemu_start NAME [user=U] ARGS…: a QEMU process without libvirt.
qemu_start() {
    local name=$1; shift
    local as=()
    case ${1:-} in user=*) as=(--uid="${1#user=}"); shift ;; esac
    systemd-run -q --unit="bench-vm-$name" --collect "${as[@]}" \
        qemu-system-x86_64 -name "$name" -machine pc,accel=tcg -m 64 -nodefaults \
        -display none -device qemu-xhci,id=xhci \
        -qmp "unix:/run/bench-vm-$name/qmp,server=on,wait=off" \
        "$@" 2>&1
    wait_for 10 sh -c "systemctl show -p MainPID --value bench-vm-$name | grep -vx 0 >/run/bench-vm-$name.pid"
    # QEMU looks for host devices once at start and then every two seconds.
    sleep 3
}

# holds PID NODE: does the process have this node open?
holds() { ls -l "/proc/$1/fd" 2>/dev/null | grep -q -- "-> $2\$"; }

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

# ---- the outer machine ----------------------------------------------------------------------

# outer LINE: a line for the monitor of the QEMU that this machine runs in.
outer() { python3 "$BENCH/monitor.py" "$*"; }
# stick NAME [bus=near.0] [port=]: a serial adapter with an ftdi_sio chip, serial number = NAME.
stick() {
    local name=$1 bus=near.0 port= word; shift
    for word in "$@"; do local "${word%%=*}=${word#*=}"; done
    outer "chardev-add null,id=c$name"
    outer "device_add usb-serial,chardev=c$name,always-plugged=on,serial=$name,id=u$name,bus=$bus${port:+,port=$port}"
    wait_for 20 sysfs_of "$name"; settle
}
unstick() { outer "device_del u$1"; outer "chardev-remove c$1"; wait_for 20 sh -c "! grep -qx '$1' /sys/bus/usb/devices/*/serial"; settle; }
