"""Every figure carries source, place and grade; a data file that does not is refused."""

import ast
import datetime
import doctest
import importlib
import math
import re
import sys
import tomllib
from importlib import resources
from pathlib import Path

import pytest

from bpvet import facts as room
from bpvet.facts import sources as module
from bpvet.facts.cautions import cautions
from bpvet.facts.sources import (
    BLOCK_FILES,
    DAGGER,
    GRADES,
    PROJECT,
    TOPICS,
    Fact,
    fact,
    facts,
    facts_from,
    footnotes,
    source,
    sources,
    table,
)
from bpvet.wording.en.facts import AS_REMEMBERED
from reference_checks.evidence.lookup import every, known, topics

ROOM = Path(room.__file__).parent
#: What facts may import besides each other: these need the standard library alone.
OWN = (
    *("bpvet.errors", "bpvet.equality", "bpvet.frozen", "bpvet.reasons"),
    "bpvet.wording.en.facts",
)
MODULES = (
    *(
        "sources",
        "categories",
        "protocol",
        "drugs",
        "signs.signs",
        "breeds",
        "cautions",
        "species",
        "analytes",
        "labs",
    ),
)

GOOD = {"value": 1, "unit": "mmHg", "source": "Payne2017", "locator": "abstract", "grade": "R"}


def every_text() -> str:
    names = [file.name for file in resources.files(room).iterdir() if file.name.endswith(".toml")]
    assert len(names) > 15
    return "\n".join((ROOM / name).read_text(encoding="utf-8") for name in names)


@pytest.mark.parametrize("found", every(), ids=lambda found: found.id)
def test_fact_is_complete(found: Fact) -> None:
    assert found.source in sources()
    assert found.grade in GRADES
    assert found.locator.strip()
    assert found.id.partition(".")[0] in (*TOPICS, *topics())
    numbers = [end for end in (found.value, found.low, found.high) if end is not None]
    assert numbers or found.text
    assert all(math.isfinite(number) for number in numbers)
    assert found.species in ("", "cat", "dog")
    assert found.method in (
        "",
        "doppler",
        "oscillometric",
        "oscillometric (second type)",
        "direct",
        "indirect",
    )
    assert found.n is None or found.n > 0
    assert source(found.source).name in found.words()
    assert known(found.id) is found


def test_ids_are_unique_over_all_files() -> None:
    ids = [found.id for found in every()]
    assert len(ids) == len(set(ids)) > 450


def test_every_data_file_is_a_topic_or_a_table() -> None:
    tables = {"sources", "guidelines", "drugs", "signs", "breeds", "cautions", "recheck"}
    tables |= {"sign_words", "foreign_signs", *BLOCK_FILES}
    names = {path.stem for path in ROOM.glob("*.toml")}
    assert names == tables | set(TOPICS)


def test_every_source_is_used() -> None:
    used = {found.source for found in every()}
    used |= {entry["source"] for entry in table("guidelines").values()}
    assert set(sources()) == used
    assert all(each.name and each.citation for each in sources().values())
    names = [each.name for each in sources().values()]
    assert len(names) == len(set(names))


def test_remembered_until_checked() -> None:
    found = fact("acvim2018.floor")
    assert found.grade == "M"
    assert found.remembered
    assert found.words() == "120 mmHg† (ACVIM 2018 consensus statement, follow-up)"
    assert footnotes("", found.words(), found.words()) == (AS_REMEMBERED,)
    assert footnotes(found.words(), AS_REMEMBERED) == ()
    checked = Fact(**{**vars(found), "checked_by": "A. Reader"})
    assert not checked.remembered
    assert DAGGER not in checked.words()
    assert footnotes(checked.words()) == ()
    assert "checked by A. Reader" in checked.words()
    assert not fact("acvim2018.severe").remembered


def test_judgements_are_the_projects_and_say_so() -> None:
    assert "this project's judgement" in fact("project.verdict.sure").words()
    for found in facts():
        assert (found.grade == "J") == (found.source == PROJECT)


def test_derived_figures_state_their_sum() -> None:
    derived = [found for found in every() if found.grade == "D"]
    assert len(derived) > 30
    assert all(found.caution for found in derived)


# Thirty days a month: 4–6 months of a recheck are at most 180 days.
@pytest.mark.parametrize(
    ("id", "days"),
    [
        ("acvim2018.recheck.stable", 180),
        ("acvim2018.confirm.140_179", 56),
        ("isfm.recheck.start.severe", 3),
    ],
)
def test_days(id: str, days: int) -> None:
    assert fact(id).days() == pytest.approx(days, abs=1e-12)


def test_days_of_a_pressure_is_refused() -> None:
    with pytest.raises(ValueError, match="not a length of time"):
        fact("acvim2018.floor").days()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"source": "Nobody1900"}, "unknown source 'Nobody1900'"),
        ({"source": ""}, "unknown source"),
        ({"grade": ""}, "no grade"),
        ({"grade": "X"}, "unknown one: 'X'"),
        ({"locator": ""}, "no locator"),
        ({"unit": ""}, "a number without a unit"),
        ({"value": math.nan}, "not finite"),
        ({"grade": "D"}, "must state its sum"),
        ({"grade": "J"}, "a judgement is the project's"),
        ({"source": "project"}, "a judgement is the project's"),
        ({"low": 2, "high": 3}, "not in order"),
        ({"checked_by": "A. Reader"}, "both"),
        ({"colour": "red"}, "unknown field colour"),
    ],
)
def test_a_faulty_fact_is_refused(change: dict[str, object], words: str) -> None:
    with pytest.raises(ValueError, match=re.escape(words)) as raised:
        facts_from({"size.new": GOOD | change}, "size")
    assert "size.new" in str(raised.value)


@pytest.mark.parametrize("field", ["source", "locator", "grade"])
def test_a_missing_field_is_refused(field: str) -> None:
    entry = {name: value for name, value in GOOD.items() if name != field}
    with pytest.raises(ValueError, match=r"size\.new"):
        facts_from({"size.new": entry}, "size")


def test_a_fact_without_a_figure_is_refused() -> None:
    entry = {name: value for name, value in GOOD.items() if name != "value"}
    with pytest.raises(ValueError, match="neither a number nor a text"):
        facts_from({"size.new": entry}, "size")


def test_duplicate_ids_are_refused() -> None:
    parts = {"parts": [{"id": "a"}, {"id": "a"}]}
    with pytest.raises(ValueError, match=r"size\.new.a: the id comes twice"):
        facts_from({"size.new": GOOD | parts}, "size")
    with pytest.raises(ValueError, match=r"size\.new.a: the id comes twice"):
        facts_from({"size.new": GOOD | {"parts": [{"id": "a"}]}, "size.new.a": GOOD}, "size")
    with pytest.raises(tomllib.TOMLDecodeError):
        tomllib.loads('["size.new"]\nvalue = 1\n["size.new"]\nvalue = 2\n')


def test_an_id_of_another_topic_is_refused() -> None:
    with pytest.raises(ValueError, match="must begin with 'size'"):
        facts_from({"sizes.new": GOOD}, "size")


def test_parts_take_from_their_table_and_may_differ() -> None:
    entry = GOOD | {
        "checked_by": "A. Reader",
        "checked_on": datetime.date(2026, 1, 2),
        "parts": [{"id": "a"}, {"id": "b", "value": 2, "species": "cat"}],
    }
    made = facts_from({"size.new": entry}, "size")
    assert list(made) == ["size.new.a", "size.new.b"]
    assert (made["size.new.a"].value, made["size.new.a"].species) == (1.0, "")
    assert (made["size.new.b"].value, made["size.new.b"].species) == (2.0, "cat")
    assert made["size.new.b"].checked_on == datetime.date(2026, 1, 2)


def test_unknown_names_are_told_with_near_ones() -> None:
    with pytest.raises(KeyError, match=r"near: .*acvim2018\.floor"):
        fact("acvim2018.flor")
    with pytest.raises(KeyError, match="no topic"):
        fact("acvim.floor")
    with pytest.raises(KeyError, match="near: Payne2017"):
        source("Payne2016")


@pytest.mark.parametrize(
    ("id", "figure"),
    [
        ("acvim2018.recheck.changed", "7–10 days"),
        ("acvim2018.severe", "180 mmHg or more"),
        ("acvim2018.normotensive", "up to 140 mmHg"),
        ("size.between.dog.samehour.bias", "−0.6 mmHg (−26.3 to 25.1)"),
        ("effect.expected.cat.fall", "−30 to −20 mmHg"),
        ("limits.mean_fraction", "0.15–0.6"),
        ("code.loinc.systolic", "8480-6"),
    ],
)
def test_figure(id: str, figure: str) -> None:
    assert known(id).figure() == figure


def test_no_dose_anywhere() -> None:
    text = every_text()
    assert not re.search(r"mg ?/ ?(?:kg|cat|dog|day|animal)|per kg", text, re.IGNORECASE)
    assert not re.search(r"\d\s*(?:mg|µg|mcg|ml)\b(?!/dL)", text, re.IGNORECASE)
    assert not re.search(r"\b(?:once|twice) (?:a day|daily)\b", text, re.IGNORECASE)


def test_numbers_in_cautions_are_backed_by_facts() -> None:
    for caution in cautions():
        if re.search(r"\d", caution.text):
            assert caution.facts, caution.id


@pytest.mark.parametrize("name", MODULES)
def test_only_the_standard_library_is_imported(name: str) -> None:
    place = ROOM / f"{'/'.join(name.split('.'))}.py"
    tree = ast.parse(place.read_text(encoding="utf-8"))
    names = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0
            names.add(node.module or "")
    for imported in names:
        own = imported in OWN or imported.startswith("bpvet.facts.")
        assert own or imported.partition(".")[0] in sys.stdlib_module_names, imported


@pytest.mark.parametrize("name", MODULES)
def test_docstring_examples(name: str) -> None:
    outcome = doctest.testmod(importlib.import_module(f"bpvet.facts.{name}"))
    assert outcome.attempted > 0
    assert outcome.failed == 0


def test_a_topic_is_read_once() -> None:
    assert module.table("tau") is module.table("tau")
    assert facts("tau") == facts("tau")
