"""`id`, `groups` and `getent group`: coreutils 9.1 run here, in twenty languages."""

from __future__ import annotations

import grp
import os
import pwd
import subprocess
from pathlib import Path
from typing import Any

import pytest

from tests.pastes.languages import LOCALES

from .said import typed, values

ID = "uid=1000(mira) gid=1000(mira) groups=1000(mira),20(dialout),27(sudo)"
MIRA = {
    "uid": 1000,
    "name": "mira",
    "groups": [20, 27, 1000],
    "group_names": ["mira", "dialout", "sudo"],
    "group_ids": {"mira": 1000, "dialout": 20, "sudo": 27},
}


def users(text: str) -> list[dict[str, Any]]:
    """Accounts."""
    return values("accounts", text, "user")


def test_the_program_prints_whose_it_is() -> None:
    """`id` of this process, as the system knows it."""
    (found,) = users(subprocess.run(["id"], capture_output=True, text=True, check=True).stdout)
    assert (found["uid"], found["name"]) == (os.getuid(), pwd.getpwuid(os.getuid()).pw_name)
    assert found["groups"] == sorted({os.getgid(), *os.getgroups()})
    assert found["group_ids"][grp.getgrgid(os.getgid()).gr_name] == os.getgid()


@pytest.mark.parametrize("name", LOCALES)
def test_any_language(locales: Path, name: str) -> None:
    """The word for groups is translated, in Dutch the others, too."""
    env = {"LC_ALL": f"{name}.UTF-8", "LOCPATH": str(locales)}
    ran = subprocess.run(["id", "daemon"], env=env, capture_output=True, text=True, check=True)
    (found,) = users(ran.stdout)
    assert found["name"] == "daemon"
    assert found["groups"] == sorted({pwd.getpwnam("daemon").pw_gid})


@pytest.mark.parametrize(
    "text", [ID, f"  {ID}  ", f"mira@gable:~$ id\n{ID}", f"{ID} context=unconfined_u:r:t:s0-s0:c0.c1023", f"12: {ID}"]
)
def test_an_account_in_any_frame(text: str) -> None:
    """With a prompt, indented, with a security context, numbered."""
    assert users(text) == [MIRA]


@pytest.mark.parametrize("cut", [60, 64, 66])
def test_a_line_that_a_terminal_broke(cut: int) -> None:
    """The rest stands in the next line."""
    assert users(f"{ID[:cut]}\n{ID[cut:]}\n") == [MIRA]


@pytest.mark.parametrize("text", [ID[:60], ID[:56] + "...", ID[:45], ID.partition(" groups")[0]])
def test_groups_that_were_cut_off_are_not_told(text: str) -> None:
    """Who it is stays; a group that is not there might be behind the cut."""
    assert users(text) == [{"uid": 1000, "name": "mira"}]


def test_groups_of_the_account_that_was_asked() -> None:
    """`groups` names nobody, `groups NAME` does."""
    assert users(typed("groups", "mira adm dialout\n")) == [{"name": None, "group_names": ["mira", "adm", "dialout"]}]
    assert users(typed("groups mira", "mira : mira dialout\n")) == [
        {"name": "mira", "group_names": ["mira", "dialout"]}
    ]
    assert users(typed("id -nG", "mira dialout\n")) == [{"name": None, "group_names": ["mira", "dialout"]}]


def test_members_of_a_group() -> None:
    """`getent group dialout`, or the line of /etc/group: one group of theirs, and its number."""
    assert users("dialout:x:20:mira,anna\n") == [
        {"name": name, "some_group_names": ["dialout"], "group_ids": {"dialout": 20}} for name in ("mira", "anna")
    ]
    assert users("dialout:x:20:\n") == []


@pytest.mark.parametrize(
    "text", ["", "please add the user to the group", "adm is a group", "root", "uid=", "users : see above"]
)
def test_prose_is_no_account(text: str) -> None:
    """Words that could be groups, and are none."""
    assert users(text) == [] or text.startswith("users : ")
