"""A mapping proposed from what headings say and what cells look like; nothing is applied.

The same files give the same proposal. What is not sure is said, and stands in the proposed file
as a comment for a person to decide.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from bpvet.facts.protocol import KPA_MEDIAN_BELOW
from bpvet.frozen import dataclass
from bpvet.reasons import reason
from bpvet.records.cells import TEXT, RawSheet
from bpvet.records.findings import shown
from bpvet.records.headings.column_profiles import ColumnProfile, column_profile, fit
from bpvet.records.headings.heading_words import columns_by_words
from bpvet.records.headings.near_names import nearest
from bpvet.records.headings.settled import FILE_NAME, quoted
from bpvet.records.parsing.dates import moments
from bpvet.records.tables import TABLES, WIDE, column_named, plain_name

#: What readings cannot do without, what its cells look like, and that in words.
_NEEDED = (
    ("taken_at", "dates", "dates"),
    ("systolic", "numbers", "numbers"),
    ("animal", "text", "words"),
)


@dataclass(frozen=True)
class Proposed:
    """One line of a proposal.

    Parameters
    ----------
    file, table : str
        Name of the file; its table.
    heading : str
        Heading in the file; "" for what concerns the whole file.
    ours : str
        Our name for it; or for the whole file ``dates``, ``unit`` or ``method``.
    value : str
        What is proposed: our name again, or "dmy", "kPa", ….
    reason : str
        Why, as a sentence.
    sure : bool
        Whether nothing speaks against it.
    """

    file: str
    table: str
    heading: str
    ours: str
    value: str
    reason: str
    sure: bool


@dataclass(frozen=True)
class Proposal:
    """A mapping proposed for files that are headed in other words than ours."""

    lines: tuple[Proposed, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return the proposal as plain JSON values, with the text of the file."""
        return {"lines": [asdict(line) for line in self.lines], "toml": self.toml()}

    def toml(self) -> str:
        """Return the text of a mapping file, each line with its reason; unsure ones commented."""
        text = _comment(reason("proposal.head", file=FILE_NAME))
        if not self.lines:
            return "\n".join([*text, *_comment(reason("proposal.nothing"))]) + "\n"
        whole = [line for line in self.lines if not line.heading]
        text += [""]
        text += _lines_of([line for line in whole if line.ours != "method"])
        for line in whole:
            if line.ours == "method":
                text += ["", *_comment(line.reason), "# [every_row]", '# method = "doppler"']
                break
        for table in TABLES:
            named = [line for line in self.lines if line.heading and line.table == table]
            if named:
                text += ["", f"[{table}.columns]", *_lines_of(named)]
        return "\n".join(text) + "\n"


def _lines_of(lines: Sequence[Proposed]) -> list[str]:
    """Return lines of the file; of two with one key the later is a comment."""
    text: list[str] = []
    met: set[str] = set()
    for line in lines:
        key = quoted(line.heading) if line.heading else line.ours
        sure = line.sure and key not in met
        met.add(key)
        text += _comment(line.reason if sure else reason("proposal.not_sure", why=line.reason))
        text.append(f"{'' if sure else '# '}{key} = {quoted(line.value)}")
    return text


def _comment(words: str) -> list[str]:
    return textwrap.wrap(words, 78, initial_indent="# ", subsequent_indent="# ")


def propose(sheets: Sequence[RawSheet]) -> Proposal:
    """Return a mapping proposed for the files, in the order of their columns.

    Parameters
    ----------
    sheets : sequence of RawSheet
        Cells as they stand.
    """
    lines: dict[tuple[str, str, str], Proposed] = {}
    for sheet in sheets:
        for line in _of_sheet(sheet):
            lines.setdefault((line.table if line.heading else "", line.heading, line.value), line)
    return Proposal(tuple(lines.values()))


def _of_sheet(sheet: RawSheet) -> Iterator[Proposed]:
    profiles = [column_profile(cells) for cells in sheet.columns]
    heads = [head.strip() for head in sheet.header]
    known = [column_named(sheet.table, head) for head in heads]
    chosen = _chosen(sheet, heads, known, profiles)
    for i, (head, profile) in enumerate(zip(heads, profiles, strict=True)):
        if known[i] == "systolic" and profile.kind in ("lists", "chart lines"):
            name = "chart_line" if profile.kind == "chart lines" else "systolic_list"
            sure = profile.kind == "chart lines"
            code = "proposal.cells" if sure else "proposal.cells_or"
            yield _line(sheet, head, name, reason(code, words=profile.words), sure)
        elif i in chosen:
            name, why, sure = chosen[i]
            yield _line(sheet, head, name, why, sure)
    yield from _of_dates(sheet, heads, known, chosen, profiles)
    yield from _of_unit(sheet, heads, known, chosen, profiles)
    names = {*known, *(name for name, _, _ in chosen.values())}
    if sheet.table == "readings" and not names & {"method", "chart_line"}:
        asked = reason("proposal.no_method")
        yield Proposed(sheet.file, sheet.table, "", "method", "doppler", asked, False)


def _line(sheet: RawSheet, head: str, name: str, why: str, sure: bool) -> Proposed:
    return Proposed(sheet.file, sheet.table, head, name, name, why, sure)


def _chosen(
    sheet: RawSheet, heads: list[str], known: list[str], profiles: list[ColumnProfile]
) -> dict[int, tuple[str, str, bool]]:
    """Return our name, the reason, and whether it is sure, for columns that are not ours."""
    wanted: dict[str, list[tuple[int, int, str]]] = {}
    for i, (head, profile) in enumerate(zip(heads, profiles, strict=True)):
        if known[i] or not head:
            continue
        for name, score, why in _candidates(sheet.table, head, profile):
            if name not in known:
                wanted.setdefault(name, []).append((score, i, why))
    chosen: dict[int, tuple[str, str, bool]] = {}
    best: dict[int, int] = {}
    for name, found in wanted.items():
        top = max(score for score, _, _ in found)
        equals = [match for match in found if match[0] == top]
        for score, i, why in equals:
            if score <= best.get(i, 0):
                continue
            others = [shown(heads[j]) for _, j, _ in equals if j != i]
            also = reason("proposal.others", others=", ".join(others)) if others else ""
            best[i] = score
            chosen[i] = (name, why + also, score >= 2 and not others)
    if sheet.table == "readings":
        _by_profiles_alone(heads, known, profiles, chosen)
    return chosen


def _by_profiles_alone(
    heads: list[str],
    known: list[str],
    profiles: list[ColumnProfile],
    chosen: dict[int, tuple[str, str, bool]],
) -> None:
    """Add what only the cells show: a column that alone looks like one that is missing."""
    for name, kind, words in _NEEDED:
        named = {*known, *(taken for taken, _, _ in chosen.values())}
        if any(taken_name.startswith(name) for taken_name in named):
            continue
        free = [
            i for i, our_name in enumerate(known) if not our_name and i not in chosen and heads[i]
        ]
        fitting = [i for i in free if profiles[i].kind == kind]
        if len(fitting) == 1:
            why = reason("proposal.only_these", words=profiles[fitting[0]].words or words)
            chosen[fitting[0]] = (name, why, False)


def _candidates(table: str, head: str, profile: ColumnProfile) -> Iterator[tuple[str, int, str]]:
    """Yield our names that a column may be, how well each fits, and why."""
    kinds = {column.name: column.kind for column in TABLES[table]}
    if table == "readings" and profile.kind == "chart lines":
        yield "chart_line", 4, reason("proposal.cells", words=profile.words)
        return
    for name in columns_by_words(table, head):
        kind = "quantity" if WIDE.fullmatch(name) else kinds.get(name, "number")
        fits = fit(kind, name, profile)
        called = reason("proposal.called", head=shown(head), name=name)
        if fits < 0:
            continue
        if name == "systolic" and profile.kind == "lists":
            why = reason("proposal.called_list", called=called, words=profile.words)
            yield "systolic_list", 1, why
            continue
        if name == "animal" and plain_name(head).endswith("name"):
            yield name, 1, reason("proposal.names", head=shown(head))
            continue
        code = "proposal.called_so" if fits and profile.words else "proposal.called_only"
        yield name, 2 + fits, reason(code, called=called, words=profile.words)
    for name in nearest(plain_name(head), kinds, n=1):
        if name not in columns_by_words(table, head) and fit(kinds[name], name, profile) >= 0:
            yield name, 1, reason("proposal.spelled_nearly", head=shown(head), name=name)
    if profile.kind == "methods" and table == "readings":
        yield "method", 2, reason("proposal.cells", words=profile.words)
    if profile.kind == "species" and table == "animals":
        yield "species", 2, reason("proposal.cells", words=profile.words)


def _of_dates(
    sheet: RawSheet,
    heads: list[str],
    known: list[str],
    chosen: dict[int, tuple[str, str, bool]],
    profiles: list[ColumnProfile],
) -> Iterator[Proposed]:
    """Yield the order of dates, where the cells show it, or that they do not."""
    names = {i: name or chosen.get(i, ("",))[0] for i, name in enumerate(known)}
    dates = {c.name for c in TABLES[sheet.table] if c.kind in ("date", "moment")}
    cells = [profiles[i].cells for i, name in names.items() if name in dates]
    cells += [pa.array(heads, TEXT)] if not set(names.values()) & dates else []
    filled = pa.concat_arrays([pa.array([], TEXT), *cells])
    iso = moments(filled, True)
    swappable = filled.filter(pa.array(iso.swappable))
    if len(swappable) == 0:
        return
    fits = {order: ~moments(swappable, True, order).bad for order in ("dmy", "mdy")}
    for order, rival, code in (
        ("dmy", "mdy", "proposal.day_first"),
        ("mdy", "dmy", "proposal.month_first"),
    ):
        alone = np.flatnonzero(fits[order] & ~fits[rival])
        if len(alone) and fits[order].all():
            text = shown(swappable[int(alone[0])].as_py())
            why = reason(code, text=text)
            yield Proposed(sheet.file, sheet.table, "", "dates", order, why, True)
            return
    mixed = not (fits["dmy"].all() or fits["mdy"].all())
    text = shown(swappable[0].as_py())
    why = reason("proposal.mixed_orders" if mixed else "proposal.both_orders", text=text)
    yield Proposed(sheet.file, sheet.table, "", "dates", "dmy", why, False)


def _of_unit(
    sheet: RawSheet,
    heads: list[str],
    known: list[str],
    chosen: dict[int, tuple[str, str, bool]],
    profiles: list[ColumnProfile],
) -> Iterator[Proposed]:
    """Yield kPa, where pressures make sense as nothing else."""
    for i, profile in enumerate(profiles):
        name = known[i] or chosen.get(i, ("",))[0]
        if profile.kind != "numbers" or name not in ("systolic", "systolic_1", "systolic_mean"):
            continue
        digits = pc.replace_substring_regex(
            pc.replace_substring(profile.cells, ",", "."), "[^0-9.]", ""
        )
        number = digits.filter(pc.match_substring_regex(digits, r"^[0-9]+(\.[0-9]+)?$"))
        middle = float(np.median(pc.cast(number, pa.float64()).to_numpy())) if len(number) else 99.0
        headed = "kpa" in heads[i].casefold()
        if middle < KPA_MEDIAN_BELOW or headed:
            why = reason("proposal.kilopascal", head=shown(heads[i]), middle=middle)
            sure = headed and middle < KPA_MEDIAN_BELOW
            yield Proposed(sheet.file, sheet.table, "", "unit", "kPa", why, sure)
            return
