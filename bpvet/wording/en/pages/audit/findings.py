"""An audit's answer on its first screens: what to change first, then all in one table."""

from __future__ import annotations

from collections.abc import Iterator

from bpvet.answers.audit.audit import AuditAnswer
from bpvet.facts.measuring import judged
from bpvet.facts.words import METHOD_WORDS
from bpvet.maths.estimate import Estimate
from bpvet.models.audit.audit import Audit
from bpvet.models.audit.protocol import ProtocolItem
from bpvet.printing import number, probability
from bpvet.wording.en.agreement.situation import AGAINST
from bpvet.wording.en.pages.cells import with_level
from bpvet.wording.en.pages.shapes import NONE, Column, Table
from bpvet.wording.en.phrases import capital, counted, listed, percent

#: Breaches of the protocol that are named before the table, the most frequent ones.
_MOST_BREACHES = 3
_LEAST_GAIN = judged("audit.least_gain")
_FEW_PAIRS = judged("audit.few_pairs")

_Row = tuple[str, str, str, str]


#: What is said where nothing is to be changed first.
NOTHING_FIRST = (
    "Nothing here asks to be changed first. That shows only what is recorded: see the table for "
    "what is not."
)


def to_change(answer: AuditAnswer) -> tuple[str, ...]:
    """Return what to change first, the change that gains most before breaches of the protocol."""
    audit = answer.audit
    return (*_gains(audit), *_breaches(audit), *_decided(audit), *_cuffs(audit))


def _gains(audit: Audit) -> Iterator[str]:
    for precision in sorted(audit.precision, key=lambda precision: -precision.pairs):
        best = precision.changes[0]
        if best.gain.estimate is None or best.gain.estimate < _LEAST_GAIN:
            continue
        few = ", little more than a guess" if precision.pairs < _FEW_PAIRS else ""
        yield (
            f"{capital(best.words)}: by {METHOD_WORDS[precision.method]} the SD of a visit's mean "
            f"about the usual pressure would be {number(best.sd.estimate)} mmHg, and not "
            f"{number(precision.now.estimate)} (gain {number(best.gain.estimate)}; "
            f"{_from_to(audit, best.gain)}; from {counted(precision.pairs, 'pair')} of "
            f"sessions{few})."
        )


def _breaches(audit: Audit) -> Iterator[str]:
    broken = [item for item in audit.protocol if item.count]
    broken.sort(key=lambda item: -item.count / item.n)
    for item in broken[:_MOST_BREACHES]:
        share = probability(item.count / item.n)
        yield (
            f"{capital(item.words)}: {item.count} of {item.n} {METHOD_WORDS[item.method]} sessions "
            f"({share}; {_shares_from_to(audit, item.share)})."
        )


def _decided(audit: Audit) -> Iterator[str]:
    tally = audit.decisions
    if tally.count:
        yield (
            f"{capital(tally.words)}: {tally.count} of {tally.n} "
            f"({_shares_from_to(audit, tally.share)}). A second session first is asked, unless it "
            "is urgent."
        )


def _cuffs(audit: Audit) -> Iterator[str]:
    for cuffs in audit.cuffs:
        outside = cuffs.below + cuffs.above
        if outside:
            yield (
                f"Cuff width over limb circumference outside {cuffs.low:g} to {cuffs.high:g} in "
                f"{_species(cuffs.species)}: {outside} of {cuffs.n} sessions (narrow cuffs read "
                "high, wide ones low)."
            )


def _species(species: str) -> str:
    return f"{species}s" if species else "animals of unknown species"


def _from_to(audit: Audit, estimate: Estimate) -> str:
    if estimate.lower is None or estimate.upper is None:
        return "no interval can be given"
    return f"{percent(audit.level)} interval {number(estimate.lower)} to {number(estimate.upper)}"


def _shares_from_to(audit: Audit, share: Estimate) -> str:
    if share.lower is None or share.upper is None:
        return "no interval can be given"
    ends = f"{probability(share.lower)} to {probability(share.upper)}"
    return f"{percent(audit.level)} interval {ends}"


def everything(answer: AuditAnswer) -> Table:
    """Return all that was found in one table, whose zero rows are one sentence."""
    audit = answer.audit
    found = (*_protocol_rows(audit), *_reading_rows(audit), *_other_rows(audit))
    # Three columns, so that a telephone shows them all.
    rows = [
        tuple(_unbroken(cell) for cell in (f"{what}, {method}" if method else what, *rest))
        for what, method, *rest in found
    ]
    columns = (Column("What"), Column("Found"), Column("Interval"))
    caption = with_level(audit.level, "What was found")
    zeros = [zero for zero in (_never(audit), _unknown(audit)) if zero]
    note = (
        "Intervals of shares are by animal; counts of readings are of all that was done and have "
        "none."
    )
    return Table(caption, columns, rows, notes=(*zeros, note))


def _unbroken(cell: str) -> str:
    """Return a cell whose numbers stay on one line with what belongs to them."""
    for before, after in ((" %", "%"), (" mmHg", "mmHg")):
        cell = cell.replace(before, f"\N{NO-BREAK SPACE}{after}")
    return cell.replace("p 0", "p\N{NO-BREAK SPACE}0")


def _protocol_rows(audit: Audit) -> Iterator[_Row]:
    for item in sorted(audit.protocol, key=lambda item: -item.count / max(item.n, 1)):
        if item.count:
            yield _counted_row(item)
    if audit.decisions.count:
        yield _counted_row(audit.decisions)


def _counted_row(item: ProtocolItem) -> _Row:
    found = f"{item.count} of {item.n} ({probability(item.count / item.n)})"
    return capital(item.words), METHOD_WORDS.get(item.method, ""), found, _shares(item.share)


def _shares(share: Estimate) -> str:
    if share.lower is None or share.upper is None:
        return NONE
    return f"{probability(share.lower)} to {probability(share.upper)}"


def _mmhg(value: Estimate) -> tuple[str, str]:
    """Return an estimate and its interval as cells; of one that is not known, why."""
    if value.estimate is None:
        return "not known", value.reason or NONE
    if value.lower is None or value.upper is None:
        return f"{number(value.estimate)} mmHg", value.reason or NONE
    return f"{number(value.estimate)} mmHg", f"{number(value.lower)} to {number(value.upper)}"


def _reading_rows(audit: Audit) -> Iterator[_Row]:
    for taken in audit.taken:
        range_ = f"{number(taken.mean)} ({taken.least} to {taken.most})"
        found = f"{range_}; {number(taken.mean_used)} used"
        yield "Readings taken a session", METHOD_WORDS[taken.method], found, NONE
    for effects in audit.order:
        yield (
            "First reading minus the rest",
            METHOD_WORDS[effects.method],
            *_mmhg(effects.first_minus_rest),
        )
    for effects in audit.order:
        words = "Change with each reading after the first"
        yield words, METHOD_WORDS[effects.method], *_mmhg(effects.drift_after_first)
    for digits in audit.digits:
        name, test = METHOD_WORDS[digits.method], digits.test
        fair = probability(1 / len(test.digits))
        p = "" if test.p is None else f"; p {number(test.p, 3)}"
        share = probability(digits.zeros.estimate)
        yield "Readings that end in 0", name, f"{share}, {fair} by chance{p}", _shares(digits.zeros)
        if test.off_step:
            yield "Readings between the marks", name, str(test.off_step), NONE
    for digits in audit.digits:
        expected = probability(digits.repeats_expected)
        found = f"{digits.repeats} of {digits.pairs}, {expected} by chance"
        yield (
            *("Readings equal to the one before", METHOD_WORDS[digits.method], found),
            _shares(digits.repeats_share),
        )
        if digits.identical_sessions:
            count = str(digits.identical_sessions)
            yield "Sessions with all readings equal", METHOD_WORDS[digits.method], count, NONE
    for spread in audit.spreads:
        if not spread.by:
            yield "SD of readings in a session", METHOD_WORDS[spread.method], *_mmhg(spread.sd)


def _other_rows(audit: Audit) -> Iterator[_Row]:
    for operators in audit.operators:
        if operators.sd is not None:
            found, ends = _mmhg(operators.sd)
            p = "" if operators.p is None else f"; p {number(operators.p, 3)}"
            yield "SD between operators", METHOD_WORDS[operators.method], f"{found}{p}", ends
    for situation in audit.situations:
        if situation.found is not None:
            name = METHOD_WORDS[situation.found.method]
            yield AGAINST[situation.condition], name, *_mmhg(situation.found.overall)
    for cuff in audit.cuffs:
        if cuff.n:
            words = f"Cuffs of {_species(cuff.species)} within {cuff.low:g} to {cuff.high:g}"
            found = f"{cuff.within} of {cuff.n}; not recorded: {cuff.unknown}"
            yield words, "", found, _shares(cuff.share_within)
    for time in audit.times:
        words = "Afternoon minus morning"
        yield words, METHOD_WORDS[time.method], *_mmhg(time.afternoon_minus_morning)


def _never(audit: Audit) -> str:
    """Return what was never so in one sentence, with how much of it cannot be ruled out."""
    parts = []
    for taken in audit.taken:
        none = [step for step in audit.protocol if step.method == taken.method and not step.count]
        if none:
            uppers = [step.share.upper for step in none if step.share.upper is not None]
            up_to = f", each up to {probability(max(uppers))} not ruled out" if uppers else ""
            named = listed([step.words for step in none])
            whole = counted(taken.sessions, f"{METHOD_WORDS[taken.method]} session")
            parts.append(f"in {whole}{up_to}: {named}")
    return f"Not once {'; nor '.join(parts)}." if parts else ""


def _unknown(audit: Audit) -> str:
    """Return what the records say nothing of."""
    parts = [
        f"{AGAINST[situation.condition][0].lower()}{AGAINST[situation.condition][1:]}"
        for situation in audit.situations
        if situation.found is None
    ]
    if not audit.operators:
        parts.append("operators")
    if not audit.times:
        parts.append("the time of day")
    parts += [f"the cuffs of {_species(cuffs.species)}" for cuffs in audit.cuffs if not cuffs.n]
    return f"Not known from these records: {listed(parts)}." if parts else ""
