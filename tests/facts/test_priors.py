"""The table of priors, and the files that learned ones are kept in."""

from __future__ import annotations

import dataclasses
import pickle

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bpvet.errors import CallError
from bpvet.facts.prior_table import PriorTable
from bpvet.facts.priors import TAU_DAYS, Priors

# The table of the model's definition, typed again: level, sv, sr, sw, effect, increment, slope.
TABLE = {
    ("cat", "doppler", "systolic"): ((140, 35), (11, 0.5), (7, 0.4), (6, 0.5), 40, 15, 2),
    ("cat", "oscillometric", "systolic"): ((140, 35), (11, 0.5), (10, 0.45), (6, 0.5), 40, 15, 2),
    ("dog", "doppler", "systolic"): ((140, 35), (12, 0.5), (9, 0.4), (6, 0.5), 40, 15, 2),
    ("dog", "oscillometric", "systolic"): ((140, 35), (12, 0.5), (12, 0.45), (6, 0.5), 40, 15, 2),
    ("cat", "oscillometric", "diastolic"): ((85, 25), (10, 0.5), (10, 0.45), (5, 0.5), 30, 12, 1.5),
    ("dog", "oscillometric", "mean"): ((105, 27), (10, 0.5), (8, 0.45), (5, 0.5), 30, 12, 1.5),
    ("dog", "oscillometric", "pulse_pressure"): (
        (55, 20), (9, 0.5), (10, 0.45), (4, 0.5), 25, 10, 1.5,
    ),
    ("cat", "oscillometric", "heart_rate"): ((180, 35), (20, 0.5), (10, 0.5), (10, 0.5), 30, 12, 3),
    ("dog", "oscillometric", "heart_rate"): ((120, 35), (20, 0.5), (10, 0.5), (10, 0.5), 30, 12, 3),
}  # fmt: skip
FIRST_VISIT = {
    ("cat", "systolic"): (5, 8),
    ("dog", "systolic"): (12, 14),
    ("dog", "mean"): (6, 7),
    ("cat", "diastolic"): (2.5, 4),
    ("cat", "heart_rate"): (10, 15),
}


@pytest.mark.parametrize(("kind", "row"), TABLE.items())
def test_defaults_are_the_table(kind, row):
    own = Priors.default(*kind)
    held = (own.level, own.sv, own.sr, own.sw, own.effect_sd, own.increment_sd, own.slope_sd)
    assert held == row
    assert own.wander_days == 60


@pytest.mark.parametrize(("kind", "pair"), FIRST_VISIT.items())
def test_first_visit_is_halved_but_for_systolic(kind, pair):
    species, quantity = kind
    assert Priors.default(species, "oscillometric", quantity).first_visit == pair


def test_unknown_species_is_the_cat_with_wider_noise():
    own, cat = Priors.default("", "doppler"), Priors.default("cat", "doppler")
    assert own.level == cat.level
    for name in ("sv", "sr", "sw"):
        assert getattr(own, name)[1] == pytest.approx(1.5 * getattr(cat, name)[1])


@pytest.mark.parametrize(
    "kind",
    [("horse", "doppler", "systolic"), ("cat", "palpation", "systolic"),
     ("cat", "doppler", "mean"), ("cat", "doppler", "weight")],
)  # fmt: skip
def test_unknown_kinds_are_refused(kind):
    with pytest.raises(CallError):
        Priors.default(*kind)


def test_priors_are_frozen_through_and_through():
    own = Priors.default("cat", "doppler")
    with pytest.raises(dataclasses.FrozenInstanceError):
        own.slope_sd = 3  # type: ignore[misc]
    with pytest.raises(TypeError):
        own.tau_days["amlodipine"] = 99  # type: ignore[index]
    with pytest.raises(CallError):
        dataclasses.replace(own, sv=(-1.0, 0.5))
    assert pickle.loads(pickle.dumps(own)) == own
    assert own.tau_of("amlodipine") == TAU_DAYS["amlodipine"] == 3
    assert own.tau_of("never heard of") == 5


@given(name=st.text(max_size=30), source=st.text(max_size=30), level=st.floats(60, 200))
def test_a_saved_table_comes_back_to_the_digit(tmp_path_factory, name, source, level):
    own = dataclasses.replace(
        Priors.default("dog", "doppler"), level=(level, 21.5), first_visit=None, source=source
    )
    table = PriorTable({("dog", "doppler", "systolic"): own}, name=name)
    path = tmp_path_factory.mktemp("priors") / "clinic.toml"
    table.save(path)
    back = PriorTable.load(path)
    assert back.name == name
    assert back["dog", "doppler", "systolic"] == own
    assert back["cat", "doppler", "systolic"] == Priors.default("cat", "doppler")


def test_files_are_never_replaced_and_wrong_ones_are_told(tmp_path):
    table = PriorTable({}, name="ours")
    path = table.save(tmp_path / "ours.toml")
    with pytest.raises(CallError, match="exists already"):
        table.save(path)
    for text in ("not = toml = at all", "name = 'x'", "name = 'x'\n[[cell]]\nspecies = 'cat'"):
        wrong = tmp_path / "wrong.toml"
        wrong.write_text(text)
        with pytest.raises(CallError, match="no table of priors"):
            PriorTable.load(wrong)
    with pytest.raises(CallError, match="cannot be read"):
        PriorTable.load(tmp_path / "absent.toml")
