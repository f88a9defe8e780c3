"""A species and an analyte are one block of TOML each: added to a copy of the package, and met.

The figures of the two blocks are invented, and of no rabbit and no laboratory.
"""

import ast
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import bpvet
from bpvet.errors import CallError
from bpvet.facts import blocks, species
from bpvet.facts.analytes import Analyte, all_analytes
from bpvet.facts.categories import guideline
from bpvet.facts.sources import BLOCK_FILES, TOPICS, fact, table
from bpvet.facts.species import Species, all_species

PACKAGE = Path(bpvet.__file__).parent

RABBIT = """
[rabbit]
plural = "rabbits"
other_words = ["lagomorph"]
latin = ["oryctolagus cuniculus"]

[rabbit.priors]
first_visit = [5.0, 8.0]
systolic.doppler = { level = [120, 35], sv = [12, 0.6], sr = [9, 0.5], sw = [6, 0.6], effect_sd = 40, increment_sd = 15, slope_sd = 2 }
systolic.oscillometric = { level = [120, 35], sv = [12, 0.6], sr = [11, 0.5], sw = [6, 0.6], effect_sd = 40, increment_sd = 15, slope_sd = 2 }
heart_rate = { level = [220, 40], sv = [20, 0.5], sr = [10, 0.5], sw = [10, 0.5], effect_sd = 30, increment_sd = 12, slope_sd = 3 }
weight = { level = [2.5, 0.5], sv = [0.02, 0.5], sw = [0.03, 0.5], effect_sd = 0.05, increment_sd = 0.03, slope_sd = 0.01 }

[rabbit.facts."limits.heart_rate.rabbit"]
unit = "/min"
species = "rabbit"
source = "project"
locator = "invented for a test"
grade = "J"
parts = [{ id = "note", low = 130, high = 325 }, { id = "aside", low = 60, high = 450 }]

[rabbit.facts."limits.cuff_ratio.rabbit"]
unit = "1"
species = "rabbit"
source = "project"
locator = "invented for a test"
grade = "J"
parts = [{ id = "note", low = 0.30, high = 0.40 }, { id = "aside", low = 0, high = 1.5 }]

[rabbit.facts."limits.weight.rabbit"]
unit = "kg"
species = "rabbit"
source = "project"
locator = "invented for a test"
grade = "J"
parts = [{ id = "note", low = 0.8, high = 8 }, { id = "aside", low = 0.05, high = 12 }]
"""  # noqa: E501  (rows of a data file)

GLUCOSE = """
[glucose]
name = "glucose"
short = "GLU"
decimals = 1
other_words = ["bg"]
in_letter = true
priors = { level = [5.5, 0.4], sv = [0.15, 0.5], sw = [0.10, 0.5], effect_sd = 0.2, increment_sd = 0.1, slope_sd = 0.03 }

[glucose.units]
"mmol/L" = { limits = "limits.glucose.mmol" }
"mg/dL" = { factor = "unit.glucose", decimals = 0 }

[glucose.facts."limits.glucose.mmol"]
unit = "mmol/L"
quantity = "glucose"
source = "project"
locator = "invented for a test"
grade = "J"
parts = [{ id = "note", low = 2, high = 30 }, { id = "aside", low = 0.5, high = 80 }]

[glucose.facts."unit.glucose"]
value = 0.0555
unit = "mmol/L"
quantity = "glucose"
source = "SI"
locator = "molar masses"
grade = "D"
caution = "10 / 180.16 g/mol = 0.0555."
"""  # noqa: E501  (rows of a data file)

READINGS = """animal,taken_at,method,systolic,heart_rate
R1,2026-01-05T10:00,oscillometric,200,240
R1,2026-01-05T10:02,oscillometric,196,235
R1,2026-01-05T10:04,oscillometric,199,238
R1,2026-02-05T10:00,oscillometric,150,330
R1,2026-02-05T10:02,oscillometric,156,240
R1,2026-02-05T10:04,oscillometric,159,500
R1,2026-03-05T10:00,oscillometric,188,240
R1,2026-03-05T10:02,oscillometric,186,250
R1,2026-03-05T10:04,oscillometric,189,240
"""
AS_OF = ("--as-of", "2026-03-20")

#: Runs commands one after the other in one process; prints what each ended with and wrote.
RUNNING = """
import contextlib, io, json, sys
from bpvet.command.main import main
found = []
for arguments in json.loads(sys.argv[1]):
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        status = main(arguments)
    found.append([status, out.getvalue()])
print(json.dumps(found))
"""


def add_block(folder, file, block):
    """Copy the package into a folder, with one more block in a data file."""
    # What was compiled is copied too, and still fits: a copy keeps the times of its files.
    shutil.copytree(PACKAGE, folder / "bpvet")
    path = folder / "bpvet" / "facts" / file
    path.write_text(path.read_text(encoding="utf-8") + block, encoding="utf-8")


def run(folder, *commands):
    """Run commands of the copy in a folder; return what they print; all of them end well."""
    ended = subprocess.run(
        [sys.executable, "-c", RUNNING, json.dumps(commands)],
        cwd=folder,
        env=os.environ | {"PYTHONPATH": str(folder)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert ended.returncode == 0, ended.stderr
    found = json.loads(ended.stdout)
    assert [status for status, _ in found] == [0] * len(commands), ended.stderr
    return [text for _, text in found]


def records(folder, animals, labs):
    (folder / "records").mkdir()
    files = {"readings": READINGS, "animals": animals, "labs": labs}
    for name, text in files.items():
        (folder / "records" / f"{name}.csv").write_text(text, encoding="utf-8")


def test_a_rabbit_is_one_block(tmp_path):
    """It is read, checked, fitted and drawn; nothing of cats and dogs is laid on it."""
    add_block(tmp_path, "species.toml", RABBIT)
    labs = "animal,sampled_on,analyte,value,unit\nR1,2026-01-05,weight,2.5,kg\n"
    labs += "R1,2026-02-05,weight,11,kg\nR1,2026-02-05,creatinine,150,µmol/L\n"
    records(tmp_path, "animal,species,name\nR1,rabbit,Clover\nR2,Lagomorph,Sprat\n", labs)
    at = ("records", "--animal", "R1")
    readings = ("205", "210", "207", "209")
    check, trend, rate, weight, letter, due, average, plan = run(
        tmp_path,
        ["check", "records", *AS_OF],
        ["trend", *at, *AS_OF, "--json"],
        ["trend", *at, *AS_OF, "--quantity", "heart_rate", "--json"],
        ["trend", *at, *AS_OF, "--quantity", "weight"],
        ["figure", *at, *AS_OF, "--letter", "-o", "letter.html"],
        ["due", "records", *AS_OF],
        ["average", "--species", "rabbit", "--method", "doppler", *readings],
        ["plan", "--species", "rabbit"],
    )
    check = " ".join(check.replace("|", " ").split())
    assert "animals: 2 (1 rabbit, 1 of unknown species)" in check
    assert '"500" cannot be a heart rate per minute: above 450.' in check
    assert '"330" is unusual for a heart rate per minute: outside 130 to 325.' in check
    assert "11 kg is unusual for weight of a rabbit: outside 0.8 to 8 kg." in check
    assert 'Write "cat", "dog" or "rabbit". Did you mean "rabbit"?' in check
    trend = json.loads(trend)
    assert trend["species"] == "rabbit"
    assert trend["category"]["probability"] is None
    assert trend["category"]["withheld"].endswith("for this species (rabbit)")
    assert trend["target"]["value"] is None
    # 190 mmHg, in the range called severe of cats and dogs: nothing urgent is made of it.
    assert trend["urgent"] == []
    assert 120 < trend["latest"]["estimate"] < 200
    assert trend["priors"]["level"] == [120, 35]
    assert json.loads(rate)["priors"]["level"] == [220, 40]
    assert "Clover (R1), rabbit: weight" in weight
    assert "The letter is in" in letter
    page = (tmp_path / "letter.html").read_text(encoding="utf-8")
    assert "Rabbit" in page
    assert "no intervals are on file for this species (rabbit)" in " ".join(due.split()).lower()
    assert "No range is named: no categories are on file for this species (rabbit)." in average
    assert "organ damage" not in average
    assert plan.startswith("A new rabbit measured by Doppler")


def test_an_analyte_is_one_block(tmp_path):
    """It is read in both of its units, checked, fitted, drawn and in the letter; no stage."""
    add_block(tmp_path, "analytes.toml", GLUCOSE)
    labs = "animal,sampled_on,analyte,value,unit\nR1,2026-01-05,Glucose,6.5,mmol/L\n"
    labs += "R1,2026-02-05,glucose,120,mg/dL\nR1,2026-03-05,glucose,45,mmol/l\n"
    labs += "R1,2026-03-06,glucose,450,mmol/L\nR1,2026-03-07,bg,6,mmol/L\n"
    records(tmp_path, "animal,species,name\nR1,cat,Clover\n", labs)
    at = ("records", "--animal", "R1", *AS_OF)
    check, trend, words, *_ = run(
        tmp_path,
        ["check", "records", *AS_OF],
        ["trend", *at, "--quantity", "glucose", "--json"],
        ["trend", *at, "--quantity", "glucose"],
        ["figure", *at, "--quantity", "glucose", "-o", "glucose.svg"],
        ["figure", *at, "--letter", "-o", "letter.html"],
    )
    check = " ".join(check.replace("|", " ").split())
    assert "450 mmol/L is not plausible as glucose: 0.5 to 80 mmol/L is what can be." in check
    assert "45 mmol/L is unusual for glucose: outside 2 to 30 mmol/L." in check
    assert '"bg" is not an analyte known here; glucose is.' in check
    trend = json.loads(trend)
    assert (trend["quantity"], trend["unit"], len(trend["sessions"])) == ("glucose", "mmol/L", 3)
    # 120 mg/dL is 6.66 mmol/L.
    assert trend["sessions"][1]["mean"] == pytest.approx(120 * 0.0555)
    assert "the usual glucose was" in words
    caption = (tmp_path / "glucose.txt").read_text(encoding="utf-8")
    assert "Of the values 1 in mg/dL is drawn in mmol/L" in caption
    assert "stage" not in caption
    page = (tmp_path / "letter.html").read_text(encoding="utf-8")
    assert "Glucose" in page or "GLU" in page


def test_every_block_holds_what_it_names():
    """Ids of facts and rows in the blocks are there, and facts of blocks are of a topic."""
    for one in all_species().values():
        for id in (one.fhir, one.snomed, one.cuff, one.fast_heart, one.new_visits):
            assert not id or fact(id)
        rows = {row["key"] for row in table("recheck")["row"]}
        assert not one.screen or one.screen in rows
        for quantity in ("heart_rate", "cuff_ratio", "weight"):
            assert fact(f"limits.{quantity}.{one.name}.note")
    for one in all_analytes().values():
        for unit in one.units.values():
            for name in ("factor", "ucum"):
                assert name not in unit or fact(unit[name])
            for kind in all_species() if "limits" in unit else ():
                assert fact(f"{unit['limits'].format(species=kind)}.note")
    for file in BLOCK_FILES:
        for block in table(file).values():
            for id, entry in block.get("facts", {}).items():
                assert id.partition(".")[0] in TOPICS
                assert fact(f"{id}.{entry['parts'][0]['id']}" if "parts" in entry else id)


@pytest.mark.parametrize(
    ("file", "kind", "block", "named"),
    [
        ("species", Species, {"priors": {}}, "priors of systolic.doppler are missing"),
        ("species", Species, {}, "'priors' is missing"),
        ("species", Species, {"priors": {}, "colour": "grey"}, "'colour' is not known"),
        ("analytes", Analyte, {"units": {"g/L": {"scale": 1}}}, "'scale' is not known of a unit"),
        ("analytes", Analyte, {"priors": {"level": [1, 1]}}, "priors without a unit"),
        ("analytes", Analyte, {"facts": {"colour.grey": {}}}, "'colour.grey' is of no topic"),
    ],
)
def test_a_faulty_block_is_refused_by_name(monkeypatch, file, kind, block, named):
    monkeypatch.setattr(blocks, "table", lambda name: {"new": block})
    with pytest.raises(ValueError, match="new") as refused:
        blocks.read_blocks(file, kind)
    assert named in str(refused.value)


def test_no_guideline_is_refused_for_a_species_that_none_speaks_of(monkeypatch):
    """Of a species that is known nothing is judged; one that is not known, or left out, is told."""
    known = dict(all_species())
    monkeypatch.setattr("bpvet.facts.categories.all_species", lambda: known | {"rabbit": None})
    assert guideline("acvim2018", "rabbit").key == "acvim2018"
    assert not species.judged("rabbit")
    with pytest.raises(CallError, match="not of the dog"):
        guideline("isfm2017", "dog")
    with pytest.raises(CallError, match="not of the ferret"):
        guideline("acvim2018", "ferret")


#: Modules that hold a rule about one analyte, which is of no other: what is urgent, what a drug
#: asks for, stages of the kidneys, the order of a letter's table, and findings beside them.
MOST_OF_AN_ANALYTE = 20


def words_of(path):
    """Return the texts of a module, docstrings left out."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    alone = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    return {
        node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in alone
    }


def test_no_module_knows_a_species_by_name_and_few_an_analyte():
    kinds = {word for one in all_species().values() for word in (one.name, one.plural, *one.latin)}
    found = {str(path.relative_to(PACKAGE)): words_of(path) for path in PACKAGE.rglob("*.py")}
    assert {name for name, words in found.items() if words & kinds} == set()
    analytes = set(all_analytes())
    named = {name for name, words in found.items() if words & analytes}
    assert len(named) <= MOST_OF_AN_ANALYTE, sorted(named)
