"""The notebooks: made from their texts, in step with them, and the same again from the start."""

from __future__ import annotations

import json
import re
import runpy
from collections.abc import Iterator
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Any

import pytest

from tests.drawn import assert_same

ROOT = Path(__file__).parent.parent
FOLDER = ROOT / "notebooks"
making = runpy.run_path(str(FOLDER / "make_notebooks.py"))
TEXTS: list[Path] = making["texts"]()
NAMES = [text.stem for text in TEXTS]
#: Kinds of output that are drawn, and whose bytes differ between versions of the libraries.
DRAWN = ("image/svg+xml", "image/png", "application/pdf")


@cache
def committed(name: str) -> str:
    return (FOLDER / f"{name}.ipynb").read_text(encoding="utf-8")


def cells(name: str) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads(committed(name))["cells"]
    return found


def source(cell: dict[str, Any]) -> str:
    return "".join(cell["source"])


def outputs(name: str) -> Iterator[dict[str, Any]]:
    for cell in cells(name):
        yield from cell.get("outputs", ())


def test_the_seven_stories_are_there() -> None:
    assert NAMES == [
        "a_clinics_cohort",
        "figure_for_a_letter",
        "kidneys_beside_pressure",
        "planning_measurements",
        "the_room_and_home",
        "tracking_one_animal",
        "two_methods_side_by_side",
        "whom_to_see_next",
    ]


@pytest.mark.parametrize("text", TEXTS, ids=NAMES)
def test_notebook_and_text_are_in_step(text: Path) -> None:
    held = [(cell["cell_type"], source(cell), cell["id"]) for cell in cells(text.stem)]
    wanted = making["cells"](text).cells
    assert held == [(cell.cell_type, cell.source, cell.id) for cell in wanted]


@pytest.mark.parametrize("name", NAMES)
def test_nothing_of_a_time_or_a_machine_is_kept(name: str) -> None:
    text = committed(name)
    assert "ExecuteTime" not in text
    assert "execution" not in json.loads(text)["metadata"]
    assert not re.search(r"iopub|/tmp/|/home/|/work/|/usr/|[A-Z]:\\\\", text)
    assert all(cell["metadata"] == {} for cell in cells(name))
    assert len(text) < 600_000


@pytest.mark.parametrize("name", NAMES)
def test_no_cell_failed_or_warned(name: str) -> None:
    for output in outputs(name):
        assert output["output_type"] != "error"
        assert output.get("name") != "stderr"


@pytest.mark.parametrize("name", NAMES)
def test_what_is_shown_is_read_without_scrolling_or_guessing(name: str) -> None:
    """Text breaks between words, frames have sensible digits, and nothing is a bare NaN."""
    for output in outputs(name):
        data = output.get("data", {})
        if set(data) & set(DRAWN):
            continue
        alone = "".join(
            output.get("text", "" if "text/html" in data else data.get("text/plain", ""))
        )
        assert [line for line in alone.splitlines() if len(line) > 92] == []
        text = alone + "".join(data.get("text/html", ""))
        assert not re.search(r"\b(?:NaN|nan|NaT|None)\b", text)
        assert not re.search(r"\d\.\d{4,}", re.sub(r'"[^"]*"', "", text))


@pytest.mark.parametrize("name", NAMES)
def test_each_says_for_whom_it_is_and_that_its_records_are_invented(name: str) -> None:
    words = [source(cell) for cell in cells(name) if cell["cell_type"] == "markdown"]
    assert words[0].startswith("# ")
    assert "\nFor " in words[0]
    if name != "planning_measurements":  # it has no records at all
        assert "invented" in " ".join(words[:3])
    assert name + ".ipynb" in (ROOT / "README.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("text", TEXTS, ids=NAMES)
def test_a_run_from_the_start_gives_the_same(text: Path) -> None:
    again = making["executed"](text)
    pinned = (ROOT / ".ci" / "constraints.txt").read_text(encoding="utf-8").splitlines()
    libraries = ("matplotlib", "numpy", "pandas", "scipy", "ipython", "nbformat")
    if all(f"{library}=={version(library)}" in pinned for library in libraries):
        mend = f"Run python notebooks/make_notebooks.py {text.stem}, and look at what changed"
        assert_same(again, committed(text.stem), mend)
    else:
        assert _said(again) == _said(committed(text.stem))


def _said(notebook: str) -> list[list[str]]:
    """Return what each cell printed, without what was drawn."""
    return [
        [
            "".join(output.get("text", output.get("data", {}).get("text/plain", "")))
            for output in cell.get("outputs", ())
            if not set(output.get("data", {})) & set(DRAWN)
        ]
        for cell in json.loads(notebook)["cells"]
    ]
