"""``bpvet trend``: the answers about one animal, in words and numbers."""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from bpvet.command.shared import options
from bpvet.command.shared.cautions import EVERY_CAUTION, cautions_block
from bpvet.command.shared.loading import loading
from bpvet.command.shared.opening import answered_or_unseen
from bpvet.command.shared.output import print_json, printable, wrapped

if TYPE_CHECKING:
    from bpvet.answers.trend.recorded import NotUsed
    from bpvet.answers.trend.result import TrendAnswer
    from bpvet.answers.trend.unseen import UnseenAnswer
    from bpvet.models.kidney.joint import Joint
    from bpvet.printing import ShortTable

ABOUT = """\
What the visits say about one animal: its usual pressure, whether it is at target, whether
a drug worked, when to measure again. What is urgent comes first.

examples:
  bpvet trend records --animal Pilchard
  bpvet trend records --animal A17 --short
  bpvet trend records --animal A17 --condition home --json
"""

#: Findings about the animal's records that are shown before the rest is counted.
_SHOWN = 3
#: Rows that no sentence speaks of, named for each reason; JSON and pages have all.
_SHOWN_UNUSED = 4


USAGE = "bpvet trend PATH --animal A [options]"
ARGUMENTS = (
    *options.PATH,
    options.ANIMAL,
    options.series(),
    *options.JUDGED_BY,
    options.argument(
        "--short",
        action="store_true",
        help="five lines: what is urgent, the number and the usual, since the last change of a "
        "drug, kidneys, when again",
    ),
    EVERY_CAUTION,
    options.WAYS_OUT,
)


def run(arguments: argparse.Namespace) -> None:
    """Fit the trend and print its answers."""
    _, trend, answer = answered_or_unseen(arguments)
    if arguments.short and not arguments.json:
        print(short_text(answer))
        return
    with loading():
        from bpvet.answers.trend.unseen import UnseenAnswer
        from bpvet.models.kidney.joint_trends import joint_trends

    joint = () if trend is None else joint_trends(trend, arguments.level)
    if arguments.json:
        print_json(answer.to_dict() | {"joint": [fit.to_dict() for fit in joint]})
    elif isinstance(answer, UnseenAnswer):
        print(unseen_text(answer, every_caution=arguments.cautions))
    else:
        print(trend_text(answer, joint, every_caution=arguments.cautions))


def short_text(answer: TrendAnswer | UnseenAnswer) -> str:
    """Return the answer in five lines, and the one caution that stands on everything."""
    from bpvet.facts.cautions import licensed
    from bpvet.facts.sources import footnotes
    from bpvet.wording.en.trend.short import short_statements

    texts = [statement.text for statement in short_statements(answer)]
    lines = [wrapped(text, "  ", "- ") for text in texts]
    return "\n\n".join(["\n".join(lines), *map(wrapped, (*footnotes(*texts), licensed()))])


def trend_text(
    answer: TrendAnswer, joint: Sequence[Joint] = (), *, every_caution: bool = False
) -> str:
    """Return the answers as text: what is urgent, sentences, a short table, cautions.

    Parameters
    ----------
    answer : TrendAnswer
    joint : sequence of Joint
        Pressure and laboratory values fitted together; they stand below the numbers.
    every_caution : bool
        Whether all cautions are printed, or the first five.
    """
    from bpvet.wording.en.command.tables import FOUND_HERE, MORE_FINDINGS

    sentences = answer.sentences
    parts = [wrapped(heading(answer)), *map(wrapped, sentences)]
    parts.append(printable(numbers_table(answer).text()))
    parts += _together(joint)
    parts += _unused(answer.not_used)
    cautions, *footnote = cautions_block(answer.cautions, every=every_caution, beside=sentences)
    parts.append(cautions)
    if answer.findings:
        shown = [_point(str(finding)) for finding in answer.findings[:_SHOWN]]
        rest = len(answer.findings) - _SHOWN
        shown += [MORE_FINDINGS.format(count=rest)] if rest > 0 else []
        parts.append("\n".join([FOUND_HERE, *shown]))
    return "\n\n".join([*parts, *footnote])


def _together(joint: Sequence[Joint]) -> list[str]:
    """Return what pressure and laboratory values say together; empty where there are none."""
    from bpvet.wording.en.command.tables import JOINT

    if not joint:
        return []
    from bpvet.wording.en.kidney.joint import ABOUT, joint_statements

    points = [_point(statement.text) for statement in joint_statements(joint)]
    return ["\n".join([JOINT, wrapped(ABOUT), *points])]


def unseen_text(answer: UnseenAnswer, *, every_caution: bool = False) -> str:
    """Return what is told of an animal without a session of a trend.

    Parameters
    ----------
    answer : UnseenAnswer
    every_caution : bool
        Whether all cautions are printed, or the first five.
    """
    from bpvet.wording.en.command.tables import speaks_on
    from bpvet.wording.en.phrases import day

    who = f"{answer.name} ({answer.animal})" if answer.name else answer.animal
    kind = answer.species or answer.species_written
    head = f"{who}{f', {kind}' if kind else ''}: {speaks_on('', day(answer.as_of))}"
    parts = [wrapped(head), *map(wrapped, answer.sentences), *_unused(answer.not_used)]
    beside = cautions_block(answer.cautions, every=every_caution, beside=answer.sentences)
    return "\n\n".join([*parts, *beside])


def _unused(rows: tuple[NotUsed, ...]) -> list[str]:
    """Return the rows of the records that no sentence speaks of, each with its reason."""
    from bpvet.wording.en.command.tables import NOT_USED, and_more

    if not rows:
        return []
    reasons: dict[str, list[str]] = {}
    for row in rows:
        reasons.setdefault(row.reason, []).append(f"{row.text} ({row.date})".removesuffix(" (NaT)"))
    shown = [
        _point(
            and_more(", ".join(dict.fromkeys(texts[-_SHOWN_UNUSED:])), len(texts) - _SHOWN_UNUSED)
            + f": {reason}"
        )
        for reason, texts in reasons.items()
    ]
    return ["\n".join([NOT_USED, *shown])]


def heading(answer: TrendAnswer) -> str:
    """Return whose trend it is, of what, and as of when."""
    from bpvet.facts.words import CONDITION_WORDS, METHOD_WORDS, QUANTITY_WORDS
    from bpvet.wording.en.command.tables import speaks_on
    from bpvet.wording.en.phrases import day

    who = f"{answer.name} ({answer.animal})" if answer.name else answer.animal
    species = answer.species or answer.species_written
    kind = f", {species}" if species else ""
    where = CONDITION_WORDS[answer.condition]
    parts = (QUANTITY_WORDS[answer.quantity], METHOD_WORDS[answer.method], where)
    joined = ", bridged" if answer.bridged else ""
    text = f"{who}{kind}: {', '.join(filter(None, parts))}{joined}"
    return speaks_on(text, day(answer.as_of))


def numbers_table(answer: TrendAnswer) -> ShortTable:
    """Return the numbers behind the sentences as a short table."""
    from bpvet.printing import ShortTable
    from bpvet.wording.en.command.tables import ESTIMATE, INTERVAL_HEAD, UNIT
    from bpvet.wording.en.phrases import percent

    heads = ("", ESTIMATE, INTERVAL_HEAD.format(level=percent(answer.level)), UNIT)
    return ShortTable("", heads, tuple(_rows(answer)))


def _rows(answer: TrendAnswer) -> Iterator[tuple[str, str, str, str]]:
    from bpvet.printing import number, probability
    from bpvet.wording.en.command.tables import (
        AT_OR_BELOW,
        CHANGE,
        ENDS,
        FULL_EFFECT,
        USUAL_ON,
        coming_on,
    )
    from bpvet.wording.en.phrases import of_labs

    unit, latest, target = answer.unit, answer.latest, answer.target
    digits, change = answer.decimals, answer.change_unit

    def ends(lower: float, upper: float, digits: int = 0) -> str:
        return ENDS.format(lower=number(lower, digits), upper=number(upper, digits))

    usual = number(latest.estimate, digits), ends(latest.lower, latest.upper, digits)
    if latest.only:
        usual = f"{latest.only} {number(latest.end, digits)}", ""
    yield USUAL_ON.format(date=latest.date), *usual, unit
    if target.value is not None:
        what = AT_OR_BELOW.format(value=number(target.value, 0))
        yield what, probability(target.p_at_or_below), "", ""
    for treatment in answer.treatments:
        full = treatment.effect
        if full is None:
            # What cannot be known has no number.
            continue
        name = FULL_EFFECT.format(drug=treatment.drug, since=treatment.started_on)
        yield name, number(full.estimate, 0), ends(full.lower, full.upper), change
    slope, coming = answer.slope, answer.next_session
    if slope.span_days:
        per = ends(slope.lower, slope.upper, 1)
        yield CHANGE, number(slope.per_30_days, 1), per, change
    forecast = number(coming.mean, digits), ends(coming.lower, coming.upper, digits)
    if coming.only:
        forecast = f"{coming.only} {number(coming.end, digits)}", ""
    yield coming_on(coming.date, of_labs(answer)), *forecast, unit


def _point(text: str) -> str:
    return wrapped(text, "  ", "- ")
