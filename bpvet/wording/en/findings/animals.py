"""The animals: their own rows, ids that look like one animal, and animals without readings."""

from __future__ import annotations

from bpvet.facts.words import SPECIES
from bpvet.printing import shown
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Words
from bpvet.records.headings.near_names import did_you_mean
from bpvet.wording.en.findings.phrases import NOT_MEASURED, ONE_WAY
from bpvet.wording.en.findings.wording import Wording

WORDS = Wording(
    {
        Code.NO_SPECIES: Words(
            f"The species is blank: the limits used are the widest of {' and '.join(SPECIES)}.",
            f"Write {' or '.join(SPECIES)}.",
        ),
        Code.LEFT_BEFORE_BORN: Words(
            "The animal left before it was born. Both dates are kept.", "Correct one of the two."
        ),
    }
)


@WORDS.of(Code.TARGET)
def _target(written: str, low: int, high: int) -> Words:
    return Words(
        f"{shown(written)} is not a plausible systolic target: {low} to {high} mmHg.",
        "Correct it, or leave the cell blank for the guideline's target.",
    )


def _later(written: str, as_of: str) -> str:
    return f"{shown(written)} is later than {as_of}, the date of this report."


@WORDS.of(Code.BORN_IN_FUTURE)
def _born_in_future(written: str, as_of: str) -> Words:
    return Words(_later(written, as_of), "Correct the date, or leave the cell blank.")


@WORDS.of(Code.LEFT_IN_FUTURE)
def _left_in_future(written: str, as_of: str) -> Words:
    return Words(
        _later(written, as_of),
        "The animal counts as present until then. If its year is a slip, correct it.",
    )


@WORDS.of(Code.NO_READINGS)
def _no_readings(animal: str, unlisted: bool, near: tuple[str, ...]) -> Words:
    also = " nor in the animals table" if unlisted else ""
    return Words(
        f"No reading belongs to {shown(animal)}{also}. The row is kept.",
        did_you_mean(near) or NOT_MEASURED,
    )


@WORDS.of(Code.NO_ANIMALS_TABLE)
def _no_animals_table(animals: int) -> Words:
    whose = "the animal's species is" if animals == 1 else f"the species of {animals} animals is"
    return Words(
        f"There is no animals table: {whose} not known.",
        f"Add animals.csv with the columns animal and species ({', '.join(SPECIES)}).",
    )


@WORDS.of(Code.NOT_LISTED)
def _not_listed(animal: str, near: tuple[str, ...]) -> Words:
    return Words(
        f"{shown(animal)} is not in the animals table, so its species is not known.",
        f"Add it there. {did_you_mean(near)}".rstrip(),
    )


@WORDS.of(Code.IDS_ALIKE)
def _ids_alike(animal: str, other: str) -> Words:
    return Words(
        f"{shown(animal)} looks like {shown(other)}: they differ only in case or white space. They "
        "are kept as two animals.",
        ONE_WAY,
    )


@WORDS.of(Code.ODD_ID)
def _odd_id(animal: str) -> Words:
    return Words(
        f"{shown(animal)} holds characters that cannot be seen. It is kept as it stands.",
        "Check the id, here and wherever it is used.",
    )


@WORDS.of(Code.LISTED_TWICE)
def _listed_twice(animal: str, lines: tuple[int, ...]) -> Words:
    return Words(
        f"{shown(animal)} is in several rows (lines {', '.join(map(str, lines))}); they are read "
        "as one.",
        "Keep one row for each animal.",
    )


@WORDS.of(
    Code.TWO_SPECIES, Code.TWO_BIRTH_DATES, Code.TWO_BREEDS, Code.TWO_SEXES, Code.ROWS_DISAGREE
)
def _disagree(animal: str, different: tuple[str, ...]) -> Words:
    return Words(
        f"The rows of {shown(animal)} disagree: {' and '.join(different)}. None of them is used.",
        "Keep the right one; if they are two animals, give them two ids.",
    )
