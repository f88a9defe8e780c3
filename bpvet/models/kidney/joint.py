"""Pressure and one laboratory value of the same animal, fitted together.

Each series keeps its own model (`bpvet.models.trend.trend`): level, slope, the same courses of
drugs, wander and noise. What joins them is one correlation r: of the two wanders, which share
their time constant, and of the two slopes. At r = 0 the two fall apart and the answers are those of
the two single trends.

Source: linear coregionalisation of two Gaussian processes (Journel and Huijbregts 1978). The noise
SDs are those of the single fits: pairs of their nodes are taken by a Sobol sequence over their
weights, and each pair is weighed by its likelihood at each r. No sampling by chance: the same
records give the same digits.
"""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from bpvet.equality import Content
from bpvet.errors import CallError
from bpvet.facts.words import LAB_QUANTITIES, QUANTITY_WORDS
from bpvet.frozen import dataclass
from bpvet.maths.gaussian import Array, session_noise
from bpvet.maths.mixture import Mixture
from bpvet.maths.posterior import Part
from bpvet.maths.sobol import POINTS, sobol_points
from bpvet.maths.special import log_sum_exp
from bpvet.models.kidney.rate import doubling_months
from bpvet.models.trend.fit import fit_trend
from bpvet.models.trend.trend import Trend
from bpvet.printing import ShortTable, Tabled, number, probability
from bpvet.reasons import reason
from bpvet.records.records import Records

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

#: Correlations that are weighed, evenly before the records are seen (a judgement).
GRID = np.linspace(-0.95, 0.95, 20)
#: Pairs of noise nodes, a power of two.
PAIRS = 128
_NEGLIGIBLE = 1e-4


@dataclass(frozen=True, eq=False, repr=False)
class Joint(Tabled, Content):
    """Pressure and a laboratory value fitted together.

    Parameters
    ----------
    pressure, marker : Trend
        The single trends.
    correlations, weights : (R,) float
        Correlations that were weighed, and the posterior weight of each.
    latest_pressure, latest_marker : Mixture
        Usual values, each at its own latest date.
    slope_pressure, slope_marker : Mixture
        Changes per 30 days apart from the drugs; of the marker in per cent.
    level : float
        Probability that intervals hold.
    """

    pressure: Trend
    marker: Trend
    correlations: Array
    weights: Array
    latest_pressure: Mixture
    latest_marker: Mixture
    slope_pressure: Mixture
    slope_marker: Mixture
    level: float = 0.95

    @property
    def p_together(self) -> float:
        """Probability that the two move together: that the correlation is above 0."""
        return float(self.weights[self.correlations > 0].sum())

    @property
    def correlation(self) -> tuple[float, float, float]:
        """Mean of the correlation, and the ends of its central interval."""
        tail = (1 - self.level) / 2
        below = np.cumsum(self.weights) - self.weights / 2
        low, high = np.interp([tail, 1 - tail], below, self.correlations)
        return float(self.weights @ self.correlations), float(low), float(high)

    @property
    def doubling(self) -> tuple[float, float, float]:
        """Months in which the marker doubles, with the interval's ends; infinite where not."""
        low, high = self.slope_marker.interval(self.level)
        ends = (float(self.slope_marker.mean), float(high), float(low))
        middle, soonest, latest = (doubling_months(rate) for rate in ends)
        return middle, soonest, latest

    def to_dict(self) -> dict[str, Any]:
        """Return the numbers as plain JSON values; a time that is infinite is null."""
        mean, low, high = self.correlation
        return {
            "animal": self.marker.series.animal,
            "marker": self.marker.series.quantity,
            "correlation": {"value": mean, "lower": low, "upper": high},
            "p_together": self.p_together,
            "latest_pressure": self._estimate(self.latest_pressure, "mmHg"),
            "latest_marker": self._estimate(self.latest_marker, self.marker.series.unit),
            "pressure_per_30_days": self._estimate(self.slope_pressure, "mmHg"),
            "marker_per_30_days": self._estimate(self.slope_marker, "%"),
            "doubling_months": dict(
                zip(
                    ("value", "lower", "upper"),
                    (months if np.isfinite(months) else None for months in self.doubling),
                    strict=True,
                )
            ),
        }

    def to_frame(self) -> pd.DataFrame:
        """Return one row a number of `to_dict` that has an interval: value, lower, upper, unit."""
        import pandas as pd

        rows = {
            name: figures for name, figures in self.to_dict().items() if isinstance(figures, dict)
        }
        columns = ["value", "lower", "upper", "unit"]
        frame = pd.DataFrame.from_dict(rows, orient="index", columns=columns)
        units = {"correlation": "", "doubling_months": "months"}
        frame["unit"] = frame["unit"].fillna(pd.Series(units))
        return frame.astype(dict.fromkeys(columns[:3], float)).rename_axis(index="quantity")

    def plot(self, ax: Axes | None = None, *, width_mm: float = 160.0) -> Figure | Axes:
        """Return the figure, or draw it in an Axes of yours: one panel below the other."""
        from bpvet.figures.drawing import plotted
        from bpvet.pictures.kidney import joint_picture

        return plotted(joint_picture(self), ax, width_mm)

    def _estimate(self, mixture: Mixture, unit: str) -> dict[str, Any]:
        low, high = mixture.interval(self.level)
        return {
            "value": float(mixture.mean),
            "lower": float(low),
            "upper": float(high),
            "unit": unit,
        }

    def _table(self) -> ShortTable:
        name, unit = QUANTITY_WORDS[self.marker.series.quantity], self.marker.series.unit
        rows = [
            self._row(reason("joint.pressure"), self.latest_pressure, "mmHg", 1),
            self._row(reason("joint.usual", name=name), self.latest_marker, unit, 2),
            self._row(reason("joint.pressure_a_month"), self.slope_pressure, "mmHg", 1),
            self._row(reason("joint.a_month", name=name), self.slope_marker, "%", 1),
            ("correlation", *(number(bound, 2) for bound in self.correlation), ""),
        ]
        title = reason("joint.title", name=name, animal=self.marker.series.animal)
        notes = (reason("joint.together", probability=probability(self.p_together)),)
        return ShortTable(title, ("", "middle", "lower", "upper", "unit"), tuple(rows), notes)

    def _row(self, name: str, mixture: Mixture, unit: str, digits: int) -> tuple[str, ...]:
        low, high = mixture.interval(self.level)
        return (name, *(number(float(value), digits) for value in (mixture.mean, low, high)), unit)


def fit_joint(
    records: Records,
    animal: str,
    marker: str = "creatinine",
    *,
    correlation: float | None = None,
    level: float = 0.95,
) -> Joint:
    """Fit an animal's systolic pressure and one laboratory value together.

    Parameters
    ----------
    records : Records
    animal : str
        Its id, or an unambiguous name.
    marker : str
        ``creatinine``, ``sdma``, ``upc``, ``phosphate`` or ``weight``.
    correlation : float or None
        Held fixed, between −1 and 1; by default it is estimated.
    level : float
        Probability that intervals hold.

    Raises
    ------
    CallError
        For an unknown marker, a correlation out of bounds, or where either trend has no value.
    """
    if marker not in LAB_QUANTITIES:
        raise CallError(f'"{marker}" is not one of {", ".join(LAB_QUANTITIES)}.')
    if correlation is not None and not -1 < correlation < 1:
        raise CallError(f"a correlation lies between −1 and 1; {correlation} does not.")
    trends = fit_trend(records, animal), fit_trend(records, animal, quantity=marker)
    return join(*trends, correlation=correlation, level=level)


def join(
    pressure: Trend,
    marker: Trend,
    *,
    correlation: float | None = None,
    level: float = 0.95,
    sides: Sides | None = None,
) -> Joint:
    """Return two single trends of one animal fitted together; arguments as in `fit_joint`.

    `sides` are those of the pressure, for one that is laid beside several markers.
    """
    grid = GRID if correlation is None else np.array([float(correlation)])
    logs, means, sds = [], [], []
    sides_ = sides_of(marker, 1)
    for share, side in sides or sides_of(pressure, 0):
        for share_, marker_side in sides_:
            # At r = 0, the first, each pair weighs the same: the weights are relative to that.
            log, mean, sd = _fits(side, marker_side, np.concatenate([[0.0], grid]))
            logs.append(log[1:] - log[0] + np.log(share * share_))
            means.append(mean[1:])
            sds.append(sd[1:])
    # (parts, R, S)
    log_weight = np.array(logs)
    weight = np.exp(log_weight - log_sum_exp(log_weight))
    centre, spread = np.array(means).reshape(-1, 4), np.array(sds).reshape(-1, 4)
    scales = ("plain", "log", "plain", "percent")
    usual, usual_marker, slope, slope_marker = (
        Mixture(weight.ravel().copy(), centre[:, i].copy(), spread[:, i].copy(), scale)
        for i, scale in enumerate(scales)
    )
    return Joint(
        pressure=pressure,
        marker=marker,
        correlations=grid,
        weights=weight.sum(axis=(0, 2)),
        latest_pressure=usual,
        latest_marker=usual_marker,
        slope_pressure=slope,
        slope_marker=slope_marker,
        level=level,
    )


def sides_of(trend: Trend, axis: int) -> Sides:
    """Return the forms of a trend's prior that weigh anything, each with its share, at its nodes.

    Parameters
    ----------
    trend : Trend
    axis : int
        0 for the pressure, 1 for the marker.
    """
    # Readings beyond the gauge stand as normal pseudo-sessions here.
    posterior = trend.posterior.plain
    weighed = zip(posterior.shares.tolist(), posterior.parts, strict=True)
    return [
        (share, _Side(trend, conditional, axis))
        for share, conditional in weighed
        if share > _NEGLIGIBLE
    ]


class _Side:
    """One series at its noise nodes: what the joint covariance is made of.

    Parameters
    ----------
    trend : Trend
    conditional : Part
        One form of its prior.
    axis : int
        Axis of the Sobol sequence.
    """

    def __init__(self, trend: Trend, conditional: Part, axis: int) -> None:
        columns, batch, noise = trend.columns, conditional.batch, conditional.noise
        # What is asked: the usual value at the latest date, and the slope.
        rows = np.vstack([columns.rows(np.zeros(1)), columns.unit("slope")])
        order = np.argsort(conditional.usual(rows[:1], np.zeros(1)).means[0], kind="stable")
        # Moved by half a step of these, which are the first of more.
        points = sobol_points(2)[:PAIRS, axis] - 0.5 / POINTS + 0.5 / PAIRS
        chosen = np.searchsorted(np.cumsum(conditional.weight[order]), points % 1.0)
        self.nodes = order[np.minimum(chosen, order.size - 1)]
        self.y = batch.y[:, 0]
        self.day = batch.day[:, 0] + columns.origin
        self.x = batch.x[:, :, 0].T
        self.prior_sd = batch.prior_sd[:, 0]
        self.noise = session_noise(batch, noise)[:, 0, self.nodes].T
        self.wander = np.sqrt(noise.wander[0, self.nodes])
        self.wander_days = float(batch.wander_days[0])
        self.queried = rows @ conditional.transform
        self.prior_mean = self.queried @ conditional.prior_mean
        self.slope = columns.terms.index("slope")
        self.latest = np.array([columns.origin])

    @cached_property
    def whitened(self) -> _Whitened:
        """The series with its values turned into independent ones."""
        return _Whitened(self)

    def covariance(self) -> tuple[Array, Array, Array]:
        """Return the covariances of y (S, n, n), of queried and y (S, 2, n), and of queried."""
        prior_variance = self.prior_sd**2
        wander = self.wander[:, None, None] ** 2
        near = _near(self.day, self.day, self.wander_days)
        y = self.x * prior_variance @ self.x.T + wander * near
        y = y + self.noise[:, :, None] * np.eye(self.y.size)
        queried = np.repeat(
            (self.queried * prior_variance @ self.x.T)[None], self.nodes.size, axis=0
        )
        queried[:, :1] += wander * _near(self.latest, self.day, self.wander_days)
        itself = np.repeat(
            (self.queried * prior_variance @ self.queried.T)[None], self.nodes.size, axis=0
        )
        itself[:, 0, 0] += self.wander**2
        return y, queried, itself


Sides = list[tuple[float, _Side]]


def _near(days: Array, other_days: Array, wander_days: float) -> Array:
    return np.asarray(np.exp(-np.abs(days[:, None] - other_days) / wander_days))


def _cross(pressure: _Side, marker: _Side) -> tuple[Array, Array, Array]:
    """Return, at r = 1, the covariances of y and y', of queried and y', and of queried' and y."""
    slopes = pressure.prior_sd[pressure.slope] * marker.prior_sd[marker.slope]
    wander = (pressure.wander * marker.wander)[:, None, None]
    days = pressure.wander_days

    def covariance(rows: Array, columns: Array, near: Array) -> Array:
        return np.asarray(slopes * np.outer(rows, columns) + wander * near)

    x, x_ = pressure.x[:, pressure.slope], marker.x[:, marker.slope]
    both = covariance(x, x_, _near(pressure.day, marker.day, days))
    ask, ask_ = pressure.queried[:, pressure.slope], marker.queried[:, marker.slope]
    # The second thing asked, the slope, holds no wander.
    first = np.array([[1.0], [0.0]])
    from_one = covariance(ask, x_, first * _near(pressure.latest, marker.day, days))
    from_other = covariance(ask_, x, first * _near(marker.latest, pressure.day, days))
    return both, from_one, from_other


def _fits(pressure: _Side, marker: _Side, grid: Array) -> tuple[Array, Array, Array]:
    """Return log-likelihoods (R, S), and means and SDs (R, S, 4) of what is asked, at each r.

    In the order of `Joint`: usual pressure, usual marker, slope of each. Each series is whitened by
    itself: a (n) and b (m), whose covariance is then r M. With a eliminated, what is left of b has
    the precision (I − r² MᵀM)⁻¹: eigenvectors of MᵀM make that diagonal for every r at once.
    """
    cross, from_one, from_other = _cross(pressure, marker)
    mine, theirs = pressure.whitened, marker.whitened
    mixed = theirs.solved(mine.solved(cross).transpose(0, 2, 1))  # (S, m, n), the transpose of M
    shared, vectors = np.linalg.eigh(mixed @ mixed.transpose(0, 2, 1))
    to_pressure = mixed.transpose(0, 2, 1) @ vectors
    a = mine.y
    b, b_by_a = theirs.y.transpose(0, 2, 1) @ vectors, a.transpose(0, 2, 1) @ to_pressure
    weight = 1 / (1 - shared[:, :, None] * grid**2)  # (S, m, R)
    left = b.transpose(0, 2, 1) - b_by_a.transpose(0, 2, 1) * grid
    q = left * weight
    logs = 0.5 * (np.log(weight) - left * q).sum(axis=1) - 0.5 * (a * a).sum(axis=1)
    logs -= (mine.log_det + theirs.log_det)[:, None]
    # What is asked, (S, 2, n or m): beside its own series' values, and at r = 1 beside the other's.
    near, near_ = mine.queried, theirs.queried @ vectors
    far, far_ = theirs.solved_rows(from_one) @ vectors, mine.solved_rows(from_other)
    rest = far - near @ to_pressure
    means = near @ a + grid * (rest @ q)
    lost = (near * near).sum(axis=2, keepdims=True) + grid**2 * (rest * rest @ weight)
    through = far_ @ to_pressure
    means_ = grid * (far_ @ a) + near_ @ q - grid**2 * (through @ q)
    lost_ = grid**2 * (far_ * far_).sum(axis=2, keepdims=True) + near_ * near_ @ weight
    lost_ += grid**4 * (through * through @ weight) - 2 * grid**2 * (near_ * through @ weight)
    before = [np.diagonal(side.itself, axis1=1, axis2=2)[:, :, None] for side in (mine, theirs)]
    priors = [side.prior_mean[:, None] for side in (pressure, marker)]
    mean = _in_order(means + priors[0], means_ + priors[1])
    variance = _in_order(before[0] - lost, before[1] - lost_)
    return logs.T, mean, np.sqrt(np.maximum(variance, 0.0))


def _in_order(pressure: Array, marker: Array) -> Array:
    """Return what is asked of both (S, 2, R), usual values before slopes, as (R, S, 4)."""
    return np.stack([pressure, marker], axis=2).reshape(len(pressure), 4, -1).transpose(2, 0, 1)


class _Whitened:
    """One series at its noise nodes, its values turned into independent ones of variance 1."""

    def __init__(self, side: _Side) -> None:
        covariance, queried, self.itself = side.covariance()
        root = np.linalg.cholesky(covariance)
        self.log_det = np.log(np.diagonal(root, axis1=1, axis2=2)).sum(axis=1)
        # Laid beside several others, it is multiplied with more often than it is made.
        self.inverse = np.linalg.inv(root)
        self.y = self.solved(np.broadcast_to(side.y[:, None], (PAIRS, side.y.size, 1)))
        self.queried = self.solved_rows(queried)

    def solved(self, columns: Array) -> Array:
        return np.asarray(self.inverse @ columns)

    def solved_rows(self, rows: Array) -> Array:
        return self.solved(rows.transpose(0, 2, 1)).transpose(0, 2, 1)
