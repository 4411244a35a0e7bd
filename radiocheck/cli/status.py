"""Exit statuses.  They are documented and stable."""

from __future__ import annotations

import click

VERDICTS = {"sound": 0, "weak": 1, "broken": 3, "unseen": 4}
UNUSABLE = 2  # wrong usage, unreadable input, or a bug of radiocheck
NOT_ENOUGH = 4  # nothing could be told
INTERRUPTED = 130  # 128 + SIGINT, as shells report it

EXIT_HELP = """\b
Exit status of check and judge:
  0  every step that could be judged is sound
  1  weak: it works today, and will fail or already costs something
  2  wrong usage or unreadable input
  3  a step is broken
  4  not enough evidence to tell
Of several files or a folder, judge tells the verdicts in its lines:
  0  every file could be read
  2  some could not; the others are judged
"""


class Unusable(click.ClickException):
    """One sentence about what cannot be used as it is; exit status 2."""

    exit_code = UNUSABLE
