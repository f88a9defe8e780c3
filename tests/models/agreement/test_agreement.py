"""Agreement of two methods: published examples, choices stated, and what cannot be known."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from bpvet.errors import CallError, RecordsError
from bpvet.facts.priors.priors import Priors
from bpvet.models.agreement.agreement import Agreement, agreement
from bpvet.models.trend.fit import fit_trend
from bpvet.records.records import Records

REFERENCE = Path(__file__).parents[3] / "reference_checks" / "agreement"


def plain_frame(seed: int = 0, animals: int = 12, replicates: int = 3) -> pd.DataFrame:
    """Return three readings by each of two methods; B reads 6 higher."""
    rng = np.random.default_rng(seed)
    rows = []
    for i in range(animals):
        level = rng.normal(150, 20)
        for name, add in (("A", 0), ("B", 6)):
            own = rng.normal(0, 6)
            for r in range(replicates):
                rows.append((f"cat {i}", name, r + 1, level + add + own + rng.normal(0, 5)))
    return pd.DataFrame(rows, columns=["animal", "method", "replicate", "y"])


def clinic(visits: int = 3, animals: int = 5, seed: int = 1, **more: Any) -> Records:
    """Return a clinic whose oscillometer reads 4 higher."""
    rng = np.random.default_rng(seed)
    rows = []
    for i in range(animals):
        level = rng.normal(150, 20)
        for visit in range(visits):
            today = level + rng.normal(0, 8)
            for name, add in (("doppler", 0.0), ("oscillometric", 4.0)):
                mean = today + add + rng.normal(0, 5)
                for _ in range(4):
                    value = round(mean + rng.normal(0, 6))
                    date = f"2026-0{visit + 1}-1{i}"
                    rows.append({"animal": f"A{i}", "taken_at": date, "method": name} | more)
                    rows[-1]["systolic"] = value
    animals_frame = pd.DataFrame({"animal": [f"A{i}" for i in range(animals)], "species": "cat"})
    return Records.from_frames(pd.DataFrame(rows), animals=animals_frame, as_of="2026-12-31")


def test_differences_are_second_minus_first() -> None:
    frame = plain_frame()
    there = agreement(frame, "y", replicate="replicate", methods=("A", "B"))
    back = agreement(frame, "y", replicate="replicate", methods=("B", "A"))
    assert there.bias.estimate is not None
    assert 0 < there.bias.estimate < 12
    assert back.bias.estimate == pytest.approx(-there.bias.estimate)
    assert back.lower.estimate == pytest.approx(-(there.upper.estimate or 0))
    assert back.repeatability["A"].estimate == pytest.approx(there.repeatability["A"].estimate)


def test_balanced_replicates_equal_the_sums_of_the_paper() -> None:
    agree = agreement(plain_frame(), "y", replicate="replicate")
    assert not agree.fit.at_zero  # type: ignore[union-attr]
    assert agree.by_sums == pytest.approx(
        (agree.bias.estimate, agree.lower.estimate, agree.upper.estimate), abs=1e-6
    )
    assert agree.bias.how == "exact"
    assert agree.lower.how.startswith("approximate")
    assert agree.limits(intervals="better")[0].how == "approximate (MOVER)"


def test_linked_pairs_have_the_sums_that_r_gives() -> None:
    frame = pd.read_csv(REFERENCE / "pairs.csv", dtype={"subject": str})
    theirs = json.loads((REFERENCE / "unequal.json").read_text())["pairs"]["sums_O_minus_D"]
    columns = {"animal": "subject", "replicate": "replicate"}
    agree = agreement(frame, "y", **columns, methods=("D", "O"), linked=True)
    assert agree.by_sums == pytest.approx(
        [theirs[name] for name in ("bias_mean_of_all_pairs", "lower_limit", "upper_limit")]
    )


def visits_by_one_method() -> pd.DataFrame:
    """Return plain data of which one animal was seen once more, by the first method alone."""
    frame = plain_frame().assign(day=1)
    once_more = frame[(frame.animal == "cat 0") & (frame.method == "A")].assign(day=2)
    return pd.concat([frame, once_more])


def test_the_sums_of_the_paper_are_not_given_where_they_do_not_hold() -> None:
    """Of one reading by each method, of several visits, and of means without their readings."""
    dates = {"animal": ["A0", "A0", "A1", "A1", "A2", "A2"], "taken_at": "2026-01-10"}
    means = {"systolic_mean": [140, 146, 170, 171, 155, 163], "systolic_n": 4, "systolic_sd": 5.0}
    methods = {"method": ["doppler", "oscillometric"] * 3}
    listed = Records.from_frames(pd.DataFrame(dates | methods | means), as_of="2026-12-31")
    once_more = agreement(visits_by_one_method(), "y", visit="day")
    # Nothing tells visits apart here, yet an animal has three cells.
    assert once_more.fit is not None
    assert "visit" not in once_more.fit.terms
    for agree in (
        agreement(plain_frame(replicates=1), "y"),
        agreement(clinic()),
        agreement(listed),
        once_more,
    ):
        assert agree.by_sums is None


def test_with_a_reading_less_the_t_of_the_bias_is_no_longer_exact() -> None:
    """Student's t is exact where each animal has as many readings as the others, and not beyond."""
    frame = plain_frame()
    less = frame.drop(frame.index[-1])
    agree = agreement(less, "y", replicate="replicate")
    assert agree.bias.how.startswith("approximate")


def test_single_readings_are_plain_differences() -> None:
    frame = plain_frame(replicates=1)
    agree = agreement(frame, "y")
    d = frame[frame.method == "B"]["y"].to_numpy() - frame[frame.method == "A"]["y"].to_numpy()
    assert agree.fit is None
    assert agree.bias.estimate == pytest.approx(d.mean())
    assert agree.upper.estimate == pytest.approx(d.mean() + 1.96 * d.std(ddof=1))
    assert agree.limits(intervals="better")[1].how == "exact"
    shown = [agree.to_dict()[name] for name in ("lower_better", "upper_better")]
    assert shown == [one.to_dict() for one in agree.limits(intervals="better")]
    assert shown[0] != shown[1]
    assert agree.repeatability["A"].estimate is None
    assert agree.repeatability["A"].reason
    with pytest.raises(CallError, match="repeated"):
        agree.limits(readings=3)
    with pytest.raises(CallError, match="repeated"):
        agree.deming("estimated")


def test_linked_is_a_stated_choice() -> None:
    frame = plain_frame()
    unlinked = agreement(frame, "y", replicate="replicate")
    linked = agreement(frame, "y", replicate="replicate", linked=True)
    assert any("unlinked" in note for note in unlinked.notes)
    assert any("are linked" in note for note in linked.notes)
    assert linked.data.first.size == 36
    assert linked.fit is not None
    assert "pair" in linked.fit.terms
    with pytest.raises(CallError, match="replicate="):
        agreement(frame, "y", linked=True)


def test_means_of_more_readings_agree_better() -> None:
    agree = agreement(plain_frame(), "y", replicate="replicate")
    one, five = agree.limits(), agree.limits(readings=5)
    assert agree.fit is not None
    variance, _ = agree.fit.sum_of({"animal × first": 1.0, "animal × second": 1.0})
    reading, _ = agree.fit.sum_of({"reading by first": 1.0, "reading by second": 1.0})
    width = 2 * 1.96 * np.sqrt(variance + reading / 5)
    assert (five[1].estimate or 0) - (five[0].estimate or 0) == pytest.approx(width)
    assert (five[1].estimate or 0) < (one[1].estimate or 0)
    with pytest.raises(CallError, match="one reading or more"):
        agree.limits(readings=0)
    with pytest.raises(CallError, match="intervals="):
        agree.limits(intervals="best")


def test_shifts_and_names_change_nothing() -> None:
    frame = plain_frame()
    here = agreement(frame, "y", replicate="replicate")
    moved = frame.assign(y=frame["y"] + 30, animal="x" + frame["animal"])
    moved = moved.sample(frac=1, random_state=3)
    there = agreement(moved, "y", replicate="replicate")
    assert there.upper.estimate == pytest.approx(here.upper.estimate, abs=1e-6)
    assert there.concordance.estimate == pytest.approx(here.concordance.estimate, abs=1e-8)
    slope = here.passing_bablok().slope.estimate
    assert there.passing_bablok().slope.estimate == pytest.approx(slope)


def test_records_give_paired_visits() -> None:
    agree = agreement(clinic())
    assert agree.methods == ("doppler", "oscillometric")
    assert agree.data.first.size == 15
    assert agree.data.labels == ("Doppler", "oscillometric")
    assert agree.bias.lower is not None
    assert agree.bias.upper is not None
    assert agree.bias.lower < 4 < agree.bias.upper
    assert agree.offset.s_d_is == "estimated"
    assert agree.offset.prior()[0] == agree.bias.estimate
    share = agree.offset.shared_visit_share
    assert share.estimate is None or 0 <= share.estimate <= 1
    by_visit = agreement(clinic(visits=1))
    assert by_visit.offset.s_d_is == "at most"
    assert by_visit.offset.shared_visit_share.estimate is None
    assert by_visit.offset.reason


def test_the_offset_is_what_the_components_say() -> None:
    agree = agreement(clinic(animals=8, visits=4))
    fit = agree.fit
    assert fit is not None
    visit = [fit.of("visit") + fit.of(f"visit × {name}") for name in ("first", "second")]
    expected = fit.of("visit") / np.sqrt(visit[0] * visit[1])
    share = agree.offset.shared_visit_share
    assert share.estimate == pytest.approx(expected)
    assert share.lower is not None
    assert share.upper is not None
    assert 0 <= share.lower < expected < share.upper < 1
    own = fit.of("animal × first") + fit.of("animal × second")
    assert agree.offset.s_d.estimate == pytest.approx(np.sqrt(own))
    assert agree.offset.sd_of_new == pytest.approx(np.hypot(np.sqrt(own), agree.offset.d0_se))


def test_criteria_item_by_item() -> None:
    agree = agreement(plain_frame(animals=30), "y", replicate="replicate")
    found = {one.key: one for one in agree.criteria}
    keys = ["bias", "sd", "r", "within10", "within20", "n.direct", "n.indirect", "published"]
    assert list(found) == keys
    assert found["bias"].verdict == "met"
    assert found["n.direct"].verdict == "not assessable"
    assert found["n.direct"].reason == "neither method is the reference"
    assert found["published"].verdict == "not assessable"
    direct = agreement(plain_frame(animals=30), "y", replicate="replicate", reference="direct")
    held = {one.key: one for one in direct.criteria}
    assert held["n.direct"].verdict == "met"
    assert held["n.indirect"].verdict == "not assessable"
    far = plain_frame(animals=30)
    far.loc[far["method"] == "B", "y"] += 30
    bias = agreement(far, "y", replicate="replicate").criteria[0]
    assert (bias.verdict, bias.settled) == ("not met", True)
    assert agreement(far, "y", replicate="replicate", unit="l/min").criteria == ()


def test_shares_are_counted() -> None:
    agree = agreement(plain_frame(replicates=1), "y")
    count = int(np.sum(np.abs(agree.data.difference) <= 10))
    assert agree.within[10].count == count
    assert agree.within[10].observed.estimate == pytest.approx(count / 12)
    near, far = (agree.within[reach].single for reach in (10, 20))
    assert near.lower is not None
    assert near.upper is not None
    assert near.lower < (near.estimate or 0) < near.upper
    assert (far.estimate or 0) > (near.estimate or 0)


def test_methods_that_hardly_differ_have_an_interval_of_their_share_too() -> None:
    frame = plain_frame()
    single = agreement(frame.assign(y=frame.y / 20), "y", replicate="replicate").within[10].single
    assert single.estimate == pytest.approx(1, abs=1e-6)
    assert single.lower == pytest.approx(1, abs=1e-3)


@pytest.mark.parametrize(("visit", "points"), [(None, "animal"), ("day", "visit")])
def test_what_the_points_are_is_told(visit: str | None, points: str) -> None:
    agree = agreement(plain_frame().assign(day=1), "y", visit=visit)
    assert agree.data.points_are == f"means of one {points}"


def test_what_is_printed_and_handed_out_has_no_nan() -> None:
    for agree in (
        agreement(plain_frame(), "y", replicate="replicate"),
        agreement(plain_frame(replicates=1, animals=2), "y"),
        agreement(clinic()),
        agreement(clinic(visits=1, animals=2)),
    ):
        text = json.dumps(agree.to_dict(), allow_nan=False)
        assert "bias" in json.loads(text)
        assert "Neither method is the reference" in repr(agree)
        assert "<table>" in agree._repr_html_()
        frame = agree.to_frame()
        assert (frame["estimate"].notna() | (frame["reason"] != "")).all()


def test_a_boundary_says_so() -> None:
    frame = plain_frame()
    # B of each animal is A with a constant added: A has no scatter of its own about the animal.
    frame.loc[frame["method"] == "B", "y"] = frame.loc[
        frame["method"] == "A", "y"
    ].to_numpy() + np.tile([3.0, 5.0, 7.0], 12)
    agree = agreement(frame, "y", replicate="replicate")
    assert any("Estimated at zero" in note for note in agree.notes)


def test_frozen() -> None:
    agree: Any = agreement(plain_frame(), "y", replicate="replicate")
    with pytest.raises(AttributeError):
        agree.level = 0.5
    with pytest.raises(TypeError):
        agree.repeatability["A"] = None


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"methods": ("A", "C")}, "methods="),
        ({"animal": "dog"}, "no column"),
        ({"level": 1.5}, "level"),
        ({"reference": "best"}, "reference="),
        ({"quantity": "z"}, "no column"),
    ],
)
def test_wrong_calls_are_refused(change: dict[str, Any], words: str) -> None:
    call: dict[str, Any] = {"quantity": "y", "replicate": "replicate"} | change
    with pytest.raises(CallError, match=words):
        agreement(plain_frame(), **call)


def test_three_methods_need_a_choice() -> None:
    third = plain_frame().assign(method="C")
    with pytest.raises(CallError, match="name two"):
        agreement(pd.concat([plain_frame(), third]), "y")


def test_too_little_is_said() -> None:
    with pytest.raises(CallError, match="two animals"):
        agreement(plain_frame(animals=1), "y")
    with pytest.raises(RecordsError, match="two animals"):
        agreement(clinic(animals=1))


def test_rows_without_a_number_are_counted() -> None:
    frame = plain_frame()
    frame.loc[0, "y"] = np.nan
    frame = frame[~((frame["animal"] == "cat 3") & (frame["method"] == "B"))]
    agree: Agreement = agreement(frame, "y", replicate="replicate")
    assert "Rows dropped for want of a number: 1." in agree.notes
    assert "Animals left out with readings by one method only: 1." in agree.notes
    assert len(agree.data.animals) == 11


@pytest.mark.parametrize("linked", [False, True])
def test_readings_without_scatter_are_an_answer(linked: bool) -> None:
    frame = plain_frame(animals=4)
    number = frame["animal"].str.slice(4).astype(int)
    frame["y"] = 100.0 + 10 * number + 5 * (frame["method"] == "B")
    if linked:
        frame["y"] += frame["replicate"]
    agree = agreement(frame, "y", replicate="replicate", linked=linked)
    assert agree.bias.estimate == pytest.approx(5, abs=1e-4)
    assert agree.upper.estimate == pytest.approx(5, abs=0.1)
    assert any("Estimated at zero" in note for note in agree.notes)
    assert agree.to_dict()["log_likelihood"] is None


def test_a_bridged_trend_takes_the_offset() -> None:
    records = clinic()
    agree = agreement(records)
    priors = replace(
        Priors.default("cat", "doppler", "systolic"), method_offset=agree.offset.prior()
    )
    trend = fit_trend(records, "A1", bridge=("methods",), priors=priors)
    (join,) = trend.offsets.values()
    d0, sd = agree.offset.prior()
    assert min(abs(join.mean - d0), abs(join.mean + d0)) < 2 * sd
    assert float(join.sd) < sd
