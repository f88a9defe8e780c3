"""Stage and substages: probabilities by marker, what withholds them, and bad input."""

from __future__ import annotations

import json
import pickle

import numpy as np
import pytest

import bpvet
from bpvet.errors import CallError
from bpvet.wording.en.kidney.stage import kidney_stage_statements
from tests.maths.cases import case
from tests.maths.dense import integrated
from tests.models.kidney_records import CKD, DATES, creatinine, lab, sdma, upc, with_labs
from tests.models.small_records import drug, sign

KEYS = {
    "diagnosed",
    "diagnosis",
    "stage",
    "proteinuria",
    "pressure",
    "damage",
    "missing",
    "reaction",
}
VALUES = [225.0, 262.0, 241.0, 248.0, 255.0]


def _kidney(labs, *observations, **more):
    asked = {name: more.pop(name) for name in ("edition", "as_of_call") if name in more}
    return bpvet.kidney(with_labs(labs, observations, **more), "A1", **asked)


def test_probabilities_of_stages_equal_the_dense_twins():
    found = _kidney(creatinine(VALUES), CKD)
    days = [(np.datetime64(day) - np.datetime64(DATES[0])).astype(float) for day in DATES]
    one = case(
        days, [[value] for value in np.log(VALUES)], (), None, sv=(0.10, 0.5), sw=(0.10, 0.5)
    )
    one.prior_mean[:], one.prior_sd[:] = (np.log(160), 0.0), (0.6, 0.03)
    one.sr = (1e-6, 0.1)
    dense = integrated(one, np.array([days[-1]]), np.array([[1.0, 0.0]]), rhos=33, gauss=9)
    # The staging page's bounds for cats, typed again.
    ends = [dense.below(0, np.log(bound)) for bound in (140, 251, 440)]
    shares = np.diff([0, *ends, 1])
    stage = found.to_dict()["stage"]
    assert list(stage["by_marker"]["creatinine"].values()) == pytest.approx(shares, abs=1e-3)
    assert stage["combined"] == pytest.approx(stage["by_marker"]["creatinine"])
    assert 0.2 < stage["combined"]["stage 3"] < 0.8


def test_the_keys_are_those_of_the_contract_in_both_places():
    records = with_labs(creatinine(VALUES) + sdma([20, 21, 22, 23, 22]) + upc([0.3] * 5), [CKD])
    own = bpvet.kidney(records, "A1").to_dict()
    assert set(own) == KEYS
    assert set(own["stage"]) == {"edition", "by_marker", "combined", "withheld"}
    told = bpvet.fit_trend(records, "A1").answer().to_dict()["kidney"]
    assert told == own
    assert json.loads(json.dumps(own, allow_nan=False)) == own
    assert own["stage"]["edition"] == "iris2019"
    for table in (own["stage"]["combined"], own["proteinuria"]["probability"]):
        assert sum(table.values()) == pytest.approx(1)


def test_the_higher_of_two_markers_is_that_of_independent_draws():
    found = _kidney(creatinine(VALUES) + sdma([22, 24, 27, 26, 25.5]))
    rng = np.random.default_rng(18)
    stages = [
        rng.choice(4, size=400_000, p=list(one.probability.values())) for one in found.markers
    ]
    drawn = np.bincount(np.maximum(*stages), minlength=4) / 400_000
    assert list(found.combined.values()) == pytest.approx(drawn, abs=0.004)


def test_markers_that_point_to_one_stage_do_not_disagree():
    found = _kidney(creatinine([160, 165, 162, 168, 166]) + sdma([20, 21, 19, 20, 22]), CKD)
    assert [one.likeliest for one in found.markers] == ["stage 2", "stage 2"]
    assert found.disagree is False


def test_markers_that_point_to_different_stages_are_told_and_the_higher_counts():
    found = _kidney(creatinine([160, 165, 162, 168, 166]) + sdma([30, 31, 29, 30, 32]), CKD)
    assert [one.likeliest for one in found.markers] == ["stage 2", "stage 3"]
    assert found.disagree
    assert found.stage == "stage 3"


@pytest.mark.parametrize(
    ("labs", "withheld"),
    [
        (creatinine([260]), "at least 14 days apart"),
        (
            [
                lab("2026-03-01", "creatinine", 260, "umol/L"),
                lab("2026-03-14", "creatinine", 262, "umol/L"),
            ],
            "14 days",
        ),
        (creatinine([260, 262, ">900"]), "a bound"),
        (sdma([1.2, 1.3], "umol/L"), "no bounds for SDMA in µmol/L"),
        ([], "no creatinine or SDMA"),
        (
            [
                lab("2023-01-01", "creatinine", 260, "umol/L"),
                lab("2023-06-01", "creatinine", 262, "umol/L"),
            ],
            "24 months",
        ),
    ],
)
def test_a_stage_asks_for_two_values_far_enough_apart(labs, withheld):
    found = _kidney(labs, CKD)
    assert found.combined is None
    assert withheld in found.withheld
    assert found.to_dict()["stage"]["by_marker"] == {}
    assert "stable" in found.missing


def test_two_values_fourteen_days_apart_are_enough():
    labs = [lab(f"2026-03-{day}", "creatinine", 262, "umol/L") for day in ("01", "15")]
    assert _kidney(labs).stage == "stage 3"


def test_a_second_marker_with_one_value_is_not_counted():
    found = _kidney([*creatinine([160, 165, 162]), lab("2026-03-14", "sdma", 45, "ug/dL")])
    assert found.stage == "stage 2"
    assert "SDMA" in found.markers[1].withheld


def test_an_acute_rise_gives_no_stage():
    labs = [*creatinine(VALUES), lab("2026-08-03", "creatinine", 390, "umol/L")]
    found = _kidney(labs, CKD, as_of="2026-08-04")
    assert found.combined is None
    assert "not stable" in found.withheld
    assert "stable" in found.missing


def test_a_laboratory_is_judged_by_the_bounds_of_its_own_unit():
    # 2.85 mg/dL is 251.9 µmol/L: stage 2 by the bounds in mg/dL, stage 3 by those in µmol/L.
    values = [2.86, 2.84, 2.85, 2.85, 2.85]
    found = _kidney(creatinine(values, "mg/dL"))
    converted = _kidney(creatinine([88.4 * one for one in values]))
    assert found.markers[0].unit == "mg/dL"
    assert found.combined["stage 2"] > converted.combined["stage 2"] + 0.05
    assert found.markers[0].usual.estimate == pytest.approx(
        converted.markers[0].usual.estimate / 88.4
    )
    assert found.markers[0].between_ranges == 2.85


def test_between_two_printed_ranges_the_lower_stage_is_taken():
    found = _kidney(creatinine([250.5] * 5), CKD)
    assert found.markers[0].between_ranges == 250.5
    assert _kidney(creatinine([251.0] * 5), CKD).markers[0].between_ranges is None
    # Below 251 is stage 2.
    assert found.combined["stage 2"] == pytest.approx(
        float(
            bpvet.fit_trend(
                with_labs(creatinine([250.5] * 5)), "A1", quantity="creatinine"
            ).latest.below(251)
        ),
        abs=1e-5,
    )


def test_units_that_were_mixed_are_named():
    labs = [*creatinine([225, 230]), lab("2026-05-02", "creatinine", 2.6, "mg/dL")]
    found = _kidney(labs)
    assert found.markers[0].units == ("µmol/L", "mg/dL")
    assert found.markers[0].unit == "mg/dL"


@pytest.mark.parametrize(
    ("labs", "apart"),
    [
        (creatinine([225, 1.8, 230]), 1),  # no animal has 1.8 µmol/L
        (creatinine([2.4, 180, 2.5], "mg/dL"), 1),  # nor 180 mg/dL
        ([*creatinine([225, 230]), lab("2026-03-14", "creatinine", 228, "")], 1),
    ],
)
def test_values_that_cannot_be_are_not_staged(labs, apart):
    records = with_labs(labs)
    assert (records.labs["set_aside"] != "").sum() == apart
    found = bpvet.kidney(records, "A1")
    assert found.markers[0].values == 2
    assert found.stage == "stage 2"


def test_values_of_one_day_that_disagree_are_one_date():
    labs = [lab("2026-03-14", "creatinine", value, "umol/L") for value in (180, 320)]
    assert "14 days apart" in _kidney(labs).withheld


@pytest.mark.parametrize(("other", "apart"), [(230.2, True), (229.8, False)])
def test_values_of_one_day_lie_apart_from_15_percent_on(other, apart):
    labs = [*creatinine([180, 200]), lab("2026-02-07", "creatinine", other, "umol/L")]
    (found,) = _kidney(labs, CKD).markers
    assert (found.apart is not None) == apart


@pytest.mark.parametrize("species", ["rabbit", ""])
def test_other_species_have_no_stage(species):
    found = _kidney(creatinine(VALUES) + upc([0.3] * 5), CKD, species=species)
    assert found.combined is None
    assert "species" in found.withheld
    assert found.proteinuria.probability is None


def test_labs_with_no_pressure_at_all_and_after_the_animal_left():
    records = with_labs(
        creatinine(VALUES), [CKD], pressure=None, left_on="2026-06-01", left_reason="died"
    )
    found = bpvet.kidney(records, "A1")
    assert found.pressure.probability is None
    assert found.stage
    assert str(found.markers[0].newest.date) == "2026-08-01"


def test_editions_are_named_and_older_ones_have_their_own_bounds():
    records = with_labs(creatinine([205, 210, 207, 206, 208]), [CKD], species="dog")
    assert bpvet.kidney(records, "A1").stage == "stage 2"
    older = bpvet.kidney(records, "A1", edition="iris2017")
    assert older.stage == "stage 3"
    assert older.to_dict()["stage"]["edition"] == "iris2017"
    assert "2017" in older.markers[0].printed_by
    assert list(older.pressure.probability)[1] == "borderline"
    with pytest.raises(CallError, match="iris2019, iris2017"):
        bpvet.kidney(records, "A1", edition="iris2023")
    # It had no table of SDMA.
    both = bpvet.kidney(with_labs(sdma([30, 31, 30])), "A1", edition="iris2017")
    assert "no bounds for SDMA" in both.withheld


@pytest.mark.parametrize(
    ("sign_", "diagnosed"),
    [
        (CKD, True),
        (sign("2026-01-10", "chronic kidney disease", "longstanding"), True),
        (sign("2026-01-10", "suspected CKD", ""), False),
        (sign("2026-01-10", "CKD", "absent"), False),
        (sign("2026-01-10", "azotaemia"), False),
    ],
)
def test_only_an_observation_makes_it_kidney_disease(sign_, diagnosed):
    found = _kidney(creatinine(VALUES), sign_)
    assert found.diagnosed is diagnosed
    assert ("diagnosis" in found.missing) is not diagnosed


@pytest.mark.parametrize(
    "text",
    ["renal failure", "kidney stone", "renal cysts", "pyelonephritis", "kidney problems", "CKD?"],
)
def test_what_may_mean_kidney_disease_or_not_leaves_it_open(text):
    found = _kidney(creatinine(VALUES), sign("2026-01-10", text, ""))
    assert not found.diagnosed
    assert [one.text for one in found.undecided]
    plain = found.to_dict()
    assert plain["diagnosed"] is None
    assert plain["diagnosis"]["undecided"][0]["on"] == "2026-01-10"
    told = " ".join(one.text for one in kidney_stage_statements(found))
    assert "is not known" in told
    assert "If kidney disease is diagnosed" in told


@pytest.mark.parametrize(
    "text", ["renal lymphoma", "kidney values normal", "kidneys normal", "azotaemia", "no CKD"]
)
def test_what_is_no_kidney_disease_leaves_nothing_open(text):
    found = _kidney(creatinine(VALUES), sign("2026-01-10", text, ""))
    assert not found.diagnosed
    assert found.undecided == ()
    assert found.to_dict()["diagnosed"] is False


def test_a_normal_kidney_later_does_not_end_the_disease():
    normal = sign("2026-06-10", "kidneys normal", "")
    assert _kidney(creatinine(VALUES), CKD, normal).diagnosed
    # Its own denial does, and so does what may be it beside that denial.
    denied = sign("2026-06-10", "CKD", "absent")
    found = _kidney(creatinine(VALUES), CKD, sign("2026-05-02", "kidney stone"), denied)
    assert (found.diagnosed, found.undecided) == (False, ())


def test_values_of_one_day_that_disagree_and_values_after_leaving_are_told():
    two = [*creatinine([180, 185]), lab("2026-02-07", "creatinine", 300, "umol/L")]
    told = _told(_kidney(two, CKD))
    assert "two values are given, 185 µmol/L and 300 µmol/L, and both count" in told
    near = [*creatinine([180, 185]), lab("2026-02-07", "creatinine", 190, "umol/L")]
    assert "two values" not in _told(_kidney(near, CKD)).replace("two values at", "")
    left = {"left_on": "2026-06-01", "left_reason": "died", "dates": DATES[:4]}
    gone = _kidney(creatinine(VALUES), CKD, **left)
    assert "after 1 June 2026, the day on which the animal left" in _told(gone)
    assert "left" not in _told(_kidney(creatinine(VALUES), CKD))


def test_no_sentence_lays_the_bounds_of_cats_on_a_rabbit():
    labs = creatinine(VALUES) + upc([0.9] * 5)
    records = with_labs(labs, [CKD], species="rabbit")
    told = bpvet.fit_trend(records, "A1").answer().kidney_statements
    assert not {"kidney.range", "kidney.protein", "kidney.stage"} & {one.key for one in told}
    blank = bpvet.fit_trend(with_labs(labs, [CKD], species=""), "A1").answer()
    said = {one.key: one.text for one in blank.kidney_statements}
    assert "the species is not recorded" in said["kidney.range"]


def _told(found):
    return " ".join(one.text for one in kidney_stage_statements(found))


def test_the_ratio_is_the_geometric_mean_of_the_newest_samples():
    found = _kidney(upc([3.0, 3.0, 0.2, 0.4, 0.8])).proteinuria
    assert (found.samples, found.days) == (3, 140)
    assert found.geometric_mean == pytest.approx(0.4)
    assert list(found.probability) == ["non-proteinuric", "borderline", "proteinuric"]
    # Samples within two weeks are reached beyond.
    dates = ["2026-01-10", "2026-03-01", "2026-03-04", "2026-03-08"]
    near = _kidney(upc([0.1, 0.4, 0.4, 0.4], dates)).proteinuria
    assert (near.samples, near.days) == (4, 57)


@pytest.mark.parametrize(
    ("values", "dates", "withheld"),
    [
        ([0.6], DATES, "14 days"),
        ([0.6, 0.7], ["2026-03-01", "2026-03-14"], "14 days"),
        ([0.6, 0.7, "<0.1"], DATES, "bound"),
        ([0.6, 0.7, ">13.6"], DATES, "bound"),
        ([0.6, 0.7], ["2023-03-01", "2023-05-14"], "24 months"),
    ],
)
def test_a_substage_of_protein_asks_for_two_samples(values, dates, withheld):
    found = _kidney(upc(values, dates), CKD).proteinuria
    assert found.probability is None
    assert withheld in found.withheld


@pytest.mark.parametrize(
    ("words", "on", "withheld"),
    [
        ("blood in urine", "2026-08-05", True),
        ("active sediment", "2026-07-25", True),
        ("UTI", "2026-08-15", True),
        ("UTI", "2026-08-16", False),
        ("no active sediment", "2026-08-01", False),
        ("no blood in urine", "2026-08-01", False),
    ],
)
def test_an_inflamed_or_bloody_urine_near_a_sample_withholds_it(words, on, withheld):
    found = _kidney(upc([0.6, 0.7, 0.6, 0.7, 0.6]), sign(on, words, "")).proteinuria
    assert (found.probability is None) is withheld


def test_the_substage_by_pressure_is_the_trends_and_never_of_one_visit():
    records = with_labs((), pressure=165)
    found = bpvet.kidney(records, "A1").pressure
    told = bpvet.fit_trend(records, "A1").answer().category.probability
    assert found.probability == pytest.approx(told)
    one = bpvet.kidney(with_labs((), pressure=165, dates=DATES[:1]), "A1").pressure
    assert one.probability is None
    assert "one visit" in one.withheld
    assert bpvet.kidney(with_labs((), breed="greyhound", species="dog"), "A1").pressure.withheld


@pytest.mark.parametrize(
    ("signs", "status", "on"),
    [
        ([], "not looked for", None),
        ([sign("2026-05-02", "retinal lesion", "absent")], "none found", "2026-05-02"),
        ([sign("2026-05-02", "fundus normal", "")], "none found", "2026-05-02"),
        ([sign("2026-05-02", "retinal detachment")], "present", "2026-05-02"),
        ([sign("2026-05-02", "retinal detachment?", "")], "unclear", "2026-05-02"),
        (
            [sign("2026-02-01", "retinal detachment"), sign("2026-05-02", "eyes normal", "")],
            "none found",
            "2026-05-02",
        ),
        ([sign("2026-05-02", "vomiting", "absent")], "not looked for", None),
    ],
)
def test_organ_damage_is_there_not_found_or_not_looked_for(signs, status, on):
    found = bpvet.kidney(with_labs((), signs), "A1").to_dict()["damage"]
    assert (found["status"], found["on"]) == (status, on)


def test_a_reaction_has_its_numbers():
    labs = [*creatinine([188, 190]), lab("2026-03-05", "creatinine", 252, "umol/L")]
    found = bpvet.kidney(
        with_labs(labs, treatments=[drug("2026-02-12", "telmisartan")]), "A1"
    ).to_dict()["reaction"]
    assert len(found) == 1
    wanted = {
        "drug": "telmisartan",
        "started_on": "2026-02-12",
        "marker": "creatinine",
        "before": 190,
        "after": 252,
        "unit": "µmol/L",
        "days": 21,
        "tolerance": 45,
        "beyond": True,
    }
    assert {name: found[0][name] for name in wanted} == wanted
    assert found[0]["percent"] == pytest.approx(100 * 62 / 190)


def test_it_prints_travels_and_gives_a_frame():
    found = _kidney(creatinine(VALUES) + upc([0.3] * 5), CKD)
    assert "stage, by creatinine" in repr(found)
    assert max(map(len, repr(found).splitlines())) < 160
    assert found._repr_html_().startswith("<table>")
    assert pickle.loads(pickle.dumps(found)) == found
    frame = found.to_frame()
    assert list(frame.columns) == ["question", "by", "stage", "probability"]
    sums = frame.groupby(["question", "by"])["probability"].sum()
    assert sums.tolist() == pytest.approx([1.0] * len(sums))


def test_calls_that_are_wrong_are_told():
    records = with_labs(creatinine(VALUES))
    with pytest.raises(CallError, match="level"):
        bpvet.kidney(records, "A1", level=1.0)
    with pytest.raises(CallError, match="nobody"):
        bpvet.kidney(records, "nobody")


def test_a_marker_that_rose_after_a_drug_is_not_stable():
    labs = [*creatinine([188, 190]), lab("2026-03-05", "creatinine", 252, "umol/L")]
    given = {"treatments": [drug("2026-02-12", "telmisartan")]}
    assert "stable" in _kidney(labs, CKD, as_of="2026-03-10", **given).missing
    # Two months on the rise is history; without a drug it is no reaction.
    assert "stable" not in _kidney(labs, CKD, as_of="2026-05-10", **given).missing
    assert "stable" not in _kidney(labs, CKD, as_of="2026-03-10").missing


def test_the_newest_three_samples_are_enough_where_the_third_lies_two_weeks_back():
    dates = ["2026-01-10", "2026-02-01", "2026-03-07", "2026-03-08"]
    found = _kidney(upc([0.1, 0.4, 0.4, 0.4], dates)).proteinuria
    assert (found.samples, found.days) == (3, 35)
    assert found.geometric_mean == pytest.approx(0.4)
