"""The best variances: average information on log-Cholesky entries and log SDs.

Where a variance goes to zero its logarithm runs away; the search then goes on without it (with a
factor of G that has a column less) and asks at the end whether giving it back would help.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import NamedTuple

import numpy as np

from bpvet.errors import FitError
from bpvet.frozen import dataclass
from bpvet.mixed.contributions import Variances, starting_sums
from bpvet.mixed.criterion import Criterion, Derivatives, Value
from bpvet.mixed.parametrisation import (
    Parametrisation,
    block_factor,
    full_parametrisation,
    start_of,
    with_block,
    with_entry,
    with_sd,
    without_entry,
    without_smallest,
)
from bpvet.mixed.stacks import Array, lower_triangle

# A step that promises less than this, in −2 log-likelihood, ends the search.
ENOUGH = 1e-10
# A direction given back to the boundary must promise at least this.
_WORTH = 1e-9
_MOST_STEPS = 100
_PATIENCE = 12
_LONGEST_LOG_STEP = 2.0
_NO_SCATTER = 1e-9
# In a second search a variance that is thinner by this share goes whatever its slope: its
# logarithm, which takes the longest step there is, would hold up all the others.
_VANISHED = 1e-8


class Point(NamedTuple):
    """A chart, ψ on it, and what the criterion says there."""

    parametrisation: Parametrisation
    psi: Array
    variances: Variances
    value: Value
    derivatives: Derivatives


@dataclass(frozen=True, eq=False)
class Outcome:
    """What the optimiser reports.

    Parameters
    ----------
    criterion : float
        −2 log-likelihood at the end, on the scale of the moments.
    steps, evaluations : int
        Accepted steps, and evaluations of the criterion, of the best search.
    promise : float
        What one more step would gain.
    boundary : bool
        Whether a variance is zero or a correlation ±1.
    message : str
    """

    criterion: float
    steps: int
    evaluations: int
    promise: float
    boundary: bool
    message: str


def point_at(criterion: Criterion, parametrisation: Parametrisation, psi: Array) -> Point:
    """Return the criterion and its derivatives at ψ."""
    variances = parametrisation.variances(psi)
    value = criterion.value(variances)
    return Point(parametrisation, psi, variances, value, criterion.derivatives(variances, value))


def minimise(
    criterion: Criterion,
    starts: Sequence[tuple[Parametrisation, Array]],
    first: Point | None = None,
) -> tuple[Point, Outcome]:
    """Return the lowest point reached from the starts, the first of which may be worked out.

    Raises
    ------
    FitError
        If no search ends at an optimum; it carries the last outcome.
    """
    best: tuple[Point, Outcome] | None = None
    failure: FitError | None = None
    for number, (parametrisation, psi) in enumerate(starts):
        try:
            known = first if number == 0 and first is not None else None
            found = _settled(criterion, known or point_at(criterion, parametrisation, psi))
        except FitError as error:
            failure = error
            continue
        if best is None or found[1].criterion < best[1].criterion - _WORTH:
            best = found
    if best is None:
        raise failure or FitError("There was nowhere to start the search.")
    return best


def _settled(criterion: Criterion, start: Point) -> tuple[Point, Outcome]:
    """Search once, and where that does not settle a second time, more patiently."""
    try:
        return _Search(criterion).run(start)
    except FitError as error:
        if isinstance(error.outcome, Outcome) and error.outcome.message == "not converged":
            return _Search(criterion, patient=True).run(start)
        raise


class _Search:
    """One search; counts its steps and remembers how thin a variance may become."""

    def __init__(self, criterion: Criterion, patient: bool = False) -> None:
        self.criterion = criterion
        self.patient = patient
        self.steps = 0
        self.evaluations = 1
        self.thin = 1e-4

    def run(self, point: Point) -> tuple[Point, Outcome]:
        for _ in range(12):
            point, promise = self.descend(point)
            given_back = self.give_back(point)
            if given_back is None:
                return point, self.outcome(point, promise, "converged")
            self.thin *= 1e-3
            point = given_back
        raise FitError(
            "The search went to and fro between a variance of zero and a small one.",
            self.outcome(point, np.nan, "cycled"),
        )

    def outcome(self, point: Point, promise: float, message: str) -> Outcome:
        narrow = point.parametrisation.rank < point.parametrisation.block.shape[1]
        zero = (
            np.any(point.parametrisation.sds == 0.0)
            or _missing_patterns(point.parametrisation).size > 0
        )
        value = point.value.criterion
        return Outcome(value, self.steps, self.evaluations, promise, bool(narrow or zero), message)

    def evaluate(self, parametrisation: Parametrisation, psi: Array) -> tuple[Variances, Value]:
        self.evaluations += 1
        variances = parametrisation.variances(psi)
        return variances, self.criterion.value(variances)

    def point(self, parametrisation: Parametrisation, psi: Array) -> Point:
        self.evaluations += 1
        return point_at(self.criterion, parametrisation, psi)

    def descend(self, point: Point) -> tuple[Point, float]:
        """Go down until a step promises nothing, leaving out variances that vanish."""
        damping = 0.0
        for attempt in range(_MOST_STEPS):
            exact = attempt >= _PATIENCE
            gradient, curvature = self.slopes(point, exact)
            if not len(gradient):
                return point, 0.0
            step, promise = _damped(gradient, curvature, damping, point.parametrisation)
            if promise < ENOUGH and damping < 1.0:
                return point, promise
            moved = self.moved(point, step)
            if moved is None:
                moved = self.moved(point, step + self.bent(point, step, curvature, damping))
            if moved is None:
                if promise < 1e-13 * abs(point.value.criterion) + 1e-9 and damping == 0.0:
                    return point, promise
                damping = max(1e-3, 10.0 * damping)
                if damping > 1e9:
                    break
                continue
            self.steps += 1
            damping = damping / 10.0 if damping > 1e-6 else 0.0
            if moved.variances.residual.min() < _NO_SCATTER**2:
                raise FitError(
                    "The readings of a session (or the residuals) do not scatter at all in some "
                    "class, so that the likelihood has no maximum.",
                    self.outcome(moved, np.nan, "no scatter"),
                )
            point = self.leave_out(moved)
        raise FitError(
            f"The search for the variances did not settle in {self.steps} steps.",
            self.outcome(point, np.nan, "not converged"),
        )

    def slopes(self, point: Point, exact: bool) -> tuple[Array, Array]:
        """Return gradient and curvature in ψ; the exact Hessian where asked and positive.

        Where it is not, a patient search makes its sizes positive: the information may be nothing
        at all, as at an entry of L of zero, and no step by it leads on.
        """
        jacobian = point.parametrisation.jacobian(point.psi)
        gradient = jacobian.T @ point.derivatives.gradient
        information = point.derivatives.information
        if exact:
            expected = self.criterion.expected_information(point.variances, point.value)
            hessian = jacobian.T @ (2.0 * information - expected) @ jacobian
            hessian += point.parametrisation.bend(point.psi, point.derivatives.gradient)
            scaled, scale = _scaled(hessian)
            sizes, vectors = np.linalg.eigh(scaled)
            if sizes[0] > 1e-6:
                return gradient, hessian
            if self.patient:
                positive = (vectors * np.maximum(np.abs(sizes), 1e-6)) @ vectors.T
                return gradient, positive * np.outer(scale, scale)
        return gradient, jacobian.T @ information @ jacobian

    def moved(self, point: Point, step: Array) -> Point | None:
        """Return the point after a step, or None where the criterion does not fall."""
        psi = point.psi + step
        try:
            variances, value = self.evaluate(point.parametrisation, psi)
        except FitError:
            return None
        slack = 1e-12 * abs(point.value.criterion) + 1e-11
        if not value.criterion <= point.value.criterion + slack:
            return None
        derivatives = self.criterion.derivatives(variances, value)
        return Point(point.parametrisation, psi, variances, value, derivatives)

    def bent(self, point: Point, step: Array, curvature: Array, damping: float) -> Array:
        """Return what a step still needs to end where the variances' own step would.

        The criterion is nearly quadratic in the variances, not on the chart: along a narrow ridge
        that bends, only this keeps a long step on it.
        """
        jacobian = point.parametrisation.jacobian(point.psi)
        try:
            ahead = self.criterion.natural(point.parametrisation.variances(point.psi + step))
        except FitError:
            return np.zeros_like(step)
        off = ahead - self.criterion.natural(point.variances) - jacobian @ step
        pull = jacobian.T @ point.derivatives.information @ off
        return _damped(pull, curvature, damping, point.parametrisation)[0]

    def leave_out(self, point: Point) -> Point:
        """Hold at zero what has become thin and still falls."""
        parametrisation, psi = point.parametrisation, point.psi
        lower = len(parametrisation.fixed) * (len(parametrisation.fixed) + 1) // 2
        natural = self.criterion.natural(point.variances)[lower:]
        free = np.isnan(parametrisation.sds)
        residual = len(parametrisation.sds) - self.criterion.residuals
        thin = (
            parametrisation.entries(psi)[: parametrisation.own] ** 2 < self.thin
        ) & parametrisation.log[: parametrisation.own]
        if not (thin.any() or (free & (natural < self.thin)).any()):
            return self.thinner(point)
        slope = parametrisation.jacobian(psi).T @ point.derivatives.gradient
        falling = np.zeros(len(free), bool)
        falling[free] = slope[len(parametrisation.log) :] > 0
        for scalar in np.flatnonzero(falling & (natural < self.thin)):
            if scalar < residual:
                return self.leave_out(self.point(*with_sd(parametrisation, psi, int(scalar), 0.0)))
        for entry in np.flatnonzero(thin & (slope[: parametrisation.own] > 0)):
            return self.leave_out(self.point(*without_entry(parametrisation, psi, int(entry))))
        return self.thinner(point)

    def thinner(self, point: Point) -> Point:
        """Take a column from the block's factor if its smallest variance is thin and falls."""
        parametrisation, psi = point.parametrisation, point.psi
        if parametrisation.rank == 0:
            return point
        inner = block_factor(parametrisation, psi)
        left, sizes, _ = np.linalg.svd(inner, full_matrices=False)
        if sizes[-1] ** 2 >= self.thin:
            return point
        direction = parametrisation.block @ left[:, -1]
        vanished = self.patient and sizes[-1] ** 2 < _VANISHED * self.thin
        if not vanished and direction @ _slope_in_g(point) @ direction <= 0:
            return point
        try:
            return self.thinner(self.point(*without_smallest(parametrisation, psi)))
        except FitError:
            return point

    def give_back(self, point: Point) -> Point | None:
        """Return a point with a variance given back where that promises to help."""
        best: tuple[float, Parametrisation, Array] | None = None
        for gain, changed, psi in self.offers(point):
            if gain > _WORTH and (best is None or gain > best[0]):
                best = gain, changed, psi
        if best is None:
            return None
        start = self.point(best[1], best[2])
        if start.value.criterion > point.value.criterion:
            return self.nearer(point, best[1], best[2])
        return start

    def nearer(self, point: Point, parametrisation: Parametrisation, psi: Array) -> Point | None:
        """Shrink a variance just given back until the criterion is below what it was."""
        for _ in range(20):
            added = self.smaller(parametrisation, psi, point)
            if added is None:
                return None
            start = self.point(parametrisation, added)
            if start.value.criterion < point.value.criterion:
                return start
            psi = added
        return None

    def smaller(self, parametrisation: Parametrisation, psi: Array, point: Point) -> Array | None:
        """Return ψ with the new direction's variance quartered."""
        fresh = np.isnan(parametrisation.sds) & ~np.isnan(point.parametrisation.sds)
        changed = psi.copy()
        if fresh.any():
            free = np.cumsum(np.isnan(parametrisation.sds)) - 1
            changed[len(parametrisation.log) + free[np.argmax(fresh)]] -= np.log(2.0)
            return changed
        if parametrisation.own > point.parametrisation.own:
            changed[0] -= np.log(2.0)
            return changed
        # Half the distance of the widened block to the narrow one it came from.
        wide = block_factor(parametrisation, psi)
        narrow = block_factor(point.parametrisation, point.psi)
        excess = wide @ wide.T - narrow @ narrow.T
        sizes, vectors = np.linalg.eigh(excess)
        if sizes[-1] <= 1e-14:
            return None
        added = vectors[:, -1] * np.sqrt(sizes[-1] / 4.0)
        return with_block(point.parametrisation, point.psi, np.column_stack([narrow, added]))[1]

    def offers(self, point: Point) -> list[tuple[float, Parametrisation, Array]]:
        """Return (promised gain, chart, ψ) for each variance that could be given back."""
        parametrisation, q = point.parametrisation, len(point.parametrisation.fixed)
        gradient, information = point.derivatives
        lower = q * (q + 1) // 2
        offers = []
        for scalar in np.flatnonzero((parametrisation.sds == 0.0) & parametrisation.loose):
            at = lower + scalar
            gain, size = _gain(gradient[at], information[at, at])
            offers.append((gain, *with_sd(parametrisation, point.psi, int(scalar), np.sqrt(size))))
        for direction in _missing_patterns(parametrisation):
            gain, size = self.along(point, direction)
            pattern = np.outer(direction, direction)
            offers.append((gain, *with_entry(parametrisation, point.psi, pattern, np.sqrt(size))))
        if parametrisation.rank < parametrisation.block.shape[1]:
            offers.append(self.block_offer(point))
        return offers

    def along(self, point: Point, direction: Array) -> tuple[float, float]:
        """Return gain and variance for a direction of an animal's effects."""
        gradient, information = point.derivatives
        rows, columns = lower_triangle(len(direction))
        change = np.zeros(len(gradient))
        change[: len(rows)] = np.outer(direction, direction)[rows, columns]
        return _gain(float(change @ gradient), float(change @ information @ change))

    def block_offer(self, point: Point) -> tuple[float, Parametrisation, Array]:
        parametrisation = point.parametrisation
        inner = block_factor(parametrisation, point.psi)
        left = np.linalg.svd(inner, full_matrices=True)[0]
        empty = parametrisation.block @ left[:, parametrisation.rank :]
        sizes, vectors = np.linalg.eigh(empty.T @ _slope_in_g(point) @ empty)
        direction = left[:, parametrisation.rank :] @ vectors[:, 0]
        gain, size = self.along(point, parametrisation.block @ direction)
        if sizes[0] >= 0:
            gain = 0.0
        wider = np.column_stack([inner, direction * np.sqrt(size)])
        return (gain, *with_block(parametrisation, point.psi, wider))


def usual_starts(
    criterion: Criterion, correlated: bool, residual: Array, many: bool
) -> list[tuple[Parametrisation, Array]]:
    """Return starts for outcomes whose total scatter is one: one, or four to guard small data.

    Parameters
    ----------
    criterion : Criterion
    correlated : bool
        Whether an animal's effects are.
    residual : (r,) float
        First guess of the residual variances.
    many : bool
    """
    q, visits = criterion.random, criterion.visits
    shares: list[tuple[float, float, Array | float]]
    shares = [(0.35, 0.1, 0.2) if many else _plain_shares(criterion, residual)]
    if many:
        shares += [(0.01, 0.01, 0.5), (0.8, 0.02, 0.05), (0.2, 0.5, 0.05)]
    starts = []
    for animal, slope, visit in shares:
        parametrisation = full_parametrisation(
            q, correlated, len(residual) + visits + criterion.grouped, criterion.grouped, visits
        )
        factor = np.diag(np.sqrt(np.r_[animal, np.full(q - 1, slope)]))
        between = [np.sqrt(0.1)] if criterion.grouped else []
        sds = np.r_[between, np.sqrt(np.full(visits, visit)), np.sqrt(residual)]
        starts.append((parametrisation, start_of(parametrisation, factor, sds)))
    return starts


def _plain_shares(criterion: Criterion, residual: Array) -> tuple[float, float, Array | float]:
    """Return first guesses, of large data, of the variances of animals, slopes and visits by class.

    Those of an analysis of variance, which save a step or two; where slopes or groups vary too it
    tells little.
    """
    if criterion.random > 1 or criterion.grouped or not criterion.visits:
        return 0.35, 0.1, 0.2
    ask = partial(starting_sums, residual=residual, visits=criterion.visits)
    parts = criterion.gather(ask, criterion.parts)
    squares, reading, sessions, between, animals = (sum(each) for each in zip(*parts, strict=True))
    total = float(np.sum(sessions))
    within = (float(np.sum(squares)) - between) / max(total - animals, 1.0)
    animal = float(np.clip((between - animals * within) / total, 0.02, 1.0))
    visit = (squares - reading) / np.maximum(sessions, 1.0) - animal
    return animal, 0.1, np.clip(visit, 0.02, 1.0)


def _gain(gradient: float, curvature: float) -> tuple[float, float]:
    """Return what a variance given back promises, and its size on the scale of the moments."""
    if gradient >= 0 or curvature <= 0:
        return 0.0, 1e-6
    return 0.5 * gradient**2 / curvature, float(min(-gradient / curvature, 1.0))


def _slope_in_g(point: Point) -> Array:
    q = len(point.parametrisation.fixed)
    slope = np.zeros((q, q))
    rows, columns = lower_triangle(q)
    slope[rows, columns] += point.derivatives.gradient[: len(rows)] / 2.0
    slope[columns, rows] += point.derivatives.gradient[: len(rows)] / 2.0
    return slope


def _missing_patterns(parametrisation: Parametrisation) -> Array:
    """Return directions of uncorrelated effects that were left out, (d, q)."""
    patterns = parametrisation.patterns[: parametrisation.own]
    present = [
        any(np.array_equal(pattern, np.outer(direction, direction)) for pattern in patterns)
        for direction in parametrisation.candidates
    ]
    return parametrisation.candidates[~np.array(present, dtype=bool)]


def _scaled(matrix: Array) -> tuple[Array, Array]:
    """Return a symmetric matrix with unit diagonal where it was positive, and the scales."""
    diagonal = np.diag(matrix)
    scale = np.sqrt(np.where(diagonal > 1e-300, diagonal, 1.0))
    return matrix / np.outer(scale, scale), scale


def _damped(
    gradient: Array, curvature: Array, damping: float, parametrisation: Parametrisation
) -> tuple[Array, float]:
    """Return a step and what it promises; logarithms move by at most a fixed length."""
    matrix, scale = _scaled(curvature)
    slope = gradient / scale
    sizes, vectors = np.linalg.eigh(matrix)
    along = vectors.T @ slope
    heights = np.maximum(sizes, 1e-10 * max(1.0, float(sizes[-1]))) + damping
    step = -(vectors @ (along / heights)) / scale
    promise = 0.5 * float((along**2 / heights).sum())
    is_log = np.concatenate(
        [parametrisation.log, np.ones(len(step) - len(parametrisation.log), bool)]
    )
    longest = float(np.abs(step[is_log]).max(initial=0.0))
    if longest > _LONGEST_LOG_STEP:
        step = step * (_LONGEST_LOG_STEP / longest)
    return step, promise
