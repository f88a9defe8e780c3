"""A clinic's report as files: data and no code, every number, and no name with pseudonyms."""

from __future__ import annotations

import json
import re
from base64 import b64decode
from html import unescape
from itertools import pairwise
from pathlib import Path
from typing import Any

import nbformat
import pytest

from bpvet.errors import CallError, FitError, RecordsError
from bpvet.pictures import clinic as cohort_pictures
from bpvet.printing import number
from bpvet.reports import writing
from bpvet.reports.clinic import report
from tests.models.small_clinic import AS_OF, write_clinic
from tests.reports.made import Made, write_cohort
from tests.reports.test_browser import CONTRASTS, WIDTHS, Seen, browser  # noqa: F401

HOSTILE_ID = "K1<img src=x onerror=alert(1)>"
HOSTILE_NAME = "<script>alert(1)</script> $x^2$ {{ 7*7 }}"
HOSTILE_NOTE = "javascript:alert(1) <a href='javascript:alert(2)'>x</a>"


def hostile_clinic(folder: Path) -> Path:
    """Write the small clinic with an id, a name, a breed and notes as an enemy would."""
    write_clinic(folder)
    for file in folder.iterdir():
        lines = file.read_text(encoding="utf-8").splitlines()
        named = [line.replace("K1,", f'"{HOSTILE_ID}",', 1) for line in lines]
        if file.name == "animals.csv":
            named = [line.replace("Name of K1,", f'"{HOSTILE_NAME}",') for line in named]
            named = [f"{named[0]},breed,clinic", *(f"{one},<b>x</b>,<i>y</i>" for one in named[1:])]
        if file.name == "treatments.csv":
            named = [f"{named[0]},note", *(f'{one},"{HOSTILE_NOTE}"' for one in named[1:])]
        file.write_text("\n".join(named) + "\n", encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> Made:
    folder = tmp_path_factory.mktemp("hostile")
    records = hostile_clinic(folder / "Harbour clinic")
    return write_cohort(records, folder / "out", as_of=AS_OF)


@pytest.fixture(scope="module")
def hidden(hostile: Made) -> Made:
    root = hostile.page.parent.parent
    return write_cohort(
        root / "Harbour clinic", root / "out", as_of=AS_OF, pseudonyms=True, level=0.9
    )


def test_the_files_stand_beside_each_other(hostile: Made, hidden: Made) -> None:
    names = {path.name for path in hostile.page.parent.iterdir()}
    stems = ("cohort", "cohort-pseudonyms")
    ends = (".html", ".ipynb", "-parameters.json")
    assert names == {f"{stem}{end}" for stem in stems for end in ends}
    held = json.loads(hidden.parameters.read_text(encoding="utf-8"))
    assert held["pseudonyms"] is True
    assert held["records"] == "../Harbour clinic"
    asked = report.parameters(hidden.parameters)
    assert asked.cohort == {"quantity": "systolic", "rule": "guideline", "pseudonyms": True}
    assert asked.read == {"as_of": AS_OF}


def test_no_value_of_the_records_is_in_a_cell(hostile: Made) -> None:
    made = nbformat.read(hostile.notebook, as_version=4)
    nbformat.validate(made)
    code = "\n".join(cell.source for cell in made.cells)
    for value in ("K1", "K2", "alert", "Harbour", "Name of", AS_OF):
        assert value not in code
    called = {part.split("(")[0] for part in code.split("report.")[1:]}
    assert called <= set(report.__all__)
    assert "._" not in code


def test_the_page_goes_from_now_to_the_cautions(hostile: Made) -> None:
    html = hostile.page.read_text(encoding="utf-8")
    order = (
        *(
            "<h1>",
            ">What to know now<",
            ">Every animal through time<",
            "<svg",
            ">What the numbers say<",
        ),
        *(">Who was counted, and who not<", ">The animals at entry<", ">The fit<"),
        *(">How the estimates move with the choices<", ">What readings scatter by<"),
        *(">The animals beside each other<", ">Do the assumptions hold?<", ">How it was computed<"),
        *(">Cautions<", 'class="statement"', "<pre>"),
    )
    places = [html.index(part) for part in order]
    assert places == sorted(places)
    assert html.count("<svg") == 2 * 4  # each for a wide and for a narrow screen
    plain = unescape(html).replace("\N{NO-BREAK SPACE}", " ")
    for said in (*hostile.answer.sentences, *hostile.answer.cautions):
        assert said in plain


def test_hostile_texts_are_text(hostile: Made) -> None:
    html = hostile.page.read_text(encoding="utf-8")
    assert HOSTILE_ID in unescape(html)
    assert HOSTILE_NAME in unescape(html)
    for bad in ("<script", "<img src=x", "onerror=alert(1)>", 'href="javascript', "<b>x</b>"):
        assert bad not in html


def test_with_pseudonyms_no_id_or_name_is_anywhere(hidden: Made) -> None:
    texts = [path.read_text(encoding="utf-8") for path in (hidden.page, hidden.notebook)]
    texts.append(json.dumps(hidden.answer.to_dict(), ensure_ascii=False))
    inside = [
        b64decode(found).decode()
        for text in texts
        for found in re.findall(r"svg\+xml;base64,([A-Za-z0-9+/=]+)", text)
    ]
    assert len(inside) == 2 * 4  # the page holds its own as text
    picture = cohort_pictures.caterpillar(hidden.answer.study)
    texts += [unescape(text) for text in (*texts, *inside)] + list(picture.names)
    for text in texts:
        without = re.sub(r"base64,[A-Za-z0-9+/=]+", "", text)
        for value in ("Name of", "alert", "Harbour", "onerror"):
            assert value not in without
        assert not re.search(r"\bK\d+\b", without)
    assert "animal 01" in texts[0]
    assert all(name.startswith("animal ") for name in picture.names)


def test_tables_give_the_answers_numbers(hostile: Made) -> None:
    answer = hostile.answer
    text = repr(report.flow(answer))
    assert "In the records  10  42  195" in text
    assert "Counted  8  38  148" in text
    fixed = answer.fixed
    html = report.fit(answer).html
    assert html.count('<th scope="row"') == len(fixed)
    assert f">{number(float(fixed.loc['treated', 'estimate']), 1)}<" in html
    assert "sessions are compared at month" in html.replace("\n", " ")
    grid = report.grid(answer).html
    assert grid.count("<tr>") == len(answer.grid.rows) + 1
    assert "This report: rule “guideline”" in grid
    assert "too few: at least 5 animals are needed" in grid
    entry = report.entry(answer).html
    assert ">All<" in entry
    assert ">Cats<" in entry
    assert ">Dogs<" in entry
    rows = re.findall(r"<tr>", report.animals(answer).html)
    assert len(rows) == answer.study.cohort.n_animals + 1
    assert "not the drug" in report.now(answer).html


def test_a_foreign_file_is_replaced_only_by_force(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(writing, "run", lambda notebook, *_: notebook)
    records = write_clinic(tmp_path / "records")
    out = tmp_path / "out"
    out.mkdir()
    (out / "cohort.html").write_text("mine")
    with pytest.raises(CallError, match=r"cohort\.html is there and was not written"):
        write_cohort(records, out, as_of=AS_OF)
    write_cohort(records, out, as_of=AS_OF, force=True)
    before = {path.name: path.read_bytes() for path in out.iterdir()}
    write_cohort(records, out, as_of=AS_OF)
    assert {path.name: path.read_bytes() for path in out.iterdir()} == before
    assert len(before) == 3


def test_a_wrong_call_writes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(writing, "run", lambda *given: pytest.fail("a cell was run"))
    records = write_clinic(tmp_path / "records")
    out = tmp_path / "out"
    wrong: dict[str, Any]
    for wrong in ({"quantity": "weight"}, {"level": 2.0}, {"rule": "best"}, {"as_of": "today"}):
        with pytest.raises(CallError):
            write_cohort(records, out, **({"as_of": AS_OF} | wrong))
    with pytest.raises(FitError, match="diastolic pressure in the clinic, awake: at least 5"):
        write_cohort(records, out, as_of=AS_OF, quantity="diastolic")
    (records / "readings.csv").write_text("animal,systolic\nA17,150\n")
    with pytest.raises(RecordsError):
        write_cohort(records, out)
    assert not out.exists()


def test_parameters_that_are_none_are_refused(tmp_path: Path) -> None:
    with pytest.raises(CallError, match="cannot be read"):
        report.parameters(tmp_path / "none.json")
    (tmp_path / "other.json").write_text('{"records": "x"}')
    with pytest.raises(CallError, match="does not hold the parameters"):
        report.parameters(tmp_path / "other.json")


@pytest.mark.browser
@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_in_a_browser(browser: Any, hostile: Made, width: int, scheme: str) -> None:  # noqa: F811
    with Seen(browser, hostile.page, width, color_scheme=scheme) as seen:
        assert seen.said == []
        assert [url for url in seen.asked if not url.startswith("data:")] == [seen.address]
        assert seen.page.evaluate("document.documentElement.scrollWidth") <= width
        wide = seen.page.evaluate(
            "[...document.querySelectorAll('main *')].filter(e => !e.closest('.scroll, pre') && "
            "e.getBoundingClientRect().right > innerWidth + 1).map(e => e.outerHTML.slice(0, 80))"
        )
        assert wide == []
        levels = seen.page.evaluate(
            "[...document.querySelectorAll('h1,h2,h3,h4,h5,h6')].map(e => +e.tagName[1])"
        )
        assert levels[0] == 1
        assert levels.count(1) == 1
        assert all(after <= before + 1 for before, after in pairwise(levels))
        assert seen.page.locator("table:not(:has(caption)), th:not([scope])").count() == 0
        drawings = seen.page.locator("figure svg:visible")
        assert drawings.count() == 4
        for place in range(4):
            assert drawings.nth(place).locator("> desc").text_content()
        found = seen.page.evaluate(CONTRASTS)
        assert len(found) > 100
        assert [(round(ratio, 2), text) for ratio, text in found if ratio < 4.5] == []


@pytest.mark.browser
def test_one_screen_answers_first(browser: Any, hostile: Made) -> None:  # noqa: F811
    with Seen(browser, hostile.page, 1400) as seen:
        box = seen.page.locator(".now").bounding_box()
        assert box["y"] + box["height"] < 900
        assert seen.page.locator(".now .lead").count() == 4


@pytest.mark.browser
def test_it_prints(browser: Any, hostile: Made) -> None:  # noqa: F811
    pypdf = pytest.importorskip("pypdf")
    from io import BytesIO

    with Seen(browser, hostile.page) as seen:
        for size in ("A4", "Letter"):
            document = pypdf.PdfReader(BytesIO(seen.page.pdf(format=size)))
            assert "Who was counted?" in document.pages[0].extract_text()
            assert len(document.pages) <= 9
