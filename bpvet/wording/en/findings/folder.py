"""Files of a folder: what cannot be read, what is not read, and readings that are not there."""

from __future__ import annotations

from bpvet.records.finding_codes import Code
from bpvet.records.findings import Words, shown
from bpvet.records.headings.near_names import did_you_mean
from bpvet.wording.en.findings.settled import SAY_FILE_AN_ANIMAL
from bpvet.wording.en.findings.wording import Wording

WORDS = Wording(
    {
        Code.NO_ROWS: Words("The table has no rows.", ""),
        Code.FOLDER_NOT_FILE: Words("This is a folder, not a file.", "Put the file itself here."),
        Code.NOT_PERMITTED: Words(
            "The file cannot be read: permission denied.", "Allow it to be read."
        ),
        Code.OTHER_FORM: Words(
            "The file is not read: files of this kind are not.",
            "If it holds records, save it as CSV or .xlsx under the name of its table.",
        ),
    }
)


@WORDS.of(Code.DISK_REFUSES)
def _disk_refuses(why: str) -> Words:
    return Words(f"The file cannot be read: {why}.", "Check the disk or the share.")


@WORDS.of(Code.NAMED_OTHERWISE)
def _named_otherwise(near: tuple[str, ...]) -> Words:
    return Words(
        "The file is not read: its name is not that of a table.",
        (
            "If it holds records, name it after its table: readings…, animals, treatments, labs, "
            "observations, missed, contacts or cancelled, as CSV, XLSX, Parquet, Arrow or JSON "
            f"lines. {did_you_mean(near)}"
        ).rstrip(),
    )


@WORDS.of(Code.FOLDER_INSIDE)
def _folder_inside(such_as: str) -> Words:
    return Words(
        f"The folder is not read: it holds files that may be records ({shown(such_as)}).",
        "If they are of these animals, put them beside the others (several files of readings may "
        "be named readings…); if not, move the folder elsewhere.",
    )


@WORDS.of(Code.NO_READINGS_FILE)
def _no_readings_file(names: tuple[str, ...], more: int, one_of_several: str) -> Words:
    shown = [*names, f"{more} more"] if more else list(names)
    listed = " and ".join(filter(None, [", ".join(shown[:-1]), *shown[-1:]]))
    fix = (
        "Name the file of readings readings.csv (or .xlsx, .parquet, .jsonl); only that one is "
        "needed."
    )
    if one_of_several:
        fix += (
            " Where each file is of one animal, put readings- before its name, such as "
            f"readings-{one_of_several}, and say so {SAY_FILE_AN_ANIMAL}."
        )
    content = f"holds {listed}" if listed else "is empty"
    return Words(f"The folder holds no readings file. It {content}.", fix)
