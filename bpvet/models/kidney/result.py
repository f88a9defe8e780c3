"""What `bpvet.kidney` returns: frozen, printed as a short table, given as a frame or plain JSON."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from bpvet.equality import Content
from bpvet.facts.labs import ANALYTES
from bpvet.facts.words import Word
from bpvet.frozen import dataclass, field
from bpvet.maths.estimate import Estimate
from bpvet.models.kidney.rate import Rate, RatioChange
from bpvet.printing import ShortTable, Tabled, number, probability
from bpvet.reasons import reason
from bpvet.visits.labs.history import LabValue
from bpvet.visits.labs.kidney_reaction import KidneyReaction

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from bpvet.records.records import Records


@dataclass(frozen=True)
class RecordedSign:
    """A sign as written, and its date."""

    text: str
    on: np.datetime64


@dataclass(frozen=True)
class Leaving:
    """The day on which an animal left, and how many markers have their newest value after it."""

    on: np.datetime64
    newer: int


@dataclass(frozen=True)
class Usual:
    """The usual value at the date of the newest one, in the laboratory's unit."""

    date: np.datetime64
    value: Estimate

    @property
    def estimate(self) -> float:
        """The number."""
        return self.value.known[0]

    @property
    def lower(self) -> float:
        """The lower end of its interval."""
        return self.value.known[1]

    @property
    def upper(self) -> float:
        """The upper end of its interval."""
        return self.value.known[2]


@dataclass(frozen=True, eq=False)
class MarkerStage(Content):
    """The stages by one marker.

    Parameters
    ----------
    marker, unit : str
        ``creatinine`` or ``sdma``, and the unit of its newest value, as given.
    withheld : str or None
        Why no stage is given; None where one is.
    usual : Usual or None
    values : int
        Values that it rests on.
    first : datetime64[D] or None
        Date of the first of them.
    newest : LabValue or None
    units : tuple of str
        Units in which they were given; more than one were joined by the standard factor.
    probability : dict or None
        Of each stage, by its name.
    printed_by : str
        Whose bounds they are, marked where one is from memory.
    between_ranges : float or None
        The newest value, where it lies between two printed ranges: the lower stage is taken.
    rate : Rate or None
        How fast it rises.
    apart : tuple of LabValue or None
        The newest two values of one day that differ by more than two samples of a steady animal;
        both count.
    """

    marker: str
    unit: str
    withheld: str | None = None
    usual: Usual | None = None
    values: int = 0
    first: np.datetime64 | None = None
    newest: LabValue | None = None
    units: tuple[str, ...] = ()
    probability: dict[str, float] | None = None
    printed_by: str = ""
    between_ranges: float | None = None
    rate: Rate | None = None
    apart: tuple[LabValue, LabValue] | None = None

    @property
    def likeliest(self) -> str:
        """The most probable stage; blank without one."""
        return likeliest(self.probability)


@dataclass(frozen=True, eq=False)
class Proteinuria(Content):
    """The substage by protein in the urine.

    Parameters
    ----------
    samples, days : int
        The newest samples that show what persists, and the time that they span.
    newest : LabValue or None
        Of all ratios.
    geometric_mean : float or None
        Of these samples.
    usual : Usual or None
        From the trend of all ratios.
    probability : dict or None
        Of each substage, by its name.
    printed_by : str
        Whose bounds they are.
    withheld : str or None
        Why no substage is given.
    urine : RecordedSign or None
        An inflamed or bloody urine near a sample.
    change : RatioChange or None
        The newest ratio against the one before.
    """

    samples: int
    newest: LabValue | None
    days: int = 0
    geometric_mean: float | None = None
    usual: Usual | None = None
    probability: dict[str, float] | None = None
    printed_by: str = ""
    withheld: str | None = None
    urine: RecordedSign | None = None
    change: RatioChange | None = None


@dataclass(frozen=True, eq=False)
class PressureSubstage(Content):
    """The substage by pressure: the probability of each, at the latest session, or why none."""

    edition: str
    printed_by: str = ""
    date: np.datetime64 | None = None
    probability: dict[str, float] | None = None
    withheld: str | None = None


class DamageStatus(Word):
    """What is recorded of damage that pressure may have done."""

    PRESENT = "present"
    UNCLEAR = "unclear"
    NONE_FOUND = "none found"
    NOT_LOOKED_FOR = "not looked for"


@dataclass(frozen=True)
class Damage:
    """Signs that may be damage that pressure did.

    Of none found `on` is the date of an examination of the eyes; `signs` as written.
    """

    status: DamageStatus
    on: np.datetime64 | None
    signs: tuple[str, ...]


@dataclass(frozen=True, eq=False, repr=False)
class Kidney(Tabled, Content):
    """What is recorded of an animal's kidneys, and in which stage its values lie.

    Parameters
    ----------
    animal, species : str
    species_written : str
        The species as written where it is neither cat nor dog; blank otherwise.
    as_of : datetime64[D]
        The date that it speaks for.
    edition : str
        Whose bounds.
    level : float
        Probability of the intervals.
    diagnosis : RecordedSign or None
        The observation that says that kidney disease is there.
    undecided : tuple of RecordedSign
        Observations that may mean it or not ("CKD?", "kidney failure", "kidney stone"), where none
        says that it is there.
    left : Leaving or None
        That values are dated after the day on which the animal left.
    markers : tuple of MarkerStage
        Of each marker that is on record.
    combined : dict or None
        Probability of each stage by the higher of the markers that have two values far enough
        apart.
    withheld : str or None
        Why no stage is given.
    proteinuria : Proteinuria
    pressure : PressureSubstage
    damage : Damage
    missing : tuple of str
        What a stage asks for and the records do not say: ``fasting``, ``hydrated``, ``stable``,
        ``diagnosis``.
    dehydrated : RecordedSign or None
        That the animal was dehydrated near the newest value.
    reaction : tuple of KidneyReaction
        Creatinine and SDMA about each start or change of a pressure drug, the newest first.
    records : Records or None
        What the figure is drawn from; None where it is part of an answer.
    """

    animal: str
    species: str
    species_written: str
    as_of: np.datetime64
    edition: str
    level: float
    diagnosis: RecordedSign | None
    undecided: tuple[RecordedSign, ...]
    left: Leaving | None
    markers: tuple[MarkerStage, ...]
    combined: dict[str, float] | None
    withheld: str | None
    proteinuria: Proteinuria
    pressure: PressureSubstage
    damage: Damage
    missing: tuple[str, ...]
    dehydrated: RecordedSign | None
    reaction: tuple[KidneyReaction, ...]
    records: Records | None = field(default=None, repr=False, compare=False)

    @property
    def diagnosed(self) -> bool:
        """Whether kidney disease is recorded among the observations."""
        return self.diagnosis is not None

    @property
    def stage(self) -> str:
        """The most probable stage; blank where none is given."""
        return likeliest(self.combined)

    @property
    def disagree(self) -> bool:
        """Whether the markers point to different stages."""
        pointed = {marker.likeliest for marker in self.markers if marker.withheld is None}
        return len(pointed) > 1

    def is_above(self, stage: int) -> bool:
        """Whether a stage, from 1, is a higher one than the most probable, or none is probable."""
        if not self.combined or not self.stage:
            return True
        return stage > list(self.combined).index(self.stage) + 1

    def to_frame(self) -> pd.DataFrame:
        """Return a row for each probability: columns question, by, stage, probability."""
        import pandas as pd

        columns = ["question", "by", "stage", "probability"]
        return pd.DataFrame(list(self._probabilities()), columns=columns)

    def to_dict(self) -> dict[str, Any]:
        """Return the numbers as plain JSON values, as ``bpvet trend --json`` has under `kidney`."""
        protein, pressure = self.proteinuria, self.pressure
        return {
            # Neither true nor false where what is recorded may mean it or not.
            "diagnosed": None if self.undecided else self.diagnosed,
            "diagnosis": {
                "recorded": None if self.diagnosis is None else _sign(self.diagnosis),
                "undecided": [_sign(sign) for sign in self.undecided],
            },
            "stage": {
                "edition": self.edition,
                "by_marker": {
                    marker.marker: dict(marker.probability)
                    for marker in self.markers
                    if marker.probability
                }
                if self.withheld is None
                else {},
                "combined": _copied(self.combined),
                "withheld": self.withheld,
            },
            "proteinuria": {
                "samples": protein.samples,
                "days": protein.days,
                "geometric_mean": protein.geometric_mean,
                "probability": _copied(protein.probability),
                "withheld": protein.withheld,
                "change": _change(protein.change),
            },
            "pressure": {
                "edition": pressure.edition,
                "date": _iso(pressure.date),
                "probability": _copied(pressure.probability),
                "withheld": pressure.withheld,
            },
            "damage": {
                "status": self.damage.status,
                "on": _iso(self.damage.on),
                "signs": list(self.damage.signs),
            },
            "missing": list(self.missing),
            "reaction": [_reaction(reaction) for reaction in self.reaction],
        }

    def plot(self, ax: Axes | None = None, *, width_mm: float = 160.0) -> Figure | Axes:
        """Return the figure, or draw it in an Axes of yours: a panel a marker."""
        from bpvet.figures.drawing import plotted
        from bpvet.pictures.kidney import kidney_picture

        return plotted(kidney_picture(self), ax, width_mm)

    def _probabilities(self) -> Iterator[tuple[str, str, str, float]]:
        tables: list[tuple[str, str, Mapping[str, float] | None]] = [
            ("stage", marker.marker, marker.probability)
            for marker in self.markers
            if marker.withheld is None
        ]
        tables.append(("stage", reason("kidney.higher"), self.combined))
        tables.append(("proteinuria", "upc", self.proteinuria.probability))
        tables.append(("pressure", "systolic", self.pressure.probability))
        for question, by, table in tables:
            for stage, share in (table or {}).items():
                yield question, by, stage, share

    def _table(self) -> ShortTable:
        kind = f" ({self.species})" if self.species else ""
        title = reason("kidney.title", animal=self.animal, kind=kind, as_of=self.as_of)
        head = "stage" if self.diagnosed else reason("kidney.stage_if")
        rows = [
            (
                f"{head}, by {ANALYTES[marker.marker]}",
                *_row(marker.probability, marker.withheld),
                _on(marker),
            )
            for marker in self.markers
        ]
        rows.append(
            (reason("kidney.the_higher", stage=head), *_row(self.combined, self.withheld), "")
        )
        protein, pressure, damage = self.proteinuria, self.pressure, self.damage
        mean = "" if protein.geometric_mean is None else f"mean {number(protein.geometric_mean, 2)}"
        rows.append((reason("kidney.protein"), *_row(protein.probability, protein.withheld), mean))
        on = "" if pressure.date is None else str(pressure.date)
        rows.append(("pressure", *_row(pressure.probability, pressure.withheld), on))
        rows.append(
            ("organ damage", damage.status, "", "" if damage.on is None else str(damage.on))
        )
        notes = (
            reason("kidney.not_recorded", what=", ".join(self.missing)),
            reason("kidney.edition", edition=self.edition),
        )
        return ShortTable(title, ("", "likeliest", "probability", ""), tuple(rows), notes)


def likeliest(table: Mapping[str, float] | None) -> str:
    """Return the most probable name of a table; of equal ones the later, which is the worse."""
    if not table:
        return ""
    return max(reversed(list(table)), key=lambda name: table[name])


def _row(table: Mapping[str, float] | None, withheld: str | None) -> tuple[str, str]:
    if not table or withheld:
        return f"withheld: {withheld}", ""
    first = likeliest(table)
    return first, probability(table[first])


def _on(marker: MarkerStage) -> str:
    if marker.usual is None:
        return ""
    return f"{number(marker.usual.estimate, 1)} {marker.unit} on {marker.usual.date}"


def _copied(table: Mapping[str, float] | None) -> dict[str, float] | None:
    return None if table is None else dict(table)


def _iso(date: np.datetime64 | None) -> str | None:
    return None if date is None else str(date.astype("datetime64[D]"))


def _sign(sign: RecordedSign) -> dict[str, Any]:
    return {"text": sign.text, "on": _iso(sign.on)}


def _change(change: RatioChange | None) -> dict[str, Any] | None:
    if change is None:
        return None
    return {
        "before": change.before.value,
        "before_on": _iso(change.before.date),
        "after": change.after.value,
        "after_on": _iso(change.after.date),
        "percent": change.percent,
        "needed_percent": change.needed,
        "within_day_to_day": change.within,
    }


def _reaction(reaction: KidneyReaction) -> dict[str, Any]:
    """Return a reaction with its values as they were given."""
    return {
        "drug": reaction.drug,
        "kind": reaction.kind,
        "started_on": _iso(reaction.changed_on),
        "marker": reaction.after.analyte,
        "before": reaction.before.value,
        "before_on": _iso(reaction.before.date),
        "after": reaction.after.value,
        "after_on": _iso(reaction.after.date),
        "unit": reaction.change.unit,
        "days": reaction.days,
        "change": reaction.change.absolute,
        "percent": reaction.change.percent if np.isfinite(reaction.change.percent) else None,
        "tolerance": reaction.tolerances[0].limit,
        "tolerance_unit": reaction.tolerances[0].unit,
        "beyond": reaction.beyond,
        "called": reaction.is_reaction,
    }
