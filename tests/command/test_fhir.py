"""``bpvet fhir``, and records that come from a database or through a pipe."""

from __future__ import annotations

import io
import json
import sqlite3
from pathlib import Path
from types import SimpleNamespace

import pytest

HEADER = "animal,taken_at,method,systolic\n"
ROWS = HEADER + "A17,2025-01-01T10:00,doppler,150\n" * 2 + "B3,2025-01-02,doppler,9\n"


@pytest.fixture
def database(tmp_path: Path) -> str:
    """Return the URL of a database that has its readings under other names."""
    connection = sqlite3.connect(tmp_path / "clinic.db")
    connection.execute("create table pressures (pet, day, how, mmhg)")
    connection.execute("insert into pressures values ('A17', '2025-01-01', 'doppler', 150)")
    connection.commit()
    connection.close()
    return f"sqlite:///{tmp_path / 'clinic.db'}"


QUERY = "select pet animal, day taken_at, how method, mmhg systolic from pressures"


def test_a_bundle_is_written_whole_and_read_back(run, tmp_path):
    file, bundle = tmp_path / "readings.csv", tmp_path / "bundle.json"
    file.write_text(ROWS)
    ended = run("fhir", file, "-o", bundle, "--as-of", "2025-02-01")
    assert ended.status == 0
    assert ended.out == ""
    assert "2 Patient" in ended.err
    assert "Not in it: exact duplicates (1)." in ended.err
    checked = run("check", bundle, "--as-of", "2025-02-01", "--json")
    assert json.loads(checked.out)["readings"]["in"] == 2
    assert run("fhir", file, "-o", bundle).status == 2
    ended = run("fhir", file, "-o", bundle, "--force", "--json", "--as-of", "2025-02-01")
    told = json.loads(ended.out)
    assert told["resources"] == {"Patient": 2, "Observation": 3}
    assert told["left_behind"] == {"duplicate": 1}


def test_a_database_is_read_by_a_query(run, database):
    ended = run("sessions", database, "--query", QUERY, "--as-of", "2025-02-01", "--json")
    assert [row["systolic"] for row in json.loads(ended.out)] == [150]
    ended = run("check", database, "--as-of", "2025-02-01")
    assert ended.status == 1
    assert "--query" in ended.out
    assert run("check", database, "--query", "drop table pressures").status == 2


def test_no_password_is_printed(run, database, tmp_path):
    secret = "sqlite://vet:s3cret@/nowhere.db"
    for argv in (("check", secret), ("trend", secret, "--animal", "A17")):
        ended = run(*argv)
        assert ended.status in (1, 2)
        assert "s3cret" not in ended.out + ended.err


@pytest.mark.parametrize(
    "text",
    [
        HEADER + "A17,2025-01-01,doppler,150\n",
        '{"animal": "A17", "taken_at": "2025-01-01", "method": "doppler", "systolic": 150}\n',
    ],
)
def test_what_is_piped_in_is_read(run, monkeypatch, text):
    monkeypatch.setattr("sys.stdin", SimpleNamespace(buffer=io.BytesIO(text.encode())))
    ended = run("sessions", "-", "--as-of", "2025-02-01", "--json")
    assert [row["systolic"] for row in json.loads(ended.out)] == [150]


@pytest.mark.parametrize("path", ["-", "sqlite"])
def test_a_report_is_made_from_files_only(run, monkeypatch, database, tmp_path, path):
    text = HEADER + "A17,2025-01-01,doppler,150\n"
    monkeypatch.setattr("sys.stdin", SimpleNamespace(buffer=io.BytesIO(text.encode())))
    source = ("-",) if path == "-" else (database, "--query", QUERY)
    ended = run(
        "report", *source, "--animal", "A17", "-o", tmp_path / "out", "--as-of", "2025-02-01"
    )
    assert ended.status == 2
    assert "made from files" in ended.err
    assert not list((tmp_path / "out").glob("*"))
