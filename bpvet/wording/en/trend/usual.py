"""What the visits say of the usual value: how high, whether it creeps up, what surprises."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from bpvet.answers.statement import Statement
from bpvet.answers.trend.result import TrendAnswer
from bpvet.answers.trend.verdicts import Surprise, Verdict
from bpvet.facts.sources import fact
from bpvet.facts.species import species_of
from bpvet.facts.words import CONDITION_WORDS, METHOD_WORDS, QUANTITY_WORDS
from bpvet.printing import number, probability
from bpvet.wording.en.kidney.labs import lab_slope, lab_usual
from bpvet.wording.en.phrases import (
    about,
    capital,
    chance,
    counted,
    day,
    drugs_named,
    interval,
    listed,
    of_labs,
    one_of,
    percent,
    value,
    whole,
)
from bpvet.wording.en.trend.settle import settle_words

#: What the newest session is, where it is not as expected.
SURPRISES = {Surprise.UNUSUAL: "unusual", Surprise.VERY_UNUSUAL: "very unusual"}
#: Width of the range expected of a session from which it is said that little could surprise.
_SO_WIDE = {"mmHg": 120.0, "/min": 150.0}
#: The same of a laboratory value: so many times the lower end.
_SO_MANY_TIMES = 4.0
#: Where the truth lies that a bound leaves open.
_FURTHER = {"at least": "above", "at most": "below"}
_METHOD = {"doppler": "Doppler", "oscillometric": "oscillometric"}
#: A session that differs from the usual by more than this (in the unit) is named beside it.
_APART = 3.0


def usual(answer: TrendAnswer) -> Iterator[Statement]:
    """Usual pressure at the latest session."""
    latest, what = answer.latest, QUANTITY_WORDS[answer.quantity]
    count, noun = len(answer.sessions), one_of(answer)
    ends = interval(answer.level, latest.lower, latest.upper, answer.decimals)
    here = "" if of_labs(answer) else " as measured here"
    level = f"{value(latest.estimate, answer)} on {day(latest.date)} ({ends})"
    if latest.only:
        sure, further = percent((1 + answer.level) / 2), _FURTHER[latest.only]
        level = (
            f"{latest.only} {value(latest.end, answer)} on {day(latest.date)} ({sure} sure): most "
            f"readings lie beyond the gauge, so how far {further} is not known"
        )
    text = f"{_how(answer)} the usual {what}{here} was {level}{_other_says(answer)}. "
    first = answer.sessions[0].date
    if count == 1:
        text += f"It rests on one {noun}: the range is wide, because one {noun} says little."
    elif first == latest.date:
        text += f"It rests on {counted(count, noun)} of that one day."
    else:
        text += f"It rests on {counted(count, noun)} since {day(first)}."
    if count == 2:
        text += f" Two {noun}s still leave it wide."
    parts = [text, *_measured(answer), *_bounds(answer), *_joins(answer)]
    if of_labs(answer):
        parts = [text, lab_usual(answer)]
    lead, short = _in_short(answer)
    yield Statement("usual", " ".join(parts).strip(), short=short, lead=lead)
    if not of_labs(answer):
        yield from _new_dog(answer)


def _in_short(answer: TrendAnswer) -> tuple[str, str]:
    """Return the usual value, and under it its date, on what it rests and how sure it is."""
    latest = answer.latest
    rests = f"On {day(latest.date)}, from {counted(len(answer.sessions), one_of(answer))}"
    if latest.only:
        lead = capital(f"{latest.only} {value(latest.end, answer)}")
        return lead, f"{rests}; most readings lie beyond the gauge."
    ends = interval(answer.level, latest.lower, latest.upper, answer.decimals)
    return value(latest.estimate, answer), f"{rests}; {ends}."


def _new_dog(answer: TrendAnswer) -> Iterator[Statement]:
    """Say that a dog new to measurement needs more visits first."""
    needed = species_of(answer.species).new_visits
    visits = int(fact(needed).value or 0) if needed else 0
    if answer.first_visit is None or answer.visits >= visits:
        return
    asked = f"{counted(visits, 'visit')} before its usual pressure is known"
    kind = answer.species
    if answer.measured_before == "no":
        text = (
            f"This {kind} is new to being measured: first visits read high, and it needs {asked}."
        )
    else:
        text = f"A {kind} that is new to being measured needs {asked}: first visits read high."
    yield Statement("usual.new_dog", text)


def _measured(answer: TrendAnswer) -> list[str]:
    """Say what the newest session itself read where that is not the usual, and why."""
    newest = answer.sessions[-1].mean
    if newest is None or of_labs(answer) or abs(newest - answer.latest.estimate) <= _APART:
        return []
    if answer.sessions[-1].bound:
        # Its mean is a bound, which is said beside.
        return []
    noun = one_of(answer)
    why = (
        f"a single {noun} is noisy, and the others count too"
        if len(answer.sessions) > 1
        else f"a single {noun} is noisy, and first visits and high readings tend to overstate"
    )
    return [f"That {noun} itself read {whole(newest, answer.unit)}: {why}."]


def _how(answer: TrendAnswer) -> str:
    if of_labs(answer):
        return "By the values as recorded,"
    where = CONDITION_WORDS[answer.condition]
    if answer.method == "doppler":
        return f"By Doppler, {where},"
    return f"By the oscillometric method, {where},"


def _other_says(answer: TrendAnswer) -> str:
    """Name the other method's series of the same newest date, with its count and what it says."""
    texts = [
        f"{counted(series.sessions, f'{_METHOD[series.method]} session')} "
        f"{'says' if series.sessions == 1 else 'say'} {number(series.usual, answer.decimals)}"
        for series in answer.other_series
        if series.usual is not None
    ]
    return f"; {listed(texts)}" if texts else ""


def _bounds(answer: TrendAnswer) -> list[str]:
    bounded = [session for session in answer.sessions if session.bound]
    if not bounded:
        return []
    named = listed(
        [
            f"{session.bound} {number(session.mean, 0)} on {day(session.date)}"
            for session in bounded[-3:]
        ]
    )
    return [
        f"{capital(counted(len(bounded), 'session'))} went beyond what the gauge could show "
        f"({named}): such a reading counts as lying beyond it, never as a number."
    ]


def _joins(answer: TrendAnswer) -> list[str]:
    texts = []
    for name, bridge in answer.bridges.items():
        texts.append(
            f"Series are joined through an estimated difference ({name}: "
            f"{number(bridge.estimate, 0)} {answer.unit}, "
            f"{interval(answer.level, *bridge.known[1:])}); it is not measured exactly."
        )
    apart = [
        f"{_series_name(level.method, level.condition)} {number(level.estimate, 0)} on "
        f"{day(level.date)} ({number(level.lower, 0)} to {number(level.upper, 0)})"
        for level in answer.apart
    ]
    return [*texts, f"Each series on its own: {'; '.join(apart)}."] if apart else texts


def _series_name(method: str, condition: str) -> str:
    how = "by Doppler" if method == "doppler" else "by the oscillometric method"
    return f"{how}, {CONDITION_WORDS[condition]},"


def slope(answer: TrendAnswer) -> Iterator[Statement]:
    """Whether the usual pressure is creeping up, apart from the drugs."""
    found, unit = answer.slope, answer.change_unit
    if found.span_days == 0 or found.withheld is not None or found.verdict is None:
        return
    if of_labs(answer):
        yield Statement("slope.lab", lab_slope(answer))
        return
    apart = "apart from treatment, " if answer.treatments else ""
    over = found.rise_over_record
    what = QUANTITY_WORDS[answer.quantity]
    each = (
        f"{apart}the usual {what} changes by {number(found.per_30_days, 1)} {unit} a month "
        f"({percent(answer.level)} interval {number(found.lower, 1)} to {number(found.upper, 1)})"
    )
    p = f"a rise of more than 1 {unit} a month has {chance(found.p_rising_by_1)}"
    record = (
        f"Over the {counted(found.span_days, 'day')} of the record that makes "
        f"{number(over.estimate, 0)} {unit} ({number(over.lower, 0)} to {number(over.upper, 0)})."
    )
    key, words = {
        Verdict.RISING: ("rising", f"It is creeping up: {each}; {p}."),
        Verdict.RISE_UNLIKELY: (
            "no_rise",
            f"There is no sign that it is creeping up: {each}; {p}.",
        ),
        Verdict.CANNOT_TELL: (
            "cannot_tell",
            f"Whether it is creeping up: cannot tell yet. {capital(each)}; {p}.",
        ),
    }[found.verdict]
    yield Statement(f"slope.{key}", " ".join([words, *settle_words(found.settle), record]))


def surprise(answer: TrendAnswer) -> Iterator[Statement]:
    """Whether the newest session was a surprise."""
    found, d, noun = answer.surprise, answer.decimals, one_of(answer)
    if found.words is None or found.lower is None or found.upper is None:
        return
    expected = (
        f"earlier {noun}s predicted {number(found.expected, d)} "
        f"({percent(answer.level)} of such {noun}s between {number(found.lower, d)} and "
        f"{number(found.upper, d)})"
    )
    seen = f"{found.bound} {value(found.observed, answer)}".lstrip()
    text = f"The newest {noun}, {seen} on {day(found.date)}, was "
    if found.words == Surprise.AS_EXPECTED:
        wide = found.upper - found.lower > _SO_WIDE.get(answer.unit, np.inf)
        if of_labs(answer):
            wide = found.upper > _SO_MANY_TIMES * found.lower
        little = " That range is so wide that hardly anything could surprise." if wide else ""
        yield Statement("surprise.none", f"{text}no surprise: {expected}.{little}")
        return
    often = about(found.tail or 0.0)
    text += (
        f"{SURPRISES[found.words]}: {expected}; a result this far off happens {often} of the time."
    )
    if found.words == Surprise.VERY_UNUSUAL:
        more = "another value is on record" if of_labs(answer) else "more visits come"
        text += f" Until {more}, the trend and the effect of a drug may be off."
    key = "very_unusual" if found.words == Surprise.VERY_UNUSUAL else "unusual"
    yield Statement(f"surprise.{key}", text)


def following(answer: TrendAnswer) -> Iterator[Statement]:
    """What the next session may read."""
    found, d = answer.next_session, answer.decimals
    none = answer.quantity == "systolic" and answer.recheck.latest is None
    if answer.urgent or answer.recheck.read_first or none:
        # What is urgent comes first, an animal that left is not waited for, and
        # nothing is expected of a day before what is asked of a sign is answered.
        return
    if of_labs(answer):
        text = (
            f"If nothing changes, the next value ({day(found.date)}) is expected at "
            f"{value(found.mean, answer)}, and {percent(answer.level)} of such values between "
            f"{number(found.lower, d)} and {number(found.upper, d)}."
        )
    elif found.only:
        text = (
            f"If nothing changes, the mean of the next session (five readings, "
            f"{METHOD_WORDS[found.method]}, {day(found.date)}) is expected at {found.only} "
            f"{whole(found.end, answer.unit)}."
        )
    else:
        text = (
            f"If nothing changes, the mean of the next session (five readings, "
            f"{METHOD_WORDS[found.method]}, {day(found.date)}) is expected at "
            f"{whole(found.mean, answer.unit)}, and {percent(answer.level)} of such sessions "
            f"between {number(found.lower, 0)} and {number(found.upper, 0)}: a single visit is "
            "noisy."
        )
    yield Statement("next_session", text)


def companions(answer: TrendAnswer) -> Iterator[Statement]:
    """Other ways of counting, where they move the answer."""
    found = answer.companions
    if "medians" in found.shown and found.latest_with_medians is not None:
        yield Statement(
            "companions.medians",
            "With the median of each session in place of its mean"
            f"{_without_median(found.bounded)}, the latest usual value would be "
            f"{whole(found.latest_with_medians, answer.unit)}.",
        )
    if "tense" in found.shown and found.latest_without_tense is not None:
        without = whole(found.latest_without_tense, answer.unit)
        yield Statement(
            "companions.tense",
            f"Without the {counted(found.tense_sessions, 'session')} noted as tense, the latest "
            f"usual value would be {without}.",
        )
    yield from _last_three(answer)
    step = found.step
    if step is not None and step.told:
        yield Statement(
            "companions.step",
            "The records sit better with a change that nobody recorded between "
            f"{day(step.after)} and {day(step.before)} (probability of any such change "
            f"{probability(step.p_any)}); the usual pressure would then be "
            f"{whole(step.usual.known[0], answer.unit)}. No other answer here takes that into "
            "account.",
        )


def _last_three(answer: TrendAnswer) -> Iterator[Statement]:
    found, d, noun = answer.companions.last_three, answer.decimals, one_of(answer)
    if found.estimate is None or found.first is None or found.last is None:
        return
    when = f"{day(found.first)} to {day(found.last)}"
    if found.first == found.last:
        when = day(found.last)
    ends = "no interval, as the three are equal"
    if found.lower is not None and found.upper is not None:
        ends = interval(answer.level, found.lower, found.upper, d)
    parts = [
        f"From the last three {noun}s alone ({when}): mean {value(found.estimate, answer)}, "
        f"{ends}. This is their plain mean, corrected for nothing."
    ]
    if found.changed:
        parts.append(f"Treatment with {listed(found.changed)} changed between them.")
    if found.passed_over:
        are = "is" if found.passed_over == 1 else "are"
        over = capital(counted(found.passed_over, "session"))
        parts.append(f"{over} beyond the end of the gauge {are} left out.")
    named = drugs_named(found.changed)
    yield Statement("companions.last_three", " ".join(parts), tells=named)


def _without_median(sessions: int) -> str:
    """Say that sessions with a reading beyond the gauge have no median."""
    if not sessions:
        return ""
    return f" (but {counted(sessions, 'session')} beyond the gauge, without one)"


def others(answer: TrendAnswer) -> Iterator[Statement]:
    """Sessions that are shown and not part of the trend."""
    if not answer.other_series:
        return
    named = [
        f"{counted(series.sessions, 'session')} by "
        f"{'Doppler' if series.method == 'doppler' else 'the oscillometric method'}, "
        f"{CONDITION_WORDS[series.condition]}"
        for series in answer.other_series
    ]
    yield Statement("others", f"Also recorded, not used in this trend: {listed(named)}.")
