"""The table of priors, and the files that learned ones are kept in."""

from __future__ import annotations

import dataclasses
import math
import os
import pickle

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bpvet.errors import CallError
from bpvet.facts.priors.priors import TAU_DAYS, Priors
from bpvet.facts.priors.table import PriorTable

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
    ("dog", "systolic"): (16, 16),
    ("dog", "mean"): (8, 8),
    ("cat", "diastolic"): (2.5, 4),
    ("cat", "heart_rate"): (10, 15),
}


@pytest.mark.parametrize(("kind", "row"), TABLE.items())
def test_defaults_are_the_table(kind, row):
    own = Priors.default(*kind)
    held = (own.level, own.sv, own.sr, own.sw, own.effect_sd, own.increment_sd, own.slope_sd)
    assert held == row
    assert own.wander_days == 60


def test_an_animal_new_to_measurement_has_its_own_first_visit_term():
    dog, cat = Priors.default("dog", "doppler"), Priors.default("cat", "doppler")
    assert dog.for_animal("no").first_visit == (25, 18)
    assert dog.for_animal("").first_visit == (16, 16)
    assert dog.for_animal("yes").first_visit is None
    assert cat.for_animal("no") == cat
    # Halved as the other, and off stays off.
    mean = Priors.default("dog", "oscillometric", "mean").for_animal("no")
    assert mean.first_visit == (12.5, 9)
    assert dog.for_animal("yes").for_animal("no").first_visit is None


def test_only_pressures_have_recorded_changes():
    sds = {"site": 20, "posture": 20, "instrument": 12, "operator": 6}
    for quantity in ("systolic", "diastolic", "mean", "pulse_pressure"):
        assert Priors.default("cat", "oscillometric", quantity).change_sd == sds
    assert Priors.default("cat", "oscillometric", "heart_rate").change_sd == {}
    assert Priors.default("cat", "laboratory", "creatinine").change_sd == {}
    assert Priors.default("dog", "doppler").sitting_minus_lateral == 15
    assert Priors.default("cat", "doppler").sitting_minus_lateral == 0


def test_recorded_changes_and_both_first_visits_come_back_from_a_file(tmp_path):
    own = dataclasses.replace(
        Priors.default("dog", "doppler"), change_sd={"site": 9.0}, sitting_minus_lateral=7.0
    )
    path = PriorTable({("dog", "doppler", "systolic"): own}, "ours").save(tmp_path / "ours.toml")
    assert PriorTable.load(path)["dog", "doppler", "systolic"] == own
    # A file of an earlier version has neither: the defaults stay.
    lines = [one for one in path.read_text().splitlines() if not one.startswith(("change", "sitt"))]
    path.write_text("\n".join(lines))
    assert PriorTable.load(path)["dog", "doppler", "systolic"].change_sd["site"] == 20


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


_PAIRS = ("level", "sv", "sr", "sw", "first_visit", "method_offset")
_SINGLE = ("slope_sd", "effect_sd", "increment_sd", "wander_days")
_NO_NUMBER = (math.nan, math.inf, -math.inf, "7", None, True, 10**400, 1j, [3.0])
_WRONG = [
    *[(name, (value, 3.0)) for name in _PAIRS for value in _NO_NUMBER],
    *[(name, (3.0, value)) for name in _PAIRS for value in (*_NO_NUMBER, 0.0, -1.0)],
    *[(name, (value, 3.0)) for name in ("sv", "sr", "sw") for value in (0.0, -1.0)],
    *[(name, value) for name in _PAIRS for value in (3.0, (1.0,), (1.0, 2.0, 3.0), "ab", {1, 2})],
    *[(name, value) for name in _SINGLE for value in (*_NO_NUMBER, 0.0, -1.0)],
    *[("tau_days", {"amlodipine": value}) for value in (*_NO_NUMBER, 0.0)],
    *[("condition_offset", {"home": (1.0, value)}) for value in (*_NO_NUMBER, 0.0)],
    *[(name, value) for name in ("tau_days", "condition_offset") for value in (3.0, [1], {1: 2.0})],
    ("source", 3),
]


@pytest.mark.parametrize(("name", "value"), _WRONG)
def test_numbers_that_are_no_priors_are_refused(name, value):
    own = Priors.default("cat", "doppler")
    with pytest.raises(CallError, match=r"^priors: ") as caught:
        dataclasses.replace(own, **{name: value})
    assert name in str(caught.value)
    assert len(str(caught.value)) < 150


def test_lists_and_other_floats_are_taken_as_plain_numbers():
    own = dataclasses.replace(
        Priors.default("cat", "doppler"), level=[140, np.float64(30)], slope_sd=np.float64(2)
    )
    assert own.level == (140.0, 30.0)
    assert repr(own.level) == "(140.0, 30.0)"
    assert repr(own.slope_sd) == "2.0"


def test_a_table_holds_priors_by_kind():
    own = Priors.default("cat", "doppler")
    for cells in ({"cat": own}, {("cat", "doppler", "systolic"): 3}, {("ox", "a", "b"): own}, 3):
        with pytest.raises(CallError):
            PriorTable(cells)


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


def _file(tmp_path, **changes):
    """Return a saved table's text with some lines' values replaced, or added."""
    own = Priors.default("cat", "doppler")
    path = tmp_path / "ours.toml"
    path.unlink(missing_ok=True)
    PriorTable({("cat", "doppler", "systolic"): own}, "ours").save(path)
    lines = path.read_text().splitlines()
    for name, value in changes.items():
        lines = [line for line in lines if not line.startswith(f"{name} =")]
        lines += [] if value is None else [f"{name} = {value}"]
    path.write_text("\n".join(lines))
    return path


_HOSTILE = {
    "level": ("[nan, 30]", "[140, inf]", "[140, 0]", "[140]", "140", "'ab'", "[[1], 2]", None),
    "slope_sd": (f"1{'0' * 400}", f"1{'0' * 5000}", "1e400", "true", "'2'", "-2", "2e6", None),
    "sv": (f"{'[' * 3000}{']' * 3000}", f"{'{a=' * 3000}1{'}' * 3000}", "{}"),
    "tau_days": ("3", "{amlodipine = 'x'}", "{amlodipine = 0}", "{a.b.c.d = 3}", None),
    "change_sd": ("3", "{site = 0}", "{collar = 3}", "{site = [1, 2]}"),
    "sitting_minus_lateral": ("nan", "[1, 2]"),
    "condition_offset": ("{home = 3}", "{home = [1, nan]}", "[]"),
    "source": ("3", f"'{'x' * 5000}'", '["""\n[[[[[[\n"""]', None),
    "colour": ("3",),
    "species": ("'ox'", "{}"),
    "method": ("'doppler\\n'", "''"),
    "a" + ".a" * 3000: ("1",),
}


@pytest.mark.parametrize(
    ("name", "value"), [(name, value) for name, held in _HOSTILE.items() for value in held]
)
def test_a_hostile_file_is_refused_in_one_sentence(name, value, tmp_path):
    path = _file(tmp_path, **{name: value})
    with pytest.raises(CallError, match="no table of priors that bpvet saved") as caught:
        PriorTable.load(path)
    told = str(caught.value).removeprefix(str(path))
    assert len(told) < 260
    assert "\n" not in told


def test_files_that_are_too_long_or_no_files(tmp_path):
    long = tmp_path / "long.toml"
    long.write_text("name = 'x'\n" + "#" * 600_000)
    twice = tmp_path / "twice.toml"
    text = _file(tmp_path).read_text()
    twice.write_text(text + "\n" + text[text.index("[[cell]]") :])
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    latin = tmp_path / "latin.toml"
    latin.write_bytes("name = 'Peña'".encode("latin-1"))
    for path in (long, twice, pipe, latin, tmp_path, "a\0b"):
        with pytest.raises(CallError):
            PriorTable.load(path)


def test_every_number_of_priors_is_in_the_file(tmp_path):
    pairs = {"first_visit": "[5.0, 8.0]", "first_visit_new": "[25.0, 18.0]"}
    text = _file(tmp_path, **pairs, method_offset="[0.0, 12.0]").read_text()
    for part in dataclasses.fields(Priors):
        assert f"\n{part.name} =" in text
