"""``bpvet trend``: the answers about one animal, in words and numbers."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from typing import TYPE_CHECKING

from bpvet.command import options
from bpvet.command.opening import fitted
from bpvet.command.output import print_json, printable, wrapped

if TYPE_CHECKING:
    from bpvet.answers.parts import TrendAnswer
    from bpvet.printing import ShortTable

SUMMARY = "one animal's usual pressure through time, in words and numbers"
ABOUT = """\
What the visits say about one animal: its usual pressure, whether it is at target, whether
a drug worked, when to measure again. What is urgent comes first.

examples:
  bpvet trend records --animal Pilchard
  bpvet trend records --animal A17 --condition home --json
"""

#: Findings about the animal's records that are shown before the rest is counted.
_SHOWN = 3


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.usage = "bpvet trend PATH --animal A [options]"
    options.add_path(parser)
    options.add_animal(parser)
    options.add_series(parser)
    options.add_rule(parser)
    options.add_guideline(parser)
    options.add_level(parser)
    options.add_priors(parser)
    options.add_ways_out(parser)


def run(arguments: argparse.Namespace) -> int:
    """Fit the trend and print its answers."""
    answer = fitted(arguments).answer(guideline=arguments.guideline, level=arguments.level)
    if arguments.json:
        print_json(answer.to_dict())
    else:
        print(trend_text(answer))
    return 0


def trend_text(answer: TrendAnswer) -> str:
    """Return the answers as text: what is urgent, sentences, a short table, cautions."""
    parts = [wrapped(heading(answer)), *map(wrapped, answer.sentences)]
    parts.append(printable(numbers_table(answer).text()))
    parts.append("Cautions\n" + "\n".join(_point(text) for text in answer.cautions))
    if answer.findings:
        shown = [_point(str(finding)) for finding in answer.findings[:_SHOWN]]
        rest = len(answer.findings) - _SHOWN
        shown += [f"- … and {rest} more; bpvet check shows all"] if rest > 0 else []
        parts.append("Found in these records\n" + "\n".join(shown))
    return "\n\n".join(parts)


def heading(answer: TrendAnswer) -> str:
    """Return whose trend it is, of what, and as of when."""
    from bpvet.answers.phrases import day
    from bpvet.facts.words import CONDITION_WORDS, METHOD_WORDS, QUANTITY_WORDS

    who = f"{answer.name} ({answer.animal})" if answer.name else answer.animal
    kind = f", {answer.species}" if answer.species else ""
    joined = ", bridged" if answer.bridged else ""
    return (
        f"{who}{kind}: {QUANTITY_WORDS[answer.quantity]}, {METHOD_WORDS[answer.method]}, "
        f"{CONDITION_WORDS[answer.condition]}{joined}, as of {day(answer.as_of)}"
    )


def numbers_table(answer: TrendAnswer) -> ShortTable:
    """Return the numbers behind the sentences as a short table."""
    from bpvet.answers.phrases import percent
    from bpvet.printing import ShortTable

    heads = ("", "estimate", f"{percent(answer.level)} interval", "")
    return ShortTable("", heads, tuple(_rows(answer)))


def _rows(answer: TrendAnswer) -> Iterator[tuple[str, str, str, str]]:
    from bpvet.printing import number, probability

    unit, latest, target = answer.unit, answer.latest, answer.target

    def ends(lower: float, upper: float, digits: int = 0) -> str:
        return f"{number(lower, digits)} to {number(upper, digits)}"

    yield (
        f"usual on {latest.date}",
        number(latest.estimate, 0),
        ends(latest.lower, latest.upper),
        unit,
    )
    if target.value is not None:
        what = f"probability at or below {number(target.value, 0)}"
        yield what, probability(target.p_at_or_below), "", ""
    for one in answer.treatments:
        full = one.effect
        name = f"{one.drug} from {one.started_on}, full effect"
        yield name, number(full.estimate, 0), ends(full.lower, full.upper), unit
    slope, coming = answer.slope, answer.next_session
    if slope.span_days:
        per = ends(slope.lower, slope.upper, 1)
        yield "change a month, apart from drugs", number(slope.per_30_days, 1), per, unit
    yield (
        f"mean of a session on {coming.date}",
        number(coming.mean, 0),
        ends(coming.lower, coming.upper),
        unit,
    )


def _point(text: str) -> str:
    return wrapped(text, "  ", "- ")
