"""Entries added to a record folder: what is read back, what is refused, and whatever stops it."""

from __future__ import annotations

import os
import resource
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bpvet.errors import CallError, RecordsError
from bpvet.locks import unfinished
from bpvet.records.entries.adding import add_entry, record_folder
from bpvet.records.entries.entries import entries, entry_named
from bpvet.records.entries.files import added_csv, added_name, new_entry, table_of_added
from bpvet.records.read import read
from bpvet.records.tables import TABLES

posix = pytest.mark.skipif(os.name != "posix", reason="signals and limits of another kind")
READINGS = "animal,taken_at,method,systolic\nA17,2026-01-05T10:00,doppler,150\n"
ANIMALS = "animal,species,name\nA17,cat,Pilchard\n"
SIGN = {"animal": "A17", "seen_on": "2026-02-01", "sign": "murmur"}
TAKEN = [
    {"animal": "A17", "taken_at": "2026-02-01T10:00", "method": "doppler", "systolic": one}
    for one in ("165", "158", "no sound", "> 300")
]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    place = tmp_path / "records"
    place.mkdir()
    (place / "readings.csv").write_text(READINGS)
    (place / "animals.csv").write_text(ANIMALS)
    return place


def held(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def sure(notes: Sequence[str]) -> None:
    """Accept whatever is asked."""


def unasked(notes: Sequence[str]) -> None:
    raise CallError(f"asked: {notes}")


def test_an_entry_is_a_file_of_its_own_and_nothing_else_changes(folder: Path) -> None:
    before = held(folder)
    found = add_entry(folder, "readings", TAKEN, unasked)
    after = held(folder)
    assert set(after) - set(before) == {found.file.name}
    assert {name: after[name] for name in before} == before
    records = read(folder)
    own = records.readings[records.readings["file"] == found.file.name]
    assert own["systolic"].tolist()[:2] == [165, 158]
    assert own["systolic_bound"].tolist() == ["", "", "no sound", "at least"]
    assert set(own["entry"]) == {found.entry}
    assert (own["set_aside"] == "").all()


def test_names_of_added_files_are_told_from_others() -> None:
    entry = new_entry()
    for table in TABLES:
        assert table_of_added(added_name(table, entry)) == table
    for name in ("labs-added.csv", f"labs-added-{entry}.xlsx", f"x-labs-added-{entry}.csv"):
        assert table_of_added(name) == ""
    assert entry != new_entry()


def test_a_mapping_of_the_folder_leaves_our_own_files_alone(folder: Path) -> None:
    """Another clinic's headings, days first and kPa: what is added is ISO and mmHg all the same."""
    (folder / "readings.csv").write_text("Pet,When,P\nA17,05/01/2026,20\n")
    (folder / "bpvet-columns.toml").write_text(
        'dates = "dmy"\nunit = "kPa"\n[every_row]\nmethod = "doppler"\n'
        '[readings.columns]\n"Pet" = "animal"\n"When" = "taken_at"\n"P" = "systolic"\n'
    )
    add_entry(folder, "readings", TAKEN[:2], unasked)
    assert sorted(read(folder).readings["systolic"].round()) == [150, 158, 165]


WORDS = st.text(
    st.characters(
        codec="utf-8", exclude_categories=["Cs", "Cc"], exclude_characters="\u2028\u2029"
    ),
    max_size=30,
).map(lambda text: "".join(text.split("\x85")).strip())
ODD = st.sampled_from(
    [
        *("=1+1", "'=1", "+cmd|x", "-5", "@a", "calm; =1", 'a "big" cat', "a,b", "#1", "NA", "nan"),
        *(
            "None",
            "null",
            "Total",
            "mean: 3",
            "animal",
            "sign",
            "0",
            "no",
            "true",
            "１",
            "…",
            "\ufeffx",
        ),
        *("Ünïçödé", "'", "''", '"', "a;b", "a|b", "\u200b", "1,5", "2026-01-01", "$x", "../x"),
    ]
)
TEXTS = st.one_of(ODD, WORDS)
FREE = {"site", "side", "session", "posture", "demeanour", "operator", "instrument", "note"}


@settings(
    max_examples=50, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(animal=TEXTS.filter(bool), texts=st.fixed_dictionaries(dict.fromkeys(sorted(FREE), TEXTS)))
def test_readings_with_any_text_are_read_back(
    tmp_path: Path, animal: str, texts: Mapping[str, str]
) -> None:
    folder = tmp_path / "records"
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    rows = [{**row, **texts, "animal": animal} for row in TAKEN]
    found = add_entry(folder, "readings", rows, sure)
    frame = read(folder).readings
    assert frame["animal"].tolist() == [animal] * len(rows)
    for name, text in texts.items():
        assert frame[name].tolist() == [text] * len(rows), name
    assert set(frame["file"]) == {found.file.name}
    # No spreadsheet takes a cell for a formula.
    assert all(cell[:1] not in "=+-@\t" for cell in _cells(found.file) if cell)


def _cells(file: Path) -> Iterator[str]:
    frame = pd.read_csv(file, dtype=str, keep_default_na=False)
    for name in frame.columns:
        yield from frame[name]


@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    table=st.sampled_from(["observations", "treatments", "labs", "missed", "contacts", "animals"]),
    texts=st.lists(TEXTS.filter(bool), min_size=4, max_size=4),
    day=st.dates(pd.Timestamp("2000-01-01").date(), pd.Timestamp("2025-12-31").date()),
)
def test_any_row_of_any_table_is_read_back(
    tmp_path: Path, table: str, texts: list[str], day: object
) -> None:
    folder = tmp_path / "records"
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    (folder / "readings.csv").write_text(READINGS)
    one, other, third, animal = texts
    rows: dict[str, dict[str, str]] = {
        "observations": {"seen_on": f"{day}", "sign": one, "note": other},
        "treatments": {"started_on": f"{day}", "drug": one, "purpose": other, "product": third},
        "labs": {"sampled_on": f"{day}", "analyte": "upc", "value": "0.3", "unit": one},
        "missed": {"from": f"{day}", "what": "late", "drug": one, "note": other},
        "contacts": {"date": f"{day}", "outcome": "no answer", "note": one},
        "animals": {"species": "cat", "name": one, "breed": other, "sex": third},
    }
    row = {"animal": animal, **rows[table]}
    found = add_entry(folder, table, [row], sure)
    frame = getattr(read(folder), table)
    (back,) = frame[frame["animal"] == animal].to_dict("records")
    for name, text in row.items():
        value = back[name]
        assert (f"{value:%Y-%m-%d}" if isinstance(value, pd.Timestamp) else str(value)) == text
    assert back["entry"] == found.entry


@pytest.mark.parametrize(
    ("table", "row", "says"),
    [
        ("observations", {**SIGN, "seen_on": "2026-02-30"}, "2026-02-30"),
        ("observations", {**SIGN, "seen_on": "2100-01-01"}, "lies in the future"),
        ("observations", {**SIGN, "sign": ""}, "blank"),
        ("readings", {**TAKEN[0], "systolic": "1650"}, "would not be used"),
        ("readings", {**TAKEN[0], "systolic": "16O"}, "write 160"),
        ("readings", {**TAKEN[0], "method": "finger"}, "would not be used"),
        (
            "labs",
            {"animal": "A17", "sampled_on": "2026-02-01", "analyte": "creatinine", "value": "18000",
             "unit": "µmol/L"},
            "not plausible",
        ),
        (
            "treatments",
            {"animal": "A17", "drug": "amlodipine", "started_on": "2026-02-01",
             "stopped_on": "2026-01-01"},
            "stopped before it started",
        ),
    ],
)  # fmt: skip
def test_what_would_not_be_used_is_not_added(
    folder: Path, table: str, row: dict[str, str], says: str
) -> None:
    before = held(folder)
    with pytest.raises(CallError, match=says):
        add_entry(folder, table, [row], sure)
    assert held(folder) == before


def test_what_the_check_asks_about_is_asked_first(folder: Path) -> None:
    asked: list[str] = []

    def no(notes: Sequence[str]) -> None:
        asked.extend(notes)
        raise CallError("no")

    lab = {"animal": "A17", "sampled_on": "2026-02-01", "analyte": "creatinine", "value": "180"}
    before = held(folder)
    with pytest.raises(CallError, match="no"):
        add_entry(folder, "labs", [{**lab, "unit": "spoons"}], no)
    assert "spoons" in asked[0]
    assert held(folder) == before
    assert add_entry(folder, "labs", [{**lab, "unit": "spoons"}], sure).notes == tuple(asked)


def test_the_same_reading_is_not_added_twice(folder: Path) -> None:
    add_entry(folder, "readings", TAKEN, unasked)
    before = held(folder)
    with pytest.raises(CallError, match="stands in the records already"):
        add_entry(folder, "readings", TAKEN, sure)
    first = {"animal": "A17", "taken_at": "2026-01-05T10:00", "method": "doppler"}
    with pytest.raises(CallError, match=r"readings\.csv, line 2"):
        add_entry(folder, "readings", [{**first, "systolic": "150"}], sure)
    assert held(folder) == before


def test_folders_that_nothing_may_be_added_to(folder: Path, tmp_path: Path) -> None:
    with pytest.raises(CallError, match="is a file, and what is there is never changed"):
        record_folder(folder / "readings.csv")
    with pytest.raises(CallError, match="no file or folder"):
        record_folder(tmp_path / "nowhere")
    for name in ("readings.xlsx", "clinic.xlsx"):
        book = tmp_path / name.replace(".", "-")
        book.mkdir()
        (book / name).write_bytes(b"PK")
        with pytest.raises(CallError, match="workbook"):
            record_folder(book)
    other = tmp_path / "other"
    other.mkdir()
    (other / "visits.csv").write_text(READINGS)
    with pytest.raises(CallError, match="not clear"):
        record_folder(other)
    assert record_folder(folder) == folder


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="nothing is read-only to root")
def test_a_read_only_folder(folder: Path) -> None:
    folder.chmod(0o555)
    try:
        with pytest.raises(CallError, match="read-only"):
            record_folder(folder)
    finally:
        folder.chmod(0o755)


def test_records_that_cannot_be_used_are_not_added_to(folder: Path) -> None:
    (folder / "readings.csv").write_text("animal,taken_at\nA17,2026-01-01\n")
    before = held(folder)
    with pytest.raises(RecordsError):
        add_entry(folder, "observations", [SIGN], sure)
    assert held(folder) == before


def test_an_entry_is_taken_back_by_a_row(folder: Path) -> None:
    found = add_entry(folder, "observations", [SIGN], sure)
    (listed,) = entries(read(folder))
    assert (listed.entry, listed.animal) == (found.entry, "A17")
    row = {"entry": found.entry, "cancelled_on": "2026-02-02", "reason": "=another cat"}
    before = held(folder)
    add_entry(folder, "cancelled", [row], unasked)
    assert {name: held(folder)[name] for name in before} == before
    records = read(folder)
    assert records.observations.empty
    assert records.cancelled_rows[0].reason == "=another cat"
    assert entries(records) == ()
    with pytest.raises(CallError, match="cancelled already"):
        entry_named(records, found.entry)
    with pytest.raises(CallError, match="No row of these records bears"):
        entry_named(records, "20260101-000000-abcdef")


_ADD = """\
import sys
from pathlib import Path
from bpvet.records.entries.adding import add_entry
folder, day = Path(sys.argv[1]), sys.argv[2]
row = {"animal": "A17", "taken_at": f"2026-02-{day}T10:00", "method": "doppler"}
try:
    add_entry(folder, "readings", [{**row, "systolic": "165"}], lambda notes: None)
except Exception as error:
    print(type(error).__name__, error)
"""


def _at_once(folder: Path, days: Sequence[str]) -> list[str]:
    words = [[sys.executable, "-c", _ADD, str(folder), day] for day in days]
    processes = [subprocess.Popen(one, stdout=subprocess.PIPE, text=True) for one in words]
    return [process.communicate(timeout=300)[0] for process in processes]


def test_several_at_once_are_all_kept(folder: Path) -> None:
    said = _at_once(folder, ["01", "02", "03", "04"])
    assert said == ["", "", "", ""]
    records = read(folder)
    assert len(records.readings) == 5
    assert (records.readings["set_aside"] == "").all()
    assert not [name for name in os.listdir(folder) if unfinished(name)]


def test_the_same_reading_by_two_at_once_is_added_by_one(folder: Path) -> None:
    said = _at_once(folder, ["01", "01"])
    assert sorted(map(bool, said)) == [False, True]
    assert "already" in "".join(said)
    assert len(read(folder).readings) == 2


_KILLED = """\
import os, signal, sys
from pathlib import Path
from bpvet.records.entries.adding import add_entry
import bpvet.visits.added_session
folder, step = Path(sys.argv[1]), int(sys.argv[2])
done = 0
def watch(event, arguments):
    global done
    if event in ("open", "os.chmod", "os.link", "os.rename", "os.remove"):
        name = os.path.basename(str(arguments[0]))
        if os.path.dirname(str(arguments[0])) == str(folder) and "readings.csv" != name:
            done += 1
            if done == step:
                os.kill(os.getpid(), signal.SIGKILL)
sys.addaudithook(watch)
row = {"animal": "A17", "taken_at": "2026-02-01T10:00", "method": "doppler", "systolic": "165"}
add_entry(folder, "readings", [row], lambda notes: None)
print(done)
"""


@posix
def test_killed_before_each_step_no_half_of_a_file_is_read(folder: Path) -> None:
    (folder / "animals.csv").unlink()
    steps, met = 1, set()
    for step in range(1, 30):
        for name in os.listdir(folder):
            if name != "readings.csv":
                (folder / name).unlink()
        words = [sys.executable, "-c", _KILLED, str(folder), str(step)]
        done = subprocess.run(words, capture_output=True, text=True)
        found = read(folder).readings["systolic"].tolist()
        assert found in ([150], [165, 150])
        met.add(len(found))
        if done.returncode == 0:
            steps = step
            break
        assert done.returncode == -signal.SIGKILL, done.stderr
    assert steps > 3
    assert met == {1, 2}
    # What a killed one left behind is in nobody's way.
    add_entry(folder, "readings", [{**TAKEN[0], "taken_at": "2026-02-09"}], sure)


@posix
def test_a_disk_that_fills_up_leaves_the_folder_as_it_was(folder: Path) -> None:
    """A limit on the size of files stands for it."""
    code = (
        "import resource, signal, sys; from pathlib import Path\n"
        "from bpvet.errors import CallError; from bpvet.records.entries.adding import add_entry\n"
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        f"row = {TAKEN[0]!r}\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (60, 60))\n"
        "try:\n"
        "    add_entry(Path(sys.argv[1]), 'readings', [row], lambda notes: None)\n"
        "except CallError as error:\n"
        "    print(error)\n"
    )
    before = held(folder)
    words = [sys.executable, "-c", code, str(folder)]
    done = subprocess.run(words, capture_output=True, text=True, check=True)
    assert "cannot be written: File too large." in done.stdout
    assert held(folder) == before
    assert resource.getrlimit(resource.RLIMIT_FSIZE)[0] != 60


def test_what_changed_meanwhile_is_looked_at_again(folder: Path) -> None:
    """Between the first look and the writing somebody else adds the same reading."""

    def meanwhile(notes: Sequence[str]) -> None:
        (folder / "readings-b.csv").write_text(
            "animal,taken_at,method,systolic\nA17,2026-02-01T10:00,doppler,165\n"
        )
        time.sleep(0.01)

    before = set(os.listdir(folder))
    with pytest.raises(CallError, match="already"):
        add_entry(folder, "readings", TAKEN[:1], meanwhile, lambda records, name: ["is it so?"])
    assert set(os.listdir(folder)) == before | {"readings-b.csv"}


def test_the_bytes_are_those_of_a_table() -> None:
    text = added_csv("labs", [{"animal": "=A", "analyte": "upc"}], "x").decode()
    assert text == (
        '"animal","sampled_on","analyte","value","unit","entry"\n"\'=A","","upc","","","x"\n'
    )


def test_a_second_row_of_a_drug_and_day_is_refused(folder: Path) -> None:
    """Its stop would not be used: both rows are read as one, and that goes on."""
    drug = {"animal": "A17", "drug": "amlodipine", "started_on": "2026-02-01"}
    (folder / "treatments.csv").write_text("animal,drug,started_on\nA17,amlodipine,2026-02-01\n")
    with pytest.raises(CallError, match="on record already"):
        add_entry(folder, "treatments", [{**drug, "stopped_on": "2026-02-09"}], sure)
    asked: list[str] = []
    earlier = {**drug, "started_on": "2026-01-01", "stopped_on": "2026-02-20"}
    add_entry(folder, "treatments", [earlier], asked.extend)
    # It is said of the other row, and asked about all the same.
    assert "runs on beyond this start" in asked[0]
