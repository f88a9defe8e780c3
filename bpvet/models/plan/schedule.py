"""Visits that have not been made, as a series without values: what they would leave unknown."""

from __future__ import annotations

import numpy as np
from scipy.special import roots_hermite

from bpvet.errors import CallError
from bpvet.facts.priors.priors import Priors
from bpvet.frozen import dataclass, replace
from bpvet.maths.gaussian import Array
from bpvet.maths.mixture import Mixture
from bpvet.maths.posterior import Part
from bpvet.maths.surface import noise_at
from bpvet.models.trend.columns import Columns, columns_of
from bpvet.models.trend.posteriors import batch_of, noise_prior_of
from bpvet.visits.series import Series
from bpvet.visits.treatments.courses import Course

#: Nodes over the priors of log sv, log sr and log sw: more change the fifth digit of no SD.
NOISE_NODES = (9, 5, 9)
#: More visits than this are not planned.
MOST_VISITS = 60
_MOST_READINGS = 1000
_MOST_DAYS = 3650

#: Log-SDs at K nodes, each (1, K): log sv, log sr and log sw.
LogSds = tuple[Array, Array, Array]


@dataclass(frozen=True)
class Precision:
    """How well one quantity would be known.

    Parameters
    ----------
    sd_before : float
        SD of what is believed of it before the visits, in the unit.
    sd : float
        SD after them: the root of the expected posterior variance given the noise SDs.
    half_width : float
        Distance from the estimate within which the truth lies with the plan's probability:
        that of the central interval of the normals of all noise SDs, centred on one estimate.
    """

    sd_before: float
    sd: float
    half_width: float

    @classmethod
    def of(cls, sd_before: float, weights: Array, sds: Array, level: float) -> Precision:
        """Return it from the SDs (K,) at weighted noise nodes."""
        around = Mixture(weights, np.zeros_like(sds), np.maximum(sds, 1e-12))
        half_width = float(around.quantile((1 + level) / 2))
        return cls(sd_before, float(np.sqrt(weights @ sds**2)), half_width)


@dataclass(frozen=True)
class Schedule:
    """Visits at equal gaps, and the day on which a drug is begun.

    Parameters
    ----------
    visits, readings : int
        Visits, and readings that count at each.
    every_days : int
        Days between visits.
    before : int
        Visits before the first dose, the last of them on its day; 0 for no drug.
    tau_days : float
        Time constant of the drug.
    """

    visits: int
    readings: int
    every_days: int
    before: int = 0
    tau_days: float = 5.0

    def series(self) -> Series:
        """Return the sessions as an empty series: dates and counts, every value 0."""
        count = self.visits
        day = np.datetime64("2000-01-01") + self.every_days * np.arange(count)
        nil, text = np.zeros(count), np.full(count, "")
        courses: tuple[Course, ...] = ()
        if self.before:
            never = np.datetime64("NaT", "D")
            course = Course("drug", "base", day[self.before - 1], never, self.tau_days, 0, "", True)
            courses = (replace(course, spells=(0,)),)
        return Series(
            animal="",
            species="",
            method="",
            condition="clinic",
            quantity="",
            unit="",
            date=day,
            y=nil,
            ss=nil,
            k=np.full(count, float(self.readings)),
            scatter_known=np.ones(count, dtype=bool),
            bound=text,
            visit=np.arange(count),
            session=np.arange(count),
            methods=text,
            conditions=np.full(count, "clinic"),
            median=nil,
            tense=np.zeros(count, dtype=bool),
            courses=courses,
        )


def prior_nodes(priors: Priors) -> tuple[LogSds, Array]:
    """Return nodes (1, K) of log sv, log sr and log sw over their priors, and weights (K,).

    A product of Gauss–Hermite rules. It is right here, where no reading moves the weights, and
    wrong for a posterior.
    """
    points, weights = [], []
    for (median, log_sd), count in zip((priors.sv, priors.sr, priors.sw), NOISE_NODES, strict=True):
        u, w = roots_hermite(count)
        points.append(np.log(median) + np.sqrt(2) * log_sd * u)
        weights.append(w / np.sqrt(np.pi))
    sv, sr, sw = (grid.reshape(1, -1) for grid in np.meshgrid(*points, indexing="ij"))
    return (sv, sr, sw), np.einsum("i,j,k->ijk", *weights).ravel()


def planned(
    priors: Priors, schedule: Schedule, log_sds: LogSds, weights: Array
) -> tuple[Columns, Part]:
    """Return the design of a schedule, and the posterior that its visits would leave.

    Parameters
    ----------
    priors : Priors
    schedule : Schedule
    log_sds : three (1, K)
        log sv, log sr and log sw.
    weights : (K,)
        Their weights.

    Returns
    -------
    Columns, Part
        Of the posterior only the SDs mean anything: no value has been read.
    """
    series = schedule.series()
    # Which group an animal is of only its readings can tell: a plan has none, and takes one normal.
    columns = columns_of(series, priors, grouped=False)
    noise = noise_at(noise_prior_of([(priors,)]), *log_sds)
    batch, form = batch_of([series], [columns]), columns.forms[0]
    return columns, Part(batch, form.mean, form.transform, weights, noise, float("nan"))


def usual_precision(
    priors: Priors, schedule: Schedule, level: float, log_sds: LogSds, weights: Array
) -> Precision:
    """Return how well the usual value would be known on the day of the last visit."""
    columns, posterior = planned(priors, schedule, log_sds, weights)
    today = np.zeros(1)
    sds = posterior.usual(columns.rows(today), today).sds[0]
    wander = float(weights @ np.exp(2 * log_sds[2][0]))
    return Precision.of(float(np.sqrt(priors.level[1] ** 2 + wander)), weights, sds, level)


def check_visits(visits: int, readings: int, every_days: int) -> None:
    """Raise a `CallError` where these visits cannot be planned."""
    check_whole(every_days, "every_days", _MOST_DAYS)
    check_whole(visits, "visits", MOST_VISITS)
    check_whole(readings, "readings", _MOST_READINGS)


def check_within(within: float) -> None:
    """Raise a `CallError` where a half-width cannot be asked for."""
    if not 0 < within < np.inf:
        raise CallError(f"within must be a positive number, not {within}.")


def check_whole(value: float, name: str, most: int) -> None:
    """Raise a `CallError` where a number is not whole, or not from 1 to `most`."""
    if not 1 <= value <= most or value != int(value):
        raise CallError(f"{name} must be a whole number from 1 to {most}, not {value}.")
