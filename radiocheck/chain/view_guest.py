"""The part of the view that is about the VM's own side; see `view.py`.

On a host these facts come from a capture that was taken in the VM, and are absent
without one.  They tell of the moment of that capture: a rule that sets them against the
host's asks whether the two are `together`.
"""

from __future__ import annotations

from typing import Annotated

from msgspec import UNSET, Struct, UnsetType

from .needs import GUEST, GUEST_HOST, GUEST_LOG, GUEST_USB


class GuestFacts(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What the VM itself shows of this adapter."""

    given: Annotated[bool | UnsetType, GUEST] = UNSET  # a capture of a VM is at hand; false: this machine is the VM
    vm: Annotated[str | UnsetType, GUEST] = UNSET  # which VM was captured, for a sentence
    same_vm: Annotated[bool | UnsetType, GUEST_HOST] = UNSET  # it is one that this adapter is for, by its UUID
    served: Annotated[bool | UnsetType, GUEST_HOST] = UNSET  # this host has an adapter for the VM that was captured
    apart_min: Annotated[int | UnsetType, GUEST] = UNSET  # minutes between the captures
    apart: Annotated[str | UnsetType, GUEST] = UNSET  # the same in words: "5 hours"
    same_run: Annotated[bool | UnsetType, GUEST_HOST] = UNSET  # the VM was not started anew between them
    together: Annotated[bool | UnsetType, GUEST_HOST] = UNSET  # …and at most an hour lies between the captures
    controllers: Annotated[int | UnsetType, GUEST_USB] = UNSET  # USB buses that the VM has
    matches: Annotated[int | UnsetType, GUEST_USB] = UNSET  # devices in the VM that this adapter could be
    present: Annotated[bool | UnsetType, GUEST_USB] = UNSET  # the VM lists it; absent: it may be another one alike
    held: Annotated[bool | UnsetType, GUEST_HOST] = UNSET  # the captured VM's process holds it now
    configured: Annotated[bool | UnsetType, GUEST_USB] = UNSET
    refused: Annotated[bool | UnsetType, GUEST_LOG] = UNSET  # the VM's kernel could not configure it: error -32
    state: Annotated[str | UnsetType, GUEST] = UNSET  # of the VM's own side: sound, weak, broken, unseen
    tty: Annotated[str | UnsetType | None, GUEST] = UNSET  # in the VM
    by_id: Annotated[str | UnsetType | None, GUEST] = UNSET  # in the VM
    unseen: str | UnsetType = UNSET  # why there is nothing to judge
