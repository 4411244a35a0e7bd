# Helpers for devices that come from outside the gadget stack.  Sourced by lib.sh.

# ---- the outer machine ----------------------------------------------------------------------

# outer LINE: a line for the monitor of the QEMU that this machine runs in.
outer() {
    python3 "$BENCH/monitor.py" "$*" || return 1
    # Remember what to take out again when the scenario is over.
    local id; id=$(sed -n 's/.*id=\([A-Za-z0-9]*\).*/\1/p' <<<"$*" | tail -1)
    case $1 in device_add*) echo "$id" >>/run/bench-outer ;; esac
}
# disk NAME BUS [PORT]: a disk that runs at SuperSpeed.
disk() {
    outer "drive_add 0 if=none,id=drive$1,file=null-co://,format=raw"
    outer "device_add usb-storage,drive=drive$1,bus=$2${3:+,port=$3},id=$1"
    wait_for 20 sh -c "grep -l 46f4 /sys/bus/usb/devices/*/idVendor"; settle
}
# stick NAME [bus=near.0] [port=]: a serial adapter with an ftdi_sio chip, serial number = NAME.
stick() {
    local name=$1 bus=near.0 port= word; shift
    for word in "$@"; do local "${word%%=*}=${word#*=}"; done
    outer "chardev-add null,id=c$name"
    outer "device_add usb-serial,chardev=c$name,always-plugged=on,serial=$name,bus=$bus${port:+,port=$port},id=u$name"
    wait_for 20 sysfs_of "$name"; settle
}
unstick() { outer "device_del u$1"; outer "chardev-remove c$1"; wait_for 20 sh -c "! grep -qx '$1' /sys/bus/usb/devices/*/serial"; settle; }

# ---- adapters that misbehave -----------------------------------------------------------------

# vusb NAME [key=value…]: a device made by vusb.py; `tell NAME EVENT` lets something happen.
vusb() {
    local name=$1; shift
    modprobe vhci-hcd && wait_for 10 test -e /sys/devices/platform/vhci_hcd.0/attach
    in_background "vusb-$name" python3 "$BENCH/vusb.py" "$name" "$@"
    echo vhci >"/run/bench-$name.udc"
    wait_for 10 test -p "/run/bench-$name.ctl"
    sleep 3; settle
}
tell() {
    local name=$1; shift
    # Opening a FIFO that nobody reads would wait for ever.
    timeout 10 sh -c 'echo "$1" >"$2"' - "$*" "/run/bench-$name.ctl" && sleep 2 && settle
}
vusb_gone() { systemctl stop "bench-vusb-$1"; rm -f "/run/bench-$1.udc" "/run/bench-$1.ctl"; settle; }
