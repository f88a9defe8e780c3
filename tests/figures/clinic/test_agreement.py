"""The agreement figure: what is drawn where, told by numbers and artists."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from matplotlib.figure import Figure

from bpvet.errors import CallError
from bpvet.figures.clinic.agreement import draw
from bpvet.figures.clinic.agreement_picture import (
    AgreementPicture,
    FittedLine,
    LevelLine,
    PairMarks,
)
from bpvet.figures.save import figure_bytes
from bpvet.wording.en.pictures.drawn import AGREEMENT


def picture(**change: Any) -> AgreementPicture:
    first = np.array([120.0, 140, 160, 181])
    second = np.array([124.0, 139, 171, 180])
    animal = np.array([0, 0, 1, 1])
    given: dict[str, Any] = {
        "title": "Oscillometric against Doppler: systolic pressure",
        "labels": ("Doppler", "oscillometric"),
        "unit": "mmHg",
        "animals": ("Minka", "Tom"),
        "points": PairMarks(first, second, animal),
        "readings": PairMarks(first - 3, second + 5, animal),
        "points_are": "means of one visit",
        "bias": LevelLine(3.25, -5.0, 11.0, "Bias 3.2"),
        "lower": LevelLine(-7.8, -20.0, 2.0, "Lower limit −7.8"),
        "upper": LevelLine(14.3, None, None, "upper limit 14.3"),
        "trend": None,
        "lines": (FittedLine(1.02, 0.5, "Deming's line"), FittedLine(0.98, 4, "Passing's line")),
        "caption": "Caption.",
        "alt_text": "Two panels.",
        "words": AGREEMENT,
    }
    return AgreementPicture(**{**given, **change})


def artists(figure: Figure, panel: int, label: str) -> list[Any]:
    return [line for line in figure.axes[panel].lines if line.get_label() == label]


def test_points_and_readings_are_where_they_belong() -> None:
    shown = picture()
    figure = draw(shown)
    points = artists(figure, 1, "points")
    assert [line.get_marker() for line in points] == ["o", "s"]
    np.testing.assert_allclose(points[0].get_xdata(), [122, 139.5])
    np.testing.assert_allclose(points[0].get_ydata(), [4, -1])
    readings = artists(figure, 1, "readings")[0]
    np.testing.assert_allclose(readings.get_ydata(), shown.points.difference + 8)
    identity = artists(figure, 2, "points")[1]
    np.testing.assert_allclose(identity.get_xdata(), [160, 181])
    np.testing.assert_allclose(identity.get_ydata(), [171, 180])


def test_limits_bias_and_lines() -> None:
    figure = draw(picture())
    for name, value in (("bias", 3.25), ("lower limit", -7.8), ("upper limit", 14.3)):
        assert artists(figure, 1, name)[0].get_ydata()[0] == value
    line = artists(figure, 2, "Deming's line")[0]
    x, y = np.asarray(line.get_xdata()), np.asarray(line.get_ydata())
    np.testing.assert_allclose(y, 0.5 + 1.02 * x)
    assert artists(figure, 2, "identity")
    spans = [patch for patch in figure.axes[1].patches if patch.get_label() == "interval"]
    assert len(spans) == 2
    words = {text.get_text() for text in figure.axes[0].texts}
    assert {"3.2", "−7.8", "14.3", "Minka (marks are means of one visit)"} <= words


def test_many_animals_have_one_mark() -> None:
    figure = draw(picture(animals=()))
    assert len(artists(figure, 1, "points")) == 1
    assert "Means of one visit" in {text.get_text() for text in figure.axes[0].texts}


def test_a_trend_is_drawn_where_it_is_told() -> None:
    assert not artists(draw(picture()), 1, "trend")
    figure = draw(picture(trend=FittedLine(-0.1, 20.0, "Difference on mean")))
    line = artists(figure, 1, "trend")[0]
    np.testing.assert_allclose(line.get_ydata(), 20 - 0.1 * np.asarray(line.get_xdata()))


@pytest.mark.parametrize("width", [80.0, 160.0])
def test_all_words_stay_on_the_page(width: float) -> None:
    long = tuple(f"{name} of the long corridor behind the harbour" for name in ("Minka", "Tom"))
    figure = draw(picture(animals=long, labels=("Doppler <b>", "$x^2$ oscillometric")), width)
    figure.draw_without_rendering()
    page = figure.bbox
    for axes in figure.axes:
        for text in axes.texts:
            box = text.get_window_extent()
            assert box.x0 >= page.x0 - 1
            assert box.x1 <= page.x1 + 1
    assert figure.get_size_inches()[0] == pytest.approx(width / 25.4)


def test_the_same_picture_is_the_same_file() -> None:
    shown = picture()
    files = {figure_bytes(draw(shown), "svg", shown.title, shown.alt_text) for _ in range(2)}
    assert len(files) == 1


def test_what_cannot_be_drawn_is_refused() -> None:
    with pytest.raises(CallError, match="mm wide"):
        draw(picture(), 40)
    with pytest.raises(CallError, match="at least one point"):
        picture(points=PairMarks(np.array([]), np.array([]), np.array([], dtype=int)))
    with pytest.raises(CallError, match="not named"):
        picture(animals=("Minka",))
    with pytest.raises(CallError, match="one value by each"):
        PairMarks(np.array([1.0]), np.array([1.0, 2.0]), np.array([0]))


def test_arrays_are_read_only() -> None:
    with pytest.raises(ValueError, match="read-only"):
        picture().points.first[0] = 1.0
