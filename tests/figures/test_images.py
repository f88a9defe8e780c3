"""A few whole figures against the images that were looked at (pytest --mpl)."""

from __future__ import annotations

import pytest
from matplotlib.figure import Figure

from bpvet.figures import trend
from tests.figures.example_pictures import EXAMPLES


@pytest.mark.parametrize(
    "name",
    ["three_courses", "both_methods", "forty_sessions", "many_signs", "with_laboratory"],
)
@pytest.mark.mpl_image_compare(
    baseline_dir="baseline", tolerance=12, style="default", savefig_kwargs={"dpi": 60}
)
def test_the_figure_looks_as_it_did(name: str) -> Figure:
    return trend.draw(EXAMPLES[name]())
