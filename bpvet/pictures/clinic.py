"""Pictures of a clinic's cohort: residuals, a caterpillar, components of scatter."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from bpvet.errors import CallError
from bpvet.facts.words import UNITS
from bpvet.figures.clinic.cohort_picture import (
    IntervalPanel,
    IntervalsPicture,
    PopulationLine,
    ResidualsPicture,
)
from bpvet.maths.special import ndtri
from bpvet.mixed.result import Cohort
from bpvet.models.clinic.cohort import ClinicCohort
from bpvet.models.clinic.components import Component, components
from bpvet.models.clinic.population import population, reference_method
from bpvet.wording.en.pictures import cohort as words
from bpvet.wording.en.pictures.drawn import RESIDUALS, UNNAMED


def population_lines(study: ClinicCohort, level: float = 0.95) -> tuple[PopulationLine, ...]:
    """Return the population's lines as they are drawn, with the ends of their intervals."""
    lines = population(study, level)
    several = lines["treated"].nunique() > 1
    method = reference_method(study)
    both = []
    for on, rows in lines.groupby("treated"):
        line_words = words.population_words(bool(on), method, several)
        columns = {"value": "estimate", "low": "lower", "high": "upper"}
        arrays: dict[str, Any] = {to: rows[name].to_numpy() for to, name in columns.items()}
        both.append(PopulationLine(line_words, bool(on), rows["months"].to_numpy(), **arrays))
    return tuple(both)


def clinic_picture(study: ClinicCohort, what: str) -> ResidualsPicture | IntervalsPicture:
    """Return the picture of this name: ``animals``, ``residuals`` or ``scatter``.

    Raises
    ------
    CallError
        For another name.
    """
    if what == "animals":
        return caterpillar(study)
    if what == "residuals":
        return residuals(study.cohort, UNITS[study.quantity])
    if what == "scatter":
        return scatter(study, components(study))
    raise CallError(f'a cohort has figures of animals, residuals, scatter, and none of "{what}".')


def residuals(cohort: Cohort, unit: str = "") -> ResidualsPicture:
    """Return the sessions' standardised residuals against fitted values and a normal's."""
    frame = cohort.sessions
    residual = np.asarray(cohort.residuals("standardised"), dtype=np.float64)
    order = np.argsort(residual, kind="stable")
    count = len(order)
    beyond = int((np.abs(residual) > 2).sum())
    return ResidualsPicture(
        title=words.RESIDUALS_TITLE,
        unit=unit,
        fitted=frame["fitted"].to_numpy()[order],
        residual=residual[order],
        normal=ndtri((np.arange(count) + 0.5) / count),
        caption=words.RESIDUALS_CAPTION,
        alt_text=words.residuals_alt_text(count, beyond, float(np.abs(residual).max())),
        words=RESIDUALS,
    )


def caterpillar(study: ClinicCohort, level: float = 0.95) -> IntervalsPicture:
    """Return the animals' levels, and slopes where they have their own, against the population."""
    frame = study.cohort.animals.sort_values("intercept", kind="stable")
    unit, z = UNITS[study.quantity], float(ndtri(0.5 + level / 2))
    panels = [_panel(frame, "intercept", z, words.LEVEL, words.against_all(unit, False))]
    if "months" in frame:
        panels.append(_panel(frame, "months", z, words.CHANGE, words.against_all(unit, True)))
    low, high = (float(frame["intercept"].iloc[i]) for i in (0, -1))
    return IntervalsPicture(
        title=words.caterpillar_title(len(frame)),
        names=tuple(study.label(str(animal)) for animal in frame.index),
        panels=tuple(panels),
        zero_is=words.ZERO_IS,
        interval=words.interval_name(level),
        caption=words.CATERPILLAR_CAPTION,
        alt_text=words.caterpillar_alt_text(len(frame), low, high, unit),
        mark=words.ESTIMATE,
        unnamed=UNNAMED,
    )


def _panel(frame: pd.DataFrame, name: str, z: float, heading: str, axis: str) -> IntervalPanel:
    estimate, reach = frame[name].to_numpy(), z * frame[f"{name}_sd"].to_numpy()
    return IntervalPanel(heading, axis, estimate, estimate - reach, estimate + reach)


def scatter(
    study: ClinicCohort, components: Sequence[Component], level: float = 0.95
) -> IntervalsPicture:
    """Return the SDs between animals, visits and readings, by method.

    Parameters
    ----------
    study : ClinicCohort
    components : sequence of Component
        As from `components`, at the same level.
    level : float
    """
    unit = UNITS[study.quantity]
    shown = [sd for sd in components if sd.unit == unit and sd.estimate is not None]
    nan = float("nan")
    arrays = (
        np.array([getattr(sd, name) if getattr(sd, name) is not None else nan for sd in shown])
        for name in ("estimate", "lower", "upper")
    )
    return IntervalsPicture(
        title=words.scatter_title(study.quantity),
        names=tuple(sd.words for sd in shown),
        panels=(IntervalPanel("", words.scatter_axis(unit), *arrays),),
        zero_is="",
        interval=words.interval_name(level),
        caption=words.SCATTER_CAPTION,
        alt_text=words.scatter_alt_text(shown, unit),
        mark=words.ESTIMATE,
        unnamed=UNNAMED,
    )
