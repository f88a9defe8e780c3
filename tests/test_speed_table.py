"""The table of speed: verdicts, what is not run, and a row that fails."""

from __future__ import annotations

import pytest

from reference_checks.speed import table
from reference_checks.speed.table import Options, Row, page, run_apart


def test_a_goal_is_met_or_missed():
    assert Row.of("work", 5.0, 5, "passes").met is True
    assert Row.of("work", 5.01, 5, "passes").met is False
    assert Row.of("work", 499.0, 500, "times", least=True).met is False
    assert Row.of("work", 500.0, 500, "times", least=True).met is True


def test_the_page_lists_what_was_missed_and_not_run():
    rows = [
        Row.of("quick", 1.0, 2, "s"),
        Row.of("slow", 3.0, 2, "s"),
        Row.not_run("beside a peer", "it is not installed"),
    ]
    text = page(rows, "the command")
    assert "| quick | 1 s | ≤ 2 s | met |" in text
    assert "| slow | 3 s | ≤ 2 s | **missed** |" in text
    assert "| beside a peer | not run: it is not installed |  | not run |" in text
    assert text.endswith("Goals missed: 1.\n- slow: 3 s, goal ≤ 2 s\n")
    assert "missed" not in page(rows, "the command", small=True)


def test_nothing_of_the_machine_but_cores_and_processor(monkeypatch):
    monkeypatch.setattr(table.platform, "node", lambda: pytest.fail("its name is asked for"))
    day, versions = table.machine()
    assert "cores" in day
    assert "pandas" in versions


def test_a_row_is_run_apart_and_one_that_fails_stops_nothing(monkeypatch):
    rows = run_apart("startup", Options(small=True, mixedlm=None))
    assert [row.work for row in rows][:2] == [
        "`bpvet --help` against python -c pass",
        "`bpvet --version` against python -c pass",
    ]
    monkeypatch.setattr(table.sys, "executable", "/bin/false")
    (failed,) = run_apart("startup", Options(small=True, mixedlm=None))
    assert failed.met is False
    assert failed.measured.startswith("failed: ")
