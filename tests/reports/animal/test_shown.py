"""What the cells show, without running a kernel."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import bpvet
from bpvet.answers.trend.result import TrendAnswer
from bpvet.models.trend.trend import Trend
from bpvet.records.records import Records
from bpvet.reports.animal import report
from bpvet.reports.markup import prose
from bpvet.wording.en.facts import AS_REMEMBERED
from bpvet.wording.en.phrases import day
from tests.reports.conftest import AS_OF


@pytest.fixture(scope="module")
def records(clinic: Path) -> Records:
    return bpvet.read(clinic, as_of=AS_OF)


@pytest.fixture(scope="module")
def trends(records: Records) -> dict[str, tuple[Trend, TrendAnswer]]:
    found = {}
    for animal in ("A17", "B04", "C22", "D15", "F19", "G03", "007", "M33"):
        trend = bpvet.fit_trend(records, animal)
        found[animal] = trend, trend.answer()
    return found


Trends = dict[str, tuple[Trend, TrendAnswer]]


def leads(html: str) -> list[str]:
    return re.findall(r'<dd class="lead">(.*?)</dd>', html)


def test_what_is_urgent_stands_before_all_answers(trends: Trends) -> None:
    trend, answer = trends["B04"]
    html = report.now(trend, answer).html
    assert answer.urgent
    assert html.index("<h1>") < html.index("<h2>Urgent</h2>") < html.index('class="now first"')
    assert prose(answer.urgent[0].text) in html


def test_nothing_urgent_makes_no_box(trends: Trends) -> None:
    assert "Urgent" not in report.now(*trends["G03"]).html


def test_the_head_says_whose_report_it_is(trends: Trends) -> None:
    text = repr(report.now(*trends["A17"]))
    for part in ("Pilchard", "A17", "Cat", "domestic shorthair", "Wrackmouth", "1 November 2026"):
        assert part in text
    assert "born 20 May 2012 (14 years)" in text


def test_the_cards_give_the_answers_numbers(trends: Trends) -> None:
    trend, answer = trends["A17"]
    found = leads(report.now(trend, answer).html)
    verdict = {"not settled": "Not settled", "at or below": "At target"}[str(answer.target.verdict)]
    newest, usual = answer.sessions[-1].mean, answer.latest.estimate
    assert found[:3] == [
        f"{newest:.0f}\N{NO-BREAK SPACE}mmHg",
        f"{usual:.0f}\N{NO-BREAK SPACE}mmHg",
        verdict,
    ]
    assert found[3].startswith("By ")
    assert len(found) == 4
    shown = repr(report.now(trend, answer))
    assert "19 days ago; on amlodipine 0.75 ml." in shown
    assert "likely at or below 160 mmHg, the guideline's." in shown


def test_under_the_figure_each_drug_has_a_line_and_the_kidneys_one(trends: Trends) -> None:
    text = repr(report.brief(*trends["A17"]))
    assert "Amlodipine: has lowered it Since 14 January 2025; full effect" in text
    assert "Kidneys: values rose after a change of drug" in text
    assert "If diagnosed, stage 2" in text
    assert len(re.findall("<p>", report.brief(*trends["A17"]).html)) == 3


def test_a_pressure_that_may_be_too_low_is_never_just_at_target(trends: Trends) -> None:
    trend, answer = trends["C22"]
    assert leads(report.now(trend, answer).html)[2] == "See “Urgent” first"
    calm = replace(
        answer, urgent=(), target=replace(answer.target, verdict="at or below", withheld=None)
    )
    assert leads(report.now(trend, calm).html)[2] == "At target, and low"


@pytest.mark.parametrize("animal", ["B04", "C22"])
def test_nothing_reassures_beside_an_urgent_line(trends: Trends, animal: str) -> None:
    trend, answer = trends[animal]
    assert any(one.withholds in ("all", "verdicts") for one in answer.urgent)
    text = repr(report.now(trend, answer)) + repr(report.brief(trend, answer))
    for words in ("At target,", "At target.", "At target:", "Below the raised", "has lowered"):
        assert words not in text


def test_an_untreated_animal_is_not_at_target(trends: Trends) -> None:
    text = repr(report.now(*trends["G03"])) + repr(report.brief(*trends["G03"]))
    assert "At target" not in text
    assert "Raised?" in text
    assert "Drugs: none on record" in text


def test_a_species_without_facts_stands_as_it_was_written(trends: Trends) -> None:
    trend, answer = trends["G03"]
    rabbit = replace(answer, species="", species_written="rabbit")
    assert "Rabbit" in repr(report.now(trend, rabbit))


def test_a_sighthound_is_told_apart(trends: Trends) -> None:
    shown = repr(report.now(*trends["D15"])) + repr(report.brief(*trends["D15"]))
    assert "greyhound is a sighthound" in shown


def test_an_animal_that_left_has_no_date(trends: Trends) -> None:
    found = report.now(*trends["F19"])
    assert "No date proposed" in leads(found.html)
    assert "Left the practice on 27 February 2026 (moved)." in repr(found)


def test_an_overdue_visit_is_said(trends: Trends) -> None:
    trend, answer = trends["A17"]
    again = replace(answer.recheck, latest=np.datetime64("2026-10-20"), overdue_days=12)
    html = report.now(trend, replace(answer, recheck=again)).html
    assert "Overdue since 20 October 2026" in leads(html)


@pytest.mark.parametrize("verdict", ["fall unlikely", "cannot tell yet", "cannot be known"])
def test_no_verdict_reads_as_a_reason_to_stop(trends: Trends, verdict: str) -> None:
    trend, answer = trends["A17"]
    spell = replace(answer.treatments[0], verdict=verdict, knowable=verdict != "cannot be known")
    said = repr(report.brief(trend, replace(answer, treatments=(spell,))))
    assert "Amlodipine: " in said
    assert "stop it" not in said
    assert "fall is unlikely" not in said


def test_every_sentence_is_among_the_answers(trends: Trends) -> None:
    for _, answer in trends.values():
        shown = report.answers(answer)
        for said in answer.sentences:
            if said.startswith("Urgent"):
                continue
            for part in re.split(r"(?<=[.]) (?=[A-Z])", said):
                assert prose(part) in shown.html
                assert part in repr(shown)


def test_the_table_of_numbers_holds_the_answers(trends: Trends) -> None:
    _, answer = trends["A17"]
    html = report.numbers(answer).html
    assert f">{answer.latest.estimate:.1f}<" in html
    effect = answer.treatments[0].effect
    assert f">{effect.estimate:.1f}<".replace("-", "−") in html
    assert "Rising at all" in html
    assert "Coefficient" in html or "coefficient" in html


def test_every_session_is_shown_newest_first_and_others_are_set_back(trends: Trends) -> None:
    trend, answer = trends["007"]
    html = report.sessions_table(trend, answer).html
    body = html[html.index("<tbody>") :]
    dates = re.findall(r'<th scope="row" class="day">([\d-]+)</th>', body)
    assert len(dates) == len(trend.context.sessions)
    assert dates == sorted(dates, reverse=True)
    outside = len(trend.context.sessions) - len(answer.sessions)
    assert body.count(' class="aside">') == outside > 0
    assert body.count('<tr id="session-') == len(dates)


def test_every_reading_is_shown_with_its_fate(records: Records, trends: Trends) -> None:
    for animal, (trend, _) in trends.items():
        html = report.readings_table(trend).html
        own = records.readings[records.readings["animal"] == animal]
        assert html[html.index("<tbody>") :].count("<tr>") == len(own)
    shown = report.readings_table(trends["C22"][0]).html
    assert "no sound" in shown
    assert "left out" in shown
    assert "at least" in report.readings_table(trends["B04"][0]).html


def test_a_dose_stands_as_it_was_written(trends: Trends) -> None:
    html = report.treatments(trends["A17"][0]).html
    assert ">0.75 ml<" in html
    assert "no stop recorded" in html
    assert "renal diet" in html


def test_signs_say_how_each_was_understood(trends: Trends) -> None:
    html = report.signs(trends["B04"][0]).html
    assert ">Understood as<" in html
    assert html.count(">present<") >= 6
    absent = report.signs(trends["A17"][0]).html
    assert ">retinal lesion: absent<" in absent or ">absent<" in absent


def test_rows_that_no_sentence_speaks_of_are_listed_with_the_reason(trends: Trends) -> None:
    _, answer = trends["A17"]
    shown = report.not_used(answer)
    assert answer.not_used
    assert f"Also on record, not used here ({len(answer.not_used)} rows)" in repr(shown)
    for one in answer.not_used:
        assert f"{one.text} ({day(one.date)})" in repr(shown)
        assert f"because {one.reason}: " in repr(shown)
    assert shown.html.startswith("<details>")
    assert 'class="printed"' in shown.html
    assert report.not_used(replace(answer, not_used=())).html == ""


def test_labs_keep_their_units(records: Records, trends: Trends) -> None:
    html = report.labs(trends["A17"][0]).html
    assert ">Creatinine, µmol/L<" in html
    assert ">SDMA, µg/dL<" in html
    assert (
        "Stages of the IRIS 2019 kidney guidance (cat): creatinine, µmol/L: stage 1 below" in html
    )
    assert "One value does not establish a stage." in html
    own = records.labs[records.labs["animal"] == "A17"]
    body = html[html.index("<tbody>") :]
    assert len(re.findall(r'<td class="number">[\d.]+</td>', body)) == len(own)
    assert report.labs(trends["G03"][0]).html == ""


def test_the_page_s_figure_shows_the_values_under_the_pressure(trends: Trends) -> None:
    shown = report.figure(*trends["A17"])
    assert "Phosphate: 10 values between 1.29 and 2.01" in shown.html
    about = repr(report.about_figure(*trends["A17"]))
    assert "values as recorded and not modelled: creatinine in µmol/L" in about
    lead = "Creatinine 211 µmol/L, stage 2 range, 13 October 2026, −7 (−3 %) since 14 July 2026"
    assert lead in shown.html


def test_no_rows_are_said_to_be_none(trends: Trends) -> None:
    trend = trends["G03"][0]
    assert repr(report.treatments(trend)) == "No treatment is recorded."
    assert repr(report.signs(trend)) == "No sign is recorded."


def test_what_is_remembered_is_said_so_among_the_sources(trends: Trends) -> None:
    text = repr(report.sources(trends["A17"][1]))
    assert "120 mmHg† (follow-up)" in text
    assert text.count(AS_REMEMBERED) == 1
    assert "Acierno MJ" in text
    assert "10.1111/jvim.15331" in report.sources(trends["A17"][1]).html


def test_priors_digest_and_version_are_said(trends: Trends) -> None:
    _, answer = trends["A17"]
    html = report.computed(answer).html
    assert answer.data_digest in html
    assert answer.version in html
    assert "Time constant of amlodipine" in html
    for said in answer.assumptions:
        assert prose(said) in html


def test_the_statement_comes_before_no_licence() -> None:
    text = repr(report.statement())
    assert "licensed veterinarian" in text
    assert "no drug and no dose" in text


def test_the_figure_holds_itself_twice_with_one_alternative_text(trends: Trends) -> None:
    shown = report.figure(*trends["A17"])
    assert shown.html.count("data:image/svg+xml;base64,") == 2
    assert shown.html.count(" alt=") == 1
    assert "<figcaption>" in shown.html
    assert repr(shown).startswith("Line chart")


@pytest.mark.parametrize(
    ("animal", "quantity", "unit"),
    [("L09", "heart_rate", "/min"), ("A17", "creatinine", "µmol/L"), ("A17", "weight", "kg")],
)
def test_other_quantities_say_what_is_judged_on_systolic_only(
    records: Records, animal: str, quantity: str, unit: str
) -> None:
    trend = bpvet.fit_trend(records, animal, quantity=quantity)
    answer = trend.answer()
    text = repr(report.now(trend, answer)) + repr(report.brief(trend, answer))
    assert "judged on systolic pressure only" in text
    assert "At target" not in text
    assert "When again" not in text
    assert unit in report.numbers(answer).html
    table = report.sessions_table(trend, answer).html
    assert table.count('<th scope="row" class="day">') >= len(answer.sessions)
    assert answer.change_unit in repr(report.numbers(answer))
    for shown in (report.sources(answer), report.computed(answer), report.answers(answer)):
        assert "nan" not in repr(shown)
