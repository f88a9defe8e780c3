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
    by_topic: dict[str, Iterable[str]] = {
        "basis.sessions": (
            f"This covers {counted(audit.sessions, 'awake session')} of "
            f"{counted(audit.animals, 'animal')}, systolic pressure, as of {audit.as_of}; rule "
            f"{audit.rule} chose the readings.",
        ),
        "precision.visit": [_precision(audit, precision) for precision in audit.precision],
        "precision.unknown": () if audit.precision else (_NO_PRECISION,),
        "protocol.readings": _readings(audit),
        "protocol.kept": _protocol(audit),
        "protocol.decisions": (_decisions(audit),),
        "order.first": [_order(audit, order) for order in audit.order],
        "digits.end": [_digits(digits) for digits in audit.digits],
        "spread.readings": _scatter(audit),
        "operators.compared": [_operators(audit, operators) for operators in audit.operators],
        "cuffs.ratio": _cuffs(audit),
        "times.day": _times(audit),
        "situations.condition": [
            text for situation in audit.situations for text in situational_sentences(situation)
        ],
    }
    return tuple(Statement(key, text) for key, texts in by_topic.items() for text in texts)


def _readings(audit: Audit) -> Iterator[str]:
    for taken in audit.taken:
        yield (
            f"By {TAKEN_BY[taken.method]}, {number(taken.mean)} readings were taken per session on "
            f"average ({taken.least} to {taken.most}) and {number(taken.mean_used)} were used."
        )


def _protocol(audit: Audit) -> Iterator[str]:
    for taken in audit.taken:
        items = [item for item in audit.protocol if item.method == taken.method and item.count]
        if not items:
            yield f"No {METHOD_WORDS[taken.method]} session broke the protocol, as far as checked."
            continue
        parts = [
            f"{item.words}: {item.count} ({probability(item.share.estimate)})" for item in items
        ]
        whole = counted(taken.sessions, f"{METHOD_WORDS[taken.method]} session")
        yield f"Of {whole} – {'; '.join(parts)}."


def _order(audit: Audit, effects: OrderEffects) -> str:
    name = TAKEN_BY[effects.method]
    gap = effects.first_minus_rest
    if gap.estimate is None or gap.lower is None or gap.upper is None:
        return f"By {name}, first readings cannot be compared with the rest: {gap.reason}."
    how = interval(audit.level, gap.lower, gap.upper)
    if gap.lower <= 0 <= gap.upper:
        first = f"the first reading does not clearly differ from the rest ({how} mmHg)"
    else:
        side = "higher" if gap.estimate > 0 else "lower"
        size = number(abs(gap.estimate), 0)
        first = f"the first reading is {size} mmHg {side} than the rest on average ({how})"
    drift = effects.drift_after_first
    if drift.estimate is None:
        return f"By {name}, {first}."
    after = f"after it readings change by {number(drift.estimate)} mmHg each"
    if drift.lower is not None and drift.upper is not None:
        share = percent(audit.level)
        after += f" ({share} interval {number(drift.lower)} to {number(drift.upper)})"
    return f"By {name}, {first}; {after}."


def _digits(digits: Digits) -> str:
    name, test = METHOD_WORDS[digits.method], digits.test
    if test.p is None:
        return f"No {name} reading could be checked for its end digit."
    share = probability(digits.zeros.estimate)
    fair = probability(1 / len(test.digits))
    marks = f"read to {test.step} mmHg"
    uneven = (
        f"End digits of {name} readings ({marks}) are more uneven than chance would give "
        f"(p {number(test.p, 4)}, {_HOWS.get(test.how, test.how)})"
        if test.p < _TOLD
        else f"End digits of {name} readings ({marks}) are no more uneven than chance would give "
        f"(p {number(test.p, 2)}, {_HOWS.get(test.how, test.how)})"
    )
    text = f"{uneven}: {share} end in 0, where {fair} would."
    if test.off_step:
        text += f" {test.off_step} lie between the marks: a dial cannot be read so finely."
    if digits.repeats_expected is not None and digits.repeats_share.estimate is not None:
        text += (
            f" Of consecutive readings {probability(digits.repeats_share.estimate)} are equal; "
            f"scatter alone would give {probability(digits.repeats_expected)}."
        )
    if digits.identical_sessions:
        text += f" All readings equal: {counted(digits.identical_sessions, 'session')}."
    return text


def _scatter(audit: Audit) -> Iterator[str]:
    for spread in audit.spreads:
        if spread.by:
            continue
        sd = _mmhg(audit, spread.sd)
        name = METHOD_WORDS[spread.method]
        yield f"Readings of one {name} session scatter with an SD of {sd}."
        groups = [
            group for group in audit.spreads if group.method == spread.method and group.shrunken
        ]
        for by in dict.fromkeys(group.by for group in groups):
            what = CONTEXTS.get(by, by)
            yield _groups(audit, name, what, [group for group in groups if group.by == by])


def _groups(audit: Audit, name: str, by: str, groups: list[Spread]) -> str:
    drawn = [spread.shrunken for spread in groups if spread.shrunken is not None]
    if len({number(sd.estimate, 2) for sd in drawn}) == 1:
        return (
            f"By {by}, the scatter of {name} readings differs no more than chance would give: "
            f"about {_mmhg(audit, drawn[0])} in each of {len(groups)} groups."
        )
    parts = [f"{spread.group} {_mmhg(audit, sd)}" for spread, sd in zip(groups, drawn, strict=True)]
    return f"Scatter of {name} readings by {by}, shrunken to the common value: {listed(parts)}."


def _mmhg(audit: Audit, e: Estimate) -> str:
    if e.lower is None or e.upper is None:
        return f"{number(e.estimate)} mmHg"
    share = percent(audit.level)
    return f"{number(e.estimate)} mmHg ({share} interval {number(e.lower)} to {number(e.upper)})"


def _operators(audit: Audit, operators: Operators) -> str:
    name = TAKEN_BY[operators.method]
    if operators.reason is not None or operators.p is None or operators.sd is None:
        return f"Operators cannot be compared by {name}: {operators.reason}."
    if not operators.sd.estimate:
        upper, share = operators.sd.upper, percent(audit.level)
        up_to = ""
        if upper is not None:
            up_to = (
                f": an SD between them of up to {number(upper)} mmHg cannot be ruled out ({share})"
            )
        return (
            f"By {name}, operators' sessions of the same animals differ no more than chance would "
            f"give, which does not show that they are alike{up_to}. Compared: {operators.basis}."
        )
    parts = [f"{who.operator} {_mmhg(audit, who.effect)}" for who in operators.effects]
    sure = "differ" if operators.p < _TOLD else "do not clearly differ"
    return (
        f"By {name}, operators' sessions of the same animals {sure} beyond chance "
        f"(p {number(operators.p, 3)}); in alphabetical order, relative to the average and "
        f"shrunken to it: {listed(parts)}. Compared: {operators.basis}."
    )


def _cuffs(audit: Audit) -> Iterator[str]:
    for cuffs in audit.cuffs:
        who = f"{cuffs.species}s" if cuffs.species else "animals of unknown species"
        if not cuffs.n:
            yield f"Cuff ratios of {who} are not known: a length is missing in all {cuffs.unknown}."
            continue
        yield (
            f"Cuff width over limb circumference in {who}: {cuffs.within} of {cuffs.n} sessions "
            f"lie within {cuffs.low:g} to {cuffs.high:g}, {cuffs.below} below (narrow cuffs read "
            f"high) and {cuffs.above} above (wide cuffs read low); lengths are missing in "
            f"{cuffs.unknown}."
        )


def _times(audit: Audit) -> Iterator[str]:
    for times in audit.times:
        gap = times.afternoon_minus_morning
        name = TAKEN_BY[times.method]
        if gap.estimate is None or gap.lower is None or gap.upper is None:
            yield f"By {name}, morning and afternoon cannot be compared: {gap.reason}."
            continue
        side = "above" if gap.estimate > 0 else "below"
        how = interval(audit.level, gap.lower, gap.upper)
        yield (
            f"By {name}, an animal's afternoon sessions lie {number(abs(gap.estimate), 0)} mmHg "
            f"{side} its morning ones (afternoon minus morning: {how})."
        )


def _decisions(audit: Audit) -> str:
    tally = audit.decisions
    if not tally.n:
        return "No pressure-acting drug was started or changed."
    return (
        f"Starts and changes of a pressure-acting drug: {tally.n}, of which {tally.count} rested "
        "on one session or none."
    )


def _precision(audit: Audit, precision: Precision) -> str:
    best, name = precision.changes[0], TAKEN_BY[precision.method]
    each = precision.reading_sd.estimate
    text = (
        f"By {name}, one visit's mean lies about the usual pressure with an SD of "
        f"{number(precision.now.estimate)} mmHg (visit noise {number(precision.visit_sd.estimate)}"
        f"{'' if each is None else f', readings {number(each)} each'}; from "
        f"{counted(precision.pairs, 'pair')} of neighbouring sessions). What would help most: "
        f"{best.words}, to {number(best.sd.estimate)} mmHg ({_less(audit, best)})."
    )
    if precision.pairs < _FEW_PAIRS:
        text += " So few pairs make this little more than a guess."
    small = [
        change.words
        for change in precision.changes
        if change.gain.estimate is not None and change.gain.estimate < _LEAST_GAIN
    ]
    if small:
        text += f" Less than {_LEAST_GAIN:g} mmHg would be gained by: {listed(small)}."
    return text


def _less(audit: Audit, best: Change) -> str:
    gain = best.gain
    less = f"{number(gain.estimate)} less"
    if gain.lower is None or gain.upper is None:
        return less
    return f"{less}; {interval(audit.level, gain.lower, gain.upper, 1)}"
