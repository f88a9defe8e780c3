"""Results write their own reports, of the records that they came from and of no others."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

import bpvet
from bpvet.errors import CallError
from tests.models.small_clinic import write_clinic
from tests.reports.made import write_audit

AS_OF = "2026-12-01"


@pytest.fixture(scope="module")
def clinic(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_clinic(tmp_path_factory.mktemp("clinic"))


@pytest.fixture(scope="module")
def records(clinic: Path) -> bpvet.Records:
    return bpvet.read(clinic, as_of=AS_OF)


def test_a_trend_is_reported_with_all_its_choices(
    clinic: Path, records: bpvet.Records, tmp_path: Path
) -> None:
    trend = bpvet.fit_trend(records, "K2", method="oscillometric", quantity="diastolic", rule="all")
    made = trend.report(tmp_path, clinic, guideline="isfm2017", level=0.9)
    asked = json.loads(made.parameters.read_text())
    chosen = ("animal", "method", "quantity", "rule", "guideline", "level", "as_of")
    wanted = ["K2", "oscillometric", "diastolic", "all", "isfm2017", 0.9, AS_OF]
    assert [asked[name] for name in chosen] == wanted
    assert made.answer == trend.answer(guideline="isfm2017", level=0.9)
    assert made.page.read_text().count("</html>") == 1


def test_an_audit_is_reported_as_the_command_does(
    clinic: Path, records: bpvet.Records, tmp_path: Path
) -> None:
    made = bpvet.audit(records, level=0.9).report(tmp_path / "method", clinic)
    other = write_audit(clinic, tmp_path / "written", as_of=AS_OF, level=0.9)
    assert made.answer == other.answer
    assert made.notebook.read_text() == other.notebook.read_text()
    # Again into the same folder: it is its own.
    assert bpvet.report(made.answer.audit, tmp_path / "method", clinic).page == made.page


def test_a_cohort_and_an_agreement(clinic: Path, records: bpvet.Records, tmp_path: Path) -> None:
    cohort = bpvet.clinic_cohort(records, pseudonyms=True)
    made = cohort.report(tmp_path, clinic, level=0.9)
    assert (made.answer.study, made.answer.level) == (cohort, 0.9)
    agree = bpvet.agreement(records, rule="all")
    assert agree.report(tmp_path, clinic, as_of=AS_OF, rule="all").answer.agreement == agree


def test_other_records_and_choices_are_refused(
    clinic: Path, records: bpvet.Records, tmp_path: Path
) -> None:
    out, other = tmp_path / "out", write_clinic(tmp_path / "other", method="doppler")
    audit, agree = bpvet.audit(records), bpvet.agreement(records, rule="all")
    with pytest.raises(CallError, match="does not hold the records"):
        audit.report(out, other)
    with pytest.raises(CallError, match="of another result"):
        agree.report(out, clinic, as_of=AS_OF)
    with pytest.raises(CallError, match="of another result"):
        bpvet.clinic_cohort(records, pseudonyms=True).report(out, other)
    held = bpvet.fit_trend(records, "K1", fixed={"sv": 9.0, "sr": 6.0, "sw": 4.0})
    with pytest.raises(CallError, match="held fixed"):
        held.report(out, clinic)
    with pytest.raises(CallError, match="no report of Plan"):
        bpvet.report(bpvet.plan(bpvet.Priors.default("cat", "doppler")), out, clinic)
    assert not out.exists()


def test_the_list_is_never_written_over_the_records(
    clinic: Path, records: bpvet.Records, tmp_path: Path
) -> None:
    pages = bpvet.due(records).report(tmp_path, clinic)
    assert [one.name for one in pages] == ["due.html", "due.csv", "due.ics"]
    pages[0].write_text("somebody's own")
    with pytest.raises(CallError, match="not written by"):
        bpvet.due(records).report(tmp_path, clinic)
    assert bpvet.due(records).report(tmp_path, clinic, force=True) == pages


def test_pages_for_paper(records: bpvet.Records, tmp_path: Path) -> None:
    made = [
        bpvet.sheet(records, "K1").report(tmp_path),
        bpvet.owner(records, "K1").report(tmp_path, paper="letter"),
        bpvet.letter(records, "K1", tmp_path, to="Dr. Ada Brun", question="Is it the drug?"),
    ]
    assert [one.name for one in made] == ["sheet-K1.html", "owner-K1.html", "letter-K1.html"]
    assert "215.9mm" in made[1].read_text()
    letter = made[2].read_text()
    assert "Dr. Ada Brun" in letter
    assert "Is it the drug?" in letter
    assert (tmp_path / "letter-K1.csv").is_file()
    assert bpvet.letter(records, "K1", tmp_path) == made[2]
    made[2].unlink()
    with pytest.raises(CallError, match=r"letter-K1\.csv is there"):
        bpvet.letter(records, "K1", tmp_path)
    with pytest.raises(CallError, match="paper is a4 or letter"):
        bpvet.sheet(records, "K1").report(tmp_path, paper="a5")


def test_a_letter_without_a_session_says_so(tmp_path: Path) -> None:
    folder = Path(__file__).parents[1] / "scenarios" / "signs_without_pressure"
    records = bpvet.read(folder, as_of=AS_OF)
    animal = str(records.animals["animal"].iloc[0])
    assert "</html>" in bpvet.letter(records, animal, tmp_path).read_text()
