"""Findings put together by what they say: the same as one at a time, whatever was said of rows."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bpvet.command.check import group_of
from bpvet.records.checks import grouped as alike
from bpvet.records.checks.grouped import by_kind
from bpvet.records.checks.row_findings import Findings
from bpvet.records.read import read

HEADER = "animal,taken_at,method,systolic,diastolic,mean,setting,reading"
CELLS = {
    "animal": ("A17", "a17", " A17", "B", ""),
    "taken_at": ("2026-01-02", "2026-01-02T10:00", "03/04/2025", "x", "2030-01-01", ""),
    "method": ("doppler", "oscillometric", "dopler", "by ear", ""),
    "systolic": ("150", "16O", "> 300", "no sound", "999", "12", "150,5", ""),
    "diastolic": ("90", "160", "x", ""),
    "mean": ("110", "20", ""),
    "setting": ("", "home", "hone"),
    "reading": ("", "1", "x"),
}
ROWS = st.lists(st.tuples(*map(st.sampled_from, CELLS.values())), min_size=1, max_size=25)


def found_in(folder: Path, *files: list[Any]) -> Findings:
    for i, rows in enumerate(files):
        lines = [HEADER, *map(",".join, rows)]
        (folder / f"readings{i}.csv").write_text("\n".join(lines) + "\n")
    return read(folder, as_of="2026-03-01").findings


def one_at_a_time(found: Findings, most: int | None) -> dict[str, list[tuple[Any, ...]]]:
    """Return kinds in groups, each finding looked at by itself."""
    groups: dict[str, dict[str, dict[tuple[str, ...], list[Any]]]] = {}
    for one in found:
        kinds = groups.setdefault(group_of(one), {})
        text = (one.file, one.column, one.reason, one.mend)
        kinds.setdefault(one.kind, {}).setdefault(text, []).append(one)
    return {
        group: [
            (
                [
                    (same[0], [one.line for one in same if one.line is not None], len(same))
                    for same in list(kind.values())[:most]
                ],
                sum(map(len, kind.values())),
            )
            for kind in kinds.values()
        ]
        for group, kinds in groups.items()
    }


def in_kinds(found: Findings, most: int | None) -> dict[str, list[tuple[Any, ...]]]:
    return {
        group: [
            ([(one.first, one.lines.tolist(), one.many) for one in kind.shown], kind.many)
            for kind in kinds
        ]
        for group, kinds in by_kind(found, group_of, most).items()
    }


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(rows=ROWS, others=ROWS, most=st.sampled_from([1, 3, None]))
def test_kinds_are_those_of_one_at_a_time(
    tmp_path: Path, rows: list[Any], others: list[Any], most: int | None
) -> None:
    found = found_in(tmp_path, rows, others)
    assert in_kinds(found, most) == one_at_a_time(found, most)
    assert in_kinds(found[3:9], most) == one_at_a_time(found[3:9], most)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(rows=ROWS, others=ROWS)
def test_each_finding_as_json(tmp_path: Path, rows: list[Any], others: list[Any]) -> None:
    found = found_in(tmp_path, rows, others)
    assert [json.loads(text) for text in found.json()] == [one.to_dict() for one in found]
    assert list(found) == [found[i] for i in range(len(found))]


def test_no_findings(tmp_path: Path) -> None:
    found = found_in(tmp_path, [])[:0]
    assert by_kind(found, group_of, 3) == {}
    assert list(found.json()) == []


def test_few_are_worded_and_all_are_counted(tmp_path: Path, monkeypatch: Any) -> None:
    monkeypatch.setattr(alike, "_WORDED", 10)
    made: list[str] = []
    why = "bpvet.wording.en.findings.values.why_not_a_number"
    monkeypatch.setattr(why, lambda text: made.append(text) or f"{text} is odd.")
    rows = [("A17", "2026-01-02", "doppler", f"{i % 40}x", "", "", "", "") for i in range(400)]
    kinds = by_kind(found_in(tmp_path, rows), group_of, 3)
    kind = next(kind for kinds in kinds.values() for kind in kinds if kind.many == 400)
    assert [one.first.value for one in kind.shown] == ["0x", "1x", "2x"]
    assert [one.many for one in kind.shown] == [10, 10, 10]
    assert kind.shown[1].lines.tolist() == list(range(3, 402, 40))
    assert (kind.many, kind.rest) == (400, 370)
    assert len(set(made)) <= 10
