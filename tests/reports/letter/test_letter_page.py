"""A letter on paper and on a screen: the same parts, whole, with the figure where it is seen."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from dataclasses import replace
from html import unescape
from pathlib import Path
from typing import Any

import pytest

import bpvet
from bpvet.answers.trend.trend import trend_answer
from bpvet.answers.trend.unseen import unseen_answer
from bpvet.facts.cautions import licensed
from bpvet.models.trend.trend import Trend
from bpvet.printing import prose_date
from bpvet.records.records import Records
from bpvet.reports.letter.figure import WIDTH
from bpvet.reports.letter.fit import MARGIN, SMALLEST, head_tall, parts, placed
from bpvet.reports.letter.letter import Letter, Wanted, letter_of, unseen_letter
from bpvet.reports.letter.page import LETTER
from bpvet.reports.paper import PAPERS
from tests.reports.conftest import AS_OF, HOSTILE_ID, hostile_records
from tests.reports.letter import letter_records as full

from .test_letter import SCENARIOS

ELLIPSES = ("…", "...")
#: Letters that hide, or turn the direction of what follows.
HIDDEN = re.compile("[\u00ad\u200b\u200e\u200f\u202a-\u202e\u2060-\u2069\ufeff]")


def made(trend: Trend, **given: str) -> Letter:
    return letter_of(trend, trend_answer(trend), "letter.csv", Wanted(**given))


@pytest.fixture(scope="module")
def records(clinic: Path) -> Records:
    return bpvet.read(clinic, as_of=AS_OF)


@pytest.fixture(scope="module")
def marzipan(records: Records) -> Letter:
    return made(bpvet.fit_trend(records, "Marzipan"))


@pytest.fixture(scope="module")
def crowded(tmp_path_factory: pytest.TempPathFactory) -> Letter:
    folder = full.full_records(tmp_path_factory.mktemp("crowded") / "records")
    return made(bpvet.fit_trend(bpvet.read(folder, as_of=full.AS_OF), full.ANIMAL))


def body(html: str) -> str:
    """Return the words of a page, apart from its style and its images."""
    inside = html.partition("<body>")[2]
    return unescape(re.sub(r"<[^>]*>", " ", inside))


def squeezed(text: str) -> str:
    """Return text without its spaces, so that lines may break where they will."""
    return "".join(text.split())


def pages(letter: Letter, paper: str) -> list[str]:
    """Return the text of each page of a letter's PDF."""
    pytest.importorskip("weasyprint", exc_type=ImportError)
    pypdf = pytest.importorskip("pypdf")
    content = LETTER.file(letter, paper, "pdf")
    return [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(content)).pages]


def wanted(letter: Letter, records: Records, animal: str) -> Iterator[str]:
    """Yield what a letter about an animal must hold, from its records and its answers."""
    yield from (text.removeprefix("Urgent: ") for text in letter.words.urgent)
    yield from (text for _, text in letter.words.summary)
    yield from (*letter.words.kidney, *letter.words.short, *letter.words.behind)
    yield from (letter.eyes, letter.cautions, letter.basis, licensed())
    mine = records.treatments[records.treatments["animal"] == animal]
    for row in mine[~mine["future"]].to_dict("records"):
        yield " ".join(filter(None, (row["drug"], row["dose"], row["dose_unit"])))
        yield prose_date(row["started_on"])
    seen = records.observations[records.observations["animal"] == animal]
    for row in seen[~seen["future"]].to_dict("records"):
        yield f"“{row['sign']}”"
        yield prose_date(row["seen_on"])
    labs = records.labs[(records.labs["animal"] == animal) & (records.labs["set_aside"] == "")]
    yield from (f"{value:.10g}" for value in labs[~labs["future"]]["value"].dropna())
    for session in letter.sessions.rows:
        yield session.date
        yield session.readings
        yield session.mean


def faults(letter: Letter, records: Records, animal: str, text: str) -> list[str]:
    """Return what a text of a letter lacks."""
    held = squeezed(text)
    return [one for one in wanted(letter, records, animal) if squeezed(one) not in held]


EXAMPLES = (
    *("A17", "B04", "C22", "D08", "D15", "007", "012", "E02", "E31"),
    *("F19", "G03", "G11", "H27", "J05", "J40", "K12", "L09", "M33"),
)


#: Examples that are set on paper too; the others as HTML alone, which holds the same.
PRINTED = ("A17", "B04", "C22", "E31", "G03")


@pytest.mark.parametrize("animal", EXAMPLES)
def test_letters_of_the_examples_hold_everything(records: Records, animal: str) -> None:
    letter = made(bpvet.fit_trend(records, animal))
    paper = tuple(PAPERS)[EXAMPLES.index(animal) % 2]
    html = LETTER.html(letter, paper)
    assert faults(letter, records, animal, body(html)) == []
    assert html.count("<img") == 1
    assert not any(one in body(html) for one in ELLIPSES)
    # Dates to readers are written out; ISO dates stand in tables and lines of sessions alone.
    prose = re.sub(r"<table.*?</table>|<ul class=\"older\">.*?</ul>", "", html, flags=re.S)
    assert re.findall(r"\d{4}-\d\d-\d\d", body(prose)) == []
    assert placed(letter, paper).above == 0 or letter.words.urgent
    if animal not in PRINTED:
        return
    printed = pages(letter, paper)
    assert 1 <= len(printed) <= 3
    assert faults(letter, records, animal, "".join(printed)) == []
    first = squeezed(printed[0])
    for words in (letter.who.name, *(label for label, _ in letter.words.summary)):
        assert squeezed(words) in first
    assert "± 1 SD of its readings" in printed[1 if placed(letter, paper).above else 0]


@pytest.mark.parametrize("paper", PAPERS)
def test_a_crowded_record_is_whole_on_both_papers(crowded: Letter, paper: str) -> None:
    records = crowded_records(crowded)
    html = LETTER.html(crowded, paper)
    printed = pages(crowded, paper)
    name = re.sub(HIDDEN, "", full.NAME)
    for text in (body(html), "".join(printed)):
        assert faults(crowded, records, full.ANIMAL, text) == []
        assert squeezed(name) in squeezed(text)
        assert not HIDDEN.search(text)
        assert squeezed("“snorf”, an entry of 5 August 2026: not understood") in squeezed(text)
    assert not any(one in body(html) for one in ELLIPSES)
    assert not HIDDEN.search(html)
    assert "<script" not in html
    assert len(printed) <= 5
    # Its figure opens a page of its own, and what it had to cut is written out under it.
    found = placed(crowded, paper)
    assert found.above >= 1
    page = next(place for place, text in enumerate(printed) if "± 1 SD of its readings" in text)
    assert page == 1
    assert "Shortened or not legible in the figure" in printed[page]
    assert crowded.figure is not None
    cut = re.sub(HIDDEN, "", squeezed(crowded.figure.words))
    assert cut in squeezed(printed[page])


def crowded_records(letter: Letter) -> Records:
    """Return the records of the crowded letter, read anew from what it was made of."""
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        return bpvet.read(full.full_records(Path(folder) / "records"), as_of=full.AS_OF)


def test_the_parts_stand_in_the_order_of_the_page(marzipan: Letter) -> None:
    html = LETTER.html(marzipan, "a4")
    marks = (
        *("<dt>To", "<dt>From", "<dt>Question", "<h1>", 'class="urgent"', "<dt>Newest"),
        *("<dt>Usual", "<dt>At target?", "<dt>When again", "<figure>", "<dt>Current drugs"),
        *("<dt>Eyes", "<dt>Signs", "<dt>Not clear", "<h2>Kidney values", "<h2>In short"),
        *("<h2>Further answers", "<h2>Sessions", 'class="cautions"', 'class="hand"'),
    )
    places = [html.index(mark) for mark in marks]
    assert places == sorted(places)


def test_addressee_and_question_are_words_or_lines_to_write_on(marzipan: Letter) -> None:
    html = LETTER.html(marzipan, "a4")
    assert html.count('class="blank"') == 3
    who = replace(marzipan.who, to="<b>Dr A & Sons</b>", question="Can you see her?", clinic="")
    given = LETTER.html(replace(marzipan, who=who), "a4")
    assert given.count('class="blank"') == 1
    assert "&lt;b&gt;Dr A &amp; Sons&lt;/b&gt;" in given
    assert "<dd>Can you see her?</dd>" in given


def test_the_figure_is_never_lost(marzipan: Letter) -> None:
    assert marzipan.figure is not None
    for paper, (_, height) in PAPERS.items():
        room = height - 2 * MARGIN
        who = replace(marzipan.who, to="A hospital", question="Can you see her?")
        given = replace(marzipan, who=who)
        found = placed(given, paper)
        assert found.above == 0
        assert SMALLEST * WIDTH <= found.width <= WIDTH
        assert head_tall(given) + found.height < room
        for urgent in (20, 60, 600):
            words = replace(marzipan.words, urgent=("Urgent: " + "see it now; " * urgent,))
            crowd = replace(marzipan, words=words)
            found = placed(crowd, paper)
            assert found.height <= room
            assert found.width / found.height == pytest.approx(WIDTH / marzipan.figure.height)
            assert LETTER.html(crowd, paper).count("<img") == 1
        tall = replace(marzipan, figure=replace(marzipan.figure, height=900.0))
        found = placed(tall, paper)
        assert found.height <= room
        assert 1 <= found.above <= len(parts(tall))


def test_what_the_figure_leaves_of_the_first_page_is_filled(marzipan: Letter) -> None:
    words = replace(marzipan.words, urgent=("Urgent: " + "a vet must see it now; " * 60,))
    crowd = replace(marzipan, words=words)
    found, room = placed(crowd, "a4"), PAPERS["a4"][1] - 2 * MARGIN - head_tall(crowd)
    assert found.above > 1
    assert sum(parts(crowd)[: found.above]) <= room
    printed = pages(crowd, "a4")
    assert "Current drugs" in printed[0]
    assert "± 1 SD of its readings" in printed[1]


def test_the_smallest_letters_have_eight_points(marzipan: Letter) -> None:
    printed = LETTER.html(marzipan, "a4").split("@media print {\n  body", 1)[1]
    sizes = [float(size) for size in re.findall(r"font-size: ([\d.]+)pt", printed)]
    assert len(sizes) >= 4
    assert min(sizes) >= 8
    assert SMALLEST >= 0.85


def test_hostile_words_are_text(tmp_path: Path) -> None:
    records = bpvet.read(hostile_records(tmp_path / "r"), as_of="2026-06-01")
    letter = made(
        bpvet.fit_trend(records, HOSTILE_ID),
        to="<script>alert(9)</script>\u202e",
        question="<img src=http://example.org/x.png onerror=alert(1)>",
    )
    html = LETTER.html(letter, "a4")
    assert "<script" not in html
    assert "<svg" not in html
    assert html.count("<img") == 1
    assert 'src="http' not in html
    assert not HIDDEN.search(html)
    assert "&lt;script&gt;alert(9)&lt;/script&gt;" in html
    assert "&lt;script&gt;alert(1)" in html
    assert html.count("</style>") == 1
    assert html.count("default-src 'none'") == 1
    assert len(pages(letter, "a4")) <= 3


def test_the_foot_is_a_string_of_the_style_sheet(marzipan: Letter) -> None:
    html = LETTER.html(replace(marzipan, foot='"} </style><script>'), "letter")
    assert "\\22 \\7d  \\3c \\2f style\\3e \\3c script\\3e " in html
    assert html.count("</style>") == 1


def test_very_long_words_wrap_and_nothing_is_cut(tmp_path: Path) -> None:
    folder = hostile_records(tmp_path / "r")
    rows = [
        f'"{HOSTILE_ID}","drug {i} {"x" * 300}",2026-01-{i:02d},,{i} tablets,,,'
        for i in range(1, 29)
    ]
    with (folder / "treatments.csv").open("a", encoding="utf-8") as file:
        file.write("\n".join(rows) + "\n")
    with (folder / "labs.csv").open("a", encoding="utf-8") as file:
        file.write(f'"{HOSTILE_ID}",2026-04-10,{"y" * 300},180,umol/L\n')
    letter = made(bpvet.fit_trend(bpvet.read(folder, as_of="2026-06-01"), HOSTILE_ID))
    printed = squeezed("".join(pages(letter, "a4")))
    for i in range(1, 29):
        told = f"drug {i} {'x' * 300} {i} tablets, since {i} January 2026"
        assert told in body(LETTER.html(letter, "a4"))
        assert squeezed(told) in printed
    assert LETTER.html(letter, "a4").count("<img") == 1


def test_an_animal_without_a_session_has_a_page() -> None:
    records = bpvet.read(SCENARIOS / "signs_without_pressure", as_of="2026-05-03")
    letter = unseen_letter(records, unseen_answer(records, "N25", "there is none."), "letter.csv")
    (text,) = pages(letter, "letter")
    html = LETTER.html(letter, "letter")
    for shown in (text, body(html)):
        held = squeezed(shown)
        for words in (
            *("Urgent", "No figure: no trend could be fitted", "“vomiting”", "Telephone"),
            *("“collapsed and had a fit in the garden”", licensed()),
        ):
            assert squeezed(words) in held
    assert "<img" not in html


def test_the_same_records_give_the_same_bytes(marzipan: Letter, clinic: Path) -> None:
    again = made(bpvet.fit_trend(bpvet.read(clinic, as_of=AS_OF), "Marzipan"))
    assert LETTER.html(again, "a4") == LETTER.html(marzipan, "a4")
    assert again.table == marzipan.table


def test_a_rabbit_is_told_without_a_verdict() -> None:
    records = bpvet.read(SCENARIOS / "rabbit", as_of="2026-05-04")
    letter = made(bpvet.fit_trend(records, "R26"))
    assert [label for label, _ in letter.words.summary] == ["Newest", "Usual", "When again"]
    assert letter.words.short[0].startswith("The species is recorded as “rabbit”")
    held: Any = body(LETTER.html(letter, "a4"))
    assert "At target" not in held
