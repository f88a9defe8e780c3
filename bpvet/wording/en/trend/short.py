"""The answer in five lines: urgent, the number, the last change of a drug, kidneys, when again."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from bpvet.answers.statement import Statement
from bpvet.answers.trend.drugs import CourseAnswer
from bpvet.answers.trend.result import TrendAnswer
from bpvet.answers.trend.unseen import UnseenAnswer
from bpvet.wording.en.phrases import day, interval, value
from bpvet.wording.en.safety.urgent import urgent_statements
from bpvet.wording.en.trend.control import recheck_statement, target_clause
from bpvet.wording.en.trend.recorded import (
    named_in_urgent,
    remark_statements,
    sign_statements,
)
from bpvet.wording.en.trend.uncounted import (
    but_for_drugs,
    but_for_values,
    uncounted_statements,
    unread_statements,
)
from bpvet.wording.en.trend.unseen import no_usual

_BOUNDS = {"at least": "at least ", "at most": "at most "}


def short_statements(answer: TrendAnswer | UnseenAnswer) -> tuple[Statement, ...]:
    """Return what is told in five lines; the first stands only where there is anything for it.

    A sign that is present, unread or unclear is in the first line, urgent or not: nothing of it
    is left to another command. Everything else is one command away.

    Parameters
    ----------
    answer : TrendAnswer or UnseenAnswer
    """
    found = [*_first(answer), *_number(answer), *_change(answer), *_kidneys(answer)]
    again = recheck_statement(answer.recheck, answer.as_of)
    return (*found, Statement("short.recheck", again.text))


def _first(answer: TrendAnswer | UnseenAnswer) -> Iterator[Statement]:
    texts = [line.text for line in urgent_statements(answer.urgent)]
    signs = sign_statements(answer.signs, named_in_urgent(answer.urgent))
    uncounted = (
        *uncounted_statements(answer.recorded.uncounted),
        *remark_statements(answer.signs),
        *unread_statements(answer.recorded),
    )
    texts += [line.text for line in (*uncounted, *signs)]
    if texts:
        yield Statement("short.urgent" if answer.urgent else "short.signs", " ".join(texts))


def _number(answer: TrendAnswer | UnseenAnswer) -> Iterator[Statement]:
    if isinstance(answer, UnseenAnswer):
        yield Statement("short.number", no_usual(answer))
        return
    last, usual = answer.sessions[-1], answer.latest
    read = "no number" if last.mean is None else value(last.mean, answer)
    ends = interval(answer.level, usual.lower, usual.upper, answer.decimals)
    text = f"{_BOUNDS.get(last.bound, '')}{read} on {day(last.date)}; usual then "
    # Where most readings lie beyond the gauge one end is known, and no estimate is.
    known = f"{value(usual.estimate, answer)} ({ends})"
    text += f"{usual.only} {value(usual.end, answer)}" if usual.only else known
    yield Statement("short.number", f"{text}{target_clause(answer)}.")


def _change(answer: TrendAnswer | UnseenAnswer) -> Iterator[Statement]:
    since = [statement for statement in answer.statements if statement.key == "since_change"]
    if since:
        yield Statement("short.change", since[0].text)
        return
    courses: Sequence[CourseAnswer] = answer.courses if isinstance(answer, TrendAnswer) else ()
    changed = [
        (date, course.drug)
        for course in courses
        for date in (course.started_on, course.stopped_on)
        if not np.isnat(date) and date <= answer.as_of
    ]
    if changed:
        date, drug = max(changed)
        text = f"The last change of a pressure drug is of {day(date)} ({drug}); before and after "
        yield Statement("short.change", f"{text}cannot be compared yet.")
    elif isinstance(answer, TrendAnswer):
        apart = but_for_drugs(answer.recorded)
        yield Statement("short.change", f"No change of a blood-pressure drug is on record{apart}.")


def _kidneys(answer: TrendAnswer | UnseenAnswer) -> Iterator[Statement]:
    statements = answer.kidney_statements
    if not statements:
        kidney = answer.kidney
        text = f"No creatinine or SDMA is on record{but_for_values(answer.recorded)}."
        newest = (
            [marker.newest.date for marker in kidney.markers if marker.newest] if kidney else []
        )
        if kidney is not None and newest:
            why = f": {kidney.withheld}" if kidney.withheld else ""
            text = f"The newest kidney value is of {day(max(newest))}{why}."
        yield Statement("short.kidney", text)
        return
    more = (
        f" And {len(statements) - 1} more of the kidneys: bpvet trend."
        if len(statements) > 1
        else ""
    )
    yield Statement("short.kidney", f"{statements[0].text}{more}")
