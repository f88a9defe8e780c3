"""A clinic's own priors: those under which the readings of all its animals are likeliest.

The sum of the animals' log marginal likelihoods is maximised over the level's centre and SD and
the medians and log-SDs of the three noise SDs (and the slope's SD, never below 1); from thirty
treated animals also over the groups' weights and centres, and from thirty with three early
sessions over the first visit's size and how it fades: one animal can tell neither. A weak pull
towards the defaults is added to all but the level: without it a hundred animals can send the
wander's SD to zero, where slope and visit noise stand in for it. Its gradient costs nothing
more than the fit: by Fisher's identity it is the posterior mean of the gradient of the log
prior.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np

from bpvet.errors import CallError, FitError
from bpvet.facts.priors.priors import Priors
from bpvet.facts.priors.table import PriorTable
from bpvet.facts.words import METHODS, QUANTITIES_OF, SPECIES
from bpvet.frozen import replace
from bpvet.maths.gaussian import Array
from bpvet.models.trend.columns import columns_of, treated
from bpvet.models.trend.fit import with_taus
from bpvet.models.trend.learnable import Learned, choices
from bpvet.models.trend.posteriors import posteriors
from bpvet.records.records import Records
from bpvet.visits.series import Series, Source, all_series
from bpvet.visits.sessions import sessions as sessions_of
from bpvet.visits.treatments.courses import all_courses

#: Fewer animals than this keep the defaults.
LEAST_ANIMALS = 30
LEAST_SLOPE_SD = 1.0
_BATCH = 64
#: Dates of sessions that show how the first visit's excitement fades.
_EARLY = 3
#: Fadings that are tried, in visits, and the SD of the pull of the log towards the default.
_FADINGS = (0.5, 0.75, 1.0, 1.5, 2.0, 3.0, 4.5, 6.0)
_PULL_FADING = 0.7


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
        the defaults. Each animal enters with one series, the condition of most of its sessions;
        one with a reading beyond the gauge has a prior of its own and does not enter.

    Raises
    ------
    CallError
        Where no cell has 30 animals.
    FitError
        Where the search did not settle.
    """
    records.require_usable()
    sessions, treatments = sessions_of(records, rule=rule), all_courses(records)
    animals = records.animals
    before = dict(zip(animals["animal"], animals["measured_before"], strict=True))
    found = all_series(records, quantities, source=Source(sessions, treatments))
    cells: dict[tuple[str, str, str], Priors] = {}
    counts: dict[tuple[str, str, str], int] = {}
    for species in SPECIES:
        for method in METHODS:
            for quantity in (kind for kind in quantities if kind in QUANTITIES_OF[method]):
                series = _one_each(found.values(), species, method, quantity)
                counts[species, method, quantity] = len(series)
                if len(series) >= LEAST_ANIMALS:
                    called = f"{name}, " if name else ""
                    label = f"{called}learned from {len(series)} animals on {records.as_of}"
                    first = [str(before.get(animal_series.animal, "")) for animal_series in series]
                    cells[species, method, quantity] = _learned(series, first, label)
    if not cells:
        most = max(counts.values(), default=0)
        raise CallError(
            f"priors can be learned from {LEAST_ANIMALS} animals or more of one species by one "
            f"method; here there are at most {most}. The defaults stay in use."
        )
    return PriorTable(cells, name=name or f"learned on {records.as_of}")


def _one_each(series: Iterable[Series], species: str, method: str, quantity: str) -> list[Series]:
    """Return one series an animal: the condition of most sessions, the latest among equals."""
    best: dict[str, Series] = {}
    for each in series:
        if (each.species, each.method, each.quantity) != (
            species,
            method,
            quantity,
        ) or each.bounded:
            continue
        before = best.get(each.animal)
        if before is None or (each.y.size, each.date[-1]) > (
            before.y.size,
            before.date[-1],
        ):
            best[each.animal] = each
    return [best[animal] for animal in sorted(best)]


def _learned(series: Sequence[Series], first: Sequence[str], label: str) -> Priors:
    example = series[0]
    start = Priors.default(example.species, example.method, example.quantity)
    # Animals of one length together, once: the padding of a batch follows its longest.
    order = sorted(range(len(series)), key=lambda i: series[i].y.size)
    by_length, known = [series[i] for i in order], [first[i] for i in order]
    under_drugs = sum(treated(each) for each in by_length)
    early = sum(
        start.for_animal(before).first_visit == start.first_visit
        and len(set(each.visit[(each.visit >= 0) & (each.visit < _EARLY)].tolist())) == _EARLY
        for each, before in zip(by_length, known, strict=True)
    )
    parts = choices(
        start,
        level=len(by_length) - under_drugs >= LEAST_ANIMALS or start.groups is None,
        groups=under_drugs >= LEAST_ANIMALS,
        first_visit=early >= LEAST_ANIMALS,
    )
    found = _maximised(by_length, known, parts, start)
    if early >= LEAST_ANIMALS and start.first_visit is not None:
        fading = _fading(by_length, known, found)
        if fading != found.first_visit_fading:
            found = _maximised(by_length, known, parts, replace(found, first_visit_fading=fading))
    return replace(found, source=label)


def _maximised(
    series: Sequence[Series], first: Sequence[str], parts: Sequence[Learned], start: Priors
) -> Priors:
    """Return the priors that the parts' search ends at, begun at `start`."""
    from scipy.optimize import minimize

    default = Priors.default(series[0].species, series[0].method, series[0].quantity)
    centre = np.concatenate([parameters.packed(default) for parameters in parts])
    pull = np.concatenate([parameters.pull for parameters in parts])
    edges = np.cumsum([0, *(parameters.pull.size for parameters in parts)])

    def unpacked(vector: Array) -> Priors:
        learned = start
        for parameters, a, b in zip(parts, edges, edges[1:], strict=False):
            learned = parameters.unpacked(vector[a:b], learned)
        return learned

    step = np.concatenate([parameters.step for parameters in parts])

    def negative(moved: Array) -> tuple[float, Array]:
        vector = moved * step
        value, gradient = _likelihood(series, first, unpacked(vector), parts)
        off = (vector - centre) / pull
        return 0.5 * float(off @ off) - value, step * (off / pull - gradient)

    ends = [end for parameters in parts for end in parameters.bounds]
    bounds: Any = [
        tuple(None if end is None else end / scale for end in pair)
        for pair, scale in zip(ends, step, strict=True)
    ]
    # Of the sum of log-likelihoods, some ten-thousandth of a unit: far below what the data can
    # tell, and near the error of the integrals, so that a closer search only walks on the spot.
    options: Any = {"maxiter": 100, "ftol": 1e-7, "gtol": 1e-5 * len(series)}
    begin = np.concatenate([parameters.packed(start) for parameters in parts]) / step
    done = minimize(negative, begin, jac=True, method="L-BFGS-B", bounds=bounds, options=options)
    if not np.all(np.isfinite(done.x)):
        raise FitError(f"The clinic's priors could not be learned: {done.message}.", done)
    return unpacked(done.x * step)


def _fading(series: Sequence[Series], first: Sequence[str], priors: Priors) -> float:
    """Return the likeliest of the fadings that are tried, the other priors as they are."""
    default = Priors.first_visit_fading

    def of(fading: float) -> float:
        off = np.log(fading / default) / _PULL_FADING
        value, _ = _likelihood(series, first, replace(priors, first_visit_fading=fading), ())
        return value - 0.5 * float(off * off)

    return max(_FADINGS, key=of)


def _likelihood(
    series: Sequence[Series], first: Sequence[str], priors: Priors, parts: Sequence[Learned]
) -> tuple[float, Array]:
    """Return the sum of log marginal likelihoods and its gradient in the parts' parameters."""
    value, gradient = 0.0, np.zeros(sum(learned.pull.size for learned in parts))
    for at in range(0, len(series), _BATCH):
        batch = series[at : at + _BATCH]
        animal_priors = [priors.for_animal(animal) for animal in first[at : at + _BATCH]]
        timed = [
            with_taus(animal_series, animal_prior)
            for animal_series, animal_prior in zip(batch, animal_priors, strict=True)
        ]
        columns = [
            columns_of(animal_series, animal_prior)
            for animal_series, animal_prior in zip(timed, animal_priors, strict=True)
        ]
        fits = posteriors(timed, [(animal_prior,) for animal_prior in animal_priors], columns)
        for fit, design, own_priors in zip(fits, columns, animal_priors, strict=True):
            value += fit.log_marginal
            if not parts:
                continue
            # An animal new to measurement has a first visit of its own, which is not learned.
            common = (
                own_priors
                if own_priors.first_visit == priors.first_visit
                else own_priors.for_animal("yes")
            )
            gradient += np.concatenate([learned.score(fit, design, common) for learned in parts])
    return value, gradient
