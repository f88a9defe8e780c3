"""The answers of a clinic's cohort: every number as plain values, and the sentences of its page."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from bpvet import __version__
from bpvet.answers.json_values import plain
from bpvet.answers.statement import Statement, Worded
from bpvet.equality import Content
from bpvet.errors import CallError
from bpvet.facts.words import UNITS
from bpvet.frozen import dataclass
from bpvet.garbage import garbage_waits
from bpvet.models.clinic.cohort import ClinicCohort
from bpvet.models.clinic.components import Component, components
from bpvet.models.clinic.flow import EntryRow, Flow, entry, flow
from bpvet.models.clinic.grid import Effect, Grid, grid, main_effects
from bpvet.models.clinic.population import population, reference_method
from bpvet.printing import Brief
from bpvet.reasons import reason

#: Why the digest of the records is not given.
NO_DIGEST = reason("cohort.no_digest")


@dataclass(frozen=True, eq=False, repr=False)
class CohortAnswer(Worded, Brief, Content):
    """What `bpvet cohort --json` prints.

    Parameters
    ----------
    study : ClinicCohort
        The sessions and the fit.
    level : float
        Of the intervals.
    flow : Flow
        Who was counted and who not, and why.
    entry : tuple of EntryRow
        The animals at their first counted session.
    effects : mapping of str to Effect
        The main estimates, as `bpvet.models.clinic.grid.main_effects` names them.
    components : tuple of Component
        SDs and correlation, with profile intervals.
    grid : Grid
        How the main estimates move with the choices behind them.
    statements : tuple of Statement
        What the numbers say, most useful first.
    cautions : tuple of str
        What must stand beside them.
    version : str
        Of this program.
    """

    study: ClinicCohort
    level: float
    flow: Flow
    entry: tuple[EntryRow, ...]
    effects: Mapping[str, Effect]
    components: tuple[Component, ...]
    grid: Grid
    statements: tuple[Statement, ...]
    cautions: tuple[str, ...]
    version: str

    @property
    def fixed(self) -> pd.DataFrame:
        """The fixed effects as `Cohort.fixed`, with intervals at this answer's level."""
        cohort = self.study.cohort
        return cohort.estimates(np.eye(len(cohort.terms)), cohort.terms, self.level)

    def to_dict(self) -> dict[str, Any]:
        """Return every answer as plain JSON values, named as in the library."""
        values: dict[str, Any] = plain(_choices(self) | _numbers(self) | _tables(self))
        return (
            values
            | self._worded()
            | {
                "data_digest": self.study.digest,
                "data_digest_reason": None if self.study.digest else NO_DIGEST,
            }
        )


@garbage_waits()
def cohort_answer(study: ClinicCohort, level: float = 0.95) -> CohortAnswer:
    """Return the answers of a clinic's cohort.

    Parameters
    ----------
    study : ClinicCohort
    level : float
        Of the intervals, between 0 and 1.

    Raises
    ------
    CallError
        If the level does not lie between 0 and 1.
    """
    from bpvet.wording.en.clinic import cohort_cautions, statements_of

    checked_level(level)
    answers: dict[str, Any] = {
        "flow": flow(study),
        "effects": main_effects(study.fit, (moved := grid(study, level)).month, level),
        "components": components(study, level),
        "grid": moved,
    }
    return CohortAnswer(
        study=study,
        level=level,
        entry=entry(study),
        statements=statements_of(study, level, **answers),
        cautions=cohort_cautions(study),
        version=__version__,
        **answers,
    )


def checked_level(level: float) -> None:
    """Raise a `CallError` unless the level must lie between 0 and 1."""
    if not 0 < level < 1:
        raise CallError(f"level must lie between 0 and 1, such as 0.95, not {level}.")


def _choices(answer: CohortAnswer) -> dict[str, Any]:
    study, fit = answer.study, answer.study.fit
    return {
        "quantity": study.quantity,
        "unit": UNITS[study.quantity],
        "conditions": ["clinic"],
        "rule": study.rule,
        "as_of": study.as_of,
        "level": answer.level,
        "pseudonyms": study.pseudonyms,
        "source": study.source or None,
        "findings": study.findings,
        "formula": fit.cohort.formula,
        "reml": fit.cohort.reml,
        "df": fit.cohort.df_rule,
        "left_out_terms": dict(fit.left_out_terms),
        "one_slope_reason": fit.slopes_reason or None,
        "one_scatter_reason": fit.spread_reason or None,
    }


def _numbers(answer: CohortAnswer) -> dict[str, Any]:
    cohort = answer.study.cohort
    return {
        "flow": answer.flow,
        "entry": answer.entry,
        "n_animals": cohort.n_animals,
        "n_sessions": cohort.n_sessions,
        "n_readings": cohort.n_readings,
        "criterion": cohort.criterion,
        "log_likelihood": cohort.log_likelihood,
        "boundary": cohort.boundary,
        "r2": cohort.r2.to_dict(),
        "fixed": _records(answer.fixed.reset_index()),
        "variance": answer.components,
        "icc": _records(cohort.icc.reset_index()),
        "effects": dict(answer.effects),
        "grid": answer.grid,
        "over_time": answer.study.over_time,
    }


def _tables(answer: CohortAnswer) -> dict[str, Any]:
    """Return what the figures show, animal by animal and session by session."""
    study, cohort = answer.study, answer.study.cohort
    animals = cohort.animals.reset_index()
    animals.insert(1, "name", [study.names[str(animal)] for animal in animals["animal"]])
    sessions = cohort.sessions
    counted = study.counted[["months", "treated", "method"]]
    sessions = pd.concat([sessions, counted], axis=1)
    sessions["residual"] = cohort.residuals("standardised").to_numpy()
    return {
        "animals": _records(animals),
        "sessions": _records(sessions),
        "population": {
            "method": reference_method(study),
            "lines": _records(population(study, answer.level)),
        },
    }


def _records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Return a frame's rows as plain values."""
    columns = {str(name): frame[name].tolist() for name in frame.columns}
    return [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]
