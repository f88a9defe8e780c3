"""What a check costs and says stays in proportion, whatever stands in a cell or a line."""

from __future__ import annotations

import os
import subprocess
import sys
import time

import pytest

from bpvet.command.shared.source_lines import SourceLines
from bpvet.records.formats import rows

HEAD = "animal,taken_at,method,systolic,note\n"
GOOD = "A,2026-01-01,doppler,150,x\n"
MANY = 2_000_000


@pytest.mark.parametrize(
    "text",
    [
        HEAD + "A,2026-01-01,doppler,150," + "x" * MANY + "\n",
        HEAD + "A,2026-01-01,doppler,150,x," + "x\x01" * (MANY // 2) + "\n",
        HEAD + "A,2026-01-01,doppler," + "x\x01" * (MANY // 2) + ",x\n",
        HEAD.replace("note", "n\x01" * (MANY // 2)) + GOOD,
        "x" * MANY,
        HEAD + 'A,2026-01-01,doppler,150,"' + '""' * (MANY // 2),
    ],
    ids=["cell", "broken", "number", "heading", "only heading", "quoted"],
)
@pytest.mark.parametrize("more", [(), ("--json",)])
def test_a_check_echoes_a_few_kilobytes_at_most(text, more, run, tmp_path):
    file = tmp_path / "readings.csv"
    file.write_text(text)
    started = time.process_time()
    ended = run("check", file, *more)
    assert len(ended.out) + len(ended.err) < 6000
    assert time.process_time() - started < 10


def test_what_is_about_the_value_is_shown_of_a_long_line(tmp_path):
    file = tmp_path / "r.csv"
    file.write_text("a" * MANY + "HERE" + "b" * MANY)
    shown = SourceLines(str(file), {}).line("r.csv", 1, "HERE")
    assert "HERE" in shown
    assert shown.startswith("…")
    assert shown.endswith("…")
    assert len(shown) < 200


@pytest.mark.parametrize("line", ["A\n", '"\n', "A,2026-01-01,doppler,150,x,y\n", 'A,"b"c\n'])
def test_a_file_of_broken_lines_is_given_up_and_said(line, run, tmp_path):
    file = tmp_path / "readings.csv"
    file.write_text(HEAD + line * (7_500_000 // len(line)))
    started = time.process_time()
    ended = run("check", file)
    assert time.process_time() - started < 10
    assert ended.status == 1
    assert "100,000 of the first" in ended.out
    assert "no row is used" in " ".join(ended.out.split())


@pytest.mark.parametrize("line", ["A\n", '"\n'])
def test_lines_of_which_most_fit_are_read(line, run, tmp_path, monkeypatch):
    monkeypatch.setattr(rows, "MOST_BROKEN", 3)
    file = tmp_path / "readings.csv"
    file.write_text(HEAD + (GOOD + GOOD + line) * 5)
    ended = run("check", file)
    assert ended.status == 0
    assert "do not fit the header" not in ended.out


def test_hundreds_of_operators_are_fitted_in_seconds():
    script = """
import time, numpy as np
from bpvet.maths.crossed import crossed
chance = np.random.default_rng(3)
n, people = 1200, 300
operator = np.arange(n) % people
y = chance.normal(0, 12, n) + chance.normal(0, 6, people)[operator]
started = time.process_time()
fit = crossed(y, np.full(n, 4.0), np.ones((n, 1)), np.arange(n) // 8, operator)
print(time.process_time() - started, fit.operator_sd)
"""
    # One thread: on a busy machine several wait for one another, and that is counted too.
    ran = subprocess.run(
        [sys.executable, "-c", script],
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"},
    )
    seconds, sd = map(float, ran.stdout.split())
    assert seconds < 20
    assert sd == pytest.approx(6, abs=1.5)
