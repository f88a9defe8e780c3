"""`bpvet trend`, `figure`, `report` and `example`: thin commands over the rooms below."""

import json
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

from bpvet import Priors, PriorTable
from bpvet.command.shared.output import printable, terminal_width, wrapped
from bpvet.command.trend import heading, numbers_table, trend_text
from bpvet.errors import FitError
from bpvet.models.trend.fit import fit_trend
from bpvet.records.example import example_texts, write_example
from bpvet.records.read import read
from bpvet.records.read_options import ReadOptions
from tests.answers.statements import assert_statements
from tests.command.small import AS_OF, write_readings

SCENARIOS = Path(__file__).parents[1] / "scenarios"


@pytest.fixture(scope="module")
def answer(clinic):
    return fit_trend(read(clinic, as_of=AS_OF), "A17").answer()


def test_text_runs_from_urgent_to_cautions(answer):
    said = trend_text(answer)
    parts = said.split("\n\n")
    whole = (
        "Pilchard (A17), cat: systolic pressure, Doppler, in the clinic, awake, as of 1 June 2026"
    )
    assert parts[0].replace("\n", " ") == heading(answer) == whole
    assert parts[1].startswith("By Doppler, in the clinic")
    assert said.index("usual on 2026-03-02") < said.index("Cautions\n- ")
    assert all(len(line) <= terminal_width() for line in said.split("Cautions")[1].splitlines())


def test_the_table_repeats_the_numbers(answer):
    rows = {row[0]: row[1:] for row in numbers_table(answer).rows}
    latest = answer.latest
    assert rows["usual on 2026-03-02"] == (
        f"{latest.estimate:.0f}",
        f"{latest.lower:.0f} to {latest.upper:.0f}",
        "mmHg",
    )
    assert "amlodipine from 2026-01-19, full effect" in rows


def test_json_is_the_answer_and_has_no_nan(run, clinic, answer):
    ended = run("trend", clinic, "--animal", "pilchard", "--as-of", AS_OF, "--json")
    assert ended.status == 0

    def refuse(text):
        raise AssertionError(text)

    held = json.loads(ended.out, parse_constant=refuse)
    # This animal has no laboratory value to lay beside its pressure.
    assert held == json.loads(json.dumps(answer.to_dict() | {"joint": []}, allow_nan=False))
    assert_statements(held, {"usual", "next_session"})
    wanted = "animal species method condition quantity unit bridged as_of sessions latest urgent"
    wanted += " category target slope courses treatments surprise next_session share_at_target"
    wanted += " variability recheck priors assumptions sentences statements"
    wanted += " cautions other_series findings"
    assert set(held) >= {*wanted.split(), "version", "data_digest"}


def test_a_level_and_a_guideline(run, clinic):
    more = ("--level", "0.5", "--guideline", "iris2023", "--rule", "all")
    ended = run("trend", clinic, "--animal", "A17", "--as-of", AS_OF, *more)
    assert ended.status == 0
    assert "50 % interval" in ended.out
    assert "IRIS" in ended.out


@pytest.mark.parametrize(
    "more",
    [
        ["--animal", "A71"],
        ["--animal", ""],
        [],
        ["--animal", "A17", "--method", "oscillometric"],
        ["--animal", "A17", "--quantity", "diastolic"],
        ["--animal", "A17", "--condition", "home"],
        ["--animal", "A17", "--condition", "sedated"],
        ["--animal", "A17", "--level", "95"],
        ["--animal", "A17", "--level", "nan"],
        ["--animal", "A17", "--guideline", "acvim"],
        ["--animal", "A17", "--bridge", "animals"],
    ],
)
def test_wrong_calls(run, clinic, tmp_path, more):
    ended = run("trend", clinic, *more)
    assert (ended.status, ended.out) == (2, "")
    assert "bpvet trend: " in ended.err
    out = ("-o", tmp_path / "a.svg")
    assert run("figure", clinic, *more, *out).status == 2


def test_an_animal_without_a_session_is_answered_and_has_no_figure(run, clinic, tmp_path):
    before = ("--animal", "A17", "--as-of", "1999-01-01")
    held = json.loads(run("trend", clinic, *before, "--json").out)
    assert held["latest"] is None
    assert held["reason"]
    assert held["recheck"]["state"] == "screen"
    assert "No usual pressure can be given" in run("trend", clinic, *before).out
    assert run("figure", clinic, *before, "-o", tmp_path / "a.svg").status == 2
    assert list(tmp_path.iterdir()) == []


def test_priors_of_the_clinic_are_named(run, clinic, tmp_path):
    file = tmp_path / "clinic.toml"
    own = replace(Priors.default("cat", "doppler", "systolic"), level=(90.0, 5.0), source="ours")
    PriorTable({("cat", "doppler", "systolic"): own}, "clinic 2026").save(file)
    argv = ("trend", clinic, "--animal", "B2", "--as-of", AS_OF, "--json")
    plain = json.loads(run(*argv).out)
    ours = json.loads(run(*argv, "--priors", file).out)
    # A level held at 90 pulls the estimate of a single session down.
    assert ours["latest"]["estimate"] < plain["latest"]["estimate"] - 5
    assert ours["priors"]["level"] == [90.0, 5.0]


@pytest.mark.parametrize("text", [None, "", "level = 3", "[[cell]]", "\x00"])
def test_priors_that_are_none(run, clinic, tmp_path, text):
    file = tmp_path / "clinic.toml"
    if text is not None:
        file.write_text(text)
    for command in (["trend"], ["figure", "-o", tmp_path / "a.svg"], ["report", "-o", tmp_path]):
        argv = (command[0], clinic, "--animal", "A17", *command[1:], "--priors", file)
        ended = run(*argv)
        assert (ended.status, ended.out) == (2, "")
        assert "clinic.toml" in ended.err


def test_records_that_stop_the_work(run, tmp_path):
    (tmp_path / "readings.csv").write_text("animal,systolic\nA,150\n")
    for command in (
        ["trend"],
        ["figure", "-o", tmp_path / "a.svg"],
        ["report", "-o", tmp_path / "o"],
    ):
        ended = run(command[0], tmp_path, "--animal", "A", *command[1:])
        assert (ended.status, ended.out) == (1, "")
        assert 'readings.csv, line 1: The required column "taken_at" is missing.' in ended.err
    assert [file.name for file in tmp_path.iterdir()] == ["readings.csv"]


def test_text_from_the_records_cannot_move_the_terminal(run, tmp_path):
    folder = write_readings(tmp_path / "r", "A\x1b[2J,2026-01-01,doppler,150")
    ended = run("trend", folder, "--animal", "A\x1b[2J", "--as-of", AS_OF)
    assert ended.status == 0
    assert "\x1b" not in ended.out + ended.err


def test_findings_about_the_animal_are_shown(run, tmp_path):
    rows = [f"A,2026-01-0{day},doppler,1{day}O" for day in range(1, 6)]
    folder = write_readings(tmp_path / "r", "\n".join([*rows, "A,2026-01-01,doppler,150"]))
    said = run("trend", folder, "--animal", "A", "--as-of", AS_OF).out
    assert "Found in these records\n- readings.csv" in said
    assert "more; bpvet check shows all" in said


def test_a_figure_and_its_words(run, clinic, tmp_path):
    image = tmp_path / "trend.svg"
    argv = ("figure", clinic, "--animal", "A17", "--as-of", AS_OF, "-o", image)
    ended = run(*argv, "--width", 100, "--json")
    held = json.loads(ended.out)
    assert held["figure"] == str(image)
    words = (tmp_path / "trend.txt").read_text(encoding="utf-8")
    assert held["caption"] in words
    assert held["alternative_text"] in words
    assert image.read_bytes().startswith(b"<?xml")
    again = run(*argv)
    assert again.status == 2
    assert "--force" in again.err
    assert run(*argv, "--force").status == 0
    assert sorted(file.name for file in tmp_path.iterdir()) == ["trend.svg", "trend.txt"]


def test_laboratory_values_stand_under_the_pressure_on_request(run, tmp_path):
    clinic = tmp_path / "clinic"
    write_example(clinic)
    argv = ("figure", clinic, "--animal", "A17", "--as-of", "2026-11-01", "--json")
    plain = json.loads(run(*argv, "-o", tmp_path / "plain.svg").out)
    below = json.loads(run(*argv, "-o", tmp_path / "labs.svg", "--labs").out)
    assert "small lines" in plain["caption"].casefold()
    assert "Creatinine: 10 values between 178 and 249" in plain["alternative_text"]
    assert "small lines" not in below["caption"].casefold()
    assert "Creatinine: 10 values between 178 and 249" in below["alternative_text"]
    assert "stages of the IRIS 2019 kidney guidance (cat)" in below["caption"]


@pytest.mark.parametrize(
    ("name", "more"),
    [("trend.gif", []), ("trend", []), ("trend.svg", ["--width", "12"]), ("no/trend.svg", [])],
)
def test_figures_that_cannot_be(run, clinic, tmp_path, name, more):
    ended = run("figure", clinic, "--animal", "A17", "-o", tmp_path / name, *more)
    assert (ended.status, ended.out) == (2, "")
    assert list(tmp_path.iterdir()) == []


def test_words_beside_a_figure_are_not_replaced(run, clinic, tmp_path):
    (tmp_path / "trend.txt").write_text("mine")
    ended = run("figure", clinic, "--animal", "A17", "-o", tmp_path / "trend.png")
    assert ended.status == 2
    assert [file.name for file in tmp_path.iterdir()] == ["trend.txt"]


def test_a_report_is_asked_for_with_everything_said(run, clinic, tmp_path, monkeypatch):
    asked = {}

    def write_report(kind, path, out, choices, way):
        asked.update(kind=kind.name, path=path, choices=choices, out=out, way=way)
        return SimpleNamespace(
            page="o/A17.html", notebook="o/A17.ipynb", parameters="o/p.json", pdf=None
        )

    monkeypatch.setattr("bpvet.reports.writing.write_report", write_report)
    argv = ("report", clinic, "--animal", "A17", "-o", tmp_path / "o", "--as-of", AS_OF, "--force")
    how = ("--columns", "a=animal", "--dates", "dmy", "--unit", "kpa", "--encoding", "cp1252")
    ended = run(*argv, "--level", "0.9", "--bridge", "methods", *how)
    assert ended.status == 0
    assert '"o/A17.html"; open it in any browser' in ended.out
    choices, way = asked["choices"], asked["way"]
    assert (asked["kind"], choices.animal, choices.level) == ("animal", "A17", 0.9)
    assert choices.bridge == ("methods",)
    assert (way.force, way.as_of) == (True, AS_OF)
    assert way.reading == ReadOptions("a=animal", "dmy", "kPa", "cp1252")
    held = json.loads(run(*argv, "--json").out)
    files = {"page": "o/A17.html", "notebook": "o/A17.ipynb", "parameters": "o/p.json"}
    assert held == files | {"pdf": None}


def test_a_real_report_of_an_animal_with_a_hostile_id(run, tmp_path):
    folder = write_readings(tmp_path / "r", "../../x<script>,2026-01-01,doppler,150")
    before = sorted(tmp_path.rglob("*"))
    argv = ("report", folder, "--animal", "../../x<script>", "--as-of", AS_OF, "-o", tmp_path / "o")
    held = json.loads(run(*argv, "--json").out)
    new = [file for file in sorted(tmp_path.rglob("*")) if file not in before]
    assert all(file == tmp_path / "o" or file.parent == tmp_path / "o" for file in new)
    with open(held["page"], encoding="utf-8") as page:
        assert "<script" not in page.read()
    assert run(*argv).status == 0


def test_example_records(run, tmp_path):
    folder = tmp_path / "my records"
    ended = run("example", folder)
    assert ended.status == 0
    assert f"bpvet check '{folder}'" in ended.out
    assert sorted(file.name for file in folder.iterdir()) == sorted(example_texts())
    held = json.loads(run("example", folder, "--json").out)
    assert held["files"] == sorted(example_texts())
    (folder / "animals.csv").write_text("mine")
    refused = run("example", folder)
    assert (refused.status, (folder / "animals.csv").read_text()) == (2, "mine")


def test_example_records_have_something_to_say_and_nothing_that_stops(run, tmp_path):
    run("example", tmp_path / "e")
    ended = run("check", tmp_path / "e", "--as-of", "2026-11-01")
    assert ended.status == 0
    assert '"16O" is not a number' in ended.out


def test_numbers_stay_with_their_units(monkeypatch):
    monkeypatch.setenv("COLUMNS", "40")
    lines = wrapped("The usual systolic pressure was about 153 mmHg then").splitlines()
    assert lines == ["The usual systolic pressure was about", "153 mmHg then"]
    assert wrapped("long word " + "x" * 60, "  ", "- ").splitlines()[0] == "- long word"


def test_printable():
    assert printable("a\x1b[0m\u202eb\nc👩‍🚀") == "a [0m b\nc👩‍🚀"


def test_five_lines(run, clinic):
    ended = run("trend", clinic, "--animal", "A17", "--as-of", AS_OF, "--short")
    assert ended.status == 0
    assert "licensed veterinarian" in " ".join(ended.out.split())
    lines = [line for line in ended.out.splitlines() if line.startswith("- ")]
    assert 4 <= len(lines) <= 5


def test_a_fit_that_fails_hides_nothing_urgent(run, tmp_path, monkeypatch):
    """The animal whose readings no fit can take may be the one that cannot wait."""
    rows = ["animal,taken_at,method,systolic"]
    for day, value in (("2026-01-05", "216"), ("2026-01-12", ">300")):
        rows += [f"A1,{day},doppler,{value}"] * 3
    (tmp_path / "readings.csv").write_text("\n".join(rows) + "\n")
    (tmp_path / "animals.csv").write_text("animal,species\nA1,cat\n")

    def fails(*_: object, **__: object) -> None:
        raise FitError("The search did not settle; no numbers are given.")

    monkeypatch.setattr("bpvet.models.trend.fit.fit_trend", fails)
    monkeypatch.setattr("bpvet.reports.animal.report.fit_trend", fails)
    asked = (tmp_path, "--animal", "A1", "--as-of", "2026-01-12")
    done = run("trend", *asked)
    assert done.status == 0
    assert done.out.index("Urgent: ") < done.out.index("did not settle")
    told = json.loads(run("trend", *asked, "--json").out)
    assert [one["rule"] for one in told["urgent"]] == ["severe"]
    assert told["recheck"]["latest"] is not None
    for command in ("figure", "report"):
        done = run(command, *asked, "-o", tmp_path / f"{command}.svg")
        assert done.status == 1
        assert done.err.index("Urgent: ") < done.err.index("did not settle")


def test_no_form_of_the_command_names_a_day_ahead_beside_a_sign_nobody_answered(run):
    """A dog that collapsed three months ago: what became of it is asked, and no date is given."""
    folder = SCENARIOS / "collapse_three_months_ago"
    for as_of, asked in (("2026-08-15", True), ("2026-08-25", False)):
        call = ("trend", folder, "--animal", "K41", "--as-of", as_of)
        for more in ((), ("--short",)):
            out = " ".join(run(*call, *more).out.split())
            assert ("First find out" in out.replace("first", "First")) is asked
            assert ("Measure again" in out, "2027" in out) == (not asked, not asked)
            assert ("mean of a session on 2026-08-15" in out) is (asked and not more)
        told = json.loads(run(*call, "--json").out)
        assert told["recheck"]["read_first"] == (["still"] if asked else [])
        assert (told["recheck"]["latest"] is None) is asked
