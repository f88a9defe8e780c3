"""A clinic's animals as small panels on shared axes, in the order in which they need a look."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import islice, pairwise
from math import ceil
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bpvet.facts.categories import DEFAULT, guideline
from bpvet.facts.words import UNITS
from bpvet.figures.clinic.cohort_picture import PopulationLine
from bpvet.figures.clinic.panels_picture import AnimalPanel, Deciles, Overview, PanelsPicture
from bpvet.frozen import dataclass
from bpvet.models.clinic.cohort import ClinicCohort
from bpvet.models.clinic.needs import Need
from bpvet.pictures.clinic import population_lines
from bpvet.printing import prose_date
from bpvet.wording.en.pictures import cohort_panels as words
from bpvet.wording.en.pictures.cohort import interval_name
from bpvet.wording.en.pictures.cohort import line_ends as line_words
from bpvet.wording.en.pictures.cohort_panels import Sheets
from bpvet.wording.en.pictures.drawn import PANELS

#: Up to so many animals each has a panel; of more, the most pressing, beside deciles of all.
MOST_PANELS = 60
EXTREMES = 20
#: Panels of the first sheet, below the panel of all, and of every further one.
FIRST_SHEET, SHEET = 20, 24
#: Deciles stand for so many months each, and for no fewer animals.
BIN_MONTHS, LEAST_FOR_DECILES = 3.0, 10
#: Of animals, this share and at least one may lie beyond the shared axes: by more than `_REACH` of
#: what the others span, and later than `_LATER` times as many months.
_BEYOND, _REACH, _LATER = 0.1, 0.25, 2.0
#: Least that the axes span, in the quantity's unit and in months.
_LEAST_SPAN, _LEAST_MONTHS = 40.0, 3.0

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Axes:
    """The ends of the shared axes: in the quantity's unit, and in months."""

    low: float
    high: float
    longest: float


def panels(study: ClinicCohort, level: float = 0.95) -> tuple[PanelsPicture, ...]:
    """Return the sheets of small panels: all animals in one panel, then an animal each.

    Parameters
    ----------
    study : ClinicCohort
    level : float
        Of the intervals.

    Returns
    -------
    tuple of PanelsPicture
        Every animal with a counted session has a panel, up to `MOST_PANELS`; of more, deciles and
        the `EXTREMES` that need a look most.
    """
    lines = population_lines(study, level)
    return sheets(
        *(study.counted, study.needs, study.names, study.quantity, lines, level),
        hidden=study.pseudonyms,
    )


def sheets(
    rows: pd.DataFrame,
    needs: Sequence[Need],
    names: Mapping[str, str],
    quantity: str,
    lines: tuple[PopulationLine, ...],
    level: float = 0.95,
    hidden: bool = False,
) -> tuple[PanelsPicture, ...]:
    """Return the sheets of small panels of sessions.

    Parameters
    ----------
    rows : DataFrame
        Counted sessions, as `ClinicCohort.counted` has them.
    needs : sequence of Need
        Every animal of the records, in the order of its panel.
    names : mapping of str to str
        As `ClinicCohort.names`; an animal of which none is known is blank.
    quantity : str
    lines : tuple of PopulationLine
    level : float
        Of the intervals of `lines`.
    hidden : bool
        Whether dates are left out, as with pseudonyms.
    """
    by_animal = rows.groupby("animal", sort=False).indices
    count = len(by_animal)
    many = count > MOST_PANELS
    ends = shared_axes(rows, quantity)
    # Of thousands only the first are asked for: what the others need is not worked out.
    ordered = (need for need in needs if need.animal in by_animal)
    shown = islice(ordered, EXTREMES if many else count)
    every = [
        _panel(need, rows.iloc[by_animal[need.animal]], names, quantity, hidden) for need in shown
    ]
    overview = _overview(rows, quantity, lines, many)
    deciles = overview.deciles
    cuts = [0, *range(FIRST_SHEET, len(every), SHEET), len(every)]
    parts = [every[a:b] for a, b in pairwise(cuts)]
    several = Sheets(
        animals=count,
        without=len(needs) - count,
        panels=len(every),
        many=many,
        quantity=quantity,
        bin_animals=None
        if deciles is None
        else (int(deciles.animals[0]), int(deciles.animals[-1])),
        bin_months=BIN_MONTHS,
        least=LEAST_FOR_DECILES,
    )
    return tuple(
        _sheet(several, ends, lines, level, overview if index == 0 else None, drawn, cuts[index])
        for index, drawn in enumerate(parts)
    )


def _overview(
    rows: pd.DataFrame, quantity: str, lines: tuple[PopulationLine, ...], many: bool
) -> Overview:
    """Return what stands before the panels: the population's lines, or deciles of `many`."""
    deciles = _deciles(rows, quantity) if many else None
    target = floor = None
    if quantity == "systolic":
        chosen = guideline(DEFAULT)
        target, floor = float(chosen.target.value), float(chosen.floor.value)
    heading = words.overview_heading(rows["animal"].nunique(), deciles is not None)
    return Overview(heading, lines if deciles is None else (), deciles, target, floor)


def shared_axes(rows: pd.DataFrame, quantity: str) -> Axes:
    """Return shared axes that no single animal sets.

    Of the animals' highest values all but the highest tenth (one at least) lie within them, and
    the rest too where they reach no farther than a quarter of what the others span. A sole animal
    sets its own.

    Parameters
    ----------
    rows : DataFrame
        The animals' counted sessions.
    quantity : str
    """
    by_animal = rows.groupby("animal", sort=False)
    values, lasts = by_animal[quantity], by_animal["months"].max().to_numpy(dtype=float)
    lows, highs = (ends.to_numpy(dtype=float) for ends in (values.min(), values.max()))
    anchor: tuple[float, ...] = ()
    if quantity == "systolic":  # the lines of target and floor are always in view
        chosen = guideline(DEFAULT)
        anchor = (float(chosen.floor.value), float(chosen.target.value))
    low, high = _robust(lows, highs, anchor)
    span = max(high - low, _LEAST_SPAN)
    middle = (low + high) / 2
    pad = 0.06 * span
    longest = _without_longest(np.sort(lasts))
    return Axes(
        middle - span / 2 - pad, middle + span / 2 + pad, 1.04 * max(longest, _LEAST_MONTHS)
    )


def _robust(lows: Array, highs: Array, anchor: tuple[float, ...]) -> tuple[float, float]:
    """Return the ends of an axis from each animal's lowest and highest value."""
    low, high = float(lows.min()), float(highs.max())
    if len(lows) > 1:
        left_out = ceil(_BEYOND * len(lows))
        # The lines that are drawn stand in as one animal more.
        above = np.sort([*highs, *anchor[1:]])[::-1]
        below = np.sort([*lows, *anchor[:1]])
        top, bottom = float(above[left_out]), float(below[left_out])
        if top > bottom:
            reach = _REACH * (top - bottom)
            low, high = max(low, bottom - reach), min(high, top + reach)
    return min((low, *anchor)), max((high, *anchor))


def _without_longest(lasts: Array) -> float:
    """Return how many months an axis holds."""
    if len(lasts) < 2:
        return float(lasts[-1])
    rest = float(lasts[-1 - ceil(_BEYOND * len(lasts))])
    return min(float(lasts[-1]), _LATER * max(rest, _LEAST_MONTHS))


def _panel(
    need: Need, sessions: pd.DataFrame, names: Mapping[str, str], quantity: str, hidden: bool
) -> AnimalPanel:
    sessions = sessions.sort_values(["months", "session"], kind="stable")
    date = sessions["date"].to_numpy(dtype="datetime64[D]")
    bound = sessions[f"{quantity}_bound"].to_numpy(dtype=str)
    value = sessions[quantity].to_numpy(dtype=float)
    judged = need if quantity == "systolic" else Need(need.animal, need.urgent, need.left)
    name = names.get(need.animal, "")
    return AnimalPanel(
        key=need.animal,
        name=f"{need.animal} ({name})" if name else need.animal,
        state="left" if need.left else "urgent" if need.urgent else "",
        standing=words.standing(judged.kind, judged.target, words.bounded(bound[-1], value[-1])),
        date=np.full(len(date), np.datetime64("NaT", "D")) if hidden else date,
        months=sessions["months"].to_numpy(dtype=float),
        value=value,
        bound=bound,
        method=sessions["method"].to_numpy(dtype=str),
        treated=sessions["treated"].to_numpy(dtype=bool),
        words=tuple(
            _pointed(row, day, quantity, hidden)
            for (_, row), day in zip(sessions.iterrows(), date, strict=True)
        ),
        target=judged.target,
        floor=judged.floor,
        target_is=words.target_name(judged.kind),
    )


def _pointed(row: pd.Series[Any], day: np.datetime64, quantity: str, hidden: bool) -> str:
    """Return what a pointer shows of a session."""
    return words.session_words(
        words.month_words(float(row["months"])) if hidden else prose_date(day),
        words.bounded(str(row[f"{quantity}_bound"]), float(row[quantity])),
        UNITS[quantity],
        int(row[f"{quantity}_n"]),
        row["method"],
        bool(row["treated"]),
    )


def _deciles(rows: pd.DataFrame, quantity: str) -> Deciles | None:
    """Return deciles of the animals' means by bins of months; None where no bin has enough."""
    at = (rows["months"] // BIN_MONTHS).astype(int)
    means = rows.groupby([at, rows["animal"]])[quantity].mean()
    found = [
        (
            (int(str(step)) + 0.5) * BIN_MONTHS,
            np.quantile(inside, np.arange(1, 10) / 10),
            len(inside),
        )
        for step, inside in means.groupby(level=0)
        if len(inside) >= LEAST_FOR_DECILES
    ]
    if not found:
        return None
    months, value, animals = zip(*found, strict=True)
    return Deciles(np.array(months), np.array(value), np.array(animals))


def _sheet(
    several: Sheets,
    ends: Axes,
    lines: tuple[PopulationLine, ...],
    level: float,
    overview: Overview | None,
    panels: list[AnimalPanel],
    before: int,
) -> PanelsPicture:
    unit = UNITS[several.quantity]
    caption = [*words.sheet_caption(several, before, len(panels), overview is not None)]
    caption += words.beyond_words(list(_beyond(panels, ends, several.quantity)))
    alt_text = [*words.sheet_alt_text(several, panels)]
    if overview is not None and overview.deciles is None:
        alt_text += [line_ends(line, unit) for line in lines]
    return PanelsPicture(
        title=words.sheet_title(several, before, len(panels)),
        quantity=several.words.capitalize(),
        unit=unit,
        overview=overview,
        panels=tuple(panels),
        low=ends.low,
        high=ends.high,
        longest=ends.longest,
        interval=interval_name(level),
        caption=" ".join(caption),
        alt_text=" ".join(alt_text),
        words=PANELS,
    )


def _beyond(panels: Sequence[AnimalPanel], ends: Axes, quantity: str) -> Iterator[str]:
    """Yield what lies beyond the shared axes, an animal after the other."""
    for panel in panels:
        out = (panel.value > ends.high) | (panel.value < ends.low)
        if out.any():
            middle = (ends.low + ends.high) / 2
            at = int(np.argmax(np.where(out, np.abs(panel.value - middle), -1.0)))
            bound, value = str(panel.bound[at]), float(panel.value[at])
            yield words.beyond_value(panel.name, bound, value, quantity)
        if (panel.months > ends.longest).any():
            yield words.beyond_month(panel.name, float(panel.months.max()))


def line_ends(line: PopulationLine, unit: str) -> str:
    """Return a population's line in words: where it begins and where it ends."""
    ends, months = ([float(along[i]) for i in (0, -1)] for along in (line.value, line.months))
    return line_words(line.words, ends, months, unit)
