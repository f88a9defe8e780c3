"""An animal's page as one composition: what stands where, how much of it, and what paper holds."""

from __future__ import annotations

import io
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import pytest

import bpvet
from bpvet.facts.sources import footnotes
from bpvet.records.example import write_example
from bpvet.reports.animal import report
from bpvet.reports.drawings import inlined
from bpvet.reports.markup import heading, paragraph
from bpvet.reports.page import cleaned, document
from tests.reports.conftest import AS_OF
from tests.reports.test_browser import CONTRASTS, Seen, browser

__all__ = ["browser"]  # the fixture of the browser's tests

pytestmark = pytest.mark.browser

#: What is read from top to bottom, as selectors.
ORDER = ("h1", ".urgent", ".now.first", "figure svg", ".brief", ".fold", ".statement")
FOLDS = [
    "The answers",
    "The sessions",
    "Kidney values, treatments and signs",
    "What the record check says",
    "How it was computed, and what it assumes",
    "Cautions",
    "Sources",
]
#: Words outside closed folds, those inside pictures not counted.
WORDS = """() => {
  const main = document.querySelector("main").cloneNode(true);
  main.querySelectorAll("svg, details > *:not(summary), [hidden]").forEach(e => e.remove());
  return main.textContent.split(/\\s+/).filter(Boolean).length;
}"""


def page_of(records: bpvet.Records, animal: str) -> str:
    """Return an animal's page as its notebook's cells make it, without running a kernel."""
    trend = bpvet.fit_trend(records, animal)
    names = {"trend": trend, "answer": trend.answer(), "report": report}

    def cell(call: str) -> str:
        return eval(f"report.{call}", names).html  # the outline's own calls

    parts = [cell(report.OUTLINE.now)]
    for title, calls in report.OUTLINE.sections.items():
        parts += [heading(2, title), *map(cell, calls)]
    shown = inlined(cleaned("".join([*parts, report.statement().html])))
    shown += "".join(paragraph(note, "footnote") for note in footnotes(shown))
    return document(shown, animal, "animal 0123456789", "page.css")


def crowded_records(folder: Path, drugs: int = 4) -> Path:
    """Write a cat with two urgent lines, so many drugs, and three kidney values."""
    folder.mkdir(parents=True)
    (folder / "animals.csv").write_text("animal,species,name\nZ1,cat,Bracken\n")
    rows = ["animal,taken_at,method,systolic"]
    for month, mean in enumerate((188, 176, 168, 171, 186, 192), start=1):
        rows += [f"Z1,2026-{month:02}-10T10:0{n},doppler,{mean + 3 - n}" for n in range(4)]
    (folder / "readings.csv").write_text("\n".join(rows) + "\n")
    given = ["animal,drug,started_on,stopped_on,dose,dose_unit"]
    names: tuple[str, ...] = ("amlodipine", "telmisartan", "benazepril", "gabapentin")
    names += ("thiamazole", "maropitant", "mirtazapine", "famotidine")
    given += [f"Z1,{drug},2026-0{1 + n % 5}-20,,{1 + n},mg" for n, drug in enumerate(names[:drugs])]
    (folder / "treatments.csv").write_text("\n".join(given) + "\n")
    labs = ["animal,sampled_on,analyte,value,unit"]
    for month, up in ((1, 0), (4, 12), (6, 30)):
        labs += [
            f"Z1,2026-0{month}-10,creatinine,{168 + up},umol/L",
            f"Z1,2026-0{month}-10,sdma,{14 + up // 5},ug/dL",
            f"Z1,2026-0{month}-10,potassium,{6.4 if month == 6 else 4.2},mmol/L",
        ]
    (folder / "labs.csv").write_text("\n".join(labs) + "\n")
    (folder / "observations.csv").write_text(
        "animal,seen_on,sign,status\nZ1,2026-06-10,blindness,present\n"
    )
    return folder


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Path]:
    """Return a function that writes the page of an animal: of the example clinic, or built."""
    folder = tmp_path_factory.mktemp("composed")
    write_example(folder / "clinic")

    @cache
    def write(name: str) -> Path:
        if name in ("four drugs", "eight drugs"):
            source = crowded_records(folder / name, 4 if name == "four drugs" else 8)
            records, animal = bpvet.read(source, as_of="2026-06-14"), "Z1"
        else:
            records, animal = bpvet.read(folder / "clinic", as_of=AS_OF), name
        path = folder / f"{name}.html"
        path.write_text(page_of(records, animal), encoding="utf-8")
        return path

    return write


Built = Callable[[str], Path]


@pytest.mark.parametrize("name", ["A17", "E02", "B04", "four drugs"])
def test_the_first_screen_holds_the_head_and_the_figure_begins(
    browser: Any, built: Built, name: str
) -> None:
    with Seen(browser, built(name), 1280) as seen:
        seen.page.set_viewport_size({"width": 1280, "height": 800})
        tops = [
            seen.page.locator(one).locator("visible=true").first.bounding_box()["y"]
            for one in ORDER
            if seen.page.locator(one).count()
        ]
        assert tops == sorted(tops)
        figure = seen.page.locator("figure").bounding_box()
        assert figure["y"] < 560
        assert figure["width"] > 1000
        assert seen.page.evaluate("document.documentElement.scrollHeight") <= 6 * 800
        assert 150 < seen.page.evaluate(WORDS) <= 900
        assert seen.page.locator(".fold > summary").all_inner_texts() == FOLDS
        assert seen.page.locator("details[open]").count() == 0


def test_the_built_animal_has_two_urgent_lines_four_drugs_and_three_rows(
    browser: Any, built: Built
) -> None:
    with Seen(browser, built("four drugs"), 1280) as seen:
        assert seen.page.locator(".urgent p").count() == 2
        drawing = seen.page.locator("figure .wide svg")
        assert drawing.locator("[data-kind=dose]").count() == 4
        panels = drawing.locator("[data-kind=lab]").evaluate_all(
            "all => all.map(e => e.dataset.panel)"
        )
        assert sorted(set(panels)) == ["creatinine", "potassium", "sdma"]


def test_eight_drugs_make_one_line_each_and_a_tile_one_verdict(browser: Any, built: Built) -> None:
    with Seen(browser, built("eight drugs"), 1280) as seen:
        tiles = seen.page.locator(".now > div")
        leads = tiles.evaluate_all("all => all.map(e => e.querySelectorAll('.lead').length)")
        assert leads == [1] * tiles.count()
        assert seen.page.locator("figure").bounding_box()["y"] < 560
        words = seen.page.locator("figure .wide svg text").all_text_contents()
        for drug in ("amlodipine 1 mg", "telmisartan 2 mg", "famotidine 8 mg"):
            assert words.count(drug) == 1
        assert seen.page.locator("figure .wide [data-kind=dose]").count() == 8


def test_nothing_that_must_be_read_is_folded_away(browser: Any, built: Built) -> None:
    with Seen(browser, built("B04"), 1280) as seen:
        text = seen.page.locator(".brief").inner_text().replace("\N{NO-BREAK SPACE}", " ")
        assert "A note of 29 October 2026 says “still blind”" in text
        assert "Measure again between 29 October 2026 and 1 November 2026" in text
        assert seen.page.locator(".urgent").inner_text().count("3 days ago") == 1


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [390, 820])
def test_nothing_is_cut_or_broken_on_smaller_screens(
    browser: Any, built: Built, width: int, scheme: str
) -> None:
    with Seen(browser, built("four drugs"), width, color_scheme=scheme) as seen:
        assert seen.page.evaluate("document.documentElement.scrollWidth") <= width
        cut = seen.page.evaluate(
            "[...document.querySelectorAll('.animal, .urgent, .now dd, .brief li, .brief p')]"
            ".filter(e => e.scrollWidth > e.clientWidth + 1 && getComputedStyle(e).display != "
            "'inline').map(e => e.textContent.slice(0, 60))"
        )
        assert cut == []
        # No word of the tiles is broken: each stands in one rectangle.
        broken = seen.page.evaluate(
            """() => [...document.querySelectorAll('.now dd, .now dt')].flatMap(e => {
              const range = document.createRange(), out = [];
              for (const node of e.childNodes) for (const m of node.data.matchAll(/\\S+/g)) {
                range.setStart(node, m.index); range.setEnd(node, m.index + m[0].length);
                if (range.getClientRects().length > 1) out.push(m[0]);
              }
              return out;
            })"""
        )
        assert broken == []
        found = seen.page.evaluate(CONTRASTS)
        assert [(round(ratio, 2), text) for ratio, text in found if ratio < 4.5] == []


def test_paper_holds_the_composition_the_readings_and_four_pages(
    browser: Any, built: Built
) -> None:
    pypdf = pytest.importorskip("pypdf")
    with Seen(browser, built("A17"), 1280) as seen:
        pdf = seen.page.pdf(format="A4", prefer_css_page_size=True)
    texts = [one.extract_text() for one in pypdf.PdfReader(io.BytesIO(pdf)).pages]
    assert len(texts) <= 4
    for part in (
        "Pilchard",
        "When again?",
        "Creatinine 211",
        "In three sentences",
        "Amlodipine: has",
    ):
        assert part in texts[0]
    whole = " ".join(" ".join(texts).split())
    assert "(162), 158, 158, 156, 162, 152" in whole
    assert "Excluded (moved the leg): 2026-01-20" in whole
    assert "Also on record, not used here" in whole
