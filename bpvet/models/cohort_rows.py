"""From a data frame to the sessions of a cohort as arrays: codes, counts, means, scatter.

Every row that cannot enter is counted under its reason; none is dropped in silence.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bpvet.errors import CallError
from bpvet.models.design import (
    Design,
    Formula,
    levels_of,
    make_design,
    prepared,
    read_formula,
    response_values,
)

Array = NDArray[np.float64]
Codes = NDArray[np.int64]

_LARGEST_TABLE = 50_000_000


@dataclass(frozen=True, eq=False)
class Question:
    """What is asked of the data: the formula, the grouping columns, and their levels.

    Parameters
    ----------
    formula : Formula
    animal : str
    session : str or None
        None where each row stands alone.
    slopes : tuple of str
    visit_by, residual_by, group : str or None
    kind : str
        ``sessions`` (one row a session with its count), ``readings`` or ``plain``.
    levels : dict
        Levels of every text column in the formula and of the class columns.
    design : Design or None
        Filled once the levels are known.
    """

    formula: Formula
    animal: str
    session: str | None
    slopes: tuple[str, ...]
    visit_by: str | None
    residual_by: str | None
    group: str | None
    kind: str
    levels: Mapping[str, tuple[str, ...]]
    design: Design | None = None

    @property
    def own_columns(self) -> tuple[str, ...]:
        """Return the columns of a sessions frame that describe the outcome."""
        if self.kind != "sessions":
            return ()
        name = self.formula.response
        return f"{name}_n", f"{name}_ss", f"{name}_bound"

    @property
    def required(self) -> tuple[str, ...]:
        """Return the columns in which a row must have a value."""
        named: list[str | None] = [*self.formula.response_columns, self.animal]
        named += [*self.formula.columns, *self.slopes]
        named += [self.visit_by, self.residual_by, self.group]
        if self.kind == "readings":
            named.append(self.session)
        if self.kind == "sessions":
            named.append(self.own_columns[0])
        return tuple(dict.fromkeys(name for name in named if name is not None))


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
    y : (J,) float
        Means of the outcome.
    scatter : (J,) float
    known : (J,) bool
    visit, residual : (J,) int
        Classes; visit is −1 where there is no visit effect.
    x : (J, p) float
    slopes : (J, e) float
        Columns of Z that X lacks.
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
    y: Array
    scatter: Array
    known: NDArray[np.bool_]
    visit: Codes
    residual: Codes
    x: Array
    slopes: Array
    deviations: Array | None
    session_of_row: Codes | None
    left_out: Mapping[str, int]
    taken: int


def question(
    columns: list[str],
    formula: str,
    animal: str,
    session: str | None,
    slopes: tuple[str, ...],
    visit_by: str | None,
    residual_by: str | None,
    group: str | None,
) -> Question:
    """Return the question after checking that the data have the columns it names."""
    read = read_formula(formula, columns)
    for name, role in (
        (animal, "animal"),
        (visit_by, "visit_by"),
        (residual_by, "residual_by"),
        (group, "group"),
    ):
        if name is not None and name not in columns:
            raise CallError(f'The data have no column "{name}" (given as {role}).')
    kind = _kind(read, columns, session)
    if kind == "plain" and visit_by is not None:
        raise CallError("visit_by needs sessions of several readings; give session= as well.")
    return Question(read, animal, session, slopes, visit_by, residual_by, group, kind, levels={})


def _kind(formula: Formula, columns: list[str], session: str | None) -> str:
    if session is None:
        return "plain"
    if f"{formula.response}_n" in columns:
        return "sessions"
    if session in columns:
        base = formula.response_columns[0]
        if f"{base}_n" in columns:
            raise CallError(
                f'"{formula.response}" of a mean is not the mean of "{formula.response}": '
                "give readings, or session=None where each session holds one."
            )
        return "readings"
    raise CallError(
        f'The data have no column "{session}" (given as session); where each row stands alone, '
        "pass session=None."
    )


def levels_needed(frame: pd.DataFrame, asked: Question) -> dict[str, tuple[str, ...]]:
    """Return the levels a frame holds of the text and class columns."""
    return _levels(usable(frame, asked)[0], asked)


def _levels(rows: pd.DataFrame, asked: Question) -> dict[str, tuple[str, ...]]:
    levels = levels_of(rows[list(asked.formula.columns)])
    for name in (asked.visit_by, asked.residual_by, asked.group):
        if name is not None and name not in levels:
            levels[name] = tuple(sorted(rows[name].astype(str).unique()))
    return levels


def usable(frame: pd.DataFrame, asked: Question) -> tuple[pd.DataFrame, dict[str, int]]:
    """Return the rows that have a value wherever one is needed, and the others by reason."""
    keep = np.ones(len(frame), bool)
    left_out: dict[str, int] = {}
    for name in asked.required:
        if name not in frame.columns:
            continue
        missing = _missing(frame[name]) & keep
        if missing.any():
            left_out[f"no {name}"] = int(missing.sum())
            keep &= ~missing
    if asked.kind == "sessions":
        empty = keep & (frame[asked.own_columns[0]].to_numpy(float, na_value=0.0) < 1)
        if empty.any():
            left_out["no reading"] = int(empty.sum())
            keep &= ~empty
    return (frame if keep.all() else frame[keep]), left_out


def _missing(column: pd.Series[Any]) -> NDArray[np.bool_]:
    if pd.api.types.is_float_dtype(column.dtype):
        finite: NDArray[np.bool_] = np.isfinite(column.to_numpy(dtype=float, na_value=np.nan))
        return ~finite
    missing: NDArray[np.bool_] = column.isna().to_numpy(dtype=bool)
    if not pd.api.types.is_numeric_dtype(column.dtype):
        missing = missing | (column == "").fillna(False).to_numpy(dtype=bool)
    return missing


def with_design(frame: pd.DataFrame, asked: Question) -> Question:
    """Return the question with the design that the formula gives on these (usable) rows."""
    return replace(asked, design=make_design(asked.formula, frame, dict(asked.levels))[0])


def design_at_levels(asked: Question) -> Question:
    """Return the question with a design made from the levels alone, for rows not yet seen."""
    levels = {name: asked.levels[name] for name in asked.formula.columns if name in asked.levels}
    n = max([2, *(len(values) for values in levels.values())])
    frame = {}
    for name in asked.formula.columns:
        values = levels.get(name)
        frame[name] = (
            np.resize(np.array(values, dtype=object), n)
            if values is not None
            else np.linspace(1.0, 2.0, n)
        )
    return with_design(pd.DataFrame(frame), asked)


def coded(frame: pd.DataFrame, asked: Question) -> tuple[Rows, Question]:
    """Return the frame's sessions as arrays, and the question with its design filled in."""
    rows, left_out = usable(frame, asked)
    if not len(rows):
        reasons = ", ".join(f"{number} with {reason}" for reason, number in left_out.items())
        raise CallError(f"No row can enter the fit ({reasons or 'the data are empty'}).")
    y = response_values(asked.formula, rows)
    strange = ~np.isfinite(y)
    if strange.any():
        reason = f"no finite {asked.formula.response}"
        left_out[reason] = int(strange.sum())
        rows, y = rows[~strange], y[~strange]
    if asked.design is None:
        asked = replace(asked, levels=_levels(rows, asked))
    animal, labels = pd.factorize(rows[asked.animal])
    animal = animal.astype(np.int64)
    groups = _groups(rows, animal, len(labels), asked)
    if asked.kind == "readings":
        sessions = _sessions_of_readings(rows, y, animal, len(labels), asked)
    else:
        sessions = _sessions_as_given(rows, y, asked)
        sessions["animal"] = animal
    asked = sessions.pop("asked")
    return Rows(
        animals=pd.Index(labels),
        groups=groups,
        left_out=left_out,
        taken=len(frame),
        **sessions,
    ), asked


def _classes(rows: pd.DataFrame, name: str | None, asked: Question) -> Codes:
    """Return the code of each row's level of a class column; zeros where there is none."""
    if name is None:
        return np.zeros(len(rows), np.int64)
    codes, found = pd.factorize(rows[name])
    place = {level: code for code, level in enumerate(asked.levels[name])}
    table = np.array([place[str(level)] for level in found], np.int64)
    return table[codes]


def _groups(rows: pd.DataFrame, animal: Codes, animals: int, asked: Question) -> Codes:
    codes = _classes(rows, asked.group, asked)
    of_animal = np.zeros(animals, np.int64)
    of_animal[animal] = codes
    if np.any(of_animal[animal] != codes):
        strays = rows[asked.animal].to_numpy()[of_animal[animal] != codes]
        raise CallError(f"Animals must nest in {asked.group}, but {strays[0]} is in more than one.")
    return of_animal


def _x(rows: pd.DataFrame, asked: Question) -> tuple[Array, Array, Question]:
    """Return X, the slopes' columns that X lacks, and the question with its design."""
    if asked.design is None:
        design, x = make_design(asked.formula, rows, dict(asked.levels))
        asked = replace(asked, design=design)
    else:
        x = asked.design.matrix(rows)
    names = asked.design.names if asked.design is not None else ()
    extra = [_slope(rows, name) for name in asked.slopes if name not in names]
    return x, np.column_stack(extra) if extra else np.zeros((len(rows), 0)), asked


def _slope(rows: pd.DataFrame, name: str) -> Array:
    if name not in rows.columns:
        raise CallError(f'The slope "{name}" is neither a column of the data nor of the design.')
    if not pd.api.types.is_numeric_dtype(rows[name].dtype):
        raise CallError(f'The slope "{name}" must be a column of numbers.')
    return rows[name].to_numpy(dtype=float)


def _sessions_as_given(rows: pd.DataFrame, y: Array, asked: Question) -> dict[str, Any]:
    """Return sessions where each row is one."""
    n = len(rows)
    count, scatter, known = np.ones(n, np.int64), np.zeros(n), np.ones(n, bool)
    if asked.kind == "sessions":
        count, scatter, known = _given_scatter(rows, asked)
    x, slopes, asked = _x(rows, asked)
    labels = rows.index
    if asked.session is not None and asked.session in rows.columns:
        labels = pd.Index(rows[asked.session])
    residual = _classes(rows, asked.residual_by, asked)
    visit = _classes(rows, asked.visit_by, asked)
    return {
        "label": labels.to_numpy(),
        "count": count,
        "y": y,
        "scatter": scatter,
        "known": known,
        "visit": visit if count.max() > 1 else np.full(n, -1),
        "residual": residual,
        "x": x,
        "slopes": slopes,
        "deviations": None,
        "session_of_row": None,
        "asked": asked,
    }


def _given_scatter(rows: pd.DataFrame, asked: Question) -> tuple[Codes, Array, NDArray[np.bool_]]:
    number, squares, bound = asked.own_columns
    raw = rows[number].to_numpy(dtype=float)
    count = np.rint(raw).astype(np.int64)
    if np.any(raw != count):
        raise CallError(f"Column {number} must hold whole numbers of readings.")
    scatter = np.full(len(rows), np.nan)
    if squares in rows.columns:
        scatter = rows[squares].to_numpy(dtype=float, na_value=np.nan)
    known = np.isfinite(scatter)
    if bound in rows.columns:
        known &= rows[bound].isna().to_numpy(dtype=bool) | (rows[bound] == "").to_numpy(dtype=bool)
    known |= count == 1
    if np.any(scatter[known & (count > 1)] < 0):
        raise CallError(f"Column {squares} holds a sum of squares below zero.")
    return count, np.where(known & (count > 1), scatter, 0.0), known


def _sessions_of_readings(
    rows: pd.DataFrame, y: Array, animal: Codes, animals: int, asked: Question
) -> dict[str, Any]:
    """Return sessions from readings, with row moments where X varies within them."""
    owner, first, count = _session_codes(rows, animal, asked)
    n, sessions = len(rows), len(count)
    mean = np.bincount(owner, y, sessions) / count
    varying = _varying(rows, owner, first, asked)
    by_class = [name for name in (asked.visit_by, asked.residual_by) if name in varying]
    if by_class:
        raise CallError(f"Column {by_class[0]} must have one value within a session.")
    at_first = rows.iloc[first]
    if varying:
        x_rows, slope_rows, asked = _x(rows, asked)
        u = np.column_stack([x_rows, slope_rows, y])
        means = np.stack([np.bincount(owner, column, sessions) / count for column in u.T], axis=1)
        p = x_rows.shape[1]
        x, slopes, deviations = means[:, :p], means[:, p:-1], u - means[owner]
        scatter = np.bincount(owner, deviations[:, -1] ** 2, sessions)
    else:
        x, slopes, asked = _x(at_first, asked)
        deviations = None
        scatter = np.bincount(owner, (y - mean[owner]) ** 2, sessions)
    visit = _classes(at_first, asked.visit_by, asked)
    return {
        "animal": animal[first],
        "label": at_first[asked.session].to_numpy(),
        "count": count,
        "y": mean,
        "scatter": scatter,
        "known": np.ones(sessions, bool),
        "visit": visit if n > sessions else np.full(sessions, -1),
        "residual": _classes(at_first, asked.residual_by, asked),
        "x": x,
        "slopes": slopes,
        "deviations": deviations,
        "session_of_row": owner if deviations is not None else None,
        "asked": asked,
    }


def _session_codes(
    rows: pd.DataFrame, animal: Codes, asked: Question
) -> tuple[Codes, Codes, Codes]:
    """Return each row's session, each session's first row, and its count of rows.

    Sessions are ordered by animal code and label code, whatever the order of the rows.
    """
    column = rows[asked.session]
    if pd.api.types.is_integer_dtype(column.dtype):
        code = column.to_numpy(dtype=np.int64)
        code = code - code.min()
    else:
        code = pd.factorize(column)[0].astype(np.int64)
    width = int(code.max()) + 1
    if (int(animal.max()) + 1) * width > _LARGEST_TABLE:
        code = pd.factorize(code)[0].astype(np.int64)
        width = int(code.max()) + 1
    key = animal * width + code
    if int(key.max()) < max(_LARGEST_TABLE, 4 * len(key)):
        number = np.bincount(key)
        present = np.flatnonzero(number)
        place = np.empty(len(number), np.int64)
        place[present] = np.arange(len(present))
        owner, count = place[key], number[present]
    else:
        _, owner, count = np.unique(key, return_inverse=True, return_counts=True)
    first = np.empty(len(count), np.int64)
    first[owner[::-1]] = np.arange(len(owner) - 1, -1, -1)
    return owner, first, count


def _varying(rows: pd.DataFrame, owner: Codes, first: Codes, asked: Question) -> set[str]:
    """Return the needed columns that take several values within some session."""
    named = [*asked.formula.columns, asked.visit_by, asked.residual_by]
    named += [name for name in asked.slopes if name in rows.columns]
    varying = set()
    for name in dict.fromkeys(c for c in named if c is not None):
        column = rows[name]
        if pd.api.types.is_numeric_dtype(column.dtype):
            values: NDArray[Any] = column.to_numpy()
        else:
            values = pd.factorize(column)[0]
        if not np.array_equal(values[first][owner], values):
            varying.add(name)
    return varying


__all__ = ["Question", "Rows", "coded", "design_at_levels", "levels_needed", "prepared", "question"]
