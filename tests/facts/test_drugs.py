"""Treatments by generic name, however spelled; and what a purpose says."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bpvet.facts.drugs import (
    KINDS,
    default_tau,
    drug,
    drugs,
    near_drugs,
    purpose_overrides,
)
from bpvet.facts.sources import fact, table


@pytest.mark.parametrize(
    ("text", "name", "kind", "tau", "moves"),
    [
        ("amlodipine", "amlodipine", "pressure", 3, True),
        ("AMLODIPINE BESYLATE", "amlodipine", "pressure", 3, True),
        ("amlodipine besilate tablets", "amlodipine", "pressure", 3, True),
        ("am-lodipine", "amlodipine", "pressure", 3, True),
        (" Telmisartan ", "telmisartan", "pressure", 5, True),
        ("benazepril HCl", "benazepril", "pressure", 7, True),
        ("enalapril maleate", "enalapril", "pressure", 7, True),
        ("ramipril", "ramipril", "pressure", 7, True),
        ("lisinopril", "lisinopril", "pressure", 7, True),
        ("imidapril", "imidapril", "pressure", 7, True),
        ("hydralazine", "hydralazine", "pressure", 5, True),
        ("losartan potassium", "losartan", "pressure", 5, True),
        ("sodium nitroprusside", "nitroprusside", "pressure", 5, True),
        ("gabapentin (oral solution)", "gabapentin", "calming", 5, True),
        ("trazodone", "trazodone", "calming", 5, True),
        ("methimazole", "thiamazole", "thyroid", 5, True),
        ("thiamazole", "thiamazole", "thyroid", 5, True),
        ("carbimazole", "carbimazole", "thyroid", 5, True),
        ("I-131", "radioiodine", "thyroid", 5, True),
        ("levothyroxine sodium", "levothyroxine", "thyroid", 5, True),
        ("prednisolone acetate", "prednisolone", "steroid", 5, True),
        ("fludrocortisone acetate", "fludrocortisone", "steroid", 5, True),
        ("Renal diet", "renal diet", "diet", 5, True),
        ("a new kidney food", "diet", "diet", 5, True),
        ("erythropoietin", "epoetin", "other", 5, True),
        ("darbepoetin alfa", "darbepoetin", "other", 5, True),
        ("PPA", "phenylpropanolamine", "other", 5, True),
        ("meloxicam", "meloxicam", "other", 5, True),
        ("frusemide", "furosemide", "other", 5, True),
        ("maropitant citrate", "maropitant", "other", 5, False),
        ("omeprazole", "omeprazole", "other", 5, False),
        ("potassium gluconate", "potassium gluconate", "other", 5, False),
        ("amlodipine besylate susp.", "amlodipine", "pressure", 3, True),
        ("amlodipine soln", "amlodipine", "pressure", 3, True),
        ("sacubitril", "sacubitril", "pressure", 5, True),
        ("sacubitril/valsartan", "sacubitril and valsartan", "pressure", 5, True),
        ("ivabradine", "ivabradine", "other", 5, True),
        ("ketoconazole", "ketoconazole", "other", 5, True),
        ("propentofylline", "propentofylline", "other", 5, True),
        ("glycopyrrolate", "glycopyrronium", "other", 5, True),
        ("atropine sulphate", "atropine", "other", 5, True),
        ("cyproheptadine HCl", "cyproheptadine", "other", 5, False),
        ("insulin glargine", "insulin", "other", 5, False),
    ],
)
def test_known_treatments(text: str, name: str, kind: str, tau: float, moves: bool) -> None:
    found = drug(text)
    assert found is not None
    assert (found.name, found.kind, found.tau_days, found.may_move_pressure) == (
        name,
        kind,
        tau,
        moves,
    )


@pytest.mark.parametrize(
    "text",
    ["", " ", "-", "5", "potassium", "tablet", "stopped amlodipine", "no amlodipine", "unheard of"],
)
def test_unknown_treatments(text: str) -> None:
    assert drug(text) is None


def test_two_drugs_in_one_product() -> None:
    found = drug("amlodipine / benazepril hydrochloride")
    assert found is not None
    assert (found.name, found.kind, found.tau_days) == ("amlodipine and benazepril", "pressure", 7)
    mixed = drug("furosemide + amlodipine")
    assert mixed is not None
    assert (mixed.kind, mixed.tau_days, mixed.fact_id) == ("pressure", 3, "tau.amlodipine")
    assert drug("amlodipine and something") is None


def test_every_entry_is_consistent() -> None:
    assert len(drugs()) > 250
    for one in drugs():
        assert one.kind in KINDS
        behind = fact(one.fact_id)
        low, high = one.tau_range
        assert 0 < low <= one.tau_days <= high
        if one.kind == "pressure":
            assert one.may_move_pressure
            assert (behind.value, behind.low, behind.high) == (one.tau_days, low, high)
        else:
            assert behind.id.startswith("project.kind.")
            assert (one.tau_days, one.tau_range) == default_tau()
        assert drug(one.name) is one
        assert drug(one.name.upper()) is one
        assert drug(one.name.replace(" ", "").replace("-", "")) is one


def named(which: str) -> set[str]:
    return {one.name for one in drugs() if getattr(one, which)}


def test_drugs_known_to_raise_pressure_name_their_source() -> None:
    raising = named("raises")
    assert {"phenylpropanolamine", "ephedrine", "pseudoephedrine", "phenylephrine"} <= raising
    assert {"epoetin", "darbepoetin", "toceranib", "prednisolone", "fludrocortisone"} <= raising
    assert {"desoxycortone", "midodrine", "noradrenaline", "dopamine", "dexamethasone"} <= raising
    assert not raising & {"amlodipine", "furosemide", "meloxicam", "gabapentin", "budesonide"}
    for one in drugs():
        if one.raises:
            assert one.kind != "pressure"
            assert one.may_move_pressure
            assert fact(one.raises_fact).grade in ("M", "J")


def test_the_renin_group_and_the_anti_inflammatory_drugs() -> None:
    renin = named("renin")
    assert all(drug(name).kind == "pressure" for name in renin)  # type: ignore[union-attr]
    assert {"telmisartan", "benazepril", "enalapril", "losartan", "aliskiren"} <= renin
    assert "sacubitril" in renin
    assert not renin & {"spironolactone", "eplerenone", "amlodipine", "hydralazine"}
    nsaid = named("nsaid")
    assert {"meloxicam", "robenacoxib", "carprofen", "firocoxib"} <= nsaid
    assert not nsaid & {"prednisolone", "paracetamol", "telmisartan"}
    joined = drug("amlodipine + telmisartan")
    assert joined is not None
    assert joined.renin
    assert not joined.raises


def test_neutral_time_constant() -> None:
    assert default_tau() == (5, (2.5, 10))


def test_no_name_stands_twice_and_no_spelling_hides_a_name() -> None:
    names = [name for group in table("drugs")["group"] for name in group["names"]]
    assert len(names) == len(set(names))
    keys = {re.sub(r"[^a-z0-9]", "", name) for name in names}
    for spelling, name in table("drugs")["spellings"].items():
        assert name in names
        assert re.sub(r"[^a-z0-9]", "", spelling) not in keys, spelling


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("blood pressure", True),
        ("Hypertension", True),
        ("anti-hypertensive", True),
        ("systemic hypertension + proteinuria", True),
        ("high BP", True),
        ("hypertension, not controlled", True),
        ("not only for hypertension", True),
        ("low blood pressure", True),
        ("not for pressure", False),
        ("proteinuria, not for blood pressure", False),
        ("not given for hypertension", False),
        ("other than blood pressure", False),
        ("", None),
        ("proteinuria", None),
        ("heart", None),
        ("pulmonary hypertension", None),
        ("intraocular pressure", None),
        ("pressure sore", None),
        ("proteinuria, no hypertension", None),
        ("proteinuria (blood pressure normal)", None),
    ],
)
def test_purposes(text: str, says: bool | None) -> None:
    assert purpose_overrides(text) is says


def test_near_names() -> None:
    assert near_drugs("amlodpine") == ("amlodipine",)
    assert near_drugs("methimazol")[0] == "thiamazole"
    assert near_drugs("") == ()


@given(st.text())
def test_any_text_is_answered(text: str) -> None:
    found = drug(text)
    assert found is None or found.kind in KINDS
    assert purpose_overrides(text) in (True, False, None)
    assert isinstance(near_drugs(text), tuple)


NAMES = st.sampled_from([one.name for one in drugs()])


@given(NAMES, st.sampled_from(["", " tablets", " 5", " hydrochloride", "  "]), st.booleans())
def test_forms_and_case_do_not_matter(name: str, suffix: str, upper: bool) -> None:
    text = name + suffix
    found = drug(text.upper() if upper else text)
    assert found is not None
    # A diet named with a form is still a diet, if no longer that one.
    assert found.name == name or (found.kind == "diet" and "diet" in name)
