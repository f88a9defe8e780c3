"""The in-room sum in words that are read once, with the animal on the table.

Standard library only. Where a rule is from memory, the words say so.
"""

from __future__ import annotations

from bpvet.answers.room.chart_line import short
from bpvet.answers.room.result import GoOnAnswer, RangeAnswer, ReadingFate, RoomWords, Spread
from bpvet.answers.room.urgent import judged
from bpvet.facts.categories import Guideline, guideline
from bpvet.facts.protocol import CEILING, ENOUGH_READINGS, MIN_READINGS, limits
from bpvet.facts.sources import credit, fact
from bpvet.facts.species import cuff_fact
from bpvet.facts.species import judged as has_bounds
from bpvet.facts.words import KEPT_OUT_CONDITIONS, METHOD_WORDS
from bpvet.printing import a_or_an, number
from bpvet.visits.choice import Flag, SessionSum

TYPE_CHECKING = False
if TYPE_CHECKING:
    from bpvet.answers.room.expected import Expected
    from bpvet.answers.room.result import RoomAnswer

#: What stands above the line that is copied into the chart.
CHART = "For the chart:"
_SIGNS = {"at least": "> ", "at most": "< "}
_SMALL = ("no", "one", "two", "three", "four", "five", "six", "seven")


def room_words(
    found: SessionSum,
    lies: RangeAnswer,
    go_on: GoOnAnswer,
    chosen: Guideline,
    condition: str,
    species: str,
    sizes: tuple[float | None, float | None],
) -> RoomWords:
    """Return what a person reads beside the numbers.

    Parameters
    ----------
    found : SessionSum
    lies : RangeAnswer
    go_on : GoOnAnswer
    chosen : Guideline
    condition, species : str
        As in the records.
    sizes : (float or None, float or None)
        Width of the cuff and circumference of the limb under it, cm.
    """
    return RoomWords(
        range=range_line(lies),
        go_on=go_on_lines(found, go_on.more_for_minimum, go_on.more_for_enough),
        cautions=caution_lines(found, chosen, condition, species),
        notes=(*note_lines(found, species), *cuff_lines(*sizes, species)),
    )


def low_text(why: str, mean: float | None, condition: str) -> str:
    """Return the urgent line of a pressure that may be too low.

    Parameters
    ----------
    why : str
        ``below``, ``no_sound`` or ``mean``.
    mean : float or None
        The mean that lies low, mmHg: of the session, or arterial.
    condition : str
        As in the records.
    """
    low, low_mean = fact("project.urgent.low").value, fact("project.urgent.low_mean").value
    because = {
        "below": f"this session's mean is {number(mean, 0)} mmHg, below {number(low, 0)}",
        "no_sound": "half or more of the readings gave no sound",
        "mean": f"the mean arterial pressure is {number(mean, 0)} mmHg, below "
        f"{number(low_mean, 0)}",
    }[why]
    under = "" if condition != "anaesthetised" else " The animal is under anaesthesia."
    return (
        f"The pressure may be too low, or measured wrongly: {because}.{under} Repeat it, look at "
        "the animal, and let a vet see it now. What to change is for the vet to decide."
    )


def severe_text(mean: float, as_judged: float, chosen: Guideline, species: str) -> str:
    """Return the urgent line of a severe pressure; `mean` as read and as judged, mmHg."""
    # Most sessions are not severe, and start without the table of rechecks.
    from bpvet.facts.recheck import rows

    window = rows()["severe"].window(chosen.key, species)
    name = "judgement of this project"
    if window.fact is not None:
        name = credit(window.fact)
    severe = fact("project.urgent.severe").value or 0
    bound = f"{number(severe, 0)} mmHg or more"
    if mean < severe:
        bound = (
            f"{number(mean, 0)} mmHg, judged as {number(as_judged, 0)} because readings at "
            "home or after a calming drug are lower than a clinic's"
        )
    return (
        f"{bound}: look for organ damage today (eyes, nervous signs, heart, kidneys). With a sign "
        "of damage to the eye or the brain a vet must see this animal now. Without one, measure "
        f"again within {window.earliest} to {window.latest} days ({name})."
    )


def expected_text(answer: RoomAnswer, found: Expected) -> str:
    """Return what was to be expected of a session, and where it lies, as sentences."""
    kind = f"{METHOD_WORDS[answer.method]} session"
    if answer.condition != "clinic":
        kind = f"{answer.condition} {kind}"
    if found.mean is None or found.lower is None:
        why = {
            "kept_out": f"{a_or_an(kind)} is not set beside others",
            "no_reading": "no reading counts",
            "none_earlier": f"no earlier {kind} is on record that could say so",
            "beyond_gauge": "earlier readings beyond the gauge leave open what was to be expected",
        }[found.unknown]
        return f"What was to be expected is not known: {why}."
    many, used = found.sessions, answer.n_used
    usual = (
        f"Expected from {many} earlier {kind}{'s' * (many != 1)}, for a mean of {used} "
        f"reading{'s' * (used != 1)}: {number(found.mean, 0)} mmHg, 95 % from "
        f"{number(max(found.lower, 0.0), 0)} to {number(found.upper, 0)}."
    )
    here = f"{answer.systolic.bound} {number(answer.systolic.mean, 0)}".strip()
    if found.lies == "within":
        less = "; what is urgent is no less urgent for that" if answer.urgent else ""
        return f"{usual} This session, {here}, lies within{less}."
    if found.lies == "open":
        return f"{usual} This session is a bound, {here}: whether it lies within is not known."
    return (
        f"{usual} This session, {here}, lies {found.lies} that: look for what changed, in the "
        "animal or in the measuring."
    )


def range_line(lies: RangeAnswer) -> str:
    """Return the range that the mean lies in as a sentence, with the source of its bounds."""
    if lies.name is None:
        return f"No range is named: {lies.withheld}."
    if lies.low is None:
        ends = f"below {number(lies.high, 0)} mmHg"
    elif lies.high is None:
        ends = f"{number(lies.low, 0)} mmHg or more"
    else:
        ends = f"{number(lies.low, 0)} up to {number(lies.high, 0)} mmHg"
    beyond = f" {lies.or_beyond}" if lies.or_beyond else ""
    bounds = guideline(lies.guideline).categories
    credited = next(
        (credit(fact(category.fact_id)) for category in bounds if category.name == lies.name), ""
    )
    return (
        f'In the range of "{lies.name}"{beyond} ({ends}; {credited}). '
        "One session says where this visit lies, not what the animal usually has."
    )


def go_on_lines(found: SessionSum, to_minimum: int, to_enough: int) -> tuple[str, ...]:
    """Return whether to take more readings, and why.

    Parameters
    ----------
    found : SessionSum
    to_minimum, to_enough : int
        Further readings after which 3, and after which 5, count.
    """
    reasons = {reason.text for reason in found.go_on}
    lines = []
    if Flag.FEW in reasons:
        lines.append(
            f"Go on: take at least {_counted(to_minimum, 'more reading')}, so that "
            f"{_count(MIN_READINGS)} count ({_cited('protocol.n.minimum')}). Better: "
            f"{_count(to_enough)} more, so that {_count(ENOUGH_READINGS)} count"
            f"{_first_goes(found)}."
        )
    elif Flag.NOT_ENOUGH in reasons:
        lines.append(
            f"Go on if the animal lets you: {_counted(to_enough, 'more reading')} would make "
            f"{_count(ENOUGH_READINGS)} that count, and {_count(ENOUGH_READINGS)} to seven are "
            f"advised ({_cited('protocol.n.enough')}){_first_goes(found)}."
        )
    if Flag.STILL_FALLING in reasons:
        lines.append(
            "Go on: the readings are still falling, so their mean reads high. Wait until they "
            f"level off, then take five to seven ({_cited('protocol.plateau')})."
        )
    if Flag.INCONSISTENT in reasons:
        spread = (
            "one lies far beyond the others"
            if found.cv is None
            else f"their SD is {number(100 * found.cv, 0)} % of the mean, and up to 20 % is called "
            "consistent"
        )
        lines.append(
            f"The readings disagree: {spread}. Change the site or the cuff, or come back later "
            f"({_cited('protocol.repeat')})."
        )
    if not lines:
        lines.append(
            f"Enough: {_count(found.n_used)} readings count, they agree, and they are not falling."
        )
    return tuple(lines)


def caution_lines(
    found: SessionSum, chosen: Guideline, condition: str, species: str
) -> tuple[str, ...]:
    """Return what must be asked or looked for today, besides what is urgent by itself.

    Under sedation or anaesthesia nothing is said; of a species that no guideline speaks of, that
    nothing is judged.
    """
    if condition in KEPT_OUT_CONDITIONS:
        return ()
    heard = (_nothing_heard(),) if found.mean is None and "no sound" in found.fates else ()
    if not has_bounds(species):
        return (_no_bounds(found.mean), *heard)
    if found.mean is None:
        return heard
    low = fact("project.urgent.low_on_drug")
    as_judged = judged(found.mean, condition)
    lines = []
    if found.mean < (low.value or 0):
        lines.append(
            f"Below {number(low.value, 0)} mmHg: is it on a drug that acts on pressure? Then it is "
            "low on treatment: ask about weakness, appetite and kidneys."
        )
    elif as_judged < chosen.floor.value:
        lines.append(
            f"Below {number(chosen.floor.value, 0)} mmHg: if the animal is weak or has collapsed, "
            "or is on a drug that acts on pressure, its pressure may be too low and a vet should "
            f"see it today ({credit(chosen.floor.fact)})."
        )
    if "no sound" in found.fates:
        lines.append(_nothing_heard())
    if as_judged >= (fact("project.urgent.raised").value or 0):
        lines.append(
            f"{number(fact('project.urgent.raised').value, 0)} mmHg or more: are the eyes, the "
            "mind and the gait as they were? A sign of damage to the eye or the brain needs a vet "
            "now."
        )
    return tuple(lines)


def note_lines(found: SessionSum, species: str) -> tuple[str, ...]:
    """Return what must be said beside single readings: bounds, ceilings, unusual values."""
    bounds = limits("systolic", species)
    lines = []
    for nth, reading in enumerate(found.readings, start=1):
        if reading.value is None or reading.kind == "excluded":
            continue
        if reading.bound:
            sense = "higher" if reading.bound == "at least" else "lower"
            lines.append(
                f"Reading {nth} is a bound, {reading.bound} {number(reading.value, 0)} mmHg: the "
                f"true value is {sense}."
            )
        elif reading.value == CEILING:
            lines.append(
                f"Reading {nth}: {CEILING} is the ceiling of many gauges. If yours could show "
                f"no more, enter it as over{CEILING}."
            )
        elif bounds.notes(reading.value):
            lines.append(
                f"Reading {nth}: {number(reading.value, 0)} mmHg is unusual (outside "
                f"{bounds.note_low:g} to {bounds.note_high:g}). Check it; it is kept."
            )
    return tuple(lines)


def cuff_lines(width: float | None, limb: float | None, species: str) -> tuple[str, ...]:
    """Return that the cuff is too narrow or too wide for the limb, sizes in cm, if it is."""
    if not width or not limb or width < 0 or limb < 0:
        return ()
    bounds, ratio = limits("cuff_ratio", species), width / limb
    if bounds.usual(ratio):
        return ()
    return (
        f"The cuff's width is {number(100 * ratio, 0)} % of the limb's circumference; "
        f"{number(100 * bounds.note_low, 0)} to {number(100 * bounds.note_high, 0)} % is advised "
        f"({_cited(cuff_fact(species))}).",
    )


def _no_bounds(mean: float | None) -> str:
    measured = "this session" if mean is None else f"this session's mean of {number(mean, 0)} mmHg"
    return (
        f"No bounds are on file for this species: {measured} is judged neither as too low nor as "
        "too high here. A vet judges it."
    )


def _nothing_heard() -> str:
    return (
        "A reading gave no sound, so it has no number. In a weak animal the pressure may be too "
        "low: a vet should see it today."
    )


def _first_goes(found: SessionSum) -> str:
    """Say that the first will be left out, where that is still to come."""
    if found.rule != "guideline" or "left out" in found.fates:
        return ""
    if found.readings[0].kind not in ("number", "bound"):
        return ""
    return "; from four readings on the first is left out"


def _cited(id: str) -> str:
    return credit(fact(id))


def _count(count: int) -> str:
    return _SMALL[count] if count < len(_SMALL) else str(count)


def _counted(count: int, word: str) -> str:
    return f"{_count(count)} {word}" + ("" if count == 1 else "s")


def _in_digits(count: int, word: str) -> str:
    return f"{count} {word}" + ("" if count == 1 else "s")


def number_lines(answer: RoomAnswer) -> list[str]:
    """Return what a session comes to, a line a quantity, and the spread of the systolic."""
    systolic = answer.systolic
    if systolic.mean is None:
        return ["No number: no reading counts."]
    bound = f"{systolic.bound} " if systolic.bound else ""
    count = f"{systolic.n} of {_in_digits(answer.n_taken, 'reading')}"
    lines = [f"Systolic {bound}{short(systolic.mean)} mmHg, the mean of {count}"]
    lines += [f"  spread: {_spread_words(systolic)}"] if systolic.sd is not None else []
    beside = {"Diastolic": answer.diastolic, "Mean pressure": answer.mean}
    for name, summary in {**beside, "Heart rate": answer.heart_rate}.items():
        if summary is not None and summary.mean is not None:
            sd = f", SD {short(summary.sd)}" if summary.sd is not None else ""
            of = _in_digits(summary.n, "reading")
            lines.append(f"{name} {short(summary.mean)} {summary.unit} (mean of {of}{sd})")
    return lines


def _spread_words(spread: Spread) -> str:
    lowest, highest = spread.lowest or 0.0, spread.highest or 0.0
    return (
        f"SD {short(spread.sd or 0.0)} ({100 * (spread.cv or 0.0):.0f} % of the mean); "
        f"{short(lowest)} to {short(highest)}, a range of {short(highest - lowest)} "
        f"({100 * (spread.relative_range or 0.0):.0f} %)"
    )


def as_taken(reading: ReadingFate) -> str:
    """Return a reading as it was taken: a bound with its sign, other quantities after a stroke."""
    if reading.systolic is None:
        return "no sound"
    values = (reading.diastolic, reading.mean, reading.heart_rate)
    beside = "/".join("" if value is None else f"{value:g}" for value in values).rstrip("/")
    return f"{_SIGNS.get(reading.bound, '')}{reading.systolic:g}{'/' * bool(beside)}{beside}"


def what_became(reading: ReadingFate) -> str:
    """Return whether a reading counts, and why not."""
    if reading.fate == "used":
        return "yes"
    return (
        f"no: {reading.reason}" if reading.fate != "excluded" else f"no, excluded: {reading.reason}"
    )
