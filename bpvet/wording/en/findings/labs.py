"""Laboratory values: names, units, what cannot be, bounds, and two of one day."""

from __future__ import annotations

from bpvet.facts.labs import ANALYTES, known_units, other_units
from bpvet.printing import shown
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Words
from bpvet.records.headings.near_names import either
from bpvet.wording.en.findings.phrases import NOTHING_TO_DO, SPELL_SO
from bpvet.wording.en.findings.wording import Wording

WORDS = Wording(
    {
        Code.LAB_BELOW_ZERO: Words("A laboratory value is not below 0.", "Correct it."),
        Code.LAB_ZERO: Words(
            "The value is 0. It is kept; a trend, which is of per cent, leaves it out.",
            'If it was too low to be measured, write it as a bound, such as "< 0.1".',
        ),
        Code.SAME_VALUE_AGAIN: Words(
            "An earlier row gives this analyte and value on the same day. Both are kept.",
            "If it is the same sample, delete one.",
        ),
    }
)

#: How a bound is written, by its sign.
_SIGNS = {"at least": "> ", "at most": "< "}


@WORDS.of(Code.ANALYTE_NEARLY)
def _named_nearly(written: str, near: str) -> Words:
    return Words(
        f"{shown(written)} is not an analyte known here; {near} is. It is kept as it is written, "
        "and no trend and no warning uses it.",
        SPELL_SO,
    )


@WORDS.of(Code.NO_UNIT)
def _no_unit(analyte: str) -> Words:
    units = f": {either(known_units(analyte))}" if analyte in ANALYTES else ""
    return Words(
        "The value has no unit, and none is guessed.",
        f"Write the unit as the laboratory gives it{units}.",
    )


@WORDS.of(Code.IMPOSSIBLE_UNIT)
def _impossible_unit(analyte: str, unit: str) -> Words:
    return Words(
        f"{ANALYTES[analyte].capitalize()} is not given in {unit}.",
        f"Is it in {either(known_units(analyte))}? Write the unit as the laboratory gives it.",
    )


@WORDS.of(Code.UNKNOWN_UNIT)
def _unknown_unit(analyte: str, unit: str) -> Words:
    return Words(
        f"{shown(unit)} is not a unit of {ANALYTES[analyte]} known here. The value is kept and "
        "shown as it is, and no trend and no warning uses it.",
        f"It is read in {either(known_units(analyte))}.",
    )


def _value(number: float, bound: str, unit: str) -> str:
    return f"{_SIGNS.get(bound, '')}{number:.6g} {unit}".removesuffix(" ratio").rstrip()


def _named(analyte: str, species: str) -> str:
    return f"{ANALYTES[analyte]} of a {species}" if species else ANALYTES[analyte]


def _span(limits: tuple[float, float], unit: str) -> str:
    return f"{limits[0]:g} to {limits[1]:g} {unit}".replace(" ratio", "")


@WORDS.of(Code.IMPOSSIBLE_LAB)
def _impossible(
    value_given: tuple[float, str, str],
    analyte: str,
    species: str,
    possible: tuple[float, float],
    limits_in: str,
) -> Words:
    return Words(
        f"{_value(*value_given)} is not plausible as {_named(analyte, species)}: "
        f"{_span(possible, limits_in)} is what can be.",
        _slip(analyte, value_given),
    )


@WORDS.of(Code.UNUSUAL_LAB)
def _unusual(
    value_given: tuple[float, str, str],
    analyte: str,
    species: str,
    usual: tuple[float, float],
    limits_in: str,
) -> Words:
    fix = "Check it against the laboratory's sheet; nothing to do if it is right."
    if other_units(analyte, value_given[2], value_given[0]):
        fix = f"{_slip(analyte, value_given)} Nothing to do if it is right."
    return Words(
        f"{_value(*value_given)} is unusual for {_named(analyte, species)}: outside "
        f"{_span(usual, limits_in)}. It is kept.",
        fix,
    )


def _slip(analyte: str, value: tuple[float, str, str]) -> str:
    """Return what an implausible value may have been meant for, as a question."""
    number, _, unit = value
    others = other_units(analyte, unit, number)
    if others:
        return (
            f"{number:.6g} {either(others)} would be plausible: is that the unit? "
            "Write it as the laboratory gives it."
        )
    return "A slip of the keys, or a lost decimal mark? Correct it."


@WORDS.of(Code.LAB_BOUND)
def _bound(written: str, modelled: bool) -> Words:
    more = "; a trend leaves it out" if modelled else ""
    return Words(f"{shown(written)} is a bound. It is kept as one{more}.", NOTHING_TO_DO)


@WORDS.of(Code.VALUES_DISAGREE)
def _disagree(value_given: tuple[float, str, str], earlier: tuple[float, str, str]) -> Words:
    return Words(
        f"This row gives {_value(*value_given)}, and an earlier row {_value(*earlier)} on the same "
        "day. Both are kept.",
        "If one of the two is a slip, correct it; if both were measured, nothing to do.",
    )
