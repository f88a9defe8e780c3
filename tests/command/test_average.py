"""`bpvet average`: what may be typed, what is said, what is saved."""

import csv
import io
import json
import os
import subprocess
import sys

import pytest

from bpvet.command.shared.typed_readings import typed_readings
from bpvet.errors import CallError
from bpvet.records.read import read
from bpvet.visits.sessions import sessions


def test_the_sum_in_words(run):
    ended = run("average", 165, 158, 160, "--method", "doppler")
    assert ended.status == 0
    assert ended.out.startswith("Systolic 161 mmHg, the mean of 3 of 3 readings\n")
    assert "SD 3.6 (2 % of the mean); 158 to 165, a range of 7 (4 %)" in ended.out
    assert 'In the range of "hypertensive"' in ended.out
    assert ended.out.endswith(
        "For the chart:\n"
        "Systolic 161 mmHg (Doppler, mean of 3 of 3 readings, SD 3.6; 165, 158, 160)\n"
    )
    assert ended.err == ""


def test_json_and_nothing_else(run):
    ended = run("average", 165, "no-sound", "over300", "--method", "doppler", "--json")
    held = json.loads(ended.out)
    assert held["systolic"]["bound"] == "at least"
    assert held["readings"][1]["fate"] == "no sound"
    assert held["saved"] is None


@pytest.mark.parametrize(
    ("word", "value", "bound"),
    [
        ("over300", 300.0, "at least"),
        (">300", 300.0, "at least"),
        ("> 300", 300.0, "at least"),
        ("≥300", 300.0, "at least"),
        ("under40", 40.0, "at most"),
        ("<40", 40.0, "at most"),
        ("158.5", 158.5, ""),
        ("no-sound", None, ""),
        ("no sound", None, ""),
        ("NoSound", None, ""),
    ],
)
def test_words_for_a_reading(word, value, bound):
    (reading,) = typed_readings([word], "doppler")
    assert (reading.systolic, reading.bound, reading.excluded) == (value, bound, "")


def test_oscillometric_words():
    words = ["158/92/114/180", "158/92", "158", "158///180", "158/92/114x"]
    full, two, one, rate, out = typed_readings(words, "oscillometric")
    assert (full.diastolic, full.mean, full.heart_rate) == (92.0, 114.0, 180.0)
    assert (two.diastolic, two.mean) == (92.0, None)
    assert one.diastolic is None
    assert (rate.mean, rate.heart_rate) == (None, 180.0)
    assert (out.mean, out.excluded) == (114.0, "no reason given")


def test_exclusions(run):
    ended = run(
        "average", 165, "171x", 158, 160, "--method", "doppler", "--exclude", "3=the cat moved"
    )
    assert "no, excluded: the cat moved" in ended.out
    assert "no, excluded: no reason given" in ended.out
    assert 'excluded "the cat moved"' in ended.out
    assert ended.out.startswith("Systolic 160 mmHg, the mean of 1 of 4 readings")


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["16O"], "If it is 160, write 160"),
        (["165", "158", "1650"], "Reading 3: 1650 cannot be a systolic pressure"),
        (["12"], "12 kPa is 90 mmHg"),
        (["0"], "write no-sound"),
        (["-5"], "A pressure is above 0"),
        (["165,158,160"], "Put a space between readings"),
        (["158,5"], "a decimal mark is a point"),
        (["165/158"], "one number a reading"),
        (["mean"], "not a number"),
        (["１６５"], "not a number"),
        (["nan"], "not a number"),
        (["1e3"], "not a number"),
        (["x"], "not a number"),
        ([""], "not a number"),
        (["\x1b[2J"], "not a number"),
    ],
)
def test_what_is_no_doppler_reading(run, words, says):
    ended = run("average", *words, "--method", "doppler")
    assert ended.status == 2
    assert says in ended.err
    assert ended.out == ""
    assert "\x1b" not in ended.err


@pytest.mark.parametrize(
    ("word", "says"),
    [
        ("92/158/114", "not below the systolic"),
        ("158/92/80", "does not lie between"),
        ("158/92/114/9", "heart rate"),
        ("158/5/114", "diastolic pressure"),
        ("158/92/114/180/1", "not a number"),
    ],
)
def test_what_is_no_oscillometric_reading(run, word, says):
    ended = run("average", word, "--method", "oscillometric")
    assert ended.status == 2
    assert says in ended.err


@pytest.mark.parametrize("text", ["9=moved", "0=moved", "moved", "2=no", "2=false", "2=a\nb"])
def test_what_excludes_nothing(text):
    with pytest.raises(CallError, match="--exclude"):
        typed_readings(["165", "158"], "doppler", [text])


@pytest.mark.parametrize(
    "argv",
    [
        ["165"],
        ["--method", "doppler"],
        ["165", "--method", "finger"],
        ["165", "--meth", "doppler"],
        ["165", "--method", "doppler", "158"],
        ["165", "--method", "doppler", "--rule", "mine"],
        ["165", "--method", "doppler", "--guideline", "mine"],
        ["165", "--method", "doppler", "--taken-at", "yesterday"],
        ["165", "--method", "doppler", "--taken-at", "2026-02-30"],
        ["165", "--method", "doppler", "--taken-at", "2999-01-01"],
        ["165", "--method", "doppler", "--animal", "a\nb"],
        ["165", "--method", "doppler", "--animal", "a\udcff"],
    ],
)
def test_wrong_calls(run, argv):
    ended = run("average", *argv)
    assert ended.status == 2
    assert ended.err.startswith("bpvet average: ")
    assert ended.out == ""


def saved(run, file, *more):
    words = ["165", "over300", "no-sound", "158x", "160"]
    options = ["--method", "doppler", "--save", file, "--animal", "=1+1"]
    return run("average", *words, *options, "--taken-at", "2026-03-01T10:15", *more)


def test_saved_readings_are_records(run, tmp_path):
    file = tmp_path / "readings-new.csv"
    ended = saved(run, file, "--exclude", "5=moved", "--site", "tail", "--state", "calmed")
    assert ended.status == 0
    assert "Saved 5 readings" in ended.err
    rows = list(csv.DictReader(io.StringIO(file.read_text(encoding="utf-8"))))
    assert [row["systolic"] for row in rows] == ["165", "> 300", "no sound", "158", "160"]
    assert [row["excluded"] for row in rows] == ["", "", "", "no reason given", "moved"]
    # A spreadsheet may open it; read takes the apostrophe off again.
    assert {row["animal"] for row in rows} == {"'=1+1"}
    assert [row["reading"] for row in rows] == ["1", "2", "3", "4", "5"]
    records = read(file, as_of="2026-04-01")
    (session,) = sessions(records).to_dict("records")
    # The first of five is left out; of the rest only the bound counts.
    assert (session["systolic"], session["systolic_bound"]) == (300.0, "at least")
    assert (session["condition"], session["site"], session["n_taken"]) == ("calmed", "tail", 5)
    assert session["animal"] == "=1+1"
    assert b"\r" not in file.read_bytes()


def test_saved_for_programs_the_text_stays(run, tmp_path):
    file = tmp_path / "readings.csv"
    assert saved(run, file, "--plain").status == 0
    assert "'" not in file.read_text(encoding="utf-8")


def test_saved_oscillometric_readings_give_the_same_session(run, tmp_path):
    file = tmp_path / "readings.csv"
    words = ["190/120/140/200", "160/100/118/180", "158/96/116/184", "162/99/120/182"]
    options = ["--method", "oscillometric", "--save", file, "--animal", "A", "--json"]
    held = json.loads(run("average", *words, *options).out)
    assert held["saved"] == str(file)
    (session,) = sessions(read(file)).to_dict("records")
    for name in ("systolic", "diastolic", "mean", "heart_rate"):
        assert session[name] == pytest.approx(held[name]["mean"])
        assert session[f"{name}_sd"] == pytest.approx(held[name]["sd"])


def test_a_file_is_never_replaced(run, tmp_path):
    file = tmp_path / "readings.csv"
    file.write_text("mine")
    ended = saved(run, file)
    assert (ended.status, file.read_text()) == (2, "mine")
    assert "already exists" in ended.err
    assert sorted(os.listdir(tmp_path)) == ["readings.csv"]


def test_saving_says_what_is_wrong(run, tmp_path):
    assert "does not exist" in saved(run, tmp_path / "no" / "r.csv").err
    assert "is a folder" in saved(run, tmp_path).err
    nameless = run("average", 165, "--method", "doppler", "--save", tmp_path / "r.csv")
    assert "needs --animal" in nameless.err
    assert saved(run, tmp_path / "r.csv", "--cuff-width-cm", "-3").status == 2
    assert saved(run, tmp_path / "r.csv", "--note", "a\x00b").status == 2
    assert os.listdir(tmp_path) == []
    assert "readings….csv" in saved(run, tmp_path / "r.csv").err


def test_it_loads_nothing_heavy(tmp_path):
    argv = ["average", "165", "158", "--method", "doppler", "--animal", "A"]
    argv += ["--save", str(tmp_path / "r.csv")]
    code = (
        f"import sys; from bpvet.command.main import main; main({argv!r})\n"
        "print('\\n'.join(sys.modules), file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    loaded = {name.partition(".")[0] for name in done.stderr.split()}
    heavy = {"numpy", "pandas", "scipy", "pyarrow", "matplotlib", "statsmodels", "formulaic"}
    assert "bpvet" in loaded
    assert not loaded & heavy


def _clinic(place, animals="A17,cat,Kipper\nB3,cat,Mog\nC4,dog,Mog\n"):
    (place / "readings.csv").write_text(
        "animal,taken_at,method,systolic\nA17,2025-01-01,doppler,150\n", encoding="utf-8"
    )
    (place / "animals.csv").write_text(f"animal,species,name\n{animals}", encoding="utf-8")


def _saved(run, place, animal):
    words = ("average", 165, 158, 160, "--method", "doppler", "--taken-at", "2025-03-01T10:00")
    return run(*words, "--save", place / "readings-new.csv", "--animal", animal)


@pytest.mark.parametrize("typed", ["Kipper", "kipper", "A17", "a17"])
def test_a_known_animal_s_name_is_saved_as_its_id(run, tmp_path, typed):
    _clinic(tmp_path)
    ended = _saved(run, tmp_path, typed)
    assert ended.status == 0
    found = read(tmp_path)
    assert set(found.readings["animal"]) == {"A17"}
    assert len(found.readings) == 4
    assert len(found.animals) == 3
    assert 'animal "A17"' in ended.out
    assert ("is the animal" in ended.err) is (typed != "A17")


def test_a_name_that_two_animals_bear_is_refused(run, tmp_path):
    _clinic(tmp_path)
    ended = _saved(run, tmp_path, "Mog")
    assert ended.status == 2
    assert '"B3", "C4"' in ended.err
    assert not (tmp_path / "readings-new.csv").exists()


def test_a_new_animal_is_said_to_be_one(run, tmp_path):
    _clinic(tmp_path)
    ended = _saved(run, tmp_path, "D9")
    assert ended.status == 0
    assert "it is a new one" in ended.err
    assert "D9" in set(read(tmp_path).readings["animal"])


def test_without_records_the_name_stays_as_typed(run, tmp_path):
    ended = _saved(run, tmp_path, "Kipper")
    assert ended.status == 0
    assert "new one" not in ended.err
    assert set(read(tmp_path).readings["animal"]) == {"Kipper"}
    plain = run("average", 165, 158, 160, "--method", "doppler", "--animal", "Kipper")
    assert 'animal "Kipper"' in plain.out
    assert plain.err == ""


def test_the_device_is_saved(run, tmp_path):
    words = ("average", 165, 158, 160, "--method", "doppler", "--animal", "A17")
    file = tmp_path / "readings-a17.csv"
    run(*words, "--instrument", "the grey one", "--save", file)
    assert set(read(file).readings["instrument"]) == {"the grey one"}
