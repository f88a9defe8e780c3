"""The page around a notebook: cleaned, self-contained, and without any of the code's power."""

from __future__ import annotations

import nbformat
import pytest
from nbconvert import HTMLExporter

from bpvet.reports.page import NOTEBOOK_ONLY, POLICY, _body, cleaned, page

PIXEL = "data:image/png;base64,iVBORw0KGgo="


@pytest.mark.parametrize(
    "html",
    [
        "<script>alert(1)</script>",
        "<style>*{}</style>",
        '<img src="http://example.org/x.png">',
        '<img src="//example.org/x.png">',
        '<img src="data:text/html;base64,PHNjcmlwdD4=">',
        '<img src="data:image/svg+xml,<svg onload=alert(1)>">',
        '<img src="x" onerror="alert(1)">',
        '<a href="javascript:alert(1)">x</a>',
        '<a href="data:text/html,x">x</a>',
        '<a href="http://example.org">x</a>',
        '<p onclick="alert(1)" style="background:url(http://example.org)">x</p>',
        '<iframe src="https://example.org"></iframe>',
        '<object data="x"></object><embed src="x"><link rel="stylesheet" href="x">',
        '<form action="https://example.org"><input></form>',
        '<svg onload="alert(1)"><a xlink:href="javascript:alert(1)">x</a></svg>',
        '<meta http-equiv="refresh" content="0;url=https://example.org">',
        '<base href="https://example.org">',
        f'<picture><source srcset="https://example.org/x.png 1x"><img src="{PIXEL}"></picture>',
        '<div role="alert" tabindex="5">x</div>',
    ],
)
def test_what_runs_or_loads_is_taken_out(html: str) -> None:
    left = cleaned(html)
    for bad in ("script", "style", "example.org", "javascript", "onerror", "onload", "onclick"):
        assert bad not in left
    for bad in ("<iframe", "<object", "<embed", "<link", "<form", "<input", "<svg", "<meta"):
        assert bad not in left
    assert "text/html" not in left
    assert "tabindex" not in left
    assert "alert" not in left


def test_what_a_report_needs_is_kept() -> None:
    html = (
        '<div class="scroll" role="region" tabindex="0" aria-label="n"><table><caption>c</caption>'
        '<thead><tr><th scope="col">h</th></tr></thead><tbody><tr><td>1</td></tr></tbody></table>'
        f'</div><figure><picture><source media="(max-width: 40rem)" srcset="{PIXEL}">'
        f'<img src="{PIXEL}" alt="a"></picture><figcaption>f</figcaption></figure>'
        "<details><summary>s</summary>x</details>"
    )
    left = cleaned(html)
    for part in ('role="region"', 'tabindex="0"', 'aria-label="n"', 'scope="col"', 'alt="a"'):
        assert part in left
    assert left.count(PIXEL) == 2
    assert 'media="(max-width: 40rem)"' in left
    assert cleaned(left) == left


def test_a_link_to_a_source_is_kept() -> None:
    assert 'href="https://doi.org/10.1111/jvim.15331"' in cleaned(
        '<a href="https://doi.org/10.1111/jvim.15331">x</a>'
    )


def shown(*cells: nbformat.NotebookNode) -> str:
    return page(nbformat.v4.new_notebook(cells=list(cells)), "A <title>", "animal 0123456789")


def output(html: str) -> nbformat.NotebookNode:
    made = nbformat.v4.new_code_cell("report.now(trend, answer)")
    made.outputs = [nbformat.v4.new_output("display_data", {"text/html": html, "text/plain": ""})]
    return made


def test_the_page_has_a_language_a_title_a_policy_and_one_style_sheet() -> None:
    html = shown()
    assert html.startswith('<!DOCTYPE html>\n<html lang="en">')
    assert "<title>A &lt;title&gt;</title>" in html
    assert f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">' in html
    assert POLICY == (
        "default-src 'none'; img-src data:; style-src 'unsafe-inline'; base-uri 'none'; "
        "form-action 'none'"
    )
    assert html.count("<style>") == 1
    assert "@import" not in html
    assert "url(" not in html
    assert '<meta name="bpvet-report" content="animal 0123456789">' in html


def test_outputs_are_shown_and_code_is_folded_away_at_the_end() -> None:
    html = shown(output("<p>seen</p>"))
    assert html.index("<p>seen</p>") < html.index("<details>") < html.index("report.now(")
    assert html.count("report.now(") == 1


def test_cells_for_the_notebook_alone_are_not_on_the_page() -> None:
    cell = nbformat.v4.new_markdown_cell("# How", metadata={"tags": [NOTEBOOK_ONLY]})
    html = shown(cell, nbformat.v4.new_markdown_cell("## What"))
    assert "How" not in html
    assert "What</h2>" in html


def test_an_output_cannot_break_out_of_the_page() -> None:
    html = shown(output("</main></body><script>alert(1)</script><p>x"))
    assert "alert(1)" not in html
    assert html.count("</main>") == 1
    assert html.count("</body>") == 1


def test_cells_are_as_the_exporter_itself_writes_them() -> None:
    v4 = nbformat.v4
    html = (
        f'<div tabindex="0" role="region" class="scroll">\n\n <p>a &gt; b  c</p>  <b>d</b> \n</div>'
        f'<pre class="x" id="y">  one\n\n\n  <b> two</b>  \n <i>three</i></pre>\n\n'
        f'<picture><source srcset="{PIXEL}" media="all"><img src="{PIXEL}" alt="> a <"></picture>'
    ).replace('alt="> a <"', 'alt="&gt; a &lt;"')
    shown = v4.new_code_cell(
        "1", outputs=[v4.new_output("execute_result", data={"text/html": html, "text/plain": "t"})]
    )
    printed = v4.new_code_cell("2", outputs=[v4.new_output("stream", text="a\n\n  b < c\n\n")])
    cells = [v4.new_markdown_cell("# One\n\n\ntwo  *three*\n\n- four"), shown, printed]
    notebook = v4.new_notebook(cells=cells)
    own = HTMLExporter(
        template_name="basic",
        exclude_input=True,
        exclude_input_prompt=True,
        exclude_output_prompt=True,
        exclude_anchor_links=True,
    )
    assert cleaned(_body(notebook)) == cleaned(own.from_notebook_node(notebook)[0])
