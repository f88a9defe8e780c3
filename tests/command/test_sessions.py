"""`bpvet sessions`: the table to look at, the CSV to take along."""

import csv
import io
import json

import pandas as pd
import pytest

from bpvet.records.read import read
from bpvet.visits.sessions import SESSION_COLUMNS, sessions
from tests.command.small import AS_OF, write_readings


def test_text(run, clinic):
    ended = run("sessions", clinic, "--as-of", AS_OF)
    assert ended.status == 0
    lines = ended.out.splitlines()
    heads = ("animal", "date", "method", "condition", "systolic", "SD", "used", "taken", "flags")
    assert tuple(lines[0].split()) == heads
    # 186, 184, 185 and 186: the first of five is left out.
    first = ("A17", "2026-01-05", "doppler", "clinic", "185.2", "1.0", "4", "5")
    assert tuple(lines[2].split()[:8]) == first
    assert len(lines) == 2 + 4 + 1


def test_one_animal_by_its_name(run, clinic):
    rows = json.loads(run("sessions", clinic, "--animal", "tuppence", "--json").out)
    assert [row["animal"] for row in rows] == ["B2"]
    assert rows[0]["systolic"] == 151.0
    assert rows[0]["diastolic"] is None


def test_an_animal_that_is_not_there(run, clinic):
    ended = run("sessions", clinic, "--animal", "Pilcherd")
    assert (ended.status, ended.out) == (2, "")
    assert 'Did you mean "Pilchard"?' in ended.err


def test_csv_holds_what_the_library_gives(run, clinic, tmp_path):
    file = tmp_path / "sessions.csv"
    ended = run("sessions", clinic, "--as-of", AS_OF, "-o", file)
    assert (ended.status, ended.out) == (0, "")
    assert "Wrote 4 sessions" in ended.err
    assert b"\r" not in file.read_bytes()
    table = pd.read_csv(
        file, dtype={"animal": str}, keep_default_na=False, na_values={"systolic": ""}
    )
    wanted = sessions(read(clinic, as_of=AS_OF))
    assert list(table.columns[: len(SESSION_COLUMNS)]) == list(SESSION_COLUMNS)
    assert table["systolic"].tolist() == wanted["systolic"].tolist()
    assert table["date"].tolist() == wanted["date"].dt.strftime("%Y-%m-%d").tolist()
    assert table["treated"].tolist() == wanted["treated"].tolist()
    assert set(table["diastolic"]) == {""}


def test_a_file_is_replaced_only_by_force(run, clinic, tmp_path):
    file = tmp_path / "sessions.csv"
    file.write_text("mine")
    ended = run("sessions", clinic, "-o", file)
    assert (ended.status, file.read_text()) == (2, "mine")
    assert "--force" in ended.err
    assert run("sessions", clinic, "-o", file, "--force", "--quiet").err == ""
    assert file.read_text().startswith("animal,")
    assert run("sessions", clinic, "-o", tmp_path / "no" / "s.csv").status == 2
    names = sorted(one.name for one in tmp_path.iterdir())
    assert names == ["sessions-columns.csv", "sessions.csv"]


@pytest.mark.parametrize("id", ["=1+1", "+1", "-1", "@x", "../../x", "<script>", "x" * 300, "👩‍🚀"])
def test_ids_stay_what_they_are(run, tmp_path, id):
    folder = write_readings(tmp_path / "r", f"{id},2026-01-01,doppler,150")
    assert run("sessions", folder, "--animal", id).status == 0 or id.startswith("-")
    for more in ([], ["--for-excel"], ["--plain"]):
        file = tmp_path / f"s{''.join(more)}.csv"
        assert run("sessions", folder, "-o", file, *more).status == 0
        (row,) = csv.DictReader(io.StringIO(file.read_text(encoding="utf-8")))
        guarded = "'" if more != ["--plain"] and id[0] in "=+-@" else ""
        assert row["animal"] == guarded + id


def test_no_usable_session(run, tmp_path):
    folder = write_readings(tmp_path / "r", "A,2026-01-01,doppler,none")
    ended = run("sessions", folder, "--as-of", AS_OF)
    assert ended.status == 0
    assert "no reading used" in ended.out
    empty = run("sessions", folder, "--as-of", "2020-01-01")
    assert "There are no sessions." in empty.out
    assert json.loads(run("sessions", folder, "--as-of", "2020-01-01", "--json").out) == []


def test_quiet_says_nothing_about_findings(run, tmp_path):
    folder = write_readings(tmp_path / "r", "A,2026-01-01,doppler,none")
    assert "bpvet check" in run("sessions", folder).err
    assert run("sessions", folder, "--quiet").err == ""
