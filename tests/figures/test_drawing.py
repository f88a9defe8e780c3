"""Pictures in somebody's Axes: where they lie, what of them stays, what is too small for them."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import matplotlib
import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.figure import Figure

import bpvet
from bpvet.errors import CallError
from bpvet.figures.drawing import plotted
from bpvet.figures.pictures import TrendPicture
from bpvet.figures.sheet import region_of
from bpvet.pictures.kidney import joint_picture, kidney_picture
from bpvet.records.example import example_texts
from bpvet.visits.series import Series
from tests.figures.text_boxes import faults
from tests.models.agreement.test_situation import clinic

DAY = np.datetime64("1970-01-01")


@pytest.fixture(scope="module")
def records(tmp_path_factory: pytest.TempPathFactory) -> bpvet.Records:
    folder: Path = tmp_path_factory.mktemp("examples")
    for name, content in example_texts().items():
        (folder / name).write_bytes(content)
    return bpvet.read(folder, as_of="2026-11-01")


@pytest.fixture(scope="module")
def plots(records: bpvet.Records) -> dict[str, Callable[..., Any]]:
    cohort, audit = bpvet.clinic_cohort(records), bpvet.audit(records)
    plan = bpvet.plan(bpvet.Priors.default("cat", "doppler"))
    days = np.arange(20) * 30
    return {
        "trend": bpvet.fit_trend(records, "A17").plot,
        "kidney": _plot_of(kidney_picture(bpvet.kidney(records, "A17"))),
        "joint": _plot_of(joint_picture(bpvet.fit_joint(records, "A17"))),
        "plan": plan.plot,
        "study": plan.study(20.0).plot,
        "variability": bpvet.variability(days, 150 + 9 * np.sin(days)).plot,
        "over time": bpvet.over_time(records).plot,
        "situation": bpvet.situation(clinic()).plot,
        "agreement": bpvet.agreement(records).plot,
        "audit": audit.plot,
        "clinic's cohort": cohort.plot,
        "cohort": cohort.cohort.plot,
        "due": bpvet.due(records).plot,
    }


def _plot_of(picture: TrendPicture) -> Callable[..., Any]:
    """Return what draws a picture that takes long to make, as the `plot` of its result does."""

    def plot(ax: Axes | None = None, *, width_mm: float = 160.0) -> Figure | Axes:
        return plotted(picture, ax, width_mm)

    return plot


def axes_of(width: float, height: float) -> Axes:
    """Return an Axes with a box of a size in mm, in the middle of a figure of twice that."""
    figure = Figure(figsize=(width / 12.7, height / 12.7))
    return figure.add_axes((0.25, 0.25, 0.5, 0.5))


def test_each_fills_the_box_and_draws_on_the_axes(plots: dict[str, Callable[..., Any]]) -> None:
    for name, plot in plots.items():
        axes = axes_of(150, 160)
        box = axes.get_position()
        assert plot(axes) is axes, name
        figure = axes.figure
        figure.canvas.draw()
        assert axes.lines or axes.collections, name
        assert axes.get_position().width < box.width, name
        for one in figure.axes:
            found = one.get_tightbbox()
            if found is None:
                continue
            inside = found.transformed(figure.transFigure.inverted())
            assert box.x0 - 0.004 <= inside.x0 <= inside.x1 <= box.x1 + 0.004, name
            assert box.y0 - 0.004 <= inside.y0 <= inside.y1 <= box.y1 + 0.004, name


def test_without_axes_it_is_a_figure_of_a_width(plots: dict[str, Callable[..., Any]]) -> None:
    for name, plot in plots.items():
        figure = plot(width_mm=120.0)
        assert isinstance(figure, Figure), name
        assert figure.get_size_inches()[0] == pytest.approx(120 / 25.4), name


def test_each_fits_the_axes_that_matplotlib_makes(
    records: bpvet.Records, plots: dict[str, Callable[..., Any]]
) -> None:
    """`plt.subplots()` makes a figure of 6.4 by 4.8 inches."""
    audit, cohort = plots["audit"], plots["clinic's cohort"]
    every = dict(plots)
    every |= {what: partial(audit, what=what) for what in ("digits", "spread", "operators")}
    every |= {what: partial(cohort, what=what) for what in ("residuals", "scatter")}
    every["labs"] = partial(plots["trend"], labs=True)
    every["weight"] = bpvet.fit_trend(records, "A17", quantity="weight").plot
    every["urgent"] = bpvet.fit_trend(records, "B04").plot
    for name, plot in every.items():
        axes = Figure(figsize=(6.4, 4.8)).subplots()
        assert plot(axes) is axes, name
        assert not faults(axes.figure), name
        assert axes.lines or axes.collections or axes.patches, name


def test_what_found_no_space_is_told_of(plots: dict[str, Callable[..., Any]]) -> None:
    def words(plot: Callable[..., Any], height: float) -> str:
        axes = axes_of(126, height)
        plot(axes)
        texts = [text.get_text() for one in axes.figure.axes for text in one.texts]
        return " ".join(texts).replace("\n", " ")

    # Pressure and creatinine go together as far as they can; levels give way first.
    assert "Creatinine" in words(plots["joint"], 94)
    assert "Not drawn" not in words(plots["joint"], 94)
    assert "Not drawn in so little space: SDMA" in words(plots["kidney"], 94)
    assert "Not drawn" not in words(plots["kidney"], 200)
    assert "Not drawn in so little space: What came first" in words(plots["over time"], 94)
    assert "Not drawn in so little space: Plain changes" in words(plots["study"], 60)


def test_marks_stand_on_the_axes_at_their_dates(records: bpvet.Records) -> None:
    trend = bpvet.fit_trend(records, "A17")
    axes = axes_of(150, 120)
    trend.plot(axes)
    series: Series = trend.series
    noon = (series.date - DAY) / np.timedelta64(1, "D") + 0.5
    drawn = {(x, y) for line in axes.lines for x, y in zip(*line.get_data(), strict=True)}
    for x, y in zip(noon, trend.observed, strict=True):
        assert any(abs(x - a) < 0.6 and abs(y - b) < 1e-6 for a, b in drawn), (x, y)


def test_what_is_urgent_stays_in_the_lowest_box(records: bpvet.Records) -> None:
    trend = bpvet.fit_trend(records, "B04")
    assert trend.answer().urgent
    for height in (90, 150, 220):
        axes = axes_of(130, height)
        trend.plot(axes)
        bold = [
            text.get_text()
            for one in axes.figure.axes
            for text in one.texts
            if text.get_weight() == "bold"
        ]
        assert len(bold) >= 2, height
        assert any("rgent" in text for text in bold), (height, bold)


def test_a_dagger_keeps_its_footnote_where_the_key_goes(records: bpvet.Records) -> None:
    axes = axes_of(126, 94)
    bpvet.fit_trend(records, "A17").plot(axes)
    words = [text.get_text() for one in axes.figure.axes for text in one.texts]
    assert any("floor" in text and "†" in text for text in words)
    assert any(text.startswith("†") for text in words)


def test_too_small_is_refused_with_the_size_it_takes(plots: dict[str, Callable[..., Any]]) -> None:
    with pytest.raises(CallError, match="60 mm wide"):
        plots["trend"](axes_of(60, 200))
    for name, plot in plots.items():
        with pytest.raises(CallError, match=r"30 mm high, and what .* takes"):
            plot(axes_of(150, 30))
        assert name
    with pytest.raises(CallError, match="not int"):
        plots["agreement"](3)
    with pytest.raises(CallError, match="none of"):
        plots["audit"](what="all")
    with pytest.raises(CallError, match="none of"):
        plots["clinic's cohort"](what="all")


def test_parts_of_a_figure_and_layouts(plots: dict[str, Callable[..., Any]]) -> None:
    figure = Figure(figsize=(11, 10), layout="constrained")
    left, right = figure.subfigures(1, 2)
    one = left.subplots()
    two = right.subplots()
    two.plot([1, 2], [3, 4])
    size = region_of(one)
    assert size.width == pytest.approx(region_of(two).width, rel=0.2)
    assert plots["agreement"](one) is one
    figure.canvas.draw()
    assert one.get_position().height < 1
    assert two.get_lines()[0].get_xdata().tolist() == [1, 2]


def test_the_users_settings_stay_theirs(plots: dict[str, Callable[..., Any]]) -> None:
    with matplotlib.rc_context({"font.size": 25, "axes.linewidth": 9}):
        axes = axes_of(150, 160)
        before = dict(matplotlib.rcParams)
        plots["agreement"](axes)
        assert dict(matplotlib.rcParams) == before
        assert axes.spines["left"].get_linewidth() < 2
        assert axes.xaxis.get_ticklabels()[0].get_size() < 12
        assert axes.xaxis.label.get_size() < 12


def test_words_do_not_cross(plots: dict[str, Callable[..., Any]]) -> None:
    for name, plot in plots.items():
        for size in ((126, 120), (95, 150)):
            axes = axes_of(*size)
            plot(axes)
            assert not faults(axes.figure), (name, size)
