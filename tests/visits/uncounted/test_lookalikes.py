"""Rows under an id that looks like an animal's, and may be its own."""

from __future__ import annotations

import pandas as pd

import bpvet
from bpvet.visits.uncounted.lookalikes import lookalikes

AS_OF = "2026-06-01"


def _found(
    ids: list[str], listed: list[str], signs: list[str] | None = None
) -> dict[str, list[tuple[str, int, str]]]:
    """Return the lookalikes of the listed animals; one reading an id, a day after the other."""
    days = [f"2026-05-{day:02d}" for day in range(1, len(ids) + 1)]
    readings = pd.DataFrame({"animal": ids, "taken_at": days, "systolic": 150})
    seen = [(animal, "2026-05-30", "vomiting") for animal in signs or ()]
    records = bpvet.Records.from_frames(
        readings.assign(method="doppler"),
        animals=pd.DataFrame({"animal": listed, "species": "cat"}),
        observations=pd.DataFrame(seen, columns=["animal", "seen_on", "sign"]) if seen else None,
        as_of=AS_OF,
    )
    return {
        animal: [(one.written, one.rows, str(one.newest)) for one in alike]
        for animal, alike in lookalikes(records).items()
    }


def test_an_id_that_is_not_listed_and_looks_like_one_that_is():
    found = _found(["Pansy", "Pansi", "Pansi"], ["Pansy"], signs=["Pansi"])
    assert found == {"Pansy": [("Pansi", 3, "2026-05-30")]}


def test_case_and_white_space_alone():
    assert _found(["Pansy", "pansy"], ["Pansy"]) == {"Pansy": [("pansy", 1, "2026-05-02")]}


def test_ids_with_other_digits_are_other_animals():
    assert _found(["A17", "A18"], ["A17"]) == {}
    assert _found(["A17", "a17"], ["A17"]) == {"A17": [("a17", 1, "2026-05-02")]}


def test_two_listed_animals_are_never_taken_for_one():
    assert _found(["Pansy", "Pansi"], ["Pansy", "Pansi"]) == {}


def test_the_name_in_place_of_the_id():
    readings = pd.DataFrame(
        {"animal": ["C1", "pansy", "C2"], "taken_at": "2026-05-01", "systolic": 150}
    )
    for second, whose in (("Tom", ["C1"]), ("Pansy", ["C1", "C2"])):
        animals = pd.DataFrame({"animal": ["C1", "C2"], "name": ["Pansy", second]})
        records = bpvet.Records.from_frames(
            readings.assign(method="doppler"), animals=animals.assign(species="cat"), as_of=AS_OF
        )
        # Of two animals of one name it may be either's.
        assert sorted(lookalikes(records)) == whose
        assert {one.written for alike in lookalikes(records).values() for one in alike} == {"pansy"}


def test_the_list_tells_of_them_and_loses_no_such_animal():
    rows = [("Pansy", "2025-01-02", 150)] * 3 + [("Pansi", "2026-05-20", 240)] * 3
    readings = pd.DataFrame(rows, columns=["animal", "taken_at", "systolic"])
    records = bpvet.Records.from_frames(
        readings.assign(method="doppler"),
        animals=pd.DataFrame({"animal": ["Pansy"], "species": ["cat"]}),
        as_of=AS_OF,
    )
    row = {one.animal: one for one in bpvet.due(records).rows}["Pansy"]
    assert row.band == "overdue"
    assert "“Pansi” (three rows, the newest of 20 May 2026)" in row.why


def test_an_id_with_further_words():
    for written in ("A17 (blind)", "A17 blind?", "Kestrel A17", "a17 right leg"):
        assert _found(["A17", written], ["A17"]) == {"A17": [(written, 1, "2026-05-02")]}
    for written in ("A17-2", "A17 A18", "A170"):
        assert _found(["A17", written], ["A17"]) == {}
    assert _found(["12", "12 (blind)", "12-3", "123"], ["12"]) == {
        "12": [("12 (blind)", 1, "2026-05-02")]
    }


def test_a_name_with_further_words_in_place_of_the_id():
    animals = pd.DataFrame({"animal": ["C1"], "name": ["Sir Pansy"], "species": "cat"})
    for written, found in (("sir pansy, blind", True), ("Sir Pansy 2", False), ("Pansy", False)):
        readings = pd.DataFrame({"animal": ["C1", written], "taken_at": "2026-05-01"})
        records = bpvet.Records.from_frames(
            readings.assign(systolic=150, method="doppler"), animals=animals, as_of=AS_OF
        )
        assert bool(lookalikes(records)) is found


def test_no_far_date_stands_beside_newer_rows_under_such_an_id():
    rows = [("Pansy", f"2026-0{month}-02", 130) for month in (1, 3, 5) for _ in range(3)]
    for newest, first in (("2026-05-20", ("alike",)), ("2026-02-20", ())):
        more = [("Pansy (blind)", newest, 190)] * 3
        readings = pd.DataFrame(rows + more, columns=["animal", "taken_at", "systolic"])
        records = bpvet.Records.from_frames(
            readings.assign(method="doppler"),
            animals=pd.DataFrame({"animal": ["Pansy"], "species": ["dog"]}),
            as_of=AS_OF,
        )
        answer = bpvet.fit_trend(records, "Pansy").answer()
        assert answer.recheck.read_first == first
        assert (answer.recheck.latest is None) is bool(first)
