"""Where the header is, which of its columns are known, and which contradict each other."""

from __future__ import annotations

from bpvet.printing import shown
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Words
from bpvet.records.headings.near_names import either
from bpvet.records.headings.settled import FILE_NAME, UNUSED
from bpvet.wording.en.findings.phrases import NOTHING_TO_DO
from bpvet.wording.en.findings.settled import SAY_FILE_AN_ANIMAL, as_column
from bpvet.wording.en.findings.wording import Wording

WORDS = Wording(
    {
        Code.MEAN_WITHOUT_COUNT: Words(
            'There is a "systolic_mean" without "systolic_n", the count of its readings.',
            "Add the count of readings behind each mean.",
        ),
        Code.NO_READING_COLUMN: Words(
            "No column holds a reading.",
            "Name one systolic (or systolic_1, systolic_2, …, or systolic_mean).",
        ),
    }
)


@WORDS.of(Code.ABOVE_HEADER)
def _above(texts: tuple[str, ...], many: int) -> Words:
    stand = f"{many} lines stand" if many > 1 else "One line stands"
    rest = f" and {many - 3} more." if many > 3 else "."
    return Words(
        f"{stand} above the header and {'are' if many > 1 else 'is'} not read as a row: "
        f"{', '.join(shown(text, 40) for text in texts)}{rest}",
        NOTHING_TO_DO,
    )


@WORDS.of(Code.HEADER_IN_TWO)
def _in_two_lines(names: tuple[str, ...]) -> Words:
    listed = ", ".join(shown(name, 30) for name in names)
    return Words(f"The header takes two lines, which are read as one: {listed}.", NOTHING_TO_DO)


@WORDS.of(Code.UNKNOWN_COLUMNS)
def _unknown_columns(heads: tuple[str, ...], many: int) -> Words:
    more = f" and {many - 20} more" if many > 20 else ""
    listed = ", ".join(shown(head, 30) for head in heads)
    return Words(
        f"Columns not known here are kept as text and not used: {listed}{more}.",
        f"If one of them is a known column, name it: {as_column('Theirs', 'ours')}.",
    )


@WORDS.of(Code.DOUBLED_COLUMN)
def _doubled_column(name: str, heads: tuple[str, ...]) -> Words:
    others = [head for head in dict.fromkeys(heads) if heads.count(head) == 1]
    fix = "Keep one of them, and give the others another heading."
    if len(others) > 1:
        fix = (
            f'If "{others[0]}" is the one, say that "{others[1]}" is not: '
            f"{as_column(others[1], UNUSED)}."
        )
    return Words(f'The column "{name}" appears {len(heads)} times ({either(heads)}).', fix)


@WORDS.of(Code.MISSING_COLUMN)
def _missing_column(
    name: str, near: tuple[str, ...], heads: tuple[str, ...], readings: bool
) -> Words:
    reason = f'The required column "{name}" is missing.'
    if len(near) > 1:
        return Words(reason, f"Is it {either(near)}? Say which: {as_column(near[0], name)}.")
    if near:
        return Words(reason, f'Is it "{near[0]}"? Then say so: {as_column(near[0], name)}.')
    listed = ", ".join(shown(head, 30) for head in heads)
    fix = f"Add it, or name the column that holds it. The header has: {listed}."
    if name == "method":
        fix += (
            f" If all are of one method, say so below [every_row] in {FILE_NAME}: "
            'method = "doppler".'
        )
    if name == "animal" and readings:
        fix += (
            f" If the file is of one animal, whose id is in its name, say so {SAY_FILE_AN_ANIMAL}."
        )
    return Words(reason, fix)


@WORDS.of(Code.LAYOUT_NOT_AS_STATED)
def _layout_not_as_stated(stated: str, layout: str) -> Words:
    return Words(
        f'The layout is stated as "{stated}", but is {layout}.',
        f"Correct the layout in {FILE_NAME}, or the headings.",
    )


@WORDS.of(Code.READINGS_TWICE)
def _readings_twice(pair: tuple[str, str], heads: tuple[str, ...]) -> Words:
    does = f"{either(heads)} does" if len(heads) == 1 else f"{either(heads)} do"
    return Words(
        f'Both "{pair[0]}" and "{pair[1]}" are there: which holds the readings?',
        f"If the others do, say that {does} not: {as_column(heads, UNUSED)}.",
    )
