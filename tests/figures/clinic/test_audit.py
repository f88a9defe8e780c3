"""The figures of the audit: what is drawn where, told by artists; nothing off the page."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from matplotlib.figure import Figure

from bpvet.errors import CallError
from bpvet.figures.clinic.audit import draw
from bpvet.figures.clinic.audit_picture import AuditPicture, BarsPanel, RowsPanel
from bpvet.figures.save import save, svg_bytes
from bpvet.figures.sheet import region_of
from bpvet.wording.en.pictures.drawn import ESTIMATES


def rows(**change: Any) -> RowsPanel:
    given: dict[str, Any] = {
        "heading": "Doppler",
        "axis": "mmHg against the average of all operators, on the same animals and days",
        "names": ("AB (n = 12)", "CD (n = 3)"),
        "estimate": np.array([-1.5, 2.0]),
        "low": np.array([-4.0, np.nan]),
        "high": np.array([1.0, np.nan]),
        "line": 0.0,
        "line_is": "The average",
    }
    return RowsPanel(**{**given, **change})


def bars() -> BarsPanel:
    count = np.array([30.0, 2, 4, 3, 1])
    return BarsPanel("Doppler", "end digit", ("0", "2", "4", "6", "8"), count, 8.0, "Expected")


def picture(*panels: RowsPanel | BarsPanel) -> AuditPicture:
    words = ("Mean with its interval", "Caption.", "Alternative.")
    return AuditPicture("Operators", panels, *words, words=ESTIMATES)


def artists(figure: Figure, panel: int, label: str) -> list[Any]:
    axes = figure.axes[panel]
    return [one for one in (*axes.lines, *axes.collections) if one.get_label() == label]


def test_rows_stand_in_their_order_with_their_intervals() -> None:
    figure = draw(picture(rows()))
    marks = artists(figure, 1, "estimates")[0]
    np.testing.assert_allclose(marks.get_xdata(), [-1.5, 2.0])
    np.testing.assert_allclose(marks.get_ydata(), [0, 1])
    whiskers = artists(figure, 1, "intervals")[0].get_segments()
    np.testing.assert_allclose(whiskers[0], [[-4, 0], [1, 0]])
    assert artists(figure, 1, "line")[0].get_xdata()[0] == 0
    low, high = figure.axes[1].get_ylim()
    assert low > high, "the first name stands at the top"


def test_a_mark_without_an_interval_is_explained() -> None:
    def words(panel: RowsPanel | BarsPanel) -> list[str]:
        return [text.get_text() for text in draw(picture(panel)).axes[0].texts]

    said = "Too little is known for an interval"
    assert said in words(rows())
    assert said not in words(rows(low=np.array([-4.0, 1]), high=np.array([1.0, 3])))
    assert said not in words(bars())


def test_bars_have_their_counts_and_the_count_expected() -> None:
    figure = draw(picture(bars()))
    axes = figure.axes[1]
    assert [bar.get_height() for bar in axes.patches] == [30, 2, 4, 3, 1]
    assert artists(figure, 1, "line")[0].get_ydata()[0] == 8
    assert [label.get_text() for label in axes.get_xticklabels()] == ["0", "2", "4", "6", "8"]


@pytest.mark.parametrize("width", [80.0, 160.0])
def test_all_words_stay_on_the_page(width: float) -> None:
    long = ("$x^2$ <b>of the long corridor</b> behind the harbour, " * 3, "CD")
    figure = draw(picture(rows(names=long), rows(), bars()), width)
    figure.draw_without_rendering()
    page = figure.bbox
    panels = figure.axes[1:]  # the first is the page itself, without ticks
    ticks = [label for axes in panels for label in axes.get_yticklabels()]
    ticks += [
        label
        for axes in panels
        for label in axes.get_xticklabels()
        if axes.get_xlim()[0] <= label.get_position()[0] <= axes.get_xlim()[1]
    ]
    for text in (*figure.axes[0].texts, *ticks):
        box = text.get_window_extent()
        assert box.x0 >= page.x0 - 1, text.get_text()
        assert box.x1 <= page.x1 + 1, text.get_text()
        assert box.y0 >= page.y0 - 1, text.get_text()


def test_rows_that_are_too_many_for_a_box_stand_without_their_names() -> None:
    names = tuple(f"operator {n}" for n in range(60))
    value = np.arange(60.0)
    many = rows(names=names, estimate=value, low=value - 1, high=value + 1)
    axes = Figure(figsize=(6.4, 4.8)).subplots()
    figure = draw(picture(many, rows(heading="Oscillometric")), region=region_of(axes))
    words = [text.get_text() for text in figure.axes[1].texts]
    assert "60 rows: too many for their names" in words
    assert "Not drawn in so little space: Oscillometric" in words
    assert not axes.get_yticklabels()
    marks = next(line for line in axes.lines if line.get_label() == "estimates")
    np.testing.assert_allclose(marks.get_xdata(), value)


def test_rows_without_a_line_of_comparison_reach_to_it_all_the_same() -> None:
    figure = draw(picture(rows(line=-9.0, line_is="", span=(-9.0, 12.0))))
    assert artists(figure, 1, "line") == []
    low, high = figure.axes[1].get_xlim()
    assert low < -9 < 12 < high


def test_any_picture_can_be_saved(tmp_path: Path) -> None:
    shown = picture(rows())
    path = save(shown, tmp_path / "operators.svg")
    assert path.read_bytes() == svg_bytes(shown)
    assert b"Alternative." in path.read_bytes()


def test_what_cannot_be_drawn_is_refused() -> None:
    with pytest.raises(CallError, match="mm wide"):
        draw(picture(rows()), 40)
    with pytest.raises(CallError, match="something to show"):
        picture()
    with pytest.raises(CallError, match="needs a name"):
        rows(names=("AB",))
    with pytest.raises(CallError, match="name and a count"):
        BarsPanel("", "", (), np.array([]), 0.0, "")
    with pytest.raises(ValueError, match="read-only"):
        rows().estimate[0] = 1
