"""How many animals an arm a study needs to tell two treatments apart.

Animals are simulated from the priors: each draws its noise SDs, and its response about the mean
of its arm. Given its noise SDs an animal's estimated effect is exactly normal, with a mean and a
variance that the engine of the trend gives, so that no readings need to be made up. The arms
are compared by a t test of the animals' estimated effects. The usual two-sample formula, for a
t test of plain changes (mean of the visits after less mean of those before), stands beside it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from scipy.special import stdtrit

from bpvet.equality import Content
from bpvet.errors import CallError
from bpvet.frozen import dataclass, replace
from bpvet.maths.gaussian import Array
from bpvet.models.plan.plan import Plan
from bpvet.models.plan.sample_size import (
    MOST_ANIMALS,
    Formula,
    formula,
    formula_animals,
    formula_power,
    too_many,
)
from bpvet.models.plan.schedule import check_whole, planned
from bpvet.printing import ShortTable, Tabled, number
from bpvet.reasons import reason

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

#: Simulated studies, and animals whose noise SDs they draw from.
REPLICATES = 4000
#: The rows of a study: by the model, and by the usual formula.
_ANALYSES = ("estimated effects", "plain changes")
_POOL = 4096
#: Values of one arm held at once.
_CHUNK = 400_000


@dataclass(frozen=True, eq=False, repr=False)
class Study(Tabled, Content):
    """A study of two arms with the visits of a plan, the treatment begun in mid-schedule.

    Parameters
    ----------
    plan : Plan
        The visits of every animal.
    effect : float
        Stated difference of the arms' mean full effects, in the unit.
    response_sd : float
        SD between animals of the full effect, in either arm.
    significance : float
        Two-sided level of the t test.
    wanted : float or None
        Power asked for; None where the animals were given.
    animals : int
        Animals an arm: the fewest found to reach that power, or those given.
    animals_range : (int, int)
        What the Monte-Carlo error leaves open: the same with two standard errors less and more.
    power, power_error : float
        Share of simulated studies that found a difference with so many, and its standard error.
    difference, sd : float
        Expected difference of the arms' mean estimated effects, and the SD of one animal's. An
        estimate is drawn towards zero by its prior, and the more the noisier the animal.
    formula : Formula
        The usual formula.
    replicates, seed : int
        Simulated studies, and the seed of the random numbers.
    powers : (M,) float
        The power with 2, 3, … animals an arm, from the same simulated studies.
    """

    plan: Plan
    effect: float
    response_sd: float
    significance: float
    wanted: float | None
    animals: int
    animals_range: tuple[int, int]
    power: float
    power_error: float
    difference: float
    sd: float
    formula: Formula
    replicates: int
    seed: int
    powers: Array

    def power_curve(self, animals: Sequence[int], level: float = 0.95) -> pd.DataFrame:
        """Return the power with other numbers of animals an arm, from 2 to 1 + M.

        Indexed by them: ``power`` of the simulated studies, ``lower`` and ``upper`` ends of the
        interval of its Monte-Carlo error (Wilson 1927), ``formula`` by the usual formula.
        """
        from statsmodels.stats.proportion import proportion_confint

        index = pd.Index(animals, name="animals")
        power = self.powers[index.to_numpy() - 2]
        found = power * self.replicates
        lower, upper = proportion_confint(found, self.replicates, 1 - level, method="wilson")
        plain = self.formula
        exact = [
            formula_power(plain.difference, plain.sd, count, self.significance) for count in animals
        ]
        columns = {"power": power, "lower": lower, "upper": upper, "formula": exact}
        return pd.DataFrame(columns, index=index)

    def to_frame(self) -> pd.DataFrame:
        """Return two rows, estimated effects and plain changes: animals, power, difference, sd."""
        rows = [
            {name: getattr(analysis, name) for name in ("animals", "power", "difference", "sd")}
            for analysis in (self, self.formula)
        ]
        index = pd.Index(_ANALYSES, name="analysis")
        return pd.DataFrame(rows, index=index)

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for JSON, without the plan and the power of other numbers."""
        left_out = ("plan", "powers")
        shown = {name: value for name, value in vars(self).items() if name not in left_out}
        return shown | {
            "animals_range": list(self.animals_range),
            "formula": dict(vars(self.formula)),
        }

    def plot(self, ax: Axes | None = None, *, width_mm: float = 160.0) -> Figure | Axes:
        """Return the figure, or draw it in an Axes of yours: the power by animals an arm."""
        from bpvet.figures.drawing import plotted
        from bpvet.pictures.plan import study_picture

        return plotted(study_picture(self), ax, width_mm)

    def _table(self) -> ShortTable:
        simulated, plain = self, self.formula
        rows = (
            (reason("plan.per_arm"), str(simulated.animals), str(plain.animals)),
            ("power", number(simulated.power, 3), number(plain.power, 3)),
            (
                reason("plan.difference"),
                number(simulated.difference, 1),
                number(plain.difference, 1),
            ),
            (reason("plan.sd"), number(simulated.sd, 1), number(plain.sd, 1)),
        )
        unit = self.plan.unit
        title = reason("plan.study_title", difference=number(self.effect, 1), unit=unit)
        notes = (
            reason(
                "plan.simulated",
                studies=self.replicates,
                error=number(self.power_error, 3),
                least=self.animals_range[0],
                most=self.animals_range[1],
            ),
        )
        return ShortTable(title, ("", *_ANALYSES), rows, notes)


@dataclass(frozen=True)
class StudyChoices:
    """What a study is asked with, besides the difference and the power.

    Parameters
    ----------
    animals : int or None
        Animals an arm, where the power that they give is asked for.
    response_sd : float or None
        SD between animals of the full effect about the mean of their arm, in either arm (which
        errs on the wide side where one arm gets a placebo). By default that of a dose change
        in the priors: 15 mmHg systolic (a judgement; the SD of change in telmisartan trials
        exceeds that on placebo by 0 to 14).
    significance : float
        Two-sided level of the t test.
    replicates : int
        Simulated studies.
    seed : int
        Of the random numbers: the same seed, the same answer.
    """

    animals: int | None = None
    response_sd: float | None = None
    significance: float = 0.05
    replicates: int = REPLICATES
    seed: int = 1


def study(
    plan: Plan, effect: float, power: float = 0.9, choices: StudyChoices | None = None
) -> Study:
    """Return how many animals an arm tell apart two arms whose effects differ by `effect`.

    Parameters
    ----------
    plan : Plan
        The visits of every animal; two at least, for some lie before the treatment.
    effect : float
        Difference of the arms' mean full effects, in the unit; its sign does not matter.
    power : float
        Wanted probability of a significant difference; not used where `animals` is given.
    choices : StudyChoices, optional

    Returns
    -------
    Study

    Raises
    ------
    CallError
        Where a number cannot be planned with, or more than 5000 animals an arm are needed.

    Notes
    -----
    The estimates simulated know each animal's noise SDs. Where a fit has to find these, as it
    has, 4 to 8 % more animals are needed (`reference_checks/planning/`).
    The formula's power is that of the noncentral t distribution (Student's t test, equal arms).
    """
    chosen = choices or StudyChoices()
    spread = plan.priors.increment_sd if chosen.response_sd is None else chosen.response_sd
    _check(plan, effect, power, spread, chosen.significance)
    check_whole(chosen.replicates, "replicates", 1_000_000)
    if chosen.animals is not None:
        check_whole(chosen.animals, "animals", MOST_ANIMALS)
        if chosen.animals < 2:
            raise CallError("a t test needs at least two animals per arm.")
    return _simulated(plan, abs(effect), power, replace(chosen, response_sd=spread))


def _simulated(plan: Plan, effect: float, power: float, chosen: StudyChoices) -> Study:
    """Return a study by simulation; its choices have been looked at, and `response_sd` given."""
    assert chosen.response_sd is not None
    animals, significance = chosen.animals, chosen.significance
    replicates, seed = chosen.replicates, chosen.seed
    arms = Arms.of(plan, effect, chosen.response_sd, seed)
    guess = animals or formula_animals(arms.difference, arms.sd, power, significance)
    found = _powers(arms, _longest(guess, animals), significance, replicates, seed)
    while animals is None and found[-1] < power + 2 * _error(found[-1], replicates):
        guess = _longest(2 * guess, animals)
        found = _powers(arms, guess, significance, replicates, seed)
    error = _error(found, replicates)
    if animals is None:
        count = _reaches(found, power)
        ends = _reaches(found + 2 * error, power), _reaches(found - 2 * error, power)
    else:
        count, ends = animals, (animals, animals)
    return Study(
        plan=plan,
        effect=effect,
        response_sd=chosen.response_sd,
        significance=significance,
        wanted=power if animals is None else None,
        animals=count,
        animals_range=ends,
        power=float(found[count - 2]),
        power_error=float(_error(found[count - 2], replicates)),
        difference=arms.difference,
        sd=arms.sd,
        formula=formula(plan, effect, chosen.response_sd, power, significance, animals),
        replicates=replicates,
        seed=seed,
        powers=found,
    )


@dataclass(frozen=True, eq=False)
class Arms:
    """What the animals of two arms draw from.

    Parameters
    ----------
    effect, response_sd : float
        As in `Study`.
    learned : (P,)
        Of each animal of a pool, the share of its prior variance of the effect that its visits
        take away: its estimate is that share of the true effect, and noise.
    noise_sd : (P,)
        SD of that noise.
    """

    effect: float
    response_sd: float
    learned: Array
    noise_sd: Array

    @classmethod
    def of(cls, plan: Plan, effect: float, response_sd: float, seed: int) -> Arms:
        """Return the arms of a plan, the noise SDs of the pool drawn from the priors."""
        priors, draws = plan.priors, np.random.default_rng(seed)
        sv, sr, sw = (
            np.log(median) + log_sd * draws.standard_normal((1, _POOL))
            for median, log_sd in (priors.sv, priors.sr, priors.sw)
        )
        even = np.full(_POOL, 1 / _POOL)
        columns, posterior = planned(priors, plan.schedule, (sv, sr, sw), even)
        variance = posterior.combination(columns.unit("course 0")).sds ** 2
        learned = 1 - variance / priors.effect_sd**2
        return cls(effect, response_sd, learned, np.sqrt(learned * variance))

    @property
    def difference(self) -> float:
        """Expected difference of the arms' mean estimates."""
        return float(self.effect * self.learned.mean())

    @property
    def sd(self) -> float:
        """SD of one animal's estimate; of the arm with the effect, the wider one."""
        drawn = self.learned**2 * self.response_sd**2 + self.noise_sd**2
        return float(np.sqrt(drawn.mean() + self.effect**2 * self.learned.var()))

    def estimates(self, mean: float, shape: tuple[int, int], draws: np.random.Generator) -> Array:
        """Return estimated effects of animals whose true effects lie about `mean`."""
        animal = draws.integers(self.learned.size, size=shape)
        true = mean + self.response_sd * draws.standard_normal(shape)
        noise = self.noise_sd[animal] * draws.standard_normal(shape)
        return np.asarray(self.learned[animal] * true + noise)


def _powers(arms: Arms, most: int, significance: float, replicates: int, seed: int) -> Array:
    """Return the share of studies that find a difference with 2, 3, … `most` animals an arm.

    One run serves every number of animals: a study of n takes the first n of each arm.
    """
    counts = np.arange(2, most + 1)
    bound = stdtrit(2 * counts - 2, 1 - significance / 2)
    draws, found = np.random.default_rng([seed, most]), np.zeros(counts.size)
    step = max(1, _CHUNK // most)
    for at in range(0, replicates, step):
        shape = (min(step, replicates - at), most)
        mean, spread = zip(
            *(_running(arms.estimates(each, shape, draws)) for each in (0.0, arms.effect)),
            strict=True,
        )
        t = (mean[1] - mean[0]) / np.sqrt((spread[0] + spread[1]) / counts)
        found += np.sum(np.abs(t) > bound, axis=0)
    return found / replicates


def _running(values: Array) -> tuple[Array, Array]:
    """Return means and variances of the first 2, 3, … values of each row."""
    count = np.arange(1, values.shape[1] + 1)
    # About the first of each row, so that the difference of squares keeps its digits.
    first = values[:, :1]
    values = values - first
    total, squares = np.cumsum(values, axis=1), np.cumsum(values**2, axis=1)
    mean = total / count
    variance = (squares - total * mean)[:, 1:] / (count[1:] - 1)
    return first + mean[:, 1:], variance


def _reaches(powers: Array, wanted: float) -> int:
    """Return the number of animals from which on the power is what is wanted."""
    short = np.flatnonzero(powers < wanted)
    return int(short[-1] + 3) if short.size else 2


def _longest(guess: int, animals: int | None) -> int:
    """Return how many animals an arm to simulate, so that the place lies well inside."""
    if animals is not None:
        return animals
    most = int(1.3 * guess) + 10
    if most > MOST_ANIMALS:
        raise too_many()
    return most


def _error(power: Array | float, replicates: int) -> Array:
    return np.sqrt(np.asarray(power) * (1 - np.asarray(power)) / replicates)


def _check(
    plan: Plan, effect: float, power: float, response_sd: float, significance: float
) -> None:
    if not plan.before:
        raise CallError("a study needs two visits or more: some before the treatment.")
    if not (np.isfinite(effect) and effect):
        raise CallError(f"effect must be a number other than 0, not {effect}.")
    if not (0 < significance < power < 1):
        raise CallError("power must lie between the significance level and 1.")
    if not response_sd >= 0:
        raise CallError(f"response_sd must not be negative, not {response_sd}.")
