"""A figure's sheet: millimetres become places, and the key shows lines, marks or both."""

from __future__ import annotations

import pytest

from bpvet.errors import CallError
from bpvet.figures.sheet import (
    EDGE,
    PanelBox,
    key_height,
    key_rows,
    new_sheet,
    refuse_width,
    title_block,
)


def test_millimetres_are_counted_from_the_left_top() -> None:
    sheet = new_sheet(160.0, 100.0, title_block("Title", 160.0))
    width, height = sheet.figure.get_size_inches() * 25.4
    assert (width, height) == pytest.approx((160, 100))
    box = sheet.panel(PanelBox(16.0, 10.0, 80.0, 60.0)).get_position()
    assert (box.x0, box.width) == pytest.approx((0.1, 0.5))
    assert (box.y1, box.height) == pytest.approx((0.9, 0.6))
    assert sheet.page.texts[0].get_text() == "Title"
    assert sheet.page.texts[0].get_position()[0] == EDGE


def test_the_key_draws_a_line_a_mark_or_both() -> None:
    line, mark = {"color": "red", "lw": 2.0}, {"marker": "s", "ms": 4.0}
    key = [(line, "line"), (mark | {"ls": "none"}, "mark"), (line | mark, "both")]
    rows = key_rows(key, 160.0)
    sheet = new_sheet(160.0, 100.0, title_block("Title", 160.0))
    sheet.key(50.0, rows)
    assert [drawn.get_marker() for drawn in sheet.page.lines] == ["None", "s", "s", "None"]
    middles = [float(drawn.get_ydata()[0]) for drawn in sheet.page.lines]
    assert middles[2] == middles[3]
    ends = 50.0 + key_height(rows)
    assert 50.0 < middles[0] < middles[1] < middles[2] < ends
    marks = [float(drawn.get_xdata()[0]) for drawn in sheet.page.lines[1:3]]
    across = sheet.page.lines[0].get_xdata()
    assert marks == pytest.approx([(across[0] + across[1]) / 2] * 2)


@pytest.mark.parametrize("width", [79.0, 1001.0, float("nan")])
def test_a_width_that_no_figure_can_have_is_refused(width: float) -> None:
    with pytest.raises(CallError, match="80 to 1000 mm wide"):
        refuse_width(width)
