"""A fitted cohort as tables: for the screen, a page, a paper, a file."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from bpvet.printing import ShortTable, decimals, number
from bpvet.reasons import reason

if TYPE_CHECKING:
    from bpvet.mixed.result import Cohort

_LATEX = {
    "\\": r"\textbackslash{}",
    "&": r"\&",
    "%": r"\%",
    "$": r"\$",
    "#": r"\#",
    "_": r"\_",
    "{": r"\{",
    "}": r"\}",
    "~": r"\textasciitilde{}",
    "^": r"\textasciicircum{}",
    "−": r"$-$",
    "–": "--",
    "<": r"$<$",
    "×": r"$\times$",
    "²": r"$^2$",
}


def whole_frame(cohort: Cohort) -> pd.DataFrame:
    """Return fixed effects and variance components in one frame."""
    fixed = cohort.fixed.reset_index().rename(columns={"term": "name"})
    fixed.insert(0, "part", "fixed")
    variance = cohort.variance.rename(columns={"component": "name"})
    variance.insert(0, "part", "variance")
    columns = ["part", "name", "estimate", "se", "sd", "df", "t", "p", "lower", "upper"]
    fixed = fixed.reindex(columns=columns)
    variance = variance.reindex(columns=columns)
    table = pd.concat([fixed.astype(object), variance.astype(object)], ignore_index=True)
    texts = ("part", "name")
    return table.astype({name: str if name in texts else float for name in columns})


def short_table(cohort: Cohort) -> ShortTable:
    """Return the table a paper would print, with what it rests on below."""
    rows = []
    for term, row in cohort.fixed.iterrows():
        places = decimals(float(row["se"]))
        limits = f"{number(row['lower'], places)} to {number(row['upper'], places)}"
        degrees = number(row["df"], 1 if row["df"] < 100 else 0)
        rows.append(
            (
                str(term),
                number(row["estimate"], places),
                number(row["se"], places),
                limits,
                degrees,
                p_value(float(row["p"])),
            )
        )
    for _, row in cohort.variance.iterrows():
        correlation = "correlation" in row["component"]
        value = float(row["estimate"] if correlation else row["sd"])
        places = 2 if correlation else decimals(abs(value) / 10.0)
        low, high = float(row["lower"]), float(row["upper"])
        ends = (low, high) if correlation else (low**0.5, high**0.5)
        limits = f"{number(ends[0], places)} to {number(ends[1], places)}"
        name = row["component"] if correlation else f"SD {row['component']}"
        rows.append((name, number(value, places), "", limits, "", ""))
    head = ("", "Estimate", "SE", "95 % interval", "df", "p")
    method = "REML" if cohort.reml else "ML"
    return ShortTable(f"{cohort.formula} ({method})", head, tuple(rows), notes(cohort))


def notes(cohort: Cohort) -> tuple[str, ...]:
    """Return the lines below the table: counts, criterion, and what a reader must know."""
    r2 = cohort.r2
    lines = [
        reason(
            "mixed.counts",
            animals=cohort.n_animals,
            sessions=cohort.n_sessions,
            readings=cohort.n_readings,
            criterion=number(cohort.criterion, 2),
            marginal=number(r2["marginal"], 2),
            conditional=number(r2["conditional"], 2),
        )
    ]
    rule = reason(f"mixed.df.{cohort.df_rule}")
    lines.append(reason("mixed.df_robust" if cohort.robust else "mixed.df", rule=rule))
    if cohort.boundary:
        lines.append(reason("mixed.boundary"))
    if cohort.data.spec.session is not None and not cohort.data.has_visits:
        lines.append(reason("mixed.one_reading"))
    out = cohort.data.left_out
    if out:
        parts = [reason("mixed.left_out_for", reason=why, rows=rows) for why, rows in out.items()]
        lines.append(reason("mixed.left_out", taken=cohort.data.taken, parts=", ".join(parts)))
    return tuple(lines)


def p_value(p: float) -> str:
    """Return a p value as papers print it.

    Examples
    --------
    >>> p_value(0.0312), p_value(1e-9)
    ('0.031', '< 0.001')
    """
    if p != p:
        return "–"
    return "< 0.001" if p < 0.001 else f"{p:.3f}"


def latex(table: ShortTable) -> str:
    """Return a short table as a LaTeX tabular with booktabs rules."""

    def line(cells: tuple[str, ...]) -> str:
        return " & ".join(_escaped(cell) for cell in cells) + r" \\"

    body = [line(row) for row in table.rows]
    return "\n".join(
        [
            r"\begin{table}",
            rf"\caption{{{_escaped(table.title)}}}",
            r"\begin{tabular}{l" + "r" * (len(table.columns) - 1) + "}",
            r"\toprule",
            line(table.columns),
            r"\midrule",
            *body,
            r"\bottomrule",
            r"\end{tabular}",
            *(rf"\par\small {_escaped(note)}" for note in table.notes),
            r"\end{table}",
            "",
        ]
    )


def _escaped(text: str) -> str:
    return "".join(_LATEX.get(mark, mark) for mark in text)
