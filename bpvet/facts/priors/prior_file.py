"""Reading a file of priors: a few kinds of values, each looked at, within limits.

A file may come from anybody. What is not as `PriorTable.save` writes it is refused in one
sentence, before the TOML parser can be led into depths of brackets or thousands of dotted keys.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

from bpvet.errors import CallError
from bpvet.facts.priors.groups import PriorGroup, PriorGroups
from bpvet.facts.priors.priors import Priors, check_kind
from bpvet.reading_back import ReadBackError, text_of_file

PAIRS = ("level", "sv", "sr", "sw")
OPTIONAL = ("first_visit", "first_visit_new", "method_offset")
NUMBERS = ("slope_sd", "effect_sd", "increment_sd", "wander_days")
#: Numbers that older files lack.
LATER_NUMBERS = ("first_visit_fading",)
GROUP_NUMBERS = ("restart_sd", "added_sd")

# A clinic's table has at most some dozens of cells, of half a kilobyte each.
_LONGEST_FILE = 500_000
_MOST_CELLS = 200
_MOST_NAMES = 500
_MOST_GROUPS = 10
_LONGEST_TEXT = 2_000
_DEEPEST = 4
_LARGEST = 1e6

_TEXTS_AND_COMMENTS = re.compile(r"\"(?:[^\"\\\n]|\\.)*+\"|'[^'\n]*+'|#[^\n]*+")
_DOTTED = re.compile(r"[\w\"-]++\s*+\.\s*+[\w\"-]++\s*+\.")
_TEXTS = ("species", "method", "quantity", "source")
_GROUP = frozenset(("weight", "level", "effect_sd", "under_drug"))
_BY_NAME = ("tau_days", "condition_offset", "change_sd")
_OF_A_CELL = (*PAIRS, *OPTIONAL, *NUMBERS, *_TEXTS, *_BY_NAME, "sitting_minus_lateral")
_KNOWN = frozenset((*_OF_A_CELL, "groups", *GROUP_NUMBERS, *LATER_NUMBERS))


def read_cells(path: Path) -> tuple[dict[tuple[str, str, str], Priors], str]:
    """Return the cells of a file of priors, by (species, method, quantity), and its name.

    Raises
    ------
    CallError
        Where the file cannot be read or is no such table; one sentence says which part.
    """
    try:
        text = text_of_file(path, _LONGEST_FILE)
    except OSError as error:
        raise CallError(f"{path} cannot be read: {error.strerror}.") from None
    except ReadBackError as error:
        raise CallError(f"{path} is no table of priors that bpvet saved: it {error}.") from None
    except ValueError:
        raise CallError("that name of a file cannot be read: it holds a zero byte.") from None
    try:
        return _Reader().table(_parsed(text))
    except CallError as error:
        raise CallError(f"{path} is no table of priors that bpvet saved: {error}") from None


def _parsed(text: str) -> dict[str, Any]:
    """Return the parsed text after a look at its depth, texts and comments left out."""
    import tomllib

    bare = _TEXTS_AND_COMMENTS.sub('""', text)
    if _DOTTED.search(bare):
        raise CallError("keys of more than two parts do not stand in it.")
    depth = 0
    for mark in re.findall(r"[\[\]{}]", bare):
        depth += 1 if mark in "[{" else -1
        if depth > _DEEPEST:
            raise CallError("its brackets are nested too deep.")
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise CallError(f"it is not TOML ({str(error).splitlines()[0]:.120}).") from None
    except (ValueError, RecursionError):
        raise CallError("it holds numbers of too many digits, or is nested too deep.") from None


class _Reader:
    """Reads the values of a parsed table; `where` names the part that is being read."""

    where = "it"

    def table(self, entries: dict[str, Any]) -> tuple[dict[tuple[str, str, str], Priors], str]:
        """Return the cells and the name."""
        name = self._text(entries, "name")
        if "cell" not in entries:
            raise CallError("it has no cell.")
        listed = entries["cell"]
        if not isinstance(listed, list) or not all(isinstance(cell, dict) for cell in listed):
            raise CallError("cell is not a list of tables.")
        if len(listed) > _MOST_CELLS:
            raise CallError(f"it has {len(listed)} cells; at most {_MOST_CELLS} are read.")
        cells: dict[tuple[str, str, str], Priors] = {}
        for number, cell in enumerate(listed, start=1):
            self.where = f"cell {number}"
            key, priors = self._cell(cell)
            if key in cells:
                raise CallError(f"cell {number} is of {' '.join(key)}, as an earlier one is.")
            cells[key] = priors
        return cells, name

    def _cell(self, cell: dict[str, Any]) -> tuple[tuple[str, str, str], Priors]:
        strange = sorted(set(cell) - _KNOWN)
        if strange:
            raise CallError(f'{self.where} has "{strange[0]:.40}", which is not known.')
        key = (
            self._text(cell, "species"),
            self._text(cell, "method"),
            self._text(cell, "quantity"),
        )
        values: dict[str, Any] = {name: self._pair(cell, name) for name in PAIRS}
        values |= {name: self._number(self._given(cell, name), name) for name in NUMBERS}
        values |= {name: self._number(cell[name], name) for name in LATER_NUMBERS if name in cell}
        values |= {name: self._pair(cell, name) for name in OPTIONAL if name in cell}
        values["tau_days"] = self._names(cell, "tau_days", self._number)
        values["condition_offset"] = self._names(cell, "condition_offset", self._two)
        # Files of earlier versions do not have these two: the defaults stay.
        if "change_sd" in cell:
            values["change_sd"] = self._names(cell, "change_sd", self._number)
        if "sitting_minus_lateral" in cell:
            name = "sitting_minus_lateral"
            values[name] = self._number(cell[name], name)
        values["source"] = self._text(cell, "source")
        values["groups"] = self._groups(cell, values) if "groups" in cell else None
        try:
            check_kind(*key)
            return key, Priors(**values)
        except CallError as error:
            raise CallError(f"{self.where}: {error}") from None

    def _groups(self, cell: dict[str, Any], values: dict[str, Any]) -> PriorGroups:
        """Return the groups of treated animals of a cell."""
        listed = cell["groups"]
        plain = isinstance(listed, list) and 0 < len(listed) <= _MOST_GROUPS
        if not plain or not all(isinstance(group, dict) for group in listed):
            raise CallError(
                f"groups of {self.where} are not a list of at most {_MOST_GROUPS} tables."
            )
        parts = []
        for group in listed:
            strange = sorted(set(group) - _GROUP)
            if strange:
                raise CallError(
                    f'a group of {self.where} has "{strange[0]:.40}", which is not known.'
                )
            effect_sd = (
                self._number(group["effect_sd"], "effect_sd") if "effect_sd" in group else None
            )
            under = self._pair(group, "under_drug") if "under_drug" in group else None
            weight = self._number(self._given(group, "weight"), "weight")
            parts.append(PriorGroup(weight, self._pair(group, "level"), effect_sd, under))
        restart, added = (self._number(self._given(cell, name), name) for name in GROUP_NUMBERS)
        return PriorGroups(tuple(parts), (values["level"], values["effect_sd"]), restart, added)

    def _given(self, entries: dict[str, Any], name: str) -> Any:
        if name not in entries:
            raise CallError(f"{self.where} has no {name}.")
        return entries[name]

    def _text(self, entries: dict[str, Any], name: str) -> str:
        value = self._given(entries, name)
        if not isinstance(value, str) or len(value) > _LONGEST_TEXT:
            raise CallError(
                f"{name} of {self.where} is not a text of at most {_LONGEST_TEXT} characters."
            )
        return value

    def _number(self, value: Any, name: str) -> float:
        plain = isinstance(value, (int, float)) and not isinstance(value, bool)
        if not plain or not abs(value) <= _LARGEST:
            raise CallError(f"{name} of {self.where} is not a number of at most {_LARGEST:,.0f}.")
        return float(value)

    def _two(self, value: Any, name: str) -> tuple[float, float]:
        if not isinstance(value, list) or len(value) != 2:
            raise CallError(f"{name} of {self.where} is not a pair of numbers.")
        return self._number(value[0], name), self._number(value[1], name)

    def _pair(self, entries: dict[str, Any], name: str) -> tuple[float, float]:
        return self._two(self._given(entries, name), name)

    def _names(
        self, entries: dict[str, Any], name: str, read: Callable[[Any, str], Any]
    ) -> dict[str, Any]:
        given = self._given(entries, name)
        if not isinstance(given, dict) or len(given) > _MOST_NAMES:
            raise CallError(
                f"{name} of {self.where} does not give at most {_MOST_NAMES} values by name."
            )
        return {key: read(value, name) for key, value in given.items()}
