"""Parts that the reports on a clinic's measuring share: sentences, figures, estimates."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import partial

from bpvet.facts.sources import PROJECT, Fact, source
from bpvet.figures.clinic.agreement_picture import AgreementPicture
from bpvet.figures.clinic.audit_picture import AuditPicture
from bpvet.figures.save import svg_bytes
from bpvet.reports.cautions import footnoted
from bpvet.reports.drawings import drawn
from bpvet.reports.markup import Shown, bullets, heading, lines, paragraph, tag
from bpvet.wording.en.phrases import capital


def reported(sentences: Sequence[str]) -> Shown:
    """Return sentences as a list; one alone as a paragraph."""
    if len(sentences) == 1:
        return Shown(paragraph(sentences[0]), sentences[0])
    return Shown(bullets(sentences), lines(*sentences))


def pictured(picture: AgreementPicture | AuditPicture | None, without: str) -> Shown:
    """Return a picture drawn for wide and narrow screens; a sentence where there is none."""
    if picture is None:
        return Shown(paragraph(without), without)
    return drawn(partial(svg_bytes, picture), picture.alt_text, picture.caption)


def facts_by_source(
    used: Iterable[tuple[str, Fact]], first: str = "", linked: bool = False
) -> Shown:
    """Return facts under the names of their sources, this project's own judgements last.

    Parameters
    ----------
    used : iterable of str and Fact
        What each figure is of, and the figure.
    first : str
        Key of a source that is named first, also where no figure is taken from it; blank for none.
    linked : bool
        Whether a link to each source stands below its citation.
    """
    facts = tuple(used)
    keys = dict.fromkeys([*filter(None, [first]), *(figure.source for _, figure in facts)])
    parts, texts = [], []
    for key in sorted(keys, key=lambda key: key == PROJECT):
        cited_source = source(key)
        # The source stands above its figures, so that none needs to name it again.
        figures = [
            f"{of}: {figure.words().replace(f'({cited_source.name}, ', '(', 1)}"
            for of, figure in facts
            if figure.source == key
        ]
        cited = paragraph(
            f"{cited_source.citation.rstrip('.')}. {cited_source.note}".strip(), "citation"
        )
        if linked and cited_source.doi:
            address = f"https://doi.org/{cited_source.doi}"
            cited += tag("p", tag("a", address, href=address), class_="citation")
        parts.append(heading(3, capital(cited_source.name)) + cited + bullets(figures))
        texts += [f"{capital(cited_source.name)}. {cited_source.citation}", *figures]
    return footnoted(Shown("".join(parts), lines(*texts)))
