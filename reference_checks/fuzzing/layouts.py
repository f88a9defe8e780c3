"""Readings in the layouts that people keep: dates as headings, lines for the chart."""

from __future__ import annotations

from reference_checks.fuzzing.cells import DATES, HOSTILE, IDS, NUMBERS, Table
from reference_checks.fuzzing.draws import Draws

_LISTS = ("165/158/160", "165; 158", "165, 158", "150 148 152", "> 300/298", "no sound", "165/95")
_METHODS = ("Doppler", "oscillometric")


def laid_out(draws: Draws) -> Table:
    """Return readings with a date at the head of each column, or as lines for the chart."""
    return draws.one((_across, _chart))(draws)


def _across(draws: Draws) -> Table:
    days = [draws.one(DATES if draws.odd(4) else DATES[:3]) for _ in range(1 + draws.below(4))]
    header = ("animal", "method", *(("reading",) if draws.once_in(2) else ()), *days)
    rows = []
    for row in range(draws.below(8)):
        named = [draws.one(IDS[:2]), draws.one(_METHODS), str(row)][: len(header) - len(days)]
        rows.append((*named, *(_pressure(draws) for _ in days)))
    return Table("readings", header, tuple(rows))


def _chart(draws: Draws) -> Table:
    rows = []
    for _ in range(draws.below(8)):
        named = (draws.one(IDS[:2]), draws.one(DATES if draws.odd(4) else DATES[:5]))
        rows.append((*named, _line(draws)))
    heading = draws.one(("chart_line", "chart line", "systolic", "note"))
    return Table("readings", ("animal", "taken_at", heading), tuple(rows))


def _line(draws: Draws) -> str:
    if draws.odd(15):
        return draws.one(HOSTILE)
    many = 1 + draws.below(6)
    readings = [_pressure(draws, chart=True) for _ in range(many)]
    if draws.once_in(4):
        readings[0] += " left out"
    if draws.once_in(6):
        readings[-1] += f' excluded "{draws.one(HOSTILE)}"'
    when = f"{draws.one(DATES)} " if draws.once_in(4) else ""
    line = (
        f"{when}Systolic {draws.below(300)} mmHg ({draws.one(_METHODS)}, mean of {many} of {many} "
        f"reading{'s' * (many > 1)}; {', '.join(readings)})"
    )
    if draws.odd(6):
        place = draws.below(len(line))
        return line[:place] + draws.text(4) + line[place + draws.below(3) :]
    return line


def _pressure(draws: Draws, chart: bool = False) -> str:
    if draws.odd(6):
        return draws.one(NUMBERS)
    if chart:
        return draws.one((str(90 + draws.below(110)), "> 300", "no sound", "150/90", "150/90/110/"))
    return draws.one((str(90 + draws.below(110)), "", draws.one(_LISTS)))
