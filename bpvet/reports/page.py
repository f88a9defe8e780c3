"""One self-contained HTML page from an executed notebook; it loads nothing from anywhere.

What the notebook shows is cleaned against a strict list of allowed elements and put into a page
of our own, whose content-security policy forbids scripts and every request.
"""

from __future__ import annotations

import re
from copy import deepcopy
from functools import cache
from html import escape
from importlib import resources
from typing import TYPE_CHECKING, Any

from bpvet.facts.sources import footnotes
from bpvet.reports.drawings import inlined
from bpvet.reports.files import DIGEST_MARKER, PAGE_MARKER
from bpvet.reports.markup import folded, paragraph, tag
from bpvet.wording.en.pages.heads import NOTEBOOK_CODE, SKIP

if TYPE_CHECKING:
    from nbformat import NotebookNode

POLICY = (
    "default-src 'none'; img-src data:; style-src 'unsafe-inline'; base-uri 'none'; "
    "form-action 'none'"
)
#: A cell with this tag is for the notebook alone.
NOTEBOOK_ONLY = "notebook-only"

_TAGS = {
    *("h1", "h2", "h3", "h4", "p", "br", "hr", "strong", "em", "b", "i", "small", "code", "pre"),
    *("ul", "ol", "li", "dl", "dt", "dd", "div", "span", "section", "header", "footer", "a"),
    *("table", "caption", "thead", "tbody", "tr", "th", "td", "figure", "figcaption"),
    *("picture", "source", "img", "details", "summary"),
}
_ATTRIBUTES = {
    "*": {"class"},
    "a": {"href"},
    "div": {"role", "tabindex", "aria-label"},
    "th": {"scope"},
    "tr": {"id"},
    "ul": {"hidden"},
    "img": {"src", "alt"},
    "source": {"srcset", "media"},
}
_IMAGE = re.compile(r"data:image/(?:png|jpeg|svg\+xml);base64,[A-Za-z0-9+/=]+")
#: Text as it was written, and blanks between other elements.
_PREFORMATTED = re.compile(r"(<pre\b.*?</pre>)", re.DOTALL)
_BLANK = re.compile(r"(?<![^>])[ \t\n\r\f\v]+(?=<|\Z)")
_ATTRIBUTE = re.compile(r' [\w-]+="[^"]*"')
#: An element's name, and its attributes where it has several.
_OPENED = re.compile(r'(<\w+)((?: [\w-]+="[^"]*"){2,})')
#: What the values of some attributes may be; those of the others are free.
_VALUES = {
    "src": _IMAGE,
    "srcset": _IMAGE,
    # Into the page, to a page beside it, or to the web.
    "href": re.compile(r"#[\w-]*|[A-Za-z0-9_][A-Za-z0-9._-]*\.html|https:[^\s\"'<>]+"),
    "hidden": re.compile("hidden"),
    "id": re.compile(r"session-\d{1,6}"),
    "role": re.compile("region"),
    "tabindex": re.compile("0"),
    "scope": re.compile("row|col"),
}


def page(notebook: NotebookNode, title: str, mark: str, digest: str = "") -> str:
    """Return the page of an executed notebook.

    Parameters
    ----------
    notebook : NotebookNode
        Markdown cells become headings and text; of code cells the outputs are shown, and the
        code is folded away at the end.
    title : str
        Title of the page, as text.
    mark : str
        Kind of the report and a digest of whose it is; tells whose file it is.
    digest : str
        Digest of the run; tells which notebook and parameters belong to it.
    """
    code = "\n\n".join(cell.source for cell in notebook.cells if cell.cell_type == "code")
    cells = folded(NOTEBOOK_CODE, tag("pre", tag("code", escape(code))))
    shown = inlined(cleaned(_body(notebook)))
    # The notes stand with the sources; a page whose marks are all elsewhere still gets the one.
    shown += "".join(paragraph(note, "footnote") for note in footnotes(shown))
    body = shown + tag("div", cells, class_="code")
    return document(body, title, mark, "page.css", digest)


def document(body: str, title: str, mark: str, style: str, digest: str = "") -> str:
    """Return a whole page around cleaned HTML: its policy, its one style sheet, its outline.

    Parameters
    ----------
    body : str
        HTML as `cleaned` returns it.
    title, mark : str
        As `page` takes them.
    style : str
        File name of the style sheet, in this folder.
    digest : str
        As `page` takes it; blank for a page that is alone.
    """
    # A class, as ":has()" in the style sheet would cost a setter of PDFs minutes.
    kind = mark.partition(" ")[0]
    run = f"{DIGEST_MARKER.format(digest=digest)}\n" if digest else ""
    rules = resources.files(__package__).joinpath(style).read_text(encoding="utf-8")
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">\n'
        f"{PAGE_MARKER.format(mark=mark)}\n{run}"
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        '<meta name="color-scheme" content="light dark">\n'
        f"<title>{escape(title)}</title>\n<style>\n{rules}</style>\n</head>\n<body>\n"
        f'<a class="skip" href="#report">{SKIP}</a>\n'
        f'<main id="report" class="of-{escape(kind)}" tabindex="-1">\n'
        f"{body}\n</main>\n</body>\n</html>\n"
    )


def cleaned(html: str) -> str:
    """Return HTML with nothing in it but what a report needs.

    Elements and attributes outside the list go, scripts and styles with all they hold; an image
    must hold itself, and a link leads into the page, to a page beside it or to an https address.

    Examples
    --------
    >>> cleaned('<p onclick="x()">a<script>b</script><img src="http://x/y.png"></p>')
    '<p>a<img></p>'
    """
    import nh3

    def kept(element: str, attribute: str, value: str) -> str | None:
        pattern = _VALUES.get(attribute)
        return value if pattern is None or pattern.fullmatch(value) else None

    return nh3.clean(
        html,
        tags=_TAGS,
        clean_content_tags={"script", "style"},
        attributes=_ATTRIBUTES,
        attribute_filter=kept,
        url_schemes={"data", "https"},
        link_rel="noopener noreferrer",
    )


def _body(notebook: NotebookNode) -> str:
    """Return the cells as HTML, without those for the notebook alone and without any code."""
    shown = deepcopy(notebook)
    shown.cells = [
        cell for cell in shown.cells if NOTEBOOK_ONLY not in cell.metadata.get("tags", ())
    ]
    html, _ = _exporter().from_notebook_node(shown)
    return "".join(
        piece if piece.startswith("<pre") else _even(piece)
        for piece in _PREFORMATTED.split(str(html))
    )


def _even(html: str) -> str:
    """Return HTML with one blank, or one break, for several, and attributes by their names."""

    def ordered(found: re.Match[str]) -> str:
        return found[1] + "".join(sorted(_ATTRIBUTE.findall(found[2])))

    once = _BLANK.sub(lambda found: "\n" if "\n" in found[0] else " ", html)
    return _OPENED.sub(ordered, once)


@cache
def _exporter() -> Any:
    """Return what makes cells HTML; its templates are read and compiled once."""
    from nbconvert.exporters import HTMLExporter, TemplateExporter
    from nbconvert.filters import Highlight2HTML
    from nbconvert.filters.widgetsdatatypefilter import WidgetsDataTypeFilter

    template: Any = TemplateExporter  # its package bears no types
    base: Any = HTMLExporter

    class Exporter(base):  # type: ignore[misc, unused-ignore]
        """Fills in the template alone; its base reads what is made a second time, as a tree.

        There it would give images words and parts that can be reached by keyboard, which ours
        have: for a clinic of thousands that took ten times as long as all the rest.
        """

        def from_notebook_node(
            self, nb: NotebookNode, resources: Any = None, **kw: Any
        ) -> tuple[str, Any]:
            """Return a notebook as HTML."""
            resources = self._init_resources(resources)
            types: Any = WidgetsDataTypeFilter
            colours: Any = Highlight2HTML
            shown = types(notebook_metadata=nb.metadata, parent=self, resources=resources)
            self.register_filter("highlight_code", colours(parent=self))
            self.register_filter("filter_data_type", shown)
            return template.from_notebook_node(self, nb, resources, **kw)

    exporter: Any = Exporter
    return exporter(
        template_name="basic",
        exclude_input=True,
        exclude_input_prompt=True,
        exclude_output_prompt=True,
        exclude_anchor_links=True,
    )
