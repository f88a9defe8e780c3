"""Opening the records that a command was given."""

from __future__ import annotations

import argparse
import os
import shlex
from typing import TYPE_CHECKING

from bpvet.command.shared.loading import loading
from bpvet.command.shared.output import counted, say

if TYPE_CHECKING:
    from bpvet.answers.trend.result import TrendAnswer
    from bpvet.answers.trend.unseen import UnseenAnswer
    from bpvet.facts.priors.table import PriorTable
    from bpvet.models.trend.trend import Trend
    from bpvet.records.outputs import Inputs
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
    with loading():
        from bpvet.records.read import read

    return read(arguments.path, as_of=arguments.as_of, **read_options(arguments).to_plain())


def read_options(arguments: argparse.Namespace) -> ReadOptions:
    """Return how the records are to be read, for a command that passes it on."""
    from bpvet.records.headings.conventions import is_toml
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


def inputs_read(arguments: argparse.Namespace) -> Inputs:
    """Return the files that a command reads: records, columns and priors, as far as named."""
    from bpvet.records.outputs import inputs_of

    return inputs_of(arguments.path, arguments.columns, [getattr(arguments, "priors", None)])


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
        from bpvet.records.formats.database import without_password

        path = without_password(arguments.path)
        tell_findings(len(records.findings), path, arguments.quiet)
    return records


def tell_findings(count: int, path: str, quiet: bool) -> None:
    """Say to the error stream how many findings there are about records, and how to see them."""
    from bpvet.wording.en.command.written import FINDINGS_TOLD

    say(FINDINGS_TOLD.format(many=counted(count, "finding"), path=shlex.quote(path)), quiet)


def fitted(arguments: argparse.Namespace) -> Trend:
    """Return the trend of the series that the arguments choose.

    Raises
    ------
    CallError, RecordsError
        As in `usable`; a `CallError` too for an unknown animal or guideline, or where no session
        is left: what is urgent of the animal comes first in it.
    FitError
        The trend could not be fitted.
    """
    from bpvet.errors import FitError, NothingLeft

    records, animal, priors = _chosen(arguments)
    try:
        return _fit(arguments, records, animal, priors)
    except (NothingLeft, FitError) as error:
        from bpvet.answers.trend.unseen import urgent_of

        raise urgent_of(records, animal, error, arguments.guideline) from None


def answered_or_unseen(
    arguments: argparse.Namespace,
) -> tuple[Records, Trend | None, TrendAnswer | UnseenAnswer]:
    """Return records, the trend and its answer, or what can be answered where none can be fitted.

    So it is where no session may enter a trend, and where the fit fails: what is urgent, signs,
    kidneys and the window do not hang on it.

    Raises
    ------
    CallError, RecordsError
        As in `fitted`, but for an animal without a session where no series was named.
    """
    from bpvet.errors import FitError, NothingLeft

    with loading():
        from bpvet.answers.trend.unseen import unseen_answer, urgent_of
        from bpvet.models.trend.fit import fit_trend as fit_trend

    records, animal, priors = _chosen(arguments)

    def unseen(why: str) -> UnseenAnswer:
        return unseen_answer(records, animal, why, arguments.guideline, arguments.edition)

    try:
        trend = _fit(arguments, records, animal, priors)
        answer = trend.answer(
            guideline=arguments.guideline, level=arguments.level, edition=arguments.edition
        )
        return records, trend, answer
    except FitError as error:
        return records, None, unseen(str(error))
    except NothingLeft as error:
        named = arguments.method or arguments.condition or arguments.bridge
        if named or arguments.quantity != "systolic":
            raise urgent_of(records, animal, error, arguments.guideline) from None
        return records, None, unseen(str(error))


def _chosen(arguments: argparse.Namespace) -> tuple[Records, str, PriorTable | None]:
    """Return records, the animal's id and the priors that the arguments choose."""
    from bpvet.facts.categories import guideline

    # What is wrong with the call is said before the work is done.
    guideline(arguments.guideline)
    priors = named_priors(arguments)
    records = usable(arguments)
    return records, records.animal(arguments.animal), priors


def _fit(
    arguments: argparse.Namespace, records: Records, animal: str, priors: PriorTable | None
) -> Trend:
    from bpvet.models.trend.fit import fit_trend

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
    from bpvet.facts.priors.table import PriorTable

    return PriorTable.load(arguments.priors)
