"""A cell's whole report, page and PDF, by the command that writes them."""

from __future__ import annotations

import html
import re
from pathlib import Path

import bpvet
from bpvet.command.main import main as command
from reference_checks.grid.cells import ANIMAL, Cell
from reference_checks.grid.judging import REASSURING, rules


def report_faults(cell: Cell, folder: Path) -> list[str]:
    """Return what is wrong with a cell's report.

    Parameters
    ----------
    cell : Cell
    folder : Path
        An empty folder: records and report are written into it.
    """
    records, out = folder / "records", folder / "out"
    cell.write(records)
    given = ["report", str(records), "--animal", ANIMAL, "-o", str(out), "--pdf", "--quiet"]
    if command([*given, "--as-of", str(cell.as_of)]) != 0:
        return ["the report was not written"]
    answer = bpvet.fit_trend(cell.records(), ANIMAL).answer()
    urgent = [one.text for one in answer.urgent]
    wanted = rules(cell, answer.target.p_below_floor)
    found = [] if len(urgent) == len(wanted) else ["other rules than the table's"]
    others = [one.text for one in answer.statements if one.topic != "urgent"]
    pages = {one.suffix: one for one in out.iterdir()}
    texts = {"page": _words(pages[".html"].read_text("utf-8")), "PDF": _of_pdf(pages[".pdf"])}
    for name, text in texts.items():
        places = [text.find(_plain(one)) for one in urgent]
        usual = text.find(_plain(next(one.text for one in answer.statements if one.key == "usual")))
        if -1 in places:
            found.append(f"the {name} leaves out an urgent line")
        elif urgent and 0 <= usual < max(places):
            found.append(f"the {name} tells the usual pressure before what is urgent")
    keys = {one.key for one in answer.statements}
    if {"low", "severe", "sign_current", "low_on_treatment"} & set(wanted):
        found += [f"{key} stands beside {wanted}" for key in REASSURING if key in keys]
    assert others  # a report tells more than what is urgent
    return found


def _words(page: str) -> str:
    body = page[page.find("<body") :]
    body = re.sub(r"<(style|script)\b.*?</\1>", "", body, flags=re.DOTALL)
    return _plain(html.unescape(re.sub(r"<[^>]*>", "", body)))


def _of_pdf(path: Path) -> str:
    from pypdf import PdfReader

    return _plain("".join(page.extract_text() for page in PdfReader(path).pages))


def _plain(text: str) -> str:
    # Lines of a page are broken and hyphenated where they fit.
    return re.sub(r"[\s\u00ad\u2010-]+", "", text)
