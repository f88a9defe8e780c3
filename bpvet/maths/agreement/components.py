"""Variance components of two methods on the same animals, by REML.

    y = mean of the method + animal + animal × method + visit + visit × method + pair + reading

Every term is normal with a variance of its own, and "× method" terms and readings have one for
each method. The likelihood is that of `bpvet.maths.agreement.restricted`. Variances are kept at
zero or above: one that ends at zero is an answer, and is named.
"""

from __future__ import annotations

from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bpvet.errors import FitError
from bpvet.frozen import dataclass
from bpvet.maths.agreement.restricted import (
    WHICH,
    Array,
    Block,
    Cells,
    Codes,
    Criterion,
    blocks_of,
    criterion,
    within_of,
)

#: The terms of single readings, by the method they are of.
READINGS = ("reading by first", "reading by second")
#: Every term, in the order in which the variances stand.
TERMS = (
    "animal",
    "animal × first",
    "animal × second",
    "visit",
    "visit × first",
    "visit × second",
    "pair",
    *READINGS,
)
#: Terms that make two readings of one moment differ between the methods.
DIFFERENCE_TERMS = tuple(name for name in TERMS if "×" in name or name.startswith("reading"))

#: A reading's variance is kept above this share of the whole, so that blocks can be inverted.
_FLOOR = 1e-8
_ROUNDS = 300
_CLOSE = 1e-20
#: Rise of the log-likelihood below which rounding hides it: from there the slope is the guide.
_UNSEEN = 1e-9


@dataclass(frozen=True, eq=False)
class Components:
    """A REML fit.

    Parameters
    ----------
    terms : tuple of str
        The terms that these data can tell apart, in the order of `TERMS`.
    variance : (k,) float
        Their variances, in the unit squared.
    covariance : (k, k) float
        Covariance of the variances, from the observed information of those above zero; rows of
        those at zero are 0.
    beta : (2,) float
        Mean by each method.
    beta_covariance : (2, 2) float
        Its covariance at the estimated variances.
    beta_slopes : (k, 2, 2) float
        Derivative of `beta_covariance` by each variance.
    log_likelihood : float
        Restricted log-likelihood of the readings.
    at_zero : tuple of str
        Terms whose variance is zero: the boundary.
    rounds : int
        Rounds of the optimiser.
    """

    terms: tuple[str, ...]
    variance: Array
    covariance: Array
    beta: Array
    beta_covariance: Array
    beta_slopes: Array
    log_likelihood: float
    at_zero: tuple[str, ...]
    rounds: int

    def of(self, term: str) -> float:
        """Return the variance of a term; 0 where these data have no such term."""
        return float(self.variance[self.terms.index(term)]) if term in self.terms else 0.0

    def weights(self, shares: dict[str, float]) -> Array:
        """Return (k,) weights of the terms; a term that is not there is left out."""
        return np.array([shares.get(term, 0.0) for term in self.terms])

    def sum_of(self, shares: dict[str, float]) -> tuple[float, float]:
        """Return a weighted sum of the variances and the variance of that sum."""
        weight = self.weights(shares)
        return float(weight @ self.variance), float(weight @ self.covariance @ weight)

    @cached_property
    def bias(self) -> tuple[float, float, float]:
        """Second mean minus first, its standard error, and Satterthwaite's df of that error."""
        contrast = np.array([-1.0, 1.0])
        variance = float(contrast @ self.beta_covariance @ contrast)
        slope = np.array([contrast @ derivative @ contrast for derivative in self.beta_slopes])
        spread = float(slope @ self.covariance @ slope)
        df = 2 * variance**2 / spread if spread > 0 else np.inf
        return float(contrast @ self.beta), float(np.sqrt(variance)), df


def identified_terms(cells: Cells) -> tuple[str, ...]:
    """Return the terms that such data can tell apart.

    Without animals seen twice by both methods there are no visit terms (animal terms hold
    them); a method without repeated readings has no visit × method term, and without repeated
    visits either no animal × method term (readings hold them). Visits and pairs shared by both
    methods need cells by both with one code.

    Parameters
    ----------
    cells : Cells
    """
    again = [_several(cells.animal, cells.visit, cells.method == m) for m in (0, 1)]
    linked = [_several(cells.visit, cells.pair, cells.method == m) for m in (0, 1)]
    repeated = [bool(np.any(cells.df[cells.method == m] > 0)) or linked[m] for m in (0, 1)]
    visits = all(again)
    shared = _several(cells.visit, cells.method, cells.method < 2)
    kept = {
        "animal": True,
        "visit": visits and shared,
        "pair": all(linked) and _several(cells.pair, cells.method, cells.method < 2),
        **dict.fromkeys(READINGS, True),
    }
    for m, name in enumerate(WHICH):
        kept[f"animal × {name}"] = repeated[m] or again[m]
        kept[f"visit × {name}"] = visits and repeated[m]
    return tuple(term for term in TERMS if kept[term])


def components(cells: Cells) -> Components:
    """Fit the variance components.

    Parameters
    ----------
    cells : Cells
        Two methods, at least two animals.

    Returns
    -------
    Components

    Raises
    ------
    FitError
        When there are fewer than two animals, or the criterion cannot be brought to its top.
    """
    if np.unique(cells.animal).size < 2 or np.unique(cells.method).size < 2:
        raise FitError("Variance components need two methods and at least two animals.")
    centre, scale = float(np.mean(cells.mean)), _scale(cells)
    if scale == 0:
        raise FitError("Every value is the same: there is no variance to part.")
    inner = Cells(
        (cells.mean - centre) / scale,
        cells.count,
        cells.ss / scale**2,
        cells.animal,
        cells.method,
        cells.visit,
        cells.pair,
    )
    terms = identified_terms(inner)
    blocks, within = blocks_of(inner, terms), within_of(inner, terms)
    try:
        found = [_maximum(blocks, within, start) for start in _starts(inner, terms)]
    except np.linalg.LinAlgError:
        raise FitError("The variance components cannot be told apart beyond rounding.") from None
    # The first start unless the other lies truly higher: rounding must not choose between them.
    first, second = found
    variance, top, rounds = second if second[1].value > first[1].value + _UNSEEN else first
    return _on_the_scale(inner, terms, variance, top, rounds, centre, scale)


def _several(group: Codes, member: Codes, rows: NDArray[np.bool_]) -> bool:
    """Return whether some group holds more than one member, among these rows."""
    pairs = np.unique(np.stack([group[rows], member[rows]]), axis=1)
    return bool(np.any(np.bincount(pairs[0]) > 1)) if pairs.size else False


def _scale(cells: Cells) -> float:
    about = (
        cells.mean - np.array([cells.mean[cells.method == m].mean() for m in (0, 1)])[cells.method]
    )
    return float(np.sqrt(np.mean(about**2) + np.nansum(cells.ss) / max(cells.count.sum(), 1)))


def _starts(cells: Cells, terms: tuple[str, ...]) -> tuple[Array, ...]:
    """Return two starts: most of the variance between animals, and an even split."""
    df, ss, _ = within_of(cells, terms)
    reading = np.where(df > 0, np.maximum(ss, 1e-4) / np.maximum(df, 1), 0.2)
    is_reading = np.array([term.startswith("reading") for term in terms])
    plain = np.array([0.6 if term == "animal" else 0.1 for term in terms])
    even = np.full(len(terms), 1 / len(terms))
    return np.where(is_reading, reading, plain), np.where(is_reading, reading, even)


def _maximum(
    blocks: tuple[Block, ...], within: tuple[Array, Array, float], start: Array
) -> tuple[Array, Criterion, int]:
    """Climb by Newton steps on the variances, none below its floor.

    Raises
    ------
    FitError
        When no step climbs although the slope is not level.
    """
    df, _, _ = within
    floor = np.where(df > 0, _FLOOR, 0.0)
    floor[-2:] = _FLOOR
    variance = start
    here = criterion(blocks, within, variance)
    for count in range(_ROUNDS):
        step, gain = _step_and_gain(here, variance, floor)
        if gain < _CLOSE:
            return variance, here, count
        if gain < _UNSEEN:
            tried = np.maximum(variance + step, floor)
            there = criterion(blocks, within, tried)
            if _step_and_gain(there, tried, floor)[1] >= gain:
                return variance, here, count
        else:
            tried, climbed = _climbed(blocks, within, variance, here, step, floor)
            if climbed is None:
                break
            there = climbed
        variance, here = tried, there
    if gain > 1e-7:
        raise FitError(
            f"The variance components did not settle after {count} rounds: the log-likelihood "
            f"{here.value:.6f} could still rise by about {gain:.1e}."
        )
    return variance, here, count


def _step_and_gain(here: Criterion, variance: Array, floor: Array) -> tuple[Array, float]:
    """Return the Newton step by the average information, (k,), and twice the rise it promises."""
    free = (variance > floor) | (here.score > 0)
    step = np.zeros(free.size)
    information = here.average[np.ix_(free, free)]
    size = np.sqrt(np.diag(here.expected)[free])
    low = float(np.linalg.eigvalsh(information / np.outer(size, size))[0])
    if low < 1e-10:
        information = here.expected[np.ix_(free, free)]
        information = information + np.diag(1e-10 * size**2)
    step[free] = np.linalg.solve(information, here.score[free])
    return step, float(step @ here.score)


def _climbed(
    blocks: tuple[Block, ...],
    within: tuple[Array, Array, float],
    variance: Array,
    here: Criterion,
    step: Array,
    floor: Array,
) -> tuple[Array, Criterion | None]:
    """Return the first point along the step, shortened by halves, that lies higher."""
    for halving in range(50):
        tried = np.maximum(variance + step * 0.5**halving, floor)
        try:
            there = criterion(blocks, within, tried)
        except np.linalg.LinAlgError:
            # So far out that one variance drowns the others in rounding: nearer, then.
            continue
        if there.value > here.value:
            return tried, there
    return variance, None


def _on_the_scale(
    cells: Cells,
    terms: tuple[str, ...],
    variance: Array,
    top: Criterion,
    rounds: int,
    centre: float,
    scale: float,
) -> Components:
    """Return the fit in the unit of the values."""
    at_zero = variance <= 2 * _FLOOR
    variance = np.where(at_zero, 0.0, variance)
    covariance = np.zeros((len(terms), len(terms)))
    free = np.ix_(~at_zero, ~at_zero)
    covariance[free] = _inverse(2 * top.average[free] - top.expected[free], top.expected[free])
    n = float(cells.mean.size + cells.df.sum())
    return Components(
        terms=terms,
        variance=variance * scale**2,
        covariance=covariance * scale**4,
        beta=top.beta * scale + centre,
        beta_covariance=top.beta_covariance * scale**2,
        beta_slopes=top.beta_slopes,
        log_likelihood=top.value - (n - 2) * float(np.log(scale)),
        at_zero=tuple(term for term, flat in zip(terms, at_zero, strict=True) if flat),
        rounds=rounds,
    )


def _inverse(observed: Array, expected: Array) -> Array:
    """Return the inverse of the observed information, or of the expected if that has none."""
    for information in (observed, expected):
        size = np.sqrt(np.diag(expected))
        scaled = information / np.outer(size, size)
        if np.linalg.eigvalsh(scaled)[0] > 1e-9:
            return np.linalg.inv(scaled) / np.outer(size, size)
    bounded: Any = np.linalg.pinv(expected)
    return bounded
