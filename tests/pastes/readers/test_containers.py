"""Listings from inside of containers: what they show is not the machine's /dev (prompts and options from memory)."""

from __future__ import annotations

import pytest

from .said import said, typed, values

ROW = "crw-rw---- 1 root dialout 188, 0 Nov 25 12:00 /dev/ttyUSB0\n"
NONE = "ls: /dev/serial/by-id: No such file or directory\n"


@pytest.mark.parametrize(
    "command",
    [
        "podman exec meter ls -l /dev/ttyUSB0",
        "docker run --rm -it --device /dev/ttyUSB0 meter ls -l /dev/ttyUSB0",
        "lxc exec logger -- ls -l /dev/ttyUSB0",
        "lxc-attach -n logger -- ls -l /dev/ttyUSB0",
        "flatpak run --command=ls org.example.Atelier -l /dev/ttyUSB0",
    ],
)
def test_rights_inside_are_not_those_outside(command: str) -> None:
    """The node that a container was given is another one."""
    assert said("listing", typed(command, ROW)) == []
    assert len(values("listing", typed("ls -l /dev/ttyUSB0", ROW), "tty")) == 1


@pytest.mark.parametrize("prompt", ["/ # ", "root@3f2b9c1e07aa:/app# ", "[📦 org.example.Atelier ~]$ "])
def test_what_a_container_lacks_its_machine_may_have(prompt: str) -> None:
    """Names by ID are not passed on with a node."""
    text = f"{prompt}ls /dev/serial/by-id\n{NONE}"
    assert values("listing", text, "whole") == []
    assert values("command_errors", text, "command-error") == []
    outside = typed("ls /dev/serial/by-id", NONE)
    assert values("listing", outside, "whole") == ["links"]
    assert [one["kind"] for one in values("command_errors", outside, "command-error")] == ["nothing-there"]


@pytest.mark.parametrize("owner", ["nobody nogroup", "nobody nobody", "65534 65534"])
def test_an_owner_that_the_container_has_no_number_for(owner: str) -> None:
    """user_namespaces(7): what is not mapped shows as the overflow ID; whose the node is does not show."""
    (found,) = values("listing", typed("ls -l /dev/ttyUSB0", ROW.replace("root dialout", owner)), "tty")
    node = found["node"]
    assert (node.path, node.major, node.minor) == ("/dev/ttyUSB0", 188, 0)
    assert not any(isinstance(one, (str, int)) for one in (node.owner, node.group, node.uid, node.gid, node.mode))
