"""Reading a file of priors: a few kinds of values, each looked at, within limits.

A file may come from anybody. What is not as `PriorTable.save` writes it is refused in one
sentence, before the TOML parser can be led into depths of brackets or thousands of dotted keys.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from bpvet.errors import CallError
from bpvet.facts.priors.groups import PriorGroup, PriorGroups
from bpvet.facts.priors.priors import Priors, check_kind, checked_pair, checked_positive
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
_NEEDED = (*_TEXTS, *PAIRS, *NUMBERS, "tau_days", "condition_offset")
#: What older files lack too: the defaults stay.
_LATER = (*OPTIONAL, *LATER_NUMBERS, "change_sd", "sitting_minus_lateral")
_VALUES = frozenset((*_NEEDED, *_LATER)) - {"species", "method", "quantity"}
_KNOWN = frozenset((*_NEEDED, *_LATER, "groups", *GROUP_NUMBERS))


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
        return _cells(_parsed(text))
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


def _cells(entries: dict[str, Any]) -> tuple[dict[tuple[str, str, str], Priors], str]:
    """Return the cells of a parsed table, and its name."""
    name, listed = entries.get("name"), entries.get("cell")
    if not isinstance(name, str):
        raise CallError("it has no name, or one that is no text.")
    if not isinstance(listed, list) or not all(isinstance(cell, dict) for cell in listed):
        raise CallError("it has no cell, or one that is no table.")
    if len(listed) > _MOST_CELLS:
        raise CallError(f"it has {len(listed)} cells; at most {_MOST_CELLS} are read.")
    _refuse_large(entries)
    cells: dict[tuple[str, str, str], Priors] = {}
    for number, cell in enumerate(listed, start=1):
        try:
            key, priors = _cell(cell)
        except CallError as error:
            raise CallError(f"cell {number}: {error}") from None
        if key in cells:
            raise CallError(f"cell {number} is of {' '.join(key)}, as an earlier one is.")
        cells[key] = priors
    return cells, name


def _refuse_large(value: Any) -> None:
    """Refuse a number, a text or a list beyond any that is saved."""
    if isinstance(value, dict | list):
        if len(value) > _MOST_NAMES:
            raise CallError(f"more than {_MOST_NAMES} values stand in one of its parts.")
        for member in value.values() if isinstance(value, dict) else value:
            _refuse_large(member)
    elif isinstance(value, str) and len(value) > _LONGEST_TEXT:
        raise CallError(f"a text in it is longer than {_LONGEST_TEXT} characters.")
    elif isinstance(value, int | float) and not abs(value) <= _LARGEST:
        raise CallError(f"a number in it is larger than {_LARGEST:,.0f}.")


def _cell(cell: dict[str, Any]) -> tuple[tuple[str, str, str], Priors]:
    """Return what a cell is of, and its priors; `Priors` looks at each value."""
    _refuse_names(cell, _KNOWN, _NEEDED)
    key = (cell["species"], cell["method"], cell["quantity"])
    check_kind(*key)
    values = {name: cell[name] for name in cell if name in _VALUES}
    return key, Priors(**values, groups=_groups(cell) if "groups" in cell else None)


def _groups(cell: dict[str, Any]) -> PriorGroups:
    """Return the groups of treated animals of a cell."""
    listed = cell["groups"]
    plain = isinstance(listed, list) and 0 < len(listed) <= _MOST_GROUPS
    if not plain or not all(isinstance(group, dict) for group in listed):
        raise CallError(f"groups are not a list of at most {_MOST_GROUPS} tables.")
    parts = []
    for group in listed:
        _refuse_names(group, _GROUP, ("weight", "level"))
        effect_sd, under_drug = group.get("effect_sd"), group.get("under_drug")
        parts.append(
            PriorGroup(
                checked_positive("weight", group["weight"]),
                checked_pair("level", group["level"], positive=False),
                None if effect_sd is None else checked_positive("effect_sd", effect_sd),
                None if under_drug is None else checked_pair("under_drug", under_drug, False),
            )
        )
    _refuse_names(cell, _KNOWN, GROUP_NUMBERS)
    level = checked_pair("level", cell["level"], positive=False)
    beside = (level, checked_positive("effect_sd", cell["effect_sd"]))
    restart, added = (checked_positive(name, cell[name]) for name in GROUP_NUMBERS)
    return PriorGroups(tuple(parts), beside, restart, added)


def _refuse_names(entries: dict[str, Any], known: Iterable[str], needed: Iterable[str]) -> None:
    """Refuse a table that has a name that is not known, or lacks one that is needed."""
    if strange := sorted(set(entries).difference(known)):
        raise CallError(f'"{strange[0]:.40}" is not known.')
    if missing := [name for name in needed if name not in entries]:
        raise CallError(f"it has no {missing[0]}.")
