"""The caution of licensed practice on all that may be kept; five cautions, and one footnote."""

from __future__ import annotations

import csv
import json
import re
from pathlib import Path
from typing import Any

import pytest

from bpvet.command.main import main
from bpvet.facts.cautions import SHOWN, licensed
from bpvet.facts.sources import DAGGER
from bpvet.reports import writing
from bpvet.wording.en.facts import AS_REMEMBERED
from tests.command.small import AS_OF
from tests.models.small_clinic import AS_OF as CLINIC_AS_OF
from tests.models.small_clinic import write_clinic

NOTEBOOKS = Path(__file__).parents[2] / "notebooks"


@pytest.fixture(scope="module")
def both(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A clinic that measured by both methods."""
    return write_clinic(tmp_path_factory.mktemp("both"))


@pytest.fixture
def unrun(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let a report's notebook stay as it was written: not run."""
    monkeypatch.setattr(writing, "run", lambda notebook, *_, **__: notebook)


def flowing(text: str) -> str:
    """Return text without its line breaks."""
    return " ".join(text.replace("\N{NO-BREAK SPACE}", " ").split())


def asked(command: str, clinic: Path, both: Path, out: Path) -> tuple[object, ...]:
    """Return a call of a command that answers something."""
    calls: dict[str, tuple[object, ...]] = {
        "average": ("average", 165, 158, 160, "--method", "doppler"),
        "trend": ("trend", clinic, "--animal", "A17", "--as-of", AS_OF, *FELINE),
        "plan": ("plan", "--species", "cat"),
        "plan for an animal": ("plan", clinic, "--animal", "A17", "--as-of", AS_OF),
        "agreement": ("agreement", both, "--as-of", CLINIC_AS_OF),
        "audit": ("audit", both, "--as-of", CLINIC_AS_OF),
        "cohort": ("cohort", both, "--as-of", CLINIC_AS_OF, "-o", out),
        "figure": ("figure", clinic, "--animal", "A17", "--as-of", AS_OF, "-o", out / "a.svg"),
    }
    out.mkdir(exist_ok=True)
    return calls[command]


FELINE = ("--guideline", "isfm2017")
SPEAKING = ("average", "trend", "plan", "plan for an animal", "agreement", "audit")


@pytest.mark.parametrize("command", SPEAKING)
def test_the_terminal_says_it(run, clinic: Path, both: Path, tmp_path: Path, command: str) -> None:
    ended = run(*asked(command, clinic, both, tmp_path))
    assert flowing(ended.out).count(licensed()) == 1


@pytest.mark.parametrize("command", [*SPEAKING, "cohort"])
@pytest.mark.usefixtures("unrun")
def test_json_says_it(run, clinic: Path, both: Path, tmp_path: Path, command: str) -> None:
    held = json.loads(run(*asked(command, clinic, both, tmp_path), "--json").out)
    assert held["cautions"].count(licensed()) == 1


def test_the_figures_words_say_it(run, clinic: Path, both: Path, tmp_path: Path) -> None:
    held = json.loads(run(*asked("figure", clinic, both, tmp_path), "--json").out)
    assert held["caption"].count(licensed()) == 1
    assert licensed() in (tmp_path / "a.txt").read_text(encoding="utf-8")


def test_the_letter_and_its_table_say_it(run, clinic: Path, tmp_path: Path) -> None:
    letter = tmp_path / "letter.html"
    call = ("figure", clinic, "--letter", "--animal", "A17", "--as-of", AS_OF, "-o", letter)
    assert run(*call, "--guideline", "isfm2017").status == 0
    page = letter.read_text(encoding="utf-8")
    assert page.count(licensed()) == 1
    # The dagger is of figures from memory, and is explained once; remarks have a mark of their own.
    assert page.count(AS_REMEMBERED) == 1
    with letter.with_suffix(".csv").open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    cautions = [row["text"] for row in rows if row["kind"] == "caution"]
    assert cautions.count(licensed()) == 1


@pytest.mark.parametrize("command", ["report", "cohort", "agreement", "audit"])
@pytest.mark.usefixtures("unrun")
def test_every_notebook_says_it(run, both: Path, tmp_path: Path, command: str) -> None:
    more = ("--animal", "K1") if command == "report" else ()
    call = (command, both, *more, "--as-of", CLINIC_AS_OF, "-o", tmp_path, "--force")
    assert run(*call).status == 0
    (notebook,) = tmp_path.glob("*.ipynb")
    cells = json.loads(notebook.read_text(encoding="utf-8"))["cells"]
    assert any("statement()" in "".join(cell["source"]) for cell in cells)


def test_the_page_says_it_and_folds_the_rest(clinic: Path, tmp_path: Path) -> None:
    call = ("report", clinic, "--animal", "A17", "--as-of", AS_OF, "-o", tmp_path, "--quiet")
    assert main([str(one) for one in call]) == 0
    (place,) = tmp_path.glob("*.html")
    page = place.read_text(encoding="utf-8")
    body = page[: page.index('<div class="code">')]
    assert f'<footer class="statement"><p>{licensed()}</p></footer>' in body
    first, rest = body.split('<ul class="cautions">')[1:3]
    assert first.split("</ul>")[0].count("<li>") == SHOWN
    folded, printed = rest.split("</ul>")[0], rest.split('<ul class="printed" hidden="hidden">')[1]
    assert folded == printed.split("</ul>")[0]
    assert folded.count("<li>") > 1
    # The drawing is kept and sent on its own as well, and bears its own.
    assert re.sub(r"<svg.*?</svg>", "", body, flags=re.DOTALL).count(AS_REMEMBERED) == 1


def test_the_story_notebooks_say_it() -> None:
    texts = [one for one in NOTEBOOKS.glob("*.py") if not one.stem.startswith("make_")]
    assert len(texts) == 8
    for one in texts:
        said = flowing(one.read_text(encoding="utf-8").replace("\n# ", " "))
        assert licensed() in said, one.name


def points(out: str) -> list[str]:
    """Return the points below the heading of the cautions."""
    block = out.split("\nCautions\n")[1].split("\n\n")[0]
    return [flowing(part) for part in block.replace("\n- ", "\n\n- ").split("\n\n")]


def test_five_on_the_terminal_and_all_on_request(run, clinic: Path) -> None:
    call = ("trend", clinic, "--animal", "A17", "--as-of", AS_OF)
    held: list[Any] = json.loads(run(*call, "--json").out)["cautions"]
    short, long = points(run(*call).out), points(run(*call, "--cautions").out)
    texts = [text for text in held if text != AS_REMEMBERED]
    assert len(short) == SHOWN + 1
    assert short[-1] == f"- … and {len(texts) - SHOWN} more; --cautions prints all"
    assert sorted(long) == sorted(f"- {text}" for text in texts)


@pytest.mark.parametrize(
    ("command", "marked"), [("average", False), ("trend", True), ("agreement", True)]
)
def test_one_footnote_where_there_is_a_mark(
    run, clinic: Path, both: Path, tmp_path: Path, command: str, marked: bool
) -> None:
    said = flowing(run(*asked(command, clinic, both, tmp_path)).out)
    assert (DAGGER in said.replace(AS_REMEMBERED, "")) == marked
    assert said.count(AS_REMEMBERED) == marked
