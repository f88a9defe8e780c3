"""A part of the grid of `reference_checks/grid`, and that its judge sees what it is for."""

from __future__ import annotations

from dataclasses import replace

import pytest

import bpvet
from bpvet.pictures.answered import answered_picture
from reference_checks.grid import trying
from reference_checks.grid.cells import ANIMAL, Cell, all_cells, pairwise, some_cells
from reference_checks.grid.judging import rules
from reference_checks.grid.reports import report_faults


@pytest.mark.parametrize("cell", some_cells(8, seed=3), ids=str)
def test_a_part_of_the_grid(cell):
    assert trying.tried(cell) == []


def test_the_judge_sees_a_silent_alarm(monkeypatch):
    cell = Cell("185", "none", 0, "on")
    assert rules(cell) == ["severe"]
    whole = bpvet.models.trend.trend.Trend.answer

    def quiet(trend, **asked):
        answer = whole(trend, **asked)
        kept = tuple(one for one in answer.statements if one.topic != "urgent")
        return replace(answer, urgent=(), statements=kept)

    monkeypatch.setattr("bpvet.models.trend.trend.Trend.answer", quiet)
    assert any("urgent is []" in one for one in trying.tried(cell))


def test_the_judge_sees_a_caption_that_begins_with_something_else(monkeypatch):
    def late(trend, answer):
        found = answered_picture(trend, answer)
        return replace(found, caption=f"All is well, it seems. {found.caption}")

    monkeypatch.setattr(trying, "answered_picture", late)
    assert trying.tried(Cell("185", "none", 0, "on")) == [
        "the caption does not begin with what is urgent"
    ]


def test_the_grid_holds_every_pair_and_is_covered_by_few():
    cells = list(all_cells())
    assert len(cells) == 9 * 8 * 2 * 4
    assert len(pairwise(cells)) <= 90
    assert ANIMAL == "A1"


@pytest.mark.slow
@pytest.mark.parametrize("cell", some_cells(3, seed=5), ids=str)
def test_whole_reports(cell, tmp_path):
    assert report_faults(cell, tmp_path) == []
