"""Sessions are made of arrays: pandas is neither imported for it, by us or pyarrow, nor used."""

from __future__ import annotations

import subprocess
import sys

#: Three readings of two sessions of an animal, one of them beyond the gauge, from array to array.
MADE = """
import sys
import numpy as np
from bpvet.facts.words import READING_QUANTITIES
from bpvet.records.made_tables import CodedReadings
from bpvet.records.parsing.arrow import text_column
from bpvet.records.parsing.coded import Coded
from bpvet.records.parsing.numbers import BOUND_WORDS
from bpvet.visits.context import context_changes
from bpvet.visits.flags import flag_columns
from bpvet.visits.part import PlacedReadings
from bpvet.visits.placement import place
from bpvet.visits.session_columns import SessionColumns, by_animal
from bpvet.visits.session_store import SessionStore, compact
from bpvet.visits.session_sums import known_columns, sum_columns
from bpvet.visits.session_texts import SessionColumnsByBlock

taken = np.array(["2026-03-01T09", "2026-03-01T10", "2026-03-04T09"], dtype="datetime64[ns]")
none, no = np.full(3, np.nan), np.zeros(3, dtype=bool)
blank = Coded.of([""] * 3)
columns = {
    "animal": Coded.of(["A1"] * 3), "method": Coded.of(["doppler"] * 3),
    "condition": Coded.of(["clinic"] * 3), "label": blank, "excluded": blank, "set_aside": blank,
    "demeanour": Coded.of(["calm", "tense", ""]), "fate": Coded.of(["used"] * 3),
    "taken_at": taken, "timed": ~no, "date": taken.astype("datetime64[D]").astype(taken.dtype),
    **dict.fromkeys(READING_QUANTITIES, none), "systolic": np.array([150.0, 160.0, 300.0]),
    **{f"{name}_bound": Coded(np.zeros(3, np.int8), text_column(BOUND_WORDS))
       for name in READING_QUANTITIES},
    "systolic_bound": Coded(np.array([0, 0, 1], np.int8), text_column(BOUND_WORDS)),
    "counted_pulse": none, "summary_n": np.zeros(3, dtype=np.int64), "summary_sd": none,
    "reading": none, "duplicate": no, "future": no, "below_gauge": no,
}
readings = PlacedReadings(CodedReadings(columns, 3))
placement = place(readings)
part = readings.at(placement.row)
found = sum_columns(part, placement.of, 2) | {
    name: value[:2] for name, value in columns.items() if name in ("animal", "date", "condition")
}
found |= dict.fromkeys(("n_taken", "n_used"), placement.length)
found |= {"n_excluded": np.zeros(2, int), "summary": no[:2]}
found |= dict.fromkeys(("cuff_width_cm", "limb_circumference_cm"), none[:2])
found |= flag_columns(part, placement.of, found, no[:2]) | known_columns(part, placement.of, found)
by_block = SessionColumnsByBlock(2)
for name, values in found.items():
    by_block.put(name, slice(0, 2), values)
store = SessionStore(compact(by_block.columns(np.arange(2))))
assert store.bounds == {"A1": (0, 2)}
assert store.array("systolic").tolist() == [155.0, 300.0]
assert store.array("systolic_bound").tolist() == ["", "at least"]
assert store.array("systolic_beyond").tolist() == ["", "> 300"]
assert store.of_animal("A1").array("tense").tolist() == [True, False]
rows = {name: np.array(["a", "b"], object) for name in ("site", "side", "posture", "operator")}
rows |= {"instrument": np.array(["", ""], object), "cuff_width_cm": np.array([2.0, 2.5])}
rows |= {"session": np.array([1, 2]), "date": store.array("date")}
assert [one.latest for one in context_changes(SessionColumns(rows), [1, 2])][2] == "2.5 cm"
assert "pandas" not in sys.modules
"""

#: What makes sessions, and what is cut from them.
COLUMNAR = (
    *("part", "placement", "flags", "session_sums", "session_texts", "session_store"),
    *("session_columns", "context", "defaults", "series_columns"),
)


def test_what_works_on_columns_loads_no_pandas() -> None:
    modules = ", ".join(f"bpvet.visits.{name}" for name in COLUMNAR)
    asked = f"import sys, {modules}; assert 'pandas' not in sys.modules"
    subprocess.run([sys.executable, "-c", asked], check=True)


def test_sessions_are_made_without_pandas() -> None:
    subprocess.run([sys.executable, "-c", MADE], check=True)
