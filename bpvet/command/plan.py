"""``bpvet plan``: how many visits and readings answer a question."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from bpvet.command.shared import options
from bpvet.command.shared.opening import fitted, named_priors
from bpvet.command.shared.output import print_json, printable, wrapped
from bpvet.errors import CallError
from bpvet.facts.words import LAB_QUANTITIES, SPECIES
from bpvet.frozen import replace

if TYPE_CHECKING:
    from bpvet.answers.plan.result import FurtherAnswer, PlanAnswer
    from bpvet.facts.priors.priors import Priors
    from bpvet.models.plan.plan import Plan
    from bpvet.models.plan.study import Study
    from bpvet.printing import ShortTable

ABOUT = """\
How well visits would know an animal before they are made: a new one, one already measured
(PATH and --animal), or the animals of a study (--effect). No records are needed for a new one.

examples:
  bpvet plan --species cat --method doppler --visits 7 --within 15
  bpvet plan --species dog --method oscillometric --effect 15 --power 0.9
  bpvet plan records --animal Pilchard --within 10
"""

#: What speaks of a new animal or of a study, and what only of one with records.
_NEW = ("species", "used_to_it", "drug", "before", "effect", "power", "animals", "response_sd")
_READ = ("columns", "dates", "unit", "encoding", "query")
_MEASURED = ("animal", "as_of", *_READ, "bridge")


def _positive(text: str) -> float:
    """Return a positive number."""
    try:
        value = float(text)
    except ValueError:
        value = 0.0
    if not 0 < value < float("inf"):
        raise argparse.ArgumentTypeError(f'"{text}" is not a positive number')
    return value


_COUNT = options.whole_number("a whole number of 1 or more", 1)
USAGE = "bpvet plan [PATH --animal A] [options]"
ARGUMENTS = (
    options.argument(
        "path", nargs="?", metavar="PATH", help="records, for an animal already measured"
    ),
    options.OPTIONAL_ANIMAL,
    options.READING,
    options.option_group(
        "the visits",
        options.argument("--visits", type=_COUNT, default=4, metavar="M", help="visits (4)"),
        options.argument(
            "--readings", type=_COUNT, default=5, metavar="K", help="counted readings per visit (5)"
        ),
        options.argument("--every", type=_COUNT, default=7, metavar="DAYS", help="gap in days (7)"),
        options.argument(
            "--within", type=_positive, default=10.0, metavar="X", help="wanted: ±X mmHg (10)"
        ),
    ),
    options.option_group(
        "a new animal",
        options.argument("--species", choices=SPECIES, help=f"default: {SPECIES[0]}"),
        options.argument(
            "--used-to-it",
            action="store_true",
            default=None,
            help="the animal is used to being measured: no first-visit excitement",
        ),
        options.argument("--drug", metavar="D", help="the drug started in mid-schedule"),
        options.argument(
            "--before", type=_COUNT, metavar="B", help="visits before it (half of them)"
        ),
    ),
    options.option_group(
        "a study of two arms",
        options.argument(
            "--effect", type=_positive, metavar="X", help="difference of the arms' effects, mmHg"
        ),
        options.argument(
            "--power",
            type=options.probability_level,
            metavar="P",
            help="probability to find it (0.9)",
        ),
        options.argument("--animals", type=_COUNT, metavar="N", help="animals per arm, if given"),
        options.argument(
            "--response-sd",
            type=_positive,
            metavar="X",
            help="SD of the response between animals of an arm (15)",
        ),
    ),
    options.series(),
    options.RULE,
    options.GUIDELINE,
    options.LEVEL,
    options.PRIORS,
    options.WAYS_OUT,
)


def run(arguments: argparse.Namespace) -> None:
    """Plan, and print it."""
    if arguments.quantity in LAB_QUANTITIES:
        raise CallError(
            f"visits are planned for what a visit measures, not for {arguments.quantity}."
        )
    if arguments.path is None:
        _refuse(arguments, _MEASURED, "goes with PATH and --animal only")
        answer: PlanAnswer | FurtherAnswer = new_animal(arguments)
    else:
        _refuse(arguments, _NEW, "is for a new animal or a study, and does not go with PATH")
        answer = already_measured(arguments)
    if arguments.json:
        print_json(answer.to_dict())
    else:
        print(plan_text(answer))


def new_animal(arguments: argparse.Namespace) -> PlanAnswer:
    """Return the plan for a new animal, and for a study of such."""
    from bpvet.answers.plan.plan import plan_answer
    from bpvet.facts.words import UNITS
    from bpvet.models.plan.plan import plan

    species = arguments.species or SPECIES[0]
    method = arguments.method or (
        "doppler" if arguments.quantity == "systolic" else "oscillometric"
    )
    priors = _priors(arguments, species, method)
    name, tau = _drug(arguments.drug, priors)
    found = plan(
        priors,
        arguments.visits,
        arguments.readings,
        arguments.every,
        before=arguments.before,
        tau_days=tau,
        level=arguments.level,
        unit=UNITS[arguments.quantity],
    )
    return plan_answer(
        found,
        species,
        method,
        arguments.quantity,
        within=arguments.within,
        drug=name,
        study=_study(arguments, found),
    )


def already_measured(arguments: argparse.Namespace) -> FurtherAnswer:
    """Return the plan for an animal with records."""
    from bpvet.answers.plan.plan import further_answer

    if arguments.animal is None:
        raise CallError("PATH needs --animal: which animal are visits planned for?")
    return further_answer(
        fitted(arguments),
        arguments.visits,
        arguments.readings,
        arguments.every,
        within=arguments.within,
        level=arguments.level,
        guideline=arguments.guideline,
    )


def plan_text(answer: PlanAnswer | FurtherAnswer) -> str:
    """Return a plan as text: sentences, of a new animal a short table, what it rests on."""
    from bpvet.answers.plan.result import PlanAnswer
    from bpvet.command.shared.cautions import cautions_block
    from bpvet.wording.en.command.tables import NOTES

    blocks = [*map(wrapped, answer.sentences)]
    if isinstance(answer, PlanAnswer):
        blocks.append(printable(plan_table(answer).text()))
    blocks.append("\n".join([NOTES, *(wrapped(note, "  ", "- ") for note in answer.notes)]))
    return "\n\n".join([*blocks, *cautions_block(answer.cautions, every=True)])


def plan_table(answer: PlanAnswer) -> ShortTable:
    """Return half-widths by visits and readings as a short table."""
    from bpvet.printing import ShortTable
    from bpvet.wording.en.command.tables import PLAN_TITLE, plan_heads
    from bpvet.wording.en.phrases import percent
    from bpvet.wording.en.plan import up

    readings = list(answer.table[0].usual)
    rows = tuple(
        (
            str(row.visits),
            *(up(row.usual[k]) for k in readings),
            "–" if row.effect is None else up(row.effect),
        )
        for row in answer.table
    )
    title = PLAN_TITLE.format(
        level=percent(answer.level), unit=answer.unit, readings=answer.readings
    )
    return ShortTable(title, plan_heads(readings), rows)


def _priors(arguments: argparse.Namespace, species: str, method: str) -> Priors:
    from bpvet.facts.priors.priors import Priors

    table = named_priors(arguments)
    key = (species, method, arguments.quantity)
    priors = table[key] if table is not None else Priors.default(*key)
    if arguments.used_to_it or arguments.condition == "home":
        return replace(priors, first_visit=None)
    return priors


def _drug(text: str | None, priors: Priors) -> tuple[str, float | None]:
    """Return the name of the drug that is begun, and its time constant; blank and None if none."""
    from bpvet.facts.drugs import drug

    if text is None:
        return "", None
    found = drug(text)
    if found is None or found.kind != "pressure":
        raise CallError(
            f'--drug: "{text}" is not a drug whose effect on pressure is modelled. Leave it out '
            "for one that takes about 5 days to act."
        )
    return found.name, priors.tau_of(found.name)


def _study(arguments: argparse.Namespace, planned: Plan) -> Study | None:
    if arguments.effect is None:
        _refuse(arguments, ("power", "animals", "response_sd"), "needs --effect")
        return None
    if arguments.power is not None and arguments.animals is not None:
        raise CallError("give --power or --animals: each follows from the other.")
    return planned.study(
        arguments.effect,
        0.9 if arguments.power is None else arguments.power,
        animals=arguments.animals,
        response_sd=arguments.response_sd,
    )


def _refuse(arguments: argparse.Namespace, names: tuple[str, ...], why: str) -> None:
    """Raise a `CallError` for the first of these options that was given."""
    for name in names:
        if getattr(arguments, name):
            raise CallError(f"{options.option(name)} {why}.")
