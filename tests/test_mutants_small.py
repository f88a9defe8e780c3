"""Mutants that a seed draws: which lines, which tests, and what is counted, without the tool."""

from __future__ import annotations

import pytest

from reference_checks.mutants.run import FAULTS, ROOT
from reference_checks.mutants.seeded import (
    Covered,
    Mutant,
    Tried,
    _running,
    _statement,
    page,
    read,
)

SOURCE = '''"""A module."""
def half(x: int | None, most=2) -> float | None:
    """Halve."""
    if (
        x is None
    ):
        return None
    return min(
        x / 2,
        most,
    )
'''


def test_what_is_only_written_is_no_mutant():
    assert _running(SOURCE.replace("int | None", "int + None")) == _running(SOURCE)
    assert _running(SOURCE.replace("float | None", "float & None")) == _running(SOURCE)
    assert _running(SOURCE.replace("x / 2", "x * 2")) != _running(SOURCE)
    assert _running(SOURCE.replace("most=2", "most=3")) != _running(SOURCE)


def test_a_statement_s_lines_are_all_of_it_and_of_a_block_its_head():
    assert _statement(SOURCE, 9) == range(8, 12)
    assert _statement(SOURCE, 5) == range(4, 7)
    assert _statement(SOURCE, 7) == range(7, 8)


def tried(became, layer="visits", line=1):
    mutant = Mutant(f"{layer}/a.py", "core/AddNot", line, ((line, 0), (line, 3)))
    return Tried(mutant, became, "tests/visits/test_a.py::test", 3, "if a | b:", "if not a | b:")


def test_the_page_counts_what_was_seen_and_shows_what_was_not():
    four = [tried("killed"), tried("stopped", line=2), tried("survived", line=3)]
    text = page([*four, tried("unreached", "mixed", 4)], 200)
    assert "4 of the 200 mutants" in text
    assert "50 %" in text
    assert "| visits | 3 | 1 | 1 | 1 | 0 |" in text
    assert "visits/a.py:3 | `if a \\| b:`" in text
    assert "mixed/a.py:4 (no test runs it)" in text
    assert "visits/a.py:1 " not in text


def test_what_was_tried_is_read_back(tmp_path):
    import json
    from dataclasses import asdict

    kept = tmp_path / "tried.jsonl"
    kept.write_text(json.dumps(asdict(tried("killed"))) + "\n", encoding="utf-8")
    assert list(read(kept)) == [tried("killed")]
    assert list(read(tmp_path / "none")) == []


def test_every_small_fault_still_finds_its_place():
    # One that stands nowhere, or twice, stops the command before it has tried the others.
    stands = {
        one: (ROOT / "bpvet" / one.file).read_text(encoding="utf-8").count(one.was)
        for one in FAULTS
    }
    assert [one for one, times in stands.items() if times != 1] == []
    assert [one for one in FAULTS if one.was == one.becomes] == []
    tests = {ROOT / "tests" / name for one in FAULTS for name in one.tests}
    assert [name for name in tests if not name.is_file()] == []


def test_a_mutant_that_was_tried_again_counts_by_its_last_word():
    text = page([tried("survived"), tried("killed", line=2), tried("killed")], 200)
    assert "2 of the 200 mutants drawn have been tried; 2 of them" in text
    assert "At first 1 were seen" in text
    assert "| visits | 2 | 2 | 0 | 0 | 0 |" in text


def test_what_a_fixture_runs_is_tested_by_all_that_share_its_module(tmp_path):
    coverage = pytest.importorskip("coverage")

    line = tried("killed", line=1).mutant
    path = str(ROOT / "bpvet" / "visits" / "series.py")
    data = coverage.CoverageData(str(tmp_path / "coverage.visits"))
    for context, own in (
        ("tests/visits/test_a.py::test_first|setup", {1: None}),
        ("tests/visits/test_a.py::test_second|run", {2: None}),
        ("tests/visits/test_b.py::test_other|run", {2: None}),
        ("tests/models/test_c.py::test_elsewhere|run", {1: None}),
    ):
        data.set_context(context)
        data.add_lines({path: own})
    data.write()
    cases = '<testcase classname="tests.visits.test_a" name="test_second" time="0.1"/>'
    (tmp_path / "visits.xml").write_text(f"<testsuite>{cases}</testsuite>", encoding="utf-8")
    mutant = Mutant("visits/series.py", line.operator, 1, ((1, 0), (1, 3)))
    assert Covered(tmp_path, "visits").tests(mutant) == [
        "tests/visits/test_a.py::test_second",
        "tests/visits/test_a.py::test_first",
    ]
    # One that was written since comes first, however slow.
    since = '<testcase classname="tests.visits.test_a" name="test_first" time="9"/>'
    (tmp_path / "visits.1.xml").write_text(f"<testsuite>{since}</testsuite>", encoding="utf-8")
    assert Covered(tmp_path, "visits").tests(mutant)[0] == "tests/visits/test_a.py::test_first"
    # One that fails without a fault kills nothing.
    wrong = since.replace("/>", "><failure/></testcase>")
    (tmp_path / "visits.2.xml").write_text(f"<testsuite>{wrong}</testsuite>", encoding="utf-8")
    assert Covered(tmp_path, "visits").tests(mutant) == ["tests/visits/test_a.py::test_second"]
