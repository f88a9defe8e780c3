"""A line that cannot be counted is told of to whom it names, unless it is of an older day."""

from __future__ import annotations

import numpy as np
import pytest

import bpvet
from bpvet.visits.uncounted.broken import BrokenLine, broken_lines
from bpvet.wording.en.trend.short import short_statements
from tests.scenarios.told import opened

FOLDER = "comma_in_a_note"
HEAD = "animal,taken_at,method,systolic,note\n"


def _broken(tmp_path, *lines, animals="K61,cat,Thistle\nK62,cat,Sorrel\n12,cat,Clover\n"):
    (tmp_path / "readings.csv").write_text(HEAD + "".join(f"{line}\n" for line in lines))
    (tmp_path / "animals.csv").write_text(f"animal,species,name\n{animals}")
    return broken_lines(bpvet.read(tmp_path, as_of="2026-10-01"))


def test_what_is_found_of_an_animal_and_of_all():
    records = opened(FOLDER, "2026-09-20")
    found = broken_lines(records)
    assert found == {
        "K61": (BrokenLine("readings.csv", 11, np.datetime64("2026-09-02"), False),),
        "K62": (BrokenLine("readings.csv", 12, np.datetime64("2026-02-04"), False),),
    }
    assert broken_lines(records, "K61") == {"K61": found["K61"]}
    assert broken_lines(records, "none") == {}


def test_one_of_an_older_day_is_not_told():
    (row,) = [row for row in bpvet.due(opened(FOLDER, "2026-09-20")).rows if row.animal == "K62"]
    assert not row.read_first
    assert "line" not in " ".join(row.open_questions)


def test_it_stands_first_and_no_date_with_it():
    answer = bpvet.fit_trend(opened(FOLDER, "2026-09-20"), "K61").answer()
    first, *_ = short_statements(answer)
    assert first.text.startswith(
        "Line 11 of “readings.csv” cannot be counted and names this animal"
    )
    assert answer.recheck.read_first == ("line",)
    assert answer.recheck.latest is None


@pytest.mark.parametrize(
    ("line", "whose"),
    [
        ("K61,2026-09-02,doppler,132,unsure, will ring", {"K61"}),
        ("thistle,2026-09-02,doppler,132,unsure, will ring", {"K61"}),
        ('"K61" ,2026-09-02,doppler,132,unsure, will ring', {"K61"}),
        # A number is an animal where it stands first, and a pressure elsewhere.
        ("12,2026-09-02,doppler,132,unsure, will ring", {"12"}),
        ("K62,2026-09-02,doppler,12,unsure, will ring", {"K62"}),
        ("K99,2026-09-02,doppler,132,unsure, will ring", set()),
        ("K61 and K62,2026-09-02,doppler,132,unsure, will ring", {"K61", "K62"}),
        ("K61 went blind on 20 Sept - owner rang", {"K61"}),
        ("Sorrel: went blind on 20 Sept, owner rang", {"K62"}),
        ("BK61 went blind on 20 Sept - owner rang", set()),
        # A row without an id, and words that name one.
        (",2026-09-02,doppler,132,K61 blind?", {"K61"}),
        (",2026-09-02,doppler,132,calm", set()),
    ],
)
def test_whom_a_line_names(tmp_path, line, whose):
    usable = [f"{animal},2026-06-02,doppler,132," for animal in ("K61", "K62", "12")]
    assert set(_broken(tmp_path, *usable, line)) == whose


@pytest.mark.parametrize(
    ("text", "date"),
    [
        ("K61,2026-09-02T10:00,doppler,132,a, b", "2026-09-02"),
        ("K61,2026-09-02,doppler,132,seen 2026-09-05, b", "2026-09-05"),
        ("K61,02/09/2026,doppler,132,a, b", "NaT"),
        ("K61,2026-13-02,doppler,132,a, b", "NaT"),
    ],
)
def test_the_day_of_a_line(tmp_path, text, date):
    ((found,),) = _broken(tmp_path, "K61,2026-06-02,doppler,132,", text).values()
    assert np.array_equal(found.date, np.datetime64(date, "D"), equal_nan=True)


def test_many_lines_are_not_all_named(tmp_path):
    lines = [f"K61,2026-09-0{day},doppler,132,a, b" for day in range(1, 7)]
    _broken(tmp_path, "K61,2026-06-02,doppler,132,", *lines)
    records = bpvet.read(tmp_path, as_of="2026-10-01")
    first, *_ = short_statements(bpvet.fit_trend(records, "K61").answer())
    assert "and three further lines cannot be counted and name this animal" in first.text


def test_a_letter_denies_no_sign_beside_one(tmp_path):
    path = bpvet.letter(opened(FOLDER, "2026-09-20"), "K61", tmp_path)
    page = path.read_text()
    assert page.count("Line 11 of “readings.csv” cannot be counted and names this animal") == 1
    assert page.count("what stands under “Not clear” may ") == 2
    assert "None recorded in the last twelve months" not in page
    assert "no entry in these records mentions the eyes" not in page


def test_no_drug_is_denied_without_it():
    answer = bpvet.fit_trend(opened(FOLDER, "2026-09-20"), "K61").answer()
    told = " ".join(statement.text for statement in short_statements(answer))
    assert told.count("but for what may stand in line 11 of “readings.csv”, not read") == 2


def test_an_older_line_is_told_where_it_may_tell_of_a_sign(tmp_path):
    for text, told in (("went blind, owner rang", True), ("a bit restless, then calm", False)):
        lines = [f"K61,2026-0{month}-02,doppler,132," for month in (2, 4, 6, 8) for _ in range(3)]
        _broken(tmp_path, *lines, f"K61,2026-04-02,doppler,132,{text}")
        answer = bpvet.fit_trend(bpvet.read(tmp_path, as_of="2026-08-20"), "K61").answer()
        assert answer.recheck.read_first == (("line",) if told else ())
