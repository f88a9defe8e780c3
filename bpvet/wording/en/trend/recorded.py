"""What is recorded beside the series, in sentences: signs, other drugs, and what changed.

A sign that is present, unread or unclear is never silent, and neither is a drug that is not known.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from bpvet.answers.statement import Statement
from bpvet.answers.trend.recorded import DrugRow, HomeClinic, RecordedAnswer
from bpvet.answers.trend.result import TrendAnswer
from bpvet.answers.trend.safety import UrgentAnswer
from bpvet.facts.categories import guideline
from bpvet.facts.sources import credit
from bpvet.facts.species import judged, plural_of
from bpvet.facts.words import CONDITION_WORDS, SPECIES
from bpvet.printing import number
from bpvet.visits.context import ContextChange
from bpvet.visits.signs.remarks import GROUPS as REMARKS
from bpvet.visits.signs.remarks import IN_ANIMALS, IN_DRUG, IN_ENTRY, LEFT_AHEAD
from bpvet.visits.signs.signs import IN_CELL, SET_ASIDE
from bpvet.visits.signs.states import SignState
from bpvet.visits.treatments.missed import MissedDoses
from bpvet.visits.urgency import SIGN_RULES, UrgentRule
from bpvet.wording.en.phrases import CONTEXTS, capital, counted, day, drugs_named, listed

_CHANGED = {
    "start": "{drug} began",
    "stop": "{drug} was stopped",
    "dose": "the dose of {drug} changed",
    "product": "the product of {drug} changed",
}
_WHAT = {
    "site": "The site of the cuff",
    "side": "The side",
    "cuff_width_cm": "The cuff's width",
    "posture": "The posture",
    "operator": "The operator",
    "instrument": "The instrument",
}
#: What is told of a remark to who does not keep the records, and what is asked of who does.
_REMARKED = {
    "left": (
        "no date of leaving is recorded, and everything here speaks of the animal as living",
        "If the animal has died or left, write left_on among the animals: everything here speaks "
        "of it as living.",
    ),
    "left_ahead": (
        "that day has not come, and everything here speaks of the animal as living",
        "That day has not come: until it has, everything here speaks of the animal as living. If "
        "the year is a slip, correct left_on among the animals.",
    ),
    "pressure": (
        "no reading of that day has that number, and nothing here counts it",
        "Is that the pressure? No reading of that day has that number, and nothing told here "
        "counts it. If it is, correct the reading, or enter it as one.",
    ),
    "doubt": (
        "that reading is counted as it is recorded",
        "That reading is counted as it is recorded. If it should not be, exclude it with that "
        "reason, or write the state; if more was read, enter it.",
    ),
    "drug": (
        "what that says beside a drug's name is not used here",
        "Write its generic name alone, and if it ended, changed or was not given, enter that: "
        "nothing told here knows of it.",
    ),
    "treatment": (
        "no treatment told here knows of it",
        "If a treatment began, changed or ended, or was not given, enter it among the treatments: "
        "nothing told here knows of it.",
    ),
}
_ALARMED = (UrgentRule.LOW, *SIGN_RULES)


def signs(answer: TrendAnswer) -> Iterator[Statement]:
    """Signs that no urgent line has named: present, longstanding, unread, unclear, in notes."""
    yield from sign_statements(answer.signs, named_in_urgent(answer.urgent))


def named_in_urgent(urgent: tuple[UrgentAnswer, ...]) -> set[str]:
    """Return the signs, as written, that an urgent line has named."""
    return {text for alarm in urgent if alarm.rule in _ALARMED for text in alarm.signs}


def sign_statements(found: tuple[SignState, ...], named: set[str]) -> Iterator[Statement]:
    """Yield what is told of signs, apart from those that an urgent line has named.

    Parameters
    ----------
    found : tuple of SignState
    named : set of str
        Signs, as written, that an urgent line has named.
    """
    # Of one text, an urgent line has named the row that is present, and not a newer unclear one.
    alarmed = {sign.text for sign in found if sign.reading == "present"} & named
    rest = [
        sign
        for sign in found
        if (sign.text not in named or (sign.text in alarmed and sign.reading == "unclear"))
        and sign.group not in REMARKS
    ]
    entered = [sign for sign in rest if not sign.asked_only]
    present = [sign for sign in entered if sign.reading == "present"]
    longstanding = [sign for sign in present if sign.longstanding]
    recorded = [sign for sign in present if not sign.longstanding and sign.group != "other"]
    if recorded:
        yield Statement(
            "signs.present",
            f"Also recorded as present: {_listed(recorded)}.",
            tells=_rows(recorded),
        )
    if longstanding:
        yield Statement(
            "signs.longstanding",
            f"Longstanding, as the vet has judged it: {_listed(longstanding)}.",
            tells=_rows(longstanding),
        )
    unclear = [sign for sign in entered if sign.reading == "unclear"]
    if unclear:
        yield Statement(
            "signs.unclear",
            f"Not clear whether present: {_listed(unclear)}. Say so with a status in the "
            "observations (present, absent, resolved, longstanding).",
            tells=_rows(unclear),
        )
    unread = [sign for sign in entered if sign.reading == "unread"]
    if unread:
        yield Statement(
            "signs.unread",
            f"Not understood here, and not used: {_listed(unread)}. Please read it.",
            tells=_rows(unread),
        )
    for sign in (
        sign for sign in rest if sign.asked_only and sign.reading in ("present", "unclear")
    ):
        yield Statement(
            "signs.note",
            f"{asked_where(sign)} “{sign.text}”. If it is a sign, enter it among the observations; "
            "it is not used here.",
            tells=_rows([sign]),
        )


def remark_statements(found: tuple[SignState, ...]) -> Iterator[Statement]:
    """Yield what is asked of an animal's end and of its treatments, which decides how all is read.

    Parameters
    ----------
    found : tuple of SignState
    """
    for sign in (sign for sign in found if sign.group in REMARKS):
        quoted = f"{asked_where(sign)} “{sign.text}”"
        of_table = {IN_DRUG: "drug", LEFT_AHEAD: "left_ahead"}
        outside, asked = _REMARKED[of_table.get(sign.table, sign.group)]
        yield Statement(
            f"asked.{sign.group}",
            f"{quoted}. {asked}",
            outside=f"{quoted}: {outside}.",
            tells=_rows([sign]),
        )


def asking_statements(asks: tuple[SignState, ...]) -> Iterator[Statement]:
    """Yield what is asked before anything is planned, a sign that may be there each."""
    for sign in asks:
        yield Statement("signs.note", f"{asked_where(sign)} “{sign.text}”: is that a sign?")


def still_statements(signs: tuple[SignState, ...]) -> Iterator[Statement]:
    """Yield what is asked of signs that were entered as present: whether they are still there."""
    for sign in signs:
        yield Statement(
            "signs.present",
            f"{capital(sign.term)} is recorded as present ({day(sign.seen_on)}), and nothing "
            "entered since answers it: is it still there?",
        )


def unread_sign_statements(unread: tuple[SignState, ...]) -> Iterator[Statement]:
    """Yield which entries are to be read before anything is planned."""
    if unread:
        yield Statement(
            "signs.unread",
            f"Not understood here, and not used: {_listed([*unread])}. Please read it.",
        )


def asked_where(state: SignState) -> str:
    """Return where the words stand that are asked about, as the beginning of a sentence."""
    on = "" if np.isnat(state.seen_on) else f" of {day(state.seen_on)}"
    undated = " without a readable date" if not on else ""
    if state.table == IN_CELL:
        return f"Where a pressure{on} should stand{undated} is written"
    since = f"from {day(state.seen_on)}" if on else ""
    if state.table == IN_DRUG:
        return f"Among the treatments, {since}, stands"
    if state.group == "treatment" and state.table == "treatments note":
        return f"A note of the treatment with {state.term} {since} says"
    if state.table == IN_ANIMALS:
        return "The animal's own row says"
    if state.table == LEFT_AHEAD:
        return "The animal's own row says that it left on"
    if state.table.endswith("column"):
        return f"In a column that is not read{f', a row{on}' if on else ' it'} says"
    if state.table == SET_ASIDE:
        return f"A row of the observations{on}{undated} that is set aside says"
    if state.table.endswith("excluded"):
        return f"The reason for leaving out a reading{on}{undated} is"
    return (
        f"{'An entry' if state.table in ('observations', IN_ENTRY) else 'A note'}{on}{undated} says"
    )


def missed_text(missed: MissedDoses) -> str:
    """Return what is told of doses that were missed or late."""
    when = f"on {day(missed.first)}"
    if missed.last != missed.first:
        when = f"from {day(missed.first)} to {day(missed.last)}"
    what = f"of {missed.drug}" if missed.drug else "of every pressure drug"
    effect = (
        "the effect is taken to fade meanwhile"
        if missed.what == "missed"
        else "this changes nothing"
    )
    return f"Doses {what} were {missed.what} {when}; {effect}."


def _rows(found: list[SignState]) -> tuple[tuple[str, str], ...]:
    return tuple((sign.text, str(sign.seen_on)) for sign in found)


def _listed(found: list[SignState]) -> str:
    return listed([f"“{sign.text}” ({day(sign.seen_on)})" for sign in found])


def context(answer: TrendAnswer) -> Iterator[Statement]:
    """What changes a number beside the animal's pressure: drugs, home, site, cuff, swings."""
    found = answer.recorded
    if found.since_change is not None:
        change = found.since_change
        what = capital(_CHANGED[change.kind].format(drug=change.drug))
        yield Statement(
            "since_change",
            f"{what} on {day(change.date)}: {number(change.before_mean, 0)} before "
            f"({counted(change.before_sessions, 'session')}), {number(change.after_mean, 0)} mmHg "
            f"since ({counted(change.after_sessions, 'session')}); plain means{_left_out(answer)}.",
            tells=drugs_named([change.drug]),
        )
    if found.below_floor is not None:
        chosen = guideline(answer.guideline)
        name = credit(chosen.floor.fact)
        yield Statement(
            "below_floor",
            f"On treatment, and the latest session read {number(found.below_floor, 0)} mmHg, below "
            f"{number(chosen.floor.value, 0)} ({name}). Ask about weakness and appetite.",
        )
    yield from drug_statements(found)
    for text in found.missed:
        yield Statement("context.missed", text)
    for home in found.home_clinic:
        home_text = _home(home)
        joined = "To see both joined, add --bridge conditions."
        yield Statement("context.home", f"{home_text} {joined}", outside=home_text)
    for differing in found.context:
        yield Statement(f"context.{differing.what.partition('_')[0]}", _differs(differing))
    yield from _allowed(answer)
    if found.swings:
        yield Statement(
            "context.swings",
            "These sessions swing far more than visits usually do; their average describes no "
            "state.",
        )


def _left_out(answer: TrendAnswer) -> str:
    count = sum(bool(session.bound) for session in answer.sessions)
    return f"; {counted(count, 'session')} beyond the gauge left out" if count else ""


def _allowed(answer: TrendAnswer) -> Iterator[Statement]:
    """What the trend allows for because the latest session was measured otherwise."""
    for what in dict.fromkeys(change.what for change in answer.recorded_changes):
        mine = [change for change in answer.recorded_changes if change.what == what]
        each = [
            f"“{change.latest}” minus “{change.other}” {number(change.difference.estimate, 0)} "
            f"({number(change.difference.lower, 0)} to {number(change.difference.upper, 0)}; "
            f"{counted(change.sessions, 'session')})"
            for change in mine
        ]
        name = CONTEXTS.get(what, what)
        yield Statement(
            "context.change",
            f"The usual pressure is that measured with the latest {name}, “{mine[0].latest}”. "
            f"Another {name} may read higher or lower: an SD of {number(mine[0].prior[1], 0)} "
            f"{answer.unit} is allowed for, and the difference is estimated as {listed(each)}.",
        )


def drug_statements(found: RecordedAnswer) -> Iterator[Statement]:
    """Yield what is told of drugs that are not modelled."""
    for row in found.unlisted:
        text = (
            f"“{row.drug}” ({_days(row)}) is not on the drug list and is not taken as a pressure "
            "drug"
        )
        yield Statement(
            "drugs.unlisted",
            f"{text}; if it is one, write purpose = blood pressure.",
            outside=f"{text}.",
            tells=drugs_named([row.drug]),
        )
    if found.raising:
        named = listed([f"{row.drug} ({_days(row)})" for row in found.raising])
        yield Statement(
            "drugs.raising",
            f"Known to raise pressure, and recorded: {named}.",
            tells=drugs_named(row.drug for row in found.raising),
        )
    if found.pregnant_renin:
        yield Statement(
            "drugs.pregnancy",
            f"A pregnancy is recorded beside {listed(found.pregnant_renin)}, which acts on the "
            "renin–angiotensin system: tell the vet today.",
            tells=drugs_named(found.pregnant_renin),
        )
    if found.others:
        named = listed([f"{row.drug} ({_days(row)})" for row in found.others])
        yield Statement(
            "drugs.others",
            f"Also recorded, and may move pressure: {named}.",
            tells=drugs_named(row.drug for row in found.others),
        )


def _days(row: DrugRow) -> str:
    if np.isnat(row.stopped_on):
        return f"from {day(row.started_on)}"
    return f"{day(row.started_on)} to {day(row.stopped_on)}"


def _home(home: HomeClinic) -> str:
    gap = home.mean - home.clinic_mean
    side = "lower" if gap < 0 else "higher"
    where = CONDITION_WORDS[home.condition]
    return (
        f"Sessions {where} average {number(home.mean, 0)} mmHg ({home.sessions}), in the clinic "
        f"{number(home.clinic_mean, 0)} ({home.clinic_sessions}): {number(abs(gap), 0)} {side} "
        f"{where}."
    )


def _differs(change: ContextChange) -> str:
    before = listed([f"“{text}”" for text in change.earlier])
    since = f"since {day(change.since)}" if change.divides else f"on {day(change.since)}"
    return (
        f"{_WHAT[change.what]} is recorded as “{change.latest}” {since}, and as {before} before: "
        "such a change can look like a change of pressure."
    )


def species(answer: TrendAnswer) -> Iterator[Statement]:
    """That the species is not known, or that no facts are on file for it."""
    if answer.species_written:
        yield Statement(
            "species.no_facts",
            f"The species is recorded as “{answer.species_written}”: no bounds, targets or "
            "intervals are on file for it. Numbers and signs are shown as recorded.",
        )
    elif not answer.species:
        kinds = listed([plural_of(kind) for kind in SPECIES if judged(kind)])
        text = (
            f"No species that is known here is recorded: bounds are those of {kinds}, the more "
            "careful of the two."
        )
        yield Statement(
            "species.blank",
            f"{text} Write {' or '.join(SPECIES)} in the animals table.",
            outside=text,
        )
