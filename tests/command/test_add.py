"""`bpvet add`: each kind of entry, what is refused, and how it is taken back."""

from __future__ import annotations

import json
import shlex
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from bpvet.errors import CallError
from bpvet.records.read import read
from bpvet.visits.sessions import sessions
from tests.command.small import Ended

Run = Callable[..., Ended]


@pytest.fixture
def folder(clinic: Path, tmp_path: Path) -> Path:
    place = tmp_path / "records"
    shutil.copytree(clinic, place)
    return place


def added(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.glob("*-added-*.csv"))


KINDS = {
    "treatments": (["--treatment", "amlodipine", "--on", "2026-03-10", "--dose", "1", "--dose-unit",
                    "ml"], "drug"),
    "observations": (["--sign", "murmur", "--on", "2026-03-10", "--status", "present"], "sign"),
    "labs": (["--lab", "creatinine", "--value", "180", "--unit", "µmol/L", "--on", "2026-03-10"],
             "analyte"),
    "missed": (["--missed", "missed", "--on", "2026-03-10", "--until", "2026-03-12", "--drug",
                "amlodipine"], "what"),
    "contacts": (["--contact", "booked", "--on", "2026-03-10", "--note", "=rang; twice"],
                 "outcome"),
}  # fmt: skip


@pytest.mark.parametrize("table", KINDS)
def test_each_kind_is_added_and_read_back(run: Run, folder: Path, table: str) -> None:
    words, column = KINDS[table]
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    rows = len(getattr(read(folder), table))
    ended = run("add", folder, "--animal", "pilchard", *words)
    assert ended.status == 0, ended.err
    (name,) = added(folder)
    assert name.startswith(f"{table}-added-")
    assert {file: (folder / file).read_bytes() for file in before} == before
    frame = getattr(read(folder), table)
    assert len(frame) == rows + 1
    row = frame[frame["file"] == name].iloc[0]
    assert (row["animal"], row[column]) == ("A17", words[1])
    # What the animal needs now comes first, how to take it back last.
    assert ended.out.startswith("- ")
    assert "Measure again" in ended.out
    assert f"bpvet add {folder} --cancel {row['entry']} --reason WHY" in ended.err


def test_a_sign_is_urgent_at_once(run: Run, folder: Path) -> None:
    ended = run("add", folder, "--animal", "A17", "--sign", "blind", "--on", "2026-03-03")
    assert ended.out.startswith("- Urgent: ")


def test_readings_are_added_as_one_session(run: Run, folder: Path) -> None:
    words = ["--reading", 165, "no-sound", "158x", 160, "--method", "doppler", "--on", "2026-03-20"]
    ended = run("add", folder, "--animal", "A17", *words, "--site", "tail")
    assert ended.status == 0, ended.err
    (session,) = sessions(read(folder)).query("animal == 'A17'").to_dict("records")[-1:]
    assert (session["n_taken"], session["systolic"], session["site"]) == (4, 160, "tail")
    assert "For the chart:" in ended.out
    again = run("add", folder, "--animal", "A17", *words)
    assert again.status == 2
    assert len(added(folder)) == 1


def test_a_new_animal_and_its_first_readings(run: Run, tmp_path: Path) -> None:
    folder = tmp_path / "new"
    folder.mkdir()
    lone = run("add", folder, "--animal", "N04", "--reading", 165, "--method", "doppler")
    assert lone.status == 2
    assert "--species cat" in lone.err
    assert run("add", folder, "--animal", "N04", "--species", "cat", "--name", "Sprat").status == 0
    assert run("add", folder, "--animal", "N04", "--species", "dog").status == 2
    words = ["--reading", 165, 158, 160, "--method", "doppler"]
    ended = run("add", folder, "--animal", "sprat", *words)
    assert ended.status == 0, ended.err
    records = read(folder)
    assert records.animals[["animal", "species", "name"]].values.tolist() == [
        ["N04", "cat", "Sprat"]
    ]
    assert not records.stopping


def test_taken_back_and_never_out_of_sight(run: Run, folder: Path) -> None:
    before = read(folder)
    assert run("add", folder, "--animal", "A17", *KINDS["labs"][0]).status == 0
    listed = json.loads(run("add", folder, "--list", "--json").out)
    (entry,) = [one["entry"] for one in listed]
    why = "=another cat"
    ended = run("add", folder, "--cancel", entry, "--reason", why)
    assert ended.status == 0, ended.err
    assert "creatinine 180 µmol/L" in ended.err
    after = read(folder)
    assert after.labs.equals(before.labs)
    shown = run("check", folder)
    assert "Cancelled: kept where it stands" in shown.out
    assert why in shown.out
    (row,) = json.loads(run("check", folder, "--json").out)["cancelled"]
    assert (row["entry"], row["reason"], row["animal"]) == (entry, why, "A17")
    told = run("trend", folder, "--animal", "A17").out
    assert "creatinine 180 µmol/L (2026-03-10): cancelled on" in told
    again = run("add", folder, "--cancel", entry, "--reason", "again")
    assert again.status == 2
    assert "cancelled already" in again.err
    assert "Nothing here was added" in run("add", folder, "--list").out


def test_cancelled_readings_are_counted_as_set_aside(run: Run, folder: Path) -> None:
    words = ["--reading", 165, 158, "--method", "doppler", "--on", "2026-03-20"]
    counts = json.loads(run("check", folder, "--json").out)["readings"]
    held = json.loads(run("add", folder, "--animal", "A17", *words, "--json").out)["added"]
    run("add", folder, "--cancel", held["entry"], "--reason", "typed twice")
    after = json.loads(run("check", folder, "--json").out)["readings"]
    assert after == {**counts, "in": counts["in"] + 2, "set_aside": counts["set_aside"] + 2}
    assert "2 set aside (2 of them cancelled)" in run("check", folder).out


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ([], "Say what is added"),
        (["--sign", "blind", "--lab", "upc", "--on", "2026-03-10"], "One thing is added"),
        (["--sign", "blind"], "--sign needs --on"),
        (["--sign", "blind", "--on", "10/03/2026"], "not a date such as"),
        (["--sign", "blind", "--on", "2026-02-30"], "not a day of the calendar"),
        (["--sign", "blind", "--on", "2090-01-01"], "lies in the future"),
        (["--sign", " ", "--on", "2026-03-10"], "--sign is blank"),
        (["--sign", "blind", "--on", "2026-03-10", "--dose", "1"], "does not go with --sign"),
        (["--sign", "a\nb", "--on", "2026-03-10"], "line break"),
        (["--lab", "creatinine", "--on", "2026-03-10"], "--lab needs --value"),
        (["--lab", "creatinine", "--value", "1,8", "--on", "2026-03-10"], "not added"),
        (["--lab", "upc", "--value", "x", "--on", "2026-03-10"], "number"),
        (["--lab", "creatinine", "--value", "180", "--on", "2026-03-10"], "has no unit"),
        (["--lab", "creatinine", "--value", "180", "--unit", "spoons", "--on", "2026-03-10"],
         "--sure"),
        (["--treatment", "zzz", "--on", "2026-03-10"], "not on the drug list"),
        (["--reading", "165"], "needs --method"),
        (["--reading", "1650", "--method", "doppler"], "cannot be"),
        (["--reading", "12", "--method", "doppler"], "kPa"),
        (["--reading", "165", "--method", "doppler", "--on", "2090-01-01"], "in the future"),
        (["--cancel", "x", "--reason", "y"], "--animal does not go with"),
        (["--missed", "some", "--on", "2026-03-10"], "invalid choice"),
    ],
)  # fmt: skip
def test_what_is_refused(run: Run, folder: Path, words: list[str], says: str) -> None:
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    ended = run("add", folder, "--animal", "A17", *words)
    assert ended.status == 2
    assert says in ended.err
    assert ended.out == ""
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before


def test_a_name_that_two_animals_bear_is_refused_with_both_ids(run: Run, folder: Path) -> None:
    (folder / "animals.csv").write_text("animal,species,name\nA17,cat,Pilchard\nB2,cat,pilchard\n")
    words = ["--sign", "blind", "--on", "2026-03-10"]
    ended = run("add", folder, "--animal", "Pilchard", *words)
    assert ended.status == 2
    assert '"A17", "B2": give the id' in ended.err
    ended = run("average", 165, "--method", "doppler", "--into", folder, "--animal", "PILCHARD")
    assert ended.status == 2
    assert '"A17", "B2": give the id' in ended.err
    assert added(folder) == []


@pytest.mark.parametrize("command", ["average", "add"])
def test_folders_that_are_none(run: Run, folder: Path, tmp_path: Path, command: str) -> None:
    book = tmp_path / "book"
    book.mkdir()
    (book / "records.xlsx").write_bytes(b"PK\x03\x04")
    for place, says in (
        (folder / "readings.csv", "is a file"),
        (tmp_path / "nowhere", "There is no file or folder"),
        (book, "workbook"),
    ):
        words = (
            ["average", 165, "--method", "doppler", "--into", place]
            if command == "average"
            else ["add", place, "--sign", "blind", "--on", "2026-03-10"]
        )
        ended = run(*words, "--animal", "A17")
        assert ended.status == 2
        assert says in ended.err
        assert ended.out == ""


def test_a_second_session_of_the_day_needs_a_name(run: Run, folder: Path) -> None:
    words = ["--method", "doppler", "--into", folder, "--animal", "A17"]
    first = run("average", 165, 158, 160, *words, "--taken-at", "2026-03-20T10:00")
    assert first.status == 0, first.err
    joined = run("average", 150, 151, *words, "--taken-at", "2026-03-20T10:30")
    assert joined.status == 2
    assert "has a Doppler session already: 165, 158, 160" in joined.err
    assert "These readings are not in the records" in joined.err
    # The numbers are not lost: they stand in the line for the chart, and in a command.
    assert "150, 151" in joined.out
    again = shlex.split(joined.err.partition("To add them: bpvet ")[2].splitlines()[0])
    assert run(*again).status == 2
    assert run(*again, "--session", "second").status == 0
    alike = ["--taken-at", "2026-03-20T16:00"]
    asked = run("average", 165, 158, 160, *words, *alike)
    assert asked.status == 2
    assert "holds the same numbers, 165, 158, 160" in asked.err
    assert run("average", 165, 158, 160, *words, *alike, "--sure").status == 0
    assert sessions(read(folder)).query("animal == 'A17'")["n_taken"].tolist()[3:] == [3, 2, 3]


def test_the_collapsed_cat(run: Run, folder: Path) -> None:
    words = ["--method", "doppler", "--into", folder, "--animal", "A17", "--taken-at", "2026-03-20"]
    ended = run("average", 62, "no-sound", "no-sound", *words)
    assert ended.status == 0, ended.err
    assert ended.out.startswith("Urgent: The pressure may be too low")
    assert ended.out.partition("What now")[2].partition("\n")[2].startswith("- Urgent: ")
    assert "lies within" not in ended.out


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["165", "--live"], "leave out the readings"),
        (["--live", "--exclude", "1=moved"], "leave out the readings"),
        ([], "or --live"),
        (["165", "--into", "x", "--save", "y", "--animal", "A17"], "one of the two"),
        (["165", "--into", "x"], "--into needs --animal"),
        (["165", "--into", "x", "--animal", "A17", "--species", "dog"], "is a cat"),
    ],
)
def test_calls_of_average_that_are_wrong(
    run: Run, folder: Path, words: list[str], says: str
) -> None:
    given = [str(folder) if one == "x" else one for one in words]
    ended = run("average", *given, "--method", "doppler")
    assert ended.status == 2
    assert says in ended.err
    assert added(folder) == []


def test_the_command_to_add_what_could_not_be_added_says_all(
    run: Run, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object, **__: object) -> None:
        raise CallError("the disk is full.")

    words = ["--method", "oscillometric", "--into", folder, "--animal", "A17", "--note", "it's $x"]
    taken = ["158/92/114/180", "no-sound", "over250", "160x", "161/90"]
    with monkeypatch.context() as patch:
        patch.setattr("bpvet.records.entries.adding.publish", full)
        more = ["--exclude", "5=tail moved", "--taken-at", "2026-03-20"]
        ended = run("average", *taken, *words, *more)
    assert ended.status == 2
    assert added(folder) == []
    again = shlex.split(ended.err.partition("To add them: bpvet ")[2].splitlines()[0])
    assert run(*again).status == 0
    rows = read(folder).readings.query("method == 'oscillometric'")
    assert rows["excluded"].tolist() == ["", "", "", "no reason given", "tail moved"]
    assert rows["note"].tolist() == ["it's $x"] * 5
    assert rows["systolic_bound"].tolist() == ["", "no sound", "at least", "", ""]
    assert rows["heart_rate"].tolist()[0] == 180
