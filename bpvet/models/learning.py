"""A clinic's own priors: those under which the readings of all its animals are likeliest.

The sum of the animals' log marginal likelihoods is maximised over the level's centre and SD and
the medians and log-SDs of the three noise SDs (and the slope's SD, never below 1). A weak pull
towards the defaults is added to all but the level: without it a hundred animals can send the
wander's SD to zero, where slope and visit noise stand in for it. Its gradient costs nothing
more than the fit: by Fisher's identity it is the posterior mean of the gradient of the log
prior.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from bpvet.errors import CallError, FitError
from bpvet.facts.prior_table import PriorTable
from bpvet.facts.priors import Priors
from bpvet.facts.words import METHODS, QUANTITIES_OF, SPECIES
from bpvet.maths.gaussian import Array
from bpvet.models.columns import columns_of
from bpvet.models.fit import with_taus
from bpvet.models.posteriors import posteriors
from bpvet.records.records import Records
from bpvet.visits.courses import all_courses
from bpvet.visits.series import Series, all_series
from bpvet.visits.sessions import sessions as sessions_of

#: Fewer animals than this keep the defaults.
LEAST_ANIMALS = 30
LEAST_SLOPE_SD = 1.0
_NOISE = ("sv", "sr", "sw")
#: Bounds of the log-SDs and of log SDs: wide of anything met, so that no fit runs away.
_LOG_SD_BOUNDS = (np.log(0.05), np.log(2.0))
#: SDs of the pull towards the defaults: of a log median, a log log-SD and the log slope SD. Far
#: wider than what a hundred animals leave open where they can tell at all.
_PULL_MEDIAN, _PULL_LOG_SD, _PULL_SLOPE = 0.7, 0.5, 0.5
_BATCH = 64


def learn_priors(
    records: Records,
    quantities: Iterable[str] = ("systolic",),
    *,
    rule: str = "guideline",
    name: str = "",
) -> PriorTable:
    """Learn a clinic's own priors.

    Parameters
    ----------
    records : Records
        The clinic's records.
    quantities : iterable of str
        Quantities to learn.
    rule : str
        Which readings count.
    name : str
        What the clinic calls them; reports print it with the date.

    Returns
    -------
    PriorTable
        By (species, method, quantity). Cells with fewer than 30 animals are not in it and keep
        the defaults. Each animal enters with one series, the condition of most of its sessions.

    Raises
    ------
    CallError
        Where no cell has 30 animals.
    FitError
        Where the search did not settle.
    """
    records.require_usable()
    sessions, treatments = sessions_of(records, rule=rule), all_courses(records)
    before = set(records.animals.loc[records.animals["measured_before"] == "yes", "animal"])
    found = all_series(records, quantities, rule=rule, sessions=sessions, treatments=treatments)
    cells: dict[tuple[str, str, str], Priors] = {}
    counts: dict[tuple[str, str, str], int] = {}
    for species in SPECIES:
        for method in METHODS:
            for quantity in (one for one in quantities if one in QUANTITIES_OF[method]):
                held = _one_each(found.values(), species, method, quantity)
                counts[species, method, quantity] = len(held)
                if len(held) >= LEAST_ANIMALS:
                    label = _label(name, records, len(held))
                    first = [one.animal not in before for one in held]
                    cells[species, method, quantity] = _learned(held, first, label)
    if not cells:
        most = max(counts.values(), default=0)
        raise CallError(
            f"priors can be learned from {LEAST_ANIMALS} animals or more of one species by one "
            f"method; here there are {most} at the most. The defaults stay in use."
        )
    return PriorTable(cells, name=name or f"learned on {records.as_of}")


def _label(name: str, records: Records, count: int) -> str:
    called = f"{name}, " if name else ""
    return f"{called}learned from {count} animals on {records.as_of}"


def _one_each(series: Iterable[Series], species: str, method: str, quantity: str) -> list[Series]:
    """Return one series an animal: the condition of most sessions, the latest among equals."""
    best: dict[str, Series] = {}
    for one in series:
        if (one.species, one.method, one.quantity) != (species, method, quantity):
            continue
        held = best.get(one.animal)
        if held is None or (one.y.size, one.date[-1]) > (held.y.size, held.date[-1]):
            best[one.animal] = one
    return [best[animal] for animal in sorted(best)]


def _learned(series: Sequence[Series], first: Sequence[bool], label: str) -> Priors:
    from scipy.optimize import minimize

    one = series[0]
    start = Priors.default(one.species, one.method, one.quantity)
    # Animals of one length together, once: the padding of a batch follows its longest.
    order = sorted(range(len(series)), key=lambda i: series[i].y.size)
    held, known = [series[i] for i in order], [first[i] for i in order]

    default = _packed(start)
    pull = np.array([np.inf, np.inf, _PULL_SLOPE, *[_PULL_MEDIAN, _PULL_LOG_SD] * len(_NOISE)])

    def negative(vector: Array) -> tuple[float, Array]:
        value, gradient = _likelihood(held, known, _unpacked(vector, start))
        off = (vector - default) / pull
        return 0.5 * float(off @ off) - value, off / pull - gradient

    bounds: Any = [(None, None), (0.0, 5.0), (np.log(LEAST_SLOPE_SD), 3.0)]
    bounds += [(-4.0, 5.0), _LOG_SD_BOUNDS] * len(_NOISE)
    # Of the sum of log-likelihoods, some ten-thousandth of a unit: far below what the data can
    # tell, and near the error of the integrals, so that a closer search only walks on the spot.
    options: Any = {"maxiter": 100, "ftol": 1e-7, "gtol": 1e-4 * len(series)}
    done = minimize(negative, default, jac=True, method="L-BFGS-B", bounds=bounds, options=options)
    if not np.all(np.isfinite(done.x)):
        raise FitError(f"The clinic's priors could not be learned: {done.message}.", done)
    return replace(_unpacked(done.x, start), source=label)


def _packed(priors: Priors) -> Array:
    noise = [part for name in _NOISE for part in np.log(getattr(priors, name))]
    return np.array([priors.level[0], np.log(priors.level[1]), np.log(priors.slope_sd), *noise])


def _unpacked(vector: Array, start: Priors) -> Priors:
    noise: dict[str, Any] = {
        name: (float(np.exp(vector[3 + 2 * i])), float(np.exp(vector[4 + 2 * i])))
        for i, name in enumerate(_NOISE)
    }
    level = (float(vector[0]), float(np.exp(vector[1])))
    return replace(start, level=level, slope_sd=float(np.exp(vector[2])), **noise)


def _likelihood(
    series: Sequence[Series], first: Sequence[bool], priors: Priors
) -> tuple[float, Array]:
    """Return the sum of log marginal likelihoods and its gradient in the packed priors."""
    value, gradient = 0.0, np.zeros(3 + 2 * len(_NOISE))
    without = replace(priors, first_visit=None)
    for at in range(0, len(series), _BATCH):
        part = series[at : at + _BATCH]
        own = [priors if one else without for one in first[at : at + _BATCH]]
        timed = [with_taus(one, held) for one, held in zip(part, own, strict=True)]
        columns = [columns_of(one, held) for one, held in zip(timed, own, strict=True)]
        for fit in posteriors(timed, [(held,) for held in own], columns):
            value += fit.log_marginal
            gradient += _score(fit, priors)
    return value, gradient


def _score(fit: Any, priors: Priors) -> Array:
    """Return one animal's gradient: the posterior mean of that of the log prior."""
    p = fit.prior_mean.size
    level, slope = (fit.combination(np.eye(p)[i]) for i in (0, 1))
    centre, spread = priors.level
    off = (level.mean - centre) / spread
    far = (level.sd / spread) ** 2 + off**2
    steep = (slope.sd**2 + slope.mean**2) / priors.slope_sd**2
    score = [off / spread, far - 1, steep - 1]
    noise = (fit.noise.visit[0, 0], fit.noise.reading[0, 0], fit.noise.wander[0])
    for name, variance in zip(_NOISE, noise, strict=True):
        median, log_sd = getattr(priors, name)
        z = (0.5 * np.log(variance) - np.log(median)) / log_sd
        score += [float(fit.weight @ z) / log_sd, float(fit.weight @ z**2) - 1]
    return np.array(score)
