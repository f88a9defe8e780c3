"""What is told of an animal, by code: from a folder of records to keys, rules and states."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import bpvet
from bpvet.answers.trend.result import TrendAnswer
from bpvet.answers.trend.unseen import UnseenAnswer, unseen_answer
from bpvet.errors import NothingLeft
from bpvet.models.trend.trend import Trend
from bpvet.records.records import Records

HERE = Path(__file__).parent
FOLDERS = tuple(sorted(one.parent.name for one in HERE.glob("*/expected.toml")))


def expected(folder: str) -> dict[str, Any]:
    """What must and must not be said of a folder of records."""
    return tomllib.loads((HERE / folder / "expected.toml").read_text("utf-8"))


def opened(folder: str, as_of: str) -> Records:
    """The records of a folder on a date."""
    return bpvet.read(HERE / folder, as_of=as_of)


def answered(
    records: Records, animal: str, guideline: str = "acvim2018", **asked: Any
) -> tuple[TrendAnswer | UnseenAnswer, Trend | None]:
    """An animal's answer as ``bpvet trend`` gives it, and its trend where one can be fitted."""
    try:
        trend = bpvet.fit_trend(records, animal, **asked)
    except NothingLeft as error:
        return unseen_answer(records, animal, str(error), guideline), None
    return trend.answer(guideline=guideline), trend
