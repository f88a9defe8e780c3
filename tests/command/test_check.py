"""`bpvet check`: what was understood, what was found, what stops the work."""

import hashlib
import json
import os

import pytest

from bpvet.command.check import group_of
from bpvet.command.shared.source_lines import SourceLines
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Finding, Outcome, Words, finding_of
from bpvet.wording.en.command.check import ASIDE, LOOK, NOTHING, STOPS
from bpvet.wording.en.findings import all_checks
from tests.command.small import AS_OF, write_readings


def hashes(folder):
    return {file.name: hashlib.sha256(file.read_bytes()).hexdigest() for file in folder.iterdir()}


def test_clean_records(run, clinic):
    before = hashes(clinic)
    ended = run("check", clinic, "--as-of", AS_OF)
    assert (ended.status, ended.err) == (0, "")
    assert "Records of clinic, as of 2026-06-01" in ended.out
    assert "tables:          readings (18 rows), animals (2 rows), treatments (1 row)" in ended.out
    assert "methods:         doppler (18 rows)" in ended.out
    assert "animals:         2 (2 cats)" in ended.out
    assert "18 readings in all\n15 used\n 3 left out (rule guideline" in ended.out
    assert "Nothing was found that needs attention." in ended.out
    assert hashes(clinic) == before


def test_json_adds_up(run, clinic):
    held = json.loads(run("check", clinic, "--as-of", AS_OF, "--json").out)
    counts = held["readings"]
    assert counts == {"in": 18, "used": 15, "left_out": 3, "excluded": 0, "set_aside": 0}
    assert set(held) >= {"readings", "understood", "findings"}
    known = {"layout", "dates", "unit", "encoding", "methods", "animals"}
    assert set(held["understood"]) >= known
    every = json.loads(run("check", clinic, "--as-of", AS_OF, "--rule", "all", "--json").out)
    assert every["readings"]["left_out"] == 0


BAD_ROWS = "\n".join(
    [
        "A,2026-01-01T10:00,doppler,150",
        "A,2026-01-01T10:00,doppler,150",
        "A,2026-01-01T10:01,doppler,12",
        "A,2026-01-01T10:02,doppler,1650",
        "A,2026-01-01T10:03,doppler,16O",
        "A,2027-01-01T10:04,doppler,151",
        "A,2026-01-02,doppler,152",
        "A,2026-02-30,doppler,153",
    ]
)


def test_findings_show_place_line_value_and_mend(run, tmp_path):
    folder = write_readings(tmp_path / "r", BAD_ROWS)
    ended = run("check", folder, "--as-of", AS_OF)
    assert ended.status == 0
    assert (
        "readings.csv, line 6, systolic\n"
        "    | A,2026-01-01T10:03,doppler,16O\n"
        '    "16O" is not a number. The row is set aside.\n'
        "    → Are letters typed for digits? If it is 160, write 160.\n"
    ) in ended.out
    for words in ("12 kPa is 90 mmHg", "A digit too many", "holds exactly the same", "2026-02-30"):
        assert words in ended.out
    assert ended.out.index(ASIDE) < ended.out.index(LOOK)
    held = json.loads(run("check", folder, "--as-of", AS_OF, "--json").out)
    counts = held["readings"]
    assert counts["in"] == 8 == sum(counts.values()) - counts["in"]
    for finding in held["findings"]:
        assert set(finding) >= {"file", "line", "column", "value", "reason", "mend", "stops"}
        assert not finding["stops"]


def test_many_of_a_kind_are_counted(run, tmp_path):
    rows = [f"A,2026-01-{day:02},doppler,x{day}" for day in range(1, 8)]
    folder = write_readings(tmp_path / "r", "\n".join([*rows, "A,2026-02-01,doppler,150"]))
    some = run("check", folder, "--as-of", AS_OF).out
    assert "… and 4 more like this" in some
    assert '"x7"' not in some
    every = run("check", folder, "--as-of", AS_OF, "--all").out
    assert "more like this" not in every
    assert '"x7"' in every


def test_findings_that_say_the_same_are_one_entry(run, tmp_path):
    rows = [f"A,2026-01-{day:02},doppler,300" for day in (1, 2, 3, 5)]
    folder = write_readings(tmp_path / "r", "\n".join(rows))
    assert "readings.csv, lines 2 to 5, systolic\n" in run("check", folder, "--as-of", AS_OF).out


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("readings.csv", b"animal,taken_at,systolic\nA,2026-01-01,150\n", '"method" is missing'),
        ("readings.csv", b"", "The file is empty."),
        (
            "readings.csv",
            b"animal,taken_at,method,systolic\nA,2026-01-01,doppler,1\xff0\n",
            "UTF-8",
        ),
        ("readings.csv", b"PK\x03\x04rest", "workbook or an archive"),
        ("ABOUT.txt", b"animal\n", "holds no readings file"),
    ],
)
def test_what_stops_the_work(run, tmp_path, name, content, says):
    (tmp_path / name).write_bytes(content)
    ended = run("check", tmp_path)
    assert ended.status == 1
    assert STOPS in ended.out
    assert says in " ".join(ended.out.split())
    held = json.loads(run("check", tmp_path, "--json").out)
    assert [finding["stops"] for finding in held["findings"]].count(True) == 1
    other = run("sessions", tmp_path)
    assert (other.status, other.out) == (1, "")
    assert says in other.err


def test_an_empty_folder(run, tmp_path):
    ended = run("check", tmp_path)
    assert ended.status == 1
    assert "No table could be read." in ended.out


def test_another_encoding(run, tmp_path):
    rows = "animal,taken_at,method,systolic,note\nA,2026-01-01,doppler,999,Peña\n"
    (tmp_path / "readings.csv").write_bytes(rows.encode("cp1252"))
    ended = run("check", tmp_path, "--encoding", "cp1252")
    assert ended.status == 0
    assert "encoding:        cp1252" in ended.out
    assert "| A,2026-01-01,doppler,999,Peña" in ended.out
    assert run("check", tmp_path, "--encoding", "klingon").status == 2


def test_other_headings(run, tmp_path):
    rows = "Pet ID,When,How,systolic,Vet\nA,2026-01-01,doppler,150,Q\n"
    (tmp_path / "visits.csv").write_text(rows)
    mapping = "Pet ID=animal,When=taken_at,How=method"
    ended = run("check", tmp_path / "visits.csv", "--columns", mapping)
    assert ended.status == 0
    assert "unknown, kept:   Vet" in ended.out
    assert run("check", tmp_path / "visits.csv", "--columns", "Pet ID=pet").status == 2


def test_a_path_that_is_not_there(run, clinic):
    ended = run("check", f"{clinic}c")
    assert (ended.status, ended.out) == (2, "")
    assert 'Did you mean "clinic"?' in ended.err


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read everything")
def test_a_folder_without_permission(run, tmp_path):
    folder = write_readings(tmp_path / "r", BAD_ROWS)
    folder.chmod(0)
    try:
        ended = run("check", folder)
    finally:
        folder.chmod(0o700)
    assert ended.status == 1
    assert "permission denied" in ended.err


def test_a_folder_that_refuses(run, clinic, monkeypatch):
    def refuses(_path):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("bpvet.records.formats.files.os.scandir", refuses)
    ended = run("check", clinic)
    assert ended.status == 1
    assert "permission denied" in ended.err


@pytest.mark.parametrize("text", ["2026-13-01", "2026-02-30", "yesterday", "20260301", ""])
def test_a_date_that_is_none(run, clinic, text):
    ended = run("check", clinic, "--as-of", text)
    assert ended.status == 2
    assert "--as-of" in ended.err


_OF_GROUPS = [
    (finding_of(Code.NO_READING_COLUMN, "r.csv", stops=True), STOPS),
    (Finding("r.csv", 2, "", "", Code.NO_READING, outcome=Outcome.ROW), ASIDE),
    (Finding("r.csv", 2, "", "", Code.NO_SIZE, outcome=Outcome.CELL), ASIDE),
    (finding_of(Code.SEVERAL_NUMBERS, "r.csv", cells=2, such_as="1 2", head="bp"), ASIDE),
    (finding_of(Code.SAME_FILE_TWICE, "r.csv", same_as="q.csv"), ASIDE),
    (finding_of(Code.NAMED_OTHERWISE, "r.csv", near=()), ASIDE),
    (finding_of(Code.SHEETS_NOT_READ, "r.xlsx", names=("a",), more=0), ASIDE),
    (finding_of(Code.RESOURCES_NOT_READ, "r.json", kinds=(("Device", 2),), more=0), ASIDE),
    (finding_of(Code.GAUGES_CEILING, "r.csv", 2), LOOK),
    (finding_of(Code.NO_READINGS, "r.csv", animal="A", unlisted=False, near=()), LOOK),
    # What a cell holds decides nothing, whatever it reads.
    (finding_of(Code.ODD_ID, "r.csv", animal="set aside, not read"), LOOK),
    (finding_of(Code.ABOVE_HEADER, "r.csv", texts=("a",), many=1), NOTHING),
    (finding_of(Code.WHITE_SPACE, "r.csv", cells=2), NOTHING),
]


@pytest.mark.parametrize(("finding", "group"), _OF_GROUPS)
def test_groups(finding, group):
    assert group_of(finding) == group


@pytest.mark.parametrize(("finding", "group"), _OF_GROUPS)
def test_groups_in_other_words(finding, group, monkeypatch):
    asks = finding.words.asks
    other = [Words("ǩ", "ǩ", asks)]
    monkeypatch.setattr(all_checks, "words_of", lambda *_: other)
    assert group_of(finding) == group


def test_lines_are_cut_around_the_value(tmp_path, monkeypatch):
    monkeypatch.setenv("COLUMNS", "60")
    file = tmp_path / "r.csv"
    file.write_text(f"h\r\n{'a' * 200}WRONG{'b' * 200}\r\x1b[2Jx\n")
    lines = SourceLines(str(file), {"r.csv": "UTF-8"})
    cut = lines.line("r.csv", 2, "WRONG")
    assert "WRONG" in cut
    assert len(cut) == 52
    assert (cut[0], cut[-1]) == ("…", "…")
    assert lines.line("r.csv", 3) == " [2Jx"
    assert lines.line("r.csv", 4) == lines.line("r.csv", None) == lines.line("no.csv", 9) == ""


def test_no_control_character_reaches_the_terminal(run, tmp_path):
    folder = write_readings(tmp_path / "r", "A\x1b]0;x\x07,2026-01-01,doppler,1\x1b[31m0")
    for command in ("check", "sessions"):
        ended = run(command, folder, "--as-of", AS_OF)
        assert "\x1b" not in ended.out + ended.err
        assert "\x07" not in ended.out + ended.err


def test_a_mapping_is_proposed_and_nothing_is_applied(run, tmp_path):
    text = "Pet ID;Visit Date;Device;SBP\n17;13/04/2025;Doppler;165\n"
    (tmp_path / "visits.csv").write_text(text)
    ended = run("check", tmp_path / "visits.csv", "--suggest")
    assert ended.status == 0
    assert '"Pet ID" = "animal"' in ended.out
    assert 'dates = "dmy"' in ended.out
    assert "Nothing was applied" not in ended.out
    assert [file.name for file in tmp_path.iterdir()] == ["visits.csv"]
    held = json.loads(run("check", tmp_path / "visits.csv", "--suggest", "--json").out)
    assert held["toml"] == ended.out
    (tmp_path / "bpvet-columns.toml").write_text(ended.out)
    assert run("check", tmp_path / "visits.csv", "--as-of", "2026-01-01").status == 0


def test_signs_are_listed_as_they_were_understood(run, tmp_path):
    folder = write_readings(tmp_path / "r", "A,2026-01-01,doppler,150")
    (folder / "observations.csv").write_text(
        "animal,seen_on,sign,status\n"
        'A,2026-01-01,"no seizures, blind since Monday",\n'
        "A,2026-01-02,Krampfanfall,\n"
        "A,2026-01-03,murmur,resolved\n"
    )
    ended = run("check", folder, "--as-of", AS_OF)
    assert 'present: "blind since Monday": blindness (eye)' in ended.out
    assert 'absent: "no seizures": seizure (brain)' in ended.out
    assert 'not understood: "Krampfanfall"' in ended.out
    assert 'past: "murmur", status resolved: murmur (heart)' in ended.out
    held = json.loads(run("check", folder, "--as-of", AS_OF, "--json").out)
    assert held["signs"][1] == {
        "animal": "A",
        "seen_on": "2026-01-01",
        "table": "observations",
        "text": "blind since Monday",
        "status": "",
        "term": "blindness",
        "group": "eye",
        "reading": "present",
    }
    assert len(held["signs"]) == 4


def test_a_slip_of_the_newest_visit_is_listed_with_its_line(run, tmp_path):
    readings = tmp_path / "readings.csv"
    readings.write_text(
        "animal,taken_at,method,systolic,mean\n"
        + "".join(f"A,2025-0{month}-01,oscillometric,140,100\n" for month in (2, 5, 8))
        + "A,2025-11-01,oscillometric,,140\n"
    )
    ended = run("check", tmp_path, "--as-of", "2025-12-01")
    assert ended.status == 0
    assert "readings.csv, line 5" in ended.out
    assert "no systolic pressure" in ended.out
    findings = json.loads(run("check", tmp_path, "--as-of", "2025-12-01", "--json").out)["findings"]
    found = findings[-1]
    assert (found["file"], found["line"]) == ("readings.csv", 5)
    assert found["kind"] == Code.NEWEST_WITHOUT_SYSTOLIC.kind
