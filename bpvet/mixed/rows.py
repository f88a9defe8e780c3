"""From a data frame to the sessions of a cohort as arrays: codes, counts, means, scatter."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bpvet.errors import CallError
from bpvet.frozen import dataclass, replace
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
_LONG_SESSION = 32
# So many sessions' values stay in a processor's cache between steps.
_SESSIONS_IN_CACHE = 32_768
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
    if not _all_finite(y, spec.formula.response):
        strange = ~np.isfinite(y)
        left_out[f"no finite {spec.formula.response}"] = int(strange.sum())
        table, y = table.taken(~strange), y[~strange]
        keep[keep] = ~strange
    if not len(y):
        reasons = ", ".join(f"{number} with {reason}" for reason, number in left_out.items())
        raise CallError(f"No row can enter the fit ({reasons or 'the data are empty'}).")
    if spec.design is None:
        spec = replace(spec, levels=levels_present(table, spec))
    animal = _animals(table.texts[spec.animal])
    groups = _groups(table, animal, spec)
    if spec.kind == "readings":
        sessions = _sessions_of_readings(table, y, animal, spec)
    else:
        index = frame.index[keep] if spec.session is None else None
        sessions = _sessions_as_given(table, y, index, spec)
        sessions["animal"] = animal.codes.astype(np.int64)
    spec = sessions.pop("spec")
    return Rows(
        animals=animal.labels, groups=groups, left_out=left_out, taken=len(frame), **sessions
    ), spec


def _outcome(frame: pd.DataFrame, table: Table, keep: NDArray[np.bool_], spec: ModelSpec) -> Array:
    name = spec.formula.response
    if name in frame.columns:
        if name not in table.numbers:
            raise CallError(f"Column {name} is the outcome, but it holds no numbers.")
        return table.numbers[name].astype(float, copy=False)
    complete = keep.all()
    return response_values(spec.formula, frame if complete else frame[keep])


def _animals(text: Text) -> Text:
    """Return the animals, all of whose labels occur."""
    if text.complete:
        return text
    present = np.bincount(text.run_codes, minlength=len(text.labels)) > 0
    if present.all():
        return text
    new_code = np.cumsum(present) - 1
    return replace(text, run_codes=new_code[text.run_codes], labels=text.labels[present])


def _classes(table: Table, name: str | None, spec: ModelSpec) -> NDArray[Any]:
    """Return the code of each row's level of a class column; zeros where there is none."""
    if name is None:
        return np.zeros(table.rows, np.int16)
    return class_codes(table.texts[name], spec.levels[name])


def _groups(table: Table, animal: Text, spec: ModelSpec) -> Codes:
    of_animal = np.zeros(len(animal.labels), np.int64)
    if spec.group is None:
        return of_animal
    codes = _classes(table, spec.group, spec)
    of_animal[animal.codes] = codes
    strays = of_animal[animal.codes] != codes
    if np.any(strays):
        stray = animal.labels[animal.codes[strays][0]]
        raise CallError(f"Animals must nest in {spec.group}, but {stray} is in more than one.")
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
        x_columns = u[:, : len(names)]
        codes = {
            called: class_codes(table.texts[called], levels)
            for called, levels in spec.design.levels.items()
        }
        follow(spec.design.recipe, x_columns, table.numbers, codes, spec.design.levels)
    else:
        _fill(u[:, : len(names)], table, spec.design, spec)
    for column, name in enumerate(extra, start=len(names)):
        u[:, column] = _slope(table, name)
    for column, name in enumerate([*names, *extra]):
        if not _all_finite(u[:, column], name):
            raise CallError(f'The column "{name}" of the design is not a finite number everywhere.')
    u[:, -1] = y
    return u, len(names), spec


def _all_finite(values: Array, name: str) -> bool:
    """Return whether all numbers are finite.

    Raises
    ------
    CallError
        Where the squares of those that are, summed, are too large or small for doubles.
    """
    if not len(values):
        return True
    with np.errstate(invalid="ignore", over="ignore"):
        squares = float(values @ values)
    if len(values) / _LARGEST < squares < _LARGEST:
        return True
    largest = max(abs(float(values.min())), abs(float(values.max())))
    finite = bool(np.isfinite(largest))
    if not finite:
        largest = float(np.abs(values[np.isfinite(values)]).max(initial=0.0))
    if largest > _LARGEST or 0.0 < largest < 1.0 / _LARGEST:
        raise CallError(
            f"{name} reaches {largest:.3g}, which is too {'large' if largest > 1 else 'small'} to "
            "compute with: correct it, or give another unit."
        )
    return finite


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


class Runs(NamedTuple):
    """Which rows make a session.

    Parameters
    ----------
    order : (n,) int or None
        Rows so that those of a session stand together; None where they do.
    head, length : (J,) int
        Where each session begins in that order, and its number of rows.
    animal, label : (J,) int
        Codes of each session's animal and label.
    goes_on : (n − 1,) bool
        Whether a row's session goes on in the next, in that order.
    """

    order: Codes | None
    head: Codes
    length: Codes
    animal: NDArray[Any]
    label: NDArray[Any]
    goes_on: NDArray[np.bool_]

    def arranged(self, values: NDArray[Any]) -> NDArray[Any]:
        """Return values of rows (n,) in order."""
        return values if self.order is None else values[self.order]

    @property
    def first(self) -> Codes:
        """Return each session's first row (J,)."""
        return self.head if self.order is None else self.order[self.head]

    @property
    def session_of_row(self) -> Codes:
        """Return the session of each row in order (n,)."""
        return np.repeat(np.arange(len(self.length)), self.length)

    def means_and_squares(self, values: Array) -> tuple[Array, Array]:
        """Return the mean of each session and the sum of squares about it, (J,) each.

        Sessions are short: adding the second rows of all, then the third ones … is quicker than
        adding row by row. Sums are of differences from a session's first row, so that one pass
        gives both without loss of digits.

        Parameters
        ----------
        values : (n,) float
            Of rows in order; finite.
        """
        if self.length.max() > _LONG_SESSION:
            session = self.session_of_row
            mean = np.bincount(session, values) / self.length
            return mean, np.bincount(session, (values - mean[session]) ** 2).astype(float)
        mean, within = np.empty(len(self.head)), np.zeros(len(self.head))
        for begin in range(0, len(self.head), _SESSIONS_IN_CACHE):
            block = slice(begin, begin + _SESSIONS_IN_CACHE)
            head, length, squares = self.head[block], self.length[block], within[block]
            start, total, shortest = values[head], np.zeros(len(head)), int(length.min())
            for nth in range(1, int(length.max())):
                # What lies beyond a session is taken too, and counts as nothing.
                row = head + nth
                if row[-1] >= len(values):
                    np.minimum(row, len(values) - 1, out=row)
                from_start = np.take(values, row)
                from_start -= start
                if nth >= shortest:
                    from_start *= length > nth
                total += from_start
                from_start *= from_start
                squares += from_start
            shift = total / length
            np.add(start, shift, out=mean[block])
            squares -= total * shift
        return mean, within


def _sessions_of_readings(table: Table, y: Array, animal: Text, spec: ModelSpec) -> dict[str, Any]:
    """Return sessions from readings, with row moments where X varies within them."""
    runs = _session_runs(table, animal, spec)
    n, sessions = table.rows, len(runs.length)
    y = runs.arranged(y)
    mean, within_ss = runs.means_and_squares(y)
    varying = _varying(table, runs, spec)
    by_class = [name for name in (spec.visit_by, spec.residual_by) if name in varying]
    if by_class:
        raise CallError(f"Column {by_class[0]} must have one value within a session.")
    needed = {spec.visit_by, spec.residual_by}.union(spec.formula.columns, spec.slopes)
    at_first = table.at_heads(runs.first, needed, in_order=runs.order is None)
    deviations = session_of_row = None
    if varying:
        u, p, spec = _u(table if runs.order is None else table.taken(runs.order), y, spec)
        means = np.stack([runs.means_and_squares(column)[0] for column in u.T]).T
        session_of_row = runs.session_of_row
        deviations = u - means[session_of_row]
    else:
        means, p, spec = _u(at_first, mean, spec)
    visit = _classes(at_first, spec.visit_by, spec)
    text = table.texts.get(str(spec.session))
    return {
        "animal": runs.animal.astype(np.int64),
        "label": runs.label if text is None else text.labels.to_numpy()[runs.label],
        "count": runs.length,
        "u": means,
        "columns": p,
        "within_ss": within_ss,
        "known": np.ones(sessions, bool),
        "visit": visit if n > sessions else np.full(sessions, -1, np.int16),
        "residual": _classes(at_first, spec.residual_by, spec),
        "deviations": deviations,
        "session_of_row": session_of_row,
        "spec": spec,
    }


def _session_runs(table: Table, animal: Text, spec: ModelSpec) -> Runs:
    """Return the sessions' rows.

    Sessions are ordered by animal code and label code, whatever the order of the rows. Rows of a
    session usually stand together: runs of them are sorted, not rows, and only where they must be.
    """
    name = str(spec.session)
    code = table.texts[name].codes if name in table.texts else table.numbers[name]
    change = animal.starts.copy()
    change[1:] |= code[1:] != code[:-1]
    head = np.flatnonzero(change)
    length = np.diff(head, append=len(code))
    of_animal, label = animal.at_heads(head).codes, np.take(code, head)
    later = of_animal[1:] > of_animal[:-1]
    if np.all(later | ((of_animal[1:] == of_animal[:-1]) & (label[1:] > label[:-1]))):
        return Runs(None, head, length, of_animal, label, ~change[1:])
    order = np.lexsort((label, of_animal))
    of_animal, label, length = of_animal[order], label[order], length[order]
    fresh = np.ones(len(head), bool)
    fresh[1:] = (of_animal[1:] != of_animal[:-1]) | (label[1:] != label[:-1])
    start = np.cumsum(length) - length
    rows = np.arange(len(code)) + np.repeat(head[order] - start, length)
    head, length = start[fresh], np.diff(start[fresh], append=len(code))
    goes_on = np.ones(len(code) - 1, bool)
    goes_on[head[1:] - 1] = False
    return Runs(rows, head, length, of_animal[fresh], label[fresh], goes_on)


def _varying(table: Table, runs: Runs, spec: ModelSpec) -> set[str]:
    """Return the needed columns that take several values within some session."""
    named = [*spec.formula.columns, *spec.slopes, spec.visit_by, spec.residual_by]
    varying = set()
    for name in dict.fromkeys(name for name in named if name is not None):
        if name in table.numbers:
            values = runs.arranged(table.numbers[name])
            differs = values[1:] != values[:-1]
        elif name not in table.texts:
            continue
        elif runs.order is None:
            differs = table.texts[name].starts[1:]
        else:
            codes = runs.arranged(table.texts[name].codes)
            differs = codes[1:] != codes[:-1]
        if np.any(differs & runs.goes_on):
            varying.add(name)
    return varying
