"""The answers of an audit: every number as plain values, and the sentences of its page."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from bpvet import __version__
from bpvet.answers.phrases import capital, counted, interval, listed, percent
from bpvet.answers.plain import plain
from bpvet.facts.words import METHOD_WORDS
from bpvet.maths.comparison import Estimated
from bpvet.models.audit import NOT_TO_JUDGE, Audit
from bpvet.models.audit_readings import Digits, OrderEffects
from bpvet.models.audit_spread import Operators, Precision, Spread
from bpvet.printing import number, probability

#: A digit test below this is told as a preference.
_TOLD = 0.05
#: A gain in precision smaller than this is told as none, mmHg.
_LEAST_GAIN = 0.5


@dataclass(frozen=True, eq=False)
class AuditAnswer:
    """What `bpvet audit --json` prints.

    Parameters
    ----------
    audit : Audit
        The numbers.
    sentences : tuple of str
        What they say.
    cautions : tuple of str
        What must stand beside them.
    version : str
        Of this program.
    """

    audit: Audit
    sentences: tuple[str, ...]
    cautions: tuple[str, ...]
    version: str

    def to_dict(self) -> dict[str, Any]:
        """Return every answer as plain JSON values, named as in the library."""
        numbers: dict[str, Any] = plain(self.audit.to_dict())
        return numbers | {
            "sentences": list(self.sentences),
            "cautions": list(self.cautions),
            "version": self.version,
        }


def audit_answer(audit: Audit) -> AuditAnswer:
    """Return the answers of an audit.

    Parameters
    ----------
    audit : Audit
    """
    said = (
        _basis(audit),
        *_readings(audit),
        *_protocol(audit),
        *(_order(audit, one) for one in audit.order),
        *(_digits(one) for one in audit.digits),
        *_scatter(audit),
        *(_operators(audit, one) for one in audit.operators),
        *_cuffs(audit),
        *_times(audit),
        _decisions(audit),
        *(_precision(one) for one in audit.precision),
    )
    return AuditAnswer(audit, said, (NOT_TO_JUDGE,), __version__)


def _basis(audit: Audit) -> str:
    return (
        f"This looks at {counted(audit.sessions, 'session')} awake of "
        f"{counted(audit.animals, 'animal')}, systolic pressure, as of {audit.as_of}; rule "
        f"{audit.rule} chose the readings."
    )


def _readings(audit: Audit) -> Iterator[str]:
    for one in audit.taken:
        yield (
            f"By {METHOD_WORDS[one.method]}, {number(one.mean)} readings were taken a session on "
            f"average ({one.least} to {one.most}) and {number(one.mean_used)} used."
        )


def _protocol(audit: Audit) -> Iterator[str]:
    for one in audit.taken:
        items = [item for item in audit.protocol if item.method == one.method and item.count]
        if not items:
            yield f"No {METHOD_WORDS[one.method]} session broke the protocol in what was checked."
            continue
        parts = [
            f"{item.words} {item.count} ({probability(item.share.estimate)})" for item in items
        ]
        yield f"Of {counted(one.sessions, f'{METHOD_WORDS[one.method]} session')}: {listed(parts)}."


def _order(audit: Audit, one: OrderEffects) -> str:
    name = METHOD_WORDS[one.method]
    held = one.first_minus_rest
    if held.estimate is None or held.lower is None or held.upper is None:
        return f"By {name}, first readings cannot be compared with the rest: {held.reason}."
    how = interval(audit.level, held.lower, held.upper)
    if held.lower <= 0 <= held.upper:
        first = f"the first reading does not clearly differ from the rest ({how} mmHg)"
    else:
        side = "higher" if held.estimate > 0 else "lower"
        size = number(abs(held.estimate), 0)
        first = f"the first reading is {size} mmHg {side} than the rest on average ({how})"
    drift = one.drift_after_first
    if drift.estimate is None:
        return f"By {name}, {first}."
    after = f"after it readings change by {number(drift.estimate)} mmHg each"
    if drift.lower is not None and drift.upper is not None:
        share = percent(audit.level)
        after += f" ({share} interval {number(drift.lower)} to {number(drift.upper)})"
    return f"By {name}, {first}; {after}."


def _digits(one: Digits) -> str:
    name, test = METHOD_WORDS[one.method], one.test
    if test.p is None:
        return f"No {name} reading could be looked at for its end digit."
    share = probability(one.zeros.estimate)
    fair = probability(1 / len(test.digits))
    marks = f"read to {test.step} mmHg"
    uneven = (
        f"End digits of {name} readings ({marks}) are uneven beyond chance (p {number(test.p, 4)}, "
        f"{test.how})"
        if test.p < _TOLD
        else f"End digits of {name} readings ({marks}) are no more uneven than chance gives "
        f"(p {number(test.p, 2)}, {test.how})"
    )
    said = f"{uneven}: {share} end in 0, where {fair} would."
    if test.off_step:
        said += f" Between the marks lie {test.off_step} readings: the dial is not read so finely."
    if one.repeats_expected is not None and one.repeats_share.estimate is not None:
        said += (
            f" Of readings next to each other {probability(one.repeats_share.estimate)} are equal; "
            f"their scatter alone would give {probability(one.repeats_expected)}."
        )
    if one.identical_sessions:
        said += f" All readings alike: {counted(one.identical_sessions, 'session')}."
    return said


def _scatter(audit: Audit) -> Iterator[str]:
    for one in audit.spreads:
        if one.by:
            continue
        held = _mmhg(audit, one.sd)
        name = METHOD_WORDS[one.method]
        yield f"Readings of one {name} session scatter with an SD of {held}."
        groups = [part for part in audit.spreads if part.method == one.method and part.shrunken]
        for by in dict.fromkeys(part.by for part in groups):
            yield _groups(audit, name, by, [part for part in groups if part.by == by])


def _groups(audit: Audit, name: str, by: str, groups: list[Spread]) -> str:
    drawn = [part.shrunken for part in groups if part.shrunken is not None]
    if len({number(one.estimate, 2) for one in drawn}) == 1:
        return (
            f"By {by}, the scatter of {name} readings differs no more than chance gives: about "
            f"{_mmhg(audit, drawn[0])} in each of {len(groups)} groups."
        )
    parts = [f"{part.group} {_mmhg(audit, one)}" for part, one in zip(groups, drawn, strict=True)]
    return f"By {by}, drawn together by how little is known ({name}): {listed(parts)}."


def _mmhg(audit: Audit, e: Estimated) -> str:
    if e.lower is None or e.upper is None:
        return f"{number(e.estimate)} mmHg"
    share = percent(audit.level)
    return f"{number(e.estimate)} mmHg ({share} interval {number(e.lower)} to {number(e.upper)})"


def _operators(audit: Audit, one: Operators) -> str:
    name = METHOD_WORDS[one.method]
    if one.reason is not None or one.p is None:
        return f"Operators cannot be compared by {name}: {one.reason}."
    if not one.sd:
        return (
            f"By {name}, operators' session means on the same animals differ no more than chance "
            "gives; that does not show that they are alike."
        )
    parts = [f"{part.operator} {_mmhg(audit, part.effect)}" for part in one.effects]
    sure = "differ" if one.p < _TOLD else "do not clearly differ"
    return (
        f"By {name}, operators' session means on the same animals {sure} beyond chance "
        f"(p {number(one.p, 3)}); in alphabetical order, against the average: {listed(parts)}."
    )


def _cuffs(audit: Audit) -> Iterator[str]:
    for one in audit.cuffs:
        who = f"{one.species}s" if one.species else "animals of unknown species"
        if not one.n:
            yield f"Cuff ratios of {who} cannot be told: a length is missing in all {one.unknown}."
            continue
        yield (
            f"Cuff width over limb circumference in {who}: {one.within} of {one.n} sessions lie "
            f"within {one.low:g} to {one.high:g}, {one.below} below (narrow cuffs read high) and "
            f"{one.above} above (wide cuffs read low); lengths are missing in {one.unknown}."
        )


def _times(audit: Audit) -> Iterator[str]:
    for one in audit.times:
        held = one.afternoon_minus_morning
        name = METHOD_WORDS[one.method]
        if held.estimate is None or held.lower is None or held.upper is None:
            yield f"By {name}, morning and afternoon cannot be compared: {held.reason}."
            continue
        side = "above" if held.estimate > 0 else "below"
        how = interval(audit.level, held.lower, held.upper)
        yield (
            f"By {name}, an animal's afternoon sessions lie {number(abs(held.estimate), 0)} mmHg "
            f"{side} its morning ones (afternoon minus morning: {how})."
        )


def _decisions(audit: Audit) -> str:
    held = audit.decisions
    if not held.n:
        return "No pressure-acting drug was started or changed."
    return (
        f"{capital(counted(held.n, 'start'))} or changes of a pressure-acting drug are recorded; "
        f"{held.count} rested on one session or none."
    )


def _precision(one: Precision) -> str:
    words, sd, gain = one.changes[0]
    name = METHOD_WORDS[one.method]
    small = [part[0] for part in one.changes if part[2] < _LEAST_GAIN]
    said = (
        f"By {name}, one visit's mean lies about the usual pressure with an SD of "
        f"{number(one.now)} mmHg (visit noise {number(one.visit_sd)}, readings "
        f"{number(one.reading_sd)} each). What would help most: {words}, to {number(sd)} mmHg "
        f"({number(gain)} less)."
    )
    if small:
        said += f" Less than {_LEAST_GAIN:g} mmHg would come of: {listed(small)}."
    return said
