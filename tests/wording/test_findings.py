"""The words of the record check's findings: each under its code, in the module of its check."""

from __future__ import annotations

import importlib
from collections import Counter
from pathlib import Path

import pytest

from bpvet.records.finding_codes import Code
from bpvet.records.findings import Finding, Words, finding_of
from bpvet.records.formats.workbook.archive import looked_over
from bpvet.records.read import read
from bpvet.visits.treatments.courses import courses
from bpvet.wording.en import findings
from bpvet.wording.en.findings import all_checks
from bpvet.wording.en.findings.wording import Wording

#: Kinds that group several codes, and how many: a slip in one would make a group of its own.
_SHARED_KINDS = {
    "blank": 2,
    "blank rows": 4,
    "cannot be read": 5,
    "day or month first": 3,
    "dose in diary": 2,
    "empty": 3,
    "file not read": 3,
    "file too large": 2,
    "future date": 3,
    "impossible value": 6,
    "layout": 4,
    "no readings file": 3,
    "no rows": 2,
    "not JSON": 3,
    "not in mmHg": 3,
    "not text": 10,
    "one animal under two ids?": 2,
    "option before file": 4,
    "order of dates": 3,
    "order of pressures": 2,
    "perhaps a duplicate": 2,
    "species unknown": 3,
    "unusual value": 2,
    "workbook not read": 19,
}


def test_every_code_is_worded_in_the_module_of_its_check() -> None:
    folder = Path(findings.__file__).parent
    for path in sorted(folder.rglob("*.py")):
        check = ".".join(path.relative_to(folder).with_suffix("").parts)
        module = importlib.import_module(f"{findings.__name__}.{check}")
        if isinstance(found := vars(module).get("WORDS"), Wording):
            of_it = {code for code in Code if code.key.rpartition(".")[0] == check}
            assert found.by_code.keys() == of_it, check
            assert all(all_checks.wording_of(code) is found for code in of_it)


def test_keys_stay_apart_and_kinds_group_what_they_grouped() -> None:
    assert len({code.key for code in Code}) == len(Code)
    kinds = Counter(code.kind for code in Code)
    assert {kind: many for kind, many in kinds.items() if many > 1} == _SHARED_KINDS


def test_words_that_no_value_changes_are_whole_sentences() -> None:
    for code in Code:
        words = all_checks.wording_of(code).by_code[code]
        if isinstance(words, Words) and words.fix:
            assert words.reason.endswith("."), code
            assert words.fix.endswith("."), code


def test_nothing_is_decided_by_a_word(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "readings.csv"
    rows = [
        "A17,2026-01-02,doppler,999",
        "A17,2026-01-02,doppler,12x",
        "A17,2030-01-01,doppler,150",
    ]
    path.write_text("\n".join(["animal,taken_at,method,systolic", *rows]) + "\n")
    before = read(path, as_of="2026-03-01")
    facts = [(one.code, one.values, one.outcome, one.kind) for one in before.findings]
    aside = (before.readings["set_aside"] != "").tolist()
    monkeypatch.setattr(all_checks, "words_of", lambda _, each, __: [Words("ǩ", "ǩ") for _ in each])
    after = read(path, as_of="2026-03-01")
    assert {one.reason for one in after.findings} == {"ǩ"}
    assert [(one.code, one.values, one.outcome, one.kind) for one in after.findings] == facts
    assert (after.readings["set_aside"] != "").tolist() == aside == [True, True, True]


def test_findings_of_courses_and_of_damaged_workbooks_hold_codes_and_values(
    tmp_path: Path,
) -> None:
    readings = "animal,taken_at,method,systolic\nA17,2026-01-02,doppler,150\n"
    (tmp_path / "readings.csv").write_text(readings)
    rows = ["A17,amlodipine,2026-01-03,,", "A17,telmisartan,2026-01-03,1 mg,"]
    rows += ["A17,telmisartan,2026-01-20,2 ml,"]
    header = "animal,drug,started_on,dose,dose_unit"
    (tmp_path / "treatments.csv").write_text("\n".join([header, *rows]) + "\n")
    found = courses(read(tmp_path, as_of="2026-03-01"), "A17").findings
    assert [(one.code, one.values) for one in found] == [
        (
            Code.DOSE_UNIT_DIFFERS,
            (("dose", "2 ml"), ("before", "1 mg"), ("drug", "telmisartan")),
        ),
        (Code.NOT_TOLD_APART, (("drugs", ("amlodipine", "telmisartan")),)),
    ]
    damaged: list[Finding] = []
    assert looked_over("visits.xlsx", b"PK\3\4 and no more", damaged) is None
    assert [(one.code, one.stops, one.values) for one in damaged] == [
        (Code.ARCHIVE_DAMAGED, True, ())
    ]


def test_what_asks_nothing_is_known_by_the_words_and_not_by_their_text(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    space = finding_of(Code.WHITE_SPACE, "readings.csv", cells=2)
    stop = finding_of(Code.STOP_BEFORE_START, "treatments.csv", 2, started_on="2026-01-02")
    assert (space.words.asks, stop.words.asks) == (False, True)
    monkeypatch.setattr(all_checks, "IDLE", (stop.mend,))
    assert (space.words.asks, stop.words.asks) == (True, False)


def test_one_row_that_is_skipped_was() -> None:
    words = [finding_of(Code.NOTHING_UNDER_DATES, "r.csv", rows=n).reason for n in (1, 2)]
    assert words == [
        "One row has no reading under any date and was skipped.",
        "2 rows have no reading under any date and were skipped.",
    ]


def test_a_finding_prints_where_it_stands_and_both_sentences() -> None:
    found = finding_of(Code.STOP_BEFORE_START, "treatments.csv", 2, started_on="2026-01-02")
    assert found.to_dict()["reason"] == "The treatment stopped before it started on 2026-01-02."
    assert str(found).startswith("treatments.csv, line 2: The treatment stopped")
    assert (found.mend, found.kind, found.stops) == (
        "Correct one of the two dates.",
        "order of dates",
        False,
    )
