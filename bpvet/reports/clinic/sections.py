"""The sections of a cohort's page, a function each."""

from __future__ import annotations

from functools import partial

from bpvet.answers.clinic.cohort import CohortAnswer
from bpvet.figures.clinic.panels_picture import CohortPicture
from bpvet.figures.save import svg_bytes
from bpvet.pictures import clinic as cohort_pictures
from bpvet.pictures import clinic_panels as cohort_panels
from bpvet.reports.cards import head
from bpvet.reports.drawings import drawn
from bpvet.reports.markup import (
    Shown,
    bullets,
    folded,
    lines,
    paragraph,
    table_html,
    tabled,
    told_or_tabled,
)
from bpvet.wording.en.pages.cohort import tables
from bpvet.wording.en.pages.cohort.head import cohort_head
from bpvet.wording.en.pages.cohort.over_time import over_time_table


def now(answer: CohortAnswer) -> Shown:
    """Return the head of a cohort's report."""
    return head(cohort_head(answer))


def panels(answer: CohortAnswer) -> Shown:
    """Return the animals through time, a small panel each, and all of them in one."""
    shown = [_figure(figure) for figure in cohort_panels.panels(answer.study, answer.level)]
    return Shown(
        "".join(figure.html for figure in shown), lines(*(figure.text for figure in shown))
    )


def sentences(answer: CohortAnswer) -> Shown:
    """Return what the numbers say, in sentences."""
    return Shown(bullets(answer.sentences), lines(*answer.sentences))


def flow(answer: CohortAnswer) -> Shown:
    """Return who was counted and who not, and why, as a flow that adds up."""
    return tabled(tables.flow_table(answer), "flow")


def entry(answer: CohortAnswer) -> Shown:
    """Return the table of the animals at entry, all and by species."""
    return tabled(tables.entry_table(answer))


def over_time(answer: CohortAnswer) -> Shown:
    """Return where the treated animals are at three and six months, and how soon at target."""
    return told_or_tabled(over_time_table(answer))


def fit(answer: CohortAnswer) -> Shown:
    """Return the fit as a paper's table of fixed effects."""
    return tabled(tables.fit_table(answer))


def grid(answer: CohortAnswer) -> Shown:
    """Return how the main estimates move with the choices behind them."""
    return tabled(tables.grid_table(answer), "grid")


def scatter(answer: CohortAnswer) -> Shown:
    """Return the figure of the SDs between animals, visits and readings."""
    return _figure(cohort_pictures.scatter(answer.study, answer.components, answer.level))


def variance(answer: CohortAnswer) -> Shown:
    """Return the SDs between animals, visits and readings by method, with profile intervals."""
    return tabled(tables.variance_table(answer))


def caterpillar(answer: CohortAnswer) -> Shown:
    """Return the figure of the animals beside each other."""
    return _figure(cohort_pictures.caterpillar(answer.study, answer.level))


def animals(answer: CohortAnswer) -> Shown:
    """Return every animal's level and slope against the population's, folded away."""
    found = tables.animals_table(answer)
    caption = tables.every_animal(found)
    return Shown(folded(caption, table_html(found)), caption)


def residuals(answer: CohortAnswer) -> Shown:
    """Return the figure of the residuals."""
    return _figure(cohort_pictures.clinic_picture(answer.study, "residuals"))


def computed(answer: CohortAnswer) -> Shown:
    """Return how the report was computed."""
    chosen = tables.choices(answer)
    html = paragraph(tables.HOW_FITTED) + table_html(chosen)
    return Shown(html, lines(tables.HOW_FITTED, *(": ".join(row) for row in chosen.rows)))


def _figure(picture: CohortPicture) -> Shown:
    return drawn(partial(svg_bytes, picture), picture.alt_text, picture.caption)
