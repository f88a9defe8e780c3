"""What to know now: whose report it is, what cannot wait, and four answers in a glance each."""

from __future__ import annotations

from html import escape
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from bpvet.answers.drug_words import NOT_A_REASON
from bpvet.answers.parts import TreatmentAnswer, TrendAnswer
from bpvet.answers.phrases import capital, chance, cited, counted, day, interval, listed, value
from bpvet.answers.sentences import overdue, recheck_reason, sentence, too_low
from bpvet.facts.words import CONDITION_WORDS, LAB_QUANTITIES, METHOD_WORDS, QUANTITY_WORDS
from bpvet.models.trend import Trend
from bpvet.printing import number
from bpvet.reports.markup import Shown, heading, lines, paragraph, prose, tag

#: From this probability on, "below the floor" stands beside "at target".
_LOW = 0.5
_DAYS_PER_YEAR = 365.25


def now(trend: Trend, answer: TrendAnswer) -> Shown:
    """Return the head of a report: identity, what is urgent, and what to know now.

    Parameters
    ----------
    trend : Trend
    answer : TrendAnswer
        Its answer.
    """
    who, urgent = _identity(trend, answer), [one.text for one in answer.urgent or ()]
    cards = [_usual(answer), *_target(answer), _drugs(trend, answer), *_again(answer)]
    unsaid = "" if answer.urgent is not None else _systolic_only(answer)
    alarm = heading(2, "Urgent") + "".join(paragraph(text) for text in urgent)
    html = "".join(
        (
            tag("header", who.html, class_="who"),
            tag("section", alarm, class_="urgent") if urgent else "",
            heading(2, "What to know now"),
            tag("dl", "".join(card.html for card in cards), class_="now"),
            paragraph(unsaid),
        )
    )
    alarms = (f"Urgent: {text}" for text in urgent)
    return Shown(html, lines(who.text, *alarms, *(card.text for card in cards), unsaid))


class Whose(NamedTuple):
    """Whose a report is, in words; blank where nothing is recorded."""

    name: str
    id: str
    known: str
    clinic: str
    left: str
    basis: str


def whose(trend: Trend, answer: TrendAnswer) -> Whose:
    """Return whose report it is and what it rests on, in words.

    Parameters
    ----------
    trend : Trend
    answer : TrendAnswer
        Its answer.
    """
    animals = trend.records.animals
    row = animals[animals["animal"] == answer.animal].iloc[0]
    species = capital(answer.species) or "Species not recorded"
    kind = (species, answer.breed, _sex(row), _age(row, answer.as_of))
    known = ", ".join(part for part in kind if part)
    basis = (
        f"Records as of {day(answer.as_of)}. {capital(QUANTITY_WORDS[answer.quantity])}"
        f"{_measured(answer)}."
    )
    id = f"Animal {answer.animal}"
    name = answer.name or answer.animal
    return Whose(name, id, f"{known}.", str(row["clinic"]), _left(row), basis)


def _identity(trend: Trend, answer: TrendAnswer) -> Shown:
    name, id, known, clinic, left, basis = whose(trend, answer)
    html = (
        tag("h1", tag("span", escape(name), class_="name"))
        + paragraph(lines(f"{id}. {known}", f"{clinic}." if clinic else "", left), "known")
        + paragraph(basis, "basis")
    )
    return Shown(html, lines(name, id, known, clinic, left, basis))


def _measured(answer: TrendAnswer) -> str:
    """Return how the series was measured."""
    if answer.quantity in LAB_QUANTITIES:
        return f", {METHOD_WORDS[answer.method]}"
    by = "Doppler" if answer.method == "doppler" else "the oscillometric method"
    return f" by {by}, {CONDITION_WORDS[answer.condition]}"


def _sex(row: pd.Series[Any]) -> str:
    neutered = {"yes": "neutered ", "no": "entire "}.get(str(row["neutered"]), "")
    return f"{neutered}{row['sex']}" if row["sex"] else neutered.strip()


def _age(row: pd.Series[Any], as_of: np.datetime64) -> str:
    if pd.isna(row["birth_date"]):
        return ""
    born = np.datetime64(row["birth_date"], "D")
    years = int((as_of - born) / np.timedelta64(1, "D") // _DAYS_PER_YEAR)
    age = f"{years} year{'s' if years > 1 else ''}" if years >= 1 else "under one year"
    return f"born {day(born)} ({age})"


def _left(row: pd.Series[Any]) -> str:
    if pd.isna(row["left_on"]):
        return ""
    why = f" ({row['left_reason']})" if row["left_reason"] else ""
    return f"Left the practice on {day(np.datetime64(row['left_on'], 'D'))}{why}."


def _card(question: str, *pairs: tuple[str, str]) -> Shown:
    """Return a question with its answers, each a short phrase and what it rests on."""
    answered = "".join(
        tag("dd", prose(lead), class_="lead") + tag("dd", prose(detail)) for lead, detail in pairs
    )
    text = " ".join(f"{lead}. {detail}" for lead, detail in pairs)
    return Shown(tag("div", tag("dt", escape(question)) + answered), f"{question}: {text}")


def _usual(answer: TrendAnswer) -> Shown:
    latest = answer.latest
    held = interval(answer.level, latest.lower, latest.upper, answer.decimals)
    one = "value" if answer.quantity in LAB_QUANTITIES else "session"
    rests = counted(len(answer.sessions), one)
    detail = f"On {day(latest.date)}; {held}. It rests on {rests}."
    what = f"Usual {QUANTITY_WORDS[answer.quantity]}"
    return _card(what, (value(latest.estimate, answer), detail))


def _target(answer: TrendAnswer) -> list[Shown]:
    found = answer.target
    if found.value is None or found.p_at_or_below is None:
        return []
    treated = found.kind != "raised"
    raised = "Not judged" if answer.category.withheld else "In the raised range"
    lead = {
        "at or below": "At target" if treated else "Below the raised range",
        "above": "Above target" if treated else raised,
        "not settled": "Not settled",
    }[str(found.verdict)]
    name = cited(answer.guideline_name, found.remembered)
    whose = {
        "own": "the target set for this animal",
        "guideline": f"the guideline's target ({name})",
        "raised": f"where the raised range starts ({name})",
    }[str(found.kind)]
    bound = f"{number(found.value, 0)} {answer.unit}"
    detail = f"{capital(chance(found.p_at_or_below))}: at or below {bound}, {whose}."
    if too_low(answer):
        lead = "Low: see “Urgent” first"
    elif answer.treated and (found.p_below_floor or 0.0) >= _LOW:
        lead = f"{lead}, and low"
    if answer.treated and (found.p_below_floor or 0.0) >= _LOW:
        floor = f"{number(found.floor, 0)} {answer.unit}"
        detail += f" {capital(chance(found.p_below_floor or 0.0))}: below {floor}."
    if answer.category.withheld is not None:
        detail += f" No category is named: {answer.category.withheld}."
    return [_card("At target?" if treated else "Raised?", (lead, detail))]


def _drugs(trend: Trend, answer: TrendAnswer) -> Shown:
    if not answer.treatments:
        others = sorted({one.drug for one in trend.context.treatments.others})
        beside = f" Also recorded: {listed(others)}." if others else ""
        return _card(
            "Drugs",
            ("None for pressure", f"No drug that acts on pressure is recorded.{beside}"),
        )
    return _card("Did the drug work?", *(_treatment(answer, one) for one in answer.treatments))


def _treatment(answer: TrendAnswer, one: TreatmentAnswer) -> tuple[str, str]:
    unit = answer.change_unit
    verdict = {
        "has lowered": "has lowered it",
        "fall unlikely": f"a fall of 10 {unit} is unlikely",
        "cannot tell yet": "cannot tell yet",
        "cannot be known": "cannot be known",
    }[one.verdict]
    since = f"Since {day(one.started_on)}"
    if not np.isnat(one.stopped_on):
        since = f"{day(one.started_on)} to {day(one.stopped_on)}"
    if one.knowable:
        held = interval(answer.level, one.effect.lower, one.effect.upper)
        what = f"full effect {number(one.effect.estimate, 0)} {unit}, {held}"
    else:
        what = "no session tells"
    going_on = np.isnat(one.stopped_on)
    stay = f" {NOT_A_REASON}." if going_on and one.verdict != "has lowered" else ""
    return f"{capital(one.drug)}: {verdict}", f"{since}; {what}.{stay}"


def _again(answer: TrendAnswer) -> list[Shown]:
    if answer.quantity != "systolic":
        return []
    found, said = answer.recheck, sentence(answer, "recheck")
    if found.by is None:
        lead = "No date proposed"
    elif answer.urgent:
        lead = "See “Urgent” first"
    elif found.overdue_days > 0:
        lead = f"Overdue since {day(found.by)}"
    else:
        lead = f"By {day(found.by)}"
    if found.by is not None and not answer.urgent:
        said = f"{capital(recheck_reason(answer))}.{overdue(answer)}"
    return [_card("When again?", (lead, said))]


def _systolic_only(answer: TrendAnswer) -> str:
    return (
        "What is urgent, the target, the categories and the date of the next visit are "
        f"{answer.urgent_reason}; this report is of another quantity "
        f"({QUANTITY_WORDS[answer.quantity]})."
    )
