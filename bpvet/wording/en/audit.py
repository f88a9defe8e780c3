"""What an audit of measuring comes to, in sentences that say how sure they are."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from bpvet.answers.statement import Statement
from bpvet.facts.measuring import judged
from bpvet.facts.words import METHOD_WORDS, TAKEN_BY
from bpvet.maths.estimate import Estimate
from bpvet.models.audit.audit import Audit
from bpvet.models.audit.operators import Operators
from bpvet.models.audit.precision import Change, Precision
from bpvet.models.audit.readings import Digits, OrderEffects
from bpvet.models.audit.spread import Spread
from bpvet.printing import number, probability
from bpvet.wording.en.agreement.situation import situational_sentences
from bpvet.wording.en.phrases import CONTEXTS, counted, interval, listed, percent

#: A digit test below this is told as a preference.
_TOLD = judged("audit.told")
_NO_PRECISION = (
    "These records cannot show what would make a visit's mean more precise: no animal was measured "
    "twice within a short time by one method under one condition."
)
#: A gain in precision smaller than this is told as none, mmHg.
_LEAST_GAIN = judged("audit.least_gain")
#: Fewer pairs of sessions than this leave visit noise all but unknown.
_FEW_PAIRS = judged("audit.few_pairs")
#: How the tail of a test was found.
_HOWS = {"exact": "exact", "saddle-point approximation": "saddle-point approximation"}


def audit_statements(audit: Audit) -> tuple[Statement, ...]:
    """Return what is told by topic, most useful first; what has nothing to say is left out."""
    said: dict[str, Iterable[str]] = {
        "basis.sessions": (_basis(audit),),
        "precision.visit": [_precision(audit, one) for one in audit.precision],
        "precision.unknown": () if audit.precision else (_NO_PRECISION,),
        "protocol.readings": _readings(audit),
        "protocol.kept": _protocol(audit),
        "protocol.decisions": (_decisions(audit),),
        "order.first": [_order(audit, one) for one in audit.order],
        "digits.end": [_digits(one) for one in audit.digits],
        "spread.readings": _scatter(audit),
        "operators.compared": [_operators(audit, one) for one in audit.operators],
        "cuffs.ratio": _cuffs(audit),
        "times.day": _times(audit),
        "situations.condition": [
            text for one in audit.situations for text in situational_sentences(one)
        ],
    }
    return tuple(Statement(key, text) for key, texts in said.items() for text in texts)


def _basis(audit: Audit) -> str:
    return (
        f"This covers {counted(audit.sessions, 'awake session')} of "
        f"{counted(audit.animals, 'animal')}, systolic pressure, as of {audit.as_of}; rule "
        f"{audit.rule} chose the readings."
    )


def _readings(audit: Audit) -> Iterator[str]:
    for one in audit.taken:
        yield (
            f"By {TAKEN_BY[one.method]}, {number(one.mean)} readings were taken per session on "
            f"average ({one.least} to {one.most}) and {number(one.mean_used)} were used."
        )


def _protocol(audit: Audit) -> Iterator[str]:
    for one in audit.taken:
        items = [item for item in audit.protocol if item.method == one.method and item.count]
        if not items:
            yield f"No {METHOD_WORDS[one.method]} session broke the protocol, as far as checked."
            continue
        parts = [
            f"{item.words}: {item.count} ({probability(item.share.estimate)})" for item in items
        ]
        whole = counted(one.sessions, f"{METHOD_WORDS[one.method]} session")
        yield f"Of {whole} – {'; '.join(parts)}."


def _order(audit: Audit, one: OrderEffects) -> str:
    name = TAKEN_BY[one.method]
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
        return f"No {name} reading could be checked for its end digit."
    share = probability(one.zeros.estimate)
    fair = probability(1 / len(test.digits))
    marks = f"read to {test.step} mmHg"
    uneven = (
        f"End digits of {name} readings ({marks}) are more uneven than chance would give "
        f"(p {number(test.p, 4)}, {_HOWS.get(test.how, test.how)})"
        if test.p < _TOLD
        else f"End digits of {name} readings ({marks}) are no more uneven than chance would give "
        f"(p {number(test.p, 2)}, {_HOWS.get(test.how, test.how)})"
    )
    said = f"{uneven}: {share} end in 0, where {fair} would."
    if test.off_step:
        said += f" {test.off_step} lie between the marks: a dial cannot be read so finely."
    if one.repeats_expected is not None and one.repeats_share.estimate is not None:
        said += (
            f" Of consecutive readings {probability(one.repeats_share.estimate)} are equal; "
            f"scatter alone would give {probability(one.repeats_expected)}."
        )
    if one.identical_sessions:
        said += f" All readings equal: {counted(one.identical_sessions, 'session')}."
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
            what = CONTEXTS.get(by, by)
            yield _groups(audit, name, what, [part for part in groups if part.by == by])


def _groups(audit: Audit, name: str, by: str, groups: list[Spread]) -> str:
    drawn = [part.shrunken for part in groups if part.shrunken is not None]
    if len({number(one.estimate, 2) for one in drawn}) == 1:
        return (
            f"By {by}, the scatter of {name} readings differs no more than chance would give: "
            f"about {_mmhg(audit, drawn[0])} in each of {len(groups)} groups."
        )
    parts = [f"{part.group} {_mmhg(audit, one)}" for part, one in zip(groups, drawn, strict=True)]
    return f"Scatter of {name} readings by {by}, shrunken to the common value: {listed(parts)}."


def _mmhg(audit: Audit, e: Estimate) -> str:
    if e.lower is None or e.upper is None:
        return f"{number(e.estimate)} mmHg"
    share = percent(audit.level)
    return f"{number(e.estimate)} mmHg ({share} interval {number(e.lower)} to {number(e.upper)})"


def _operators(audit: Audit, one: Operators) -> str:
    name = TAKEN_BY[one.method]
    if one.reason is not None or one.p is None or one.sd is None:
        return f"Operators cannot be compared by {name}: {one.reason}."
    if not one.sd.estimate:
        upper, share = one.sd.upper, percent(audit.level)
        up_to = ""
        if upper is not None:
            up_to = (
                f": an SD between them of up to {number(upper)} mmHg cannot be ruled out ({share})"
            )
        return (
            f"By {name}, operators' sessions of the same animals differ no more than chance would "
            f"give, which does not show that they are alike{up_to}. Compared: {one.basis}."
        )
    parts = [f"{part.operator} {_mmhg(audit, part.effect)}" for part in one.effects]
    sure = "differ" if one.p < _TOLD else "do not clearly differ"
    return (
        f"By {name}, operators' sessions of the same animals {sure} beyond chance "
        f"(p {number(one.p, 3)}); in alphabetical order, relative to the average and shrunken to "
        f"it: {listed(parts)}. Compared: {one.basis}."
    )


def _cuffs(audit: Audit) -> Iterator[str]:
    for one in audit.cuffs:
        who = f"{one.species}s" if one.species else "animals of unknown species"
        if not one.n:
            yield f"Cuff ratios of {who} are not known: a length is missing in all {one.unknown}."
            continue
        yield (
            f"Cuff width over limb circumference in {who}: {one.within} of {one.n} sessions lie "
            f"within {one.low:g} to {one.high:g}, {one.below} below (narrow cuffs read high) and "
            f"{one.above} above (wide cuffs read low); lengths are missing in {one.unknown}."
        )


def _times(audit: Audit) -> Iterator[str]:
    for one in audit.times:
        held = one.afternoon_minus_morning
        name = TAKEN_BY[one.method]
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
        f"Starts and changes of a pressure-acting drug: {held.n}, of which {held.count} rested on "
        "one session or none."
    )


def _precision(audit: Audit, one: Precision) -> str:
    best, name = one.changes[0], TAKEN_BY[one.method]
    each = one.reading_sd.estimate
    said = (
        f"By {name}, one visit's mean lies about the usual pressure with an SD of "
        f"{number(one.now.estimate)} mmHg (visit noise {number(one.visit_sd.estimate)}"
        f"{'' if each is None else f', readings {number(each)} each'}; from "
        f"{counted(one.pairs, 'pair')} of neighbouring sessions). What would help most: "
        f"{best.words}, to {number(best.sd.estimate)} mmHg ({_less(audit, best)})."
    )
    if one.pairs < _FEW_PAIRS:
        said += " So few pairs make this little more than a guess."
    small = [part.words for part in one.changes if _is_small(part)]
    if small:
        said += f" Less than {_LEAST_GAIN:g} mmHg would be gained by: {listed(small)}."
    return said


def _less(audit: Audit, best: Change) -> str:
    gain = best.gain
    less = f"{number(gain.estimate)} less"
    if gain.lower is None or gain.upper is None:
        return less
    return f"{less}; {interval(audit.level, gain.lower, gain.upper, 1)}"


def _is_small(change: Change) -> bool:
    """Whether a change is of no use, as far as these sessions tell."""
    return change.gain.estimate is not None and change.gain.estimate < _LEAST_GAIN
