"""Records by columns: the same JSON with every field's name once, which packs into a third less.

A list of records `[{"a": 1, "b": 2}, {"a": 3}]` becomes `{"#": {"a": [1, 3], "b": [2]}, "-": {"b": "10"}}`:
columns, and for a column that not every record has, which of them do.  Lists of
records within records are laid end to end, with their lengths beside them (`"+"`).
Nothing is stored that could stand for more than there is, so unpacking never makes
more values than the text has.
"""

from __future__ import annotations

from typing import Any

# Keys of our own; a record's own key that begins with one of these signs gets one more before it.
COLUMNS, ABSENT, LENGTHS = "#", "-", "+"
SIGNS = (COLUMNS, ABSENT, LENGTHS)
DEEP = 40  # levels; evidence has fewer than ten


class NotColumns(ValueError):
    """What was to be unpacked was never packed by `packed`."""


def packed(value: Any) -> Any:
    """A JSON value with its lists of records by columns; `unpacked` gives it back equal."""
    if isinstance(value, dict):
        return {_escaped(key): packed(item) for key, item in value.items()}
    if not isinstance(value, list):
        return value
    if len(value) > 1 and all(isinstance(item, dict) for item in value) and any(value):
        return _columns(value)
    return [packed(item) for item in value]


def unpacked(value: Any, deep: int = DEEP) -> Any:
    """The JSON value that `packed` was given.  Raises `NotColumns`."""
    if deep < 0:
        raise NotColumns("nested too deeply")
    if isinstance(value, dict):
        if COLUMNS in value:
            return _records(value, deep - 1)
        return {_plain(key): unpacked(item, deep - 1) for key, item in value.items()}
    if isinstance(value, list):
        return [unpacked(item, deep - 1) for item in value]
    return value


def _escaped(key: str) -> str:
    return key[0] + key if key.startswith(SIGNS) else key


def _plain(key: str) -> str:
    if not key.startswith(SIGNS):
        return key
    if key[1:2] != key[0]:
        raise NotColumns("a sign that means nothing here")
    return key[1:]


def _columns(records: list[dict[str, Any]]) -> dict[str, Any]:
    keys = list(dict.fromkeys(key for record in records for key in record))
    columns: dict[str, Any] = {}
    absent: dict[str, str] = {}
    for key in keys:
        if any(key not in record for record in records):
            absent[_escaped(key)] = "".join("01"[key in record] for record in records)
        columns[_escaped(key)] = _column([record[key] for record in records if key in record])
    return {COLUMNS: columns, ABSENT: absent} if absent else {COLUMNS: columns}


def _column(cells: list[Any]) -> Any:
    lists = [cell for cell in cells if isinstance(cell, list)]
    inner = [item for cell in lists for item in cell]
    if len(lists) == len(cells) and len(inner) > 1 and all(isinstance(item, dict) for item in inner) and any(inner):
        return {LENGTHS: [len(cell) for cell in lists], COLUMNS: _columns(inner)}
    return packed(cells)


def _records(value: dict[str, Any], deep: int) -> list[dict[str, Any]]:
    """The records behind columns."""
    columns, absent = value[COLUMNS], value.get(ABSENT, {})
    if deep < 0 or not isinstance(columns, dict) or not isinstance(absent, dict) or set(value) - {COLUMNS, ABSENT}:
        raise NotColumns("columns of another form")
    cells = {key: _cells(column, deep - 1) for key, column in columns.items()}
    masks = {key: _mask(mask) for key, mask in absent.items()}
    counts = {len(mask) for mask in masks.values()} | {len(cells[key]) for key in cells if key not in masks}
    if len(counts) != 1 or any(masks[key].count(True) != len(cells[key]) for key in cells if key in masks):
        raise NotColumns("columns of different lengths")
    records: list[dict[str, Any]] = [{} for _ in range(counts.pop())]
    for key, column in cells.items():
        name, mask = _plain(key), masks.get(key)
        holders = records if mask is None else [one for one, has in zip(records, mask, strict=True) if has]
        for record, cell in zip(holders, column, strict=True):
            record[name] = cell
    return records


def _mask(text: object) -> list[bool]:
    if not isinstance(text, str) or text.strip("01"):
        raise NotColumns("a mask of another form")
    return [letter == "1" for letter in text]


def _cells(column: Any, deep: int) -> list[Any]:
    if deep < 0:
        raise NotColumns("nested too deeply")
    if isinstance(column, list):
        return [unpacked(cell, deep - 1) for cell in column]
    if not isinstance(column, dict) or COLUMNS not in column:
        raise NotColumns("a column that is none")
    if LENGTHS not in column:
        return list(_records(column, deep - 1))
    lengths, inner = column[LENGTHS], column[COLUMNS]
    if set(column) != {LENGTHS, COLUMNS} or not isinstance(inner, dict) or not isinstance(lengths, list):
        raise NotColumns("lists of another form")
    items = _records(inner, deep - 1)
    if any(type(length) is not int or length < 0 for length in lengths) or sum(lengths) != len(items):
        raise NotColumns("lengths that do not fit")
    cells, start = [], 0
    for length in lengths:
        cells.append(items[start : start + length])
        start += length
    return cells
