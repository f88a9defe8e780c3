"""The store of sessions: the frame that users get, in slices, and nothing of it changed by them."""

from __future__ import annotations

import pickle
import warnings
from typing import Any

import numpy as np
import pandas as pd
import pytest

from bpvet.errors import CallError
from bpvet.visits.session_store import AnimalSessions, SessionStore, compact
from bpvet.visits.sessions import session_store, sessions


@pytest.fixture
def herd(clinic: Any) -> Any:
    """Three animals; B9 was sedated once and has a reading beyond the gauge."""
    rows = [
        {"animal": animal, "taken_at": f"2026-03-{day:02d}", "systolic": 140 + day, "reading": i}
        for animal in ("B10", "B9", "A1")
        for day in (1, 4, 9)
        for i in (1, 2)
    ]
    rows.append({"animal": "B9", "taken_at": "2026-03-12", "systolic": "> 300"})
    rows.append({"animal": "B9", "taken_at": "2026-03-14", "systolic": 99, "state": "sedated"})
    return clinic(rows)


def test_each_animal_has_its_rows(herd: Any) -> None:
    store, frame = session_store(herd), sessions(herd)
    assert session_store(herd) is store
    pd.testing.assert_frame_equal(store.frame, frame)
    assert list(store.bounds) == ["A1", "B10", "B9"]
    for animal in store.bounds:
        own = frame[frame["animal"] == animal].reset_index(drop=True)
        pd.testing.assert_frame_equal(store.of_animal(animal).frame, own)
    assert store.of_animal("B9").frame["condition"].tolist() == ["clinic"] * 4 + ["sedated"]
    assert len(store.of_animal("none of these").frame) == 0


def test_the_store_of_a_frame_is_the_same(herd: Any) -> None:
    store = session_store(herd)
    again = SessionStore.of_frame(sessions(herd))
    for name in store.frame.columns:
        np.testing.assert_array_equal(store.array(name), again.array(name))
        if store.frame[name].dtype == "str" or store.frame[name].dtype == object:
            for one in (store, again):
                codes, texts = one.coded(name)
                np.testing.assert_array_equal(texts[codes], store.array(name))
        assert not store.array(name).flags.writeable


def test_what_a_user_writes_stays_the_users(herd: Any) -> None:
    store = session_store(herd)
    first = store.array("systolic")[0]
    mine = sessions(herd)
    mine.loc[:, "systolic"] = 0.0
    assert store.frame["systolic"][0] == first
    assert sessions(herd)["systolic"][0] == first


def test_one_animal_travels_alone(herd: Any) -> None:
    own = session_store(herd).of_animal("B9")
    sent = pickle.dumps(own)
    assert b"B10" not in sent
    again = pickle.loads(sent)
    assert type(again) is AnimalSessions
    assert again == own
    assert again != session_store(herd).of_animal("A1")


def test_a_rule_has_a_store_of_its_own(herd: Any) -> None:
    assert session_store(herd, "all") is not session_store(herd)
    with pytest.raises(CallError):
        session_store(herd, "any")


@pytest.mark.parametrize("name", ["heart_rate", "systolic_n", "systolic_numbers", "summary"])
def test_what_is_written_into_one_column_is_in_no_other(herd: Any, name: str) -> None:
    # Columns of one value take no room, and equal ones share theirs.
    untouched, frame = sessions(herd), sessions(herd)
    pd.testing.assert_frame_equal(frame, untouched)
    value = True if name == "summary" else 3
    part = frame[[name]]
    with warnings.catch_warnings():
        # pandas 2 warns of writing into any part of a frame; that it is a copy is what is tested.
        warnings.simplefilter("ignore", getattr(pd.errors, "SettingWithCopyWarning", UserWarning))
        part.loc[1, name] = value
    pd.testing.assert_frame_equal(frame, untouched)
    frame.loc[1, name] = value
    pd.testing.assert_series_equal(frame[name], part[name])
    assert frame[name].tolist()[1] == value != untouched[name].tolist()[1]
    others = frame.columns.drop(name)
    pd.testing.assert_frame_equal(frame[others], untouched[others])
    pd.testing.assert_frame_equal(sessions(herd), untouched)


def test_equal_columns_are_one_array_and_others_are_not() -> None:
    nan, zero = np.array([np.nan, 1.0]), np.array([0.0, 1.0])
    columns = {"a": nan, "b": nan.copy(), "c": zero, "d": -zero, "e": zero[:1].repeat(2)}
    found = compact(columns)
    assert found["a"] is found["b"]
    assert found["c"] is not found["d"]
    assert found["e"].strides == (0,)
    for name, column in columns.items():
        np.testing.assert_array_equal(found[name], column)
        np.testing.assert_array_equal(np.signbit(found[name]), np.signbit(column))
