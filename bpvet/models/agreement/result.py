"""Agreement of two methods: bias, limits, and what else tells whether they can be read as one.

Differences are the second method minus the first. Limits of agreement are for single readings
by each method on one animal at one moment, bias ± 1.96 SD, from variance components when there
are replicates (Bland & Altman 1999, 2007).
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from bpvet.equality import Content
from bpvet.errors import CallError
from bpvet.facts.measuring import judged
from bpvet.frozen import dataclass, replace
from bpvet.maths.agreement import comparison, lines, mean_squares
from bpvet.maths.agreement.comparison import (
    BLAND_ALTMAN,
    EXACT,
    LIMIT,
    MOVER,
    SATTERTHWAITE,
    Line,
    Proportion,
    estimated,
)
from bpvet.maths.agreement.components import Components
from bpvet.maths.agreement.pivots import share_within_pivots
from bpvet.maths.clusters import clustered_share
from bpvet.maths.estimate import Estimate
from bpvet.models.agreement.device import CriterionResult, criteria_results
from bpvet.models.agreement.offset import MethodOffset, method_offset
from bpvet.models.agreement.paired_data import PairedData
from bpvet.models.agreement.tables import dict_of, frame_of, table_of
from bpvet.models.agreement.terms import (
    Share,
    at_zero,
    choices,
    component_concordance,
    difference_shares,
)
from bpvet.printing import ShortTable, Tabled
from bpvet.reasons import reason

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from bpvet.answers.agreement.agreement import AgreementAnswer
    from bpvet.reports.writing import Written


#: Differences no larger than these are counted, mmHg: the guideline's two shares.
REACHES = (judged("agreement.near"), judged("agreement.far"))
#: Two readings of one method differ by less than this many SDs of reading, 19 times in 20.
_REPEAT = LIMIT * float(np.sqrt(2))


@dataclass(frozen=True, eq=False, repr=False)
class Agreement(Tabled, Content):
    """Two methods against each other.

    Parameters
    ----------
    data : PairedData
        What was compared.
    fit : Components or None
        The variance components; None when there is one reading by each method an animal.
    level : float
        Probability of the intervals.
    reference : str or None
        Kind of accepted reference among the two (``direct``, ``indirect``), or None.
    """

    data: PairedData
    fit: Components | None
    level: float = 0.95
    reference: str | None = None

    @property
    def methods(self) -> tuple[str, str]:
        """First and second method."""
        return self.data.methods

    @property
    def linked(self) -> bool:
        """Whether replicates of both methods belong together."""
        return self.data.linked

    @cached_property
    def bias(self) -> Estimate:
        """Second method minus first, on average."""
        estimate, se, df, how = self._bias
        return comparison.about(estimate, se, df, self.level, how)

    @cached_property
    def sd(self) -> Estimate:
        """SD of a difference between single readings."""
        value, spread = self._variance
        df = float(len(self.data.animals) - 1) if self.fit is None else None
        return comparison.root(comparison.variance_interval(value, spread, self.level, df))

    @property
    def lower(self) -> Estimate:
        """Lower limit of agreement of single readings, with Bland and Altman's interval."""
        return self.limits()[0]

    @property
    def upper(self) -> Estimate:
        """Upper limit of agreement of single readings, with Bland and Altman's interval."""
        return self.limits()[1]

    def limits(
        self, readings: int = 1, intervals: str = "bland_altman"
    ) -> tuple[Estimate, Estimate]:
        """Return the limits of agreement, lower and upper.

        Parameters
        ----------
        readings : int
            Readings by each method whose means are compared; 1 for single readings.
        intervals : str
            ``bland_altman`` (1999, approximate) or ``better``: exact (Carkeet 2015) with one
            reading by each method an animal, MOVER (Zou 2013) with replicates.

        Raises
        ------
        CallError
            When an argument is not one of these, or means need replicates that are not there.
        """
        if intervals not in ("bland_altman", "better"):
            raise CallError('intervals= is "bland_altman" or "better".')
        if self.fit is None:
            if readings != 1:
                raise CallError("limits of means need repeated readings by both methods.")
            how = BLAND_ALTMAN if intervals == "bland_altman" else EXACT
            return comparison.single_limits(self.data.difference, self.level, how)
        if readings != 1 and not all(self._repeats):
            raise CallError("limits of means need repeated readings by both methods.")
        if readings < 1:
            raise CallError(f"a mean needs one reading or more, not {readings}.")
        how = BLAND_ALTMAN if intervals == "bland_altman" else MOVER
        estimate, se, df, _ = self._bias
        variance = self.fit.sum_of(difference_shares(readings))
        return comparison.component_limits((estimate, se, df), variance, self.level, how)

    @cached_property
    def repeatability(self) -> Mapping[str, Estimate]:
        """Repeatability coefficient of each method: 1.96·√2 SDs of its repeated readings."""
        return MappingProxyType(
            {
                name: comparison.root(self._reading_variance(m), _REPEAT)
                for m, name in enumerate(self.methods)
            }
        )

    @cached_property
    def reading_sd(self) -> Mapping[str, Estimate]:
        """SD of repeated readings of each method."""
        return MappingProxyType(
            {
                name: comparison.root(self._reading_variance(m))
                for m, name in enumerate(self.methods)
            }
        )

    @cached_property
    def concordance(self) -> Estimate:
        """Concordance correlation of single readings.

        Lin's (1989) with one reading by each method an animal; from the variance components
        otherwise (Carrasco & Jover 2003), the interval by Fisher's z and the delta method.
        """
        if self.fit is None:
            return comparison.concordance(self.data.first, self.data.second, self.level)
        return component_concordance(self.fit, self.level)

    @cached_property
    def correlation(self) -> Estimate:
        """Product-moment correlation of the points; Fisher's z interval, one point an animal."""
        r = comparison.correlation(self.data.first, self.data.second)
        if r is None:
            return estimated(None, reason=reason("agreement.one_value"))
        if self._several_points or self.data.first.size < 4 or abs(r) >= 1:
            return estimated(r, reason=reason("agreement.no_correlation_interval"))
        return comparison.fisher(r, 1 / float(np.sqrt(self.data.first.size - 3)), self.level)

    @cached_property
    def point_sd(self) -> Estimate:
        """SD of the points' differences, which the guideline's criterion is held against."""
        value, n = float(self.data.difference.var(ddof=1)), self.data.first.size
        if self._several_points:
            return estimated(float(np.sqrt(value)), reason=reason("agreement.several_points"))
        return comparison.root(comparison.variance_interval(value, 1.0, self.level, n - 1))

    @cached_property
    def proportional(self) -> Proportion:
        """How differences go with the size of what is measured, one point an animal."""
        first, second = self.data.animal_means()
        return comparison.proportion(second - first, (first + second) / 2, self.level)

    @cached_property
    def within(self) -> Mapping[int, Share]:
        """Shares of differences no larger than 10 and 20."""
        return MappingProxyType({int(reach): self._share(reach) for reach in REACHES})

    @cached_property
    def criteria(self) -> tuple[CriterionResult, ...]:
        """The guideline's criteria for devices, item by item, on the points; mmHg only."""
        if self.data.unit != "mmHg":
            return ()
        per_cent = {
            f"within{reach}": share.observed.times(100.0) for reach, share in self.within.items()
        }
        figures = {"bias": self.bias, "sd": self.point_sd, "r": self.correlation} | per_cent
        return criteria_results(figures, len(self.data.animals), self.reference)

    @cached_property
    def offset(self) -> MethodOffset:
        """What a trend that joins both methods may take from here."""
        return method_offset(self.fit, self._bias[:2], self.sd, self.level)

    @cached_property
    def by_sums(self) -> tuple[float, float, float] | None:
        """Bias and limits by Bland and Altman's sums: a companion.

        Linked pairs by analysis of variance of their differences (2007), unlinked replicates by
        section 5 of the 1999 paper; None where each animal has one reading by each method, or
        several visits.
        """
        cells = self.data.cells
        if self.fit is None or "visit" in self.fit.terms:
            return None
        if self.linked:
            return mean_squares.paired_limits(self.data.difference, self.data.point_animal)
        if self.data.readings.size == 0 or cells.mean.size != 2 * len(self.data.animals):
            return None
        return mean_squares.cell_limits(cells)

    def deming(self, ratio: float | str = 1.0) -> Line:
        """Return Deming's line of the second method on the first, through the points.

        Parameters
        ----------
        ratio : float or ``"estimated"``
            Error variance of the second over that of the first; ``"estimated"`` takes both from
            the repeated readings.

        Raises
        ------
        CallError
            When the ratio is not above zero, or cannot be estimated.
        """
        value = self._error_ratio() if ratio == "estimated" else float(ratio)
        data = self.data
        return lines.deming(data.first, data.second, value, data.point_animal, self.level)

    def passing_bablok(self) -> Line:
        """Return Passing and Bablok's line of the second method on the first, by the points."""
        line = lines.passing_bablok(self.data.first, self.data.second, self.level)
        if not self._several_points or line.slope.lower is None:
            return line
        slope, intercept = (
            replace(e, how=reason("how.repeated", how=e.how.removesuffix(")"))) if e.how else e
            for e in (line.slope, line.intercept)
        )
        return replace(line, slope=slope, intercept=intercept)

    @cached_property
    def notes(self) -> tuple[str, ...]:
        """What must be known beside the numbers, in sentences."""
        return (
            *choices(self.fit, self.linked),
            *at_zero(self.fit, self.data.labels),
            *self.data.notes,
        )

    def to_frame(self) -> pd.DataFrame:
        """Return one row a statistic: estimate, lower, upper, unit, how, reason."""
        return frame_of(self)

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for JSON; what is missing is None with its reason beside it."""
        return dict_of(self)

    def plot(self, ax: Axes | None = None, *, width_mm: float = 160.0) -> Figure | Axes:
        """Return the figure: differences against means, and the identity plot with both lines.

        With `ax` differences against means are drawn in that Axes of matplotlib, whose box they
        fill with title and key, and it is returned.
        """
        from bpvet.figures.drawing import plotted
        from bpvet.pictures.agreement import agreement_picture

        return plotted(agreement_picture(self), ax, width_mm)

    def report(self, folder: str | Path, records: str | Path, **choices: Any) -> Written[Any]:
        """Write the report into a folder; `records`: where they are. As `bpvet.report` does it."""
        from bpvet.reports.results import report

        return report(self, folder, records, **choices)

    def answer(self) -> AgreementAnswer:
        """Return what ``bpvet agreement --json`` prints: the numbers, and what they say."""
        from bpvet.answers.agreement.agreement import agreement_answer

        return agreement_answer(self)

    def _table(self) -> ShortTable:
        return table_of(self)

    @property
    def _several_points(self) -> bool:
        return self.data.first.size > len(self.data.animals)

    @cached_property
    def _bias(self) -> tuple[float, float, float, str]:
        """Bias, its standard error, the error's df, and how exact an interval from them is."""
        if self.fit is None:
            d = self.data.difference
            se = float(d.std(ddof=1) / np.sqrt(d.size))
            return float(d.mean()), se, float(d.size - 1), EXACT
        estimate, se, df = self.fit.bias
        exact = self.data.balanced and not self.fit.at_zero
        if not np.isfinite(df):
            df = float(len(self.data.animals) - 1)
        return estimate, se, df, EXACT if exact else SATTERTHWAITE

    @cached_property
    def _variance(self) -> tuple[float, float]:
        """Variance of a difference between single readings, and the variance of that."""
        if self.fit is None:
            value = float(self.data.difference.var(ddof=1))
            return value, 2 * value**2 / (len(self.data.animals) - 1)
        return self.fit.sum_of(difference_shares(1))

    @cached_property
    def _repeats(self) -> tuple[bool, bool]:
        """Whether each method has repeated readings of one animal at one visit."""
        cells = self.data.cells
        found = [bool(np.any(cells.df[cells.method == m] > 0)) for m in (0, 1)]
        linked = self.fit is not None and "pair" in self.fit.terms
        return found[0] or linked, found[1] or linked

    def _reading_variance(self, m: int) -> Estimate:
        if self.fit is None or not self._repeats[m]:
            return estimated(None, reason=reason("agreement.no_repeats"))
        term = f"reading by {('first', 'second')[m]}"
        cells = self.data.cells
        exact = self.data.balanced and not self.fit.at_zero
        df = float(cells.df[cells.method == m].sum()) if exact else None
        return comparison.variance_interval(*self.fit.sum_of({term: 1.0}), self.level, df)

    def _share(self, reach: float) -> Share:
        d = self.data.difference
        count = int(np.sum(np.abs(d) <= reach))
        observed = clustered_share(np.abs(d) <= reach, self.data.point_animal, self.level)
        value, spread = self._variance
        sd = float(np.sqrt(value))
        if value <= 0 or spread <= 0 or 2 * value**2 / spread < 1:
            why = reason("agreement.no_sd_interval")
            alone = estimated(comparison.share_within(self._bias[0], sd, reach), reason=why)
            return Share(reach, observed, count, d.size, alone)
        df = 2 * value**2 / spread
        single = share_within_pivots(self._bias[:2], sd, df, reach, self.level)
        return Share(reach, observed, count, d.size, single)

    def _error_ratio(self) -> float:
        """Return the ratio of the points' error variances, by the readings behind them."""
        if self.fit is None or not all(self._repeats):
            raise CallError("the ratio can be estimated only from repeated readings by both.")
        cells, errors = self.data.cells, []
        for m, name in enumerate(("first", "second")):
            shrink = float(np.mean(1 / cells.count[cells.method == m]))
            errors.append(self.fit.of(f"reading by {name}") * shrink)
        if errors[0] <= 0:
            raise CallError("the first method's readings do not scatter: there is no ratio.")
        return errors[1] / errors[0]
