"""The steps of a cohort's fit: rows, sums, scaling, moments, optimum.

Data come in parts (one, in the usual case). What a part keeps between steps stays where the part
is; only small sums travel.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, NamedTuple, Protocol

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bpvet.errors import BpvetError, CallError, FitError, FormulaError
from bpvet.mixed.columns import Question
from bpvet.mixed.criterion import Criterion
from bpvet.mixed.formula_guard import WHOLE_COLUMN_CALLS
from bpvet.mixed.levels import Seen, asked_together, seen
from bpvet.mixed.moments import Moments, SessionArrays, moments
from bpvet.mixed.optimiser import Outcome, Point, minimise, point_at, usual_starts
from bpvet.mixed.rows import Rows, coded
from bpvet.mixed.scaling import Scaling, Sums, added, scaling_of, shift_of, sums

Array = NDArray[np.float64]

# Small cohorts can have several local optima: they are searched from four starts.
SMALL = 500


class Crew(Protocol):
    """Whoever works on the parts: `keep` leaves results where they are, `collect` brings them."""

    def keep(self, function: Callable[[Any], Any], parts: Sequence[Any]) -> Sequence[Any]:
        """Return handles of the function of each part, in order."""

    def collect(self, function: Callable[[Any], Any], parts: Sequence[Any]) -> Sequence[Any]:
        """Return the function of each part, in order."""


@dataclass(frozen=True)
class Mapped:
    """A crew of one mapping function: built in, a process pool's, or alike."""

    mapping: Callable[..., Iterable[Any]]

    def keep(self, function: Callable[[Any], Any], parts: Sequence[Any]) -> Sequence[Any]:
        """Return the function of each part."""
        return list(self.mapping(function, parts))

    def collect(self, function: Callable[[Any], Any], parts: Sequence[Any]) -> Sequence[Any]:
        """Return the function of each part."""
        return list(self.mapping(function, parts))


class Prepared(NamedTuple):
    """A cohort ready for the optimiser."""

    asked: Question
    rows: Rows | None
    parts: Sequence[Any]
    crew: Crew
    scaling: Scaling
    total: Sums
    shift: Array
    animals: int
    taken: int
    left_out: dict[str, int]
    has_visits: bool


class Kept(NamedTuple):
    """What a part keeps: its moments and its animals' labels."""

    moments: Moments
    animals: pd.Index[Any]


def frame_of(part: Any) -> pd.DataFrame:
    """Return the data frame of a part: a frame, or the path of a Parquet or CSV file."""
    if isinstance(part, pd.DataFrame):
        return part
    path = Path(part)
    try:
        return pd.read_csv(path) if _is_csv(path) else pd.read_parquet(path)
    except (OSError, ValueError) as error:
        raise CallError(f"{path}: cannot be read: {_first_line(error)}") from None


def columns_of_file(part: Any) -> list[str]:
    """Return the names of the columns of a Parquet or CSV file."""
    path = Path(part)
    try:
        if _is_csv(path):
            return [str(name) for name in pd.read_csv(path, nrows=0).columns]
        import pyarrow.parquet

        return [str(name) for name in pyarrow.parquet.read_schema(path).names]
    except (OSError, ValueError) as error:
        raise CallError(f"{path}: cannot be read: {_first_line(error)}") from None


def _is_csv(path: Path) -> bool:
    return path.suffix.lower() == ".csv"


def _first_line(error: Exception) -> str:
    if isinstance(error, FileNotFoundError):
        return "there is no such file."
    return str(error).splitlines()[0] if str(error) else type(error).__name__


def prepare(data: Any, asked: Question, crew: Crew, correlated: bool, slices: int) -> Prepared:
    """Return a cohort ready to fit, from one frame or from a sequence of parts."""
    if isinstance(data, pd.DataFrame):
        return _prepare_frame(data, asked, crew, correlated, slices)
    return _prepare_parts(list(data), asked, crew, correlated)


def _prepare_frame(
    frame: pd.DataFrame, asked: Question, crew: Crew, correlated: bool, slices: int
) -> Prepared:
    rows, asked = coded(frame, asked)
    has_visits = bool(rows.visit.max() >= 0)
    arrays = session_arrays(rows, has_visits)
    shift = shift_of(arrays.u[0], _intercept(asked))
    total = sums(arrays, shift, *class_numbers(asked, has_visits))
    scaling = _scaling(total, shift, asked, correlated)
    if slices == 1:
        kept = [Kept(_moments(arrays, scaling, rows.groups, asked), rows.animals)]
    else:
        pieces = [_slice(arrays, rows, slices, i) for i in range(slices)]
        kept = [
            Kept(_moments(piece, scaling, groups, asked), rows.animals[place::slices])
            for place, (piece, groups) in enumerate(pieces)
        ]
    return Prepared(
        asked,
        rows,
        kept,
        crew,
        scaling,
        total,
        shift,
        len(rows.animals),
        rows.taken,
        dict(rows.left_out),
        has_visits,
    )


def _prepare_parts(parts: list[Any], asked: Question, crew: Crew, correlated: bool) -> Prepared:
    if not parts:
        raise CallError("There is no part to fit.")
    asked = asked_of_parts(parts, asked, crew)
    read = crew.keep(partial(_read, asked=asked), parts)
    heads = crew.collect(_head, read)
    has_visits = any(head.several for head in heads)
    shift = shift_of(heads[0].first, _intercept(asked))
    classes = class_numbers(asked, has_visits)
    total = added(crew.collect(partial(_sums, shift=shift, classes=classes), read))
    scaling = _scaling(total, shift, asked, correlated)
    kept = crew.keep(partial(_keep, scaling=scaling, asked=asked, has_visits=has_visits), read)
    if hasattr(crew, "release"):
        crew.release(read)
    animals = sum(head.animals for head in heads)
    _refuse_shared_animals(crew, kept, animals)
    left_out: dict[str, int] = {}
    for head in heads:
        for reason, number in head.left_out.items():
            left_out[reason] = left_out.get(reason, 0) + number
    taken = sum(head.taken for head in heads)
    return Prepared(
        asked, None, kept, crew, scaling, total, shift, animals, taken, left_out, has_visits
    )


class _Head(NamedTuple):
    first: Array
    animals: int
    several: bool
    taken: int
    left_out: dict[str, int]


def asked_of_parts(parts: Sequence[Any], asked: Question, crew: Crew) -> Question:
    """Return the question with the levels and the design of all parts, before any is coded."""
    whole = sorted(asked.formula.calls & WHOLE_COLUMN_CALLS)
    if whole:
        raise FormulaError(f"Formula: {whole[0]} needs all rows at once; the data come in parts.")
    return asked_together(crew.collect(partial(_seen_of_part, asked=asked), parts), asked)


def _seen_of_part(part: Any, asked: Question) -> Seen:
    return seen(frame_of(part), asked)


def _read(part: Any, asked: Question) -> Rows:
    return coded(frame_of(part), asked)[0]


def _head(rows: Rows) -> _Head:
    several = bool(rows.count.max() > 1)
    return _Head(rows.u[0], len(rows.animals), several, rows.taken, dict(rows.left_out))


def _sums(rows: Rows, shift: Array, classes: tuple[int, int]) -> Sums:
    return sums(session_arrays(rows, classes[0] > 0), shift, *classes)


def _keep(rows: Rows, scaling: Scaling, asked: Question, has_visits: bool) -> Kept:
    arrays = session_arrays(rows, has_visits)
    return Kept(_moments(arrays, scaling, rows.groups, asked), rows.animals)


def _refuse_shared_animals(crew: Crew, kept: Sequence[Any], animals: int) -> None:
    """Raise a CallError where an animal is in two parts; labels travel as 8 bytes each."""
    hashes = np.concatenate(list(crew.collect(_hashes, kept)))
    if len(np.unique(hashes)) == animals:
        return
    # Two labels may have one hash: the labels themselves decide.
    distinct = set().union(*(crew.collect(_labels, kept)))
    if len(distinct) != animals:
        raise CallError("An animal's rows must all be in one part, but some are in several.")


def _hashes(kept: Kept) -> NDArray[np.uint64]:
    labels = kept.animals
    numbers = pd.api.types.is_numeric_dtype(labels.dtype)
    plain = labels.to_numpy(dtype=float) if numbers else labels.to_numpy(dtype=object)
    found: NDArray[np.uint64] = pd.util.hash_array(plain, categorize=False)
    return found


def _labels(kept: Kept) -> list[Any]:
    return list(kept.animals)


def session_arrays(rows: Rows, has_visits: bool) -> SessionArrays:
    """Return sessions on the user's scale, u = (X, further slopes, y)."""
    return SessionArrays(
        u=rows.u,
        count=rows.count,
        animal=rows.animal,
        visit=np.maximum(rows.visit, 0) if has_visits else np.full(len(rows.y), -1),
        residual=rows.residual,
        scatter=rows.scatter,
        known=rows.known,
        deviations=rows.deviations,
        session_of_row=rows.session_of_row,
    )


def class_numbers(asked: Question, has_visits: bool) -> tuple[int, int]:
    """Return the number of classes of visit and of residual SD."""
    visits = len(asked.levels[asked.visit_by]) if asked.visit_by else 1
    residuals = len(asked.levels[asked.residual_by]) if asked.residual_by else 1
    return (visits if has_visits else 0), residuals


def _names(asked: Question) -> tuple[str, ...]:
    assert asked.design is not None
    return asked.design.names


def _intercept(asked: Question) -> int | None:
    names = _names(asked)
    return names.index("Intercept") if "Intercept" in names else None


def slope_places(asked: Question) -> tuple[int, ...]:
    """Return the places of the slopes in u = (X, further slopes, y)."""
    names = _names(asked)
    extra = [name for name in asked.slopes if name not in names]
    return tuple(
        names.index(name) if name in names else len(names) + extra.index(name)
        for name in asked.slopes
    )


def _scaling(total: Sums, shift: Array, asked: Question, correlated: bool) -> Scaling:
    names, slopes = _names(asked), slope_places(asked)
    return scaling_of(total, shift, names, _intercept(asked), slopes, correlated)


def _moments(
    arrays: SessionArrays, scaling: Scaling, groups: NDArray[np.int64], asked: Question
) -> Moments:
    number = len(asked.levels[asked.group]) if asked.group else 1
    return moments(arrays, scaling.z, len(groups), groups, number, scaling)


def _slice(
    arrays: SessionArrays, rows: Rows, slices: int, place: int
) -> tuple[SessionArrays, NDArray[np.int64]]:
    """Return the sessions of every animal whose code leaves `place` when divided by `slices`."""
    mine = arrays.animal % slices == place
    deviations = owner = None
    if arrays.deviations is not None and arrays.session_of_row is not None:
        own = mine[arrays.session_of_row]
        deviations = arrays.deviations[own]
        owner = (np.cumsum(mine) - 1)[arrays.session_of_row[own]]
    piece = SessionArrays(
        arrays.u[mine],
        arrays.count[mine],
        arrays.animal[mine] // slices,
        arrays.visit[mine],
        arrays.residual[mine],
        arrays.scatter[mine],
        arrays.known[mine],
        deviations,
        owner,
    )
    return piece, rows.groups[place::slices]


def _moments_of(function: Callable[[Any], Any], part: Kept) -> Any:
    """Apply a pass to a part's moments."""
    return function(part.moments)


def _collect(crew: Crew, function: Callable[[Any], Any], parts: Sequence[Any]) -> Sequence[Any]:
    """Return a pass of each part's moments; a function of the module, so that it can travel."""
    return crew.collect(partial(_moments_of, function), parts)


def brought_here(ready: Prepared) -> Prepared:
    """Return the same cohort with its parts in this process, where workers keep them.

    Raises
    ------
    FitError
        Where the workers have gone.
    """
    if isinstance(ready.crew, Mapped):
        return ready
    try:
        parts = list(ready.crew.collect(_itself, ready.parts))
    except (BpvetError, OSError, RuntimeError):
        raise FitError(
            "What workers keep of this fit can only be pickled or copied while they are there."
        ) from None
    return ready._replace(crew=Mapped(map), parts=parts)


def _itself(part: Kept) -> Kept:
    return part


def criterion_of(ready: Prepared, reml: bool) -> Criterion:
    """Return the criterion on the scale of the moments."""
    scaling, asked = ready.scaling, ready.asked
    p, m = len(scaling.names), scaling.columns
    visits, residuals = class_numbers(asked, ready.has_visits)

    return Criterion(
        parts=ready.parts,
        collect=partial(_collect, ready.crew),
        intercept=scaling.intercept,
        random=1 + len(scaling.slopes),
        visits=visits,
        residuals=residuals,
        grouped=asked.group is not None,
        observations=ready.total.observations,
        basis=np.eye(m)[:, :p],
        offset=np.eye(m)[:, -1],
        reml=reml,
    )


def best(
    criterion: Criterion, ready: Prepared, correlated: bool, names: Sequence[str]
) -> tuple[Point, Outcome]:
    """Return the optimum, after checking that the variances can be told apart.

    Parameters
    ----------
    criterion : Criterion
    ready : Prepared
    correlated : bool
    names : sequence of str
        Names of φ.
    """
    pooled = ready.total.scatter / np.maximum(ready.total.free, 1.0) / ready.scaling.size**2
    guess = np.where(ready.total.free > 0, np.clip(pooled, 1e-3, 1.0), 0.3)
    many = ready.animals <= SMALL
    starts = usual_starts(criterion, correlated, guess, many)
    natural = natural_parameters(criterion, correlated)
    first = point_at(criterion, *starts[0])
    refuse_confounded(criterion, first, natural, names, many)
    return minimise(criterion, starts, first)


def natural_parameters(criterion: Criterion, correlated: bool) -> NDArray[np.bool_]:
    """Return which of φ are parameters: without correlations, covariances are not."""
    rows, columns = np.tril_indices(criterion.random)
    rest = int(criterion.grouped) + criterion.visits + criterion.residuals
    own = np.ones(len(rows), bool) if correlated else rows == columns
    return np.concatenate([own, np.ones(rest, bool)])


def refuse_confounded(
    criterion: Criterion,
    point: Point,
    natural: NDArray[np.bool_],
    names: Sequence[str],
    small: bool,
) -> None:
    """Raise a FitError naming variances that these data cannot tell apart.

    Expected information tells it surely; of many animals the average information, which costs
    a tenth, tells it as well.
    """
    information = point.derivatives.information
    if small:
        information = criterion.expected_information(point.variances, point.value)
    information = information[np.ix_(natural, natural)]
    kept = [name for name, own in zip(names, natural, strict=True) if own]
    diagonal = np.diag(information)
    floor = 1e-10 * max(float(diagonal.max()), 1e-300)
    empty = [name for name, height in zip(kept, diagonal, strict=True) if height <= floor]
    if empty:
        raise FitError(f"These data say nothing about the variance of {', '.join(empty)}.")
    size = np.sqrt(diagonal)
    sizes, vectors = np.linalg.eigh(information / np.outer(size, size))
    if sizes[0] < 1e-9 * sizes[-1]:
        part = np.abs(vectors[:, 0])
        mixed = [kept[i] for i in np.flatnonzero(part > 0.05 * part.max())]
        raise FitError(
            f"The variances of {', '.join(mixed)} cannot be told apart in these data; "
            "take one out, or give more sessions or readings."
        )
