"""The animals: their own rows, ids that look like one animal, and animals without readings."""

from __future__ import annotations

from types import MappingProxyType

from bpvet.facts.words import SPECIES
from bpvet.printing import shown
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Words, WordsByCode
from bpvet.records.headings.near_names import did_you_mean
from bpvet.wording.en.findings.phrases import ONE_WAY


def _target(written: str, low: int, high: int) -> Words:
    return Words(
        f"{shown(written)} is not a plausible systolic target: {low} to {high} mmHg.",
        "Correct it, or leave the cell blank for the guideline's target.",
    )


def _later(written: str, as_of: str) -> str:
    return f"{shown(written)} is later than {as_of}, the date of this report."


def _born_in_future(written: str, as_of: str) -> Words:
    return Words(_later(written, as_of), "Correct the date, or leave the cell blank.")


def _left_in_future(written: str, as_of: str) -> Words:
    return Words(
        _later(written, as_of),
        "The animal counts as present until then; nothing to do if that is right.",
    )


def _no_readings(animal: str, unlisted: bool, near: tuple[str, ...]) -> Words:
    also = " nor in the animals table" if unlisted else ""
    return Words(
        f"No reading belongs to {shown(animal)}{also}. The row is kept.",
        did_you_mean(near) or "Nothing to do if it has not been measured.",
    )


def _no_animals_table(animals: int) -> Words:
    whose = "the animal's species is" if animals == 1 else f"the species of {animals} animals is"
    return Words(
        f"There is no animals table: {whose} not known.",
        f"Add animals.csv with the columns animal and species ({', '.join(SPECIES)}).",
    )


def _not_listed(animal: str, near: tuple[str, ...]) -> Words:
    return Words(
        f"{shown(animal)} is not in the animals table, so its species is not known.",
        f"Add it there. {did_you_mean(near)}".rstrip(),
    )


def _ids_alike(animal: str, other: str) -> Words:
    return Words(
        f"{shown(animal)} looks like {shown(other)}: they differ only in case or white space. They "
        "are kept as two animals.",
        ONE_WAY,
    )


def _odd_id(animal: str) -> Words:
    return Words(
        f"{shown(animal)} holds characters that cannot be seen. It is kept as it stands.",
        "Check the id, here and wherever it is used.",
    )


def _listed_twice(animal: str, lines: tuple[int, ...]) -> Words:
    return Words(
        f"{shown(animal)} is in several rows (lines {', '.join(map(str, lines))}); they are read "
        "as one.",
        "Keep one row for each animal.",
    )


def _disagree(animal: str, different: tuple[str, ...]) -> Words:
    return Words(
        f"The rows of {shown(animal)} disagree: {' and '.join(different)}. None of them is used.",
        "Keep the right one; if they are two animals, give them two ids.",
    )


WORDS: WordsByCode = MappingProxyType(
    {
        Code.TARGET: _target,
        Code.NO_SPECIES: Words(
            f"The species is blank: the limits used are the widest of {' and '.join(SPECIES)}.",
            f"Write {' or '.join(SPECIES)}.",
        ),
        Code.BORN_IN_FUTURE: _born_in_future,
        Code.LEFT_IN_FUTURE: _left_in_future,
        Code.LEFT_BEFORE_BORN: Words(
            "The animal left before it was born. Both dates are kept.", "Correct one of the two."
        ),
        Code.NO_READINGS: _no_readings,
        Code.NO_ANIMALS_TABLE: _no_animals_table,
        Code.NOT_LISTED: _not_listed,
        Code.IDS_ALIKE: _ids_alike,
        Code.ODD_ID: _odd_id,
        Code.LISTED_TWICE: _listed_twice,
        Code.TWO_SPECIES: _disagree,
        Code.TWO_BIRTH_DATES: _disagree,
        Code.TWO_BREEDS: _disagree,
        Code.TWO_SEXES: _disagree,
        Code.ROWS_DISAGREE: _disagree,
    }
)
