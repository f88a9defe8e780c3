"""Pages for paper, which have no notebook: a letter, a sheet for the room, an owner's page.

Each is a `PaperKind`: its title, its sections from top to bottom and what its style adds. Cleaning,
the rules of the paper, the page, its PDF and the mark of its files are written here, once.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Callable
from typing import Generic, TypeVar

from bpvet.frozen import dataclass
from bpvet.reports.naming import digest_of
from bpvet.reports.page import cleaned, document
from bpvet.reports.pdf import pdf_bytes

Content = TypeVar("Content")
#: Width and height of paper, mm, by the name that its style sheet knows it by.
PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
#: Width of what is set on a page, and the margin above and below it, mm: as in the styles.
WIDTH, MARGIN = 186.0, 12.0
#: Joiners belong to the writing of some languages; every other hidden letter goes.
_JOINERS = "\u200c\u200d"


@dataclass(frozen=True)
class PaperKind(Generic[Content]):
    """A kind of page for paper.

    Parameters
    ----------
    name : str
        The first word of the mark by which its files are known, and its style sheet's name.
    animal : function of the content
        Id of the animal that it is of.
    title : function of the content
        Title of the page, as text.
    sections : tuple of function of the content and the paper
        Its HTML, from top to bottom.
    rules : function of the content and the paper
        What stands inside of the rule of the page, and what follows it, in its style.
    """

    name: str
    animal: Callable[[Content], str]
    title: Callable[[Content], str]
    sections: tuple[Callable[[Content, str], str], ...]
    rules: Callable[[Content, str], tuple[str, str]]

    def mark(self, content: Content) -> str:
        """Return what tells whose file a file is, such as "letter 3f2a91c0de"."""
        return f"{self.name} {digest_of(self.animal(content))}"

    def html(self, content: Content, paper: str = "a4") -> str:
        """Return the page, whole.

        Parameters
        ----------
        content
        paper : str
            One of `PAPERS`.
        """
        width, height = PAPERS[paper]
        inside, after = self.rules(content, paper)
        side = f"{MARGIN:g}mm {(width - WIDTH) / 2:g}mm"
        rules = f"@page {{ size: {width:g}mm {height:g}mm; margin: {side};{inside} }}\n{after}"
        body = cleaned(visible("".join(section(content, paper) for section in self.sections)))
        title, mark = visible(self.title(content)), self.mark(content)
        html = document(body, title, mark, f"{self.name}.css")
        return html.replace("<style>\n", f"<style>\n{rules}", 1)

    def file(self, content: Content, paper: str = "a4", ending: str = "html") -> bytes:
        """Return the page as its file holds it, as a PDF where its `ending` is "pdf".

        Raises
        ------
        CallError
            Where a PDF is asked for, and what makes it is not installed.
        """
        html = self.html(content, paper)
        if ending == "pdf":
            return pdf_bytes(html, self.mark(content))
        return html.encode("utf-8", "replace")


def visible(text: str) -> str:
    """Return text without letters that hide, or turn the direction of what follows.

    Examples
    --------
    >>> visible("Min\\u200bka\\u202e")
    'Minka'
    """
    return "".join(
        char for char in text if char in _JOINERS or unicodedata.category(char) not in ("Cf", "Cs")
    )
