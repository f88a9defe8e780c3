"""A fitted cohort: frozen, printed as a paper's table, answering when it is asked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property
from numbers import Real
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bpvet.equality import Content
from bpvet.errors import CallError
from bpvet.files import write_whole
from bpvet.frozen import dataclass, replace
from bpvet.mixed import estimates as cohort_answers
from bpvet.mixed import predictions as cohort_predictions
from bpvet.mixed import tables as cohort_tables
from bpvet.mixed.criterion import Criterion
from bpvet.mixed.inference import (
    KenwardRoger,
    Satterthwaite,
    kenward_roger,
    likelihood_ratio,
    r_squared,
    satterthwaite,
    t_probability,
    t_quantile,
)
from bpvet.mixed.optimiser import Outcome, Point
from bpvet.mixed.profile import profile_frame
from bpvet.mixed.steps import (
    CohortData,
    Mapped,
    best,
    brought_here,
    criterion_of,
    natural_parameters,
)
from bpvet.printing import ShortTable, Tabled

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


Array = NDArray[np.float64]

DF_RULES = ("satterthwaite", "kenward_roger", "residual")


def check_df(df: str, reml: bool, robust: bool) -> None:
    """Raise a CallError unless the rule for degrees of freedom fits the fit."""
    if df not in DF_RULES:
        raise CallError(f'df is one of {", ".join(DF_RULES)}, not "{df}".')
    if df == "kenward_roger" and (not reml or robust):
        raise CallError("Kenward–Roger degrees of freedom need REML and model-based errors.")


def fitted(data: CohortData, correlated: bool, reml: bool, df: str, robust: bool) -> Cohort:
    """Return the fit of a cohort that is ready for it."""
    if robust and data.rows is None:
        raise CallError("Sandwich errors need the data in one frame.")
    criterion = criterion_of(data, reml)
    names = cohort_answers.component_names(data.spec, data.has_visits)
    point, outcome = best(criterion, data, correlated, names)
    return Cohort(data, criterion, point, outcome, correlated, df, robust)


@dataclass(frozen=True, eq=False, repr=False)
class Cohort(Tabled, Content):
    """A fitted cohort. Frames are handed out as copies; nothing here changes.

    Parameters
    ----------
    data : CohortData
        The data as the fit saw them.
    likelihood : Criterion
        On the scale of the moments.
    point : Point
        The optimum.
    outcome : Outcome
        What the optimiser reported.
    correlated : bool
    df_rule : str
    robust : bool
    """

    data: CohortData
    likelihood: Criterion
    point: Point
    outcome: Outcome
    correlated: bool
    df_rule: str
    robust: bool

    @property
    def formula(self) -> str:
        """Return the formula as given."""
        return self.data.spec.formula.text

    @property
    def reml(self) -> bool:
        """Return whether the fit is by REML."""
        return self.likelihood.reml

    @property
    def terms(self) -> tuple[str, ...]:
        """Return the names of the fixed effects."""
        return self.data.scaling.names

    @property
    def criterion(self) -> float:
        """Return −2 log-likelihood (REML or ML) at reading level, X on the user's scale."""
        extra = self.data.scaling.added_to_criterion(self.n_readings, self.reml)
        return self.point.value.criterion + extra

    @property
    def log_likelihood(self) -> float:
        """Return the (restricted) log-likelihood at reading level."""
        return -self.criterion / 2.0

    @property
    def n_readings(self) -> int:
        """Return how many numbers the likelihood counts."""
        return self.data.total.observations

    @property
    def n_sessions(self) -> int:
        """Return the number of sessions."""
        return self.data.total.sessions

    @property
    def n_animals(self) -> int:
        """Return the number of animals."""
        return self.data.animals

    @property
    def parameters(self) -> int:
        """Return the number of parameters: fixed effects and variances."""
        return len(self.terms) + int(self.natural.sum())

    @property
    def aic(self) -> float:
        """Return Akaike's criterion."""
        return self.criterion + 2.0 * self.parameters

    @property
    def bic(self) -> float:
        """Return Schwarz's criterion, with the number of readings."""
        return self.criterion + float(np.log(self.n_readings)) * self.parameters

    @property
    def boundary(self) -> bool:
        """Return whether a variance is zero or a correlation ±1."""
        return self.outcome.boundary

    @cached_property
    def natural(self) -> NDArray[np.bool_]:
        """Return which of the likelihood's variances and covariances are parameters."""
        return natural_parameters(self.likelihood, self.correlated)

    @property
    def left_out(self) -> pd.Series[int]:
        """Return how many rows were left out, by reason."""
        out = self.data.left_out
        index = pd.Index(list(out), name="reason", dtype=object)
        return pd.Series(list(out.values()), index=index, dtype=int, name="rows")

    @cached_property
    def coefficients(self) -> Array:
        """Return the fixed effects (p,) on the user's scale."""
        scaling = self.data.scaling
        return scaling.start + scaling.size * scaling.coefficients @ self.point.value.coefficients

    @cached_property
    def satterthwaite(self) -> Satterthwaite:
        """Return what Satterthwaite's rule needs, for contrasts on the scale of the moments."""
        return satterthwaite(self.likelihood, self.point)

    @cached_property
    def kenward_roger(self) -> KenwardRoger:
        """Return Kenward and Roger's adjustment, on the scale of the moments."""
        if not self.reml:
            raise CallError("Kenward–Roger degrees of freedom need a fit by REML.")
        return kenward_roger(self.likelihood, self.point, self.natural)

    @cached_property
    def covariance(self) -> pd.DataFrame:
        """Return the covariance of the fixed effects (adjusted, or a sandwich, if asked for)."""
        if self.robust:
            inner = cohort_predictions.sandwich(self.data, self.likelihood, self.point)
        elif self.df_rule == "kenward_roger":
            inner = self.kenward_roger.adjusted
        else:
            inner = self.point.value.root @ self.point.value.root.T
        back = self.data.scaling.size * self.data.scaling.coefficients
        return pd.DataFrame(back @ inner @ back.T, index=self.terms, columns=self.terms)

    def degrees_of(self, contrasts: Array) -> Array:
        """Return degrees of freedom for contrasts (r, p) of the fixed effects."""
        if self.df_rule == "residual":
            return np.full(len(contrasts), float(self.n_readings - len(self.terms)))
        rule = self.kenward_roger if self.df_rule == "kenward_roger" else self.satterthwaite
        moved = contrasts @ self.data.scaling.coefficients
        return np.array([rule.degrees(row) for row in moved])

    def estimates(
        self, contrasts: Array, names: Sequence[Any], level: float = 0.95
    ) -> pd.DataFrame:
        """Return estimate, se, df, t, p, lower and upper of contrasts (r, p)."""
        value = contrasts @ self.coefficients
        covariance = self.covariance.to_numpy()
        se = np.sqrt(np.einsum("ri,ij,rj->r", contrasts, covariance, contrasts))
        degrees = self.degrees_of(contrasts)
        with np.errstate(divide="ignore", invalid="ignore"):
            t = value / se
        reach = t_quantile(degrees, level) * se
        return pd.DataFrame(
            {
                "estimate": value,
                "se": se,
                "df": degrees,
                "t": t,
                "p": t_probability(t, degrees),
                "lower": value - reach,
                "upper": value + reach,
            },
            index=pd.Index(names, name="term"),
        )

    @cached_property
    def _fixed(self) -> pd.DataFrame:
        return self.estimates(np.eye(len(self.terms)), self.terms)

    @property
    def fixed(self) -> pd.DataFrame:
        """Return the fixed effects: estimate, se, df, t, p, lower, upper by term."""
        return self._fixed.copy()

    @cached_property
    def _variance(self) -> pd.DataFrame:
        return cohort_answers.variance_frame(
            self.data, self.likelihood, self.point, self.satterthwaite, self.correlated
        )

    @property
    def variance(self) -> pd.DataFrame:
        """Return the variance components: component, estimate (variance), sd, lower, upper.

        The limits are those of the variance (Wald on its logarithm; of a correlation on
        Fisher's z); `profile` gives better ones.
        """
        return self._variance.copy()

    @property
    def animal_covariance(self) -> pd.DataFrame:
        """Return G, the covariance of an animal's effects on the user's scale."""
        g = cohort_answers.user_covariance(self.data, self.point)
        names = ["intercept", *self.data.spec.slopes]
        return pd.DataFrame(g, index=names, columns=names)

    @cached_property
    def _animals(self) -> pd.DataFrame:
        return cohort_predictions.animal_frame(self.data, self.likelihood, self.point)

    @property
    def animals(self) -> pd.DataFrame:
        """Return the animals' predicted effects with SDs given all parameters, by animal."""
        return self._animals.copy()

    @property
    def groups(self) -> pd.DataFrame:
        """Return the groups' predicted effects with SDs given all parameters."""
        return cohort_predictions.group_frame(self.data, self.likelihood, self.point)

    @cached_property
    def _sessions(self) -> pd.DataFrame:
        return cohort_predictions.session_frame(self)

    @property
    def sessions(self) -> pd.DataFrame:
        """Return the sessions: mean and count, population and fitted values, visit effect."""
        return self._sessions.copy()

    @property
    def icc(self) -> pd.DataFrame:
        """Return the correlation of two readings of one animal, and of one session."""
        return cohort_answers.icc_frame(self.data, self.point)

    @property
    def r2(self) -> pd.Series[float]:
        """Return marginal and conditional R² (Nakagawa, Johnson & Schielzeth 2017)."""
        shares = cohort_answers.shares(self.data, self.point)
        fitted = cohort_answers.fitted_variance(self.data, self.coefficients)
        residual = float(shares.residual @ shares.readings_residual)
        marginal, conditional = r_squared(fitted, shares.total - residual, residual)
        return pd.Series({"marginal": marginal, "conditional": conditional})

    def residuals(self, kind: str = "conditional") -> pd.Series[float]:
        """Return a residual for each session.

        Parameters
        ----------
        kind : str
            ``marginal``: mean less the fixed part; ``conditional``: less the animal's and
            group's effects too; ``standardised``: conditional, over its SD of visit and reading.
        """
        if kind not in ("marginal", "conditional", "standardised"):
            raise CallError(f'residuals are marginal, conditional or standardised, not "{kind}".')
        frame = self._sessions
        index = pd.MultiIndex.from_frame(frame[["animal", "session"]])
        if kind == "marginal":
            values = frame["mean"] - frame["population"]
        else:
            values = frame["mean"] - frame["fitted"]
            if kind == "standardised":
                values = values / frame["noise_sd"]
        return pd.Series(values.to_numpy(), index=index, name="residual")

    def predict(
        self, frame: pd.DataFrame, level: str = "population", interval: float = 0.95
    ) -> pd.DataFrame:
        """Return predictions for the rows of a frame that holds the formula's columns.

        Parameters
        ----------
        frame : DataFrame
        level : str
            ``population``: the fixed part, with the uncertainty of the fixed effects;
            ``animal``: with the animal's (and its group's) predicted effects, and the
            uncertainty of both. An animal the fit never saw is an error.
        interval : float
        """
        if level not in ("population", "animal"):
            raise CallError(f'level is population or animal, not "{level}".')
        return cohort_predictions.prediction_frame(self, frame, level == "animal", interval)

    def contrast(self, weights: Mapping[str, float], level: float = 0.95) -> pd.DataFrame:
        """Return one combination of the fixed effects with its interval."""
        if not isinstance(weights, Mapping) or not weights:
            raise CallError("contrast takes a weight for each term that it combines.")
        strange = [name for name in weights if name not in self.terms]
        if strange:
            raise CallError(f'There is no term "{strange[0]}"; there are {", ".join(self.terms)}.')
        for name, weight in weights.items():
            if not isinstance(weight, Real) or not np.isfinite(float(weight)):
                raise CallError(f"The weight of {name} is {weight!r}, which is no finite number.")
        cohort_predictions.check_share(level, "level")
        row = np.array([[weights.get(name, 0.0) for name in self.terms]], dtype=float)
        name = " + ".join(f"{value:g}·{term}" for term, value in weights.items())
        return self.estimates(row, [name], level)

    def marginal_means(
        self, by: str | Sequence[str], at: Mapping[str, Any] | None = None, level: float = 0.95
    ) -> pd.DataFrame:
        """Return means at each level of some columns, other factors weighing alike.

        Parameters
        ----------
        by : str or sequence of str
            Columns of the formula; numbers among them need values in `at`.
        at : mapping, optional
            Values of columns of numbers (else their mean).
        level : float
        """
        cohort_predictions.check_share(level, "level")
        grid, rows = cohort_answers.reference_rows(self, by, at or {})
        return self.estimates(rows, grid, level)

    def contrasts(
        self, by: str | Sequence[str], at: Mapping[str, Any] | None = None, level: float = 0.95
    ) -> pd.DataFrame:
        """Return all differences of marginal means, the earlier taken from the later."""
        cohort_predictions.check_share(level, "level")
        grid, rows = cohort_answers.reference_rows(self, by, at or {})
        pairs = [(i, j) for j in range(len(grid)) for i in range(j)]
        names = [f"{grid[j]} − {grid[i]}" for i, j in pairs]
        return self.estimates(np.array([rows[j] - rows[i] for i, j in pairs]), names, level)

    def test(self, term: str) -> pd.Series[float]:
        """Return the F test of all coefficients of one term of the formula."""
        design = self.data.spec.design
        places = design.terms.get(term) if design is not None else None
        if places is None:
            known = ", ".join(design.terms) if design is not None else ""
            raise CallError(f'There is no term "{term}" in the formula; there are {known}.')
        rule = self.kenward_roger if self.df_rule == "kenward_roger" else self.satterthwaite
        scaling = self.data.scaling
        moved = np.eye(len(self.terms))[list(places)] @ scaling.coefficients
        # The fitted values taken off beforehand belong to the hypothesis as well.
        start = np.linalg.solve(scaling.coefficients, scaling.start) / scaling.size
        result = rule.test(moved, self.point.value.coefficients + start)
        return pd.Series(list(result), index=list(result._fields), dtype=float, name=term)

    def compare(self, other: Cohort) -> pd.DataFrame:
        """Return the likelihood-ratio test of two nested fits of the same data.

        The p value of a variance is the plain chi-square one: at a boundary it is too large.
        """
        if not isinstance(other, Cohort):
            raise CallError(f"compare takes another fit of fit_cohort, not {other!r:.60}.")
        return cohort_answers.comparison(self, other, likelihood_ratio)

    def profile(self, level: float = 0.95, parameters: Sequence[str] | None = None) -> pd.DataFrame:
        """Return profile likelihood intervals of SDs, correlations and fixed effects.

        Parameters
        ----------
        level : float
        parameters : sequence of str, optional
            Components of `variance` and terms of `fixed`; all by default.

        Returns
        -------
        DataFrame
            parameter, estimate, lower, upper, by: SDs and correlations by the fit's own
            criterion, fixed effects always by maximum likelihood.
        """
        cohort_predictions.check_share(level, "level")
        return profile_frame(self, level, parameters)

    def by_maximum_likelihood(self) -> Cohort:
        """Return the same model fitted by maximum likelihood."""
        if not self.reml:
            return self
        rule = "satterthwaite" if self.df_rule == "kenward_roger" else self.df_rule
        return fitted(self.data, self.correlated, False, rule, self.robust)

    def with_df(self, df: str) -> Cohort:
        """Return the same fit with another rule for degrees of freedom."""
        check_df(df, self.reml, self.robust)
        return replace(self, df_rule=df)

    def to_frame(self) -> pd.DataFrame:
        """Return fixed effects and variance components in one frame, in full precision."""
        return cohort_tables.whole_frame(self)

    def table(self) -> ShortTable:
        """Return the table a paper would print."""
        return cohort_tables.short_table(self)

    def to_csv(self, path: str | Path) -> None:
        """Write `to_frame` as CSV, whole or not at all: UTF-8, decimal points, empty for missing.

        A file of that name is replaced.
        """
        text = self.to_frame().to_csv(index=False, lineterminator="\n")
        write_whole(Path(path), text.encode(), replace=True)

    def to_latex(self, path: str | Path | None = None) -> str:
        """Return the table as LaTeX, and write it, whole or not at all, where a path is given."""
        text = cohort_tables.latex(self.table())
        if path is not None:
            write_whole(Path(path), text.encode(), replace=True)
        return text

    def _content(self) -> tuple[Any, ...]:
        # The parts (what each animal adds up to) follow from the rows, or are elsewhere.
        data = self.data._replace(parts=(), executor=Mapped(map))
        choices = (self.correlated, self.reml, self.df_rule, self.robust)
        return data, self.point, self.outcome, choices

    def __getstate__(self) -> dict[str, Any]:
        """Return the fit as it travels: with its parts, wherever they are kept."""
        data = brought_here(self.data)
        state = super().__getstate__()
        if data is not self.data:
            state |= {"data": data, "likelihood": criterion_of(data, self.reml)}
        return state

    def to_dict(self) -> dict[str, Any]:
        """Return `to_frame` as plain values for JSON: a mapping a row; None where none is known."""
        frame = self.to_frame()
        known = frame.astype(object).where(frame.notna(), None)
        return {"formula": self.formula, "rows": known.to_dict("records")}

    def plot(self, ax: Axes | None = None, *, width_mm: float = 160.0) -> Figure | Axes:
        """Return the residuals against fitted values and a normal's, or draw them in your Axes."""
        from bpvet.figures.drawing import plotted
        from bpvet.pictures.clinic import residuals

        return plotted(residuals(self), ax, width_mm)

    def _table(self) -> ShortTable:
        return self.table()
