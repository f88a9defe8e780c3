"""`bpvet plan`: a new animal, one already measured, a study; and what does not go together."""

import json
from pathlib import Path

import pytest

from bpvet.records.example import write_example
from tests.command.small import AS_OF


def test_a_new_animal_needs_no_records(run):
    ended = run("plan", "--visits", 7, "--within", 15, "--effect", 15)
    assert (ended.status, ended.err) == (0, "")
    parts = ended.out.split("\n\n")
    assert parts[0].startswith("A new cat measured by Doppler: after seven weekly visits")
    table = next(part for part in parts if part.startswith("Half-widths at 95 %"))
    assert table.splitlines()[2].split("  ")[0] == "visits"
    assert parts[-2].startswith("Notes\n- ")
    assert parts[-1].startswith("Cautions\n- This supports the judgement")


def test_options_reach_the_plan(run):
    ended = run(
        "plan", "--species", "dog", "--method", "oscillometric", "--visits", 6, "--readings", 3,
        "--every", 14, "--drug", "Amlodipine besylate", "--before", 2, "--used-to-it", "--level",
        "0.9", "--effect", 20, "--animals", 12, "--response-sd", 5, "--json",
    )  # fmt: skip
    held = json.loads(ended.out)
    named = {"species": "dog", "method": "oscillometric", "visits": 6, "readings": 3,
             "every_days": 14, "drug": "amlodipine", "tau_days": 3.0, "before": 2,
             "used_to_it": True, "level": 0.9}  # fmt: skip
    assert {name: held[name] for name in named} == named
    assert held["study"]["animals"] == 12
    assert held["study"]["response_sd"] == 5.0


def test_other_quantities_take_the_method_that_gives_them(run):
    held = json.loads(run("plan", "--quantity", "heart_rate", "--json").out)
    assert (held["method"], held["unit"]) == ("oscillometric", "/min")
    at_home = json.loads(run("plan", "--condition", "home", "--json").out)
    assert at_home["priors"]["first_visit"] is None


def test_an_animal_already_measured(run, clinic):
    argv = ("plan", clinic, "--animal", "Pilchard", "--as-of", AS_OF, "--visits", 3)
    ended = run(*argv, "--within", 12)
    assert ended.status == 0
    assert ended.out.startswith("Pilchard (A17), by Doppler, in the clinic, awake: ")
    assert "After three further weekly visits" in ended.out
    held = json.loads(run(*argv, "--json").out)
    assert (held["animal"], held["visits"], held["within"]) == ("A17", 3, 10.0)


@pytest.mark.parametrize(("animal", "rule"), [("B04", "sign_current"), ("C22", "low")])
def test_what_is_urgent_comes_before_a_plan(run, tmp_path, animal, rule):
    """No plan of weekly visits for the blind or the collapsed cat without it."""
    write_example(tmp_path / "records")
    argv = ("plan", tmp_path / "records", "--animal", animal, "--as-of", "2026-11-01")
    assert run(*argv).out.startswith("Urgent: ")
    held = json.loads(run(*argv, "--json").out)
    assert held["urgent"][0]["rule"] == rule
    assert held["statements"][0]["key"] == f"urgent.{rule}"


def test_a_visit_without_a_usable_reading_comes_before_a_plan(run):
    folder = Path(__file__).parents[1] / "scenarios" / "could_not_be_measured"
    argv = ("plan", folder, "--animal", "F71", "--as-of", "2026-11-30")
    assert run(*argv).out.startswith("On 20 November 2026 three readings are on record")
    keys = [one["key"] for one in json.loads(run(*argv, "--json").out)["statements"]]
    assert keys.index("unmeasured") < keys.index("signs.note") < keys.index("plan.known")


@pytest.mark.parametrize(
    ("argv", "said"),
    [
        (["--visits", "0"], "not a whole number"),
        (["--visits", "61"], "from 1 to 60"),
        (["--within", "-3"], "not a positive number"),
        (["--within", "nan"], "not a positive number"),
        (["--animal", "A17"], "--animal goes with PATH"),
        (["--bridge", "methods"], "--bridge goes with PATH"),
        (["--power", "0.8"], "--power needs --effect"),
        (["--effect", "15", "--power", "0.8", "--animals", "9"], "--power or --animals"),
        (["--effect", "0.1"], "more than 5000 animals"),
        (["--effect", "15", "--visits", "1"], "two visits"),
        (["--drug", "water"], "not a drug"),
        (["--drug", "gabapentin"], "not a drug"),
        (["--quantity", "mean", "--method", "doppler"], "oscillometric"),
        (["--quantity", "creatinine"], "not for creatinine"),
        (["--priors", "nowhere.toml"], "cannot be read"),
        (["nowhere", "--animal", "A17"], "nowhere"),
        (["nowhere"], "needs --animal"),
        (["nowhere", "--animal", "A17", "--effect", "15"], "--effect is for"),
        (["nowhere", "--animal", "A17", "--used-to-it"], "--used-to-it is for"),
    ],
)
def test_calls_that_are_wrong(run, argv, said):
    ended = run("plan", *argv)
    assert (ended.status, ended.out) == (2, "")
    assert said in ended.err
