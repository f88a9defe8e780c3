"""The tables of a cohort's page: the flow, the animals at entry, the fit, the grid, animals."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from bpvet.answers.clinic.cohort import NO_DIGEST, CohortAnswer
from bpvet.facts.species import plural_of
from bpvet.facts.words import METHOD_WORDS, QUANTITY_WORDS, SPECIES, UNITS
from bpvet.mixed.tables import p_value
from bpvet.models.clinic.flow import EntryRow
from bpvet.models.clinic.grid import Effect, GridRow
from bpvet.models.clinic.population import reference_method
from bpvet.printing import decimals, number
from bpvet.wording.en.pages.shapes import NONE, Column, Table
from bpvet.wording.en.phrases import capital, counted, day, percent

_NO_DRUG = "without a pressure-acting drug"


def flow_table(answer: CohortAnswer) -> Table:
    """Return who was counted and who not, and why, as a flow that adds up.

    Parameters
    ----------
    answer : CohortAnswer
    """
    flow = answer.flow
    rows = [_flow_row("In the records", flow.animals_in, flow.sessions_in, flow.readings_in)]
    rows += [
        _flow_row(f"Less: {step.reason}", -step.animals, -step.sessions, -step.readings)
        for step in flow.steps
    ]
    rows.append(_flow_row("Counted", flow.animals, flow.sessions, flow.readings))
    heads = (Column("Step"), *(Column(name, True) for name in ("Animals", "Sessions", "Readings")))
    caption = "From the records to the fit; each column adds up"
    notes = [
        "An animal is removed with its last session. Readings are rows of the records: a mean "
        "of several readings is one row."
    ]
    if flow.numbers != flow.readings:
        notes.append(
            f"The likelihood counts {flow.numbers} numbers from these rows: a session of which "
            "the mean alone is known counts once, and a mean of known scatter as many times as it "
            "says readings."
        )
    if answer.study.findings:
        found = counted(answer.study.findings, "finding")
        notes.append(f'The record check has {found} about these records; "bpvet check" lists them.')
    return Table(caption, heads, rows, notes, marked=range(1, len(rows) - 1))


def _flow_row(words: str, *numbers: int) -> tuple[str, ...]:
    return (words, *(number(count, 0) if count else NONE for count in numbers))


def entry_table(answer: CohortAnswer) -> Table:
    """Return the table of the animals at entry, all and by species.

    Parameters
    ----------
    answer : CohortAnswer
    """
    groups = list(dict.fromkeys(row.group for row in answer.entry))
    by = {(row.group, row.name): row for row in answer.entry}
    first = [row for row in answer.entry if row.group == groups[0]]
    rows = [
        (_entry_name(row), *(_entry_cell(by[group, row.name]) for group in groups)) for row in first
    ]
    named = (capital(plural_of(group) if group in SPECIES else group) for group in groups)
    heads = (Column("At the first counted session"), *(Column(name, True) for name in named))
    return Table("The animals at entry", heads, rows)


#: Rows at entry, their units and what is told of them.
_ENTRY = {
    "Animals": "Animals",
    "Age": "Age",
    "years": "years",
    "months": "months",
    "mean (SD)": "mean (SD)",
    "median (range)": "median (range)",
}


def _entry_name(row: EntryRow) -> str:
    parts = (row.name, row.unit, "" if row.kind == "count" else row.kind)
    return ", ".join(_ENTRY.get(word, word) for word in parts if word)


def _entry_cell(row: EntryRow) -> str:
    if row.kind == "count":
        value = int(row.value or 0)
        share = f" ({100 * value / row.known:.0f} %)" if row.known and row.name != "Animals" else ""
        return f"{value}{share}"
    if row.value is None:
        return "not known"
    digits = 0 if row.unit == "" else 1
    if row.kind == "mean (SD)":
        known = f", n {row.known}" if row.unit == "years" else ""
        return f"{number(row.value, 1)} ({number(row.sd, 1)}{known})"
    ends = f"{number(row.least, digits)} to {number(row.most, digits)}"
    return f"{number(row.value, digits)} ({ends})"


def fit_table(answer: CohortAnswer) -> Table:
    """Return the fit as a paper's tables: fixed effects, then SDs.

    Parameters
    ----------
    answer : CohortAnswer
    """
    frame, unit, share = answer.fixed, UNITS[answer.study.quantity], percent(answer.level)
    rows = []
    for term, row in frame.iterrows():
        places = decimals(float(row["se"]))
        rows.append(
            (
                term_words(answer, str(term)),
                str(term),
                number(row["estimate"], places),
                number(row["se"], places),
                f"{number(row['lower'], places)} to {number(row['upper'], places)}",
                number(row["df"], 1 if row["df"] < 100 else 0),
                p_value(float(row["p"])),
            )
        )
    heads = (
        *(Column("Fixed effect"), Column("Term"), Column(f"Estimate, {unit}", True)),
        *(Column("SE", True), Column(f"{share} interval", True)),
        *(Column("df", True), Column("p", True)),
    )
    return Table("Fixed effects", heads, rows, _fit_notes(answer))


def _fit_notes(answer: CohortAnswer) -> list[str]:
    study, cohort = answer.study, answer.study.cohort
    notes = [
        f"Linear mixed model by {'REML' if cohort.reml else 'ML'}: {cohort.formula}; "
        f"{'a level and a slope' if not study.fit.slopes_reason else 'a level'} of its own for "
        "every animal, visits within animals, readings within visits. Satterthwaite's degrees of "
        f"freedom. −2 log-likelihood {number(cohort.criterion, 2)} at reading level."
    ]
    if "months:treated" in cohort.terms:
        month = answer.grid.month
        notes.append(
            "Because change over months may differ on a drug, the term “treated” compares "
            "at the first session, where few animals are treated; above and in the grid sessions "
            f"are compared at month {month:g}, in the middle of those on a drug."
        )
    return notes


def term_words(answer: CohortAnswer, term: str) -> str:
    """Return what a term of the fit is."""
    with_drug = "treated" in answer.study.cohort.terms
    quiet = f", {_NO_DRUG}" if with_drug else ""
    by = METHOD_WORDS[min(answer.study.counted["method"].unique())]
    return {
        "Intercept": f"Level at the first session{quiet}, {by}",
        "months": f"Change a month{quiet}",
        "treated": "On a pressure-acting drug, at the first session",
        "months:treated": "Further change a month on one",
        "method[T.oscillometric]": "Oscillometric minus Doppler",
    }.get(term, term)


def variance_table(answer: CohortAnswer) -> Table:
    """Return the SDs between animals, visits and readings by method, with profile intervals.

    Parameters
    ----------
    answer : CohortAnswer
    """
    share = percent(answer.level)
    rows = []
    for component in answer.components:
        places = decimals(abs(component.estimate or 0.0) / 10) if component.unit else 2
        ends = f"{number(component.lower, places)} to {number(component.upper, places)}"
        rows.append(
            (
                component.words,
                number(component.estimate, places),
                component.unit,
                ends if component.lower is not None else NONE,
                component.reason or "",
            )
        )
    heads = (
        *(Column("Of"), Column("SD (or correlation)", True), Column("Unit")),
        *(Column(f"{share} profile interval", True), Column("Remark")),
    )
    words = {"doppler": "by Doppler", "oscillometric": "by the oscillometric method"}
    icc = answer.study.cohort.icc
    notes = [
        f"Two readings of one animal {words.get(str(name), 'by either method')}: correlation "
        f"{number(row['same_animal'], 2)} from different visits, "
        f"{number(row['same_session'], 2)} within one visit."
        for name, row in icc.iterrows()
    ]
    return Table("Variance components by method, as SDs", heads, rows, notes)


def grid_table(answer: CohortAnswer) -> Table:
    """Return how the main estimates move with the choices behind them.

    Parameters
    ----------
    answer : CohortAnswer
    """
    grid, unit = answer.grid, UNITS[answer.study.quantity]
    rows = [_grid_row(row) for row in grid.rows]
    heads = (
        *(Column("Choices"), Column("Animals", True), Column("Sessions", True)),
        Column(f"Change a month, off drugs, {unit}", True),
        Column(f"Change a month, on a drug, {unit}", True),
        Column(f"On a drug minus off at month {grid.month:g}, {unit}", True),
        Column(f"Oscillometric minus Doppler, {unit}", True),
    )
    if "treated" in answer.study.fit.left_out_terms:
        heads = (*heads[:3], Column(f"Change a month, {unit}", True), *heads[4:])
    caption = f"The main estimates under other choices ({percent(answer.level)} intervals)"
    notes = [
        "The first row is this report. A result that changes its sign or its size between rows "
        "depends on the choice, not on the animals alone."
    ]
    notes += _remarks(grid.rows)
    notes += [f"Changes nothing here: {words}." for words in grid.unmoved]
    return Table(caption, heads, rows, notes)


def _grid_row(row: GridRow) -> tuple[str, ...]:
    effects = (row.months, row.months_treated, row.treated, row.oscillometric)
    return (
        _choices(row),
        str(row.animals),
        str(row.sessions),
        *(_effect(effect, 1 if index < 2 else 0) for index, effect in enumerate(effects)),
    )


def _remarks(rows: Sequence[GridRow]) -> Iterator[str]:
    """Yield what is remarked on rows: once where it is the same of all that could be fitted."""
    fitted = [row for row in rows if not row.reason]
    if len(fitted) > 1 and len({_remark(row) for row in fitted}) == 1 and _remark(fitted[0]):
        yield f"In every row with a fit: {_remark(fitted[0])}."
        rows = [row for row in rows if row.reason]
    yield from (f"{_choices(row)}: {remark}." for row in rows if (remark := _remark(row)))


def _remark(row: GridRow) -> str:
    """Return why a row has no fit, or a simpler one than that of the full model."""
    return row.reason or ("one slope for all animals" if row.slopes is False else "")


def _choices(row: GridRow) -> str:
    parts = [f"rule “{row.rule}”"]
    parts += ["with sessions at home"] if row.home else []
    parts += ["with calmed sessions"] if row.calmed else []
    parts += [] if row.treated_before_entry else ["without animals treated before entry"]
    parts += [] if row.species == "all" else [f"{row.species}s only"]
    return f"This report: {', '.join(parts)}" if row.main else capital(", ".join(parts))


def _effect(effect: Effect, digits: int) -> str:
    if effect.estimate is None:
        return NONE
    ends = f"{number(effect.lower, digits)} to {number(effect.upper, digits)}"
    return f"{number(effect.estimate, digits)} ({ends})"


def animals_table(answer: CohortAnswer) -> Table:
    """Return every animal's level and slope against the population's.

    Parameters
    ----------
    answer : CohortAnswer
    """
    study, unit = answer.study, UNITS[answer.study.quantity]
    frame = study.cohort.animals.sort_values("intercept", kind="stable")
    slopes = "months" in frame
    rows = []
    # A dictionary a row: a series of each of thousands of animals costs as much as the fit.
    for animal, row in zip(frame.index, frame.to_dict("records"), strict=True):
        estimates = [number(row["intercept"], 1), number(row["intercept_sd"], 1)]
        estimates += [number(row["months"], 2), number(row["months_sd"], 2)] if slopes else ["", ""]
        counts = (str(int(row["sessions"])), str(int(row["readings"])))
        rows.append((str(animal), study.names[str(animal)], *counts, *estimates))
    heads = (
        *(Column("Animal"), Column("Name"), Column("Sessions", True), Column("Readings", True)),
        *(Column(f"Level against all, {unit}", True), Column("SD", True)),
        *(Column(f"Change a month against all, {unit}", True), Column("SD of change", True)),
    )
    return Table("Animals, the lowest level first", heads, rows)


def every_animal(found: Table) -> str:
    """Return under which words the table of animals is folded away."""
    return f"Every animal against the population ({len(found.rows)})"


#: How a cohort's report is computed.
HOW_FITTED = (
    "Sessions are fitted by their means, counts and scatter, which hold all that their readings "
    "say. Months count from an animal's first session of any kind. A session on the day of a "
    "drug's start comes before its first dose. A reading such as “> 300” stands at its bound. "
    "Visits and readings are taken to scatter normally, and sessions of one animal to scatter "
    "about its own straight line without wandering from it."
)


def choices(answer: CohortAnswer) -> Table:
    """Return the choices behind a cohort's report."""
    heads = (Column("Choice"), Column("Used"))
    return Table("Choices behind this report", heads, list(_basis(answer)), wide=False)


def _basis(answer: CohortAnswer) -> Iterator[tuple[str, str]]:
    study, fit = answer.study, answer.study.fit
    yield "Quantity", f"{QUANTITY_WORDS[study.quantity]}, {UNITS[study.quantity]}"
    yield "Sessions", "in the clinic or hospital, awake"
    yield "Which readings count", f"rule “{study.rule}”"
    yield "Population's line in the figure", f"by {METHOD_WORDS[reference_method(study)]}"
    for term, reason in fit.left_out_terms.items():
        yield f"Not in the model: {term}", reason
    yield "Slopes of animals' own", fit.slopes_reason or "yes, correlated with their levels"
    yield "Scatter by method", fit.spread_reason or "visit and reading SDs of each method's own"
    yield "Intervals", f"{percent(answer.level)}; of SDs by profile likelihood"
    yield "As of", day(study.as_of)
    yield "Pseudonyms", "yes; names, places and dates are left out" if study.pseudonyms else "no"
    yield "Fingerprint of the records", study.digest or NO_DIGEST
    yield "Version of bpvet", answer.version
