"""The tables of an audit's page; every number of the figures stands in one of them."""

from __future__ import annotations

from bpvet.facts.words import METHOD_WORDS
from bpvet.maths.estimate import Estimate
from bpvet.models.agreement.situation import Situation
from bpvet.models.audit.audit import Audit
from bpvet.printing import number, probability
from bpvet.wording.en.pages.cells import ESTIMATE, ends, with_level
from bpvet.wording.en.pages.shapes import Column, Table
from bpvet.wording.en.phrases import capital

_METHOD = Column("Method")


def _count(head: str) -> Column:
    return Column(head, number=True)


def _shares(share: Estimate) -> tuple[str, str, str]:
    return (probability(share.estimate), probability(share.lower), probability(share.upper))


def precision_table(audit: Audit) -> Table | None:
    """Return what each change would give, in mmHg; None where nothing is known."""
    rows = []
    for precision in audit.precision:
        name = METHOD_WORDS[precision.method]
        now = f"as it is now ({precision.pairs} {'pair' if precision.pairs == 1 else 'pairs'})"
        rows.append((name, now, *ends(precision.now), "", "", ""))
        rows += [
            (name, change.words, *ends(change.sd), *ends(change.gain))
            for change in precision.changes
        ]
    if not rows:
        return None
    between = (_count("From"), _count("To"))
    sd, gain = _count("SD, mmHg"), _count("Gain, mmHg")
    columns = (_METHOD, Column("Change"), sd, *between, gain, *between)
    words = "SD of one visit's mean about the usual pressure, now and after a change"
    caption = with_level(audit.level, words)
    return Table(caption, columns, rows)


def taken_table(audit: Audit) -> Table | None:
    """Return readings a session, by method."""
    rows = [
        (
            METHOD_WORDS[taken.method],
            str(taken.sessions),
            number(taken.mean),
            str(taken.least),
            number(taken.median),
            str(taken.most),
            number(taken.mean_used),
        )
        for taken in audit.taken
    ]
    heads = ("Sessions", "Mean taken", "Least", "Median", "Most", "Mean used")
    columns = (_METHOD, *(_count(head) for head in heads))
    return Table("Readings taken and used a session", columns, rows)


def protocol_table(audit: Audit) -> Table | None:
    """Return sessions that broke the protocol, and how; decisions last."""
    rows = [
        (
            capital(item.words),
            METHOD_WORDS.get(item.method, ""),
            f"{item.count} of {item.n}",
            *_shares(item.share),
        )
        for item in (*audit.protocol, audit.decisions)
    ]
    columns = (
        Column("What"),
        _METHOD,
        _count("How many"),
        *(_count(head) for head in ("Share", "From", "To")),
    )
    caption = with_level(audit.level, "Sessions that broke the protocol, and how")
    return Table(caption, columns, rows)


def order_table(audit: Audit) -> Table | None:
    """Return first reading against the rest, and drift, by method; mmHg."""
    rows = []
    for effects in audit.order:
        name = METHOD_WORDS[effects.method]
        for words, gap in (
            ("first minus rest", effects.first_minus_rest),
            ("change for each reading, the first included", effects.drift),
            ("change for each reading, from the second on", effects.drift_after_first),
            *((f"reading {each.place} minus rest", each.minus_rest) for each in effects.places),
        ):
            rows.append((name, words, *ends(gap), gap.reason or ""))
    if not rows:
        return None
    columns = (_METHOD, Column("What, mmHg"), *ESTIMATE, Column("Note"))
    return Table(with_level(audit.level, "Within a session"), columns, rows)


def digit_table(audit: Audit) -> Table | None:
    """Return end digits and repeats, by method."""
    rows = []
    for digits in audit.digits:
        name, test = METHOD_WORDS[digits.method], digits.test
        for digit, count in zip(test.digits, test.counts, strict=True):
            rows.append((name, f"ends in {digit}", str(count), ""))
        rows.append((name, "between the marks", str(test.off_step), ""))
        shown = "below 0.001" if test.p is not None and test.p < 0.001 else number(test.p, 3)
        how = f"chi-square {number(test.chi_square)}, p {shown} ({test.how})"
        rows.append((name, "more uneven than chance?", "", how if test.p is not None else "–"))
        zeros = " ".join(("from", _shares(digits.zeros)[1], "to", _shares(digits.zeros)[2]))
        share = f"{probability(digits.zeros.estimate)} of readings on the marks ({zeros})"
        rows.append((name, "ends in 0, as a share", "", share))
        expected = probability(digits.repeats_expected)
        equal = f"of {digits.pairs}; {expected} expected from scatter alone"
        rows.append((name, "equal to the one before", str(digits.repeats), equal))
        rows.append((name, "sessions with all readings equal", str(digits.identical_sessions), ""))
    columns = (_METHOD, Column("Readings"), _count("Count"), Column("Note"))
    return Table("End digits and identical repeats", columns, rows) if rows else None


def spread_table(audit: Audit) -> Table | None:
    """Return the scatter of readings by method and group, plain and drawn together."""
    rows = []
    for spread in audit.spreads:
        drawn = spread.shrunken or Estimate(None)
        group = f"{spread.by}: {spread.group}" if spread.by else "all sessions"
        name = METHOD_WORDS[spread.method]
        rows.append(
            (name, group, str(spread.sessions), str(spread.df), *ends(spread.sd), *ends(drawn))
        )
    if not rows:
        return None
    columns = (
        _METHOD,
        Column("Group"),
        _count("Sessions"),
        _count("Degrees of freedom"),
        *ESTIMATE,
        *(_count(head) for head in ("Drawn together", "from", "to")),
    )
    caption = with_level(audit.level, "SD of readings within a session, mmHg")
    return Table(caption, columns, rows)


def operator_table(audit: Audit) -> Table | None:
    """Return operators' effects, drawn together, in alphabetical order."""
    rows = [
        (
            METHOD_WORDS[operators.method],
            who.operator,
            str(who.sessions),
            str(who.animals),
            *ends(who.effect),
            who.effect.reason or "",
        )
        for operators in audit.operators
        for who in operators.effects
    ]
    for operators in audit.operators:
        if operators.sd is not None:
            name = METHOD_WORDS[operators.method]
            words = "SD between operators"
            rows.append((name, words, "", "", *ends(operators.sd), operators.sd.reason or ""))
    if not rows:
        return None
    columns = (
        _METHOD,
        Column("Operator"),
        _count("Sessions"),
        _count("Animals"),
        *ESTIMATE,
        Column("Note"),
    )
    words = "Operators against the average on the same animals, shrunken to it, mmHg"
    return Table(with_level(audit.level, words), columns, rows)


def situation_table(found: Situation) -> Table | None:
    """Return the situational effect overall and by animal."""
    rows = [
        ("all animals", "", "", "", *ends(found.overall)),
        ("SD between animals", "", "", "", *ends(found.between_animals)),
    ]
    rows += [
        (
            animal.animal,
            str(animal.sessions[0]),
            str(animal.sessions[1]),
            number(animal.plain),
            *ends(animal.shrunken),
        )
        for animal in found.animals
    ]
    columns = (
        Column("Animal"),
        _count("Sessions in the clinic"),
        _count("Sessions under the other"),
        _count("Plain difference"),
        *ESTIMATE,
    )
    words = f"Difference by animal, shrunken to the mean, {found.unit}"
    return Table(with_level(found.level, words), columns, rows)


def cuff_table(audit: Audit) -> Table | None:
    """Return cuff width over limb circumference, by species."""
    rows = [
        (
            cuffs.species or "unknown",
            number(cuffs.median, 2),
            f"{cuffs.low:g} to {cuffs.high:g}",
            str(cuffs.below),
            str(cuffs.within),
            str(cuffs.above),
            str(cuffs.unknown),
            *_shares(cuffs.share_within),
        )
        for cuffs in audit.cuffs
    ]
    heads = ("Median", "Guideline", "Below", "Within", "Above", "Not recorded", "Share within")
    columns = (Column("Species"), *(_count(head) for head in (*heads, "From", "To")))
    caption = with_level(audit.level, "Cuff width over limb circumference, sessions")
    return Table(caption, columns, rows)


def time_table(audit: Audit) -> Table | None:
    """Return how sessions of one animal differ by the time of day, mmHg."""
    rows = []
    for times in audit.times:
        name = METHOD_WORDS[times.method]
        of = f"{times.morning} before noon, {times.afternoon} after"
        gap = times.afternoon_minus_morning
        rows.append((name, "afternoon minus morning", of, *ends(gap)))
        rows.append((name, "change for each later hour", of, *ends(times.per_hour)))
    if not rows:
        return None
    columns = (_METHOD, Column("What, mmHg"), Column("Sessions"), *ESTIMATE)
    return Table(with_level(audit.level, "Time of day"), columns, rows)
