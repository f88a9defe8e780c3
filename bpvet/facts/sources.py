"""Where every figure comes from: sources, and facts that each name one.

A fact's id begins with its topic, and the topic is the name of its data file:
``protocol.consistency`` stands in ``protocol.toml``. A file is read when a fact in it is first
asked for. In a data file a table is one fact, or, with ``parts``, one row of a paper that gave
several: each part is a fact, and takes from the table what it does not say itself. The blocks of a
species and of an analyte hold their facts too, whatever the topics of these are.
"""

from __future__ import annotations

import math
from functools import cache

from bpvet.equality import Content
from bpvet.facts.compiled import load
from bpvet.frozen import dataclass, field_names

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from datetime import date
    from typing import Any, TypeVar

    _Item = TypeVar("_Item")

#: How a figure was obtained: read in the source, read in a later text that restates it, from
#: memory, derived, judgement of this project.
GRADES = tuple("RSMDJ")
#: The mark of a figure from memory: whoever prints a page, a letter, a caption or a terminal's text
#: adds the one footnote that explains it (`footnotes`).
DAGGER = "†"

#: The key of the one source that is no publication: this project's own judgement.
PROJECT = "project"

#: The data files that hold facts, each named by the first word of the ids in it.
TOPICS = (
    "acvim2018",
    "protocol",
    "validation",
    "iris",
    "isfm",
    "kidney",
    "size",
    "effect",
    "tau",
    "physics",
    "unit",
    "limits",
    "code",
    "project",
)

#: The data files whose blocks, one a species and one an analyte, hold facts of several topics.
BLOCK_FILES = ("species", "analytes")

#: Days in each unit of time that a fact may carry; a month of a recheck table is 30 days.
DAYS_IN = {"h": 1 / 24, "d": 1, "weeks": 7, "months": 30}


@dataclass(frozen=True, eq=False, repr=False)
class Source(Content):
    """A publication, a standard, or this project's judgement.

    Parameters
    ----------
    key : str
        The short key by which facts name it.
    name : str
        How a report names it, such as ``ACVIM 2018 consensus statement``.
    citation : str
        The full citation.
    doi : str
        The digital object identifier; blank where there is none or it is not known.
    note : str
        What about the citation itself is uncertain; may be blank.
    """

    key: str
    name: str
    citation: str
    doi: str = ""
    note: str = ""


@dataclass(frozen=True, eq=False, repr=False)
class Fact(Content):
    """A sourced figure, range or rule.

    Parameters
    ----------
    id : str
        Unique id; its first word is the topic.
    value, low, high : float or None
        The figure, and the ends of its range or interval, in `unit`.
    text : str
        The rule or the code in words, where that is what the source gives.
    unit, species, method, quantity, statistic : str
        What the figure is of; blank species means both, blank method means any or none.
    n : int or None
        Animals behind the figure.
    source, locator, grade : str
        Key of the source, the place in it, and how the figure was obtained (`GRADES`).
    caution : str
        What a reader must know beside it; for a derived figure, the sum.
    checked_by, checked_on : str, date or None
        Who laid it beside the paper, and when.
    """

    id: str
    value: float | None = None
    low: float | None = None
    high: float | None = None
    text: str = ""
    unit: str = ""
    species: str = ""
    method: str = ""
    quantity: str = ""
    statistic: str = ""
    n: int | None = None
    source: str = ""
    locator: str = ""
    grade: str = ""
    caution: str = ""
    checked_by: str = ""
    checked_on: date | None = None

    @property
    def remembered(self) -> bool:
        """Whether the figure is from memory and nobody has yet checked it."""
        return self.grade == "M" and not self.checked_by

    def figure(self) -> str:
        """Return the number with its unit, or the text where there is no number.

        Examples
        --------
        >>> fact("acvim2018.recheck.changed").figure()
        '7–10 days'
        """
        from bpvet.wording.en.facts import UNITS, span

        unit = f" {UNITS.get(self.unit, self.unit)}".rstrip()
        ends = (_number(self.low), _number(self.high))
        if self.value is None:
            return span(*ends, unit) or self.text
        around = span(*ends, "")
        return f"{_number(self.value)}{unit}" + (f" ({around})" if around else "")

    def words(self) -> str:
        """Return the figure, its source and place, and how it was obtained.

        Examples
        --------
        >>> print(fact("acvim2018.floor").words())
        120 mmHg† (ACVIM 2018 consensus statement, follow-up)
        """
        from bpvet.wording.en.facts import CHECKED_BY, GRADES

        figure = marked(self.figure(), self.remembered)
        citation = f"{figure} ({source(self.source).name}, {self.locator}"
        if self.grade == "J" or self.remembered:
            return f"{citation})"
        checked = CHECKED_BY.format(who=self.checked_by) if self.checked_by else ""
        return f"{citation}; {checked or GRADES[self.grade]})"

    def days(self) -> float:
        """Return the longest time that the fact allows, in days; the unit must be one of time."""
        longest = self.high if self.high is not None else self.value
        if longest is None or self.unit not in DAYS_IN:
            raise ValueError(f"{self.id} is not a length of time")
        return longest * DAYS_IN[self.unit]


def marked(text: str, remembered: bool) -> str:
    """Return a text, with the mark behind it where its figure is from memory.

    Examples
    --------
    >>> marked("ACVIM 2018 consensus statement", True)
    'ACVIM 2018 consensus statement†'
    """
    return f"{text}{DAGGER}" if remembered else text


def credit(found: Fact) -> str:
    """Return the name of the source that a figure is of, marked if it is from memory.

    A sentence that states a figure names its source so, and never by the set that uses it.

    Examples
    --------
    >>> credit(fact("acvim2018.floor")), credit(fact("acvim2018.severe"))
    ('ACVIM 2018 consensus statement†', 'ACVIM 2018 consensus statement')
    """
    return marked(source(found.source).name, found.remembered)


def as_remembered() -> str:
    """Return the footnote that explains the mark of figures from memory."""
    from bpvet.wording.en.facts import AS_REMEMBERED

    return AS_REMEMBERED


def footnotes(*texts: str) -> tuple[str, ...]:
    """Return the footnote that these texts call for: one where a mark stands in any, or none.

    A text that holds the footnote already calls for no other.
    """
    has = any(DAGGER in text for text in texts)
    note = as_remembered()
    return (note,) if has and not any(note in text for text in texts) else ()


def source(key: str) -> Source:
    """Return the source of this key; an unknown key is a `KeyError` that names near ones."""
    return _named(key, sources(), "source")


@cache
def sources() -> Mapping[str, Source]:
    """Return every source by its key, in the order of the data file."""
    return {key: Source(key=key, **entry) for key, entry in table("sources").items()}


@cache
def fact(id: str) -> Fact:
    """Return the fact of this id; an unknown id is a `KeyError` that names near ones.

    Examples
    --------
    >>> fact("acvim2018.goal.minimum").value
    160.0
    """
    topic = id.partition(".")[0]
    if topic not in TOPICS:
        raise KeyError(f"no topic of facts is called {topic!r}: there are {', '.join(TOPICS)}")
    return _checked(id, _named(id, _entries(topic), "fact"))


def facts(topic: str | None = None) -> tuple[Fact, ...]:
    """Return all facts, or those of one topic, in the order of the data files."""
    chosen = TOPICS if topic is None else (topic,)
    return tuple(fact(id) for name in chosen for id in _entries(name))


@cache
def table(name: str) -> dict[str, Any]:
    """Return the data file `name`.toml of this folder, read once; treat it as read-only."""
    return load(name)


def facts_from(entries: Mapping[str, Any], topic: str) -> dict[str, Fact]:
    """Return the facts of one data file by id, each checked.

    Parameters
    ----------
    entries : mapping
        The file's tables by id; a table with ``parts`` gives one fact a part.
    topic : str
        The first word that each id must have.

    Raises
    ------
    ValueError
        If an id is not of this topic or comes twice, a field is not known, the source is not
        in the list, or the grade, the locator or the figure itself is missing.
    """
    return {id: _checked(id, entry) for id, entry in _unfolded(entries, topic).items()}


@cache
def _entries(topic: str) -> dict[str, dict[str, Any]]:
    """Return what the data files have of a topic, by the ids of its facts."""
    entries = dict(table(topic))
    for file in BLOCK_FILES:
        for block in table(file).values():
            for id, entry in block.get("facts", {}).items():
                if id in entries:
                    raise ValueError(f"{id}: the id comes twice")
                if id.partition(".")[0] == topic:
                    entries[id] = entry
    return _unfolded(entries, topic)


def _unfolded(entries: Mapping[str, Any], topic: str) -> dict[str, dict[str, Any]]:
    """Return one entry a fact, by its id."""
    found: dict[str, dict[str, Any]] = {}
    for id, entry in _parts(entries):
        if not id.startswith(f"{topic}."):
            raise ValueError(f"{id}: the id must begin with {topic!r}, the name of its file")
        if id in found:
            raise ValueError(f"{id}: the id comes twice")
        found[id] = entry
    return found


def _parts(entries: Mapping[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    for id, entry in entries.items():
        if "parts" not in entry:
            yield id, entry
            continue
        shared = {name: value for name, value in entry.items() if name != "parts"}
        for subfact in entry["parts"]:
            yield f"{id}.{subfact['id']}", shared | {k: v for k, v in subfact.items() if k != "id"}


_FIELDS = {*field_names(Fact)} - {"id"}


def _checked(id: str, entry: dict[str, Any]) -> Fact:
    unknown = set(entry) - _FIELDS
    if unknown:
        raise ValueError(f"{id}: unknown field {', '.join(sorted(unknown))}")
    numbers: dict[str, Any] = {
        end: float(entry[end]) for end in ("value", "low", "high") if end in entry
    }
    made = Fact(id=id, **(entry | numbers))
    faults = [words for fault, words in _faults(made, tuple(numbers.values())) if fault]
    if faults:
        raise ValueError(f"{id}: {'; '.join(faults)}")
    return made


def _faults(made: Fact, numbers: Sequence[float]) -> Iterator[tuple[bool, str]]:
    yield not numbers and not made.text, "neither a number nor a text"
    yield not all(math.isfinite(number) for number in numbers), "a number is not finite"
    yield bool(numbers) and not made.unit, "a number without a unit"
    yield made.source not in sources(), f"unknown source {made.source!r}"
    yield not made.locator, "no locator"
    yield made.grade not in GRADES, f"no grade, or an unknown one: {made.grade!r}"
    yield (made.grade == "J") != (made.source == PROJECT), "a judgement is the project's, and only"
    yield made.grade == "D" and not made.caution, "a derived figure must state its sum"
    yield (made.checked_by == "") != (made.checked_on is None), "checked by whom and when: both"
    if made.low is not None and made.high is not None:
        middle = made.low if made.value is None else made.value
        yield not made.low <= middle <= made.high, "low, value and high are not in order"


def _named(key: str, known: Mapping[str, _Item], what: str) -> _Item:
    if key in known:
        return known[key]
    import difflib

    near = difflib.get_close_matches(key, known, n=3)
    hint = f"; near: {', '.join(near)}" if near else ""
    raise KeyError(f"no {what} is called {key!r}{hint}")


def _number(value: float | None) -> str | None:
    return None if value is None else f"{value:.12g}".replace("-", "−")
