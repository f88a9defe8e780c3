"""The example records: made by their script to the byte, written safely, every situation there."""

import csv
import io
import re
import statistics
from collections import defaultdict
from datetime import date, datetime
from itertools import pairwise

import pytest

from bpvet.errors import CallError
from bpvet.records.example import example_texts, write_example
from examples import make_example_records as script

SIGHTHOUND = "greyhound"


def table(name):
    return list(csv.DictReader(io.StringIO(example_texts()[f"{name}.csv"].decode("utf-8"))))


READINGS = table("readings")
ANIMALS = {row["animal"]: row for row in table("animals")}
TREATMENTS = table("treatments")


def readings(**cells):
    return [row for row in READINGS if all(row[k] == v for k, v in cells.items())]


def number(text):
    return float(re.sub(r"^[<>] ?", "", text))


def by_visit(rows):
    """Rows by (date, animal, method, setting, state, session label)."""
    visits = defaultdict(list)
    columns = ("animal", "method", "setting", "state", "session")
    for row in rows:
        key = (row["taken_at"][:10], *(row[column] for column in columns))
        visits[key].append(row)
    return visits


def session_means(animal, **cells):
    """Date and mean of each session, the first reading dropped, in order of date."""
    visits = by_visit(readings(animal=animal, **cells))
    return [
        (key[0], statistics.mean(number(r["systolic"]) for r in rows[1:] if plain(r)))
        for key, rows in sorted(visits.items())
    ]


def plain(row):
    return re.fullmatch(r"\d+|> \d+", row["systolic"]) is not None and row["excluded"] == ""


def drugs(animal):
    return [row for row in TREATMENTS if row["animal"] == animal]


# --- the files ---------------------------------------------------------------------------------


def test_the_script_reproduces_the_shipped_files_byte_for_byte():
    made = {name: text.encode("utf-8") for name, text in script.example_files().items()}
    assert made == example_texts()


def test_another_seed_gives_other_records(monkeypatch):
    monkeypatch.setattr(script, "SEED", script.SEED + 1)
    assert script.example_files()["readings.csv"].encode() != example_texts()["readings.csv"]


def test_files_are_tidy():
    for name, content in example_texts().items():
        assert b"\r" not in content, name
        assert content.endswith(b"\n"), name
        assert not content.startswith(b"\xef\xbb\xbf"), name
    for name, header in script.HEADERS.items():
        assert example_texts()[f"{name}.csv"].decode().split("\n", 1)[0] == header


def test_written_files_are_the_shipped_ones_and_may_be_written_again(tmp_path):
    folder = tmp_path / "new" / "records"
    names = write_example(folder)
    assert write_example(str(folder)) == names == sorted(p.name for p in folder.iterdir())
    assert {name: (folder / name).read_bytes() for name in names} == example_texts()


def test_a_folder_with_other_files_is_refused_and_left_alone(tmp_path):
    (tmp_path / "letter.txt").write_text("Dear owner")
    with pytest.raises(CallError, match=r'"letter\.txt".*Name a new or empty folder'):
        write_example(tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == ["letter.txt"]


def test_records_of_the_same_name_are_never_written_over(tmp_path):
    own = tmp_path / "readings.csv"
    own.write_text("animal,taken_at,method,systolic\n")
    with pytest.raises(CallError, match="not written over"):
        write_example(tmp_path)
    assert own.read_text() == "animal,taken_at,method,systolic\n"
    assert [p.name for p in tmp_path.iterdir()] == ["readings.csv"]


def test_a_file_in_place_of_the_folder_is_refused(tmp_path):
    (tmp_path / "here").write_text("")
    with pytest.raises(CallError, match="is a file, not a folder"):
        write_example(tmp_path / "here")
    with pytest.raises(CallError, match="cannot be written"):
        write_example(tmp_path / "here" / "below")


def test_a_failed_write_leaves_no_half_file(tmp_path, monkeypatch):
    def full(part, place):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.link", full)
    monkeypatch.setattr("os.replace", full)
    with pytest.raises(CallError, match="No space left on device"):
        write_example(tmp_path)
    assert list(tmp_path.iterdir()) == []


# --- what the records hold ---------------------------------------------------------------------


def test_said_to_be_invented():
    assert b"Everything here is invented" in example_texts()["ABOUT.txt"]
    assert all("(invented)" in row["clinic"] for row in ANIMALS.values())


def test_animals_are_unambiguous_and_each_table_speaks_of_them():
    assert 14 <= len(ANIMALS) <= 20
    names = [row["name"].casefold() for row in ANIMALS.values()]
    assert len(set(names)) == len(names)
    assert not set(names) & {animal.casefold() for animal in ANIMALS}
    assert "007" in ANIMALS
    assert {row["animal"] for row in READINGS} == set(ANIMALS) == set(script.TRUTHS)
    for name in ("treatments", "labs", "observations", "contacts"):
        assert {row["animal"] for row in table(name)} <= set(ANIMALS)


def test_two_years_on_days_when_the_practice_is_open():
    days = {date.fromisoformat(row["taken_at"][:10]) for row in READINGS}
    assert date(2024, 10, 1) <= min(days) < date(2024, 11, 1)
    assert date(2026, 10, 1) < max(days) <= date(2026, 10, 31)
    assert all(day.weekday() != 6 for day in days)
    dated = (
        *(("labs", "sampled_on"), ("observations", "seen_on"), ("treatments", "started_on")),
        ("contacts", "date"),
    )
    for name, column in dated:
        assert all(date.fromisoformat(row[column]) <= date(2026, 10, 31) for row in table(name))


def test_readings_look_like_a_clinics():
    doppler = [r for r in readings(method="doppler") if plain(r)]
    assert all(number(r["systolic"]) % 2 == 0 for r in doppler)
    for rows in by_visit(READINGS).values():
        # A dental is longer, and that day's two awake sessions share one key but for their hours.
        assert 4 <= len(rows) <= (10 if rows[0]["animal"] == "H27" else 7)
    for row in readings(method="oscillometric"):
        assert number(row["diastolic"]) < number(row["mean"]) < number(row["systolic"])
    for row in READINGS:
        if row["limb_circumference_cm"]:
            ratio = float(row["cuff_width_cm"]) / float(row["limb_circumference_cm"])
            small = row["animal"] == "D08" and row["taken_at"].startswith("2026-03-03")
            assert (ratio < 0.30) if small else (0.30 <= ratio <= 0.45)
    for column in ("site", "side", "posture", "demeanour", "operator"):
        assert sum(row[column] != "" for row in READINGS) > 0.9 * len(READINGS)


def test_session_means_scatter_round_the_table_of_truths():
    off = []
    for animal, truth in script.TRUTHS.items():
        # Animals measured by the oscillometer alone have their truth on its scale.
        method = "oscillometric" if animal in ("L09", "G11") else "doppler"
        # The first two visits hold most of an animal's excitement, which fades.
        for day, mean in session_means(animal, method=method, demeanour="calm")[2:]:
            home = readings(animal=animal, method=method, setting="home")
            at_home = day in {row["taken_at"][:10] for row in home}
            usual = truth.usual(date.fromisoformat(day)) + (truth.home if at_home else 0)
            off.append(mean - usual)
    assert len(off) > 80
    assert abs(statistics.mean(off)) < 4
    assert 8 < statistics.stdev(off) < 12


def test_main_example_a_kidney_cat_near_its_target():
    means = session_means("A17")
    assert len(means) == 14
    first, last = (date.fromisoformat(d) for d in (means[0][0], means[-1][0]))
    assert 21.5 < (last - first).days / 30.4375 < 23
    before = [m for d, m in means if d <= "2025-01-14"]
    after = [m for d, m in means if d > "2025-10-21"]
    assert min(before) >= 160
    assert 140 < statistics.mean(after) < 160
    doses = [(r["dose"], r["dose_unit"]) for r in drugs("A17") if r["drug"] == "amlodipine"]
    assert doses == [("0.5", "ml"), ("0.75", "ml")]
    analytes = {row["analyte"] for row in table("labs") if row["animal"] == "A17"}
    assert analytes >= {"creatinine", "sdma", "upc", "weight"}


def test_a_blind_cat_beyond_the_gauge():
    seen = [r for r in table("observations") if r["animal"] == "B04"]
    latest = max(row["taken_at"][:10] for row in readings(animal="B04"))
    signs = {(r["sign"], r["status"], r["seen_on"]) for r in seen}
    assert ("retinal detachment", "present", latest) in signs
    assert session_means("B04")[-1][1] >= 180
    assert any(row["systolic"] == "> 300" for row in readings(animal="B04"))


def test_a_treated_cat_reads_85_and_collapses():
    day, mean = session_means("C22")[-1]
    assert 80 <= mean < 90
    seen = {r["sign"] for r in table("observations") if r["animal"] == "C22"}
    assert "collapse" in seen
    assert all(r["started_on"] <= day and r["stopped_on"] == "" for r in drugs("C22"))
    assert any(row["systolic"] == "no sound" for row in readings(animal="C22"))


def test_a_dog_new_to_measuring_falls_without_a_drug():
    means = [mean for _, mean in session_means("D08")]
    assert ANIMALS["D08"]["species"] == "dog"
    assert ANIMALS["D08"]["measured_before"] == "no"
    assert drugs("D08") == []
    assert means[0] - statistics.mean(means[-3:]) > 30
    falling = [number(r["systolic"]) for r in readings(animal="D08")[:7]]
    assert falling[-1] < min(falling[:-1])
    assert falling[0] - falling[-1] > 10


def test_a_sighthound_and_animals_lower_at_home():
    assert ANIMALS["D15"]["breed"] == SIGHTHOUND
    for animal in ("D15", "007"):
        home = statistics.mean(m for _, m in session_means(animal, setting="home"))
        clinic = statistics.mean(m for _, m in session_means(animal, setting="clinic"))
        assert clinic - home > 10


def test_a_dental_day_between_two_awake_sessions():
    day = [r for r in READINGS if r["animal"] == "H27" and r["taken_at"].startswith("2026-03-24")]
    assert {row["state"] for row in day} == {"awake", "anaesthetised"}
    awake = [datetime.fromisoformat(r["taken_at"]) for r in day if r["state"] == "awake"]
    gaps = [(b - a).total_seconds() / 3600 for a, b in pairwise(awake)]
    assert sum(gap >= 2 for gap in gaps) == 1
    assert all(row["session"] == "" for row in day)
    assert readings(animal="H27", state="sedated")


def test_a_calming_drug_before_some_visits():
    days = {row["taken_at"][:10] for row in readings(animal="012", state="calmed")}
    assert days == {row["started_on"] for row in drugs("012") if row["drug"] == "gabapentin"}
    assert len(days) >= 3
    assert readings(animal="012", state="awake", demeanour="tense")


def test_doses_in_words_and_a_dose_change_in_numbers():
    words = [row["dose"] for row in drugs("E02") if row["drug"] == "amlodipine"]
    assert words[0] == "half a tablet"
    assert len(set(words)) == 2


def test_both_methods_at_one_visit_for_several_animals():
    pairs = defaultdict(set)
    for row in READINGS:
        if row["state"] in ("", "awake"):
            pairs[row["animal"], row["taken_at"][:10]].add(row["method"])
    both = [animal for (animal, _), methods in pairs.items() if len(methods) == 2]
    assert len(both) >= 20
    assert len(set(both)) >= 4


def test_three_courses_and_a_stopped_drug():
    assert len({row["drug"] for row in drugs("E31")}) == 3
    assert any(row["stopped_on"] and "stopped" in row["note"] for row in drugs("E31"))
    stopped = [row for row in drugs("M33") if row["stopped_on"]]
    after = [day for day, _ in session_means("M33") if day > stopped[0]["stopped_on"]]
    assert after[0] < drugs("M33")[1]["started_on"]


def test_who_left_who_is_young_who_has_a_target_and_who_came_once():
    assert ANIMALS["F19"]["left_reason"] == "moved"
    assert all(r["taken_at"] < ANIMALS["F19"]["left_on"] for r in readings(animal="F19"))
    born = date.fromisoformat(ANIMALS["G11"]["birth_date"])
    last = max(date.fromisoformat(r["taken_at"][:10]) for r in readings(animal="G11"))
    assert (last - born).days < 365
    assert ANIMALS["M33"]["target_systolic"] == "150"
    assert len(session_means("G03")) == 1


def test_one_visit_with_all_but_one_excluded():
    rows = [r for r in readings(animal="F19") if r["taken_at"].startswith("2025-08-12")]
    assert sum(row["excluded"] == "" for row in rows) == 1
    assert len(rows) >= 4
    assert len({row["excluded"] for row in rows}) >= 3


def test_several_labelled_sessions_a_day_and_untimed_rows():
    labels = {row["session"] for row in readings(animal="M33") if "2026-01-13" in row["taken_at"]}
    assert labels == {"morning", "noon", "afternoon"}
    untimed = [row for row in READINGS if len(row["taken_at"]) == 10]
    assert {row["animal"] for row in untimed} == {"007", "E02"}


def test_raised_twice_untreated_stable_treated_and_creeping_up():
    raised = session_means("J05")
    assert len(raised) == 2
    assert min(mean for _, mean in raised) >= 160
    assert drugs("J05") == []
    stable = [mean for day, mean in session_means("J40", method="doppler") if day > "2024-11-01"]
    assert max(stable) < 150
    assert len(stable) >= 8
    creeping = [mean for _, mean in session_means("K12")]
    assert statistics.mean(creeping[-3:]) - statistics.mean(creeping[:3]) > 20
    assert drugs("K12") == []
    creatinine = [
        float(row["value"])
        for row in table("labs")
        if row["animal"] == "K12" and row["analyte"] == "creatinine"
    ]
    assert creatinine[-1] > 1.5 * creatinine[0]


def test_an_oscillometric_only_dog_with_counted_pulses():
    rows = readings(animal="L09")
    assert {row["method"] for row in rows} == {"oscillometric"}
    assert all(r["diastolic"] and r["mean"] and r["heart_rate"] for r in rows)
    apart = [
        r
        for r in rows
        if abs(int(r["counted_pulse"]) / int(r["heart_rate"]) - 1) > 0.10  # 10 % is the flag
    ]
    assert len(apart) == 1


def test_a_long_record_of_forty_sessions():
    means = session_means("E02", method="doppler")
    assert len(means) == 40
    first, last = (date.fromisoformat(d) for d in (means[0][0], means[-1][0]))
    assert (last - first).days > 2 * 365


def test_the_slips_are_there_and_only_those():
    odd = [r for r in READINGS if not re.fullmatch(r"\d+|> \d+|no sound", r["systolic"])]
    assert [(r["animal"], r["systolic"]) for r in odd] == [("K12", "16O")]
    given = [r for r in readings(method="doppler") if r["diastolic"] or r["mean"]]
    assert [(r["animal"], r["diastolic"]) for r in given] == [("D15", "92")]
    assert [r["animal"] for r in READINGS if r["excluded"] == "no"] == ["012"]
    whole = [tuple(row.values()) for row in READINGS if len(row["taken_at"]) > 10]
    assert len(whole) - len(set(whole)) == 1


def test_a_cat_with_kidney_disease_has_stages_and_a_reaction():
    (telmisartan, amlodipine) = drugs("N14")[1:]
    assert (telmisartan["drug"], telmisartan["stopped_on"]) == ("telmisartan", "2026-04-02")
    assert amlodipine["started_on"] > telmisartan["stopped_on"]
    own = [row for row in table("labs") if row["animal"] == "N14"]
    assert {row["analyte"] for row in own} == set(script.UNITS)
    values = {
        row["sampled_on"]: float(row["value"]) for row in own if row["analyte"] == "creatinine"
    }
    rise = values["2026-03-31"] - values["2026-03-10"]
    assert rise > 45
    assert rise / values["2026-03-10"] > 0.15
    assert values["2026-04-14"] < values["2026-03-31"] - 45
    (found,) = [row for row in table("observations") if row["sign"] == "chronic kidney disease"]
    assert (found["animal"], found["status"]) == ("N14", "present")
