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
from bpvet.wording.en.pages.cells import held_from
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
    for one in sorted(audit.precision, key=lambda one: -one.pairs):
        best = one.changes[0]
        if best.gain.estimate is None or best.gain.estimate < _LEAST_GAIN:
            continue
        few = ", little more than a guess" if one.pairs < _FEW_PAIRS else ""
        yield (
            f"{capital(best.words)}: by {METHOD_WORDS[one.method]} the SD of a visit's mean about "
            f"the usual pressure would be {number(best.sd.estimate)} mmHg, and not "
            f"{number(one.now.estimate)} (gain {number(best.gain.estimate)}; "
            f"{_from_to(audit, best.gain)}; from {counted(one.pairs, 'pair')} of sessions{few})."
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
    held = audit.decisions
    if held.count:
        yield (
            f"{capital(held.words)}: {held.count} of {held.n} "
            f"({_shares_from_to(audit, held.share)}). A second session first is asked, unless it "
            "is urgent."
        )


def _cuffs(audit: Audit) -> Iterator[str]:
    for one in audit.cuffs:
        outside = one.below + one.above
        if outside:
            yield (
                f"Cuff width over limb circumference outside {one.low:g} to {one.high:g} in "
                f"{_species(one.species)}: {outside} of {one.n} sessions (narrow cuffs read high, "
                "wide ones low)."
            )


def _species(species: str) -> str:
    return f"{species}s" if species else "animals of unknown species"


def _from_to(audit: Audit, held: Estimate) -> str:
    if held.lower is None or held.upper is None:
        return "no interval can be given"
    return f"{percent(audit.level)} interval {number(held.lower)} to {number(held.upper)}"


def _shares_from_to(audit: Audit, held: Estimate) -> str:
    if held.lower is None or held.upper is None:
        return "no interval can be given"
    ends = f"{probability(held.lower)} to {probability(held.upper)}"
    return f"{percent(audit.level)} interval {ends}"


def everything(answer: AuditAnswer) -> Table:
    """Return all that was found in one table, whose zero rows are one sentence."""
    audit = answer.audit
    found = (*_protocol_rows(audit), *_reading_rows(audit), *_other_rows(audit))
    # Three columns, so that a telephone shows them all.
    rows = [
        tuple(_unbroken(one) for one in (f"{what}, {method}" if method else what, *rest))
        for what, method, *rest in found
    ]
    columns = (Column("What"), Column("Found"), Column("Interval"))
    caption = held_from(audit.level, "What was found")
    zeros = [one for one in (_never(audit), _unknown(audit)) if one]
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


def _shares(held: Estimate) -> str:
    if held.lower is None or held.upper is None:
        return NONE
    return f"{probability(held.lower)} to {probability(held.upper)}"


def _mmhg(held: Estimate) -> tuple[str, str]:
    """Return an estimate and its interval as cells; of one that is not known, why."""
    if held.estimate is None:
        return "not known", held.reason or NONE
    if held.lower is None or held.upper is None:
        return f"{number(held.estimate)} mmHg", held.reason or NONE
    return f"{number(held.estimate)} mmHg", f"{number(held.lower)} to {number(held.upper)}"


def _reading_rows(audit: Audit) -> Iterator[_Row]:
    for taken in audit.taken:
        range_ = f"{number(taken.mean)} ({taken.least} to {taken.most})"
        found = f"{range_}; {number(taken.mean_used)} used"
        yield "Readings taken a session", METHOD_WORDS[taken.method], found, NONE
    for one in audit.order:
        yield "First reading minus the rest", METHOD_WORDS[one.method], *_mmhg(one.first_minus_rest)
    for one in audit.order:
        words = "Change with each reading after the first"
        yield words, METHOD_WORDS[one.method], *_mmhg(one.drift_after_first)
    for held in audit.digits:
        name, test = METHOD_WORDS[held.method], held.test
        fair = probability(1 / len(test.digits))
        p = "" if test.p is None else f"; p {number(test.p, 3)}"
        share = probability(held.zeros.estimate)
        yield "Readings that end in 0", name, f"{share}, {fair} by chance{p}", _shares(held.zeros)
        if test.off_step:
            yield "Readings between the marks", name, str(test.off_step), NONE
    for held in audit.digits:
        expected = probability(held.repeats_expected)
        found = f"{held.repeats} of {held.pairs}, {expected} by chance"
        yield (
            *("Readings equal to the one before", METHOD_WORDS[held.method], found),
            _shares(held.repeats_share),
        )
        if held.identical_sessions:
            count = str(held.identical_sessions)
            yield "Sessions with all readings equal", METHOD_WORDS[held.method], count, NONE
    for spread in audit.spreads:
        if not spread.by:
            yield "SD of readings in a session", METHOD_WORDS[spread.method], *_mmhg(spread.sd)


def _other_rows(audit: Audit) -> Iterator[_Row]:
    for one in audit.operators:
        if one.sd is not None:
            found, ends = _mmhg(one.sd)
            p = "" if one.p is None else f"; p {number(one.p, 3)}"
            yield "SD between operators", METHOD_WORDS[one.method], f"{found}{p}", ends
    for held in audit.situations:
        if held.found is not None:
            name = METHOD_WORDS[held.found.method]
            yield AGAINST[held.condition], name, *_mmhg(held.found.overall)
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
        none = [one for one in audit.protocol if one.method == taken.method and not one.count]
        if none:
            uppers = [one.share.upper for one in none if one.share.upper is not None]
            up_to = f", each up to {probability(max(uppers))} not ruled out" if uppers else ""
            named = listed([one.words for one in none])
            whole = counted(taken.sessions, f"{METHOD_WORDS[taken.method]} session")
            parts.append(f"in {whole}{up_to}: {named}")
    return f"Not once {'; nor '.join(parts)}." if parts else ""


def _unknown(audit: Audit) -> str:
    """Return what the records say nothing of."""
    parts = [
        f"{AGAINST[one.condition][0].lower()}{AGAINST[one.condition][1:]}"
        for one in audit.situations
        if one.found is None
    ]
    if not audit.operators:
        parts.append("operators")
    if not audit.times:
        parts.append("the time of day")
    parts += [f"the cuffs of {_species(one.species)}" for one in audit.cuffs if not one.n]
    return f"Not known from these records: {listed(parts)}." if parts else ""
