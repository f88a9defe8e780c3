"""``bpvet check``: what was understood of the records, and what was found in them."""

from __future__ import annotations

import argparse
import json
import shlex
import sys
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from itertools import chain
from typing import TYPE_CHECKING, Any

from bpvet.command.shared import options
from bpvet.command.shared.opening import opened
from bpvet.command.shared.output import counted, printable, wrapped
from bpvet.command.shared.suggesting import suggest
from bpvet.errors import RecordsError
from bpvet.records.finding_codes import Code
from bpvet.wording.en.command.check import (
    ASIDE,
    CANCELLED,
    FINDING,
    FORMS,
    GROUP_WORDS,
    GROUPS,
    HOW_TO_SEE_ALL,
    IN_ALL,
    LIKE_THIS,
    LOOK,
    MAPPING_SAYS,
    NO_ANIMALS,
    NO_FINDINGS,
    NO_TABLE,
    NOTHING,
    READ_AS,
    READING,
    READING_WORDS,
    RECORDS_LINE,
    ROW,
    SIGNS,
    STATUS_WORDS,
    STOPS,
    SUGGESTION,
    UNDERSTOOD,
    UNDERSTOOD_WORDS,
    UNKNOWN_SPECIES,
    counted_words,
    line_numbers,
    some_lines,
    times,
)

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from bpvet.command.shared.source_lines import SourceLines
    from bpvet.records.checks.grouped import GroupedFindings, OfKind
    from bpvet.records.findings import Finding
    from bpvet.records.records import Records

ABOUT = """\
Reads the records and reports what was understood and what was found, grouped by what
there is to do. Nothing is changed. Exit status 1 only if something stops the work.

examples:
  bpvet check records
  bpvet check visits.csv --columns "Pet ID=animal,When=taken_at"
  bpvet check visits.csv --suggest > bpvet-columns.toml
"""

#: Readings of which every sign is shown, and how many are shown of the others.
_NEVER_SILENT = ("present", "unclear", "unread")
_SIGNS_SHOWN = 8

#: Findings that a mapping can settle.
_FIXED_BY_MAPPING = (
    *(Code.MISSING_COLUMN, Code.LAYOUT_NOT_AS_STATED, Code.READINGS_TWICE),
    *(Code.MEAN_WITHOUT_COUNT, Code.NO_READING_COLUMN, Code.HEADED_BY_WHICH_DATES),
    *(Code.DAY_OR_MONTH, Code.MMHG_AS_KPA, Code.NOT_IN_MMHG),
)
#: Findings of one kind that are shown, and line numbers that are named, before the rest is counted.
_SHOWN, _NUMBERS = 3, 8


USAGE = "bpvet check PATH [options]"
ARGUMENTS = (
    *options.PATH,
    options.RULE,
    options.argument("--all", action="store_true", help="show every finding of each kind"),
    options.argument(
        "--suggest",
        action="store_true",
        help="propose settings for headings, dates and units; nothing is applied",
    ),
    options.WAYS_OUT,
)


def run(arguments: argparse.Namespace) -> int:
    """Print what was understood and found; status 1 if a finding stops the work."""
    if arguments.suggest:
        return suggest(arguments)
    records = opened(arguments)
    counts = counts_of(records, arguments.rule)
    if arguments.json:
        print_findings(records, counts)
    else:
        print(printable(check_text(records, counts, arguments)))
    return RecordsError.exit_status if records.stopping else 0


def print_findings(records: Records, counts: dict[str, int]) -> None:
    """Print everything as one JSON value, a finding a line, as they are made."""
    from bpvet.records.checks.row_findings import Findings
    from bpvet.visits.signs.signs import COLUMNS, all_signs
    from bpvet.visits.uncounted.slips import slips

    head = {"readings": counts, "understood": records.understood}
    signs = [{name: str(getattr(sign, name)) for name in COLUMNS} for sign in all_signs(records)]
    tail = {
        "signs": signs,
        "cancelled": [asdict(row) for row in records.cancelled_rows],
        "as_of": str(records.as_of),
        "source": records.source,
        "data_digest": records.digest,
    }
    write = sys.stdout.write
    write(json.dumps(head, allow_nan=False, indent=2)[:-2] + ',\n  "findings": [')
    between = "\n    "
    found = Findings(slips(records))
    for finding in chain(records.findings.json(), found.json()):
        write(between + finding)
        between = ",\n    "
    write(("\n  ]" if records.findings or found else "]") + ",")
    write(json.dumps(tail, allow_nan=False, indent=2)[1:] + "\n")


def counts_of(records: Records, rule: str) -> dict[str, int]:
    """Return how many readings went in and what became of them; cancelled ones are set aside."""
    from bpvet.visits.readings import accounting, judged

    counts = accounting(judged(records, rule)[0].frame(names=("fate",)))
    cancelled = _cancelled_readings(records)
    return {**counts, **{key: counts[key] + cancelled for key in ("in", "set_aside")}}


def _cancelled_readings(records: Records) -> int:
    return sum(row.table == "readings" for row in records.cancelled_rows)


def check_text(records: Records, counts: dict[str, int], arguments: argparse.Namespace) -> str:
    """Return what was understood and found, as text."""
    lines = [RECORDS_LINE.format(source=records.source, as_of=records.as_of), ""]
    names = counted_words(arguments.rule, _cancelled_readings(records))
    width = len(str(counts["in"]))
    parts = [f"{counts[key]:>{width}} {name}" for key, name in names.items() if counts[key]]
    lines += [IN_ALL.format(readings=counted(counts["in"], READING)), *parts, ""]
    understood = [UNDERSTOOD, "-" * len(UNDERSTOOD), *understood_lines(records.understood), ""]
    understood = [*sign_lines(records, arguments.all), *cancelled_lines(records), *understood]
    found = _grouped(records, None if arguments.all else _SHOWN)
    if not found and not records.findings:
        lines += [NO_FINDINGS, "", *understood]
        return "\n".join(lines).rstrip()
    from bpvet.command.shared.source_lines import SourceLines

    source = SourceLines(arguments.path, records.understood["encoding"])
    source.look_up(
        (alike.first.file, alike.first.line)
        for kinds in found.values()
        for kind in kinds
        for alike in kind.shown
    )
    for group in GROUPS:
        if group in found:
            lines += _group_lines(group, found[group], source)
    if any(finding.code in _FIXED_BY_MAPPING for finding in records.stopping):
        lines += [wrapped(SUGGESTION.format(path=shlex.quote(arguments.path))), ""]
    more = any(kind.rest for kinds in found.values() for kind in kinds)
    lines += understood
    if not arguments.quiet and more:
        lines += [HOW_TO_SEE_ALL]
    return "\n".join(lines).rstrip()


def _grouped(records: Records, most: int | None) -> dict[str, list[OfKind]]:
    """Return the findings by what there is to do, so many of each kind; those of rows first."""
    from bpvet.records.checks.grouped import by_kind
    from bpvet.records.checks.row_findings import Findings
    from bpvet.visits.uncounted.slips import slips

    found: dict[str, list[OfKind]] = {}
    for findings in (records.findings, Findings(slips(records))):
        for group, kinds in by_kind(findings, group_of, most).items():
            # What was cancelled has a place of its own.
            left = [kind for kind in kinds if kind.shown[0].first.code is not Code.CANCELLED]
            if left:
                found.setdefault(group, []).extend(left)
    return found


def cancelled_lines(records: Records) -> list[str]:
    """Return what was taken back, when and why: every entry, a line each."""
    from itertools import groupby

    from bpvet.records.entries.cancelled import what

    if not records.cancelled_rows:
        return []
    lines = [CANCELLED, "-" * len(CANCELLED)]
    for _, rows in groupby(records.cancelled_rows, key=lambda row: (row.file, row.entry)):
        entry = list(rows)
        first = entry[0]
        text = f"{what(entry)}: {first.why} (entry {first.entry}, {first.file})"
        lines.append(wrapped(text, "  ", ""))
    return [*lines, ""]


def sign_lines(records: Records, every: bool) -> list[str]:
    """Return how each sign was understood: each distinct wording once, the most pressing first.

    Parameters
    ----------
    records : Records
    every : bool
        Whether to show all of them; otherwise so many of each reading, and the rest is counted.
    """
    from bpvet.visits.signs.remarks import GROUPS as REMARKS
    from bpvet.visits.signs.signs import all_signs

    rows: dict[tuple[str, str, str, str], int] = {}
    for sign in all_signs(records):
        if sign.is_note and sign.group not in REMARKS:
            continue
        what = " ".join(filter(None, (sign.term, sign.group and f"({GROUP_WORDS[sign.group]})")))
        key = (sign.reading, sign.text, sign.status, what)
        rows[key] = rows.get(key, 0) + 1
    if not rows:
        return []
    lines = [SIGNS, "-" * len(SIGNS)]
    for reading, words in READING_WORDS.items():
        here = [(key, many) for key, many in rows.items() if key[0] == reading]
        # What is there, and what asks, is shown in full.
        most = len(here) if every or reading in _NEVER_SILENT else _SIGNS_SHOWN
        for (_, text, status, what), many in here[:most]:
            beside = STATUS_WORDS.format(status=status) if status else ""
            understood = f": {what}" if what else ""
            lines.append(
                wrapped(f'"{text}"{beside}{times(many)}{understood}', "    ", f"{words}: ")
            )
        if len(here) > most:
            lines.append(LIKE_THIS.format(rest=len(here) - most))
    return [*lines, ""]


def group_of(finding: Finding) -> str:
    """Return what there is to do about a finding, one of `GROUPS`."""
    if finding.stops:
        return STOPS
    if finding.unused:
        return ASIDE
    return LOOK if _asks(finding) else NOTHING


def _asks(finding: Finding) -> bool:
    """Whether there may be anything to do about a finding."""
    # Whether an animal without readings has been measured is to be looked at.
    return finding.words.asks or finding.code is Code.NO_READINGS


def understood_lines(understood: Mapping[str, Any]) -> list[str]:
    """Return what was made of the input, a line each; what was not met is left out."""
    read = understood["tables"]
    foreign = {file: ", ".join(names) for file, names in understood["unknown_columns"].items()}
    methods = understood["methods"].items()
    mapping = understood["mapping"]
    pairs = dict.fromkeys(
        READ_AS.format(theirs=theirs, ours=ours)
        for file in mapping["columns"].values()
        for theirs, ours in file.items()
    )
    origin = MAPPING_SAYS.format(file=mapping["file"]) if mapping["file"] else ""
    shown = {
        "tables": ", ".join(f"{name} ({counted(count, ROW)})" for name, count in read.items()),
        "layout": _by_file(understood["layout"]),
        "mapping": f"{'; '.join(pairs)}{origin}" if pairs else "",
        "dates": understood["dates"] if read and " in 0 rows" not in understood["dates"] else "",
        "unit": understood["unit"] if read else "",
        "methods": ", ".join(f"{name} ({counted(count, ROW)})" for name, count in methods),
        "animals": _animals(understood["animals"]) if read else "",
        "encoding": _by_file(understood["encoding"]),
        "separator": _by_file(understood["separator"]),
        "decimal_commas": ", ".join(understood["decimal_commas"]),
        "unknown_columns": _by_file(foreign),
    }
    width = max(map(len, UNDERSTOOD_WORDS.values())) + 2
    lines = [
        wrapped(text, " " * width, f"{UNDERSTOOD_WORDS[name]}:".ljust(width))
        for name, text in shown.items()
        if text
    ]
    return lines or [NO_TABLE]


def _animals(counts: Mapping[str, int]) -> str:
    from bpvet.facts.species import all_species

    kinds = [counted(counts[kind], kind) for kind in all_species() if counts[kind]]
    unknown = counts["unknown species"]
    kinds += [UNKNOWN_SPECIES.format(count=unknown)] if unknown else []
    return f"{counts['in all']} ({', '.join(kinds)})" if kinds else NO_ANIMALS


def _by_file(words: Mapping[str, str]) -> str:
    """Return what holds for each file, said once where it holds for all."""
    words = {file: FORMS.get(word, word) for file, word in words.items()}
    if len(set(words.values())) <= 1:
        return next(iter(words.values()), "")
    return "; ".join(f"{file}: {word}" for file, word in words.items())


def _group_lines(group: str, kinds: Sequence[OfKind], source: SourceLines) -> list[str]:
    many = sum(kind.many for kind in kinds)
    heading = wrapped(f"{group} ({counted(many, FINDING)})")
    lines = [heading, "-" * max(map(len, heading.splitlines()))]
    before: tuple[str, int | None] | None = None
    for kind in kinds:
        for alike in kind.shown:
            position = (alike.first.file, alike.first.line)
            # Several findings about one line show it once.
            lines += _finding_lines(alike, None if position == before else source)
            before = position
        if kind.rest:
            lines.append(LIKE_THIS.format(rest=kind.rest))
    return [*lines, ""]


def _finding_lines(alike: GroupedFindings, source: SourceLines | None) -> list[str]:
    """Return findings that say the same of several lines, with the first of these lines.

    Without a `source` the line has just been shown.
    """
    finding = alike.first
    position = finding.file + _line_numbers(alike.lines)
    lines = [f"{position}, {finding.column}" if finding.column else position]
    line = source.line(finding.file, finding.line, finding.value) if source else ""
    if line:
        lines.append(f"    | {line}")
    lines.append(wrapped(finding.reason, "    "))
    if _asks(finding):
        lines.append(wrapped(finding.mend, "      ", "    → "))
    return lines


def _line_numbers(numbers: NDArray[np.int64]) -> str:
    if len(numbers) == 0:
        return ""
    first, last = int(numbers[0]), int(numbers[-1])
    if (numbers[1:] - numbers[:-1] == 1).all():
        return line_numbers(first, last)
    shown = ", ".join(map(str, numbers[:_NUMBERS].tolist()))
    rest = len(numbers) - _NUMBERS
    return some_lines(shown, rest)
