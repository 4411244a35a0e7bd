"""Programs that tell that the machine is a VM."""

from __future__ import annotations

import pytest

from tests.pastes.readers.said import typed, values


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        (typed("systemd-detect-virt", "kvm"), "kvm"),  # systemd 252
        ("Hypervisor vendor:                  KVM\n", "kvm"),  # lscpu of util-linux 2.38
        ("  Virtualization: qemu\n", "qemu"),  # hostnamectl of systemd 252
        ("[    0.000000] Hypervisor detected: KVM\n", "kvm"),  # Linux 6.1
        ("[    0.000000] DMI: QEMU Standard PC (i440FX + PIIX, 1996), BIOS 1.16.2 04/01/2014\n", "qemu"),  # Linux 6.1
    ],
)
def test_a_vm_is_told(text: str, kind: str) -> None:
    """Each of them names the hypervisor."""
    assert values("virtual", text, "host") == [{"virtualisation": kind}]


@pytest.mark.parametrize(
    "text", [typed("systemd-detect-virt", "none"), "kvm\n", "Virtualization:   VT-x\n", "kvm 4711 0\n"]
)
def test_a_word_is_no_proof(text: str) -> None:
    """A machine of its own, a module's name and the processor's abilities tell of no VM."""
    assert values("virtual", text, "host") == []
