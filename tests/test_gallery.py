"""The gallery: every example runs, its picture holds the records' numbers, its drawing is clean."""

from __future__ import annotations

import csv
import os
import re
import runpy
import statistics
import subprocess
import sys
from functools import cache
from importlib.metadata import version
from pathlib import Path
from shutil import copy
from typing import Any

import numpy as np
import pytest

from bpvet.figures import save, trend
from bpvet.figures.clinic import agreement, cohort
from bpvet.figures.pictures import TrendPicture
from bpvet.records.example import example_texts
from tests.drawn import assert_same
from tests.figures.text_boxes import faults

ROOT = Path(__file__).parent.parent
FOLDER = ROOT / "examples"
#: Scripts that are no examples: what makes the shipped records, and what reads them.
APART = ("make_drawings", "make_example_records", "invented")
NAMES = sorted(path.stem for path in FOLDER.glob("*.py") if path.stem not in APART)
#: Examples of more than one animal; all others show one animal through time.
OF_MANY = {
    "two_methods": agreement.draw,
    "whole_clinic": cohort.draw,
    "whom_to_see": cohort.draw,
    "in_the_room": cohort.draw,
}
OF_ONE = [name for name in NAMES if name not in OF_MANY]
#: Of these, examples of a laboratory value: single values, no readings.
OF_LABS = {
    "in_which_stage": ("K12", "creatinine"),
    "stage_and_rate": ("N14", "creatinine"),
}


@cache
def picture(name: str) -> Any:
    before = list(sys.path)
    sys.path.insert(0, str(FOLDER))
    try:
        return runpy.run_path(str(FOLDER / f"{name}.py"))["picture"]()
    finally:
        sys.path[:] = before


@pytest.mark.parametrize("name", NAMES)
def test_each_example_asks_one_question_and_is_shown_in_the_readme(name: str) -> None:
    first = (FOLDER / f"{name}.py").read_text(encoding="utf-8").splitlines()[0]
    assert re.fullmatch(r'"""[A-Z].*\?', first)
    assert (FOLDER / f"{name}.svg").exists()
    assert f"examples/{name}.py" in (ROOT / "README.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("width", [160.0, 85.0])
@pytest.mark.parametrize("name", NAMES)
def test_no_words_meet_or_leave_the_figure(name: str, width: float) -> None:
    draw = OF_MANY.get(name, trend.draw)
    assert faults(draw(picture(name), width)) == []


@pytest.mark.parametrize("name", OF_LABS)
def test_each_value_is_the_laboratorys(name: str) -> None:
    animal, analyte = OF_LABS[name]
    rows = csv.DictReader(example_texts()["labs.csv"].decode("utf-8-sig").splitlines())
    given = [float(r["value"]) for r in rows if (r["animal"], r["analyte"]) == (animal, analyte)]
    assert picture(name).panels[0].sessions.mean.tolist() == pytest.approx(given)


@pytest.mark.parametrize("name", [name for name in OF_ONE if name not in OF_LABS])
def test_each_mean_is_that_of_its_readings(name: str) -> None:
    assert isinstance(picture(name), TrendPicture)
    panel = picture(name).panels[0]
    for date, mean in zip(panel.sessions.date, panel.sessions.mean, strict=True):
        used = (panel.readings.date == date) & (panel.readings.fate == "used")
        assert used.any()
        assert mean == pytest.approx(panel.readings.value[used].mean(), abs=1e-9)


@pytest.mark.parametrize(
    ("name", "animal"),
    [
        ("at_target", "J40"),
        ("getting_used", "D08"),
        ("one_session", "G03"),
    ],
)
def test_each_mean_is_that_of_the_file(name: str, animal: str) -> None:
    """The first of four or more readings taken is left out; nothing here is excluded or spoilt."""
    shown = picture(name).panels[0].sessions
    expected = {
        date: statistics.mean(values[1:] if len(values) > 3 else values)
        for date, values in _awake_doppler(animal).items()
    }
    found = dict(zip(shown.date.astype(str).tolist(), shown.mean.tolist(), strict=True))
    assert found == pytest.approx(expected, abs=1e-9)


def _awake_doppler(animal: str) -> dict[str, list[float]]:
    """Return the readings of the file by date, in its order, read without our own reader."""
    text = example_texts()["readings.csv"].decode("utf-8-sig")
    found: dict[str, list[float]] = {}
    for row in csv.DictReader(text.splitlines()):
        plain = row["method"] == "doppler" and row["setting"] in ("", "clinic", "hospital")
        if row["animal"] == animal and plain and row["state"] in ("", "awake"):
            found.setdefault(row["taken_at"][:10], []).append(float(row["systolic"]))
    return found


def test_the_values_below_the_pressure_are_those_of_the_file() -> None:
    rows = csv.DictReader(example_texts()["labs.csv"].decode("utf-8-sig").splitlines())
    own = [row for row in rows if row["animal"] == "K12"]
    panels = {panel.quantity: panel for panel in picture("creeping_up").panels[1:]}
    assert set(panels) == {row["analyte"] for row in own}
    for analyte, panel in panels.items():
        written = {
            row["sampled_on"]: float(row["value"]) for row in own if row["analyte"] == analyte
        }
        drawn = dict(
            zip(panel.sessions.date.astype(str), panel.sessions.mean.tolist(), strict=True)
        )
        assert drawn == written


def test_two_units_stay_two_units() -> None:
    below = picture("two_units").panels[1:]
    assert [(panel.unit, panel.sessions.mean.tolist()) for panel in below] == [
        ("µmol/L", [168.0, 181.0]),
        ("mg/dL", [2.2, 2.4]),
    ]


def test_the_two_methods_are_paired_visit_by_visit() -> None:
    """Both sessions of one invented cat's day, averaged here from the file."""
    shown = picture("two_methods")
    text = example_texts()["readings.csv"].decode("utf-8-sig")
    by_day: dict[tuple[str, str], dict[str, list[float]]] = {}
    for row in csv.DictReader(text.splitlines()):
        if row["animal"] == "J40" and row["state"] in ("", "awake"):
            day = by_day.setdefault((row["animal"], row["taken_at"][:10]), {})
            day.setdefault(row["method"], []).append(float(row["systolic"]))
    both = [day for day in by_day.values() if len(day) == 2]
    expected = sorted(
        tuple(statistics.mean(day[method][1:]) for method in ("doppler", "oscillometric"))
        for day in both
    )
    own = shown.points.animal == shown.animals.index("J40")
    found = sorted(
        zip(shown.points.first[own].tolist(), shown.points.second[own].tolist(), strict=True)
    )
    assert all(len(values) > 3 for day in both for values in day.values())
    assert found == [pytest.approx(pair) for pair in expected]


def test_the_whole_clinic_shows_every_session_that_counts() -> None:
    shown = picture("whole_clinic")
    rows = csv.DictReader(example_texts()["animals.csv"].decode("utf-8-sig").splitlines())
    assert {panel.key for panel in shown.panels} == {row["animal"] for row in rows}
    assert sum(panel.value.size for panel in shown.panels) == 194
    assert min(panel.months.min() for panel in shown.panels) == 0.0
    assert len(shown.overview.lines) == 2
    assert all((line.low < line.value).all() for line in shown.overview.lines)
    assert all((line.value < line.high).all() for line in shown.overview.lines)
    assert "no gap between lines is a drug's effect" in shown.caption


def test_what_each_example_is_there_to_show() -> None:
    assert picture("no_categories").panels[0].levels == ()
    assert "greyhound" in picture("no_categories").panels[0].note
    assert picture("one_session").panels[0].sessions.mean.size == 1
    assert "at least" in picture("beyond_the_gauge").panels[0].sessions.bound
    assert [one.condition for one in picture("home_or_clinic").panels[0].others] == [
        "home",
        "clinic",
    ]
    assert picture("getting_used").panels[0].sessions.label[0] == "first visit"
    assert sum(span.modelled for span in picture("did_the_drug_work").courses) == 3
    band = picture("at_target").panels[0].band
    assert band is not None
    assert band.high_outer[-1] < 160


@pytest.mark.parametrize("name", OF_ONE)
def test_numbers_and_words_alone_make_the_picture(name: str) -> None:
    for panel in picture(name).panels:
        for array in (panel.sessions.mean, panel.readings.value):
            assert not array.flags.writeable
    again = picture.__wrapped__(name)
    for one, other in zip(picture(name).panels, again.panels, strict=True):
        assert np.array_equal(one.sessions.mean, other.sessions.mean)
    assert trend.caption(again) == trend.caption(picture(name))


_AGAIN = "Run python examples/make_drawings.py, and look at what changed"


def _skip_with_other_libraries() -> None:
    pinned = (ROOT / ".ci" / "constraints.txt").read_text(encoding="utf-8")
    for library in ("matplotlib", "numpy", "pandas", "scipy"):
        if f"{library}=={version(library)}" not in pinned.splitlines():
            pytest.skip(f"{library} {version(library)} is not the version that drew them")


@pytest.mark.parametrize("name", NAMES)
def test_the_drawing_beside_each_example_is_the_one_that_it_makes(name: str) -> None:
    _skip_with_other_libraries()
    drawn = (FOLDER / f"{name}.svg").read_text(encoding="utf-8")
    assert_same(save.svg_bytes(picture(name)).decode(), drawn, _AGAIN)


def test_the_figure_of_the_readme_is_the_one_that_its_command_makes() -> None:
    _skip_with_other_libraries()
    sys.path.insert(0, str(FOLDER))
    try:
        shown = runpy.run_path(str(FOLDER / "make_drawings.py"))["pilchard"]()
    finally:
        sys.path.remove(str(FOLDER))
    drawn = (FOLDER / "pilchard.svg").read_text(encoding="utf-8")
    assert_same(save.svg_bytes(shown).decode(), drawn, _AGAIN)


def test_an_example_runs_on_its_own(tmp_path: Path) -> None:
    for name in ("invented", "one_session"):
        copy(FOLDER / f"{name}.py", tmp_path)
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    subprocess.run(
        [sys.executable, tmp_path / "one_session.py"], check=True, timeout=300, env=environment
    )
    assert (tmp_path / "one_session.svg").read_bytes().startswith(b"<?xml")
