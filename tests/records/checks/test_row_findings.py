"""Findings worded when they are looked at: the same as an eager twin makes at once."""

from __future__ import annotations

import json
import pickle
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bpvet.records.checked_table import CheckedTable
from bpvet.records.checks.row_findings import Findings, OfCell, OfRow
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Finding, Outcome
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


def eager_report(found: list[Finding]) -> Any:
    """Return `CheckedTable.report`, which also adds to `found` what it reports, made at once."""
    lazy = CheckedTable.report

    def report(
        self: CheckedTable,
        rows: Any,
        column: str,
        code: Code,
        outcome: Outcome = Outcome.KEPT,
        *,
        value: Any = None,
        **values: Any,
    ) -> None:
        lazy(self, rows, column, code, outcome, value=value, **values)
        shared = bool(column) and not self.own_headings(column)
        for row in (np.flatnonzero(rows) if rows.dtype == bool else rows).tolist():
            cell = self.cell(column, row) if column else ""
            cell = value.make(row) if value else cell
            made = {
                name: one.make(row)
                if isinstance(one, OfRow)
                else one.make(cell)
                if isinstance(one, OfCell)
                else one
                for name, one in values.items()
            }
            if shared and not self.first[row]:
                continue
            heading = self.heading(column, row) if column else ""
            file, line = self.files[self.file[row]], int(self.line[row])
            found.append(
                Finding(file, line, heading, cell[:80], code, tuple(made.items()), outcome)
            )

    return report


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(rows=ROWS)
def test_lazy_findings_are_those_of_an_eager_twin(tmp_path: Path, rows: list[Any]) -> None:
    path = tmp_path / "readings.csv"
    path.write_text("\n".join([HEADER, *map(",".join, rows)]) + "\n")
    eager: list[Finding] = []
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(CheckedTable, "report", eager_report(eager))
        found = read(path, as_of="2026-03-01").findings
    kinds = {one.kind for one in eager}
    by_rows = [one for one in found if one.kind in kinds and one.line is not None]
    expected = sorted(eager, key=lambda one: one.line or 0)
    assert [one for one in by_rows if one in set(eager)] == expected
    assert [json.loads(one) for one in found.json()] == [one.to_dict() for one in found]


def example(tmp_path: Path) -> Findings:
    path = tmp_path / "readings.csv"
    lines = [f"A17,2026-01-0{i},doppler,{i}x,,,," for i in range(1, 8)]
    path.write_text("\n".join([HEADER, *lines]) + "\n")
    return read(path, as_of="2026-03-01").findings


def test_findings_read_as_a_tuple(tmp_path: Path) -> None:
    found = example(tmp_path)
    plain = tuple(found)
    assert len(found) == len(plain) == 8
    assert found == plain
    assert plain == found
    assert found != plain[1:]
    assert hash(found) == hash(plain)
    assert (found[0], found[-1], found[2:4]) == (plain[0], plain[-1], plain[2:4])
    assert (*found, 1) == (*plain, 1)
    assert found + plain[:1] == (*plain, plain[0])
    assert repr(found) == repr(plain)
    assert pickle.loads(pickle.dumps(found)) == plain
    assert plain[3] in found
    with pytest.raises(IndexError):
        found[8]


def test_no_word_is_made_for_what_nobody_looks_at(tmp_path: Path) -> None:
    path = tmp_path / "readings.csv"
    path.write_text("\n".join([HEADER, *(["A17,2026-01-02,doppler,1x,,,,"] * 50)]) + "\n")
    made: list[str] = []
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(
            "bpvet.wording.en.findings.values.why_not_a_number",
            lambda text: made.append(text) or "",
        )
        found = read(path, as_of="2026-03-01").findings
        assert (len(found), len(found[3:9]), made) == (51, 6, [])
        found[5].reason  # noqa: B018 (looked at)
    assert made == ["1x"]


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(rows=ROWS, asked=st.sets(st.integers(1, 12)), other=st.sets(st.integers(1, 12)))
def test_findings_about_some_lines(
    tmp_path: Path, rows: list[Any], asked: set[int], other: set[int]
) -> None:
    for name in ("readings.csv", "readings-2.csv"):
        text = "\n".join([HEADER, *map(",".join, rows)]) + "\n" + ("\n" if "2" in name else "")
        (tmp_path / name).write_text(text)
    found = read(tmp_path, as_of="2026-06-01").findings
    lines = {"readings.csv": asked, "readings-2.csv": other}
    wanted = [one for one in found if one.line is None or one.line in lines.get(one.file, ())]
    assert list(found.about(lines)) == wanted
