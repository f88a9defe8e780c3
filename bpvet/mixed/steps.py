"""The steps of a cohort's fit: rows, sums, scaling, moments, optimum.

Data come in parts (one, in the usual case). What a part keeps between steps stays where the part
is; only small sums travel.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import partial, reduce
from operator import add
from pathlib import Path
from typing import Any, NamedTuple, Protocol

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bpvet.errors import BpvetError, CallError, FitError, FormulaError
from bpvet.frozen import dataclass
from bpvet.mixed.columns import ModelSpec
from bpvet.mixed.criterion import Criterion
from bpvet.mixed.formula_guard import WHOLE_COLUMN_CALLS
from bpvet.mixed.levels import Seen, seen, spec_of_all
from bpvet.mixed.moments import Moments, SessionArrays, moments
from bpvet.mixed.optimiser import Outcome, Point, minimise, point_at, usual_starts
from bpvet.mixed.rows import Rows, coded
from bpvet.mixed.scaling import (
    Scaling,
    SufficientStatistics,
    first_scaling,
    scaling_of,
    sufficient_statistics,
)
from bpvet.mixed.stacks import lower_triangle

Array = NDArray[np.float64]

# Small cohorts can have several local optima: they are searched from four starts.
SMALL = 500


class Executor(Protocol):
    """Whoever works on the parts: `scatter` leaves results where they are, `gather` brings them."""

    def scatter(self, function: Callable[[Any], Any], parts: Sequence[Any]) -> Sequence[Any]:
        """Return handles of the function of each part, in order."""

    def gather(self, function: Callable[[Any], Any], parts: Sequence[Any]) -> Sequence[Any]:
        """Return the function of each part, in order."""


@dataclass(frozen=True)
class Mapped:
    """An executor of one mapping function: built in, a process pool's, or alike."""

    mapping: Callable[..., Iterable[Any]]

    def scatter(self, function: Callable[[Any], Any], parts: Sequence[Any]) -> Sequence[Any]:
        """Return the function of each part."""
        return list(self.mapping(function, parts))

    def gather(self, function: Callable[[Any], Any], parts: Sequence[Any]) -> Sequence[Any]:
        """Return the function of each part."""
        return list(self.mapping(function, parts))


class CohortData(NamedTuple):
    """A cohort ready for the optimiser."""

    spec: ModelSpec
    rows: Rows | None
    parts: Sequence[Any]
    executor: Executor
    scaling: Scaling
    total: SufficientStatistics
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


def prepare(
    data: Any, spec: ModelSpec, executor: Executor, correlated: bool, slices: int
) -> CohortData:
    """Return a cohort ready to fit, from one frame or from a sequence of parts."""
    if isinstance(data, pd.DataFrame):
        return _prepare_frame(data, spec, executor, correlated, slices)
    return _prepare_parts(list(data), spec, executor, correlated)


def _prepare_frame(
    frame: pd.DataFrame, spec: ModelSpec, executor: Executor, correlated: bool, slices: int
) -> CohortData:
    rows, spec = coded(frame, spec)
    has_visits = bool(rows.visit.max() >= 0)
    arrays = session_arrays(rows, has_visits)
    first = _first_scaling(rows, spec)
    if slices == 1:
        raw = [Kept(_moments(arrays, first, rows.groups, spec), rows.animals)]
    else:
        pieces = [_slice(arrays, rows, slices, i) for i in range(slices)]
        raw = [
            Kept(_moments(piece, first, groups, spec), rows.animals[first_animal::slices])
            for first_animal, (piece, groups) in enumerate(pieces)
        ]
    # What is here already needs no worker.
    kept, total, scaling = _on_scale(raw, first, spec, has_visits, correlated, Mapped(map))
    return CohortData(
        spec,
        rows,
        kept,
        executor,
        scaling,
        total,
        first.shift,
        len(rows.animals),
        rows.taken,
        dict(rows.left_out),
        has_visits,
    )


def _prepare_parts(
    parts: list[Any], spec: ModelSpec, executor: Executor, correlated: bool
) -> CohortData:
    if not parts:
        raise CallError("There is no part to fit.")
    spec = spec_of_parts(parts, spec, executor)
    read = executor.scatter(partial(_read, spec=spec), parts)
    heads = executor.gather(_head, read)
    has_visits = any(head.several for head in heads)
    first = executor.gather(partial(_first_scaling, spec=spec), read[:1])[0]
    raw = executor.scatter(partial(_raw, scaling=first, spec=spec, has_visits=has_visits), read)
    _release(executor, read)
    kept, total, scaling = _on_scale(raw, first, spec, has_visits, correlated, executor)
    _release(executor, raw)
    animals = sum(head.animals for head in heads)
    _refuse_shared_animals(executor, kept, animals)
    left_out: dict[str, int] = {}
    for head in heads:
        for reason, number in head.left_out.items():
            left_out[reason] = left_out.get(reason, 0) + number
    taken = sum(head.taken for head in heads)
    return CohortData(
        spec,
        None,
        kept,
        executor,
        scaling,
        total,
        first.shift,
        animals,
        taken,
        left_out,
        has_visits,
    )


def _release(executor: Executor, parts: Sequence[Any]) -> None:
    """Let workers forget what they no longer need."""
    if hasattr(executor, "release"):
        executor.release(parts)


def _on_scale(
    raw: Sequence[Any],
    first: Scaling,
    spec: ModelSpec,
    has_visits: bool,
    correlated: bool,
    executor: Executor,
) -> tuple[Sequence[Any], SufficientStatistics, Scaling]:
    """Return parts carried from the first scale to the cohort's, its statistics and its scale."""
    visits, residuals = class_numbers(spec, has_visits)
    ask = partial(_statistics, scaling=first, visits=visits, residuals=residuals)
    total = reduce(add, executor.gather(ask, raw))
    names, slopes = _names(spec), slope_places(spec)
    scaling = scaling_of(total, first.shift, names, _intercept(spec), slopes, correlated)
    return executor.scatter(partial(_carried, matrix=first.to(scaling)), raw), total, scaling


def _statistics(kept: Kept, scaling: Scaling, visits: int, residuals: int) -> SufficientStatistics:
    return sufficient_statistics(kept.moments, scaling, visits, residuals)


def _carried(kept: Kept, matrix: Array) -> Kept:
    return kept._replace(moments=kept.moments.carried(matrix))


def _first_scaling(rows: Rows, spec: ModelSpec) -> Scaling:
    return first_scaling(rows.u, _names(spec), _intercept(spec), slope_places(spec))


class _Head(NamedTuple):
    animals: int
    several: bool
    taken: int
    left_out: dict[str, int]


def spec_of_parts(parts: Sequence[Any], spec: ModelSpec, executor: Executor) -> ModelSpec:
    """Return the specification with the levels and the design of all parts, before any is coded."""
    calls = sorted(spec.formula.calls & WHOLE_COLUMN_CALLS)
    if calls:
        raise FormulaError(f"Formula: {calls[0]} needs all rows at once; the data come in parts.")
    return spec_of_all(executor.gather(partial(_seen_of_part, spec=spec), parts), spec)


def _seen_of_part(part: Any, spec: ModelSpec) -> Seen:
    return seen(frame_of(part), spec)


def _read(part: Any, spec: ModelSpec) -> Rows:
    return coded(frame_of(part), spec)[0]


def _head(rows: Rows) -> _Head:
    several = bool(rows.count.max() > 1)
    return _Head(len(rows.animals), several, rows.taken, dict(rows.left_out))


def _raw(rows: Rows, scaling: Scaling, spec: ModelSpec, has_visits: bool) -> Kept:
    arrays = session_arrays(rows, has_visits)
    return Kept(_moments(arrays, scaling, rows.groups, spec), rows.animals)


def _refuse_shared_animals(executor: Executor, kept: Sequence[Any], animals: int) -> None:
    """Raise a CallError where an animal is in two parts; labels travel as 8 bytes each."""
    hashes = np.concatenate(list(executor.gather(_hashes, kept)))
    if len(np.unique(hashes)) == animals:
        return
    # Two labels may have one hash: the labels themselves decide.
    distinct = set().union(*(executor.gather(_labels, kept)))
    if len(distinct) != animals:
        raise CallError("An animal's rows must all be in one part, but some are in several.")


def _hashes(kept: Kept) -> NDArray[np.uint64]:
    labels = kept.animals
    numbers = pd.api.types.is_numeric_dtype(labels.dtype)
    plain = labels.to_numpy(dtype=float) if numbers else labels.to_numpy(dtype=object)
    return pd.util.hash_array(plain, categorize=False)


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
        within_ss=rows.within_ss,
        known=rows.known,
        deviations=rows.deviations,
        session_of_row=rows.session_of_row,
    )


def class_numbers(spec: ModelSpec, has_visits: bool) -> tuple[int, int]:
    """Return the number of classes of visit and of residual SD."""
    visits = len(spec.levels[spec.visit_by]) if spec.visit_by else 1
    residuals = len(spec.levels[spec.residual_by]) if spec.residual_by else 1
    return (visits if has_visits else 0), residuals


def _names(spec: ModelSpec) -> tuple[str, ...]:
    assert spec.design is not None
    return spec.design.names


def _intercept(spec: ModelSpec) -> int | None:
    names = _names(spec)
    return names.index("Intercept") if "Intercept" in names else None


def slope_places(spec: ModelSpec) -> tuple[int, ...]:
    """Return the places of the slopes in u = (X, further slopes, y)."""
    names = _names(spec)
    extra = [name for name in spec.slopes if name not in names]
    return tuple(
        names.index(name) if name in names else len(names) + extra.index(name)
        for name in spec.slopes
    )


def _moments(
    arrays: SessionArrays, scaling: Scaling, groups: NDArray[np.int64], spec: ModelSpec
) -> Moments:
    number = len(spec.levels[spec.group]) if spec.group else 1
    return moments(arrays, scaling.z, len(groups), groups, number, scaling)


def _slice(
    arrays: SessionArrays, rows: Rows, slices: int, first: int
) -> tuple[SessionArrays, NDArray[np.int64]]:
    """Return the sessions of every animal whose code leaves `place` when divided by `slices`."""
    chosen = arrays.animal % slices == first
    deviations = owner = None
    if arrays.deviations is not None and arrays.session_of_row is not None:
        rows_chosen = chosen[arrays.session_of_row]
        deviations = arrays.deviations[rows_chosen]
        owner = (np.cumsum(chosen) - 1)[arrays.session_of_row[rows_chosen]]
    piece = SessionArrays(
        arrays.u[chosen],
        arrays.count[chosen],
        arrays.animal[chosen] // slices,
        arrays.visit[chosen],
        arrays.residual[chosen],
        arrays.within_ss[chosen],
        arrays.known[chosen],
        deviations,
        owner,
    )
    return piece, rows.groups[first::slices]


def _moments_of(function: Callable[[Any], Any], part: Kept) -> Any:
    """Apply a pass to a part's moments."""
    return function(part.moments)


def _gather(
    executor: Executor, function: Callable[[Any], Any], parts: Sequence[Any]
) -> Sequence[Any]:
    """Return a pass of each part's moments; a function of the module, so that it can travel."""
    return executor.gather(partial(_moments_of, function), parts)


def brought_here(data: CohortData) -> CohortData:
    """Return the same cohort with its parts in this process, where workers keep them.

    Raises
    ------
    FitError
        Where the workers have gone.
    """
    if isinstance(data.executor, Mapped):
        return data
    try:
        parts = list(data.executor.gather(_itself, data.parts))
    except (BpvetError, OSError, RuntimeError):
        raise FitError(
            "What workers keep of this fit can only be pickled or copied while they are there."
        ) from None
    return data._replace(executor=Mapped(map), parts=parts)


def _itself(part: Kept) -> Kept:
    return part


def criterion_of(data: CohortData, reml: bool) -> Criterion:
    """Return the criterion on the scale of the moments."""
    scaling, spec = data.scaling, data.spec
    p, m = len(scaling.names), scaling.columns
    visits, residuals = class_numbers(spec, data.has_visits)

    return Criterion(
        parts=data.parts,
        gather=partial(_gather, data.executor),
        intercept=scaling.intercept,
        random=1 + len(scaling.slopes),
        visits=visits,
        residuals=residuals,
        grouped=spec.group is not None,
        observations=data.total.observations,
        basis=np.eye(m)[:, :p],
        offset=np.eye(m)[:, -1],
        reml=reml,
    )


def best(
    criterion: Criterion, data: CohortData, correlated: bool, names: Sequence[str]
) -> tuple[Point, Outcome]:
    """Return the optimum, after checking that the variances can be told apart.

    Parameters
    ----------
    criterion : Criterion
    data : CohortData
    correlated : bool
    names : sequence of str
        Names of φ.
    """
    pooled = data.total.within_ss / np.maximum(data.total.free, 1.0) / data.scaling.size**2
    guess = np.where(data.total.free > 0, np.clip(pooled, 1e-3, 1.0), 0.3)
    many = data.animals <= SMALL
    starts = usual_starts(criterion, correlated, guess, many)
    natural = natural_parameters(criterion, correlated)
    first = point_at(criterion, *starts[0])
    refuse_confounded(criterion, first, natural, names, many)
    return minimise(criterion, starts, first)


def natural_parameters(criterion: Criterion, correlated: bool) -> NDArray[np.bool_]:
    """Return which of φ are parameters: without correlations, covariances are not."""
    rows, columns = lower_triangle(criterion.random)
    rest = int(criterion.grouped) + criterion.visits + criterion.residuals
    free = np.ones(len(rows), bool) if correlated else rows == columns
    return np.concatenate([free, np.ones(rest, bool)])


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
    kept = [name for name, free in zip(names, natural, strict=True) if free]
    diagonal = np.diag(information)
    floor = 1e-10 * max(float(diagonal.max()), 1e-300)
    empty = [name for name, height in zip(kept, diagonal, strict=True) if height <= floor]
    if empty:
        raise FitError(f"These data say nothing about the variance of {', '.join(empty)}.")
    size = np.sqrt(diagonal)
    sizes, vectors = np.linalg.eigh(information / np.outer(size, size))
    if sizes[0] < 1e-9 * sizes[-1]:
        weight = np.abs(vectors[:, 0])
        mixed = [kept[i] for i in np.flatnonzero(weight > 0.05 * weight.max())]
        raise FitError(
            f"The variances of {', '.join(mixed)} cannot be told apart in these data; "
            "take one out, or give more sessions or readings."
        )
