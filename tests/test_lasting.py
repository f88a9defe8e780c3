"""What is returned lasts: it pickles, copies, equals what it was, and prints in a screen."""

from __future__ import annotations

import copy
import pickle
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace

import numpy as np
import pandas as pd
import pytest

import bpvet
from bpvet.answers.agreement.agreement import agreement_answer
from bpvet.answers.audit.audit import audit_answer
from bpvet.answers.plan.plan import plan_answer
from bpvet.answers.room.result import RoomReading
from bpvet.answers.room.room import room_answer
from bpvet.equality import Content, same
from bpvet.errors import FitError
from bpvet.maths.estimate import Estimate
from bpvet.mixed.executors import Workers
from bpvet.models.agreement.situation import situations
from bpvet.models.trend.ranks import rank_trend
from bpvet.models.trend.trends import Trends
from bpvet.models.trend.variability import variability
from bpvet.printing import ShortTable, brief, clipped
from tests.mixed import cohort_data
from tests.models.agreement.test_situation import clinic
from tests.models.kidney_records import creatinine, with_labs
from tests.models.small_clinic import write_clinic

#: Names that are no results: functions, whose results stand below under a name of their own.
ERRORS = ("BpvetError", "CallError", "FitError", "FormulaError", "RecordsError")
RESULTS = {
    "agreement": "Agreement",
    "audit": "Audit",
    "clinic_cohort": "ClinicCohort",
    "cohort_answer": "CohortAnswer",
    "fhir_bundle": "FhirBundle",
    "fit_cohort": "Cohort",
    "fit_joint": "Joint",
    "fit_trend": "Trend",
    "fit_trends": "Trends",
    "due": "Due",
    "due_in_parts": "list over parts",
    "fit_trends_in_parts": "trends of a part",
    "kidney": "Kidney",
    "learn_priors": "PriorTable",
    "letter": "letter",
    "over_time": "OverTime",
    "owner": "OwnerAnswer",
    "plan": "Plan",
    "read": "Records",
    "readings_used": "readings used",
    "report": "report",
    "sessions": "sessions",
    "sheet": "SheetAnswer",
    "signs": "signs",
    "situation": "Situation",
    "trend_answer": "TrendAnswer",
    "variability": "Variability",
}


def _joint():
    values = creatinine([150, 162, 171, 168, 190])
    return bpvet.fit_joint(with_labs(values), "A1")


def _all_of_them(folder) -> dict[str, object]:
    folder, out = write_clinic(folder / "clinic"), folder / "out"
    records = bpvet.read(folder, as_of="2026-12-01")
    trend = bpvet.fit_trend(records, "K1")
    cat = bpvet.Priors.default("cat", "doppler")
    table = bpvet.PriorTable({("cat", "doppler", "systolic"): cat}, "ours")
    agree, audit = bpvet.agreement(records), bpvet.audit(records)
    cohort = bpvet.clinic_cohort(records)
    plan = bpvet.plan(cat)
    study = plan.study(20.0, animals=5)
    sessions = cohort_data.as_sessions(cohort_data.readings(1))
    room = [RoomReading(systolic=float(value)) for value in (170, 158, 160)]
    return {
        "Records": records,
        "Finding": records.findings[0],
        "findings": records.findings,
        "Trend": trend,
        "bridged": bpvet.fit_trend(records, "K1", bridge=["methods"]),
        "Series": trend.series,
        "Course": trend.series.courses[0],
        "Mixture": trend.latest,
        "mixture of dates": trend.at(["2026-01-01", "2026-02-01"]),
        "courses": trend.courses,
        "treatments": trend.treatments,
        "Variability": trend.answer().variability,
        "TrendAnswer": trend.answer(),
        "Trends": bpvet.fit_trends(records),
        "Joint": _joint(),
        "Due": bpvet.due(records),
        "list over parts": bpvet.due_in_parts([folder], as_of="2026-12-01"),
        "trends of a part": bpvet.fit_trends_in_parts([folder], as_of="2026-12-01")[0],
        "Kidney": bpvet.kidney(records, "K1"),
        "OwnerAnswer": bpvet.owner(records, "K1"),
        "SheetAnswer": bpvet.sheet(records, "K1"),
        "Priors": cat,
        "PriorTable": table,
        "OverTime": bpvet.over_time(records),
        "Plan": plan,
        "Study": study,
        "plan answer": plan_answer(plan, "cat", "doppler", study=study),
        "Cohort": bpvet.fit_cohort(sessions, "systolic ~ months * method", slope="months"),
        "splines": bpvet.fit_cohort(sessions, "systolic ~ bs(months, df=4) + C(treated)"),
        "Agreement": agree,
        "AgreementAnswer": agreement_answer(agree),
        "Audit": audit,
        "AuditAnswer": audit_answer(audit),
        "ClinicCohort": cohort,
        "CohortAnswer": bpvet.cohort_answer(cohort),
        "FhirBundle": bpvet.fhir_bundle(records),
        "Situation": bpvet.situation(clinic()),
        "situations": situations(clinic()),
        "room answer": room_answer(room, "doppler"),
        "ranks": rank_trend(range(12), range(12)),
        "sessions": bpvet.sessions(records),
        "signs": bpvet.signs(records),
        "readings used": bpvet.readings_used(records),
        "letter": bpvet.letter(records, "K1", out),
        "report": bpvet.report(audit, out, folder),
    }


@pytest.fixture(scope="session")
def made(tmp_path_factory):
    return _all_of_them(tmp_path_factory.mktemp("lasting"))


def _equal(one: object, other: object) -> bool:
    if isinstance(one, pd.DataFrame):
        return one.equals(other)
    return bool(one == other)


def test_every_public_name_is_here(made):
    functions = {name for name in bpvet.__all__ if name in RESULTS}
    classes = {name for name in bpvet.__all__ if name in made}
    assert {*functions, *classes, *ERRORS, "__version__"} == set(bpvet.__all__)
    assert set(RESULTS.values()) <= set(made)


def _touched(made: Mapping[str, object]) -> None:
    """Ask for what is worked out when it is asked for: it travels along."""
    for one in made.values():
        repr(one)
        for name in ("to_dict", "_repr_html_"):
            if hasattr(one, name) and not isinstance(one, pd.DataFrame):
                getattr(one, name)()


@pytest.mark.parametrize("touched", [False, True])
def test_pickles_and_copies_are_equal(made, touched):
    if touched:
        _touched(made)
    for name, one in made.items():
        copies = {
            f"protocol {protocol}": pickle.loads(pickle.dumps(one, protocol))
            for protocol in (2, pickle.HIGHEST_PROTOCOL)
        }
        copies |= {"copy": copy.copy(one), "deepcopy": copy.deepcopy(one)}
        for way, other in copies.items():
            assert type(other) is type(one), (name, way)
            assert _equal(one, other), (name, way)
            assert repr(other) == repr(one), (name, way)


def test_equal_in_another_process(made, tmp_path):
    held = {name: one for name, one in made.items() if not isinstance(one, pd.DataFrame)}
    there, back = tmp_path / "there", tmp_path / "back"
    there.write_bytes(pickle.dumps(held))
    code = (
        "import pickle, sys; held = pickle.load(open(sys.argv[1], 'rb'));"
        "pickle.dump(held, open(sys.argv[2], 'wb'))"
    )
    subprocess.run([sys.executable, "-c", code, there, back], check=True, timeout=300)
    again = pickle.loads(back.read_bytes())
    for name, one in held.items():
        assert again[name] == one, name


def test_cloudpickle_takes_them_too(made):
    cloudpickle = pytest.importorskip("cloudpickle")
    for name, one in made.items():
        assert _equal(cloudpickle.loads(cloudpickle.dumps(one)), one), name


def test_equal_results_have_one_hash(made):
    for name, one in made.items():
        if getattr(type(one), "__hash__", None) is None or name in ("Priors", "PriorTable"):
            continue
        assert hash(copy.deepcopy(one)) == hash(one), name


def test_what_differs_is_not_equal(made):
    trend, fit = made["Trend"], made["Cohort"]
    changed = {
        "Trend": bpvet.fit_trend(trend.records, "K2"),
        "Series": replace(trend.series, y=trend.series.y + 1e-9),
        "Mixture": bpvet.Mixture(trend.latest.weights, trend.latest.means + 1e-9, trend.latest.sds),
        "Course": replace(trend.series.courses[0], drug="another"),
        "TrendAnswer": trend.answer(level=0.9),
        "Cohort": fit.by_maximum_likelihood(),
        "splines": fit,
        "Records": trend.records.speaking_on("2026-11-30"),
        "Plan": bpvet.plan(trend.priors, readings=6),
        "Agreement": bpvet.agreement(trend.records, level=0.9),
        "Audit": bpvet.audit(trend.records, rule="all"),
        "Situation": bpvet.situation(clinic(effect=-10)),
        "ClinicCohort": bpvet.clinic_cohort(trend.records, pseudonyms=True),
        "FhirBundle": bpvet.fhir_bundle(trend.records, rule="all"),
        "Trends": Trends(list(made["Trends"].items())[1:]),
    }
    for name, other in changed.items():
        assert made[name] != other, name
        assert made[name] != 3
        assert made[name] is not None


def test_a_copied_fit_answers_as_before(made):
    fit, again = made["splines"], pickle.loads(pickle.dumps(made["splines"]))
    new = pd.DataFrame({"months": [2.0, 9.0], "treated": [True, False]})
    pd.testing.assert_frame_equal(again.predict(new), fit.predict(new))
    pd.testing.assert_frame_equal(
        again.by_maximum_likelihood().fixed, fit.by_maximum_likelihood().fixed
    )
    assert again.compare(fit.by_maximum_likelihood()) is not None if not fit.reml else True
    trend = pickle.loads(pickle.dumps(made["Trend"]))
    assert trend.at("2026-03-03").mean == made["Trend"].at("2026-03-03").mean
    assert not trend.latest.means.flags.writeable


def test_a_fit_in_parts_comes_home_when_it_is_copied():
    frame = cohort_data.readings(2)
    animals = frame["animal"].unique()
    parts = [frame[frame["animal"].isin(some)] for some in np.array_split(animals, 3)]
    with Workers(2) as crew:
        fit = bpvet.fit_cohort(parts, "systolic ~ months", map=crew)
        again = pickle.loads(pickle.dumps(fit))
        assert again == fit
    pd.testing.assert_frame_equal(
        again.by_maximum_likelihood().fixed,
        bpvet.fit_cohort(parts, "systolic ~ months", reml=False).fixed,
        rtol=1e-6,
    )
    with pytest.raises(FitError, match="while they are there"):
        pickle.dumps(fit)


@pytest.mark.parametrize("name", ERRORS)
def test_errors_travel(name, made):
    kind = getattr(bpvet, name)
    more = {"RecordsError": [(made["Finding"],)], "FitError": [made["Cohort"].outcome]}
    one = kind("what is wrong", *more.get(name, []))
    for again in (pickle.loads(pickle.dumps(one)), copy.copy(one), copy.deepcopy(one)):
        assert type(again) is kind
        assert str(again) == "what is wrong"
        assert same(vars(again), vars(one))


def test_content_prints_as_a_dataclass_does():
    printed = []
    for own in (True, False):

        @dataclass(frozen=True, eq=False, repr=own)
        class Shown(Content):
            text: str
            number: float | None = None
            hidden: int = field(default=1, repr=False)

        printed.append(repr(Shown("a", 2.5)))
    assert printed[0] == printed[1]
    assert printed[0].endswith("Shown(text='a', number=2.5)")


def test_no_repr_fills_more_than_a_screen(made):
    for name, one in made.items():
        if isinstance(one, pd.DataFrame):
            continue
        text = repr(one)
        assert len(text.splitlines()) <= 40, name
        assert len(text) <= 4000, name


def test_answers_print_numbers_and_no_prose(made):
    for name in ("TrendAnswer", "CohortAnswer", "AgreementAnswer", "AuditAnswer"):
        one = made[name]
        text = repr(one)
        assert text.startswith(f"{name}(")
        assert text.endswith(")")
        assert max(map(len, text.splitlines())) <= 100
        for sentence in (*one.sentences, *one.cautions):
            assert sentence not in text
        for part in (each.name for each in fields(one)):
            assert f"{part}=" in text
    latest = made["TrendAnswer"].latest
    assert f"estimate={latest.estimate:.5g}" in repr(made["TrendAnswer"])


def test_long_results_are_cut_and_counted():
    rng = np.random.default_rng(1)
    many = [f"A{i:03d}" for i in range(90)]
    frame = pd.DataFrame({"animal": many, "taken_at": "2026-03-01", "method": "doppler"})
    frame = frame.assign(systolic=rng.integers(120, 190, 90), cuff="x")
    frame["systolic"] = frame["systolic"].astype(object)
    frame.loc[:69, "systolic"] = "high"
    records = bpvet.Records.from_frames(frame, as_of="2026-04-01")
    assert len(records.findings) > 60
    assert len(repr(records.findings).splitlines()) <= 40
    assert repr(records.findings).endswith("more findings")
    table = ShortTable("t", ("a",), tuple((str(i),) for i in range(90)), ("a note", "another"))
    lines = table.brief().splitlines()
    assert len(lines) == 40
    assert lines[-3:] == ["… and 56 more rows", "a note", "another"]
    cat = bpvet.Priors.default("cat", "doppler")
    assert len(repr(bpvet.PriorTable({("cat", "doppler", "systolic"): cat})).splitlines()) == 4
    assert repr(Trends()).startswith("0 trends")


def test_a_mixture_of_many_dates_is_short(made):
    dates = pd.date_range("2026-01-01", periods=200).strftime("%Y-%m-%d").tolist()
    assert len(repr(made["Trend"].at(dates)).splitlines()) <= 40


def test_trends_are_a_mapping(made):
    trends = made["Trends"]
    assert isinstance(trends, Mapping)
    assert not isinstance(trends, dict)
    key, trend = next(iter(trends.items()))
    assert trends[key] is trend
    assert key in trends
    assert ("nobody", *key[1:]) not in trends
    assert trends.get(("nobody", *key[1:])) is None
    assert list(trends.keys()) == list(trends)
    assert repr(trends).splitlines()[0] == f"{len(trends)} trends"
    assert dict(trends) == trends
    many = Trends(((str(i), *key[1:]), one) for i in range(9) for key, one in trends.items())
    assert len(repr(many).splitlines()) == 34
    assert repr(many).endswith(f"… and {len(many) - 30} more")
    assert list(trends) == sorted(trends)


def test_an_interval_is_never_cut_in_two():
    for level in (1.0, 12.25, 123456.0, -98765.4321):
        part = Estimate(level, level - 1, level + 1, 1.0)
        for pad in range(40, 90):
            text = brief("Wide", [("x" * pad, part)])
            assert ("lower=" in text) == ("upper=" in text)


def test_brief_keeps_to_its_lines():
    text = brief("Wide", [(f"field_{i}", "x" * 40) for i in range(900)])
    assert len(text.splitlines()) == 40
    assert clipped("a\nb\nc", 2) == "a\n… and 2 more lines"
    assert clipped("a\nb", 2) == "a\nb"


class _Odd(Content):
    def __init__(self, *held):
        self.held = held

    def _content(self):
        return self.held


@pytest.mark.parametrize(
    ("one", "other", "equal"),
    [
        (np.array([1.0, np.nan]), np.array([1.0, np.nan]), True),
        (np.array([1.0, 2.0]), np.array([1.0, 2.0, 3.0]), False),
        (np.array([1.0, 2.0]), np.array([1, 2]), False),
        (np.array(["NaT"], "M8[D]"), np.array(["NaT"], "M8[D]"), True),
        (np.datetime64("NaT"), np.datetime64("NaT"), True),
        (np.array(["a", None, np.nan], object), np.array(["a", None, np.nan], object), True),
        (pd.DataFrame({"a": [None]}), pd.DataFrame({"a": [None]}), True),
        (pd.DataFrame({"a": [1]}), pd.DataFrame({"b": [1]}), False),
        ({"a": np.zeros(2)}, {"a": np.zeros(2)}, True),
        ({"a": np.zeros(2)}, {"b": np.zeros(2)}, False),
        ((1, [2.0]), (1, [2.0]), True),
        (float("nan"), float("nan"), True),
        (variability([0, 30, 60], [1, 2, 3], [3, 3, 3]),) * 2 + (True,),
    ],
)
def test_same(one, other, equal):
    assert same(one, other) == equal
    assert (_Odd(one) == _Odd(other)) == equal
    if equal:
        assert hash(_Odd(one)) == hash(_Odd(other))
