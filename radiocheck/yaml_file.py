"""YAML that remembers where everything stands, and refuses what is written twice."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from msgspec import Struct

if TYPE_CHECKING:  # the reader is imported when a file is read: packed rules need none
    import yaml

LIMIT = 256 << 10  # bytes; a rule is a page, not a book
DEPTH = 24


class FileError(ValueError):
    """Complaints about files: `file:line:column: what, and what to write instead`, a line each."""


class Spot(Struct, frozen=True):
    """A value with the place where it stands (counted from 1).

    `value` is a dict of Spots by key, a list of Spots, or a str, int, bool or None.
    """

    value: Any
    file: Path
    line: int
    column: int
    block: bool = False  # a literal block: its text begins on the next line

    def complain(self, what: str, line: int = 0, column: int = 0) -> str:
        """One complaint about this place; `line` and `column` are offsets into the text."""
        return f"{self.file}:{self.line + line}:{column or self.column}: {what}"

    def plain(self) -> Any:
        """The value without places."""
        if isinstance(self.value, dict):
            return {key: spot.plain() for key, spot in self.value.items()}
        if isinstance(self.value, list):
            return [spot.plain() for spot in self.value]
        return self.value


def read(file: Path) -> Spot:
    """Read one file.  Raises `FileError`."""
    try:
        data = file.read_bytes()
    except OSError as error:
        raise FileError(f"{file}: cannot be read: {error.strerror}") from None
    return parse(data, file)


def parse(data: bytes, file: Path, limit: int = LIMIT, as_written: bool = False) -> Spot:
    """The YAML in these bytes; complaints call it `file`.  Raises `FileError`.

    With `as_written` every scalar is the text that stands there: `1.5`, `no` and `007` are what
    the person wrote, and only an empty value is none.
    """
    import yaml

    if len(data) > limit:
        raise FileError(f"{file}: is {len(data)} bytes; a file here has at most {limit}")
    loader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
    try:
        node = yaml.compose(data.decode("utf-8"), Loader=loader)
    except UnicodeDecodeError as error:
        raise FileError(f"{file}: byte {error.start} is not UTF-8; save the file as UTF-8") from None
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        place = f"{mark.line + 1}:{mark.column + 1}" if mark else "1:1"
        raise FileError(f"{file}:{place}: is not YAML: {error.problem or error.context}") from None
    except (yaml.YAMLError, RecursionError) as error:
        raise FileError(f"{file}:1:1: is not YAML: {str(error).splitlines()[0]}") from None
    if node is None:
        raise FileError(f"{file}:1:1: is empty")
    return _spot(node, file, 0, as_written, set())


def _spot(node: yaml.Node, file: Path, depth: int, as_written: bool, used: set[int]) -> Spot:
    """A composed node as a Spot; anchors, tags of other kinds and double keys are refused."""
    import yaml

    line, column = node.start_mark.line + 1, node.start_mark.column + 1
    if depth > DEPTH:
        raise FileError(f"{file}:{line}:{column}: is nested more than {DEPTH} deep")
    if id(node) in used:  # aliases of aliases would grow without end
        raise FileError(f"{file}:{line}:{column}: is used again through an anchor; write it out where it is needed")
    used.add(id(node))
    if isinstance(node, yaml.MappingNode):
        found: dict[str, Spot] = {}
        for key, value in node.value:
            place = f"{file}:{key.start_mark.line + 1}:{key.start_mark.column + 1}"
            if not isinstance(key, yaml.ScalarNode) or key.tag != "tag:yaml.org,2002:str":
                raise FileError(f"{place}: a key must be a plain word; put it in quotes")
            if key.value in found:
                raise FileError(f"{place}: `{key.value}` is written twice; keep one")
            found[key.value] = _spot(value, file, depth + 1, as_written, used)
        return Spot(found, file, line, column)
    if isinstance(node, yaml.SequenceNode):
        return Spot([_spot(item, file, depth + 1, as_written, used) for item in node.value], file, line, column)
    value = _text(node) if as_written else _scalar(node, file, line, column)
    return Spot(value, file, line, column, getattr(node, "style", None) in ("|", ">"))


def _text(node: yaml.Node) -> str | None:
    return None if node.tag == "tag:yaml.org,2002:null" and node.value in ("", "~") else str(node.value)


def _scalar(node: yaml.Node, file: Path, line: int, column: int) -> str | int | bool | None:
    kind = node.tag.rpartition(":")[2]
    text = str(node.value)
    if kind == "str":
        return text
    if kind == "null":
        return None
    if kind == "bool" and text in ("true", "false"):
        return text == "true"
    if kind == "int":
        try:
            return int(text, 10)
        except ValueError:
            pass
    raise FileError(f"{file}:{line}:{column}: `{text}` is read by YAML as {kind}; write it in quotes if it is text")
