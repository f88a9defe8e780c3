"""From a data frame to the sessions of a cohort as arrays: codes, counts, means, scatter."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bpvet.errors import CallError
from bpvet.mixed.columns import (
    ModelSpec,
    Table,
    Text,
    class_codes,
    missing_values,
    table_of,
    usable,
)
from bpvet.mixed.design import Design, follow, make_design, response_values
from bpvet.mixed.formula_guard import WHOLE_COLUMN_CALLS
from bpvet.mixed.levels import design_of_table, levels_present

Array = NDArray[np.float64]
Codes = NDArray[np.int64]

_LARGEST = 1e100
_ROWS_AT_ONCE = 131_072
# The formula library needs several times the memory of what it returns.
_MANY_ROWS, _ROWS_OF_FORMULA = 1_000, 65_536


@dataclass(frozen=True, eq=False)
class Rows:
    """The sessions of some animals.

    Parameters
    ----------
    animals : Index
        Label of each animal code.
    groups : (N,) int
        Group code of each animal.
    animal : (J,) int
    label : (J,) object
        Session labels, or row labels in plain data.
    count : (J,) int
    u : (J, p + e + 1) float
        Session means of X, of the slopes X lacks, and of the outcome.
    columns : int
        p.
    scatter : (J,) float
    known : (J,) bool
    visit, residual : (J,) int
        Classes; visit is −1 where there is no visit effect.
    deviations : (n, p + e + 1) float or None
        Readings about their session's means, where X or Z varies within sessions.
    session_of_row : (n,) int or None
    left_out : dict
        Rows left out by reason.
    taken : int
        Rows of the input.
    """

    animals: pd.Index[Any]
    groups: Codes
    animal: Codes
    label: NDArray[Any]
    count: Codes
    u: Array
    columns: int
    within_ss: Array
    known: NDArray[np.bool_]
    visit: Codes
    residual: Codes
    deviations: Array | None
    session_of_row: Codes | None
    left_out: Mapping[str, int]
    taken: int

    @property
    def x(self) -> Array:
        """Return X (J, p)."""
        return self.u[:, : self.columns]

    @property
    def y(self) -> Array:
        """Return the means of the outcome (J,)."""
        return self.u[:, -1]


def coded(frame: pd.DataFrame, spec: ModelSpec) -> tuple[Rows, ModelSpec]:
    """Return the frame's sessions as arrays, and the specification with its design filled in."""
    table, keep, left_out = usable(table_of(frame, spec), spec)
    y = _outcome(frame, table, keep, spec)
    _refuse_size(y, spec.formula.response)
    strange = ~np.isfinite(y)
    if strange.any():
        reason = f"no finite {spec.formula.response}"
        left_out[reason] = int(strange.sum())
        table, y = table.taken(~strange), y[~strange]
    if not len(y):
        reasons = ", ".join(f"{number} with {reason}" for reason, number in left_out.items())
        raise CallError(f"No row can enter the fit ({reasons or 'the data are empty'}).")
    if spec.design is None:
        spec = replace(spec, levels=levels_present(table, spec))
    animal, labels = _animals(table.texts[spec.animal])
    groups = _groups(table, animal, labels, spec)
    if spec.kind == "readings":
        sessions = _sessions_of_readings(table, y, animal, spec)
    else:
        index = frame.index[keep][~strange] if spec.session is None else None
        sessions = _sessions_as_given(table, y, index, spec)
        sessions["animal"] = animal.astype(np.int64)
    spec = sessions.pop("spec")
    return Rows(
        animals=labels, groups=groups, left_out=left_out, taken=len(frame), **sessions
    ), spec


def _outcome(frame: pd.DataFrame, table: Table, keep: NDArray[np.bool_], spec: ModelSpec) -> Array:
    name = spec.formula.response
    if name in frame.columns:
        if name not in table.numbers:
            raise CallError(f"Column {name} is the outcome, but it holds no numbers.")
        return table.numbers[name].astype(float, copy=False)
    whole = keep.all()
    return response_values(spec.formula, frame if whole else frame[keep])


def _animals(text: Text) -> tuple[Codes, pd.Index[Any]]:
    """Return animal codes without gaps, and their labels."""
    if text.complete:
        return text.codes, text.labels
    present = np.bincount(text.codes, minlength=len(text.labels)) > 0
    if present.all():
        return text.codes, text.labels
    place = np.cumsum(present) - 1
    return place[text.codes], text.labels[present]


def _classes(table: Table, name: str | None, spec: ModelSpec) -> Codes:
    """Return the code of each row's level of a class column; zeros where there is none."""
    if name is None:
        return np.zeros(table.rows, np.int16)
    levels = spec.levels[name]
    size = np.int16 if len(levels) < 2**15 else np.int32
    return class_codes(table.texts[name], levels).astype(size)


def _groups(table: Table, animal: Codes, labels: pd.Index[Any], spec: ModelSpec) -> Codes:
    of_animal = np.zeros(len(labels), np.int64)
    if spec.group is None:
        return of_animal
    codes = _classes(table, spec.group, spec)
    of_animal[animal] = codes
    strays = of_animal[animal] != codes
    if np.any(strays):
        one = labels[animal[strays][0]]
        raise CallError(f"Animals must nest in {spec.group}, but {one} is in more than one.")
    return of_animal


def _u(table: Table, y: Array, spec: ModelSpec) -> tuple[Array, int, ModelSpec]:
    """Return X, the slopes X lacks and the outcome, p, and the specification with its design."""
    large = table.rows > _MANY_ROWS and not spec.formula.calls & WHOLE_COLUMN_CALLS
    x = None
    if spec.design is None and large:
        spec = design_of_table(table, spec)
    if spec.design is None:
        ready = table.frame(spec.formula.columns, spec.levels, spec.formula.classes)
        design, x = make_design(spec.formula, ready)
        spec = replace(spec, design=design)
    assert spec.design is not None
    names = spec.design.names
    extra = [name for name in spec.slopes if name not in names]
    u = np.empty((len(names) + len(extra) + 1, table.rows)).T
    if x is not None:
        u[:, : len(names)] = x
    elif spec.design.recipe is not None:
        part = u[:, : len(names)]
        codes = {
            called: class_codes(table.texts[called], levels)
            for called, levels in spec.design.levels.items()
        }
        follow(spec.design.recipe, part, table.numbers, codes, spec.design.levels)
    else:
        _fill(u[:, : len(names)], table, spec.design, spec)
    for place, name in enumerate(extra, start=len(names)):
        u[:, place] = _slope(table, name)
    for place, name in enumerate([*names, *extra]):
        _refuse_size(u[:, place], name)
        if not np.isfinite(u[:, place]).all():
            raise CallError(f'The column "{name}" of the design is not a finite number everywhere.')
    u[:, -1] = y
    return u, len(names), spec


def _refuse_size(values: Array, name: str) -> None:
    """Raise a CallError for numbers whose squares, summed, are too large or small for doubles."""
    if not len(values):
        return
    low, high = float(np.fmin.reduce(values)), float(np.fmax.reduce(values))
    largest = max(abs(low), abs(high))
    if np.isinf(largest):
        largest = float(np.abs(values[np.isfinite(values)]).max(initial=0.0))
    if largest > _LARGEST or 0.0 < largest < 1.0 / _LARGEST:
        raise CallError(
            f"{name} reaches {largest:.3g}, which is too {'large' if largest > 1 else 'small'} to "
            "compute with: correct it, or give another unit."
        )


def _fill(x: Array, table: Table, design: Design, spec: ModelSpec) -> None:
    """Write X for the rows of a table, some rows at a time."""
    for begin in range(0, table.rows, _ROWS_OF_FORMULA):
        chunk = slice(begin, begin + _ROWS_OF_FORMULA)
        few, formula = table.taken(chunk), spec.formula
        ready = few.frame(formula.columns, spec.levels, formula.classes)
        x[chunk] = design.matrix_of(ready)


def _slope(table: Table, name: str) -> Array:
    if name in table.numbers:
        return table.numbers[name].astype(float)
    if name in table.texts:
        raise CallError(f'The slope "{name}" must be a column of numbers.')
    raise CallError(f'The slope "{name}" is neither a column of the data nor of the design.')


def _sessions_as_given(
    table: Table, y: Array, index: pd.Index[Any] | None, spec: ModelSpec
) -> dict[str, Any]:
    """Return sessions where each row is one."""
    n = table.rows
    count, within_ss, known = np.ones(n, np.int64), np.zeros(n), np.ones(n, bool)
    if spec.kind == "sessions":
        count, within_ss, known = _given_scatter(table, spec)
    u, p, spec = _u(table, y, spec)
    labels = _labels(table, spec.session) if index is None else index.to_numpy()
    return {
        "label": labels,
        "count": count,
        "u": u,
        "columns": p,
        "within_ss": within_ss,
        "known": known,
        "visit": _classes(table, spec.visit_by, spec)
        if count.max() > 1
        else np.full(n, -1, np.int16),
        "residual": _classes(table, spec.residual_by, spec),
        "deviations": None,
        "session_of_row": None,
        "spec": spec,
    }


def _labels(table: Table, name: str | None) -> NDArray[Any]:
    if name is not None and name in table.numbers:
        return table.numbers[name]
    if name is not None and name in table.texts:
        text = table.texts[name]
        return text.labels.to_numpy()[text.codes]
    return np.arange(table.rows)


def _given_scatter(table: Table, spec: ModelSpec) -> tuple[Codes, Array, NDArray[np.bool_]]:
    number, squares, bound = spec.own_columns
    raw = table.numbers[number]
    count = np.rint(raw).astype(np.int64)
    if np.any(raw != count):
        raise CallError(f"Column {number} must hold whole numbers of readings.")
    within_ss = table.numbers.get(squares, np.full(table.rows, np.nan)).astype(float)
    known = np.isfinite(within_ss)
    if bound in table.texts:
        blank = missing_values(table, bound)
        known &= blank if blank is not None else False
    known |= count == 1
    if np.any(within_ss[known & (count > 1)] < 0):
        raise CallError(f"Column {squares} holds a sum of squares below zero.")
    return count, np.where(known & (count > 1), within_ss, 0.0), known


def _sessions_of_readings(table: Table, y: Array, animal: Codes, spec: ModelSpec) -> dict[str, Any]:
    """Return sessions from readings, with row moments where X varies within them."""
    owner, first, count = _session_codes(table, animal, spec)
    n, sessions = table.rows, len(count)
    mean = np.bincount(owner, y, sessions) / count
    varying = _varying(table, owner, first, spec)
    by_class = [name for name in (spec.visit_by, spec.residual_by) if name in varying]
    if by_class:
        raise CallError(f"Column {by_class[0]} must have one value within a session.")
    at_first = table.taken(first)
    deviations = None
    if varying:
        u, p, spec = _u(table, y, spec)
        means = np.stack([np.bincount(owner, column, sessions) / count for column in u.T]).T
        deviations = u - means[owner]
        within_ss = np.bincount(owner, deviations[:, -1] ** 2, sessions)
    else:
        left = mean[owner]
        np.subtract(y, left, out=left)
        np.square(left, out=left)
        within_ss = np.bincount(owner, left, sessions)
        del left
        means, p, spec = _u(at_first, mean, spec)
    visit = _classes(at_first, spec.visit_by, spec)
    return {
        "animal": animal[first].astype(np.int64),
        "label": _labels(at_first, spec.session),
        "count": count,
        "u": means,
        "columns": p,
        "within_ss": within_ss,
        "known": np.ones(sessions, bool),
        "visit": visit if n > sessions else np.full(sessions, -1, np.int16),
        "residual": _classes(at_first, spec.residual_by, spec),
        "deviations": deviations,
        "session_of_row": owner if deviations is not None else None,
        "spec": spec,
    }


def _session_codes(table: Table, animal: Codes, spec: ModelSpec) -> tuple[Codes, Codes, Codes]:
    """Return each row's session, each session's first row, and its count of rows.

    Sessions are ordered by animal code and label code, whatever the order of the rows. Rows of a
    session usually stand together: runs of them are sorted, not rows, and only where they must be.
    """
    name = str(spec.session)
    code = table.texts[name].codes if name in table.texts else table.numbers[name]
    change = np.ones(len(code), bool)
    change[1:] = (code[1:] != code[:-1]) | (animal[1:] != animal[:-1])
    head = np.flatnonzero(change)
    length = np.diff(np.append(head, len(code)))
    of_animal, label = animal[head], code[head]
    later = of_animal[1:] > of_animal[:-1]
    if np.all(later | ((of_animal[1:] == of_animal[:-1]) & (label[1:] > label[:-1]))):
        return np.repeat(np.arange(len(head)), length), head, length
    order = np.lexsort((label, of_animal))
    of_animal, label = of_animal[order], label[order]
    fresh = np.ones(len(head), bool)
    fresh[1:] = (of_animal[1:] != of_animal[:-1]) | (label[1:] != label[:-1])
    session = np.empty(len(head), np.int64)
    session[order] = np.cumsum(fresh) - 1
    owner = np.repeat(session, length)
    count = np.bincount(session, length).astype(np.int64)
    # The first row of each session; written backwards, so that the first stays.
    first = np.empty(len(count), np.int64)
    for begin in range((len(owner) - 1) // _ROWS_AT_ONCE * _ROWS_AT_ONCE, -1, -_ROWS_AT_ONCE):
        block = owner[begin : begin + _ROWS_AT_ONCE]
        first[block[::-1]] = np.arange(begin + len(block) - 1, begin - 1, -1)
    return owner, first, count


def _same_within(
    values: NDArray[Any], owner: Codes, first: Codes, goes_on: NDArray[np.bool_]
) -> bool:
    """Return whether every row has the value of its session's first row.

    `goes_on` (n − 1,) tells which rows' sessions are that of the row before; where all of a
    session's rows stand together that says everything.
    """
    if np.any((values[1:] != values[:-1]) & goes_on):
        return False
    if len(first) == len(owner) - np.count_nonzero(goes_on):
        return True
    at_first = values[first]
    return all(
        np.array_equal(
            at_first[owner[begin : begin + _ROWS_AT_ONCE]], values[begin : begin + _ROWS_AT_ONCE]
        )
        for begin in range(0, len(values), _ROWS_AT_ONCE)
    )


def _varying(table: Table, owner: Codes, first: Codes, spec: ModelSpec) -> set[str]:
    """Return the needed columns that take several values within some session."""
    named = [*spec.formula.columns, *spec.slopes, spec.visit_by, spec.residual_by]
    varying, goes_on = set(), owner[1:] == owner[:-1]
    for name in dict.fromkeys(name for name in named if name is not None):
        values = table.numbers.get(name)
        if values is None and name in table.texts:
            values = table.texts[name].codes
        if values is not None and not _same_within(values, owner, first, goes_on):
            varying.add(name)
    return varying
