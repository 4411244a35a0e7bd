"""An outcome of the next restart, which is left open for want of evidence."""

from __future__ import annotations

from msgspec import Struct

from radiocheck.evidence.absent import known

from .context import Context
from .item import Item
from .verdict import Outcome


class Expected(Struct, frozen=True):
    """What a restart does to one line.  Without an outcome, `lacks` names the evidence that would tell."""

    outcome: Outcome | None
    why: str = ""
    lacks: tuple[str, ...] = ()

    @property
    def hopeful(self) -> bool:
        """The VM may get the adapter: what else stands in the way can still change that."""
        return self.outcome in ("comes-back", "only-if-alone", "by-chance")


Pair = tuple[Expected, Expected]  # when the VM is stopped and started, when the host restarts


def unseen(*lacks: str, why: str = "") -> Expected:
    """No outcome, for want of that evidence."""
    return Expected(None, why, lacks)


def same(outcome: Outcome, why: str) -> Pair:
    """Both restarts end alike."""
    both = Expected(outcome, why)
    return both, both


def is_given(context: Context, item: Item) -> bool:
    """Whether a person gave this line as a file, which need not say who starts the VM or what else it has."""
    given = context.evidence.given_vms
    return known(given) and any(item.text.endswith(f" (in {one.origin})") for one in given)


def selection(item: Item) -> str:
    """What a line goes by, in words."""
    ids = f"{item.vid or 'any vendor'}:{item.pid or 'any product'}"
    if item.selector == "ids":
        return ids
    if item.selector == "port-any-bus":
        return f"port {item.path}"
    if item.selector == "port":
        return f"port {item.path} of bus {item.bus}"
    number = f"bus {item.bus} device {item.address}"
    return f"{ids} as {number}" if item.selector == "ids-address" else number
