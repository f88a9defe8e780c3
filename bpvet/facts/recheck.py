"""The table of windows: when to measure again in which state, and whose interval it is."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from types import MappingProxyType

from bpvet.equality import Content
from bpvet.facts.sources import PROJECT, Fact, fact, table
from bpvet.facts.species import species_of
from bpvet.frozen import dataclass

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

#: The guideline that each source of intervals stands for.
_OF_SOURCE = {"ACVIM2018": "acvim2018", "ISFM2017": "isfm2017", "IRIS2019": "iris2023"}


@dataclass(frozen=True)
class Window:
    """A window in days, and whose it is.

    Parameters
    ----------
    earliest : int or None
        None where the source gives a latest date alone.
    latest : int
        Days.
    guideline : str
        Key of the guideline whose interval it is, or ``project`` for a judgement.
    fact : Fact or None
        The fact behind it; None for a judgement.
    """

    earliest: int | None
    latest: int
    guideline: str
    fact: Fact | None

    @property
    def grade(self) -> str:
        """Grade of its evidence."""
        return "J" if self.fact is None else self.fact.grade


@dataclass(frozen=True, eq=False)
class Row(Content):
    """A row of the table.

    Parameters
    ----------
    key, state : str
        Its key, unique, and the state that it is a row of.
    kind : str
        ``all``, ``treated``, ``untreated``, ``unjudged`` or blank.
    unjudged : bool
        Whether it holds where the category is withheld too.
    windows : mapping of str to Window
        By the guideline whose interval it is.
    at_most : Window or None
        The longest window where kidney values are not on record.
    """

    key: str
    state: str
    kind: str
    unjudged: bool
    windows: Mapping[str, Window]
    at_most: Window | None

    def window(self, guideline: str, species: str) -> Window:
        """Return the window of the named guideline, else of one that speaks of the species."""
        window = self.windows.get(guideline)
        if window is not None and _speaks_of(window, species):
            return window
        others = [
            candidate for candidate in self.windows.values() if _speaks_of(candidate, species)
        ]
        # A guideline that does not speak of the species still gives the number, as a judgement.
        first = next(iter(self.windows.values()))
        return others[0] if others else Window(first.earliest, first.latest, PROJECT, None)

    def others(self, guideline: str, species: str) -> tuple[Window, ...]:
        """Return the windows of other guidelines that speak of the species."""
        headline = self.window(guideline, species)
        return tuple(
            window
            for window in self.windows.values()
            if window is not headline and _speaks_of(window, species)
        )


@cache
def rows() -> Mapping[str, Row]:
    """Return the rows by key, in the order of the table."""
    return MappingProxyType({entry["key"]: _row(entry) for entry in table("recheck")["row"]})


def states() -> tuple[str, ...]:
    """Return the states, in the order of the table."""
    return tuple(dict.fromkeys(row.state for row in rows().values()))


def _speaks_of(window: Window, species: str) -> bool:
    return (
        window.fact is None
        or not window.fact.species
        or window.fact.species == (species or species_of("").name)
    )


def _row(entry: Mapping[str, Any]) -> Row:
    windows: dict[str, Window] = {}
    for branch in entry.get("by", {"": entry}).values():
        for window in _windows(branch):
            windows[window.guideline] = window
    at_most = entry.get("at_most")
    return Row(
        key=entry["key"],
        state=entry["state"],
        kind=entry.get("kind", ""),
        unjudged=entry.get("unjudged", False),
        windows=MappingProxyType(windows),
        at_most=None if at_most is None else Window(at_most[0], at_most[1], PROJECT, None),
    )


def _windows(entry: Mapping[str, Any]) -> list[Window]:
    days = entry["days"]
    earliest, latest = (None, days[0]) if len(days) == 1 else days
    found = [fact(id) for id in entry.get("facts", ())]
    if not found:
        return [Window(earliest, latest, PROJECT, None)]
    return [Window(earliest, latest, _OF_SOURCE[cited.source], cited) for cited in found]
