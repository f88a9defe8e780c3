"""Laboratory values and weights as further panels of a picture, in the units given.

Nothing is converted and nothing is modelled: an analyte recorded in two units has two panels. The
bounds of a kidney guideline's stages are drawn only where they are sourced for the analyte, the
species and the very unit.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from bpvet.facts.labs import DRAWN, unit_as_given
from bpvet.facts.stages import NEWER, Staging, staging
from bpvet.figures.pictures import Level, Panel, SessionMarks
from bpvet.printing import prose_date
from bpvet.records.records import Records


@dataclass(frozen=True)
class LabPanels:
    """Panels for a picture, and what its caption and alternative text say of them.

    Parameters
    ----------
    panels : tuple of Panel
        By analyte in the order of `facts.labs.DRAWN`, then by unit as first recorded.
    caption, alt_text : str
        Sentences; blank without a panel.
    """

    panels: tuple[Panel, ...] = ()
    caption: str = ""
    alt_text: str = ""


@dataclass(frozen=True, eq=False)
class LabValues:
    """One animal's values of one analyte in one unit, in order of date.

    Parameters
    ----------
    analyte, unit : str
        The unit as `facts.labs.unit_as_given` spells it.
    date : (n,) datetime64[D]
        Days of sampling.
    value : (n,) float
        As recorded.
    bound : (n,) str
        "", ``at least`` or ``at most``.
    staging : Staging or None
        The stages that are sourced for them.
    """

    analyte: str
    unit: str
    date: np.ndarray = field(repr=False)
    value: np.ndarray = field(repr=False)
    bound: np.ndarray = field(repr=False)
    staging: Staging | None

    @property
    def name(self) -> str:
        """What was measured, in words, with its unit."""
        what = DRAWN[self.analyte]
        return what if self.unit in ("", "ratio") else f"{what} in {self.unit}"


def lab_values(records: Records, animal: str) -> tuple[LabValues, ...]:
    """Return the animal's values that a figure can show, by analyte and unit.

    Parameters
    ----------
    records : Records
        Rows that were set aside, or are dated after its `as_of`, are left out.
    animal : str
        The animal's id.
    """
    rows = usable_labs(records, animal)
    species = dict(zip(records.animals["animal"], records.animals["species"], strict=True))
    units = [unit_as_given(a, u) for a, u in zip(rows["analyte"], rows["unit"], strict=True)]
    rows = rows.assign(shown=np.array(units, dtype=object))
    found = []
    for analyte in DRAWN:
        own = rows[rows["analyte"] == analyte]
        for unit in dict.fromkeys(own["shown"]):
            these = own[own["shown"] == unit]
            found.append(
                LabValues(
                    analyte,
                    str(unit),
                    these["sampled_on"].to_numpy(dtype="datetime64[D]"),
                    these["value"].to_numpy(dtype=np.float64),
                    these["value_bound"].to_numpy(dtype=object).astype(str),
                    staging(analyte, species.get(animal, ""), str(unit)),
                )
            )
    return tuple(found)


def usable_labs(records: Records, animal: str) -> pd.DataFrame:
    """Return the animal's rows of the table `labs` that a report may speak of, by date."""
    rows = records.labs
    rows = rows[(rows["animal"] == animal) & (rows["set_aside"] == "")]
    rows = rows[~rows["future"].astype(bool) & rows["sampled_on"].notna() & rows["value"].notna()]
    return rows.sort_values("sampled_on", kind="stable")


def lab_panels(records: Records, animal: str, without: str = "") -> LabPanels:
    """Return panels of one animal's laboratory values and weights.

    Parameters
    ----------
    records : Records
    animal : str
        The animal's id.
    without : str
        An analyte that the picture shows already; blank if none.
    """
    values = [one for one in lab_values(records, animal) if one.analyte != without]
    seen = dict.fromkeys(usable_labs(records, animal)["analyte"])
    unseen = [analyte for analyte in seen if analyte not in DRAWN]
    if not values:
        return LabPanels()
    return LabPanels(
        tuple(_panel(one) for one in values),
        " ".join(_caption(values, unseen)),
        " ".join(alt_words(values)),
    )


def _panel(values: LabValues) -> Panel:
    count = values.value.size
    unknown, blank = np.full(count, np.nan), np.full(count, "", dtype="<U1")
    what = DRAWN[values.analyte]
    marks = SessionMarks(
        name=f"{what}, as recorded",
        method="",
        condition="",
        date=values.date,
        mean=values.value,
        low=unknown,
        high=unknown,
        n=np.ones(count, dtype=np.int64),
        bound=values.bound,
        label=blank,
    )
    return Panel(
        heading=what[:1].upper() + what[1:],
        quantity=values.analyte,
        unit="" if values.unit == "ratio" else values.unit,
        sessions=marks,
        levels=stage_levels(values.staging),
        guideline="" if values.staging is None else values.staging.edition,
    )


def stage_levels(found: Staging | None) -> tuple[Level, ...]:
    """Return stages as the levels of a panel; none without a staging."""
    stages = () if found is None else found.stages
    return tuple(Level(stage.name, stage.low, stage.high) for stage in stages)


def _caption(values: list[LabValues], unseen: list[str]) -> Iterator[str]:
    names = "; ".join(one.name for one in values)
    yield f"Below, on the same dates, values as recorded, not modelled: {names}."
    for analyte, units in _units(values).items():
        if len(units) > 1:
            yield (
                f"{_capital(DRAWN[analyte])} was recorded in {' and in '.join(units)}: each "
                "unit has its own panel; nothing was converted."
            )
    staged = [one.staging for one in values if one.staging is not None]
    for edition in dict.fromkeys(one.edition for one in staged):
        bounds = "; ".join(
            f"{DRAWN[one.analyte]}{_of(one.unit)}: {one.words()}"
            for one in staged
            if one.edition == edition
        )
        yield (
            f"Dotted lines there: bounds of the stages of the {edition} ({staged[0].species}): "
            f"{bounds}. One value does not establish a stage. {NEWER}"
        )
    if unseen:
        yield f"Also recorded, not drawn: {', '.join(unseen)}."


def alt_words(values: list[LabValues]) -> Iterator[str]:
    """Yield in sentences what the charts of some values show."""
    yield f"Below it {len(values)} smaller chart{'s' if len(values) > 1 else ''}, same dates."
    for one in values:
        unit = "" if one.unit == "ratio" else f" {one.unit}".rstrip()
        first, last = (
            f"{f'{one.bound[place]} '.lstrip()}{one.value[place]:g}{unit} on "
            f"{prose_date(one.date[place])}"
            for place in (0, -1)
        )
        what, count = _capital(DRAWN[one.analyte]), one.value.size
        if count == 1:
            yield f"{what}: one value, {first}."
        else:
            low, high = float(one.value.min()), float(one.value.max())
            yield f"{what}: {count} values between {low:g} and {high:g}; {first}, {last}."


def _units(values: list[LabValues]) -> Mapping[str, list[str]]:
    units: dict[str, list[str]] = {}
    for one in values:
        units.setdefault(one.analyte, []).append(one.unit or "no unit")
    return units


def _of(unit: str) -> str:
    return "" if unit == "ratio" else f" in {unit}"


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]
