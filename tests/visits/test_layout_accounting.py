"""In = used + left out + excluded + set aside, for any readings in any layout."""

from __future__ import annotations

import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bpvet.records.read import read
from bpvet.visits.readings import accounting, readings_used

GOOD = st.sampled_from(["150", "162.5", "> 300", "< 40", "no sound", "298"])
ODD = st.sampled_from(["16O", "1650", "0", "x"])
DAYS = ("2025-04-03", "2025-04-04", "2025-05-01")
#: Readings of each animal on each day.
CLINICS = st.dictionaries(
    st.tuples(st.sampled_from(["A", "B", "=C"]), st.sampled_from(DAYS)),
    st.lists(GOOD | ODD, min_size=1, max_size=6),
    min_size=1,
)
Clinic = dict[tuple[str, str], list[str]]


def row(*cells: str) -> str:
    return ",".join('"' + cell.replace('"', '""') + '"' for cell in cells) + "\n"


def plain(clinic: Clinic) -> str:
    text = row("animal", "taken_at", "method", "systolic", "reading")
    for (animal, day), values in clinic.items():
        for i, value in enumerate(values, start=1):
            text += row(animal, day, "doppler", value, str(i))
    return text


def wide(clinic: Clinic) -> str:
    text = row("animal", "taken_at", "method", *(f"systolic_{i}" for i in range(1, 7)))
    for (animal, day), values in clinic.items():
        text += row(animal, day, "doppler", *values, *[""] * (6 - len(values)))
    return text


def listed(clinic: Clinic) -> str:
    text = row("animal", "taken_at", "method", "systolic_list")
    for (animal, day), values in clinic.items():
        text += row(animal, day, "doppler", "/".join(values))
    return text


def across(clinic: Clinic) -> str:
    text = row("animal", "method", "reading", *DAYS)
    for animal in dict.fromkeys(animal for animal, _ in clinic):
        for i in range(6):
            cells = [clinic.get((animal, day), [])[i : i + 1] for day in DAYS]
            text += row(animal, "doppler", str(i + 1), *("".join(cell) for cell in cells))
    return text


def chart(clinic: Clinic) -> str:
    text = row("animal", "taken_at", "chart_line")
    for (animal, day), values in clinic.items():
        count = f"mean of {len(values)} of {len(values)} readings"
        text += row(animal, day, f"Systolic 150 mmHg (Doppler, {count}; {', '.join(values)})")
    return text


def whole_cells(values: list[str], pattern: set[str]) -> bool:
    return all(value not in pattern for value in values)


def rows_in(layout: str, values: list[str]) -> int:
    """How many readings a session's cell or cells stand for."""
    bad = {"listed": {"16O", "x", "no sound"}, "chart": {"16O", "x"}}.get(layout, set())
    return len(values) if whole_cells(values, bad) else 1


@pytest.mark.parametrize("layout", [plain, wide, listed, across, chart])
@settings(deadline=None, max_examples=12)
@given(clinic=CLINICS)
def test_what_goes_in_comes_out_somewhere(layout, clinic) -> None:  # type: ignore[no-untyped-def]
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "readings.csv"
        file.write_text(layout(clinic))
        records = read(file, as_of="2026-01-01")
        counts = accounting(readings_used(records, "guideline"))
    assert counts["in"] == sum(count for name, count in counts.items() if name != "in")
    name = layout.__name__
    assert counts["in"] == sum(rows_in(name, values) for values in clinic.values())
    frame = records.readings
    spoken = {one.line for one in records.findings if one.line is not None}
    assert set(frame.loc[frame["set_aside"] != "", "line"]) <= spoken or records.stopping
