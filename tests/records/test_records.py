"""`Records`: frozen, printed, looked up; and records from data frames."""

from __future__ import annotations

import datetime
import pickle
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from bpvet.errors import CallError, RecordsError
from bpvet.records.read import read
from bpvet.records.records import Records

Make = Callable[..., Records]
GOOD = "animal,taken_at,method,systolic\nA17,2025-01-01,doppler,150\nB3,2025-01-01,doppler,140\n"
ANIMALS = "animal,species,name\nA17,cat,Mia\nB3,dog,Rex\nC5,cat,rex\n"
TABLES = ("readings", "animals", "treatments", "labs", "observations")


def frame(**columns: object) -> pd.DataFrame:
    given = {
        "animal": ["A17"],
        "taken_at": ["2025-01-01"],
        "method": ["doppler"],
        "systolic": [150],
    }
    return pd.DataFrame(given | columns)


def test_a_frame_that_is_handed_out_can_be_changed_without_harm(records: Make) -> None:
    found = records(GOOD, animals=ANIMALS, treatments="animal,drug,started_on\nA17,x,2025-01-01\n")
    for table in TABLES:
        mine = getattr(found, table)
        before = mine.copy(deep=True)
        for name in mine.columns:
            mine[name] = "changed"
        mine.loc[0, "animal"] = "changed"
        theirs = getattr(found, table)
        theirs.loc[:, "animal"] = "changed"
        assert getattr(found, table).equals(before)


def test_nothing_of_it_can_be_set(records: Make) -> None:
    found = records(GOOD)
    with pytest.raises(AttributeError):
        found.as_of = np.datetime64("2020-01-01")  # type: ignore[misc]
    with pytest.raises(AttributeError):
        found.readings = found.animals  # type: ignore[misc]
    found.understood["methods"]["doppler"] = 0
    assert found.understood["methods"] == {"doppler": 2}


def test_the_columns_of_the_readings_and_their_types(records: Make) -> None:
    found = records(GOOD).readings
    assert found.columns.tolist()[:8] == [
        *("file", "line", "animal", "taken_at", "timed", "date", "method", "systolic")
    ]
    assert found.index.tolist() == [0, 1]
    for name in ("taken_at", "date"):
        assert found[name].dtype == "datetime64[ns]"
    for name in ("systolic", "mean", "reading", "summary_sd", "cuff_width_cm"):
        assert found[name].dtype == "float64"
    for name in ("session", "note", "excluded", "systolic_bound", "site"):
        assert found[name].tolist() == ["", ""]
    for name in ("timed", "duplicate", "future"):
        assert found[name].dtype == bool
    assert found["summary_n"].dtype == "int64"


def test_tables_that_are_not_there_are_empty(records: Make) -> None:
    found = records(GOOD)
    assert len(found.treatments) == len(found.labs) == len(found.observations) == 0
    assert found.treatments["started_on"].dtype == "datetime64[ns]"
    assert found.labs["value"].dtype == "float64"


def test_it_prints_as_a_short_table(records: Make) -> None:
    found = records(GOOD + "A17,2025-01-01,doppler,16O\n", animals=ANIMALS)
    text = repr(found)
    assert text.startswith("Records of clinic, as of 2026-01-01\n")
    assert "readings         3          1" in text
    assert "<caption>Records of clinic" in found._repr_html_()


def test_an_animal_is_found_by_id_or_name(records: Make) -> None:
    found = records(GOOD, animals=ANIMALS)
    assert [found.animal(text) for text in ("A17", "a17", "mia", " MIA ")] == ["A17"] * 4


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("A71", 'There is no animal "A71" in these records. Did you mean "A17"'),
        ("Miaa", 'Did you mean "Mia"'),
        ("REX", 'may be any of "B3", "C5": give the id'),
        ("zzzz", "There is no animal"),
        ("", "There is no animal"),
    ],
)
def test_an_animal_that_is_not_found_names_near_ones(records: Make, text: str, words: str) -> None:
    with pytest.raises(CallError, match=words.replace("?", r"\?")):
        records(GOOD, animals=ANIMALS).animal(text)


def test_records_that_stop_can_be_raised(rows: Make) -> None:
    good = rows("A17,2025-01-01,doppler,150")
    assert good.require_usable() is good
    bad = rows("A17,2025-01-01,150", header="animal,taken_at,systolic")
    with pytest.raises(RecordsError, match='required column "method" is missing') as raised:
        bad.require_usable()
    assert raised.value.findings == bad.stopping


def test_records_travel_between_processes(records: Make) -> None:
    found = records(GOOD, animals=ANIMALS)
    again = pickle.loads(pickle.dumps(found))
    assert again.readings.equals(found.readings)
    assert again.speaking_on("2024-01-01").readings["future"].all()


def test_the_same_files_give_the_same_records(records: Make) -> None:
    first, second = records(GOOD, animals=ANIMALS), records(GOOD, animals=ANIMALS)
    assert (first.digest, first.findings) == (second.digest, second.findings)
    assert all(getattr(first, table).equals(getattr(second, table)) for table in TABLES)


def test_today_is_the_default_date(folder: Callable[..., Path]) -> None:
    before = datetime.date.today()
    found = read(folder(readings=GOOD))
    assert before <= found.as_of.astype(object) <= datetime.date.today()


def test_frames_give_what_files_give(records: Make) -> None:
    text = (
        "animal,taken_at,method,systolic,diastolic,excluded,reading\n"
        "007,2025-01-01T10:20,doppler,150,,,1\n"
        "007,2025-01-02,oscillometric,> 300,90.5,moved,2\n"
        "007,2025-01-03,doppler,16O,,no,3\n"
    )
    from_file = records(text)
    lines = [line.split(",") for line in text.splitlines()]
    from_frame = Records.from_frames(pd.DataFrame(lines[1:], columns=lines[0]), as_of="2026-01-01")
    skip = ["file", "line"]
    assert from_frame.readings.drop(columns=skip).equals(from_file.readings.drop(columns=skip))
    kinds = [finding.kind for finding in from_file.findings]
    assert sorted(kinds) == sorted(finding.kind for finding in from_frame.findings)


def test_typed_frames_are_read_as_their_text_would_be() -> None:
    table = pd.DataFrame(
        {
            "animal": [7, 7],
            "taken_at": pd.DatetimeIndex(["2025-01-01 00:00:00", "2025-01-02 10:20:30.500"]),
            "method": pd.Categorical(["doppler", "doppler"]),
            "systolic": [150.0, np.nan],
            "excluded": [False, True],
            "note": [None, pd.NA],
            "reading": pd.array([1, None], dtype="Int64"),
        }
    )
    before = table.copy(deep=True)
    found = Records.from_frames(table, as_of="2026-01-01")
    frame = found.readings
    assert frame["animal"].tolist() == ["7", "7"]
    assert frame["timed"].tolist() == [False, True]
    assert str(frame["taken_at"][1]) == "2025-01-02 10:20:30.500000"
    assert frame["excluded"].tolist() == ["", "yes"]
    assert frame["note"].tolist() == ["", ""]
    np.testing.assert_array_equal(frame["reading"], [1, np.nan])
    assert frame["line"].tolist() == [1, 2]
    assert frame["file"].tolist() == ["readings", "readings"]
    assert (frame["set_aside"] == "").all()
    pd.testing.assert_frame_equal(table, before)


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (datetime.date(2025, 4, 3), "2025-04-03 00:00:00"),
        (datetime.datetime(2025, 4, 3, 10, 20), "2025-04-03 10:20:00"),
        (pd.Timestamp("2025-04-03 23:50", tz="Pacific/Auckland"), "2025-04-03 23:50:00"),
        (np.datetime64("2025-04-03T10:00"), "2025-04-03 10:00:00"),
    ],
)
def test_dates_of_any_kind(value: object, text: str) -> None:
    table = frame(taken_at=pd.Series([value], dtype=object))
    assert str(Records.from_frames(table, as_of="2026-01-01").readings["taken_at"][0]) == text


def test_a_column_with_a_zone_keeps_its_wall_clock() -> None:
    moments = pd.to_datetime(["2025-04-03 23:50"]).tz_localize("Pacific/Auckland")
    found = Records.from_frames(frame(taken_at=moments), as_of="2026-01-01")
    assert str(found.readings["taken_at"][0]) == "2025-04-03 23:50:00"


@pytest.mark.parametrize(
    "value", [np.inf, -np.inf, 1e300, 10**40, [150], b"150", True, "x" * 10**5]
)
def test_odd_values_in_frames_are_set_aside(value: object) -> None:
    table = frame(systolic=pd.Series([value], dtype=object))
    found = Records.from_frames(table, as_of="2026-01-01")
    assert found.readings["set_aside"][0] != ""


def test_dates_beyond_nanoseconds_are_set_aside() -> None:
    far = frame(taken_at=np.array(["9999-01-01T10:00"], dtype="datetime64[us]"))
    assert Records.from_frames(far, as_of="2026-01-01").readings["set_aside"][0] != ""


@pytest.mark.parametrize("readings", [None, {"animal": ["A17"]}, [1]])
def test_what_is_no_frame_is_refused(readings: object) -> None:
    with pytest.raises(CallError, match="readings is a data frame, not"):
        Records.from_frames(readings)  # type: ignore[arg-type]


def test_columns_of_several_levels_are_refused() -> None:
    table = pd.DataFrame([[1]], columns=pd.MultiIndex.from_tuples([("a", "b")]))
    with pytest.raises(CallError, match="several levels"):
        Records.from_frames(table)


def test_doubled_and_numbered_column_labels_in_frames() -> None:
    table = frame()
    table.columns = pd.Index(["animal", "animal", "method", 0])
    assert Records.from_frames(table).stopping


def test_an_empty_frame_is_said() -> None:
    found = Records.from_frames(frame().iloc[:0], as_of="2026-01-01")
    assert [finding.kind for finding in found.findings] == ["no rows"]
    assert len(found.readings) == 0
    assert Records.from_frames(pd.DataFrame()).stopping


def test_the_digest_of_frames_is_of_their_cells() -> None:
    first = Records.from_frames(frame(), as_of="2026-01-01").digest
    assert Records.from_frames(frame(), as_of="2025-06-01").digest == first
    assert Records.from_frames(frame().set_index([[5]]), as_of="2026-01-01").digest == first
    assert Records.from_frames(frame(systolic=[151]), as_of="2026-01-01").digest != first


def test_the_rows_of_one_animal() -> None:
    """Alone, as copies, whichever was asked for before; of a table that there is."""
    records = Records.from_frames(pd.concat([frame(), frame(animal=["B2"])]), as_of="2026-01-01")
    for animal in (*records.animals["animal"], "nobody"):
        rows = records.rows_of("readings", animal)
        assert rows["animal"].tolist() == [animal] * (animal != "nobody")
        rows["systolic"] = 0
        assert (records.rows_of("readings", animal)["systolic"] > 0).all()
    with pytest.raises(CallError, match="is no table"):
        records.rows_of("reading")


def test_handed_out_readings_can_be_read_again() -> None:
    first = Records.from_frames(frame(), as_of="2026-01-01")
    again = Records.from_frames(first.readings, as_of="2026-01-01")
    assert again.readings["systolic"].tolist() == [150]
    assert again.readings["timed"].tolist() == [False]
    assert "file (2)" in again.understood["unknown_columns"]["readings"]


def test_columns_of_one_animal_are_those_of_its_frame(records: Make) -> None:
    found = records(
        GOOD + "A17,2025-02-01,doppler,24O\n,2025-02-01,doppler,150\n",
        animals=ANIMALS,
        observations="animal,seen_on,sign\nA17,2025-01-01,murmur\n",
    )
    for table in (*TABLES, "missed", "contacts"):
        for animal in (None, "A17", "B3", "none"):
            rows, frame = found.columns(table, animal), found.rows_of(table, animal)
            assert len(rows) == len(frame)
            for name in frame.columns:
                pd.testing.assert_series_equal(
                    pd.Series(rows[name], dtype=frame[name].dtype),
                    frame[name].reset_index(drop=True),
                    check_names=False,
                )
            texts, code = rows.different("animal")
            assert [texts[i] for i in code] == frame["animal"].tolist()
            assert texts == frame["animal"].unique().tolist()
