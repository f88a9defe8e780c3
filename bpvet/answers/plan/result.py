"""The parts of a plan's answer: frozen numbers, each None where it cannot be given."""

from __future__ import annotations

from typing import Any

import numpy as np

from bpvet.answers.json_values import plain
from bpvet.answers.statement import Statement
from bpvet.answers.trend.safety import UrgentAnswer
from bpvet.answers.trend.settle import SettleAnswer
from bpvet.equality import Content
from bpvet.facts.priors.priors import Priors
from bpvet.frozen import dataclass
from bpvet.maths.estimate import Number
from bpvet.models.plan.schedule import Precision
from bpvet.models.plan.study import Study
from bpvet.printing import Brief


@dataclass(frozen=True, eq=False)
class PlanRow(Content):
    """Half-widths after a number of visits: of the usual value by readings, and of an effect."""

    visits: int
    usual: dict[str, float]
    effect: Number


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class PlanAnswer(Brief, Content):
    """How well a new animal would be known, and what a study of such animals needs.

    Numbers are in `unit`; half-widths hold with probability `level`. `fewest_visits` is for
    ± `within`, None where `most_visits` leave more: `closest` is what they leave. `fall_seen`
    is the fall for which the verdict "has lowered" would be reached with probability `seen`.
    """

    species: str
    method: str
    quantity: str
    unit: str
    used_to_it: bool
    level: float
    visits: int
    readings: int
    every_days: int
    before: int
    drug: str
    tau_days: float
    usual: Precision
    ordinary: Precision
    slope: Precision
    effect: Precision | None
    fall_seen: Number
    seen: float
    within: float
    fewest_visits: int | None
    closest: float
    most_visits: int
    table: tuple[PlanRow, ...]
    study: Study | None
    priors: Priors
    statements: tuple[Statement, ...] = ()
    sentences: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    cautions: tuple[str, ...]
    version: str

    def to_dict(self) -> dict[str, Any]:
        """Return every answer as plain JSON values."""
        shown: dict[str, Any] = plain(self)
        for name in ("tau_days", "condition_offset", "change_sd"):
            shown["priors"][name] = plain(dict(getattr(self.priors, name)))
        shown["study"] = None if self.study is None else plain(self.study.to_dict())
        return shown


@dataclass(frozen=True, eq=False)
class SpellPrecision(Content):
    """How well the full effect of one spell of treatment would be known."""

    drug: str
    started_on: np.datetime64
    knowable: bool
    effect: Precision


@dataclass(frozen=True, eq=False)
class OpenQuestion(Content):
    """A question that the records leave open, and how likely the visits settle it.

    `question` is ``target`` (is the usual pressure at or below `value`?), ``drug`` (has `drug`,
    from `started_on`, lowered it by 10 or more?) or ``slope`` (is it creeping up?).
    """

    question: str
    value: Number
    drug: str
    started_on: np.datetime64 | None
    settle: SettleAnswer


@dataclass(frozen=True, eq=False, kw_only=True)
class FurtherAnswer(Content):
    """How well an animal already measured would be known after further visits.

    Numbers are in `unit`; half-widths hold with probability `level`. `fewest_visits` is for
    ± `within`: 0 where it is known so well at the latest session, None where `most_visits` do
    not reach it. `open_questions` are those that the records leave open today, with the chance
    that these visits settle them. `urgent` is what is urgent of the animal today, which comes
    before any plan.
    """

    animal: str
    name: str
    species: str
    method: str
    condition: str
    quantity: str
    unit: str
    as_of: np.datetime64
    latest: np.datetime64
    sessions: int
    level: float
    visits: int
    readings: int
    every_days: int
    now: float
    usual: Precision
    slope: Precision
    effects: tuple[SpellPrecision, ...]
    within: float
    fewest_visits: int | None
    most_visits: int
    open_questions: tuple[OpenQuestion, ...]
    urgent: tuple[UrgentAnswer, ...]
    priors_source: str
    statements: tuple[Statement, ...] = ()
    sentences: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    cautions: tuple[str, ...]
    version: str
    data_digest: str

    def to_dict(self) -> dict[str, Any]:
        """Return every answer as plain JSON values."""
        return plain(self)
