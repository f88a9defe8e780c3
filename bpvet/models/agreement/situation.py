"""The situational effect: how pressure at home, or after a calming drug, differs from the clinic's.

Sessions of one method under two conditions, near each other in time, are compared like two
methods, with one difference: no visit is shared. Differences are the other condition minus the
clinic.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from scipy.special import ndtri

from bpvet.equality import Content
from bpvet.errors import CallError, FitError, RecordsError
from bpvet.facts.measuring import judged
from bpvet.facts.words import CONDITION_WORDS, METHOD_WORDS, METHODS, QUANTITIES, UNITS
from bpvet.frozen import dataclass
from bpvet.maths.agreement.comparison import (
    SATTERTHWAITE,
    about,
    estimated,
    root,
    variance_interval,
)
from bpvet.maths.agreement.components import Components, components
from bpvet.maths.agreement.predictions import animal_differences
from bpvet.maths.agreement.restricted import Cells
from bpvet.maths.estimate import Estimate, values_of
from bpvet.printing import ShortTable, Tabled, number
from bpvet.reasons import reason
from bpvet.records.records import Records
from bpvet.visits.sessions import sessions

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


#: Sessions of both conditions this many days apart or nearer are compared: further apart,
#: the animal itself may have changed.
NEAR_DAYS = int(judged("situation.near"))
CLINIC = "clinic"
OTHERS = ("home", "calmed")
_SHRUNKEN = reason("how.predicted")


@dataclass(frozen=True, eq=False)
class AnimalSituation(Content):
    """One animal's own difference.

    Parameters
    ----------
    animal : str
    sessions : (int, int)
        Sessions in the clinic and under the other condition.
    plain : float
        Difference of its plain session means.
    shrunken : Estimate
        The same, drawn towards the mean of all animals by how little is known of it.
    """

    animal: str
    sessions: tuple[int, int]
    plain: float
    shrunken: Estimate


@dataclass(frozen=True, eq=False, repr=False)
class Situation(Tabled, Content):
    """How a condition differs from the clinic.

    Parameters
    ----------
    condition, method, quantity, unit : str
        What was compared with the clinic, by which method, and what was measured.
    overall : Estimate
        Mean difference, the condition minus the clinic.
    between_animals : Estimate
        SD of animals' own differences.
    animals : tuple of AnimalSituation
        Each animal, by its id.
    fit : Components
        The variance components.
    left_out : int
        Sessions of these animals further than `NEAR_DAYS` from any under the other condition.
    level : float
        Probability of the intervals.
    """

    condition: str
    method: str
    quantity: str
    unit: str
    overall: Estimate
    between_animals: Estimate
    animals: tuple[AnimalSituation, ...]
    fit: Components
    left_out: int
    level: float

    @property
    def notes(self) -> tuple[str, ...]:
        """What must be known beside the numbers."""
        notes = [
            reason("situation.near", days=NEAR_DAYS, method=METHOD_WORDS[self.method]),
            reason("situation.shrunken"),
        ]
        if self.left_out:
            notes.append(reason("situation.left_out", sessions=self.left_out))
        if any("×" in term and term.startswith("animal") for term in self.fit.at_zero):
            notes.append(reason("situation.at_zero"))
        return tuple(notes)

    def plot(self, ax: Axes | None = None, *, width_mm: float = 160.0) -> Figure | Axes:
        """Return the figure, an animal a row, or draw it in an Axes of yours and return that."""
        from bpvet.figures.drawing import plotted
        from bpvet.pictures.audit import situation_picture

        return plotted(situation_picture(self), ax, width_mm)

    def to_frame(self) -> pd.DataFrame:
        """Return one row an animal: sessions, plain and shrunken difference with its interval."""
        return pd.DataFrame(
            [
                {
                    "animal": animal.animal,
                    "clinic_sessions": animal.sessions[0],
                    f"{self.condition}_sessions": animal.sessions[1],
                    "plain": animal.plain,
                    "estimate": animal.shrunken.estimate,
                    "lower": animal.shrunken.lower,
                    "upper": animal.shrunken.upper,
                }
                for animal in self.animals
            ]
        )

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for JSON."""
        return {
            "condition": self.condition,
            "minus": CLINIC,
            "method": self.method,
            "quantity": self.quantity,
            "unit": self.unit,
            "overall": values_of(self.overall),
            "between_animals": values_of(self.between_animals),
            "animals": [values_of(animal) for animal in self.animals],
            "left_out": self.left_out,
            "level": self.level,
            "notes": list(self.notes),
        }

    def _table(self) -> ShortTable:
        title = (
            f"{CONDITION_WORDS[self.condition]} minus {CONDITION_WORDS[CLINIC]}: "
            f"{self.quantity} by {METHOD_WORDS[self.method]}, {len(self.animals)} animals"
        )
        lines = [("all animals", self.overall, "", "")]
        lines.append(("SD between animals", self.between_animals, "", ""))
        lines += [
            (
                animal.animal,
                animal.shrunken,
                number(animal.plain),
                f"{animal.sessions[0]} and {animal.sessions[1]}",
            )
            for animal in self.animals
        ]
        rows = tuple(
            (name, *(number(figure) for figure in (e.estimate, e.lower, e.upper)), plain, count)
            for name, e, plain, count in lines
        )
        share = f"{100 * self.level:g} %"
        columns = ("", self.unit, f"{share} from", "to", "plain", "sessions")
        return ShortTable(title, columns, rows, self.notes)


def situation(
    records: Records,
    condition: str = "home",
    *,
    quantity: str = "systolic",
    method: str | None = None,
    rule: str = "guideline",
    level: float = 0.95,
) -> Situation:
    """Return how pressure under a condition differs from that in the clinic.

    Parameters
    ----------
    records : Records
    condition : str
        ``home`` or ``calmed``.
    quantity : str
        What was measured.
    method : str, optional
        That with most animals under both conditions by default (tie: Doppler).
    rule : str
        Which readings count.
    level : float
        Probability of the intervals.

    Raises
    ------
    CallError
        When a name is not known.
    RecordsError
        When fewer than two animals have sessions under both conditions near in time.
    """
    if condition not in OTHERS:
        raise CallError(f'condition "{condition}" is not known. Use {" or ".join(OTHERS)}.')
    if quantity not in QUANTITIES:
        raise CallError(f'quantity "{quantity}" is not known. Use one of {", ".join(QUANTITIES)}.')
    if method is not None and method not in METHODS:
        raise CallError(f'method "{method}" is not known. Use {" or ".join(METHODS)}.')
    table = sessions(records, rule)
    usable = (table[f"{quantity}_n"] > 0) & (table[f"{quantity}_bound"] == "")
    table = table[usable & table["condition"].isin([CLINIC, condition])]
    if method is None:
        method = max(METHODS, key=lambda name: _animals_under_both(table, name))
    chosen = table[table["method"] == method]
    near = chosen[_near(chosen)]
    both = near.groupby("animal")["condition"].transform("nunique") == 2
    rows = near[both]
    if rows["animal"].nunique() < 2:
        raise RecordsError(
            reason(
                "situation.few_animals",
                where=CONDITION_WORDS[condition],
                days=NEAR_DAYS,
                animals=rows["animal"].nunique(),
            )
        )
    kept = int(chosen["animal"].isin(rows["animal"].unique()).sum())
    return _compared(rows, condition, method, quantity, kept - len(rows), level)


@dataclass(frozen=True, eq=False)
class Situational(Content):
    """A condition and what was found of it: the effect, or why there is none."""

    condition: str
    found: Situation | None
    reason: str | None

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for JSON."""
        if self.found is None:
            return {"condition": self.condition, "overall": None, "reason": self.reason}
        return self.found.to_dict() | {"reason": None}


def situations(
    records: Records, rule: str = "guideline", level: float = 0.95
) -> tuple[Situational, ...]:
    """Return the effect on systolic pressure of each condition besides the clinic.

    Parameters
    ----------
    records, rule, level
        As `situation` takes them.
    """
    found = []
    for condition in OTHERS:
        try:
            result = situation(records, condition, rule=rule, level=level)
            found.append(Situational(condition, result, None))
        except (RecordsError, FitError) as error:
            found.append(Situational(condition, None, str(error).rstrip(".")))
    return tuple(found)


def _animals_under_both(table: pd.DataFrame, method: str) -> int:
    rows = table[table["method"] == method]
    return int((rows.groupby("animal")["condition"].nunique() == 2).sum())


def _near(table: pd.DataFrame) -> Any:
    """Return whether each session is near in time to one under the other condition."""
    day = table["date"].to_numpy(dtype="datetime64[D]").astype(np.int64)
    clinic = (table["condition"] == CLINIC).to_numpy(dtype=bool)
    near = np.zeros(len(table), dtype=bool)
    for rows in table.reset_index(drop=True).groupby("animal").indices.values():
        here, there = rows[clinic[rows]], rows[~clinic[rows]]
        apart = np.abs(day[here][:, None] - day[there][None, :]) <= NEAR_DAYS
        near[here], near[there] = apart.any(axis=1), apart.any(axis=0)
    return near


def _compared(
    rows: pd.DataFrame, condition: str, method: str, quantity: str, lost: int, level: float
) -> Situation:
    codes, names = pd.factorize(rows["animal"], sort=True)
    animal = codes.astype(np.int64)
    elsewhere = np.asarray(rows["condition"] == condition, dtype=np.int64)
    visit = np.arange(len(rows), dtype=np.int64)
    mean = rows[quantity].to_numpy(dtype=float)
    cells = Cells(
        mean,
        rows[f"{quantity}_n"].to_numpy(dtype=float),
        rows[f"{quantity}_ss"].to_numpy(dtype=float),
        animal,
        elsewhere,
        visit,
        visit,
    )
    fit = components(cells)
    estimate, se, df = fit.bias
    df = df if np.isfinite(df) else float(len(names) - 1)
    weights = {"animal × first": 1.0, "animal × second": 1.0}
    order, difference, variance = animal_differences(cells, fit)
    reach = float(ndtri((1 + level) / 2)) * np.sqrt(variance)
    each_animal = []
    for code, value, far in zip(order, difference, reach, strict=True):
        here = animal == code
        counts = int(np.sum(here & (elsewhere == 0))), int(np.sum(here & (elsewhere == 1)))
        plain = float(mean[here & (elsewhere == 1)].mean() - mean[here & (elsewhere == 0)].mean())
        shrunken = estimated(float(value), float(value - far), float(value + far), _SHRUNKEN)
        each_animal.append(AnimalSituation(str(names[int(code)]), counts, plain, shrunken))
    return Situation(
        condition=condition,
        method=method,
        quantity=quantity,
        unit=UNITS[quantity],
        overall=about(estimate, se, df, level, SATTERTHWAITE),
        between_animals=root(variance_interval(*fit.sum_of(weights), level)),
        animals=tuple(each_animal),
        fit=fit,
        left_out=lost,
        level=level,
    )
