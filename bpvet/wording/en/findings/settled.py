"""How a reader settles what a file does not say: by an option once, by a line for good.

Every message that asks which of two things is meant takes its words from here, so that the line
it names can be pasted into the mapping file as it stands.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from bpvet.records.headings.settled import FILE_AN_ANIMAL, FILE_NAME, quoted

#: Marks by which a command line or its list of columns would come apart.
_NOT_ON_A_LINE = re.compile(r'[,"`$\\!\n]')


def at_the_top(*lines: str) -> str:
    """Return where lines are written that hold for all files, and the lines.

    Examples
    --------
    >>> at_the_top('dates = "dmy"', 'dates = "mdy"')
    'for good, at the top of bpvet-columns.toml beside the records: dates = "dmy" or dates = "mdy"'
    """
    return f"for good, at the top of {FILE_NAME} beside the records: {' or '.join(lines)}"


def for_one_file(file: str, line: str) -> str:
    """Return where a line is written that holds for one file, and the line.

    Examples
    --------
    >>> for_one_file("visits.csv", 'unit = "mmHg"')
    'in bpvet-columns.toml beside the records, below [file."visits.csv"]: unit = "mmHg"'
    """
    return f"in {FILE_NAME} beside the records, below [file.{quoted(file)}]: {line}"


def as_column(heading: str | Sequence[str], name: str) -> str:
    """Return how a heading of theirs, or each of several, is said to be a column of ours.

    Examples
    --------
    >>> as_column("Pet", "animal")
    '--columns "Pet=animal", or for good, below [columns] in bpvet-columns.toml: "Pet" = "animal"'
    """
    heads = [heading] if isinstance(heading, str) else heading
    lines = " and the line ".join(f"{quoted(head)} = {quoted(name)}" for head in heads)
    for_good = f"for good, below [columns] in {FILE_NAME}: {lines}"
    if any(_NOT_ON_A_LINE.search(head) for head in heads):
        return for_good
    return f'--columns "{",".join(f"{head}={name}" for head in heads)}", or {for_good}'


#: Whether the day or the month stands first in the dates of a file.
WHICH_ORDER = (
    "Say which: --dates dmy (the day first) or --dates mdy (the month first); or "
    + at_the_top('dates = "dmy"', 'dates = "mdy"')
    + "."
)
#: How it is said that pressures are in kPa.
IN_KPA = "--unit kPa; or " + at_the_top('unit = "kPa"')
#: Where it is said that each file is of the animal in its name.
SAY_FILE_AN_ANIMAL = f'at the top of {FILE_NAME} beside the records: layout = "{FILE_AN_ANIMAL}"'
