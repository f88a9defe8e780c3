"""How well visits would know a new animal, before they are made.

Given the noise SDs a trend is Gaussian, and its posterior variance does not depend on the values
that will be read. It is averaged here over the priors of the noise SDs. What is left out is that
the noise SDs stay uncertain after the visits. Simulated through the whole engine, which has to
find them (`reference_checks/planning/`), the SD realised is 2 to 6 % above the one planned, and
the mean half-width of the interval within 4 % of the one planned.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from scipy.special import ndtr, ndtri

from bpvet.equality import Content
from bpvet.errors import CallError
from bpvet.facts.priors.priors import Priors
from bpvet.facts.sources import fact
from bpvet.frozen import dataclass
from bpvet.maths.gaussian import Array
from bpvet.models.plan.schedule import (
    MOST_VISITS,
    Precision,
    Schedule,
    check_visits,
    check_whole,
    check_within,
    planned,
    prior_nodes,
    usual_precision,
)
from bpvet.printing import ShortTable, Tabled, number
from bpvet.reasons import reason

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from bpvet.answers.plan.result import PlanAnswer
    from bpvet.models.plan.study import Study


@dataclass(frozen=True, eq=False, repr=False)
class Plan(Tabled, Content):
    """How well a new animal would be known after some visits, under its priors.

    Parameters
    ----------
    priors : Priors
        What is believed before the first visit.
    visits, readings, every_days : int
        Visits, readings that count at each, days between them.
    before : int
        Visits before a drug is begun, the last of them on the day of its first dose; 0 where
        there is one visit only, which can tell nothing of a drug.
    tau_days : float
        Time constant of the drug.
    level : float
        Probability that the half-widths hold.
    unit : str
        Unit of the priors.
    usual : Precision
        Usual value on the day of the last visit, in an animal on no drug.
    ordinary : Precision
        The same in an animal whose noise SDs are the medians of the priors.
    slope : Precision
        Change per 30 days, in an animal on no drug.
    effect : Precision or None
        Full effect of a drug that is begun after `before` visits; None where there are none.
    """

    priors: Priors
    visits: int
    readings: int
    every_days: int
    before: int
    tau_days: float
    level: float
    unit: str
    usual: Precision
    ordinary: Precision
    slope: Precision
    effect: Precision | None

    @property
    def schedule(self) -> Schedule:
        """The visits, the drug begun among them."""
        return Schedule(self.visits, self.readings, self.every_days, self.before, self.tau_days)

    def fewest_visits(self, within: float) -> int | None:
        """Return the fewest visits that know the usual value to ± `within`, in the unit.

        None where `MOST_VISITS` do not: pressure wanders, and visits long ago say little of
        today.
        """
        check_within(within)

        if self.usual_after(MOST_VISITS).half_width > within:
            return None
        few, enough = 0, MOST_VISITS
        # Each visit more can only tell more, so the place is found by halving.
        while enough - few > 1:
            middle = (few + enough) // 2
            if self.usual_after(middle).half_width <= within:
                enough = middle
            else:
                few = middle
        return enough

    def usual_after(self, visits: int) -> Precision:
        """Return how well the usual value would be known after another number of visits."""
        check_whole(visits, "visits", MOST_VISITS)
        schedule = Schedule(visits, self.readings, self.every_days)
        return usual_precision(self.priors, schedule, self.level, *prior_nodes(self.priors))

    def chance_seen(self, fall: float) -> float | None:
        """Return how likely the verdict "has lowered" is where the drug truly lowers by `fall`.

        The verdict of a trend: its probability of a full effect of −10 or less is 0.9 or more
        (facts ``project.verdict``). None where no visit lies before the drug.
        """
        if self.effect is None:
            return None
        weights, sds = self._effects
        learned = 1 - (sds / self.priors.effect_sd) ** 2
        least, sure = (float(fact(f"project.verdict.{key}").value or 0) for key in ("fall", "sure"))
        # Given the true effect, the estimate is normal about a share `learned` of it.
        needed = -least - ndtri(sure) * sds + learned * fall
        return float(weights @ ndtr(needed / (sds * np.sqrt(np.maximum(learned, 1e-12)))))

    def fall_seen(self, chance: float = 0.8) -> float | None:
        """Return the smallest fall for which the verdict "has lowered" has this probability.

        None where no visit lies before the drug, or no fall is large enough.
        """
        low, high = 0.0, 20 * self.priors.effect_sd
        if self.effect is None or (self.chance_seen(high) or 0.0) < chance:
            return None
        for _ in range(60):
            middle = (low + high) / 2
            seen = (self.chance_seen(middle) or 0.0) >= chance
            low, high = (low, middle) if seen else (middle, high)
        return high

    def table(
        self,
        visits: Sequence[int] = (1, 2, 3, 4, 6, 8, 12),
        readings: Sequence[int] = (1, 3, 5, 10),
    ) -> pd.DataFrame:
        """Return how well more and fewer visits and readings would know the same animal.

        Returns
        -------
        DataFrame
            One row for each number of visits and of readings: ``visits``, ``readings``, and SD
            and half-width of ``usual``, ``effect`` (begun in mid-schedule; NaN for one visit)
            and ``slope``.
        """
        rows = []
        for count in visits:
            for each in readings:
                planned = plan(self.priors, count, each, self.every_days,
                           tau_days=self.tau_days, level=self.level)  # fmt: skip
                row: dict[str, float] = {"visits": count, "readings": each}
                for name in ("usual", "effect", "slope"):
                    precision: Precision | None = getattr(planned, name)
                    row[f"{name}_sd"] = precision.sd if precision else np.nan
                    row[f"{name}_half_width"] = precision.half_width if precision else np.nan
                rows.append(row)
        return pd.DataFrame(rows)

    def to_frame(self) -> pd.DataFrame:
        """Return one row a question: SD before and after the visits, half-width, unit.

        Indexed by ``usual``, ``ordinary``, ``slope`` and, where a drug is begun, ``effect``.
        """
        rows = {
            name: vars(precision) | {"unit": self.unit}
            for name, precision in self._precisions.items()
        }
        frame = pd.DataFrame.from_dict(rows, orient="index")
        return frame.rename_axis(index="question")

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for JSON; `effect` is None where no visit lies before the drug."""
        names = ("visits", "readings", "every_days", "before", "tau_days", "level", "unit")
        return {
            **{name: getattr(self, name) for name in names},
            "effect": None,
            **{name: dict(vars(precision)) for name, precision in self._precisions.items()},
            "priors": self.priors.source,
        }

    def answer(
        self, species: str, method: str, quantity: str = "systolic", **choices: Any
    ) -> PlanAnswer:
        """Return what ``bpvet plan --json`` prints: `bpvet.answers.plan.plan.plan_answer`."""
        from bpvet.answers.plan.plan import plan_answer

        return plan_answer(self, species, method, quantity, **choices)

    def plot(self, ax: Axes | None = None, *, width_mm: float = 160.0) -> Figure | Axes:
        """Return the figure, or draw it in an Axes of yours: intervals by number of visits."""
        from bpvet.figures.drawing import plotted
        from bpvet.pictures.plan import plan_picture

        return plotted(plan_picture(self), ax, width_mm)

    @property
    def _precisions(self) -> dict[str, Precision]:
        named = {"usual": self.usual, "ordinary": self.ordinary, "slope": self.slope}
        return named if self.effect is None else named | {"effect": self.effect}

    def study(self, effect: float, power: float = 0.9, **choices: Any) -> Study:
        """Return the animals an arm of a study of such visits: `bpvet.models.plan.study`."""
        from bpvet.models.plan.study import StudyChoices, study

        return study(self, effect, power, StudyChoices(**choices))

    @cached_property
    def _effects(self) -> tuple[Array, Array]:
        """Return weights and SDs (K,) of the effect over the priors of the noise."""
        nodes, weights = prior_nodes(self.priors)
        columns, posterior = planned(self.priors, self.schedule, nodes, weights)
        return weights, posterior.combination(columns.unit("course 0")).sds

    def _table(self) -> ShortTable:
        named = {
            reason("plan.usual"): self.usual,
            reason("plan.ordinary"): self.ordinary,
            reason("plan.effect", visit=self.before): self.effect,
            reason("plan.slope"): self.slope,
        }
        rows = tuple(
            (
                name,
                *(
                    number(spread, 1)
                    for spread in (precision.sd_before, precision.sd, precision.half_width)
                ),
                self.unit,
            )
            for name, precision in named.items()
            if precision is not None
        )
        title = reason(
            "plan.title", visits=self.visits, readings=self.readings, days=self.every_days
        )
        heads = ("", "SD before", "SD after", f"± at {100 * self.level:.3g} %", "unit")
        return ShortTable(title, heads, rows, (reason("plan.priors", source=self.priors.source),))


def plan(
    priors: Priors,
    visits: int = 4,
    readings: int = 5,
    every_days: int = 7,
    *,
    before: int | None = None,
    tau_days: float | None = None,
    level: float = 0.95,
    unit: str = "mmHg",
) -> Plan:
    """Return how well a new animal would be known after some visits; no data are needed.

    Parameters
    ----------
    priors : Priors
        Those of its species, method and quantity; ``first_visit=None`` in them for an animal
        that is used to being measured.
    visits : int
        Visits.
    readings : int
        Readings of each that count: under the rule ``guideline`` the first of four or more is
        taken and left out.
    every_days : int
        Whole days between visits.
    before : int or None
        Visits before a drug is begun; half of them (rounded down) by default.
    tau_days : float or None
        Time constant of that drug (`Priors.tau_of`); by default that of a drug not named.
    level : float
        Probability that half-widths hold.
    unit : str
        Unit of the priors, as printed.

    Returns
    -------
    Plan

    Raises
    ------
    CallError
        Where a number cannot be planned with.

    Notes
    -----
    The noise SDs are integrated over their priors by a fixed product of Gauss–Hermite rules;
    given them the posterior variance does not depend on the readings (Harvey 1989). The
    result is the expected variance, and the half-width, of a fit that knows the animal's noise.

    Examples
    --------
    >>> round(plan(Priors.default("cat", "doppler"), visits=7).usual.half_width, 1)
    13.6
    """
    check_visits(visits, readings, every_days)
    if before is not None and not 1 <= before < visits:
        raise CallError(f"before must leave visits on either side of {visits}, not {before}.")
    tau = priors.tau_of("") if tau_days is None else tau_days
    first = visits // 2 if before is None else before
    return _planned(priors, Schedule(visits, readings, every_days, first, tau), level, unit)


def _planned(priors: Priors, visits: Schedule, level: float, unit: str) -> Plan:
    """Return a plan; the numbers of its visits have been looked at."""
    if not (visits.tau_days > 0 and 0 < level < 1):
        raise CallError("tau_days must be positive, and level lie between 0 and 1.")
    without = Schedule(visits.visits, visits.readings, visits.every_days)
    treated = visits if visits.before else None
    sv, sr, sw = (np.log([[pair[0]]]) for pair in (priors.sv, priors.sr, priors.sw))
    return Plan(
        priors=priors,
        visits=int(visits.visits),
        readings=int(visits.readings),
        every_days=int(visits.every_days),
        before=visits.before,
        tau_days=visits.tau_days,
        level=level,
        unit=unit,
        usual=usual_precision(priors, without, level, *prior_nodes(priors)),
        ordinary=usual_precision(priors, without, level, (sv, sr, sw), np.ones(1)),
        slope=_coefficient(priors, without, level, "slope"),
        effect=_coefficient(priors, treated, level, "course 0") if treated else None,
    )


def _coefficient(priors: Priors, schedule: Schedule, level: float, name: str) -> Precision:
    """Return how well a coefficient of a new animal would be known."""
    nodes, weights = prior_nodes(priors)
    columns, posterior = planned(priors, schedule, nodes, weights)
    unit = columns.unit(name)
    sds = posterior.combination(unit).sds
    return Precision.of(float(unit @ columns.forms[0].sd), weights, sds, level)
