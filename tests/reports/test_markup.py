"""Pieces of HTML: every value escaped."""

from __future__ import annotations

from html.parser import HTMLParser

from hypothesis import given
from hypothesis import strategies as st

from bpvet.reports.markup import Shown, fold, folded, heading, paragraph, table, tag
from bpvet.wording.en.pages.shapes import Column


class Text(HTMLParser):
    """Collects elements and texts."""

    def __init__(self) -> None:
        super().__init__()
        self.elements: list[str] = []
        self.texts: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append(tag)

    def handle_data(self, data: str) -> None:
        self.texts.append(data)


def parsed(html: str) -> Text:
    parser = Text()
    parser.feed(html)
    parser.close()
    return parser


#: What a browser's text would not hold unchanged: control characters and lone surrogates.
texts = st.text(st.characters(exclude_categories=("Cc", "Cs")), min_size=1)


@given(texts)
def test_text_comes_out_as_it_went_in_and_makes_no_element(text: str) -> None:
    for html, element in ((paragraph(text), "p"), (heading(2, text), "h2")):
        found = parsed(html)
        assert found.elements == [element]
        assert "".join(found.texts) == text


@given(texts, texts)
def test_cells_and_captions_are_escaped(one: str, other: str) -> None:
    columns = (Column(one), Column(other, number=True))
    found = parsed(table(one, columns, [(one, other)], wide=True))
    assert found.elements == [
        *("div", "table", "caption", "thead", "tr", "th", "th", "tbody", "tr", "th", "td")
    ]
    assert "".join(found.texts) == one + one + other + one + other


def test_an_attribute_cannot_be_left() -> None:
    assert tag("p", "", title='"><script>') == '<p title="&quot;&gt;&lt;script&gt;"></p>'


def test_a_column_without_any_cell_is_left_out_but_not_the_first() -> None:
    html = table("c", (Column("A"), Column("B"), Column("C")), [("", "", "x"), ("", "", "")])
    assert ">A<" in html
    assert ">B<" not in html
    assert ">C<" in html


def test_heads_have_scopes_and_a_wide_table_a_named_region() -> None:
    html = table("Name", (Column("A"), Column("B")), [("x", "y")], wide=True)
    assert html.count('scope="col"') == 2
    assert html.count('scope="row"') == 1
    assert '<div class="scroll" role="region" tabindex="0" aria-label="Name">' in html


def test_blank_text_makes_no_paragraph() -> None:
    assert paragraph("") == ""


def test_a_fold_is_closed_at_first() -> None:
    assert folded("more", "<p>x</p>") == "<details><summary>more</summary><p>x</p></details>"
    part = Shown("<p>x</p>", "x")
    held = "<div><p>x</p></div></details>"
    assert fold("a < b", part, heads=False) == Shown(
        f'<details class="fold"><summary>a &lt; b</summary>{held}', "a < b\nx"
    )
    assert fold("a", part).html == f'<details class="fold"><summary><h2>a</h2></summary>{held}'
    assert fold("a", Shown("", "")).html == ""


def test_what_is_shown_has_html_and_plain_words() -> None:
    shown = Shown("<p>x</p>", "x")
    assert shown._repr_html_() == "<p>x</p>"
    assert repr(shown) == "x"
