"""The latest date on which an animal was measured, and what was measured then.

Sessions are those of any method, awake, calmed or sedated; home and calmed ones read lower than a
clinic's bounds suppose, and are judged with as much added as facts say.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache, cached_property

import numpy as np

from bpvet.facts.sources import fact
from bpvet.facts.words import TREND_CONDITIONS
from bpvet.frozen import dataclass
from bpvet.visits.choice import BOTH_BOUNDS
from bpvet.visits.session_columns import SessionColumns, SessionTable, column, some

#: Conditions that urgency is judged in: those of trends, and sedation.
JUDGED_CONDITIONS = (*TREND_CONDITIONS, "sedated")


@dataclass(frozen=True, eq=False)
class LatestDate:
    """The animal's latest date with a session that is judged, and what was measured then.

    Parameters
    ----------
    date : datetime64[D]
        The date.
    sessions : DataFrame or SessionColumns
        Its sessions in order; rows of `bpvet.sessions`.
    """

    date: np.datetime64
    sessions: SessionTable

    @cached_property
    def highest(self) -> float | None:
        """Highest session mean as it is judged by a clinic's bounds, mmHg; None without one."""
        bound, _, judged = self._systolic
        values = judged[bound != "at most"]
        return float(np.max(values)) if values.size else None

    @cached_property
    def lowest(self) -> float | None:
        """Lowest session mean as it is judged by a clinic's bounds, mmHg; None without one."""
        bound, _, judged = self._systolic
        values = judged[bound != "at least"]
        return float(np.min(values)) if values.size else None

    @cached_property
    def lowest_measured(self) -> float | None:
        """Lowest session mean as it was measured, mmHg; None without one."""
        bound, plain, _ = self._systolic
        values = plain[bound != "at least"]
        return float(np.min(values)) if values.size else None

    @cached_property
    def highest_measured(self) -> float | None:
        """Measured mean of the session that is judged highest, mmHg; None without one."""
        bound, plain, judged = self._systolic
        if not plain.size:
            return None
        counted = bound != "at most"
        if counted.any():
            plain, judged = plain[counted], judged[counted]
        return float(plain[int(np.argmax(judged))])

    def bound_of(self, value: float) -> str:
        """Return ``at least`` or ``at most`` where a measured mean is a bound; else blank."""
        bounds, plain, _ = self._systolic
        of_value = bounds[plain == value]
        bound = str(of_value[0]) if of_value.size else ""
        return "" if bound == BOTH_BOUNDS else bound

    @cached_property
    def lowest_mean(self) -> float | None:
        """Lowest mean arterial pressure of a session that was awake, mmHg; None without one."""
        rows = self.sessions
        awake = _among(column(rows, "condition"), TREND_CONDITIONS)
        values = column(rows, "mean")[awake & (column(rows, "mean_bound") != "at least")]
        return _extreme(np.fmin, values)

    @property
    def has_systolic(self) -> bool:
        """Whether a systolic pressure was read, as a number or a bound."""
        return self.highest_measured is not None

    def highest_of(self, quantity: str) -> float | None:
        """Return the highest session mean of another pressure, mmHg; None without one."""
        return _extreme(np.fmax, column(self.sessions, quantity))

    @cached_property
    def fastest(self) -> float | None:
        """Highest heart rate of a session, per minute; None without one."""
        return _extreme(np.fmax, column(self.sessions, "heart_rate"))

    @cached_property
    def soundless(self) -> bool:
        """Whether some reading gave no sound."""
        return bool((_silent(self.sessions) > 0).any())

    @property
    def below_gauge(self) -> bool:
        """Whether some of these are numbers lower than any animal has: perhaps in another unit."""
        return bool((column(self.sessions, "n_below_gauge") > 0).any())

    @cached_property
    def mostly_soundless(self) -> bool:
        """Whether half or more of at least two readings of a session gave no sound."""
        taken = column(self.sessions, "n_taken")
        return bool(np.any(mostly_silent(_silent(self.sessions), taken)))

    @cached_property
    def _systolic(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Bound, mean as measured and mean as judged of each session that has a number, (n,)."""
        return systolic_of(self.sessions)


def judged_offset(conditions: Sequence[str]) -> np.ndarray:
    """Return what is added to pressures (n,) before the clinic's bounds are laid on them, mmHg."""
    return np.array([added_to(str(condition)) for condition in conditions], dtype=float)


def added_to(condition: str) -> float:
    """Return the same of one condition."""
    return _added().get(condition, 0.0)


@cache
def _added() -> Mapping[str, float]:
    return {name: urgent_number(name) for name in ("home", "calmed")}


def systolic_of(sessions: SessionTable) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return bound, mean as measured and mean as judged of the sessions that have one, (n,) each.

    Columns and not rows are taken: of few sessions a frame's rows cost far more.
    """
    if isinstance(sessions, SessionColumns):
        return sessions.once("systolic", lambda: _systolic_of(sessions))
    return _systolic_of(sessions)


def _systolic_of(sessions: SessionTable) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    plain = column(sessions, "systolic").astype(float)
    has = ~np.isnan(plain)
    bound = column(sessions, "systolic_bound")[has]
    condition = column(sessions, "condition")[has]
    return bound, plain[has], plain[has] + judged_offset(condition)


def latest_date(
    sessions: SessionTable, conditions: Sequence[str] = JUDGED_CONDITIONS
) -> LatestDate | None:
    """Return the animal's latest date with a session under some conditions, or None.

    Parameters
    ----------
    sessions : DataFrame
        Its sessions, as `bpvet.sessions` gives them.
    conditions : sequence of str
        Those that count.
    """
    if isinstance(sessions, SessionColumns) and conditions == JUDGED_CONDITIONS:
        return sessions.once("latest", lambda: _latest_date(sessions, conditions))
    return _latest_date(sessions, conditions)


def _latest_date(sessions: SessionTable, conditions: Sequence[str]) -> LatestDate | None:
    taken = (column(sessions, "n_used") > 0) | (_silent(sessions) > 0)
    taken &= _among(column(sessions, "condition"), conditions)
    if not taken.any():
        return None
    dates = column(sessions, "date").astype("datetime64[D]")
    newest = dates[taken].max()
    return LatestDate(newest, some(sessions, taken & (dates == newest)))


def _silent(sessions: SessionTable) -> np.ndarray:
    return silent_readings(column(sessions, "n_no_sound"), column(sessions, "n_below_gauge"))


def silent_readings(no_sound: np.ndarray, below_gauge: np.ndarray) -> np.ndarray:
    """Return the readings of each session (n,) without a sound, those set aside as too low too."""
    return np.asarray(no_sound + below_gauge, dtype=float)


def mostly_silent(silent: np.ndarray, taken: np.ndarray) -> np.ndarray:
    """Return of which sessions (n,) half or more of at least two readings gave no sound."""
    enough = taken >= urgent_number("silent_readings")
    return np.asarray(enough & (silent >= urgent_number("silent_share") * taken))


def _among(words: np.ndarray, wanted: Sequence[str]) -> np.ndarray:
    return np.array([word in wanted for word in words.tolist()], dtype=bool)


def _extreme(which: np.ufunc, values: np.ndarray) -> float | None:
    """Return the least or the greatest value that is a number; None where none is."""
    known = values[~np.isnan(values)]
    return float(which.reduce(known)) if known.size else None


@cache
def urgent_number(key: str) -> float:
    """Return the number of a fact ``project.urgent.*``."""
    value = fact(f"project.urgent.{key}").value
    assert value is not None  # every fact that is asked for here holds a number
    return value
