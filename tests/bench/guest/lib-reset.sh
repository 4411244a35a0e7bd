# Between two scenarios the machine must be as if the first had never been.  Sourced by lib.sh.

reset_machine() {
    local vm
    # Programs that scenarios started, then services that they turned on.
    systemctl kill -s KILL 'bench-*' 2>/dev/null
    systemctl stop 'bench-*' 'serial-getty@tty[AU]*' 'gpsdctl@*' \
        ModemManager gpsd gpsd.socket usbguard brltty 2>/dev/null
    # Without a domain there is no need to wake libvirt.
    if compgen -G '/etc/libvirt/qemu/*.xml' >/dev/null || compgen -G '/run/libvirt/qemu/*.xml' >/dev/null; then
        for vm in $(virsh list --name); do virsh -q destroy "$vm"; done
        for vm in $(virsh list --all --name); do virsh -q undefine "$vm"; done
    fi
    # What libvirt would not load, it does not list either.
    rm -f /etc/libvirt/qemu/*.xml /var/log/libvirt/qemu/*.log /etc/libvirt/qemu/autostart/*
    _reset_devices
    _reset_configuration
    rm -rf /run/bench-* /tmp/bench-*
    systemctl reset-failed 2>/dev/null
    # What happened in an earlier scenario is not the history of the next one.
    settle
    [ -s /run/banner ] || dmesg -t | grep -m1 '^Linux version' >/run/banner
    dmesg -C
    journalctl -q --rotate; journalctl -q --vacuum-time=1s
    # The kernel's first line again: for the scenario, the log begins with the boot.
    cat /run/banner >/dev/kmsg
    return 0
}

_reset_devices() {
    local id gadget dev
    for id in $(tac /run/bench-outer 2>/dev/null); do
        python3 "$BENCH/monitor.py" "device_del $id"; sleep 0.5
        python3 "$BENCH/monitor.py" "chardev-remove c${id#u}" >/dev/null 2>&1
    done
    for gadget in "$GADGETS"/*/; do
        [ -d "$gadget" ] || continue
        echo "" >"$gadget/UDC" 2>/dev/null
        rm -f "$gadget"/configs/c.1/*.*
        rmdir "$gadget"/configs/c.1/strings/0x409 "$gadget"/configs/c.1 \
              "$gadget"/functions/* "$gadget"/strings/0x409 "$gadget"
    done
    # Controllers that were given away or died come back to their own driver.
    for dev in /sys/bus/pci/devices/*; do
        case $(<"$dev/class") in 0x0c03*) ;; *) continue ;; esac
        echo "" >"$dev/driver_override" 2>/dev/null
        [ "$dev/driver" -ef /sys/bus/pci/drivers/xhci_hcd ] && [ ! -e /run/bench-rebind ] && continue
        echo "${dev##*/}" >"$dev/driver/unbind" 2>/dev/null
        setpci -s "${dev##*/}" COMMAND=6:6
        echo "${dev##*/}" >/sys/bus/pci/drivers/xhci_hcd/bind
    done
    # New virtual controllers: their counters, switches and bus numbers start afresh.
    modprobe -r usbip-host vhci-hcd dummy_hcd 2>/dev/null
    modprobe dummy_hcd num=2 is_super_speed=1 && modprobe libcomposite
}

_reset_configuration() {
    if compgen -G '/etc/modprobe.d/bench-*' >/dev/null || compgen -G '/etc/udev/rules.d/*bench*' >/dev/null \
       || compgen -G '/etc/udev/rules.d/*mesh-adapter*' >/dev/null \
       || [ -e /run/bench-hidden ] || [ -e /etc/udev/rules.d/60-serial.rules ]; then
        rm -f /etc/modprobe.d/bench-* /etc/udev/rules.d/*bench* /etc/udev/rules.d/60-serial.rules
        rm -f /etc/udev/rules.d/*mesh-adapter*
        if [ -e /run/bench-hidden ]; then
            while read -r module; do mv "$module.hidden" "$module"; done </run/bench-hidden
            depmod
        fi
        udevadm control --reload
    fi
    # The GPS daemon's own rule claims a whole family of bridge chips; only one scenario wants that.
    ln -sf /dev/null /etc/udev/rules.d/60-gpsd.rules
    for dev in /sys/bus/usb/devices/usb*; do
        echo 1 >"$dev/authorized_default"; echo 1 >"$dev/interface_authorized_default"
    done 2>/dev/null
    ! getent group mesh-radio >/dev/null || groupdel mesh-radio
    grep -q '^dialout:.*owl' /etc/group && gpasswd -d owl dialout >/dev/null
    [ -e /sys/module/cdc_acm ] || modprobe cdc_acm
    rm -f /run/lock/LCK..tty[AU]*
}
