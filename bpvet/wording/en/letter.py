"""What a letter tells of an answer, by key: what is urgent first, nothing shortened or left out."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from bpvet.answers.statement import Statement
from bpvet.answers.trend.result import TrendAnswer
from bpvet.answers.trend.unseen import UnseenAnswer
from bpvet.answers.trend.usual import SessionAnswer
from bpvet.facts.words import CONDITION_WORDS, TAKEN_BY
from bpvet.frozen import dataclass, field
from bpvet.printing import number
from bpvet.visits.signs.remarks import GROUPS as REMARKS
from bpvet.visits.signs.states import SignState
from bpvet.wording.en.phrases import counted, day, value
from bpvet.wording.en.trend.control import target_question
from bpvet.wording.en.trend.recorded import asked_where

#: Topics, and single keys, that a colleague needs first, in their order.
FIRST = (
    "urgent",
    "unmeasured",
    "no_systolic",
    "later",
    "backdated",
    "unit",
    "lookalikes",
    "set_aside",
    "asked",
    "drugs.pregnancy",
    "species",
    "usual",
    "target",
    "below_floor",
    "recheck",
    "signs",
    "kidney",
    "drugs.unlisted",
    "drugs.raising",
)
#: What a letter tells behind them; what is in neither list comes last.
BEHIND = (
    "drug",
    "effect",
    "since_change",
    "context",
    "drugs",
    "category",
    "surprise",
    "slope",
    "share",
    "companions",
    "next_session",
    "others",
)
_ORDER = {name: rank for rank, name in enumerate((*FIRST, *BEHIND))}

#: So many statements stand on the first page besides those that have a place of their own there.
SHORT = 3
#: Which these are, by key or topic, in their order.
_STANDS_OUT = (
    *(
        "unmeasured",
        "no_systolic",
        "later",
        "backdated",
        "unit",
        "lookalikes",
        "set_aside",
        "asked",
        "drugs.pregnancy",
        "species",
        "below_floor",
        "context.missed",
        "drugs.raising",
    ),
    *("drugs.unlisted", "context.swings", "drug", "since_change", "slope.rising", "surprise"),
    *("slope", "context", "others"),
)
#: Statements that the letter's own list of signs says in full.
_LISTED = (*("signs.present", "signs.longstanding", "signs.unclear", "signs.unread", "signs.note"),)
#: What may be a sign, and stands with those that are not clear.
_UNREAD = "unmeasured.line"
_OWN_PLACE = ("urgent", "usual", "target", "recheck", "kidney")


@dataclass(frozen=True)
class LetterWords:
    """The statements of a letter, each once.

    Parameters
    ----------
    urgent, alarms : tuple of str
        What is urgent; and the same as it stands under its heading.
    summary : tuple of (str, str)
        Newest value, usual, target, when again: a label and the words.
    asked : tuple of str
        Signs and notes that are not clear or not understood, and lines that cannot be read.
    kidney, short, behind : tuple of str
        Of the kidneys; those that stand out, at most `SHORT`; and all others.
    """

    urgent: tuple[str, ...]
    alarms: tuple[str, ...]
    summary: tuple[tuple[str, str], ...]
    asked: tuple[str, ...] = field(default=())
    kidney: tuple[str, ...] = field(default=())
    short: tuple[str, ...] = field(default=())
    behind: tuple[str, ...] = field(default=())


def letter_statements(answer: TrendAnswer | UnseenAnswer) -> tuple[Statement, ...]:
    """Return every statement of an answer in the order of its weight in a letter.

    Parameters
    ----------
    answer : TrendAnswer or UnseenAnswer
    """
    return tuple(sorted(answer.statements, key=_letter_order))


def _letter_order(statement: Statement) -> int:
    return _ORDER.get(statement.key, _ORDER.get(statement.topic, len(_ORDER)))


def letter_words(answer: TrendAnswer | UnseenAnswer) -> LetterWords:
    """Return the statements of a letter by where they stand in it.

    Parameters
    ----------
    answer : TrendAnswer or UnseenAnswer
    """
    statements = [
        statement for statement in letter_statements(answer) if statement.key not in _LISTED
    ]
    rest = [
        statement
        for statement in statements
        if statement.topic not in _OWN_PLACE and statement.key != _UNREAD
    ]
    ended = _ended(answer)
    able = (statement for statement in rest if _stands_out(statement) is not None)
    short = sorted(
        (statement for statement in able if not ended.intersection(statement.tells)), key=_rank
    )[:SHORT]
    return LetterWords(
        urgent=tuple(statement.text for statement in statements if statement.topic == "urgent"),
        alarms=tuple(
            statement.short or statement.text
            for statement in statements
            if statement.topic == "urgent"
        ),
        summary=tuple(_summary(answer, statements)),
        asked=(
            *asked_lines(answer.signs),
            *(letter_text(statement) for statement in statements if statement.key == _UNREAD),
        ),
        kidney=tuple(
            letter_text(statement) for statement in statements if statement.topic == "kidney"
        ),
        short=tuple(letter_text(statement) for statement in short),
        behind=tuple(letter_text(statement) for statement in rest if statement not in short),
    )


def _ended(answer: TrendAnswer | UnseenAnswer) -> set[tuple[str, str]]:
    """Return drug and start of the treatments that have ended, as their statements tell them."""
    if not isinstance(answer, TrendAnswer):
        return set()
    ended = (spell for spell in answer.treatments if not np.isnat(spell.stopped_on))
    return {(spell.drug, str(spell.started_on)) for spell in ended}


def _stands_out(statement: Statement) -> int | None:
    for name in (statement.key, statement.topic):
        if name in _STANDS_OUT:
            return _STANDS_OUT.index(name)
    return None


def _rank(statement: Statement) -> int:
    rank = _stands_out(statement)
    return len(_STANDS_OUT) if rank is None else rank


def letter_text(statement: Statement) -> str:
    """Return a statement without what it asks of the keeper of the records.

    Parameters
    ----------
    statement : Statement
    """
    return statement.outside or statement.text


def _summary(
    answer: TrendAnswer | UnseenAnswer, statements: list[Statement]
) -> Iterator[tuple[str, str]]:
    if isinstance(answer, TrendAnswer):
        yield "Newest", newest_words(answer)
    labels = {"usual": "Usual", "recheck": "When again"}
    if isinstance(answer, TrendAnswer):
        labels = {"usual": "Usual", "target": target_question(answer), "recheck": "When again"}
    for topic, label in labels.items():
        text = " ".join(
            letter_text(statement) for statement in statements if statement.topic == topic
        )
        if text:
            yield label, text


def newest_words(answer: TrendAnswer) -> str:
    """Return the newest session of the trend: its mean, its date and age, how it was taken.

    Parameters
    ----------
    answer : TrendAnswer
        Of a pressure.
    """
    last = answer.sessions[-1]
    read = "no number" if last.mean is None else f"{last.bound} {value(last.mean, answer)}".strip()
    age = age_words(last.date, answer.as_of)
    flags = f" Noted: {'; '.join(last.flags)}." if last.flags else ""
    return f"{read} on {day(last.date)}{age}: {_taken(last)}.{flags}"


def _taken(session: SessionAnswer) -> str:
    what = "one reading" if session.n_used == 1 else f"mean of {counted(session.n_used, 'reading')}"
    spread = "" if session.sd is None else f" (SD {number(session.sd, 0)})"
    where = CONDITION_WORDS[session.condition]
    return f"{what}{spread} by {TAKEN_BY[session.method]}" + (f", {where}" if where else "")


def age_words(date: np.datetime64, as_of: np.datetime64) -> str:
    """Return how long ago a date was, to stand behind it; blank on the day itself.

    Examples
    --------
    >>> age_words(np.datetime64("2026-03-01"), np.datetime64("2026-03-15"))
    ' (14 days ago)'
    """
    days = int((as_of - date) / np.timedelta64(1, "D"))
    return f" ({counted(days, 'day')} ago)" if days else ""


def asked_lines(signs: tuple[SignState, ...]) -> tuple[str, ...]:
    """Return each sign or note that is not clear, or not understood, in a sentence.

    Parameters
    ----------
    signs : tuple of SignState
        As an answer holds them.
    """
    lines = []
    for sign in signs:
        if sign.group in REMARKS:
            continue
        on = "" if np.isnat(sign.seen_on) else f" of {day(sign.seen_on)}"
        if sign.asked_only and sign.reading in ("present", "unclear"):
            lines.append(
                f"{asked_where(sign)} “{sign.text}”: it is not entered as a sign, and not used "
                "here."
            )
        elif not sign.asked_only and sign.reading == "unclear":
            lines.append(f"“{sign.text}”, an entry{on}: not clear whether it is present.")
        elif not sign.asked_only and sign.reading == "unread":
            lines.append(
                f"“{sign.text}”, an entry{on}: not understood by the program that made this "
                "letter, and not used in it; please read it."
            )
    return tuple(lines)
