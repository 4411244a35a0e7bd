"""Reading a mapping field by field: every complaint has its place and says what to write instead."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from radiocheck.yaml_file import Spot

from .condition import Condition, ConditionError, compile_condition


class Fields:
    """A mapping that is read field by field; collects complaints, and refuses what is left over."""

    def __init__(self, spot: Spot, what: str, allowed: Sequence[str]) -> None:
        self.spot = spot
        self.complaints: list[str] = []
        self.found: dict[str, Spot] = {}
        if not isinstance(spot.value, dict):
            self.complaints.append(spot.complain(f"{what} must be a mapping with {', '.join(allowed)}"))
            return
        for key, value in spot.value.items():
            if key not in allowed:
                self.complaints.append(value.complain(f"{what} has no field `{key}`{nearest(key, allowed)}"))
        self.found = spot.value

    def text(self, key: str, needed: bool = True) -> str:
        """A non-empty text; "" when it is not there and need not be."""
        value = self.found.get(key)
        if value is None:
            if needed:
                self.complaints.append(self.spot.complain(f"`{key}` is missing; write a text"))
            return ""
        if not isinstance(value.value, str) or not value.value.strip():
            self.complaints.append(value.complain(f"`{key}` must be a text that is not empty"))
            return ""
        return value.value.strip()

    def choice(self, key: str, choices: Sequence[str], needed: bool = True) -> str:
        """One of the given words."""
        word = self.text(key, needed)
        if word and word not in choices:
            self.complaints.append(self.found[key].complain(f"`{key}` is `{word}`; write one of {', '.join(choices)}"))
        return word

    def items(self, key: str, needed: bool = True) -> list[Spot]:
        """A list that is not empty; [] when it is not there and need not be."""
        value = self.found.get(key)
        if value is None:
            if needed:
                self.complaints.append(self.spot.complain(f"`{key}` is missing; write a list"))
            return []
        if not isinstance(value.value, list) or not value.value:
            self.complaints.append(value.complain(f"`{key}` must be a list with at least one item"))
            return []
        return value.value

    def texts(self, key: str, needed: bool = True) -> tuple[str, ...]:
        """A list of texts."""
        found = []
        for item in self.items(key, needed):
            if isinstance(item.value, str) and item.value.strip():
                found.append(item.value.strip())
            else:
                self.complaints.append(item.complain(f"an item of `{key}` must be a text"))
        return tuple(found)

    def condition(self, key: str, names: tuple[str, ...], needed: bool = True) -> Condition | None:
        """A compiled condition."""
        text = self.text(key, needed)
        if not text:
            return None
        try:
            return compile_condition(text, names)
        except ConditionError as error:
            self.complaints.append(condition_complaint(self.found[key], error))
            return None


def condition_complaint(spot: Spot, error: ConditionError) -> str:
    """The complaint of a condition at its true place in the file."""
    if spot.block:  # text starts on the next line, indented by YAML; the column is within the text
        return spot.complain(str(error), line=error.line, column=error.column)
    return spot.complain(str(error), line=error.line - 1, column=spot.column + error.column - 1)


def nearest(word: str, words: Iterable[str]) -> str:
    """Advice: the allowed word that looks most like it, else what is allowed."""
    import difflib

    near = difflib.get_close_matches(word, list(words), 1)
    return f"; did you mean `{near[0]}`?" if near else f"; write one of {', '.join(list(words)[:12])}"
