"""Small panels read back from the drawing: true dates and values, nothing clipped, nothing lost."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree
from typing import Any

import numpy as np
import pandas as pd
import pytest

from bpvet.errors import CallError
from bpvet.figures.clinic.cohort import draw
from bpvet.figures.clinic.panels_picture import AnimalPanel, Deciles, PanelsPicture
from bpvet.figures.marking import meaning_of
from bpvet.figures.save import svg_bytes
from bpvet.pictures.clinic_panels import sheets
from tests.figures.honest import met_letters
from tests.figures.text_boxes import faults
from tests.pictures.cohort_many import FIRST, animal_rows, group, lines, names_in, needs_in

SVG = "{http://www.w3.org/2000/svg}"
HOSTILE = "<script>$x^2$</script> of the long corridor behind the harbour"


def odd() -> pd.DataFrame:
    """Return twelve plain animals, and those that would set any scale."""
    bounds = ["", "at least", "at most", ""]
    methods = ["doppler", "oscillometric", "doppler", "doppler"]
    return pd.concat(
        [
            group(12),
            animal_rows("HIGH", [300.0, 290.0, 150.0, 295.0]),
            animal_rows("LONG", [140.0 + k % 9 for k in range(200)], every=9),
            animal_rows("LOW", [60.0, 140.0, 150.0]),
            animal_rows("BOUNDS", [150.0, 165.0, 125.0, 150.0], systolic_bound=bounds),
            animal_rows("METHODS", [150.0, 140.0, 152.0, 149.0], method=methods),
            animal_rows("GAP", [150.0, 152.0], every=200),
        ],
        ignore_index=True,
    )


def pictures(rows: pd.DataFrame, name: str = "", **given: Any) -> tuple[PanelsPicture, ...]:
    needs = needs_in(rows, **given)
    return sheets(rows, needs, names_in(rows, name), "systolic", lines())


def artists(picture: PanelsPicture, width: float = 160.0) -> dict[str, list[Any]]:
    """Return what stands on each animal's axes, with the axes, by the animal."""
    figure = draw(picture, width)
    found: dict[str, list[Any]] = {}
    for axes in figure.axes:
        for line in axes.lines:
            meaning = meaning_of(line.get_gid())
            if meaning is not None:
                found.setdefault(meaning.panel, []).append((axes, line, meaning))
    return found


@pytest.mark.parametrize("width", [80.0, 85.0, 160.0])
@pytest.mark.parametrize(
    "rows",
    [group(1), group(2), group(61), odd()],
    ids=["one", "two", "deciles", "odd"],
)
def test_no_words_meet_or_leave(rows: pd.DataFrame, width: float) -> None:
    for picture in pictures(rows, HOSTILE):
        figure = draw(picture, width)
        assert faults(figure) == []
        assert met_letters(figure) == []


def test_urgent_and_left_are_written_within_their_panels() -> None:
    for given in ({"urgent": True}, {"left": True}, {"kind": "raised", "target": 140.0}):
        for picture in pictures(group(3), **given):
            assert faults(draw(picture, 85.0)) == []


@pytest.mark.parametrize("width", [85.0, 160.0])
def test_every_session_is_a_mark_of_its_date_and_value(width: float) -> None:
    rows = odd()
    (picture,) = pictures(rows)
    found = artists(picture, width)
    for panel in picture.panels:
        own = rows[rows["animal"] == panel.key]
        marks = [
            (axes, line, one)
            for axes, line, one in found[panel.key]
            if one.kind in ("session", "bound", "beyond")
        ]
        assert sorted(one.date for _, _, one in marks) == sorted(own["date"].astype(str))
        assert sorted(float(one.value) for _, _, one in marks) == sorted(own["systolic"])
        for axes, line, one in marks:
            day = (np.datetime64(one.date) - FIRST) / np.timedelta64(1, "D")
            x, y = float(line.get_xdata()[0]), float(line.get_ydata()[0])
            low, high = axes.get_ylim()
            assert low <= y <= high
            assert axes.get_xlim()[0] <= x <= axes.get_xlim()[1]
            if one.kind == "beyond":
                continue
            assert abs(x * 30.4375 - day) < 0.5
            assert abs(y - float(one.value)) < 0.5


def test_what_lies_beyond_points_to_where_it_lies_and_is_lettered() -> None:
    (picture,) = pictures(odd())
    found = artists(picture)
    far = {
        name: [
            (line.get_marker(), float(one.value)) for _, line, one in held if one.kind == "beyond"
        ]
        for name, held in found.items()
    }
    assert far["HIGH"] == [("^", 300.0), ("^", 290.0), ("^", 295.0)]
    assert far["LOW"] == [("v", 60.0)]
    assert {mark for mark, _ in far["LONG"]} == {">"}
    assert not any(far[name] for name in far if name.startswith("A0"))
    words = " ".join(text.get_text() for axes in draw(picture).axes for text in axes.texts)
    for said in ("300 and 2 more", "60", "to month 59"):
        assert said in words


def test_bounds_are_arrows_and_no_line_runs_through_them_methods_or_gaps() -> None:
    (picture,) = pictures(odd())
    found = artists(picture)
    bounds = [one for _, _, one in found["BOUNDS"] if one.kind == "bound"]
    assert [(one.value, one.bound) for one in bounds] == [("165", "at_least"), ("125", "at_most")]
    joined = {}
    for name, held in found.items():
        axes = held[0][0]
        runs = [line for line in axes.lines if line.get_label() == "animal"]
        joined[name] = [line.get_ydata().tolist() for line in runs]
    assert joined["BOUNDS"] == []
    assert joined["METHODS"] == [[150.0, 152.0, 149.0]]
    assert joined["GAP"] == []
    assert joined["A000"] == [[130.0, 133.0]]


def test_an_animal_stands_against_its_own_target_and_floor() -> None:
    (picture,) = pictures(group(3), kind="own", target=150.0)
    for name, held in artists(picture).items():
        levels = {
            one.kind: float(one.value) for _, _, one in held if one.kind in ("target", "floor")
        }
        assert levels == (
            {"target": 160, "floor": 120} if name == "all" else {"target": 150, "floor": 120}
        )
    assert "target 150" in picture.panels[0].standing[0]


def test_the_drawing_is_words_and_elements() -> None:
    (picture,) = pictures(odd(), HOSTILE)
    root = ElementTree.fromstring(svg_bytes(picture))
    assert root.get("role") == "img"
    marks = [one for one in root.iter(f"{SVG}g") if one.get("data-kind") in ("session", "beyond")]
    assert len(marks) == sum(panel.value.size for panel in picture.panels) - 2
    for mark in marks:
        assert mark.get("data-date")
        assert mark.get("data-unit") == "mmHg"
        title = mark.find(f"{SVG}title")
        assert title is not None
        assert "mmHg, mean of 5 readings, Doppler" in (title.text or "") or "oscillo" in (
            title.text or ""
        )
    texts = " ".join(filter(None, (one.text for one in root.iter(f"{SVG}text"))))
    assert "last 133, target 160" in texts
    assert "<script" not in svg_bytes(picture).decode()


def test_a_picture_without_length_is_refused() -> None:
    (picture,) = pictures(group(2))
    empty: Any = {name: [] for name in ("date", "months", "value", "bound", "method", "treated")}
    with pytest.raises(CallError, match="at least one session"):
        AnimalPanel("A", "A", "", (), words=(), **empty)
    with pytest.raises(CallError, match="Nine deciles"):
        Deciles(np.ones(2), np.ones((2, 8)), np.ones(2, dtype=int))
    held = vars(picture)
    with pytest.raises(CallError, match="some length"):
        PanelsPicture(**(held | {"low": 200.0, "high": 100.0}))
    with pytest.raises(CallError, match="at least one session"):
        PanelsPicture(**(held | {"panels": ()}))
    with pytest.raises(CallError, match="80 to 1000 mm"):
        draw(picture, 20)
    with pytest.raises(ValueError, match="read-only"):
        picture.panels[0].value[0] = 1.0
