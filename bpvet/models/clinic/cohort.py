"""A clinic's default cohort: which sessions count, what can be asked of them, and the fit.

The model is ``quantity ~ months * treated + method`` with a level and, where the records can
support it, a slope of its own for every animal. What the records cannot support is left out of
the model, and said.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bpvet.equality import Content
from bpvet.errors import CallError, FitError
from bpvet.facts.words import CONDITION_WORDS, METHOD_WORDS, QUANTITIES, QUANTITY_WORDS
from bpvet.frozen import dataclass
from bpvet.garbage import garbage_waits
from bpvet.mixed.cohort import Cohort, fit_cohort
from bpvet.models.clinic.needs import Needs, needs_of
from bpvet.models.clinic.over_time import OverTime, over_time
from bpvet.printing import ShortTable, Tabled
from bpvet.reasons import reason
from bpvet.records.records import Records
from bpvet.visits.readings import coded_readings_used
from bpvet.visits.sessions import session_store, sessions, used_values

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from bpvet.answers.clinic.cohort import CohortAnswer
    from bpvet.reports.writing import Written

#: Fewest animals, and fewest of them with two sessions or more, for a cohort at all.
LEAST_ANIMALS, LEAST_FOLLOWED = 5, 3
#: Fewest animals with three dates or more for slopes that differ between animals.
LEAST_FOR_SLOPES, DATES_FOR_SLOPES = 5, 3
#: Fewest sessions by each method for SDs by method.
LEAST_BY_METHOD = 5

_COLUMNS = (
    *("animal", "species", "sex", "age_years", "date", "method", "condition", "session"),
    *("months", "treated"),
)


Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Fitted(Content):
    """A fit, and in words what was left out of the full model and why.

    Parameters
    ----------
    cohort : Cohort
    slopes_reason, spread_reason : str
        Why animals share one slope, and why methods share one scatter; blank where they do not.
    left_out_terms : dict
        Why a term of the full formula is not in it, by term.
    """

    cohort: Cohort
    slopes_reason: str
    spread_reason: str
    left_out_terms: dict[str, str]


@dataclass(frozen=True, eq=False, repr=False)
class ClinicCohort(Tabled, Content):
    """The default cohort of a clinic.

    Parameters
    ----------
    quantity, rule, as_of : str
        What was asked; the date as YYYY-MM-DD.
    pseudonyms : bool
        Whether the animals' ids were replaced, and their names left out.
    names : mapping of str to str
        What each animal of the records is called here beside its id (or its pseudonym), in
        their order; blank where it bears no name, or where there are pseudonyms.
    every : DataFrame
        Every session of the records with `reason`: why it does not count, blank where it does.
    fit : Fitted
    other_rule : DataFrame
        The sessions under the other rule, for the grid.
    rows : DataFrame
        Every row of readings: animal, session, `fate`, and whether it `holds` a used number
        of the quantity.
    findings : int
        How many findings the record check has.
    over_time : OverTime or None
        The treated animals over time; None for quantities other than systolic pressure.
    needs : Needs
        Every animal of the records, the one that needs a look most first.
    source : str
        Name of the folder or file; blank with pseudonyms.
    digest : str or None
        Of the records; None with pseudonyms, because it could tell whose they are.
    """

    quantity: str
    rule: str
    as_of: str
    pseudonyms: bool
    names: Mapping[str, str]
    every: pd.DataFrame
    fit: Fitted
    other_rule: pd.DataFrame
    rows: pd.DataFrame
    findings: int
    over_time: OverTime | None
    needs: Needs
    source: str
    digest: str | None

    @property
    def cohort(self) -> Cohort:
        """The fitted model."""
        return self.fit.cohort

    @property
    def counted(self) -> pd.DataFrame:
        """The sessions that count, in the order of the fit."""
        return self.every[self.every["reason"] == ""].reset_index(drop=True)

    def label(self, animal: str) -> str:
        """Return an animal's id with its name, where it has one."""
        name = self.names[animal]
        return f"{animal} ({name})" if name else animal

    def report(self, folder: str | Path, records: str | Path, **choices: Any) -> Written[Any]:
        """Write the report into a folder; `records`: where they are. As `bpvet.report` does it."""
        from bpvet.reports.results import report

        return report(self, folder, records, **choices)

    def answer(self, level: float = 0.95) -> CohortAnswer:
        """Return what ``bpvet cohort --json`` prints: the numbers, and what they say."""
        from bpvet.answers.clinic.cohort import cohort_answer

        return cohort_answer(self, level)

    def to_frame(self) -> pd.DataFrame:
        """Return the model's fixed effects and variance components, in full precision."""
        return self.cohort.to_frame()

    def to_dict(self) -> dict[str, Any]:
        """Return `to_frame` as plain values for JSON; `answer` holds the animals and the rest."""
        return self.cohort.to_dict()

    def plot(
        self, ax: Axes | None = None, *, what: str = "animals", width_mm: float = 160.0
    ) -> Figure | Axes:
        """Return one of the figures, or draw it in an Axes of yours, whose box it fills.

        Parameters
        ----------
        ax : matplotlib.axes.Axes, optional
        what : str
            ``animals``: each against the population; ``residuals``: of the sessions; ``scatter``:
            SDs between animals, visits and readings, by method.
        width_mm : float
            Width of a figure of its own.

        Raises
        ------
        CallError
            For another figure.
        """
        from bpvet.figures.drawing import plotted
        from bpvet.pictures.clinic import clinic_picture

        return plotted(clinic_picture(self, what), ax, width_mm)

    def _table(self) -> ShortTable:
        return self.cohort.summary()


@garbage_waits()
def clinic_cohort(
    records: Records,
    quantity: str = "systolic",
    *,
    rule: str = "guideline",
    pseudonyms: bool = False,
) -> ClinicCohort:
    """Return the default cohort of a clinic: sessions in the clinic, awake.

    Parameters
    ----------
    records : Records
    quantity : str
        One of `bpvet.facts.words.QUANTITIES`.
    rule : str
        ``guideline`` or ``all``.
    pseudonyms : bool
        Whether animals are called "animal 01" and so on, in an order that says nothing about
        their ids, and every other text of the records that may tell whose they are is left out.

    Raises
    ------
    CallError
        For an unknown quantity or rule.
    FitError
        Where there are too few animals or sessions; it says how many there are.
    """
    if quantity not in QUANTITIES:
        raise CallError(f'quantity is one of {", ".join(QUANTITIES)}, not "{quantity}".')
    animals = records.animals
    ids = [str(animal) for animal in animals["animal"]]
    called = (
        pseudonyms_of(ids, records.digest) if pseudonyms else {animal: animal for animal in ids}
    )
    given = {} if pseudonyms else dict(zip(ids, map(str, animals["name"]), strict=True))
    # Kept with the records: whatever is asked of them below asks for the same sessions.
    every = _trimmed(session_store(records, rule).frame, quantity, called)
    other_rule = "all" if rule == "guideline" else "guideline"
    every["reason"] = reasons(every, quantity, ("clinic",))
    return ClinicCohort(
        quantity=quantity,
        rule=rule,
        as_of=str(records.as_of),
        pseudonyms=pseudonyms,
        names={
            called[animal]: given.get(animal, "") for animal in sorted(ids, key=called.__getitem__)
        },
        every=every,
        fit=default_fit(every[every["reason"] == ""].reset_index(drop=True), quantity),
        other_rule=_trimmed(sessions(records, other_rule), quantity, called),
        rows=_rows(records, rule, quantity, called),
        findings=len(records.findings),
        over_time=over_time(records, pseudonyms=pseudonyms) if quantity == "systolic" else None,
        needs=needs_of(records, rule, called),
        source="" if pseudonyms else records.source,
        digest=None if pseudonyms else records.digest,
    )


def pseudonyms_of(ids: Sequence[str], salt: str) -> dict[str, str]:
    """Return what each animal is called instead, numbered in the order of a digest.

    Parameters
    ----------
    ids : sequence of str
    salt : str
        Something that only those who hold the records have, such as their digest: without it
        nobody can work out an animal's number from a guess at its id.

    Examples
    --------
    >>> sorted(pseudonyms_of(["B2", "A17"], "salt").values())
    ['animal 01', 'animal 02']
    """
    width = max(2, len(str(len(ids))))
    order = sorted(ids, key=lambda animal: sha256(f"{salt} {animal}".encode()).hexdigest())
    return {animal: f"animal {rank:0{width}d}" for rank, animal in enumerate(order, start=1)}


def _trimmed(frame: pd.DataFrame, quantity: str, called: dict[str, str]) -> pd.DataFrame:
    """Return the columns that a cohort needs; names of people and places are not among them."""
    parts = [quantity, f"{quantity}_n", f"{quantity}_ss", f"{quantity}_bound"]
    kept = frame[[*_COLUMNS, *parts]].reset_index(drop=True)
    kept = kept.assign(animal=[called[animal] for animal in kept["animal"].to_numpy(dtype=object)])
    return kept.sort_values(["animal", "session"], kind="stable", ignore_index=True)


def _rows(records: Records, rule: str, quantity: str, called: dict[str, str]) -> pd.DataFrame:
    """Return every row of readings with its animal, session, fate, and whether it holds a value."""
    coded = coded_readings_used(records, rule)
    animal = coded["animal"].cat
    names = [*(called.get(str(name), "") for name in animal.categories), ""]
    return pd.DataFrame(
        {
            "session": coded["session"],
            "fate": coded["fate"].astype("str"),
            "animal": pd.array(names, dtype="str")[animal.codes.to_numpy()],
            "holds": ~np.isnan(used_values(coded, quantity)),
        }
    )


def reasons(frame: pd.DataFrame, quantity: str, conditions: Sequence[str]) -> list[str]:
    """Return why each session does not count under some conditions; blank where it does."""
    found: list[str] = []
    columns = frame["condition"].to_numpy(dtype=object), frame[f"{quantity}_n"]
    for condition, count in zip(*columns, strict=True):
        if condition not in conditions:
            found.append(reason("cohort.measured", condition=CONDITION_WORDS[condition]))
        elif count == 0:
            found.append(reason("cohort.no_value", quantity=QUANTITY_WORDS[quantity]))
        else:
            found.append("")
    return found


def default_fit(rows: pd.DataFrame, quantity: str) -> Fitted:
    """Return the fit of sessions, with as much of the default model as they can support.

    Parameters
    ----------
    rows : DataFrame
        Sessions with a used value, in the order of animal and session.
    quantity : str

    Raises
    ------
    FitError
        Where there are too few animals or sessions, or no fit can be had.
    """
    few = too_few(rows)
    if few:
        raise FitError(
            f"There are too few sessions for a cohort of {QUANTITY_WORDS[quantity]} in the clinic, "
            f'awake: {few}. "bpvet report" tells of one animal.'
        )
    terms, without = _terms(rows)
    formula = f"{quantity} ~ {' + '.join(terms) or '1'}"
    spread_reason = _why_one_spread(rows, quantity)
    repeated = bool((rows[f"{quantity}_n"] > 1).any())
    by = None if spread_reason else "method"
    classes: dict[str, Any] = {"visit_by": by if repeated else None, "residual_by": by}
    enough = int((rows.groupby("animal")["months"].nunique() >= DATES_FOR_SLOPES).sum())
    slopes_reason = ""
    if enough < LEAST_FOR_SLOPES:
        slopes_reason = reason(
            "cohort.few_dates", animals=enough, dates=DATES_FOR_SLOPES, least=LEAST_FOR_SLOPES
        )
    if not slopes_reason:
        try:
            cohort = fit_cohort(rows, formula, slope="months", **classes)
        except FitError:
            slopes_reason = reason("cohort.slope_failed")
        else:
            if not _slope_at_edge(cohort):
                return Fitted(cohort, "", spread_reason, without)
            slopes_reason = reason("cohort.slope_at_edge")
    cohort = fit_cohort(rows, formula, **classes)
    return Fitted(cohort, slopes_reason, spread_reason, without)


def too_few(rows: pd.DataFrame) -> str:
    """Return why these sessions are too few for a cohort; blank where they are not."""
    each = rows.groupby("animal").size()
    followed = int((each > 1).sum())
    if len(each) >= LEAST_ANIMALS and followed >= LEAST_FOLLOWED:
        return ""
    return reason(
        "cohort.few_animals",
        animals=LEAST_ANIMALS,
        followed=LEAST_FOLLOWED,
        here=len(each),
        here_followed=followed,
    )


def _terms(rows: pd.DataFrame) -> tuple[list[str], dict[str, str]]:
    """Return the terms that these sessions can tell apart, and why the others are not in."""
    without: dict[str, str] = {}
    months = rows["months"].to_numpy(dtype=float)
    treated = rows["treated"].to_numpy(dtype=float)
    kept, x = [], np.ones((len(rows), 1))
    columns = {
        "months": months[:, None],
        "treated": treated[:, None],
        "months:treated": (months * treated)[:, None],
        "method": _indicators(rows["method"]),
        "condition": _indicators(rows["condition"]),
    }
    for name, column in columns.items():
        wider = np.hstack([x, column])
        if column.shape[1] and np.linalg.matrix_rank(_unit(wider)) == wider.shape[1]:
            kept.append(name)
            x = wider
        elif name != "condition":
            without[name] = _why_without(rows, name)
    if "months:treated" in kept:
        kept = ["months * treated", *kept[3:]]
    return kept, without


def _indicators(column: pd.Series[Any]) -> Array:
    """Return a column of 0 and 1 for each text but the first."""
    texts = sorted(column.unique())[1:]
    return (
        np.array([(column == level).to_numpy(dtype=float) for level in texts])
        .reshape(len(texts), len(column))
        .T
    )


def _unit(x: Array) -> Array:
    """Return columns over their lengths, so that no unit makes one look small."""
    length = np.sqrt((x**2).sum(axis=0))
    return x / np.where(length > 0, length, 1.0)


def _why_without(rows: pd.DataFrame, name: str) -> str:
    """Return why a term cannot be in the model."""
    treated = rows["treated"].to_numpy(dtype=bool)
    if name == "months" and rows["months"].nunique() < 2:
        return reason("cohort.first_days")
    if name in ("treated", "months:treated") and treated.all():
        return reason("cohort.all_treated")
    if name in ("treated", "months:treated") and not treated.any():
        return reason("cohort.none_treated")
    if name == "method" and rows["method"].nunique() < 2:
        return reason("cohort.one_method", method=METHOD_WORDS[rows["method"].iloc[0]])
    return reason("cohort.not_told_apart")


def _why_one_spread(rows: pd.DataFrame, quantity: str) -> str:
    count = rows.groupby("method").size()
    if len(count) < 2:
        return reason("cohort.one_method", method=METHOD_WORDS[str(count.index[0])])
    few = count[count < LEAST_BY_METHOD]
    if len(few):
        name = METHOD_WORDS[str(few.index[0])]
        return reason("cohort.few_by_method", method=name, sessions=few.iloc[0])
    if rows[f"{quantity}_n"].groupby(rows["method"]).max().min() < 2:
        return reason("cohort.not_repeated")
    return ""


def _slope_at_edge(cohort: Cohort) -> bool:
    g = cohort.animal_covariance.to_numpy()
    if not (g[0, 0] > 0 and g[1, 1] > 0):
        return True
    rho = abs(g[0, 1]) / float(np.sqrt(g[0, 0] * g[1, 1]))
    return bool(cohort.boundary and rho > 1 - 1e-6) or g[1, 1] < 1e-8
