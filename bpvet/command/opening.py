"""Opening the records that a command was given."""

from __future__ import annotations

import argparse
import os
import shlex
from typing import TYPE_CHECKING

from bpvet.command.output import counted, say

if TYPE_CHECKING:
    from bpvet.facts.prior_table import PriorTable
    from bpvet.models.trend import Trend
    from bpvet.records.read_options import ReadOptions
    from bpvet.records.records import Records


def opened(arguments: argparse.Namespace) -> Records:
    """Return the records at PATH as read and checked, with whatever was found in them.

    Raises
    ------
    CallError
        PATH does not exist, or an option is wrong.
    RecordsError
        It may not be read.
    """
    from bpvet.records.read import read

    return read(arguments.path, as_of=arguments.as_of, **read_options(arguments).to_plain())


def read_options(arguments: argparse.Namespace) -> ReadOptions:
    """Return how the records are to be read, for a command that passes it on."""
    from bpvet.records.conventions import is_toml
    from bpvet.records.read_options import ReadOptions

    columns = arguments.columns
    if is_toml(columns):
        # A report is run again from another folder.
        columns = os.path.abspath(columns)
    return ReadOptions(
        columns=columns,
        dates=arguments.dates,
        unit=arguments.unit,
        encoding=arguments.encoding,
        query=arguments.query,
    )


def usable(arguments: argparse.Namespace) -> Records:
    """Return the records at PATH, if nothing found in them stops the work.

    How many findings there are is said to the error stream.

    Raises
    ------
    CallError, RecordsError
        As in `opened`; a `RecordsError` too where a finding stops the work.
    """
    records = opened(arguments).require_usable()
    if records.findings:
        many = counted(len(records.findings), "finding")
        from bpvet.records.database import without_password

        path = shlex.quote(without_password(arguments.path))
        say(f"{many} about the records; to see them: bpvet check {path}", arguments.quiet)
    return records


def fitted(arguments: argparse.Namespace) -> Trend:
    """Return the trend of the series that the arguments choose.

    Raises
    ------
    CallError, RecordsError
        As in `usable`; a `CallError` too for an unknown animal or guideline, or where no session
        is left.
    FitError
        The trend could not be fitted.
    """
    from bpvet.facts.categories import guideline

    # What is wrong with the call is said before the work is done.
    guideline(arguments.guideline)
    priors = named_priors(arguments)
    records = usable(arguments)
    animal = records.animal(arguments.animal)
    from bpvet.models.fit import fit_trend

    return fit_trend(
        records,
        animal,
        method=arguments.method,
        quantity=arguments.quantity,
        rule=arguments.rule,
        condition=arguments.condition,
        bridge=arguments.bridge,
        priors=priors,
    )


def named_priors(arguments: argparse.Namespace) -> PriorTable | None:
    """Return the priors that were asked for, or None for the defaults.

    Raises
    ------
    CallError
        The file cannot be read, or holds no priors.
    """
    if arguments.priors is None:
        return None
    from bpvet.facts.prior_table import PriorTable

    return PriorTable.load(arguments.priors)
