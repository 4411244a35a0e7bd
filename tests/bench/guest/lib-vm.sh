# Helpers for virtual machines, with libvirt and without.  Sourced by lib.sh.

# ---- virtual machines --------------------------------------------------------------------

# vm_define NAME [WORD…]: see domain.py for the words.
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
        -qmp "unix:/tmp/bench-vm-$name.qmp,server=on,wait=off" \
        "$@"
    wait_for 10 sh -c "systemctl show -p MainPID --value bench-vm-$name | grep -vx 0 >/run/bench-vm-$name.pid"
    # QEMU looks for host devices once at start and then every two seconds.
    sleep 3
    # The scenario says itself with `! qemu_start` when QEMU is to give up.
    kill -0 "$(cat "/run/bench-vm-$name.pid")"
}
qemu_stop() { systemctl stop "bench-vm-$1"; }

# holds PID NODE: does the process have this node open?
holds() { ls -l "/proc/$1/fd" 2>/dev/null | grep -q -- "-> $2\$"; }
