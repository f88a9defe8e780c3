"""What must hold of every output of a cell, by code and never by wording.

Which rules fit is worked out here anew, from the cell and the table of the safety page, and laid
beside what the outputs say: the urgent first, nothing reassuring beside it, no routine date where
everything is withheld, and the window that of the row which ends soonest.
"""

from __future__ import annotations

import html
import re
from collections.abc import Iterator
from typing import Any

import numpy as np

from bpvet.answers.room.result import RoomAnswer
from bpvet.answers.trend.result import TrendAnswer
from bpvet.figures.pictures import TrendPicture
from reference_checks.grid.cells import LATEST, Cell

#: Statements that read as if all were well.
REASSURING = ("target.at", "target.below", "share", "surprise.none", "slope.no_rise")
_WITHHELD = {
    "sign_current": "all",
    "low": "all",
    "low_on_treatment": "verdicts",
    "severe": "verdicts",
    "sign_unread": "target",
    "sign_open": "",
}
#: Days to the end of the window of each row that wins over the others.
_WINDOWS = {"sign_current": 3, "low": 1}
_DAY = np.timedelta64(1, "D")


def rules(cell: Cell, p_below_floor: float | None = None) -> list[str]:
    """The urgent rules of a cell, by the table of the safety page.

    Parameters
    ----------
    cell : Cell
    p_below_floor : float or None
        Probability that the usual pressure lies below the floor, where one is known.
    """
    number, on = cell.number, cell.on_drug
    found = []
    signs = cell.sign in ("eye current", "brain", "after")
    if signs:
        found.append("sign_current")
    if number is None or number < 90 or (number < 120 and on and cell.sign == "weak"):
        found.append("low")
    elif on and (number < 100 or (number < 120 and (p_below_floor or 0) >= 0.8)):
        found.append("low_on_treatment")
    if number is not None and number >= 180 and not signs:
        found.append("severe")
    beside = number is not None and (number >= 160 or (number < 120 and on))
    if cell.sign == "unread" and beside:
        found.append("sign_unread")
    if cell.sign == "eye open":
        found.append("sign_open")
    return found


def faults(
    cell: Cell,
    answer: TrendAnswer,
    picture: TrendPicture,
    letter: str,
    terminal: str,
    room: RoomAnswer,
) -> Iterator[str]:
    """Yield what is wrong with the outputs of a cell.

    Parameters
    ----------
    cell : Cell
    answer : TrendAnswer
    picture : TrendPicture
        With the answer's urgent lines.
    letter : str
        The letter's page.
    terminal : str
        What ``bpvet trend`` prints.
    room : RoomAnswer
        Of the latest session alone.
    """
    wanted = rules(cell, answer.target.p_below_floor)
    yield from _answer(cell, answer, wanted)
    yield from _json(answer.to_dict(), wanted)
    # Some outputs begin each with the word, some set it over them as a heading.
    urgent = [one.text for one in answer.urgent]
    usual = next(one.text for one in answer.statements if one.key == "usual")
    ends = {
        "caption": (picture.caption, None),
        "alternative text": (picture.alt_text, None),
        "terminal": (terminal, usual),
        "letter": (_text_of(letter), usual),
    }
    for name, (text, after) in ends.items():
        yield from _first(name, text, urgent, after)
    if len(picture.urgent) != len(wanted):
        yield "the figure's mark does not hold every urgent line"
    yield from _room(cell, room)


def _answer(cell: Cell, answer: TrendAnswer, wanted: list[str]) -> Iterator[str]:
    told = [one.rule for one in answer.urgent]
    if told != wanted:
        yield f"urgent is {told}, not {wanted}"
    keys = [one.key for one in answer.statements]
    if keys[: len(told)] != [f"urgent.{rule}" for rule in told]:
        yield "the urgent lines do not come first"
    held = {_WITHHELD[rule] for rule in wanted}
    if held & {"all", "verdicts"}:
        yield from (f"{key} stands beside {wanted}" for key in REASSURING if key in keys)
        yield from _verdicts(answer)
        if "category" in keys and ("all" in held or "low_on_treatment" in wanted):
            yield "a category stands beside what withholds it"
    if "target" in held and {"target.at", "target.below", "share"} & set(keys):
        yield "at target, beside a sign that is not read"
    if wanted and "next_session" in keys:
        yield "a next session is foretold beside what is urgent"
    yield from _when(cell, answer, wanted, held)
    if cell.sign == "unread" and "sign_unread" not in wanted and "signs.unread" not in keys:
        yield "an unread sign is silent"
    if cell.sign == "note" and "signs.note" not in keys:
        yield "a note is silent"
    if answer.next_session.lower < 0:
        yield "a forecast goes below 0"


def _verdicts(answer: TrendAnswer) -> Iterator[str]:
    verdicts: dict[str, Any] = {
        "target": answer.target.verdict,
        "slope": answer.slope.verdict,
        "surprise": answer.surprise.words,
    }
    verdicts |= {one.drug: one.verdict for one in answer.treatments}
    yield from (f"a verdict of {name} is given" for name, said in verdicts.items() if said)


def _when(cell: Cell, answer: TrendAnswer, wanted: list[str], held: set[str]) -> Iterator[str]:
    again = answer.recheck
    asked = cell.sign == "note" or (cell.sign == "weak" and cell.age > 2)
    if asked and "all" not in held:
        # What a note asks, or an entry that nobody answered, is answered first: till then no date
        # stands that is two days off.
        if again.latest is not None and again.latest - cell.as_of > 2 * _DAY:
            yield f"a sign is asked about, and {again.latest} is given beside it"
        if again.latest is None and not again.read_first:
            yield "nothing says why no window is given"
        if again.latest is None:
            return
    if again.latest is None or again.state is None:
        yield "no window is given"
        return
    ages = {one.rule: one.on for one in answer.urgent}
    if "all" in held:
        ends = {
            rule: max(LATEST, ages[rule]) + days * _DAY
            for rule, days in _WINDOWS.items()
            if rule in ages
        }
        first = min(ends.values(), default=None)
        if again.state not in ends or again.latest != first:
            yield f"the window is that of {again.row} to {again.latest}, not to {first}"
        if answer.next_session.date > max(again.latest, cell.as_of):
            yield "a routine date stands beside what withholds it"
        if again.by != again.latest or again.guideline_by != again.latest:
            yield "an older key holds another date"
    if "severe" in wanted and again.latest > LATEST + 14 * _DAY:
        yield "180 is looked at later than in two weeks"
    if "sign_open" in wanted and again.latest > LATEST + 28 * _DAY:
        yield "an open sign waits longer than four weeks"
    if again.overdue_days != max(0, int((cell.as_of - again.latest) / _DAY)):
        yield "what is overdue is not said"


def _json(held: dict[str, Any], wanted: list[str]) -> Iterator[str]:
    if [one["rule"] for one in held["urgent"]] != wanted:
        yield "the JSON tells other rules"
    if [one.split(":")[0] for one in held["sentences"][: len(wanted)]] != ["Urgent"] * len(wanted):
        yield "the JSON's sentences do not begin with what is urgent"
    if any(one["age_days"] < 0 for one in held["urgent"]):
        yield "an urgent line is dated after the date spoken for"


def _first(name: str, text: str, urgent: list[str], after: str | None) -> Iterator[str]:
    plain = _plain(text)
    places = [plain.find(_plain(one)) for one in urgent]
    if -1 in places:
        yield f"the {name} leaves out an urgent line"
        return
    if places != sorted(places):
        yield f"the {name} tells urgent lines in another order"
    if urgent and after is None and places[0] > len("Urgent:"):
        yield f"the {name} does not begin with what is urgent"
    if urgent and after is not None and 0 <= plain.find(_plain(after)) < places[-1]:
        yield f"the {name} tells the usual pressure before what is urgent"


def _room(cell: Cell, room: RoomAnswer) -> Iterator[str]:
    """The room knows neither signs nor drugs."""
    number = cell.number
    wanted = ["low"] if number is None or number < 90 else ["severe"] if number >= 180 else []
    if [one.rule for one in room.urgent] != wanted:
        yield f"in the room {[one.rule for one in room.urgent]} is urgent, not {wanted}"
    if (number is None or number < 120) and room.range.name is not None:
        yield "in the room a category is named below the floor"


def _plain(text: str) -> str:
    return re.sub(r"\s+", "", text)


def _text_of(page: str) -> str:
    """The words of a page, without its head and its drawings."""
    body = page[page.find("<body") :]
    return html.unescape(re.sub(r"<[^>]*>", "", body))
