"""A number with its interval, or the reason for having none: the one type for it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from bpvet.equality import Content
from bpvet.frozen import dataclass, field_names, is_dataclass, replace

if TYPE_CHECKING:
    from bpvet.maths.mixture import Mixture

#: A number, or None where it cannot be given.
Number = float | None


@dataclass(frozen=True, eq=False)
class Estimate(Content):
    """A number with its interval, or the reason why one or both are missing.

    Parameters
    ----------
    value, lower, upper : float or None
        The number and the ends of its interval, in one unit; None where not given.
    sd : float or None
        Its SD; None where none is told, as on a log scale.
    unit : str
        Unit of all of them; blank where what holds the estimate has it.
    level : float or None
        Probability of the interval; None where what holds the estimate has it.
    how : str or None
        ``exact``, or ``approximate (…)`` with the way the interval was made; blank without an
        interval, None where there is one way only.
    reason : str or None
        Why something is None; None where nothing is.
    """

    value: float | None
    lower: float | None = None
    upper: float | None = None
    sd: float | None = None
    unit: str = ""
    level: float | None = None
    how: str | None = None
    reason: str | None = None

    @classmethod
    def of(cls, mixture: Mixture, level: float, unit: str = "") -> Estimate:
        """Return the mean, central interval and SD of one distribution."""
        lower, upper = mixture.interval(level)
        sd = float(mixture.sd) if mixture.scale == "plain" else None
        return cls(float(mixture.mean), float(lower), float(upper), sd, unit, level)

    @property
    def estimate(self) -> float | None:
        """The number, by the name that frames and JSON give it."""
        return self.value

    def times(self, factor: float) -> Estimate:
        """Return the same in another unit: every number times a positive `factor`."""
        numbers = (self.value, self.lower, self.upper, self.sd)
        value, lower, upper, sd = (
            None if number is None else number * factor for number in numbers
        )
        return replace(self, value=value, lower=lower, upper=upper, sd=sd)

    def plus(self, shift: float) -> Estimate:
        """Return the same with the number and the ends of its interval moved by `shift`."""
        value, lower, upper = (
            None if figure is None else shift + figure
            for figure in (self.value, self.lower, self.upper)
        )
        return replace(self, value=value, lower=lower, upper=upper)

    @property
    def known(self) -> tuple[float, float, float]:
        """The number and the ends of its interval, where all three are given."""
        value, lower, upper = self.value, self.lower, self.upper
        if value is None or lower is None or upper is None:
            raise ValueError(self.reason or "a number or an end of its interval is missing")
        return value, lower, upper

    def to_dict(self) -> dict[str, Any]:
        """Return plain values: the number as `estimate`, its ends, and what else is told of it.

        Where there are several ways to make an interval the way and the reason, else the SD.
        """
        shown = {"estimate": self.value, "lower": self.lower, "upper": self.upper}
        if self.how is None:
            return shown | {"sd": self.sd}
        return shown | {"how": self.how, "reason": self.reason}


def values_of(value: Any) -> Any:
    """Return what is held as plain values: dataclasses as dictionaries, estimates by `to_dict`.

    Examples
    --------
    >>> values_of({"bias": Estimate(6.0, reason="one animal", how="")})["bias"]["reason"]
    'one animal'
    """
    if isinstance(value, Estimate):
        return value.to_dict()
    if is_dataclass(value) and not isinstance(value, type):
        return {name: values_of(getattr(value, name)) for name in field_names(value)}
    if isinstance(value, Mapping):
        return {key: values_of(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [values_of(item) for item in value]
    return value
