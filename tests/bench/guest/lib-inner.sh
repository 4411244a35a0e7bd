# Helpers for a VM with a real guest in it, which was booted and saved outside.  Sourced by lib.sh.

INNER=/run/bench-inner

# libvirt's QEMU makes its sockets under its own account.
_inner_folder() { mkdir -p $INNER && chown libvirt-qemu $INNER; }

# guest_start NAME ARGS…: a QEMU process without libvirt that goes on with the saved guest.
# ARGS give it its adapter, on the controller xhci.0.
guest_start() {
    local name=$1 words; shift
    mapfile -t words <"$BENCH/../inner.args"
    _inner_folder
    systemd-run -q --unit="bench-vm-$name" --collect --working-directory=$INNER \
        qemu-system-x86_64 -name "$name" "${words[@]}" \
        -qmp unix:qmp,server=on,wait=off -incoming unix:state -device qemu-xhci,id=xhci,addr=0x04 "$@"
    systemctl show -p MainPID --value "bench-vm-$name" >"/run/bench-vm-$name.pid"
    python3 "$BENCH/inner.py" wake && kill -0 "$(cat "/run/bench-vm-$name.pid")"
}
# guest_virsh NAME: start a libvirt VM that vm_define has defined with the word `guest`.
guest_virsh() {
    _inner_folder
    # libvirt waits neither for the state nor for the guest.
    virsh -q start "$1" && python3 "$BENCH/inner.py" wake
}
# guest_scan: the guest finds its USB controller and what hangs on it, as at its boot.
guest_scan() { python3 "$BENCH/inner.py" scan; }
# in_guest LINE: run a line of the guest's shell, as root.
in_guest() { python3 "$BENCH/inner.py" shell "$*"; }
