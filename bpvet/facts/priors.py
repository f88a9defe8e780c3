"""The prior beliefs of a trend: one documented, replaceable object that every report prints.

Every default is a judgement of this project (grade J), resting on the sizes listed in the facts;
none is a quotation. Learned priors of a clinic replace them, cell by cell.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields, replace
from types import MappingProxyType
from typing import Any

from bpvet.errors import CallError
from bpvet.facts.words import LAB_METHOD, LAB_QUANTITIES, METHODS, QUANTITIES, SPECIES

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

# level (centre, SD), sv, sr, sw (median, log-SD), effect SD, increment SD, slope SD per 30 d
_Row = tuple[
    tuple[float, float],
    tuple[float, float],
    tuple[float, float],
    tuple[float, float],
    float,
    float,
    float,
]
_SYSTOLIC: dict[tuple[str, str], _Row] = {
    ("cat", "doppler"): ((140, 35), (11, 0.5), (7, 0.40), (6, 0.5), 40, 15, 2),
    ("cat", "oscillometric"): ((140, 35), (11, 0.5), (10, 0.45), (6, 0.5), 40, 15, 2),
    ("dog", "doppler"): ((140, 35), (12, 0.5), (9, 0.40), (6, 0.5), 40, 15, 2),
    ("dog", "oscillometric"): ((140, 35), (12, 0.5), (12, 0.45), (6, 0.5), 40, 15, 2),
}
_OTHERS: dict[str, _Row] = {
    "diastolic": ((85, 25), (10, 0.5), (10, 0.45), (5, 0.5), 30, 12, 1.5),
    "mean": ((105, 27), (10, 0.5), (8, 0.45), (5, 0.5), 30, 12, 1.5),
    "pulse_pressure": ((55, 20), (9, 0.5), (10, 0.45), (4, 0.5), 25, 10, 1.5),
}
_HEART_RATE: dict[str, _Row] = {
    "cat": ((180, 35), (20, 0.5), (10, 0.5), (10, 0.5), 30, 12, 3),
    "dog": ((120, 35), (20, 0.5), (10, 0.5), (10, 0.5), 30, 12, 3),
}
# On the log scale; one noise SD, which sv carries: a single value has no readings.
_NO_SR = (0.01, 0.1)
_LABS: dict[str, _Row] = {
    "creatinine": ((math.log(160), 0.6), (0.10, 0.5), _NO_SR, (0.10, 0.5), 0.2, 0.1, 0.03),
    "sdma": ((math.log(14), 0.5), (0.15, 0.5), _NO_SR, (0.10, 0.5), 0.2, 0.1, 0.03),
    "upc": ((math.log(0.3), 1.0), (0.35, 0.5), _NO_SR, (0.25, 0.5), 0.5, 0.25, 0.08),
    "phosphate": ((math.log(1.5), 0.4), (0.12, 0.5), _NO_SR, (0.10, 0.5), 0.2, 0.1, 0.02),
}
_WEIGHT: dict[str, _Row] = {
    "cat": ((math.log(4.5), 0.35), (0.02, 0.5), _NO_SR, (0.03, 0.5), 0.05, 0.03, 0.01),
    "dog": ((math.log(15), 0.8), (0.02, 0.5), _NO_SR, (0.03, 0.5), 0.05, 0.03, 0.01),
}
_FIRST_VISIT = {"cat": (5.0, 8.0), "dog": (12.0, 14.0)}
_FIRST_HEART_RATE = (10.0, 15.0)


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
    sv, sr, sw : (float, float)
        Median and log-SD of the visit, reading and wander SDs (lognormal).
    wander_days : float
        Time constant of the slow wander.
    first_visit : (float, float) or None
        Mean and SD of the first-visit excitement; None turns it off.
    tau_days : mapping of str to float
        Time constant of each drug; drugs that are not named take 5 days.
    method_offset : (float, float) or None
        Mean and SD of oscillometric minus Doppler in a bridged series; None: N(0, 12²) where
        the animal has a paired visit, else N(0, 25²).
    condition_offset : mapping of str to (float, float)
        Mean and SD of home minus clinic and of calmed minus awake.
    source : str
        Where these numbers come from, as the reports print it.

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
    tau_days: Mapping[str, float] = field(default_factory=lambda: TAU_DAYS)
    method_offset: tuple[float, float] | None = None
    condition_offset: Mapping[str, tuple[float, float]] = field(
        default_factory=lambda: CONDITION_OFFSETS
    )
    source: str = "given by the caller"

    def __post_init__(self) -> None:
        for name in ("tau_days", "condition_offset"):
            object.__setattr__(self, name, MappingProxyType(dict(getattr(self, name))))
        pairs = {"level": self.level, "sv": self.sv, "sr": self.sr, "sw": self.sw}
        for name, (centre, spread) in pairs.items():
            if not spread > 0 or (name != "level" and not centre > 0):
                raise CallError(f"priors: {name} must hold positive numbers, not {pairs[name]}.")
        for name in ("slope_sd", "effect_sd", "increment_sd", "wander_days"):
            if not getattr(self, name) > 0:
                raise CallError(f"priors: {name} must be positive, not {getattr(self, name)}.")
        if self.first_visit is not None and not self.first_visit[1] > 0:
            raise CallError("priors: the SD of first_visit must be positive.")

    def __reduce__(self) -> tuple[Callable[..., Priors], tuple[dict[str, Any]]]:
        """Pickle the read-only mappings as plain ones: batches travel between processes."""
        values = {part.name: getattr(self, part.name) for part in fields(self)}
        plain = {key: dict(one) if isinstance(one, Mapping) else one for key, one in values.items()}
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
        known = species or "cat"
        if quantity == "systolic":
            row = _SYSTOLIC[known, method]
        elif quantity in ("heart_rate", "weight"):
            row = (_HEART_RATE if quantity == "heart_rate" else _WEIGHT)[known]
        else:
            row = {**_OTHERS, **_LABS}[quantity]
        priors = _from_row(row, _first_visit(known, quantity))
        return priors if species else _widened(priors)

    def tau_of(self, drug: str) -> float:
        """Return the time constant of `drug`, days."""
        return self.tau_days.get(drug, DEFAULT_TAU_DAYS)


def _from_values(values: dict[str, Any]) -> Priors:
    return Priors(**values)


def check_kind(species: str, method: str, quantity: str) -> None:
    if species not in (*SPECIES, ""):
        raise CallError(f'species "{species}" is not known; it is cat, dog or blank.')
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


def _first_visit(species: str, quantity: str) -> tuple[float, float] | None:
    if quantity in LAB_QUANTITIES:
        return None
    mean, sd = _FIRST_VISIT[species]
    if quantity == "systolic":
        return (mean, sd)
    if quantity == "heart_rate":
        return _FIRST_HEART_RATE
    return (mean / 2, sd / 2)


def _from_row(row: _Row, first_visit: tuple[float, float] | None) -> Priors:
    level, sv, sr, sw, effect, increment, slope = row

    def pair(values: tuple[float, float]) -> tuple[float, float]:
        return (float(values[0]), float(values[1]))

    return Priors(
        level=pair(level),
        slope_sd=float(slope),
        effect_sd=float(effect),
        increment_sd=float(increment),
        sv=pair(sv),
        sr=pair(sr),
        sw=pair(sw),
        first_visit=first_visit,
        source="defaults (judgements of this project)",
    )


def _widened(priors: Priors) -> Priors:
    """Unknown species: the cat's priors with every log-SD × 1.5."""

    def wide(pair: tuple[float, float]) -> tuple[float, float]:
        return (pair[0], 1.5 * pair[1])

    return replace(
        priors,
        sv=wide(priors.sv),
        sr=wide(priors.sr),
        sw=wide(priors.sw),
        source="defaults for a cat, widened: the species is not known",
    )
