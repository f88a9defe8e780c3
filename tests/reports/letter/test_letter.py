"""What a letter tells: every drug, sign, value and session, each where a reader looks for it."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import bpvet
from bpvet.answers.statement import Statement
from bpvet.answers.trend.trend import trend_answer
from bpvet.answers.trend.unseen import unseen_answer
from bpvet.errors import CallError
from bpvet.facts.cautions import licensed
from bpvet.models.trend.trend import Trend
from bpvet.records.records import Records
from bpvet.reports.letter.labs import DATES, labs_of
from bpvet.reports.letter.letter import Letter, Wanted, letter_of, unseen_letter
from bpvet.reports.letter.records import drug_lines
from bpvet.reports.letter.sessions import LEAST, MOST, newer_lines, session_rows, sessions_of
from bpvet.reports.letter.signs import eyes_line, sign_lines
from bpvet.reports.letter.source import Source
from bpvet.reports.letter.who import who_of
from bpvet.wording.en.letter import (
    SHORT,
    age_words,
    asked_lines,
    letter_statements,
    letter_text,
    letter_words,
    newest_words,
)
from tests.reports.conftest import AS_OF, HOSTILE_ID, HOSTILE_NAME, hostile_records
from tests.reports.letter import letter_records as full

SCENARIOS = Path(__file__).parents[2] / "scenarios"


@pytest.fixture(scope="module")
def records(clinic: Path) -> Records:
    return bpvet.read(clinic, as_of=AS_OF)


@pytest.fixture(scope="module")
def marzipan(records: Records) -> Trend:
    return bpvet.fit_trend(records, "Marzipan")


@pytest.fixture(scope="module")
def tolliver(records: Records) -> Trend:
    return bpvet.fit_trend(records, "Tolliver")


@pytest.fixture(scope="module")
def crowded(tmp_path_factory: pytest.TempPathFactory) -> Trend:
    """A dog with twelve drugs, twenty signs, sixty sessions and a name that does harm."""
    folder = full.full_records(tmp_path_factory.mktemp("crowded") / "records")
    return bpvet.fit_trend(bpvet.read(folder, as_of=full.AS_OF), full.ANIMAL)


def letter(trend: Trend, **given: str) -> Letter:
    return letter_of(trend, trend_answer(trend), "letter.csv", Wanted(**given))


def table(trend: Trend) -> list[dict[str, str]]:
    content = letter(trend).table.decode()
    return list(csv.DictReader(io.StringIO(content)))


def scenario(name: str, animal: str, as_of: str) -> Trend:
    return bpvet.fit_trend(bpvet.read(SCENARIOS / name, as_of=as_of), animal)


def test_every_statement_stands_once_and_none_is_lost(crowded: Trend, tolliver: Trend) -> None:
    for trend in (crowded, tolliver):
        answer = trend_answer(trend)
        words = letter_words(answer)
        summary = " ".join(text for _, text in words.summary)
        told = [*words.urgent, *words.kidney, *words.short, *words.behind]
        listed = ("signs.present", "signs.longstanding", "signs.unclear", "signs.unread")
        for one in answer.statements:
            if one.topic in ("usual", "target", "recheck"):
                assert one.text in summary
            elif one.key not in (*listed, "signs.note"):
                assert told.count(letter_text(one)) == 1, one.key
        assert len(words.short) == SHORT
        assert sorted(one.text for one in letter_statements(answer)) == sorted(answer.sentences)


def test_the_summary_stands_in_the_order_of_the_page(tolliver: Trend, marzipan: Trend) -> None:
    for trend in (tolliver, marzipan):
        labels = [label for label, _ in letter_words(trend_answer(trend)).summary]
        assert labels == ["Newest", "Usual", "At target?", "When again"]
    untreated = scenario("not_seen_for_a_year", "L22", "2026-11-02")
    labels = [label for label, _ in letter_words(trend_answer(untreated)).summary]
    assert labels == ["Newest", "Usual", "Raised?", "When again"]


def test_the_newest_value_bears_its_date_and_age(tolliver: Trend, marzipan: Trend) -> None:
    assert newest_words(trend_answer(tolliver)) == (
        "146 mmHg on 27 October 2026 (five days ago): mean of four readings (SD 6) by Doppler, in "
        "the clinic, awake. Noted: still falling: its mean reads high."
    )
    year = scenario("not_seen_for_a_year", "L22", "2026-11-02")
    assert "on 20 October 2025 (378 days ago)" in newest_words(trend_answer(year))
    assert age_words(np.datetime64("2026-05-04"), np.datetime64("2026-05-04")) == ""


def test_nothing_is_asked_of_a_colleague_that_only_the_keeper_can_do(crowded: Trend) -> None:
    told = letter_words(trend_answer(crowded))
    for text in (*told.urgent, *told.kidney, *told.short, *told.behind, *told.asked):
        for words in ("--", "bpvet", "write ", "Write ", "enter it", "observations"):
            assert words not in text
    home = Statement("context.home", "15 lower at home. Add --bridge.", outside="15 lower at home.")
    assert letter_text(home) == "15 lower at home."
    asking = [one for one in trend_answer(crowded).statements if one.outside]
    assert asking
    assert all(one.text.startswith(one.outside.rstrip(".")) for one in asking)


def test_of_drugs_those_that_are_given_stand_out(records: Records) -> None:
    answer = trend_answer(bpvet.fit_trend(records, "Mulligan"))
    words = letter_words(answer)
    assert any(text.startswith("Benazepril (3 December 2024 to") for text in words.behind)
    assert [text.split()[0] for text in words.short[:2]] == ["Amlodipine", "Telmisartan"]


def test_every_current_drug_with_its_dose_and_since_when(crowded: Trend) -> None:
    now, earlier = drug_lines(Source.of_trend(crowded))
    assert len(now) == len(full.DRUGS) == 12
    assert now[0] == (
        "amlodipine three quarters tablet, since 10 January 2026 (on it since 2 February 2025)"
    )
    for drug in full.DRUGS[1:]:
        assert any(text.startswith(f"{drug} ") and ", since " in text for text in now)
    assert earlier == (
        "amlodipine 1 mg, 2 February 2025 until its next row, of 10 January 2026",
        "gabapentin 1 capsule, 1 January 2025 to 1 February 2025",
    )


def test_a_dose_that_is_not_recorded_is_said_to_be(records: Records) -> None:
    now, _ = drug_lines(Source.of_trend(bpvet.fit_trend(records, "Pilchard")))
    assert now[1].startswith("renal diet (dose not recorded), since 17 December 2024")


def test_every_sign_stands_with_how_it_is_understood(crowded: Trend) -> None:
    answer = trend_answer(crowded)
    now, earlier = sign_lines(Source.of_trend(crowded), answer.signs)
    recent = next(text for text in now if text.startswith("5 August 2026: "))
    for sign in full.SIGNS:
        assert f"“{sign}”" in recent
    assert "“ataxia?” – ataxia: unclear" in recent
    assert "“snorf” – not understood" in recent
    old = next(text for text in now if text.startswith("5 January 2025: "))
    assert "“blind” – blindness: longstanding" in old
    assert "“seizure” – present" in old
    assert earlier == ("5 January 2025: “collapse” – resolved",)
    asked = " ".join(asked_lines(answer.signs))
    assert "“snorf”, an entry of 5 August 2026: not understood" in asked
    assert "“ataxia?”, an entry of 5 August 2026: not clear whether it is present." in asked
    assert "A note of 5 August 2026 says “owner: blind since yesterday?”" in asked


def test_a_sign_that_was_answered_since_says_so(tmp_path: Path) -> None:
    folder = hostile_records(tmp_path / "r")
    (folder / "observations.csv").write_text(
        "animal,seen_on,sign,status,note\n"
        f'"{HOSTILE_ID}",2026-02-10,seizure,,\n"{HOSTILE_ID}",2026-04-10,no seizure,,\n'
        f'"{HOSTILE_ID}",2026-02-11,blind,,\n"{HOSTILE_ID}",2026-04-10,eyes normal,,\n'
    )
    trend = bpvet.fit_trend(bpvet.read(folder, as_of="2026-06-01"), HOSTILE_ID)
    now = sign_lines(Source.of_trend(trend), trend_answer(trend).signs).now
    assert "10 February 2026: “seizure” – present, absent on 10 April 2026" in now
    blind = "“blind” – blindness: present, answered since by a normal examination"
    assert f"11 February 2026: {blind}" in now


def test_when_the_eyes_were_last_looked_at(marzipan: Trend, tolliver: Trend) -> None:
    assert eyes_line(Source.of_trend(marzipan)).startswith(
        "Last entry about them 29 October 2026 (three days ago): “retinal detachment” – present"
    )
    assert eyes_line(Source.of_trend(tolliver)).startswith("No examination recorded")


def test_laboratory_values_stand_with_their_course(tolliver: Trend, crowded: Trend) -> None:
    newest = labs_of(Source.of_trend(tolliver)).newest
    assert newest is not None
    assert newest.heads[:3] == ("Value", "Newest change", "2026-08-31")
    # As they stand in the example records.
    assert newest.rows[0][:5] == ("Creatinine, µmol/L", "+63 (+38 %)", "231", "168", "165")
    found = labs_of(Source.of_trend(crowded))
    assert found.newest is not None
    assert len(found.newest.heads) == DATES + 2
    assert found.others == ("Total T4, nmol/L: 31 on 2 February 2024",)
    assert found.aside == (
        '10 April 2026: Phosphate, mmol/L: no number, value: "plenty" is not a number.',
    )
    own = crowded.records.labs
    rows = [row for held in (found.newest, *found.earlier) for row in held.rows]
    for name, count in (("Creatinine, mg/dL", 12), ("Total T4, nmol/L", 1)):
        cells = [cell for row in rows if row[0] == name for cell in row[1:] if cell]
        changes = 1 if name.startswith("C") else 0
        assert len(cells) == count + changes
    assert int((own["set_aside"] == "").sum()) == 37


def test_two_values_of_one_day_stand_beside_each_other(tmp_path: Path) -> None:
    folder = hostile_records(tmp_path / "r")
    (folder / "labs.csv").write_text(
        "animal,sampled_on,analyte,value,unit\n"
        f'"{HOSTILE_ID}",2026-04-10,creatinine,180,umol/L\n'
        f'"{HOSTILE_ID}",2026-05-10,creatinine,190,umol/L\n'
        f'"{HOSTILE_ID}",2026-05-10,creatinine,240,umol/L\n'
        f'"{HOSTILE_ID}",2026-05-10,upc,< 0.1,\n'
    )
    trend = bpvet.fit_trend(bpvet.read(folder, as_of="2026-06-01"), HOSTILE_ID)
    newest = labs_of(Source.of_trend(trend)).newest
    assert newest is not None
    assert newest.rows[0][2:] == ("190, 240", "180")
    assert newest.rows[1] == ("UPC", "–", "at most 0.1", "")


def test_a_session_row_shows_every_reading_and_which_do_not_count(marzipan: Trend) -> None:
    # As they stand in the example records: 26 October 2026 went beyond the gauge, and the first
    # of five is left out.
    rows = {row.date: row for row in session_rows(Source.of_trend(marzipan))}
    assert rows["2026-10-26"].readings == "(>300) 282 >300 284 284"
    assert rows["2026-10-26"].mean.startswith("at least 288")
    assert rows["2026-10-26"].cells[1:5] == ("Doppler", "foreleg left", "2.6/–", "clinic")
    assert list(rows) == sorted(rows, reverse=True)


def test_every_session_stands_the_older_ones_in_a_line(tolliver: Trend, crowded: Trend) -> None:
    for trend, count in ((tolliver, 46), (crowded, 60)):
        source = Source.of_trend(trend)
        held = sessions_of(source)
        assert len(held.rows) == count == len(source.sessions)
        assert LEAST <= len(held.recent) <= MOST
        assert sorted(row.date for row in held.rows) == sorted(
            row.date for row in session_rows(source)
        )
    ways = [way for way, _ in sessions_of(Source.of_trend(tolliver)).older]
    assert "oscillometric, foreleg left, cuff 2.6 cm, clinic" in {
        way.partition(", limb")[0] for way in ways
    }


def test_a_session_newer_than_the_trend_is_told_above_it() -> None:
    trend = scenario("sedated_and_low", *_last("sedated_and_low"))
    (line,) = newer_lines(Source.of_trend(trend))
    assert line.startswith("A newer session, of ")
    assert "sedated" in line
    assert letter(trend).newer == (line,)


def _last(name: str) -> tuple[str, str]:
    import tomllib

    held = tomllib.loads((SCENARIOS / name / "expected.toml").read_text(encoding="utf-8"))
    return held["animal"], held["at"][-1]["as_of"]


def test_an_animal_without_a_session_has_a_letter() -> None:
    records = bpvet.read(SCENARIOS / "labs_without_pressure", as_of="2026-05-09")
    answer = unseen_answer(records, "N24", "there is none.")
    made = unseen_letter(records, answer, "letter.csv")
    assert made.figure is None
    assert made.words.urgent
    assert made.words.urgent[0].startswith("Urgent: A vet should see this animal today")
    assert [label for label, _ in made.words.summary] == ["Usual", "When again"]
    assert made.labs.newest is not None
    assert made.labs.newest.rows[0][:4] == ("Creatinine, µmol/L", "+108 (+78 %)", "246", "138")
    assert made.sessions.rows == ()
    kinds = {row["kind"] for row in csv.DictReader(io.StringIO(made.table.decode()))}
    assert {"identity", "answer", "treatment", "laboratory value", "caution"} <= kinds
    silent = bpvet.read(SCENARIOS / "no_sound_ever", as_of="2026-05-05")
    made = unseen_letter(silent, unseen_answer(silent, "Z33", "none."), "letter.csv")
    assert made.newer == (
        "The session of 4 May 2026 (Doppler, in the clinic, awake) read no number; it is in no "
        "trend.",
    )


def test_the_head_names_who_writes_to_whom_and_why(marzipan: Trend) -> None:
    source, answer = Source.of_trend(marzipan), trend_answer(marzipan)
    who = who_of(source, answer, "A hospital\n", " Can you see her? ")
    assert (who.to, who.question) == ("A hospital", "Can you see her?")
    assert who.clinic.startswith("Gull Slip")
    assert who.lines[0].startswith("Animal B04. Cat, domestic longhair, neutered female, born 2 ")
    assert who.foot(answer.as_of) == "Marzipan (animal B04), 1 November 2026"
    long = replace(who, name="x" * 61)
    assert long.foot(answer.as_of) == "Animal B04, 1 November 2026"
    assert replace(long, id="y" * 61).foot(answer.as_of).startswith("The animal named on page 1")


def test_cautions_and_what_it_rests_on(tolliver: Trend) -> None:
    made = letter(tolliver)
    assert made.cautions.startswith(licensed())
    assert made.cautions.count("†") == 1
    assert "of four or more readings the first taken does not count" in made.basis


def test_the_table_holds_every_session_and_reading(tolliver: Trend, records: Records) -> None:
    rows = table(tolliver)
    kinds = [row["kind"] for row in rows]
    own = records.readings
    assert kinds.count("session") == 46
    assert kinds.count("reading") == int((own["animal"] == "E02").sum())
    assert kinds.count("treatment") == 3
    assert kinds.count("answer") == len(trend_answer(tolliver).statements)
    drug = next(row for row in rows if row["kind"] == "treatment")
    assert (drug["name"], drug["value"]) == ("amlodipine", "three quarters of a tablet")
    newest = next(row for row in rows if row["kind"] == "session")
    assert (newest["date"], newest["used"], newest["taken"]) == ("2026-10-27", "4", "5")


def test_the_table_holds_no_formula(tmp_path: Path) -> None:
    records = bpvet.read(hostile_records(tmp_path / "r"), as_of="2026-06-01")
    rows = table(bpvet.fit_trend(records, HOSTILE_ID))
    assert next(row for row in rows if row["name"] == "name")["text"] == HOSTILE_NAME
    assert all(not cell.startswith(("=", "+", "-", "@")) for row in rows for cell in row.values())


def test_rows_set_aside_and_dated_later_are_told(tmp_path: Path) -> None:
    folder = hostile_records(tmp_path / "r")
    with (folder / "treatments.csv").open("a", encoding="utf-8") as file:
        file.write(f'"{HOSTILE_ID}",telmisartan,soon,,1,mg,,\n')
        file.write(f'"{HOSTILE_ID}",benazepril,2026-08-01,,1,mg,,\n')
    with (folder / "readings.csv").open("a", encoding="utf-8") as file:
        file.write(f'"{HOSTILE_ID}",2026-08-10T10:00,doppler,150,,,,,\n')
    made = letter(bpvet.fit_trend(bpvet.read(folder, as_of="2026-06-01"), HOSTILE_ID))
    aside = next(text for text in made.drugs.now if text.startswith("telmisartan"))
    assert "start not recorded" in aside
    assert "set aside: " in aside
    assert "1 August 2026, among the treatments: “benazepril”" in made.future
    assert "1 × dated after 1 June 2026" in made.apart


def test_a_laboratory_value_has_no_letter(records: Records) -> None:
    trend = bpvet.fit_trend(records, "Pilchard", quantity="creatinine")
    assert np.isfinite(trend.latest.mean)
    with pytest.raises(CallError, match="has none"):
        letter_of(trend, trend_answer(trend), "letter.csv")
