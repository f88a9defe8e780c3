"""The published page of `priors.py`: what other priors would do, and what none can."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from reference_checks.trials.measure import ANSWERS
from reference_checks.trials.priors import (
    FOUND,
    KNOWN,
    MOVES,
    ORACLE,
    SEED,
    SHARES,
    STARTS,
    TREATED,
    Prior,
    Told,
    misses,
    of_check,
)

_EFFECT = ANSWERS[0]
_DEFAULT, _SINGLE = "default", "one normal"
#: Written after the run; to be read again after another one.
_WHY = ""


def page(priors: Sequence[Prior], found: Mapping[str, Mapping[str, Told]]) -> str:
    """Return the page as Markdown.

    Parameters
    ----------
    priors : sequence of Prior
        Those that were fitted for the table.
    found : mapping of str to mapping of str to Told
        By prior and arm.
    """
    told = {_DEFAULT: of_check("results"), _SINGLE: of_check("single"), **found}
    named = {one.name: one for one in priors}
    return (
        "# Could another prior meet the goals of all arms at once?\n\n"
        "Written by `python reference_checks/trials/priors.py --full`: the arms of `arms.py`, "
        "3 000 animals of each, the same\nas in `results.md` (its seed), whose first two columns "
        "of numbers are repeated here. The search drew its moves from\n"
        f"seed {SEED}: {STARTS} runs of {MOVES:,} moves each over weights, groups, levels, SDs, "
        "pressures under the drug and heavier first visits\n(`populations.py` lists what it may "
        "take), on the first 500 of those animals an arm. After ± stands one Monte-Carlo\n"
        "standard error. The model's default does not change by any of this.\n\n"
        + _WHY
        + "\n## The priors\n\n"
        + "\n".join(_groups(named[name]) for name in (FOUND, ORACLE))
        + "\n\n## Goals: by how much each is missed\n\n"
        + _goals(told)
        + "\n\n## All arms\n\n"
        + _table(told)
        + "\n\n## An oracle: the arms' own populations as prior, by the share whose drug does "
        "nothing\n\nSevere (202 ± 17, −49 ± 15) and mild (180 ± 12, −27 ± 12) cats share the rest "
        "equally; of those whose drug does\nnothing half are of log-normal practice and half old "
        "cats. Bias of the effect, mmHg, and false “has lowered”, %.\n\n" + _frontier(found) + "\n"
    )


def _groups(prior: Prior) -> str:
    return f"**{prior.name}**: " + "; ".join(prior.lines) + "."


def _goals(told: Mapping[str, Mapping[str, Told]]) -> str:
    names = (_DEFAULT, _SINGLE, FOUND, ORACLE)
    lines = ["| arm, goal | " + " | ".join(names) + " |", "|---" * (len(names) + 1) + "|"]
    missed = dict.fromkeys(names, 0)
    goals = dict.fromkeys(names, 0)
    for arm in TREATED:
        cells: dict[str, list[str]] = {}
        for name in names:
            if arm.key not in told[name]:
                continue
            for goal, miss in misses(arm, told[name][arm.key]):
                goals[name] += 1
                missed[name] += miss > 0
                cells.setdefault(goal, []).append(f"{miss:.1f}" if miss else "met")
        for goal, row in cells.items():
            row += ["–"] * (len(names) - len(row))
            lines.append(f"| {arm.words}: {goal} | " + " | ".join(row) + " |")
    counts = [f"{missed[name]} of {goals[name]}" for name in names]
    lines.append("| **goals missed** | " + " | ".join(counts) + " |")
    return "\n".join(lines)


def _table(told: Mapping[str, Mapping[str, Told]]) -> str:
    names = (_DEFAULT, _SINGLE, FOUND, ORACLE)
    heads = [f"{what}: {name}" for what in ("bias", "cover", "false") for name in names]
    lines = ["| arm | " + " | ".join(heads) + " |", "|---" * (len(heads) + 1) + "|"]
    for arm in TREATED:
        rows = [told[name].get(arm.key) for name in names]
        cells = ["–" if one is None else _signed(one) for one in rows]
        cells += ["–" if one is None else f"{100 * one.cover[_EFFECT].value:.1f}" for one in rows]
        cells += ["–" if one is None else f"{100 * one.false.value:.1f}" for one in rows]
        lines.append(f"| {arm.words} | " + " | ".join(cells) + " |")
    return "\n".join(lines)


def _frontier(found: Mapping[str, Mapping[str, Told]]) -> str:
    heads = [f"{share:.0%}" for share in SHARES]
    lines = ["| arm | " + " | ".join(heads) + " |", "|---" * (len(heads) + 1) + "|"]
    for arm in KNOWN:
        rows = [found[f"share {share:g}"][arm.key] for share in SHARES]
        null = arm.group == "null"
        cells = [_signed(one) + (f", {100 * one.false.value:.1f}" if null else "") for one in rows]
        lines.append(f"| {arm.words} | " + " | ".join(cells) + " |")
    return "\n".join(lines)


def _signed(one: Told) -> str:
    text = f"{one.bias.value:+.1f} ± {one.bias.se:.1f}"
    return text.replace("-", "−")
