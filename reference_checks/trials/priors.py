"""Could another prior meet the goals of all arms at once? Default, one normal, a search, an oracle.

    python reference_checks/trials/priors.py --full [--processes 2] [--keep DIR]

searches groups, levels, SDs, pressures under the drug and first visits for the prior that misses
the goals by least (500 animals an arm), and holds it on 3 000 animals an arm beside the default,
one normal level and effect, and oracles: priors that know the populations the arms are drawn from.
It writes `priors.md`. Without `--full` it fits a few animals again and compares them with what was
published. With `--keep` it goes on from fits that are there.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from reference_checks.coverage.animals import Array
from reference_checks.trials.arms import ARMS, Arm
from reference_checks.trials.components import (
    DEFAULT,
    DEFAULT_WEIGHTS,
    Component,
    Fits,
    fits,
    joined,
)
from reference_checks.trials.measure import ANSWERS, BLOCK, FALL, SURE, Figure
from reference_checks.trials.populations import DICTIONARY, POPULATIONS

HERE = Path(__file__).parent
TREATED = tuple(arm for arm in ARMS if arm.after)
#: Arms that the search sees, and those of which the oracles know the populations.
SEARCHED = tuple(arm for arm in TREATED if arm.group in ("own", "trial", "null"))
KNOWN = tuple(
    arm for arm in TREATED if arm.key in ("severe_1_2", "mild_1_2") or arm.group == "null"
)
#: Blocks of 500 animals: the search sees the first of those of the table.
SEARCH_BLOCKS, BLOCKS = range(1), range(6)
FOUND, ORACLE = "best groups found", "oracle"
#: Seed of the search's moves, and how many it makes from each start.
SEED, MOVES, STARTS = 20262, 1_500, 2
MOST_GROUPS = 5
SMALL = 60
#: Monte-Carlo standard errors allowed in the small run.
ALLOWED = 4.0


@dataclass(frozen=True)
class Prior:
    """A mixture of components under a name."""

    name: str
    components: tuple[Component, ...]
    weights: tuple[float, ...]

    @property
    def lines(self) -> list[str]:
        """Its groups in words, the heaviest first."""
        order = np.argsort(self.weights)[::-1]
        return [f"{self.weights[i]:.2f} {self.components[i].words}" for i in order]


@dataclass(frozen=True)
class Told:
    """What one prior says of one arm: the bias of the effect, covers by answer, false verdicts.

    `nothing` is the posterior probability, on average over the animals, of the components whose
    drug does nothing; 0 where the prior has none.
    """

    bias: Figure
    cover: Mapping[str, Figure]
    false: Figure
    nothing: float = 0.0

    def plain(self) -> dict[str, Any]:
        """Return it as numbers for a file."""
        return {
            "bias": [self.bias.value, self.bias.se],
            "cover": {name: [one.value, one.se] for name, one in self.cover.items()},
            "false": [self.false.value, self.false.se],
            "nothing": self.nothing,
        }


def told(of: Fits, weights: Array, nothing: Sequence[bool] = ()) -> Told:
    """Return what a mixture of the components says of an arm.

    Parameters
    ----------
    of : Fits
        Of K components.
    weights : (K,)
    nothing : sequence of bool
        Of each component, whether its drug does nothing.
    """
    share = of.shares(weights)
    error = np.sum(share * of.mean, axis=1) - of.effect
    below = np.einsum("nk,nka->na", share, of.below)
    said = np.sum(share * of.fall, axis=1) >= SURE
    inside = np.abs(below - 0.5) < 0.475
    return Told(
        Figure(float(error.mean()), float(error.std() / np.sqrt(error.size)), error.size),
        {name: Figure.share(inside[:, i]) for i, name in enumerate(ANSWERS)},
        Figure.share(said & (of.effect > FALL)),
        float(share[:, list(nothing)].sum(axis=1).mean()) if any(nothing) else 0.0,
    )


def misses(arm: Arm, found: Told) -> list[tuple[str, float]]:
    """Return by how much each goal of an arm is missed, in mmHg or points; 0 where it is met."""
    effect = ANSWERS[0]
    bias, cover = abs(found.bias.value), 100 * found.cover[effect].value
    if arm.key == "severe_1_2":
        return [("bias", max(0.0, bias - 6)), ("cover", max(0.0, 93 - cover))]
    if arm.group == "null":
        wrong = 100 * found.false.value
        return [("bias", max(0.0, bias - 4)), ("false verdicts", max(0.0, wrong - 3))]
    if arm.group == "own":
        return [
            (f"cover of {name}", max(0.0, abs(100 * one.value - 95) - 1))
            for name, one in found.cover.items()
        ]
    return []


def penalty(
    of: Mapping[str, Fits], chosen: Sequence[int], weights: Array, arms: Sequence[Arm]
) -> float:
    """Return the sum of squares by which a prior misses the goals, and a little for other arms."""
    total = 0.0
    for arm in arms:
        found = told(of[arm.key].only(chosen), weights)
        total += sum(miss**2 for _, miss in misses(arm, found))
        if arm.group == "trial":
            cover = 100 * found.cover[ANSWERS[0]].value
            total += 0.1 * max(0.0, abs(found.bias.value) - 6) ** 2
            total += 0.1 * max(0.0, 93 - cover) ** 2
    return total


Units = Sequence[Sequence[tuple[int, float]]]


def search(
    of: Mapping[str, Fits],
    units: Units,
    start: Mapping[int, float],
    most: int,
    arms: Sequence[Arm] = SEARCHED,
) -> Array:
    """Return the weights of the components, (K,), that miss the goals by least.

    Parameters
    ----------
    of : mapping of str to Fits
        By arm, of K components.
    units : sequence of sequence of (int, float)
        What is weighed as one: components with their shares in it.
    start : mapping of int to float
        Units and weights to begin with.
    most : int
        How many units a prior may hold.
    arms : sequence of Arm
        Those whose goals count.
    """
    count = next(iter(of.values())).mean.shape[1]

    def spread(state: Mapping[int, float]) -> tuple[list[int], Array]:
        weights = np.zeros(count)
        for unit, weight in state.items():
            for component, share in units[unit]:
                weights[component] += weight * share
        chosen = np.flatnonzero(weights)
        return [int(one) for one in chosen], weights[chosen] / weights.sum()

    best, lowest = dict(start), penalty(of, *spread(start), arms)
    for number in range(STARTS):
        rng = np.random.default_rng([SEED, number])
        state, least = dict(start), penalty(of, *spread(start), arms)
        for move in range(MOVES):
            heat = 2.0 * (1 - move / MOVES) ** 2
            tried = _moved(state, len(units), most, rng)
            found = penalty(of, *spread(tried), arms)
            if found < least or rng.random() < np.exp(-(found - least) / max(heat, 1e-9)):
                state, least = tried, found
            if least < lowest:
                best, lowest = dict(state), least
    chosen, weights = spread(best)
    whole = np.zeros(count)
    whole[chosen] = weights
    return whole


def _moved(
    state: Mapping[int, float], units: int, most: int, rng: np.random.Generator
) -> dict[int, float]:
    """Return a prior one move away: another weight, or a unit more, less or in place of one."""
    tried = dict(state)
    held = list(tried)
    kind = rng.integers(6)
    if kind == 0 and len(held) < most:
        tried.setdefault(int(rng.integers(units)), float(rng.uniform(0.02, 0.4)))
    elif kind == 1 and len(held) > 1:
        del tried[held[rng.integers(len(held))]]
    elif kind == 2:
        weight = tried.pop(held[rng.integers(len(held))])
        new = int(rng.integers(units))
        tried[new] = tried.get(new, 0.0) + weight
    else:
        at = held[rng.integers(len(held))]
        tried[at] *= float(np.exp(rng.normal(0.0, 0.4)))
    total = sum(tried.values())
    return {unit: weight / total for unit, weight in tried.items()}


Job = tuple[str, int, tuple[Component, ...], Path | None]


def _job(of: Job) -> Fits:
    key, block, components, keep = of
    return fits(next(one for one in ARMS if one.key == key), block, BLOCK, components, keep)


def every(
    components: tuple[Component, ...],
    arms: Sequence[Arm],
    blocks: Sequence[int],
    processes: int,
    keep: Path | None,
) -> dict[str, Fits]:
    """Return the fits of arms under the components, by arm."""
    jobs: list[Job] = [(arm.key, block, components, keep) for arm in arms for block in blocks]
    with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
        made = list(pool.map(_job, jobs))
    n = len(blocks)
    return {arm.key: joined(made[i * n : (i + 1) * n]) for i, arm in enumerate(arms)}


#: Shares of animals whose drug does nothing, for the oracle's frontier.
SHARES = (0.1, 0.3, 0.5, 0.7, 0.9, 0.97)
#: The populations of `KNOWN`, and whether their drug does anything.
_ORACLE = {"severe": True, "mild": True, "practice, no effect": False, "old": False}


def candidates(processes: int, keep: Path | None) -> list[Prior]:
    """Return the priors that are fitted for the table: the best found, and the oracles."""
    known = tuple(one for parts in POPULATIONS.values() for one, _ in parts)
    components = (*DICTIONARY, *known)
    of = every(components, SEARCHED, SEARCH_BLOCKS, processes, keep)
    singles: Units = [[(i, 1.0)] for i in range(len(DICTIONARY))]
    begin = {
        DICTIONARY.index(one): float(weight)
        for one, weight in zip(DEFAULT, DEFAULT_WEIGHTS, strict=True)
    }
    found = search(of, singles, begin, MOST_GROUPS)
    populations: Units = [
        [(components.index(one), share) for one, share in POPULATIONS[name]] for name in _ORACLE
    ]
    equal = dict.fromkeys(range(len(_ORACLE)), 1 / len(_ORACLE))
    oracle = search(of, populations, equal, len(_ORACLE), KNOWN)
    return [
        _named(FOUND, components, found),
        _named(ORACLE, components, oracle),
        *(_share(share) for share in SHARES),
    ]


def _share(share: float) -> Prior:
    """Return an oracle with this share of drugs that do nothing; populations share equally."""
    weights: list[tuple[Component, float]] = []
    for name, answers in _ORACLE.items():
        whole = (1 - share if answers else share) / 2
        weights += [(one, whole * part) for one, part in POPULATIONS[name]]
    parts, of = zip(*weights, strict=True)
    return Prior(f"share {share:g}", parts, of)


def _named(name: str, components: Sequence[Component], weights: Array) -> Prior:
    kept = [int(i) for i in np.flatnonzero(weights > 1e-4)]
    total = float(weights[kept].sum())
    parts = tuple(components[i] for i in kept)
    return Prior(name, parts, tuple(float(weights[i]) / total for i in kept))


def tabled(
    priors: Sequence[Prior], arms: Sequence[Arm], processes: int, keep: Path | None
) -> dict[str, dict[str, Told]]:
    """Return what each prior says of each arm: by the prior's name, then by arm."""
    components = tuple(dict.fromkeys(one for prior in priors for one in prior.components))
    of = every(components, arms, BLOCKS, processes, keep)
    found: dict[str, dict[str, Told]] = {}
    for prior in priors:
        chosen = [components.index(one) for one in prior.components]
        weights = np.array(prior.weights)
        nothing = [one.nothing for one in prior.components]
        found[prior.name] = {
            key: told(one.only(chosen), weights, nothing) for key, one in of.items()
        }
    return found


def publish(processes: int, keep: Path | None) -> None:
    """Search, fit the table's animals, and write `priors.json` and `priors.md`."""
    from reference_checks.trials.priors_page import page

    priors = candidates(processes, keep)
    for prior in priors[:2]:
        print(prior.name, *prior.lines, sep="\n  ", flush=True)
    found = tabled(priors[:1], TREATED, processes, keep)
    found |= tabled(priors[1:], KNOWN, processes, keep)
    content = {
        "priors": {
            one.name: {
                "weights": one.weights,
                "components": [vars(part) for part in one.components],
                "arms": {key: row.plain() for key, row in found[one.name].items()},
            }
            for one in priors
        }
    }
    text = json.dumps(content, indent=1) + "\n"
    (HERE / "priors.json").write_text(text, encoding="utf-8")
    (HERE / "priors.md").write_text(page(*published()), encoding="utf-8")


def of_check(name: str) -> dict[str, Told]:
    """Return what `check.py` published of the same animals: ``results``, or ``single``."""
    from reference_checks.trials.check import published as rows

    return {
        key: Told(row.bias[ANSWERS[0]], row.cover, row.false("has lowered"))
        for key, row in rows(name).items()
        if ANSWERS[0] in row.bias
    }


def published() -> tuple[list[Prior], dict[str, dict[str, Told]]]:
    """Return the priors that were fitted for the table, and what was published of each."""
    content = json.loads((HERE / "priors.json").read_text(encoding="utf-8"))["priors"]
    priors, found = [], {}
    n = BLOCK * len(BLOCKS)
    for name, one in content.items():
        parts = tuple(
            Component(
                tuple(part["level"]),
                tuple(part["effect"]),
                part["by_level"],
                None if part["first"] is None else tuple(part["first"]),
                part["visit_lsd"],
            )
            for part in one["components"]
        )
        priors.append(Prior(name, parts, tuple(one["weights"])))
        found[name] = {
            key: Told(
                Figure(*row["bias"], n),
                {answer: Figure(*pair, n) for answer, pair in row["cover"].items()},
                Figure(*row["false"], n),
                row["nothing"],
            )
            for key, row in one["arms"].items()
        }
    return priors, found


def check(animals: int = SMALL) -> int:
    """Fit a few animals of two arms anew, and hold them against what was published."""
    priors, before = published()
    agreed = True
    for key in ("severe_1_2", "null_old_1_180"):
        arm = next(one for one in ARMS if one.key == key)
        for prior in priors[:2]:
            found = told(fits(arm, 0, animals, prior.components), np.array(prior.weights))
            was = before[prior.name][key].bias
            off = abs(found.bias.value - was.value) / np.hypot(found.bias.se, was.se)
            agreed &= bool(off <= ALLOWED)
            print(f"{key}, {prior.name}: {found.bias.value:.1f}, published {was.value:.1f}")
    print(f"tolerance: {ALLOWED:g} Monte-Carlo standard errors")
    return int(not agreed)


def main() -> int:
    """Run what the command line asks for."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--full", action="store_true", help="search and publish anew")
    parser.add_argument("--processes", type=int, default=1, metavar="N")
    parser.add_argument("--keep", type=Path, metavar="DIR", help="keep fits, or go on from them")
    asked = parser.parse_args()
    if not asked.full:
        return check()
    if asked.keep is not None:
        asked.keep.mkdir(parents=True, exist_ok=True)
    publish(asked.processes, asked.keep)
    return 0


if __name__ == "__main__":
    sys.exit(main())
