"""The levels that a cohort's columns take, learnt from all rows, whole or in parts.

A design is then made from a few real rows that show them all; every other row follows it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bpvet.errors import CallError, FormulaError
from bpvet.frozen import replace
from bpvet.mixed.columns import ModelSpec, Table, table_of, usable
from bpvet.mixed.design import MOST_COLUMNS, make_design, plain_design, prepared

# So many rows show the formula at work, beside those that show the levels.
_SHOWN = 50
_WORDS = {"b": "truth values", "i": "numbers", "f": "numbers", "t": "text"}


class Levels(NamedTuple):
    """The levels that occur in a column, and all those of a categorical one in their order."""

    present: tuple[str, ...]
    categories: tuple[str, ...] = ()


class Seen(NamedTuple):
    """What a part tells of its columns.

    Parameters
    ----------
    levels : dict
        Levels of the text and class columns.
    kinds : dict
        Of each column of the formula: ``t`` (text) or as in `Table.kinds`.
    shown : DataFrame
        A few of its rows, among them each level of the numbers within ``C(…)``.
    """

    levels: Mapping[str, Levels]
    kinds: Mapping[str, str]
    shown: pd.DataFrame


def seen(frame: pd.DataFrame, spec: ModelSpec) -> Seen:
    """Return what a part tells of its columns."""
    table = usable(table_of(frame, spec), spec)[0]
    named = spec.formula.columns
    kinds = {name: table.kinds.get(name, "t") for name in named} if table.rows else {}
    shown = table.taken(_showing(table, spec)).labelled(named)
    return Seen(_levels(table, spec), kinds, shown)


def spec_of_all(parts: Sequence[Seen], spec: ModelSpec) -> ModelSpec:
    """Return the specification with the levels and the design of all parts.

    Raises
    ------
    CallError
        Where a column holds text in one part and numbers in another.
    """
    for name in spec.formula.columns:
        words = sorted({_WORDS[part.kinds[name]] for part in parts if name in part.kinds})
        if len(words) > 1:
            raise CallError(
                f"Column {name} holds {words[0]} in some parts and {words[1]} in others."
            )
    spec = replace(spec, levels=_together([part.levels for part in parts]))
    shown = [part.shown for part in parts if len(part.shown)]
    if not shown:
        raise CallError("No row can enter the fit: every part lacks what it needs.")
    rows = pd.concat(shown, ignore_index=True)
    texts = {name: spec.levels[name] for name in spec.formula.columns if _is_text(rows[name])}
    return with_design(prepared(rows, texts, spec.formula.classes), spec)


def _is_text(column: pd.Series[Any]) -> bool:
    return not pd.api.types.is_numeric_dtype(column.dtype)


def design_of_table(table: Table, spec: ModelSpec) -> ModelSpec:
    """Return the specification with a design made from a few rows that show all levels."""
    named = spec.formula.columns
    texts = {name: spec.levels[name] for name in named if name not in table.numbers}
    plain = plain_design(spec.formula, texts)
    if plain is not None:
        return replace(spec, design=plain)
    few = table.taken(_showing(table, spec))
    return with_design(few.frame(spec.formula.columns, spec.levels, spec.formula.classes), spec)


def with_design(ready: pd.DataFrame, spec: ModelSpec) -> ModelSpec:
    """Return the specification with the design that the formula gives on these rows."""
    return replace(spec, design=make_design(spec.formula, ready)[0])


def _showing(table: Table, spec: ModelSpec) -> NDArray[np.int64]:
    """Return some rows of a table, among them one of each level of numbers within ``C(…)``."""
    rows = [np.arange(min(table.rows, _SHOWN))]
    for name in spec.formula.classes:
        if name in table.numbers:
            first = np.unique(table.numbers[name], return_index=True)[1]
            if len(first) > MOST_COLUMNS:
                raise FormulaError(
                    f"C({name}) has {len(first)} levels; at most {MOST_COLUMNS} columns are fitted."
                )
            rows.append(first)
    return np.unique(np.concatenate(rows)).astype(np.int64)


def levels_present(table: Table, spec: ModelSpec) -> dict[str, tuple[str, ...]]:
    """Return the levels that occur, by the alphabet or in the order of a categorical column."""
    return {name: each.present for name, each in _levels(table, spec).items()}


def _together(parts: Sequence[Mapping[str, Levels]]) -> dict[str, tuple[str, ...]]:
    """Return the levels that occur in any part.

    They are in the order of the categories where the parts have the same, else by the alphabet.
    """
    levels = {}
    for name in dict.fromkeys(name for part in parts for name in part):
        of_parts = [part[name] for part in parts if name in part]
        present = {level for each in of_parts for level in each.present}
        orders = {each.categories for each in of_parts if each.present}
        order = orders.pop() if len(orders) == 1 else ()
        levels[name] = tuple(level for level in order or sorted(present) if level in present)
    return levels


def _levels(table: Table, spec: ModelSpec) -> dict[str, Levels]:
    levels = {}
    named = [name for name in spec.formula.columns if name not in table.numbers]
    for name in (*named, spec.visit_by, spec.residual_by, spec.group):
        if name is None:
            continue
        if name in levels:
            continue
        text = table.texts[name]
        every = text.names()
        if text.complete:
            found = tuple(dict.fromkeys(every))
        else:
            there = np.bincount(text.run_codes, minlength=len(every)) > 0
            found = tuple(dict.fromkeys(every[code] for code in np.flatnonzero(there)))
        if text.categorical:
            levels[name] = Levels(found, tuple(every))
        else:
            levels[name] = Levels(tuple(sorted(found)))
    return levels
