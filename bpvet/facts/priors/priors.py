"""The prior beliefs of a trend: one documented, replaceable object that every report prints.

Every default is a judgement of this project (grade J), resting on the sizes listed in the facts;
none is a quotation. Learned priors of a clinic replace them, cell by cell.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from numbers import Real
from types import MappingProxyType
from typing import Any

from bpvet.errors import CallError
from bpvet.facts.analytes import analyte
from bpvet.facts.priors.groups import TREATED, PriorGroups
from bpvet.facts.species import Species, species_of
from bpvet.facts.words import LAB_METHOD, LAB_QUANTITIES, METHODS, QUANTITIES, SPECIES
from bpvet.frozen import dataclass, field, field_names, replace
from bpvet.reasons import reason

#: Time constants of rise and decay, days (J; facts ``tau.*`` carry the evidence).
TAU_DAYS: Mapping[str, float] = MappingProxyType(
    {
        "amlodipine": 3.0,
        "telmisartan": 5.0,
        "benazepril": 7.0,
        "captopril": 7.0,
        "enalapril": 7.0,
        "imidapril": 7.0,
        "lisinopril": 7.0,
        "ramipril": 7.0,
    }
)
DEFAULT_TAU_DAYS = 5.0

#: Home minus clinic and calmed minus awake, mmHg: (mean, SD) (J).
CONDITION_OFFSETS: Mapping[str, tuple[float, float]] = MappingProxyType(
    {"home": (-15.0, 15.0), "calmed": (-12.0, 15.0)}
)
#: One method minus the other, mmHg, with and without a paired visit of this animal (J).
METHOD_OFFSET_PAIRED = (0.0, 12.0)
METHOD_OFFSET_UNPAIRED = (0.0, 25.0)

#: Rows of priors of pressures that are the same for all species; systolic pressure, heart rate and
#: weight are in the blocks of ``species.toml``, laboratory values in those of ``analytes.toml``.
_OTHERS: dict[str, dict[str, Any]] = {
    "diastolic": {
        "level": (85, 25),
        "sv": (10, 0.5),
        "sr": (10, 0.45),
        "sw": (5, 0.5),
        "effect_sd": 30,
        "increment_sd": 12,
        "slope_sd": 1.5,
    },
    "mean": {
        "level": (105, 27),
        "sv": (10, 0.5),
        "sr": (8, 0.45),
        "sw": (5, 0.5),
        "effect_sd": 30,
        "increment_sd": 12,
        "slope_sd": 1.5,
    },
    "pulse_pressure": {
        "level": (55, 20),
        "sv": (9, 0.5),
        "sr": (10, 0.45),
        "sw": (4, 0.5),
        "effect_sd": 25,
        "increment_sd": 10,
        "slope_sd": 1.5,
    },
}
# On the log scale one noise SD, which sv carries: a single value has no readings.
_NO_SR = (0.01, 0.1)
_PAIRS = ("level", "sv", "sr", "sw")
_FIRST_HEART_RATE = (10.0, 15.0)

#: SD of what a recorded change of measuring does to a pressure, mmHg (J).
CHANGE_SDS: Mapping[str, float] = MappingProxyType(
    {"site": 20.0, "posture": 20.0, "instrument": 12.0, "operator": 6.0}
)


@dataclass(frozen=True)
class Priors:
    """What is believed of one kind of series before its readings are seen.

    Parameters
    ----------
    level : (float, float)
        Centre and SD of the usual untreated level at the latest session, in the unit.
    slope_sd : float
        SD of the slope, per 30 days.
    effect_sd, increment_sd : float
        SD of a course's full effect and of a dose change's; both centred on zero, so that a
        response is never invented.
    groups : PriorGroups or None
        Where an animal is treated they stand in for `level` and `effect_sd`, as long as these are
        the ones they stand beside: another `level` or `effect_sd` switches them off.
    sv, sr, sw : (float, float)
        Median and log-SD of the visit, reading and wander SDs (lognormal).
    wander_days : float
        Time constant of the slow wander.
    first_visit : (float, float) or None
        Mean and SD of the first-visit excitement; None turns it off.
    first_visit_fading : float
        Visits over which it falls to 1/e.
    first_visit_new : (float, float) or None
        The same of an animal whose records say that it was never measured before; None: as
        `first_visit`.
    tau_days : mapping of str to float
        Time constant of each drug; drugs that are not named take 5 days.
    method_offset : (float, float) or None
        Mean and SD of oscillometric minus Doppler in a bridged series; None: N(0, 12²) where
        the animal has a paired visit, else N(0, 25²).
    condition_offset : mapping of str to (float, float)
        Mean and SD of home minus clinic and of calmed minus awake.
    change_sd : mapping of str to float
        SD of a recorded change of ``site``, ``posture``, ``instrument`` or ``operator``; what is
        not named has no column.
    sitting_minus_lateral : float
        Centre of the change of posture from lying on the side to sitting.
    source : str
        Where these numbers come from, as the reports print it.

    Raises
    ------
    CallError
        Where a number is not finite, or an SD, a median or a time constant is not positive.

    Notes
    -----
    Source of the defaults: facts with the ids ``prior.*`` (grade J).
    """

    level: tuple[float, float]
    slope_sd: float
    effect_sd: float
    increment_sd: float
    sv: tuple[float, float]
    sr: tuple[float, float]
    sw: tuple[float, float]
    wander_days: float = 60.0
    first_visit: tuple[float, float] | None = None
    first_visit_new: tuple[float, float] | None = None
    tau_days: Mapping[str, float] = field(default_factory=lambda: TAU_DAYS)
    method_offset: tuple[float, float] | None = None
    condition_offset: Mapping[str, tuple[float, float]] = field(
        default_factory=lambda: CONDITION_OFFSETS
    )
    change_sd: Mapping[str, float] = field(default_factory=lambda: CHANGE_SDS)
    sitting_minus_lateral: float = 0.0
    source: str = reason("priors.caller")
    groups: PriorGroups | None = None
    first_visit_fading: float = 1.5

    def __post_init__(self) -> None:
        checked: dict[str, Any] = {"level": checked_pair("level", self.level, positive=False)}
        checked |= {name: checked_pair(name, getattr(self, name)) for name in ("sv", "sr", "sw")}
        checked |= {
            name: checked_positive(name, getattr(self, name))
            for name in (
                *("slope_sd", "effect_sd", "increment_sd", "wander_days", "first_visit_fading"),
            )
        }
        for name in ("first_visit", "first_visit_new", "method_offset"):
            if getattr(self, name) is not None:
                checked[name] = checked_pair(name, getattr(self, name), positive=False)
        checked["tau_days"] = _by_name("tau_days", self.tau_days, checked_positive)
        checked["condition_offset"] = _by_name("condition_offset", self.condition_offset, _centred)
        checked["change_sd"] = _by_name("change_sd", self.change_sd, checked_positive)
        strange = sorted(set(checked["change_sd"]) - set(CHANGE_SDS))
        if strange:
            raise CallError(
                f'priors: change_sd names "{strange[0]:.40}"; it is of {", ".join(CHANGE_SDS)}.'
            )
        name = "sitting_minus_lateral"
        checked[name] = _finite(name, self.sitting_minus_lateral)
        if not isinstance(self.source, str):
            raise CallError(f"priors: source is a text, not {_shown(self.source)}.")
        if not isinstance(self.groups, PriorGroups | None):
            raise CallError(f"priors: groups are PriorGroups or None, not {_shown(self.groups)}.")
        if self.groups and self.groups.beside != (checked["level"], checked["effect_sd"]):
            checked["groups"] = None
        for name, value in checked.items():
            object.__setattr__(self, name, value)

    def __reduce__(self) -> tuple[Callable[..., Priors], tuple[dict[str, Any]]]:
        """Pickle the read-only mappings as plain ones: batches travel between processes."""
        values = {name: getattr(self, name) for name in field_names(self)}
        plain = {
            key: dict(value) if isinstance(value, Mapping) else value
            for key, value in values.items()
        }
        return _from_values, (plain,)

    @classmethod
    def default(cls, species: str, method: str, quantity: str = "systolic") -> Priors:
        """Return the default priors of one kind of series.

        Parameters
        ----------
        species : str
            ``cat``, ``dog``, or blank where unknown: then the cat's with every log-SD × 1.5.
        method : str
            ``doppler`` or ``oscillometric``; ``laboratory`` for the quantities of single values.
        quantity : str
            One of `bpvet.facts.words.QUANTITIES` or `LAB_QUANTITIES`; priors of the latter are
            on the log scale of the standard unit.

        Raises
        ------
        CallError
            For an unknown species, method or quantity, or a quantity that the method does
            not give.

        Examples
        --------
        >>> Priors.default("cat", "doppler").sr
        (7.0, 0.4)
        """
        check_kind(species, method, quantity)
        known = species_of(species)
        row = _OTHERS.get(quantity) or analyte(quantity).priors or known.priors[quantity]
        if quantity == "systolic":
            row = row[method]
        if quantity in LAB_QUANTITIES:
            median, spread = row["level"]
            row = {**row, "level": (math.log(median), spread), "sr": _NO_SR}
        groups = TREATED.get(quantity)
        pairs: dict[str, Any] = {
            name: (float(row[name][0]), float(row[name][1])) for name in _PAIRS
        }
        numbers: dict[str, Any] = {
            name: float(row[name]) for name in ("slope_sd", "effect_sd", "increment_sd")
        }
        source = reason("priors.defaults")
        priors = Priors(**pairs, **numbers, source=source, groups=groups)
        priors = replace(priors, **_first_visits(known, quantity), **_changes(known, quantity))
        return priors if species else _widened(priors, known.name)

    def tau_of(self, drug: str) -> float:
        """Return the time constant of `drug`, days."""
        return self.tau_days.get(drug, DEFAULT_TAU_DAYS)

    def for_animal(self, measured_before: str) -> Priors:
        """Return the priors of an animal whose records say this of earlier measuring.

        Parameters
        ----------
        measured_before : str
            ``yes``: the first-visit term is off; ``no``: it is `first_visit_new` where that is
            given; blank: as they stand.
        """
        if self.first_visit is None or measured_before not in ("yes", "no"):
            return self
        if measured_before == "yes":
            return replace(self, first_visit=None)
        return replace(self, first_visit=self.first_visit_new or self.first_visit)


def _shown(value: object) -> str:
    """Return what was given, short; numbers of hundreds of digits are not printed."""
    if isinstance(value, float):
        return repr(float(value))
    if value is None or isinstance(value, (bool, str)):
        return f"{value!r:.60}"
    return f"a {type(value).__name__}"


def _finite(name: str, value: Any) -> float:
    """Return a finite number as a plain float; anything else is a CallError."""
    number = math.nan
    if isinstance(value, Real) and not isinstance(value, bool):
        with suppress(OverflowError):
            number = float(value)
    if not math.isfinite(number):
        raise CallError(f"priors: {name} must be a finite number, not {_shown(value)}.")
    return number


def checked_positive(name: str, value: Any) -> float:
    """Return a finite number above 0 as a plain float; anything else is a CallError."""
    number = _finite(name, value)
    if number <= 0:
        raise CallError(f"priors: {name} must be positive, not {number!r}.")
    return number


def checked_pair(name: str, value: Any, positive: bool = True) -> tuple[float, float]:
    """Return (centre, SD) or (median, log-SD): both finite, the second positive."""
    if not isinstance(value, Sequence) or isinstance(value, (str, bytes)) or len(value) != 2:
        raise CallError(f"priors: {name} is a pair of numbers, not {_shown(value)}.")
    whose, spread = ("median", "log-SD") if positive else ("centre", "SD")
    middle = (checked_positive if positive else _finite)(f"the {whose} of {name}", value[0])
    return middle, checked_positive(f"the {spread} of {name}", value[1])


def _centred(name: str, value: Any) -> tuple[float, float]:
    return checked_pair(name, value, positive=False)


def _by_name(name: str, value: Any, read: Callable[[str, Any], Any]) -> Mapping[str, Any]:
    """Return a read-only mapping of names to values that were looked at."""
    if not isinstance(value, Mapping) or not all(isinstance(key, str) for key in value):
        raise CallError(f"priors: {name} gives values by name, not {_shown(value)}.")
    return MappingProxyType(
        {key: read(f"{name} of {key:.40}", given) for key, given in value.items()}
    )


def _from_values(values: dict[str, Any]) -> Priors:
    return Priors(**values)


def check_kind(species: str, method: str, quantity: str) -> None:
    if species not in (*SPECIES, ""):
        raise CallError(f'species "{species}" is not known; it is {", ".join(SPECIES)} or blank.')
    if quantity in LAB_QUANTITIES and method == LAB_METHOD:
        return
    if method not in METHODS:
        raise CallError(f'method "{method}" is not known; it is doppler or oscillometric.')
    if quantity not in QUANTITIES:
        known = ", ".join(QUANTITIES)
        raise CallError(f'quantity "{quantity}" is not known; it is one of {known}.')
    if method == "doppler" and quantity != "systolic":
        raise CallError(
            f"a Doppler flow detector gives systolic pressure only, not {quantity}; "
            "ask for the oscillometric method."
        )


def _first_visits(species: Species, quantity: str) -> dict[str, Any]:
    """Return the two first-visit priors; halves for pressures other than systolic."""
    if quantity in LAB_QUANTITIES:
        return {"first_visit": None}
    if quantity == "heart_rate":
        return {"first_visit": _FIRST_HEART_RATE}
    share = 1 if quantity == "systolic" else 0.5
    found = {name: species.priors.get(name) for name in ("first_visit", "first_visit_new")}
    return {
        name: None if pair is None else (pair[0] * share, pair[1] * share)
        for name, pair in found.items()
    }


def _changes(species: Species, quantity: str) -> dict[str, Any]:
    """Return what recorded changes of measuring do: to pressures alone."""
    if quantity in LAB_QUANTITIES or quantity == "heart_rate":
        return {"change_sd": {}}
    # Both ends of the pulse move together.
    both = quantity == "pulse_pressure"
    name = "sitting_minus_lateral"
    return {name: 0.0 if both else species.priors.get(name, 0.0)}


def _widened(priors: Priors, stand_in: str) -> Priors:
    """Unknown species: the priors of the one that stands in, with every log-SD × 1.5."""

    def wide(pair: tuple[float, float]) -> tuple[float, float]:
        return (pair[0], 1.5 * pair[1])

    return replace(
        priors,
        sv=wide(priors.sv),
        sr=wide(priors.sr),
        sw=wide(priors.sw),
        source=reason("priors.widened", species=stand_in),
    )
