"""Pictures of a clinic's cohort: residuals, a caterpillar, components of scatter."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import ndtri

from bpvet.facts.words import METHOD_WORDS, QUANTITY_WORDS, UNITS
from bpvet.figures.clinic.cohort_picture import (
    IntervalPanel,
    IntervalsPicture,
    PopulationLine,
    ResidualsPicture,
)
from bpvet.models.clinic.cohort import ClinicCohort
from bpvet.models.clinic.components import Component
from bpvet.models.clinic.population import population, reference_method
from bpvet.printing import number


def population_lines(study: ClinicCohort, level: float = 0.95) -> tuple[PopulationLine, ...]:
    """Return the population's lines as they are drawn, with the ends of their intervals."""
    lines = population(study, level)
    told = lines["treated"].nunique() > 1
    by = METHOD_WORDS[reference_method(study)]
    held = []
    for on, part in lines.groupby("treated"):
        state = " on a pressure-acting drug" if on else " without a pressure-acting drug"
        words = f"Population{state if told else ''}, by {by}"
        columns = {"value": "estimate", "low": "lower", "high": "upper"}
        arrays: dict[str, Any] = {to: part[name].to_numpy() for to, name in columns.items()}
        held.append(PopulationLine(words, bool(on), part["months"].to_numpy(), **arrays))
    return tuple(held)


def residuals(study: ClinicCohort) -> ResidualsPicture:
    """Return the sessions' standardised residuals against fitted values and a normal's."""
    frame = study.cohort.sessions
    residual = np.asarray(study.cohort.residuals("standardised"), dtype=np.float64)
    order = np.argsort(residual, kind="stable")
    count = len(order)
    beyond = int((np.abs(residual) > 2).sum())
    share = number(100 * beyond / count, 1)
    far = number(float(np.abs(residual).max()), 1)
    return ResidualsPicture(
        title="Do the assumptions hold? Residuals of sessions",
        unit=UNITS[study.quantity],
        fitted=frame["fitted"].to_numpy()[order],
        residual=residual[order],
        normal=ndtri((np.arange(count) + 0.5) / count),
        caption=(
            "A residual is a session's mean minus its animal's fitted value, divided by the SD of "
            "visit and readings. Against fitted values, a funnel or a bend would speak against "
            "the model. Against normal residuals, they lie along the line if they are normal; "
            "ends that leave it are sessions far from what was predicted for their animal. "
            "Animals with few sessions pull their own fitted value along, so that residuals "
            "scatter by a little less than 1."
        ),
        alt_text=(
            f"Two scatter charts of {count} standardised residuals. {beyond} ({share} %) lie "
            f"beyond 2 SDs, where about 5 % of a normal would; the farthest is at {far} SDs."
        ),
    )


def caterpillar(study: ClinicCohort, level: float = 0.95) -> IntervalsPicture:
    """Return the animals' levels, and slopes where they have their own, against the population."""
    frame = study.cohort.animals.sort_values("intercept", kind="stable")
    unit, z = UNITS[study.quantity], float(ndtri(0.5 + level / 2))
    panels = [_panel(frame, "intercept", z, "Level at the first session", f"Against all, {unit}")]
    if "months" in frame:
        axis = f"Against all, {unit} a month"
        panels.append(_panel(frame, "months", z, "Change a month", axis))
    names = [study.label(str(one)) for one in frame.index]
    low, high = (number(float(frame["intercept"].iloc[i]), 0) for i in (0, -1))
    return IntervalsPicture(
        title=f"{len(frame)} animals against the population",
        names=tuple(names),
        panels=tuple(panels),
        zero_is="the population",
        interval=f"{100 * level:g} % interval",
        caption=(
            "How far each animal's level lies from the population's, lowest first, and how its "
            "change a month differs. Estimates are shrunken towards 0, the more so the less is "
            "known of an animal, so that chance alone does not rank animals. The intervals take "
            "the fit's SDs as known."
        ),
        alt_text=(
            f"Estimates with intervals for {len(frame)} animals, from the lowest level, {low} "
            f"{unit} against all, to the highest, {high}. The table below gives every number."
        ),
    )


def _panel(frame: pd.DataFrame, name: str, z: float, heading: str, axis: str) -> IntervalPanel:
    estimate, reach = frame[name].to_numpy(), z * frame[f"{name}_sd"].to_numpy()
    return IntervalPanel(heading, axis, estimate, estimate - reach, estimate + reach)


def scatter(
    study: ClinicCohort, held: Sequence[Component], level: float = 0.95
) -> IntervalsPicture:
    """Return the SDs between animals, visits and readings, by method.

    Parameters
    ----------
    study : ClinicCohort
    held : sequence of Component
        As from `components`, at the same level.
    level : float
    """
    unit = UNITS[study.quantity]
    shown = [one for one in held if one.unit == unit and one.estimate is not None]
    nan = float("nan")
    arrays = (
        np.array([getattr(one, name) if getattr(one, name) is not None else nan for one in shown])
        for name in ("estimate", "lower", "upper")
    )
    said = [f"{one.words[0].lower()}{one.words[1:]} {number(one.estimate, 1)}" for one in shown]
    return IntervalsPicture(
        title=f"What readings scatter by: SDs of {QUANTITY_WORDS[study.quantity]}",
        names=tuple(one.words for one in shown),
        panels=(IntervalPanel("", f"SD, {unit}", *arrays),),
        zero_is="",
        interval=f"{100 * level:g} % interval",
        caption=(
            "The SD between animals at their first session, between visits of one animal, and "
            "between readings of one visit. More readings at a visit lessen only the last."
        ),
        alt_text=f"Standard deviations in {unit} with intervals: {'; '.join(said)}.",
    )
