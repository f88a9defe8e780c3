"""The sheet for the room in words: how it was measured last time, the protocol in five lines."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from bpvet.answers.sheet.sheet import Measured, SheetAnswer
from bpvet.facts.protocol import DROP_FIRST_FROM
from bpvet.facts.sources import Fact, credit, fact
from bpvet.facts.species import cuff_fact
from bpvet.facts.words import METHOD_WORDS
from bpvet.frozen import dataclass
from bpvet.printing import number
from bpvet.wording.en.phrases import counted, day, listed

#: Said where the records hold nothing.
NOT_RECORDED = "not recorded"
#: Boxes for readings.
BOXES = 7
EYES = (
    "looked at, normal",
    "blind, bumps into things",
    "wide or unequal pupils",
    "blood in the eye",
    "retina off or bleeding",
    "not looked at",
)
NERVES = (
    "looked at, normal",
    "fits",
    "confused, circling",
    "head tilt",
    "wobbly",
    "weak, collapsed",
    "not looked at",
)
DOSES = ("none missed", "missed, how many", "not known")
HOW_TO_WRITE = (
    f"The first is left out of the mean where {DROP_FIRST_FROM} or more are taken: write it down "
    "all the same. Write “no sound” where none is heard, and > or < at the end of the gauge. Cross "
    "out nothing: say below the box why a reading should not count."
)
#: Why nothing of what is expected is on the sheet.
BACK = (
    "What is expected is kept back on purpose, and so are the numbers in notes: look when the "
    "readings are down."
)


@dataclass(frozen=True)
class SheetRow:
    """A row of the sheet: what is asked, how it was last time, and what to tick or write today."""

    what: str
    last: str
    today: tuple[str, ...]
    unit: str = ""


def last_head(answer: SheetAnswer) -> str:
    """Return what stands above the column of last time."""
    if not answer.last:
        return "Last time: never measured here"
    at_home = " at home" if all(session.setting == "home" for session in answer.last) else ""
    return f"Last time{at_home}: {day(answer.last[0].date)}"


def sheet_rows(answer: SheetAnswer) -> tuple[SheetRow, ...]:
    """Return the rows of the sheet, in the order in which a visit meets them."""

    def last(words: Callable[[Measured], str]) -> str:
        parts = dict.fromkeys(filter(None, map(words, answer.last)))
        return "; ".join(parts) or NOT_RECORDED

    return (
        SheetRow("Who measures", last(lambda session: session.operator), ()),
        SheetRow("Time to settle", NOT_RECORDED, (), "minutes"),
        SheetRow("Demeanour", last(lambda session: session.demeanour), ("calm", "tense", "asleep")),
        SheetRow("Where, state", last(_where), ("clinic", "calming drug given")),
        SheetRow("Method", last(_method), ("Doppler", "oscillometric")),
        SheetRow("Order", _order(answer.last), ()),
        SheetRow("Cuff and limb", last(_cuff), ("cuff", "limb"), "cm"),
        SheetRow("Site and side", last(_site), ()),
        SheetRow("Posture", last(lambda session: session.posture), ()),
        SheetRow("What worked, notes", _notes(answer.last), ()),
    )


def _where(session: Measured) -> str:
    return ", ".join(filter(None, (session.setting, session.state)))


def _method(session: Measured) -> str:
    by = METHOD_WORDS[session.method]
    return f"{by} ({session.instrument})" if session.instrument else by


def _site(session: Measured) -> str:
    return " ".join(filter(None, (session.site, session.side)))


def _cuff(session: Measured) -> str:
    width, limb = session.cuff_width_cm, session.limb_circumference_cm
    if width is None and limb is None:
        return ""
    cuff = "width not recorded" if width is None else f"cuff {width:g} cm wide"
    round_ = "limb not measured" if limb is None else f"limb {limb:g} cm round"
    return f"{cuff}, {round_}"


def _order(last: Sequence[Measured]) -> str:
    if not last:
        return NOT_RECORDED
    parts = []
    for session in last:
        at = f" from {session.time}" if session.time else ""
        parts.append(f"{METHOD_WORDS[session.method]}, {counted(session.n_taken, 'reading')}{at}")
    return ", then ".join(parts)


def _notes(last: Sequence[Measured]) -> str:
    return (
        "; ".join(dict.fromkeys(note for session in last for note in session.notes)) or NOT_RECORDED
    )


def protocol_lines(species: str) -> tuple[str, ...]:
    """Return the protocol in five lines, from the facts of measuring.

    Parameters
    ----------
    species : str
        ``cat``, ``dog``, or anything else.
    """
    wait, cuff = (
        fact("protocol.acclimatise_min"),
        fact(cuff_fact(species)),
    )
    enough, spread = fact("protocol.n.enough"), fact("protocol.consistency")
    low, high = (100 * (end or 0) for end in (cuff.low, cuff.high))
    return (
        f"{_sentence('protocol.room')}; {wait.low:g} to {wait.high:g} minutes in the room before "
        "the first inflation.",
        f"{_sentence('protocol.position')}; cuff {number(low, 0)} to {number(high, 0)} % as wide "
        "as the limb is round.",
        f"{_sentence('protocol.operator')}. {_sentence('protocol.calm')}.",
        f"{enough.low:g} to {enough.high:g} readings in a row that vary by less than "
        f"{spread.value:g} %; {fact('protocol.plateau').text}.",
        f"{_sentence('protocol.repeat')}. Write down every value, and why one is left out.",
    )


#: The facts that the protocol's lines are made of, besides the cuff's.
_PROTOCOL = (
    *("protocol.room", "protocol.acclimatise_min", "protocol.position", "protocol.operator"),
    *("protocol.calm", "protocol.n.enough", "protocol.consistency", "protocol.plateau"),
    *("protocol.repeat", "protocol.record"),
)


def protocol_credit(species: str) -> str:
    """Return whose protocol it is, each source once."""
    found: list[Fact] = [fact(fact_id) for fact_id in (*_PROTOCOL, cuff_fact(species))]
    names: dict[str, str] = {}
    for figure in found:
        # A source with one figure from memory bears the mark.
        if figure.source not in names or figure.remembered:
            names[figure.source] = credit(figure)
    return f"Protocol: {listed(list(names.values()))}."


def _sentence(id: str) -> str:
    text = fact(id).text
    return text[:1].upper() + text[1:]
