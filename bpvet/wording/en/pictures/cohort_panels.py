"""What a clinic's small panels say: names, standings, titles, captions, alternative texts."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from bpvet.facts.words import METHOD_WORDS, QUANTITY_WORDS, UNITS
from bpvet.figures.clinic.panels_picture import AnimalPanel
from bpvet.frozen import dataclass
from bpvet.printing import number
from bpvet.wording.en.pictures.drawn import PANELS

_SIGNS = {"at least": "≥ ", "at most": "≤ ", "at least and at most": "bounds about "}
_TARGETS = {"own": "target", "target": "target", "raised": "raised from"}
_POINTER = {
    "own": "the animal's own target",
    "target": "target on a drug",
    "raised": "bound of raised pressure, without a drug",
}
_MOST_TOLD = 5


@dataclass(frozen=True)
class Sheets:
    """What the words of all sheets share.

    Parameters
    ----------
    animals, without, panels : int
        Animals with a counted session, without one, and with a panel.
    many : bool
        Whether there are too many for a panel each.
    quantity : str
    bin_animals : tuple of int, optional
        Animals of the first and of the last bin of deciles; None without deciles.
    bin_months : float
        Months that deciles stand for.
    least : int
        Fewest animals of a bin.
    """

    animals: int
    without: int
    panels: int
    many: bool
    quantity: str
    bin_animals: tuple[int, int] | None
    bin_months: float
    least: int

    @property
    def words(self) -> str:
        """The quantity."""
        return QUANTITY_WORDS[self.quantity]


def bounded(bound: str, value: float) -> str:
    """Return a value, with the sign of a bound before it."""
    return f"{_SIGNS.get(bound, '')}{number(value, 0)}"


def target_name(kind: str) -> str:
    """Return what a pointer shows of a panel's target, by the kind of its need."""
    return _POINTER.get(kind, "")


def session_words(
    when: str, shown: str, unit: str, readings: int, method: str, treated: bool
) -> str:
    """Return what a pointer shows of a session.

    Parameters
    ----------
    when : str
        Its date, or its month as `month_words` gives it.
    shown : str
        Its mean, as `bounded` gives it.
    unit, method : str
    readings : int
    treated : bool
        Whether a pressure-acting drug was on.
    """
    drug = "on a pressure-acting drug" if treated else "on none"
    of = "1 reading" if readings == 1 else f"mean of {readings} readings"
    return f"{when}: {shown} {unit}, {of}, {METHOD_WORDS[method]}, {drug}"


def month_words(months: float) -> str:
    """Return the month of a session, where dates are left out."""
    return f"month {number(months, 1)}"


def standing(kind: str, target: float | None, last: str) -> tuple[str, ...]:
    """Return the newest value and the line beside it, in more and in fewer words."""
    if target is None:
        return (f"last {last}",)
    line = f"{_TARGETS[kind]} {target:g}"
    return f"last {last}, {line}", f"{last}, {line}", f"last {last}"


def overview_heading(animals: int, deciles: bool) -> str:
    """Return what the panel of all shows."""
    what = "deciles of their sessions' means" if deciles else "the population"
    return f"All {animals}: {what}"


def sheet_title(sheets: Sheets, before: int, panels: int) -> str:
    """Return the title of a sheet of so many panels, after so many on the sheets before."""
    title = f"{sheets.words.capitalize()} of {_animals(sheets.animals)} since their first session"
    if sheets.many:
        return f"{title}, and the {sheets.panels} most pressing"
    return f"{title}: {_which(sheets, before, panels)}" if before else title


def sheet_caption(sheets: Sheets, before: int, panels: int, first: bool) -> Iterator[str]:
    """Yield the caption of a sheet; the first one explains them all."""
    if not first:
        yield f"Continued: {_which(sheets, before, panels)}."
        return
    yield (
        "An animal a panel, on shared axes: urgent ones first, then by how far the usual pressure "
        "lies above target (without a drug: the bound of raised pressure) or below the floor; what "
        "is not known stands before what is in order."
    )
    if sheets.many:
        yield (
            f"Of {sheets.animals} animals the {sheets.panels} first have a panel; all stand in the "
            "deciles and in the table below."
        )
    if sheets.without:
        have = "has" if sheets.without == 1 else "have"
        yield (
            f"{_animals(sheets.without).capitalize()} of the records {have} no counted session, "
            "and no panel."
        )
    if sheets.bin_animals is not None:
        yield (
            f"Deciles: of the animals' means in each {sheets.bin_months:g} months, "
            f"{sheets.bin_animals[0]} animals in the first and {sheets.bin_animals[1]} in the last "
            f"that is drawn; with fewer than {sheets.least} there are none."
        )
    yield (
        "A line joins sessions by one method no more than 180 days apart, never through a bound. "
        "Treated animals differ in more than treatment: no gap between lines is a drug's effect."
    )


def _which(sheets: Sheets, before: int, panels: int) -> str:
    return f"{before + 1} to {before + panels} of {sheets.panels}"


def _animals(count: int) -> str:
    return "1 animal" if count == 1 else f"{count} animals"


def beyond_value(name: str, bound: str, value: float, quantity: str) -> str:
    """Return an animal's value beyond the axes; number, sign and unit stay on one line."""
    sign = _SIGNS.get(bound, "")
    if bound == "at least":
        sign = "≥\N{NO-BREAK SPACE}"
    return f"{name} {sign}{number(value, 0)} {UNITS[quantity]}"


def beyond_month(name: str, months: float) -> str:
    """Return up to which month an animal goes beyond the axes."""
    return f"{name} {PANELS.to_month.format(month=number(months, 0))}"


def beyond_words(found: Sequence[str]) -> Iterator[str]:
    """Yield what lies beyond the shared axes, so that none is lost."""
    if found:
        more = f" and {len(found) - _MOST_TOLD} more" if len(found) > _MOST_TOLD else ""
        yield f"Beyond the shared axes, drawn at their edge: {'; '.join(found[:_MOST_TOLD])}{more}."


def sheet_alt_text(sheets: Sheets, panels: Sequence[AnimalPanel]) -> Iterator[str]:
    """Yield the panels of a sheet in words."""
    sessions = sum(panel.value.size for panel in panels)
    yield (
        f"{len(panels)} small charts of {sheets.words} over months since the first session, an "
        f"animal each, {sessions} sessions in all."
    )
    yield "; ".join(_told_of(panel) for panel in panels) + "."


def _told_of(panel: AnimalPanel) -> str:
    state = f"{PANELS.states[panel.state]}, " if panel.state else ""
    return f"{panel.name}: {state}{panel.standing[0]}"
