"""``bpvet priors``: learn a clinic's own priors and keep them in a file."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from bpvet.command.shared import options
from bpvet.command.shared.opening import inputs_read, usable
from bpvet.command.shared.output import print_json, printable, progress, writable
from bpvet.facts.words import QUANTITIES

if TYPE_CHECKING:
    from bpvet.facts.priors.table import PriorTable
    from bpvet.printing import ShortTable

ABOUT = """\
Learns what is usual in this clinic (levels, and the noise of visits and readings) from all its
animals, and keeps it in a new file, named and dated. Reports use it only where it is named
(--priors FILE), so that no report changes because another animal joined.

example:
  bpvet priors records -o clinic-2026.toml --name "our clinic"
"""


USAGE = "bpvet priors PATH -o FILE [options]"
ARGUMENTS = (
    *options.PATH,
    options.argument("-o", "--output", required=True, metavar="FILE", help="the new file, .toml"),
    options.argument("--name", default="", help="what to call them; reports print it"),
    options.argument(
        "--quantity",
        dest="quantities",
        action="append",
        choices=QUANTITIES,
        help="may be repeated; default: systolic",
    ),
    options.RULE,
    options.WAYS_OUT,
)


def run(arguments: argparse.Namespace) -> None:
    """Learn the priors, save them, and say what was learned."""
    from bpvet.wording.en.command.written import PRIORS_SAVED, WAITING

    writable(arguments.output, inputs_read(arguments), replaceable=False)
    records = usable(arguments)
    from bpvet.models.trend.learning import learn_priors

    progress(WAITING["priors"], arguments.quiet)
    quantities = tuple(arguments.quantities or ("systolic",))
    table = learn_priors(records, quantities, rule=arguments.rule, name=arguments.name)
    path = table.save(arguments.output)
    if arguments.json:
        cells = [_cell(key, table) for key in table.cells]
        print_json({"file": str(path), "name": table.name, "cells": cells})
    else:
        print(printable(_table(table).text()))
        print(printable(PRIORS_SAVED.format(file=path)))


def _cell(key: tuple[str, str, str], table: PriorTable) -> dict[str, object]:
    priors = table[key]
    species, method, quantity = key
    return {
        "species": species,
        "method": method,
        "quantity": quantity,
        "level": list(priors.level),
        "slope_sd": priors.slope_sd,
        "sv": list(priors.sv),
        "sr": list(priors.sr),
        "sw": list(priors.sw),
        "source": priors.source,
    }


def _table(table: PriorTable) -> ShortTable:
    from bpvet.facts.priors.priors import Priors
    from bpvet.printing import ShortTable, number
    from bpvet.wording.en.command.tables import PRIORS_NOTE

    def pair(values: tuple[float, float], digits: int) -> str:
        return f"{number(values[0], digits)} ({number(values[1], 2 if digits else 0)})"

    rows = []
    for key, published in table.cells.items():
        for called, priors in ((", ".join(key), published), ("  by default", Priors.default(*key))):
            noise = (pair(spread, 1) for spread in (priors.sv, priors.sr, priors.sw))
            rows.append((called, pair(priors.level, 0), number(priors.slope_sd, 1), *noise))
    heads = ("", "level (SD)", "slope SD", "visit SD", "reading SD", "wander SD")
    notes = (PRIORS_NOTE,)
    return ShortTable("", heads, tuple(rows), notes)
