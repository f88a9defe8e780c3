"""A cohort's figures: what is drawn where, told by numbers and artists; nothing meets or leaves."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from matplotlib.colors import to_hex
from matplotlib.figure import Figure
from matplotlib.text import Text

from bpvet.errors import CallError
from bpvet.figures.clinic.cohort import MANY, MOST_NAMES, draw
from bpvet.figures.clinic.cohort_picture import (
    IntervalPanel,
    IntervalsPicture,
    ResidualsPicture,
)
from bpvet.figures.save import svg_bytes
from bpvet.figures.style import DARK
from bpvet.wording.en.pictures.drawn import RESIDUALS, UNNAMED
from tests.figures.text_boxes import faults

HOSTILE = "<script>$x^2$</script> of the long corridor behind the harbour"


def residuals(count: int = 30) -> ResidualsPicture:
    held = np.linspace(-2.5, 2.7, count)
    words = ("Caption.", "Charts.")
    return ResidualsPicture("Residuals", "mmHg", 150 + held**2, held, held, *words, words=RESIDUALS)


def intervals(count: int = 6, panels: int = 2, zero: str = "the population") -> IntervalsPicture:
    value = np.linspace(-30, 30, count) if zero else np.linspace(2, 30, count)
    ends = np.full(count, 5.0)
    ends[0] = np.nan
    held = tuple(
        IntervalPanel(f"Panel {i}", "mmHg", value, value - ends, value + ends)
        for i in range(panels)
    )
    names = tuple(f"A{i} ({HOSTILE})" for i in range(count))
    words = ("95 % interval", "Caption.", "Intervals.")
    return IntervalsPicture("Animals", names, held, zero, *words, mark="Estimate", unnamed=UNNAMED)


def artists(figure: Figure, panel: int, label: str) -> list[Any]:
    found = [*figure.axes[panel].lines, *figure.axes[panel].collections]
    return [one for one in found if one.get_label() == label]


@pytest.mark.parametrize("width", [80.0, 85.0, 160.0])
@pytest.mark.parametrize(
    "picture",
    [
        residuals(),
        intervals(),
        intervals(MOST_NAMES, 1),
        intervals(MOST_NAMES + 1),
        intervals(5, 1, ""),
    ],
    ids=["residuals", "named", "most", "unnamed", "components"],
)
def test_no_words_meet_or_leave(picture: Any, width: float) -> None:
    assert faults(draw(picture, width)) == []


def test_residuals_stand_in_both_panels() -> None:
    picture = residuals()
    figure = draw(picture)
    left, right = artists(figure, 1, "sessions")[0], artists(figure, 2, "sessions")[0]
    np.testing.assert_array_equal(left.get_xdata(), picture.fitted)
    np.testing.assert_array_equal(right.get_xdata(), picture.normal)
    np.testing.assert_array_equal(left.get_ydata(), picture.residual)


def test_intervals_stand_by_their_names() -> None:
    figure = draw(intervals())
    estimates = artists(figure, 1, "estimates")[0]
    np.testing.assert_allclose(estimates.get_xdata(), np.linspace(-30, 30, 6))
    drawn = artists(figure, 2, "interval")[0].get_segments()
    assert len(drawn) == 5  # the first has no ends
    np.testing.assert_allclose(drawn[0][:, 0], [-18 - 5, -18 + 5])
    names = [text.get_text() for text in figure.axes[0].texts if text.get_text().startswith("A")]
    assert sum("…" in name or "\n" in name for name in names) == 12
    many = draw(intervals(MOST_NAMES + 1))
    assert not [text for text in many.axes[0].texts if text.get_text().startswith("A0")]


def test_every_letter_has_a_colour_that_follows_a_dark_page() -> None:
    for picture in (residuals(), intervals(), intervals(5, 1, "")):
        figure = draw(picture)
        texts = [text for text in figure.findobj(Text) if text.get_text().strip()]
        assert len(texts) > 5
        assert {to_hex(text.get_color()) for text in texts} <= set(DARK)


def test_many_sessions_are_kept_as_dots() -> None:
    few, many = svg_bytes(residuals(MANY)), svg_bytes(residuals(6 * MANY))
    assert b"<image" not in few
    assert b"<image" in many
    assert len(many) < len(few)
    assert svg_bytes(residuals(2 * MANY)) == svg_bytes(residuals(2 * MANY))


def test_what_cannot_be_drawn_is_refused() -> None:
    with pytest.raises(CallError, match="of one length"):
        IntervalPanel("", "", np.ones(2), np.ones(3), np.ones(2))
    with pytest.raises(CallError, match="in their order"):
        ResidualsPicture(
            "", "", np.ones(2), np.array([1.0, 0.0]), np.ones(2), "", "", words=RESIDUALS
        )
    with pytest.raises(CallError, match="one panel or in two"):
        intervals(panels=3)
    with pytest.raises(CallError, match="80 to 1000 mm"):
        draw(residuals(), 20)
    with pytest.raises(ValueError, match="read-only"):
        residuals().fitted[0] = 1.0


def test_intervals_without_names_are_one_path() -> None:
    picture = intervals(MOST_NAMES + 1)
    figure = draw(picture)
    for axes, panel in zip(figure.axes[1:], picture.panels, strict=True):
        (line,) = (one for one in axes.lines if one.get_label() == "interval")
        x = line.get_xdata().reshape(-1, 3)
        ended = np.isfinite(panel.low) & np.isfinite(panel.high)
        np.testing.assert_array_equal(x[:, 0], panel.low[ended])
        np.testing.assert_array_equal(x[:, 1], panel.high[ended])
        assert np.isnan(x[:, 2]).all()  # a gap: one animal's line does not lead to the next
        rows = line.get_ydata().reshape(-1, 3)
        np.testing.assert_array_equal(rows[:, 0], np.flatnonzero(ended))
        np.testing.assert_array_equal(rows[:, 1], np.flatnonzero(ended))
