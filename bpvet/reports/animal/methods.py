"""What a report rests on: how it was computed, what it assumes, cautions, and sources."""

from __future__ import annotations

from bpvet.answers.parts import TrendAnswer
from bpvet.facts.categories import guideline
from bpvet.facts.cautions import licensed
from bpvet.facts.sources import PROJECT, Source, source
from bpvet.reports.cautions import cautions_shown, footnoted
from bpvet.reports.markup import Shown, bullets, heading, lines, paragraph, table_html, tag
from bpvet.wording.en.pages.animal.methods import animal_facts, choices, priors_table
from bpvet.wording.en.phrases import capital


def statement() -> Shown:
    """Return what every report says about itself."""
    return Shown(tag("footer", paragraph(licensed()), class_="statement"), licensed())


def computed(answer: TrendAnswer) -> Shown:
    """Return how the report was computed and what it assumes.

    Parameters
    ----------
    answer : TrendAnswer
    """
    chosen = choices(answer)
    html = bullets(answer.assumptions) + table_html(chosen) + table_html(priors_table(answer))
    return Shown(html, lines(*answer.assumptions, *(": ".join(row) for row in chosen.rows)))


def cautions(answer: TrendAnswer) -> Shown:
    """Return the cautions that apply to this animal.

    Parameters
    ----------
    answer : TrendAnswer
    """
    return cautions_shown(answer.cautions)


def sources(answer: TrendAnswer) -> Shown:
    """Return the guideline and every source used, with the figures taken from each.

    Parameters
    ----------
    answer : TrendAnswer
    """
    used = dict(animal_facts(answer))
    chosen = source(guideline(answer.guideline).source)
    keys = dict.fromkeys([chosen.key, *(one.source for one in used.values())])
    parts, said = [], []
    for key in sorted(keys, key=lambda key: (key == PROJECT, list(keys).index(key))):
        held = source(key)
        # The source stands above its figures, so that none needs to name it again.
        figures = [
            f"{of}: {one.words().replace(f'({held.name}, ', '(', 1)}"
            for of, one in used.items()
            if one.source == key
        ]
        parts.append(heading(3, capital(held.name)) + _cited(held) + bullets(figures))
        said += [f"{capital(held.name)}. {held.citation}", *figures]
    return footnoted(Shown("".join(parts), lines(*said)))


def _cited(held: Source) -> str:
    """Return a source's citation, its note, and a link to it."""
    words = paragraph(f"{held.citation.rstrip('.')}. {held.note}".strip(), "citation")
    if not held.doi:
        return words
    address = f"https://doi.org/{held.doi}"
    return words + tag("p", tag("a", address, href=address), class_="citation")
