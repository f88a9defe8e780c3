"""`bpvet due`: text, JSON, tables, page and calendar."""

import csv
import io
import json
from datetime import date

import icalendar
import openpyxl
import pytest

from bpvet.answers.due.calendar import due_calendar
from bpvet.answers.due.due import due
from bpvet.facts.cautions import licensed
from bpvet.records.read import read
from tests.command.small import AS_OF, write_readings

#: Names that are markup, a formula, a line of a calendar, a path.
HOSTILE = ("<img src=x onerror=alert(1)>", "=1+1", "a;b,c\\n", "../../etc", "Möwe" * 30)


@pytest.fixture(scope="module")
def hostile(tmp_path_factory):
    folder = tmp_path_factory.mktemp("records") / "hostile"
    rows = "\n".join(f'"H{i}",2026-05-{20 + i},doppler,{150 + 10 * i}' for i in range(len(HOSTILE)))
    write_readings(folder, rows)
    text = io.StringIO()
    table = csv.writer(text, lineterminator="\n")
    table.writerow(("animal", "species", "name"))
    table.writerows((f"H{i}", "cat", name) for i, name in enumerate(HOSTILE))
    (folder / "animals.csv").write_text(text.getvalue(), encoding="utf-8")
    return folder


def test_text(run, clinic):
    ended = run("due", clinic, "--as-of", AS_OF)
    assert ended.status == 0
    assert "Pilchard (A17)" in ended.out
    assert "Tuppence (B2)" in ended.out
    assert "Cautions" in ended.out
    assert "licensed veterinarian" in " ".join(ended.out.split())


def test_json_is_a_list_and_nothing_else(run, clinic):
    ended = run("due", clinic, "--as-of", AS_OF, "--json")
    rows = json.loads(ended.out)
    assert {row["animal"] for row in rows} == {"A17", "B2"}
    assert rows == due(read(clinic, as_of=AS_OF)).to_list()


def test_csv_is_safe_and_says_what_it_holds(run, hostile, tmp_path):
    place = tmp_path / "list.csv"
    assert run("due", hostile, "--as-of", AS_OF, "-o", place).status == 0
    rows = list(csv.DictReader(io.StringIO(place.read_text(encoding="utf-8"))))
    assert len(rows) == len(HOSTILE)
    assert {row["name"] for row in rows} >= {"'=1+1", HOSTILE[0]}
    assert licensed() in (tmp_path / "list-columns.csv").read_text(encoding="utf-8")
    assert run("due", hostile, "--as-of", AS_OF, "-o", place).status == 2
    assert run("due", hostile, "--as-of", AS_OF, "-o", place, "--force").status == 0


def test_workbook_holds_text_and_dates(run, hostile, tmp_path):
    place = tmp_path / "list.xlsx"
    assert run("due", hostile, "--as-of", AS_OF, "-o", place).status == 0
    sheet = openpyxl.load_workbook(place).worksheets[0]
    heads = [cell.value for cell in sheet[1]]
    names = [row[heads.index("name")] for row in sheet.iter_rows(min_row=2)]
    assert {cell.data_type for cell in names} == {"s"}
    assert sheet.cell(2, heads.index("latest") + 1).is_date


def events_of(content):
    return icalendar.Calendar.from_ical(content).walk("VEVENT")


def test_the_calendar_is_valid_and_holds_a_day_an_animal(hostile):
    found = due(read(hostile, as_of=AS_OF))
    content = due_calendar(found)
    calendar = icalendar.Calendar.from_ical(content)
    assert calendar["VERSION"] == "2.0"
    assert calendar.errors == []
    events = events_of(content)
    assert len(events) == len(found.rows)
    assert len({str(event["UID"]) for event in events}) == len(events)
    by_animal = {one.animal: one for one in found.rows}
    for event in events:
        assert event.errors == []
        animal = str(event["SUMMARY"]).split("(")[-1].split(")")[0]
        row = by_animal[animal]
        assert row.name in str(event["SUMMARY"]).replace("\\n", "\\n")
        start, end = event.decoded("DTSTART"), event.decoded("DTEND")
        assert (end - start).days == 1
        late = row.band in ("now", "two_days", "overdue", "lost")
        if row.band == "later" or row.band == "due":
            assert start == row.latest.item()
        assert start == date(2026, 6, 1) or not late
        assert row.why in str(event["DESCRIPTION"])
        assert licensed() in str(event["DESCRIPTION"])
    # Lines of 75 octets at most, ended as the standard asks.
    assert all(len(line) <= 75 for line in content.split(b"\r\n"))
    assert b"\n" not in content.replace(b"\r\n", b"")


def test_with_pseudonyms_the_calendar_holds_no_word_of_the_records(run, hostile, tmp_path):
    place = tmp_path / "list.ics"
    run("due", hostile, "--as-of", AS_OF, "-o", place, "--pseudonyms")
    content = place.read_bytes()
    unfolded = content.replace(b"\r\n ", b"").decode()
    for i, name in enumerate(HOSTILE):
        assert name not in unfolded
        assert f"H{i}" not in unfolded
    assert {str(event["SUMMARY"]).split(":")[-2].strip() for event in events_of(content)} == {
        f"animal {i:02d}" for i in range(1, len(HOSTILE) + 1)
    }


def test_a_folder_holds_page_table_and_calendar(run, hostile, tmp_path):
    folder = tmp_path / "morning"
    folder.mkdir()
    (folder / "H1.html").write_text("a page of H1")
    assert run("due", hostile, "--as-of", AS_OF, "-o", folder, "--days", "400").status == 0
    page = (folder / "due.html").read_text(encoding="utf-8")
    assert '<a href="H1.html"' in page
    assert 'href="H2.html"' not in page
    assert 'href="sheet-H2.html"' in page
    assert "<img" not in page
    assert "&lt;img src=x" in page
    assert licensed() in page
    assert "default-src 'none'" in page
    for name in ("due.csv", "due.ics", "due-columns.csv"):
        assert (folder / name).is_file()
    # An earlier list is replaced; what is somebody's own is not.
    assert run("due", hostile, "--as-of", AS_OF, "-o", folder).status == 0
    (folder / "due.html").write_text("mine")
    assert run("due", hostile, "--as-of", AS_OF, "-o", folder).status == 2
    assert (folder / "due.html").read_text() == "mine"


def test_somebodys_table_in_a_new_folder_is_not_replaced(run, clinic, tmp_path):
    (tmp_path / "due.csv").write_text("mine")
    assert run("due", clinic, "--as-of", AS_OF, "-o", tmp_path).status == 2
    assert (tmp_path / "due.csv").read_text() == "mine"


@pytest.mark.parametrize(
    "options",
    [("-o", "list.pdf"), ("--days", "-1"), ("--days", "x"), ("--guideline", "none")],
)
def test_a_wrong_call(run, clinic, tmp_path, options, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert run("due", clinic, "--as-of", AS_OF, *options).status == 2


def test_it_is_never_written_over_the_records(run, clinic):
    assert run("due", clinic, "--as-of", AS_OF, "-o", clinic / "animals.csv").status == 2
