"""Fields without ticks look as axes do whose ticks were taken away."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.axis import Tick
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from bpvet.figures.field import Field


def _drawn(kind: type[Axes]) -> tuple[Figure, np.ndarray]:
    figure = Figure(figsize=(3, 2), dpi=100)
    axes = figure.add_axes((0.2, 0.2, 0.6, 0.6), axes_class=kind)
    # As dates are: far from zero, where a spine that is not in its place would stand.
    axes.set_xlim(20_500, 20_600)
    axes.set_ylim(3, 5)
    axes.spines[["top", "right", "bottom"]].set_visible(False)
    axes.plot([20_510, 20_590], [3.2, 4.8])
    if kind is Axes:
        axes.set_xticks([])
        axes.set_yticks([])
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    return figure, np.asarray(canvas.buffer_rgba()).copy()


def test_a_field_looks_as_axes_without_ticks() -> None:
    (_, field), (_, axes) = _drawn(Field), _drawn(Axes)
    assert np.array_equal(field, axes)
    # Its left edge is drawn, where it belongs.
    assert (field[100, 58:63, :3] < 100).any()


def test_a_field_makes_no_tick() -> None:
    figure, _ = _drawn(Field)
    axes = figure.axes[0]
    made = [name for axis in (axes.xaxis, axes.yaxis) for name in vars(axis) if "Ticks" in name]
    assert made == []
    assert isinstance(axes.xaxis.get_major_ticks(1)[0], Tick)
