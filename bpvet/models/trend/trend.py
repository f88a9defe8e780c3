"""The trend of one animal: its usual pressure through time, under the model of one series.

    mu(t) = level + slope·(t − t0)/30 d + Σ effect·on(t) + w(t)

with t0 the latest session, courses that rise and decay, and a slow wander w. Sessions scatter
about mu by visit and reading noise and, early on, by first-visit excitement.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from bpvet.equality import Content
from bpvet.errors import CallError
from bpvet.facts.priors.priors import Priors
from bpvet.facts.priors.table import PriorTable
from bpvet.facts.words import DECIMALS, LAB_QUANTITIES, Bound
from bpvet.frozen import dataclass, replace
from bpvet.maths.gaussian import Array
from bpvet.maths.mixture import Mixture
from bpvet.maths.posterior import Posterior
from bpvet.models.trend.columns import Columns, join_columns, noise_groups
from bpvet.models.trend.dates import days_from
from bpvet.models.trend.effects import (
    ChangeEffect,
    CourseEffect,
    Treatment,
    change_effects,
    course_effects,
    spell_effects,
)
from bpvet.models.trend.posteriors import fixed_noise
from bpvet.printing import ShortTable, Tabled, number
from bpvet.reasons import reason
from bpvet.records.records import Records
from bpvet.visits.series import Series, rounding_step
from bpvet.visits.session_columns import SessionColumns, of_animal
from bpvet.visits.session_store import AnimalSessions
from bpvet.visits.treatments.courses import Treatments

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from bpvet.answers.trend.result import TrendAnswer
    from bpvet.models.trend.companions import Companions
    from bpvet.reports.writing import Written


#: From this share of readings beyond the gauge on, one end of a usual pressure is told.
MOSTLY_BEYOND = 0.75


@dataclass(frozen=True, eq=False)
class Context(Content):
    """Where a series came from and how it is fitted: what a trend keeps beside its numbers.

    Parameters
    ----------
    records : Records
        The records.
    rows : AnimalSessions
        All sessions of the animal, by any method and under any condition.
    treatments : Treatments
        Its courses and other drugs.
    rule : str
        Which readings count.
    bridge : tuple of str
        What is joined: ``methods``, ``conditions``.
    priors : tuple of Priors
        Priors of each method in the series, that of its latest session first.
    fixed : mapping or None
        Noise SDs held fixed.
    given : Priors, PriorTable or None
        Priors as the caller gave them.
    """

    records: Records
    rows: AnimalSessions
    treatments: Treatments
    rule: str
    bridge: tuple[str, ...]
    priors: tuple[Priors, ...]
    fixed: Mapping[str, float] | None = None
    given: Priors | PriorTable | None = None

    @property
    def sessions(self) -> pd.DataFrame:
        """All sessions of the animal, as `bpvet.sessions` gives them; made when first asked for."""
        return self.rows.frame

    @cached_property
    def session_columns(self) -> SessionColumns:
        """The same by column."""
        return of_animal(self.rows)


@dataclass(frozen=True, eq=False, repr=False)
class Trend(Tabled, Content):
    """The trend of one series: a posterior, and the records it came from.

    Parameters
    ----------
    series : Series
        The sessions, as arrays.
    columns : Columns
        The coefficients with their priors.
    posterior : Posterior
        What the readings say.
    context : Context
        The records and the choices behind the series.
    """

    series: Series
    columns: Columns
    posterior: Posterior
    context: Context

    @cached_property
    def beside(self) -> dict[str, Trend]:
        """The animal's trends of laboratory values, as far as anybody asked, by quantity."""
        return {}

    @property
    def records(self) -> Records:
        """The records the series came from."""
        return self.context.records

    @property
    def priors(self) -> Priors:
        """The priors used (of the latest session's method)."""
        return self.context.priors[0]

    @property
    def logarithmic(self) -> bool:
        """Whether the series holds logarithms (laboratory values and weights)."""
        return self.series.quantity in LAB_QUANTITIES

    @property
    def observed(self) -> Array:
        """(n,) what each session or sample gave, in the unit."""
        return np.exp(self.series.y) if self.logarithmic else self.series.y

    @property
    def bridged(self) -> bool:
        """Whether methods or conditions are joined."""
        return bool(join_columns(self.series))

    @property
    def one_sided(self) -> str:
        """``at least`` or ``at most`` where only that end of a usual pressure is to be told.

        So it is where three quarters of the record's readings or more lie beyond the gauge: the
        other end would be the prior's, not the readings'. Blank otherwise.
        """
        above, below = self.series.share_beyond
        if above >= MOSTLY_BEYOND:
            return Bound.AT_LEAST
        return Bound.AT_MOST if below >= MOSTLY_BEYOND else ""

    @property
    def as_of(self) -> np.datetime64:
        """The date the trend speaks for."""
        return self.records.as_of

    @property
    def latest_date(self) -> np.datetime64:
        """Date of the latest session of the series, datetime64[D]."""
        return self.series.date[-1]

    def at(self, when: Any) -> Mixture:
        """Return the usual pressure, without visit noise, at dates or times.

        Parameters
        ----------
        when : date, datetime, datetime64, text in ISO form, or a sequence of them
            A date stands for its local noon.

        Returns
        -------
        Mixture
            In the unit of the series; one distribution, or one for each of a sequence.

        Raises
        ------
        CallError
            Where `when` is no date.
        """
        days, single = days_from(when)
        day = days - self.columns.origin
        mixture = self.told_of(self.posterior.usual(self.columns.rows(day), day))
        return mixture.first() if single else mixture

    @cached_property
    def latest(self) -> Mixture:
        """Usual pressure at the latest session."""
        return self.at(self.latest_date)

    @cached_property
    def level(self) -> Mixture:
        """Usual untreated level at the latest session."""
        return self._value(self._term("level"))

    @cached_property
    def slope(self) -> Mixture:
        """Change per 30 days, apart from the drugs; in per cent on the log scale."""
        return self._change(self._term("slope"))

    @cached_property
    def first_visit(self) -> Mixture | None:
        """Excitement of the first visit, or None where the term is off."""
        return self._term("first_visit") if "first_visit" in self.columns.terms else None

    @cached_property
    def offsets(self) -> dict[str, Mixture]:
        """Estimated joins of a bridged series by name; empty otherwise."""
        names = [name for name in self.columns.terms if name.startswith("offset")]
        return {name.removeprefix("offset "): self._term(name) for name in names}

    @cached_property
    def changes(self) -> tuple[ChangeEffect, ...]:
        """Recorded changes of site, posture, instrument and operator that the trend allows for."""
        return change_effects(self.series, self.columns, self.posterior)

    @cached_property
    def courses(self) -> tuple[CourseEffect, ...]:
        """The modelled courses, in order of start, with their effects."""
        found = course_effects(self.series, self.columns, self.posterior)
        return tuple(
            replace(
                effect,
                effect=self._change(effect.effect),
                effect_now=self._change(effect.effect_now),
            )
            for effect in found
        )

    @cached_property
    def treatments(self) -> tuple[Treatment, ...]:
        """The modelled spells, each with its base and dose changes summed."""
        found = spell_effects(self.series, self.columns, self.posterior)
        return tuple(
            replace(
                effect,
                effect=self._change(effect.effect),
                effect_now=self._change(effect.effect_now),
            )
            for effect in found
        )

    @property
    def log_marginal_likelihood(self) -> float:
        """Log marginal likelihood of all readings under the priors."""
        return self.posterior.log_marginal

    def log_likelihood(self, *, sv: float, sr: float, sw: float) -> float:
        """Return the log-likelihood of all readings with the noise SDs at these values.

        Parameters
        ----------
        sv, sr, sw : float
            Visit, reading and wander SD, in the unit of the series (in a bridged series,
            those of the latest session's method).
        """
        noise = fixed_noise(self.context.priors, {"sv": sv, "sr": sr, "sw": sw})
        by_part = []
        for conditional in self.posterior.parts:
            by_part.append(np.log(conditional.prior_weight) + conditional.log_likelihood(noise))
        return float(np.logaddexp.reduce(by_part))

    def next_session(self, when: Any, readings: int = 5, method: str | None = None) -> Mixture:
        """Return the mean of a session not taken yet: what to expect, noise and all.

        Parameters
        ----------
        when : date, or as in `at`
            Its date, or several.
        readings : int
            Readings that its mean will rest on.
        method : str or None
            Its method; that of the series by default. Another one needs a bridged series.

        Raises
        ------
        CallError
            For no readings, a date that is none, or a method that the series does not hold.
        """
        if readings < 1:
            raise CallError(f"a session needs at least one reading, not {readings}.")
        groups = noise_groups(self.series)
        method = method or self.series.method
        if method not in groups:
            raise CallError(
                f"the trend holds no {method} sessions, so what one would read is not known; "
                "join the methods first (bridge)."
            )
        days, single = days_from(when)
        day = days - self.columns.origin
        rows = self.columns.rows(day, visit=self.next_visit, method=method)
        count = np.full(day.size, float(readings))
        if self.logarithmic:
            count = self.series.k[-1:] * np.ones(day.size)
        predicted = self.posterior.session(rows, day, count, groups.index(method))
        mixture = self._value(self.rounded(predicted))
        return mixture.first() if single else mixture

    def to_frame(self, when: Any = None, level: float = 0.95) -> pd.DataFrame:
        """Return the usual pressure as a frame, in full precision.

        Parameters
        ----------
        when : sequence of dates, or None
            By default the dates of the sessions, with what was measured beside.
        level : float
            Probability that the interval holds.

        Returns
        -------
        DataFrame
            Columns date, mean, sd, lower, upper; and by default method, condition, observed,
            n_used, bound.
        """
        import pandas as pd

        dates = self.series.date if when is None else when
        usual = self.at(dates)
        lower, upper = usual.interval(level)
        frame = pd.DataFrame(
            {
                "date": pd.to_datetime(np.atleast_1d(np.asarray(dates))),
                "mean": np.atleast_1d(usual.mean),
                "sd": np.atleast_1d(usual.sd),
                "lower": np.atleast_1d(lower),
                "upper": np.atleast_1d(upper),
            }
        )
        if when is None:
            frame["method"], frame["condition"] = self.series.methods, self.series.conditions
            frame["observed"] = self.observed
            frame["n_used"] = 1 if self.logarithmic else self.series.k.astype(int)
            frame["bound"] = self.series.bound
        return frame

    def plot(
        self, ax: Axes | None = None, *, width_mm: float = 160.0, labs: bool = False
    ) -> Figure | Axes:
        """Return the figure of the trend, or draw it in an Axes of yours and return that.

        Parameters
        ----------
        ax : matplotlib.axes.Axes, optional
            Its box is filled, at least 80 mm wide: what is urgent, drugs and signs, and as the Axes
            itself the panel, on which more may be drawn (days since 1970-01-01 across). What
            stands below the panel in a figure of its own is left out; in a low box so are the
            newest value, the key, and then the signs.
        width_mm : float
            Width of a figure of its own.
        labs : bool
            Whether laboratory values and weights stand below, in panels of their own.
        """
        # It points up, as `answer` does: what is urgent stands in every figure.
        from bpvet.figures.drawing import plotted
        from bpvet.pictures.answered import answered_picture

        return plotted(answered_picture(self, labs=labs), ax, width_mm)

    def answer(
        self, guideline: str = "acvim2018", level: float = 0.95, *, edition: str = "iris2019"
    ) -> TrendAnswer:
        """Return every answer of the trend, as ``bpvet trend --json`` prints it.

        Parameters
        ----------
        guideline : str
            Key of a guideline.
        level : float
            Probability that intervals hold.
        edition : str
            Edition of the kidney stages, as `bpvet.kidney` takes it.
        """
        # The one arrow that points up: users expect to ask the trend itself.
        from bpvet.answers.trend.trend import trend_answer

        return trend_answer(self, guideline=guideline, level=level, edition=edition)

    def report(self, folder: str | Path, records: str | Path, **choices: Any) -> Written[Any]:
        """Write the report into a folder; `records`: where they are. As `bpvet.report` does it."""
        from bpvet.reports.results import report

        return report(self, folder, records, **choices)

    def companions(self, target: float | None = None, level: float = 0.95) -> Companions:
        """Return what leans on no model: variability, a trend by ranks, control charts.

        Parameters
        ----------
        target : float, optional
            About which sums of excess are taken; the mean of the sessions by default.
        level : float
            Probability that intervals hold.
        """
        from bpvet.models.trend.companions import companions

        return companions(self, target, level)

    def _table(self) -> ShortTable:
        unit, change = self.series.unit, "%" if self.logarithmic else self.series.unit
        digits = max(1, DECIMALS.get(self.series.quantity, 0))
        rows = [_row(f"usual on {self.latest_date}", self.latest, unit, digits, self.one_sided)]
        rows.append(_row(reason("trend.level"), self.level, unit, digits))
        rows.append(_row(reason("trend.slope"), self.slope, change))
        for spell in self.treatments:
            name = reason("trend.full_effect", drug=spell.drug, since=spell.started_on)
            # What cannot be known has no number.
            unknown = (name, reason("trend.not_known_yet"), "", "", "", change)
            rows.append(_row(name, spell.effect, change) if spell.knowable else unknown)
        rows += [_row(name, offset, unit) for name, offset in self.offsets.items()]
        if self.first_visit is not None:
            rows.append(_row(reason("trend.first_visit"), self.first_visit, unit))
        series = self.series
        how = f"{series.method}, {series.condition}" if series.condition else series.method
        entry = "value" if self.logarithmic else "session"
        count = f"{series.y.size} {entry}{'' if series.y.size == 1 else 's'}"
        of = f"{series.quantity} of {series.animal}"
        title = f"{of}{'' if self.logarithmic else f' by {how}'}; {count}; as of {self.as_of}"
        notes = (f"Priors: {self.priors.source}.",)
        heads: tuple[str, ...] = ("", "mean", "sd", "2.5 %", "97.5 %", "unit")
        if self.logarithmic:
            # On a scale of per cent the middle is the median, and no SD is given.
            heads = ("", "median", *heads[3:])
            rows = [(*row[:2], *row[3:]) for row in rows]
        return ShortTable(title, heads, tuple(rows), notes)

    def told_of(self, usual: Mixture) -> Mixture:
        """Return a usual pressure of the posterior as it is told: rounding in it, on its scale."""
        return self._value(self.rounded(usual))

    def rounded(self, mixture: Mixture) -> Mixture:
        """Return a distribution of values, widened where every session's readings are equal."""
        step = rounding_step(self.series)
        if not step:
            return mixture
        return replace(mixture, sds=np.sqrt(mixture.sds**2 + step**2 / 12))

    def _value(self, mixture: Mixture) -> Mixture:
        """Return a distribution of values on their own scale."""
        return replace(mixture, scale="log") if self.logarithmic else mixture

    def _change(self, mixture: Mixture) -> Mixture:
        """Return a distribution of changes: per cent where the values are logarithms."""
        return replace(mixture, scale="percent") if self.logarithmic else mixture

    def _term(self, name: str) -> Mixture:
        return self.posterior.combination(self.columns.unit(name))

    @property
    def next_visit(self) -> int:
        """Index of a visit after all others; −1 at home, where there is no excitement."""
        if self.series.condition == "home":
            return -1
        return int(self.series.visit.max(initial=-1)) + 1


def _row(
    name: str, mixture: Mixture, unit: str, digits: int = 1, only: str = ""
) -> tuple[str, ...]:
    low, high = mixture.interval(0.95)
    if only:
        end = float(high if only == Bound.AT_MOST else low)
        return (name, f"{only} {number(end, digits)}", "", "", "", unit)
    values = (mixture.mean, mixture.sd, low, high)
    return (name, *(number(float(value), digits) for value in values), unit)
