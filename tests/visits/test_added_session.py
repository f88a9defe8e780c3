"""A session that is added is read back as the one that was taken, or refused."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest

from bpvet.errors import CallError
from bpvet.records.read import read
from bpvet.records.records import Records
from bpvet.visits.added_session import check_added_session

Row = tuple[str, str, str]
ADDED = "readings-b.csv"
#: Four readings of the morning; the guideline leaves the first one out.
MORNING = [
    ("A17", "2026-03-01T09:00", "180"),
    ("A17", "2026-03-01T09:01", "160"),
    ("A17", "2026-03-01T09:02", "162"),
    ("A17", "2026-03-01T09:03", "161"),
]
FATES = ["left out", "used", "used", "used"]


def written(folder: Path, before: Sequence[Row], added: Sequence[Row]) -> Records:
    for name, rows in (("readings.csv", before), (ADDED, added)):
        lines = [f"{animal},{at},doppler,{value}" for animal, at, value in rows]
        text = "\n".join(["animal,taken_at,method,systolic", *lines]) + "\n"
        (folder / name).write_text(text, encoding="utf-8")
    (folder / "animals.csv").write_text("animal,species\nA17,cat\nB02,cat\n", encoding="utf-8")
    return read(folder)


def evening(animal: str = "A17") -> list[Row]:
    return [(animal, at.replace("T09", "T18"), value) for _, at, value in MORNING]


def test_a_session_of_its_own_is_taken(tmp_path: Path) -> None:
    before = [("A17", "2026-02-01T09:00", "150"), ("A17", "2026-02-01T09:01", "151")]
    assert check_added_session(written(tmp_path, before, MORNING), ADDED, FATES) == []


def test_readings_that_would_join_a_session_are_refused_and_it_is_named(tmp_path: Path) -> None:
    before = [("A17", "2026-03-01T08:30", "151"), ("A17", "2026-03-01T08:29", "> 300")]
    with pytest.raises(CallError) as refused:
        check_added_session(written(tmp_path, before, MORNING), ADDED, FATES)
    text = str(refused.value)
    # In the order of taking, with the bound, and where it stands.
    assert "Doppler session already: > 300, 151; readings.csv." in text
    assert "--session evening" in text


def test_another_animal_s_session_of_that_day_is_no_business_of_this_one(tmp_path: Path) -> None:
    # Sessions are numbered in each animal: B02's first one has the number of A17's.
    for number, other in enumerate(("B02", "A01")):
        folder = tmp_path / str(number)
        folder.mkdir()
        before = [(other, at, value) for _, at, value in MORNING]
        assert check_added_session(written(folder, before, MORNING), ADDED, FATES) == []


def test_the_same_numbers_in_the_evening_are_asked_about(tmp_path: Path) -> None:
    (note,) = check_added_session(written(tmp_path, evening(), MORNING), ADDED, FATES)
    assert "180, 160, 162, 161 (readings.csv)" in note
    others = [*evening()[:3], ("A17", "2026-03-01T18:03", "163")]
    assert check_added_session(written(tmp_path, others, MORNING), ADDED, FATES) == []


def test_one_reading_alone_is_no_copy(tmp_path: Path) -> None:
    found = written(tmp_path, evening()[:1], MORNING[:1])
    assert check_added_session(found, ADDED, ["used"]) == []


def test_two_sessions_or_another_count_of_the_readings_are_refused(tmp_path: Path) -> None:
    two = [*MORNING, ("A17", "2026-03-01T14:00", "150")]
    with pytest.raises(CallError, match="not be read as one session"):
        check_added_session(written(tmp_path, [], two), ADDED, [*FATES, "used"])
    with pytest.raises(CallError, match="count otherwise"):
        check_added_session(written(tmp_path, [], MORNING), ADDED, ["used"] * 4)
    # By the rule that uses all of them, none is left out.
    assert check_added_session(written(tmp_path, [], MORNING), ADDED, ["used"] * 4, "all") == []
