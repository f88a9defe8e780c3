"""``bpvet average``: the in-room sum. Standard library only, all the way down.

What writes, asks at the terminal or adds to records is loaded where that was asked for.
"""

from __future__ import annotations

import argparse
import sys
from functools import partial

from bpvet.command.shared import options
from bpvet.command.shared.loading import loading
from bpvet.command.shared.output import print_json, say
from bpvet.errors import CallError
from bpvet.facts.words import METHODS, SETTINGS, SPECIES, STATES

TYPE_CHECKING = False
if TYPE_CHECKING:
    from bpvet.answers.room.result import RoomAnswer, RoomReading
    from bpvet.command.shared.entering import Target
    from bpvet.command.shared.live import Sum, Taken

ABOUT = """\
What the readings of one session come to, which of them count, whether to go on, and a
line for the chart.

readings, in order of taking, with spaces between:
  158              a number, mmHg
  over300 under40  beyond what the gauge can show (">300" needs its quotation marks,
                   or the terminal misreads it)
  no-sound         no sound was obtained
  158/92/114/180   oscillometric: systolic/diastolic/mean/heart rate, as far as given
  158x             does not count; --exclude 2=moved says why the second does not

examples:
  bpvet average 165 158 160 --method doppler
  bpvet average 165 171 158 160 --method doppler --exclude 2=moved
  bpvet average 165 158 160 --method doppler --save readings-a17.csv --animal A17
  bpvet average --live --method doppler --into records --animal A17

--live takes them one by one, a line each, as they are taken (the word help shows more).
--into adds the session to a folder of records, as a file of its own, and answers in five
lines what the animal needs now.
"""

#: Options that go into the saved readings as they are typed, and the columns they fill.
_TEXTS_HELP = {
    "session": "a name for this session, if there are several a day",
    "site": "where the cuff sat, such as tail or foreleg",
    "side": "left or right",
    "posture": "such as on the side, or sternal",
    "demeanour": "such as calm, or tense",
    "operator": "who measured",
    "instrument": "the device, as the clinic calls it",
    "note": "anything else",
}
_SIZES_HELP = {
    "cuff_width_cm": "width of the cuff",
    "limb_circumference_cm": "circumference of the limb or tail under the cuff",
    "cuff_above_heart_cm": "how far it sat above the heart",
}
_INTERRUPTED = 130


USAGE = "bpvet average READING [READING ...] --method M [options]"
ARGUMENTS = (
    options.argument("readings", nargs="*", metavar="READING", help="as described below"),
    options.argument(
        "--live", action="store_true", help="take the readings one by one, a line each"
    ),
    options.argument("--method", required=True, choices=METHODS, help="how it was measured"),
    options.argument(
        "--exclude",
        action="append",
        default=[],
        metavar="N=WHY",
        help="reading N does not count; may be repeated",
    ),
    options.argument("--species", choices=SPECIES, default="", help="of the animal"),
    options.RULE,
    options.GUIDELINE,
    options.option_group(
        "for the chart, --save and --into",
        options.argument(
            "--animal",
            default="",
            metavar="ID",
            help="id of the animal, or its name in the records",
        ),
        options.argument(
            "--taken-at",
            default="",
            metavar="WHEN",
            help="2026-03-01 or 2026-03-01T10:15 (default for saved readings: now)",
        ),
        options.argument("--setting", choices=SETTINGS, default="", help="where"),
        options.argument("--state", choices=STATES, default="", help="of the animal"),
        options.argument("--save", metavar="FILE", help="write the readings into a new CSV file"),
        options.argument(
            "--into", metavar="FOLDER", help="add the session to a folder of records, in a new file"
        ),
        options.SURE,
        *(
            options.argument(options.option(name), default="", metavar="TEXT", help=help)
            for name, help in _TEXTS_HELP.items()
        ),
        *(
            options.argument(options.option(name), type=float, metavar="CM", help=help)
            for name, help in _SIZES_HELP.items()
        ),
        *options.PLAIN,
    ),
    options.WAYS_OUT,
)


def run(arguments: argparse.Namespace) -> int:
    """Print the sum, and save or add the readings where that was asked for."""
    _refuse(arguments)
    animal, taken_at = _whose_and_when(arguments)
    aim = None
    if arguments.into is not None:
        from bpvet.command.shared.entering import target
        from bpvet.command.shared.session_rows import shared_cells

        aim = target(arguments.into, animal)
        animal = aim.animal
        # The species is the one that the records have; another one must not be given.
        if arguments.species and aim.species and arguments.species != aim.species:
            from bpvet.printing import shown

            raise CallError(
                f"--species {arguments.species}: in the records {shown(aim.animal)} is a "
                f"{aim.species}."
            )
        arguments.species = arguments.species or aim.species
        # What is wrong with a text is said while the animal is still there.
        shared_cells(arguments, animal, taken_at)
    if arguments.save is not None:
        from pathlib import Path

        from bpvet.command.shared.whose import own_id

        animal, note = own_id(Path(arguments.save).parent, animal)
        if note:
            say(note, arguments.quiet)
    sum_of = partial(_sum, arguments, animal=animal, taken_at=taken_at)
    if not arguments.live:
        with loading():
            from bpvet.command.shared.typed_readings import typed_readings

        typed = typed_readings(
            arguments.readings, arguments.method, arguments.exclude, arguments.species
        )
        return _reported(arguments, sum_of(typed), aim)
    from bpvet.command.shared.live import Session, taken_live

    session = Session(arguments.method, arguments.species, sum_of)
    taken = taken_live(session, aim.who if aim else animal, arguments.quiet)
    return _after_live(arguments, taken, sum_of, aim)


def _after_live(
    arguments: argparse.Namespace, taken: Taken, sum_of: Sum, aim: Target | None
) -> int:
    """Tell how the taking ended, then what it comes to; nothing that was entered is lost."""
    from bpvet.command.shared.live import INTERRUPTED, ended_words
    from bpvet.command.shared.session_text import room_text
    from bpvet.printing import shown

    if ended := ended_words(taken):
        say(ended, arguments.quiet)
    if not taken.readings:
        if taken.ended == INTERRUPTED:
            return _INTERRUPTED
        raise CallError("No reading was given, so there is nothing to work out.")
    answer = sum_of(list(taken.readings))
    if taken.unread and not sys.stdin.isatty():
        listed = ", ".join(map(shown, taken.unread))
        print(room_text(answer), file=sys.stderr if arguments.json else sys.stdout)
        raise CallError(
            f"Not understood: {listed}. A reading may be missing, so nothing was written: correct "
            "it and take them in again."
        )
    if taken.ended != INTERRUPTED:
        return _reported(arguments, answer, aim)
    # What the check asks about is asked of nobody now.
    _reported(argparse.Namespace(**{**vars(arguments), "sure": True}), answer, aim, brief=True)
    return _INTERRUPTED


def _reported(
    arguments: argparse.Namespace, answer: RoomAnswer, aim: Target | None, brief: bool = False
) -> int:
    """Print the sum; write it where that was asked for, and say what the animal needs now."""
    from bpvet.command.shared.session_text import room_text

    if aim is not None:
        from bpvet.command.shared.session_entry import enter

        return enter(arguments, answer, aim, brief)
    path, saved = None, ""
    if arguments.save is not None:
        from bpvet.command.shared.session_entry import save, saved_words

        path = save(arguments, answer)
        saved = saved_words(path, answer)
    if arguments.json:
        print_json({**answer.to_dict(), "saved": None if path is None else str(path)})
        return 0
    print(room_text(answer))
    if saved:
        say(saved, arguments.quiet)
    return 0


def _sum(
    arguments: argparse.Namespace, readings: list[RoomReading], *, animal: str, taken_at: str
) -> RoomAnswer:
    with loading():
        from bpvet.answers.room.result import RoomVisit
        from bpvet.answers.room.room import room_answer

    return room_answer(
        readings,
        arguments.method,
        RoomVisit(
            species=arguments.species,
            setting=arguments.setting,
            state=arguments.state,
            animal=animal,
            taken_at=taken_at,
            cuff_width_cm=arguments.cuff_width_cm,
            limb_circumference_cm=arguments.limb_circumference_cm,
        ),
        rule=arguments.rule,
        guideline_key=arguments.guideline,
    )


def _refuse(arguments: argparse.Namespace) -> None:
    """Refuse what does not go together, before anything is taken."""
    if arguments.live and (arguments.readings or arguments.exclude):
        raise CallError(
            "--live takes the readings one by one: leave out the readings and --exclude."
        )
    if not arguments.live and not arguments.readings:
        raise CallError("Give the readings, such as 165 158 160, or --live.")
    if arguments.into is not None and arguments.save is not None:
        raise CallError("--save writes a file, --into adds to a folder: give one of the two.")


def _whose_and_when(arguments: argparse.Namespace) -> tuple[str, str]:
    """Return the animal's id and the moment; readings that are saved need both."""
    from bpvet.command.shared.typed_readings import moment, one_line

    animal = one_line(arguments.animal, "--animal")
    taken_at = arguments.taken_at.strip()
    option = "--save" if arguments.save is not None else "--into"
    written = arguments.save is not None or arguments.into is not None
    if written and not animal:
        raise CallError(f"{option} needs --animal: readings without an animal mean nothing.")
    if taken_at:
        return animal, moment(taken_at, "--taken-at")
    if written:
        from datetime import datetime

        return animal, datetime.now().isoformat(timespec="minutes")
    return animal, ""
