"""The letter: one page whatever the records hold, everything in full beside it."""

from __future__ import annotations

import csv
import io
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import bpvet
from bpvet.answers.letter import SAID, five
from bpvet.answers.trend import trend_answer
from bpvet.errors import CallError
from bpvet.models.trend import Trend
from bpvet.records.records import Records
from bpvet.reports.letter import PAPERS, letter_html, letter_of
from bpvet.reports.letter_csv import letter_csv
from bpvet.reports.letter_parts import eyes_line, session_rows

from .conftest import AS_OF, HOSTILE_ID, HOSTILE_NAME, hostile_records


@pytest.fixture(scope="module")
def records(clinic: Path) -> Records:
    return bpvet.read(clinic, as_of=AS_OF)


@pytest.fixture(scope="module")
def marzipan(records: Records) -> Trend:
    return bpvet.fit_trend(records, "Marzipan")


@pytest.fixture(scope="module")
def tolliver(records: Records) -> Trend:
    return bpvet.fit_trend(records, "Tolliver")


def html(trend: Trend, paper: str = "a4") -> str:
    return letter_html(letter_of(trend, trend_answer(trend), "letter.csv"), paper)


def table(trend: Trend, for_excel: bool = False) -> list[dict[str, str]]:
    content = letter_csv(trend, trend_answer(trend), for_excel).decode()
    return list(csv.DictReader(io.StringIO(content)))


def pages(page: str) -> list[Any]:
    weasyprint = pytest.importorskip("weasyprint", exc_type=ImportError)
    return list(weasyprint.HTML(string=page).render().pages)


def test_what_is_urgent_comes_first_and_whole(marzipan: Trend) -> None:
    answer = trend_answer(marzipan)
    said = five(answer)
    assert len(said) == SAID
    assert answer.urgent
    assert said[0] == f"Urgent: {answer.urgent[0].text}"
    assert any("This is not a reason to stop it." in one for one in said)
    assert any(one.startswith("Measure again by") for one in said)


def test_each_text_is_taken_from_the_answer_word_for_word(tolliver: Trend) -> None:
    answer = trend_answer(tolliver)
    for text in five(answer):
        words = re.split(r"(?<=\.) (?=[A-Z])", text)
        assert any(all(part in whole for part in words) for whole in answer.sentences)


def test_a_session_row_shows_every_reading_and_which_do_not_count(marzipan: Trend) -> None:
    # As they stand in the example records: 26 October 2026 went beyond the gauge, and the first
    # of five is left out.
    rows = {row.date: row for row in session_rows(marzipan)}
    assert rows["2026-10-26"].readings == "(>300) 282 >300 284 284"
    assert rows["2026-10-26"].mean.startswith("at least 288")
    assert rows["2026-10-26"].cells[1:5] == ("Doppler", "foreleg left", "2.6/–", "clinic")
    assert list(rows) == sorted(rows, reverse=True)


def test_when_the_eyes_were_last_looked_at(marzipan: Trend, tolliver: Trend) -> None:
    assert eyes_line(marzipan).startswith("Last entry about them 2026-10-29: retinal detachment")
    assert eyes_line(tolliver) == "No entry in these records speaks of the eyes."


@pytest.mark.parametrize("paper", PAPERS)
def test_many_sessions_are_left_to_the_table_and_counted(tolliver: Trend, paper: str) -> None:
    page = html(tolliver, paper)
    shown = page.count('<th scope="row"')
    assert 4 <= shown < 46
    assert f"{46 - shown} older sessions are in letter.csv." in page
    assert len(pages(page)) == 1


def test_the_table_holds_every_session_and_reading(tolliver: Trend, records: Records) -> None:
    rows = table(tolliver)
    kinds = [row["kind"] for row in rows]
    own = records.readings
    assert kinds.count("session") == 46
    assert kinds.count("reading") == int((own["animal"] == "E02").sum())
    assert kinds.count("treatment") == 3
    assert kinds.count("answer") == SAID
    drug = next(row for row in rows if row["kind"] == "treatment")
    assert (drug["name"], drug["value"]) == ("amlodipine", "three quarters of a tablet")
    newest = next(row for row in rows if row["kind"] == "session")
    assert (newest["date"], newest["used"], newest["taken"]) == ("2026-10-27", "4", "5")


def test_one_page_for_every_animal_of_the_example(records: Records) -> None:
    for animal in records.animals["animal"].tolist()[:3]:
        trend = bpvet.fit_trend(records, animal)
        for paper in PAPERS:
            assert len(pages(html(trend, paper))) == 1, (animal, paper)


def test_the_smallest_letters_have_eight_points(tolliver: Trend) -> None:
    printed = html(tolliver).split("@media print", 1)[1].split("</style>", 1)[0]
    sizes = [float(size) for size in re.findall(r"font-size: ([\d.]+)pt", printed)]
    assert sizes
    assert min(sizes) >= 8


def test_hostile_words_are_text_and_no_formula(tmp_path: Path) -> None:
    records = bpvet.read(hostile_records(tmp_path / "r"), as_of="2026-06-01")
    trend = bpvet.fit_trend(records, HOSTILE_ID)
    page = html(trend)
    assert "<script" not in page
    assert "<svg" not in page
    assert "&lt;script&gt;alert(1)" in page
    assert len(pages(page)) == 1
    rows = table(trend, for_excel=True)
    assert next(row for row in rows if row["name"] == "name")["text"] == HOSTILE_NAME
    assert all(not cell.startswith(("=", "+", "-", "@")) for row in rows for cell in row.values())


def test_very_long_words_do_not_make_a_second_page(tmp_path: Path) -> None:
    folder = hostile_records(tmp_path / "r")
    rows = [
        f'"{HOSTILE_ID}","drug {i} {"x" * 300}",2026-01-{i:02d},,{i} tablets,,,'
        for i in range(1, 29)
    ]
    with (folder / "treatments.csv").open("a", encoding="utf-8") as file:
        file.write("\n".join(rows) + "\n")
    with (folder / "observations.csv").open("a", encoding="utf-8") as file:
        file.writelines(
            f'"{HOSTILE_ID}",2026-02-{i:02d},"{"sign " * 90}",present,\n' for i in range(1, 29)
        )
    trend = bpvet.fit_trend(bpvet.read(folder, as_of="2026-06-01"), HOSTILE_ID)
    for paper in PAPERS:
        page = html(trend, paper)
        assert len(pages(page)) == 1
        assert re.search(r"… and \d+ more in letter.csv", page)


def test_the_same_records_give_the_same_bytes(marzipan: Trend, clinic: Path) -> None:
    again = bpvet.fit_trend(bpvet.read(clinic, as_of=AS_OF), "Marzipan")
    assert html(again) == html(marzipan)
    assert letter_csv(again, trend_answer(again)) == letter_csv(marzipan, trend_answer(marzipan))


def test_a_laboratory_value_has_no_letter(records: Records) -> None:
    trend = bpvet.fit_trend(records, "Pilchard", quantity="creatinine")
    assert np.isfinite(trend.latest.mean)
    with pytest.raises(CallError, match="has none"):
        letter_of(trend, trend_answer(trend), "letter.csv")
