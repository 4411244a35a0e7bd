"""`radiocheck judge` with many files: a line for each, and the tables; or JSON lines."""

from __future__ import annotations

import os
import stat
import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import AbstractContextManager, nullcontext
from functools import lru_cache, partial
from itertools import islice
from typing import TYPE_CHECKING, NoReturn, Protocol

import click
from click.core import ParameterSource

from .output import coloured, only_ascii, width, write_part
from .status import UNUSABLE, Unusable

if TYPE_CHECKING:
    from radiocheck.chain.rule import RuleSet
    from radiocheck.report.cases import Entry, Tally
    from radiocheck.report.layout import Look

    from .walk import Place

PIECE = 4  # files that a process gets at a time: the hand-over costs little beside them, and raw pastes take long
WORTH = 8  # files for each process: its start costs as much as some dozen captures or a single raw paste
FOR_ALL = {"files", "form", "folders", "jobs", "no_colour", "ascii"}  # parameters that mean the same for many files
ERASE = "\r\x1b[K"  # the line of the progress bar (ECMA-48: EL)
# What a process imports before it is copied for every core.
MODULES = ("radiocheck.cli.many", "radiocheck.cli.judging", "radiocheck.chain.judge", "radiocheck.report.cases")


class _Bar(Protocol):
    def update(self, n_steps: int) -> None: ...


def are_many(files: Sequence[str]) -> bool:
    """Whether a list is wanted: of several files, or of a folder."""
    return len(files) > 1 or os.path.isdir(files[0])


def judge_many(
    context: click.Context,
    files: Sequence[str],
    jobs: int | None,
    form: str,
    folders: Sequence[str],
    no_colour: bool,
    ascii: bool,
) -> NoReturn:
    """Judge everything in `files`, print as it comes, and exit: 0 when all could be read, else 2."""
    _refuse_what_is_for_one(context, files, form)
    from radiocheck.report.cases import Tally
    from radiocheck.report.layout import Look

    from .walk import walk
    from .workers import Job, cores, in_order

    rules = _rules(tuple(folders))  # first: what is wrong with them is said before anything is judged
    number, widest = _surveyed(files)
    job = Job(partial(_judge, form, tuple(folders)), _lost, partial(_rules, tuple(folders)), MODULES)
    left: Counter[str] = Counter()
    tally = Tally()
    tell = _Told(form == "json", widest, rules, Look(width(), coloured(no_colour), only_ascii(ascii)))
    pieces = _pieces(walk(files, left))
    processes = max(1, min(jobs or cores(), number // WORTH))
    with _bar(number) as bar:
        for results in in_order(job, pieces, processes):
            for entry, _ in results:
                tally.add(entry)
            tell.cases(results, bar)
    tell.end(tally, left)
    context.exit(UNUSABLE if tally.states[None] else 0)


def _refuse_what_is_for_one(context: click.Context, files: Sequence[str], form: str) -> None:
    if "-" in files:
        raise Unusable("standard input is judged by itself; leave out the other files, or save it as one of them")
    for parameter in context.command.params:
        given = parameter.name and context.get_parameter_source(parameter.name) is ParameterSource.COMMANDLINE
        if given and parameter.name not in FOR_ALL:
            raise Unusable(f"{parameter.opts[0]} is about one machine; judge its file by itself")
    if form == "paste":
        raise Unusable("--format paste is about one machine; judge its file by itself, or use text or json")


def _surveyed(files: Sequence[str]) -> tuple[int, int]:
    """How many places there are, and the columns of the longest name.  Raises `Unusable` when there is none."""
    from radiocheck.report.cases import left_out, shown
    from radiocheck.report.layout import columns

    from .walk import walk

    number = widest = 0
    left: Counter[str] = Counter()
    for place in walk(files, left):
        number += 1
        widest = max(widest, columns(shown(_called(place.path))))
    if not number:
        besides = f"  {left_out(left)}" if left.total() else ""
        raise Unusable(
            f"{_called(files[0])}: is a folder that holds no file to judge; name one with captures, pasted reports "
            f"or pasted texts.{besides}"
        )
    return number, widest


def _pieces(places: Iterator[Place]) -> Iterator[list[Place]]:
    while piece := list(islice(places, PIECE)):
        yield piece


@lru_cache(maxsize=1)
def _rules(folders: tuple[str, ...]) -> RuleSet:
    """The rules, loaded once in each process."""
    from .options import load_rules

    return load_rules(folders)


def _judge(form: str, folders: tuple[str, ...], places: Sequence[Place]) -> list[tuple[Entry, str]]:
    """What to say of each file, and its line of JSON when that is wanted.  Whatever a file is, the next is judged."""
    rules = _rules(folders)
    return [_judged(place, rules, form == "json") for place in places]


def _judged(place: Place, rules: RuleSet, json: bool) -> tuple[Entry, str]:
    from radiocheck.report import cases

    from .judging import answer

    name = _called(place.path)
    try:
        report = answer(_read(place), name, rules, reasons=json).report
        return cases.judged(name, report), cases.encoded(name, report) if json else ""
    except Unusable as error:
        why = error.format_message().removeprefix(f"{name}: ")
    except Exception as error:  # our own bug, and still not the end of the others
        why = f"radiocheck itself failed on it ({type(error).__name__}: {error}); please report it with the file"
    return _unread(name, why)


def _lost(place: Place) -> tuple[Entry, str]:
    return _unread(_called(place.path), "the process that judged it was ended, perhaps for want of memory")


def _unread(name: str, why: str) -> tuple[Entry, str]:
    from radiocheck.report import cases

    entry = cases.unread(name, why)
    return entry, cases.encoded_unread(entry)


def _read(place: Place) -> bytes:
    """The bytes of a regular file, and at most one more than the limit.  Raises `Unusable`.

    What is no file is not opened, since opening a device can do something to it.
    """
    from radiocheck.evidence.store import LIMIT

    if place.wrong is not None:
        raise Unusable(place.wrong)
    flags = os.O_RDONLY | os.O_CLOEXEC | os.O_NONBLOCK | (0 if place.named else os.O_NOFOLLOW)
    try:
        _be_regular(os.stat(place.path, follow_symlinks=place.named))
        with open(os.open(place.path, flags), "rb") as opened:
            _be_regular(os.fstat(opened.fileno()))  # it may have been put there meanwhile
            return opened.read(LIMIT + 1)
    except OSError as error:
        raise Unusable(f"cannot be read: {error.strerror}") from None
    except ValueError:  # a name with a zero byte
        raise Unusable("is no file name") from None


def _be_regular(found: os.stat_result) -> None:
    if not stat.S_ISREG(found.st_mode):
        raise Unusable("is no regular file; judge a pipe by itself")


def _called(path: str) -> str:
    """The name as text; bytes that are not UTF-8 as \\xNN."""
    return os.fsencode(path).decode("utf-8", "backslashreplace")


def _bar(number: int) -> AbstractContextManager[_Bar | None]:
    """A progress bar on standard error, if that is a terminal that can go back in a line."""
    if sys.stderr is None or not sys.stderr.isatty() or os.environ.get("TERM") == "dumb":
        return nullcontext()
    return click.progressbar(length=number, label="judged", show_pos=True, file=sys.stderr)


class _Told:
    """How the cases are told, as they come and at the end."""

    def __init__(self, json: bool, widest: int, rules: RuleSet, look: Look) -> None:
        self.json, self.widest, self.look = json, widest, look
        self.steps = {rule.name: rule.step for rule in rules.rules.values()}
        self.whole = sys.stdout is None or not sys.stdout.isatty()  # programs cut for themselves

    def cases(self, results: Sequence[tuple[Entry, str]], bar: _Bar | None) -> None:
        """The lines of some cases."""
        from radiocheck.report import cases

        lines = [
            line if self.json else cases.line(entry, self.widest, self.look, self.whole) for entry, line in results
        ]
        if bar is not None and not self.whole:
            click.echo(ERASE, nl=False, err=True)
        write_part("".join(f"{line.rstrip()}\n" for line in lines))
        if bar is not None:
            bar.update(len(results))

    def end(self, tally: Tally, left: Counter[str]) -> None:
        """The tables; with JSON, only what a reader of the lines would miss, and on standard error."""
        from radiocheck.report import cases

        if not self.json:
            write_part("\n".join(["", *cases.summary(tally, left, self.steps, self.look), ""]))
            return
        said = [cases.counted(tally)] if tally.states[None] else []
        said += [cases.left_out(left)] if left.total() else []
        if said:
            click.echo("  ".join(said), err=True)
